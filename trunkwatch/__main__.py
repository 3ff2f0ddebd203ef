"""Run the command line with ``python -m trunkwatch``."""

from trunkwatch.cli import main

if __name__ == "__main__":
    main()

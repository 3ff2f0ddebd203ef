"""Two processes log into one file at once. Run: python tests/calibration/two_writers.py [writes]

Prints how many of the writes that each acknowledged are in the file at the end.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from trunkwatch.intake import start_file
from trunkwatch.store import Store

WRITER = """
import sys
from trunkwatch.intake import add_records
for n in range(int(sys.argv[2]), int(sys.argv[3])):
    add_records(sys.argv[1], "symptoms", [dict(block="B", row=str(1 + n % 4), position=str(1 + n % 12), date="2026-01-05",
        symptom="canker", observer=f"w{n}")])
    print(n, flush=True)
"""


def main() -> None:
    """Write and count."""
    writes = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "v.gpkg"
        start_file(path, {"block": "B", "planted": 2005, "row_spacing_m": 2.5, "vine_spacing_m": 1.5}, 4, 12)
        began = time.perf_counter()
        running = [
            subprocess.Popen(
                [sys.executable, "-c", WRITER, str(path), str(low), str(low + writes // 2)],
                stdout=subprocess.PIPE,
                text=True,
            )
            for low in (0, 100_000)
        ]
        said = {f"w{n}" for process in running for n in process.communicate()[0].split()}
        seconds = time.perf_counter() - began
        with Store.open(path) as store:
            there = set(store.frame("symptoms")["observer"])
    print(f"{len(said)} acknowledged, {len(said - there)} lost, {len(there - said)} unacknowledged; {seconds:.0f} s")


if __name__ == "__main__":
    main()

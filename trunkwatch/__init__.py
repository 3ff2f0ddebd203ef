"""Log, map and test trunk disease of grapevines, vine by vine and year by year."""

__version__ = "0.1.0"

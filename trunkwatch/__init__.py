"""Log, map and test trunk disease of grapevines, vine by vine and year by year.

From Python: ``tw.open(path)`` opens a vineyard, ``tw.stats`` holds the statistics, ``tw.draw`` the pictures, ``tw.grid`` the rows of
a block, ``tw.map_of_table``, ``tw.map_of_points`` and ``tw.map_of_geoframe`` make maps of tables of one's own. Each is loaded when it is first asked for.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from trunkwatch import grid, stats
    from trunkwatch.library import draw, map_of_geoframe, map_of_points, map_of_table
    from trunkwatch.library import open_vineyard as open  # noqa: A004 - as in other libraries, under the package's name

__version__ = "0.1.0"

__all__ = ["__version__", "draw", "grid", "map_of_geoframe", "map_of_points", "map_of_table", "open", "stats"]

_HOME = {
    "open": ("trunkwatch.library", "open_vineyard"),
    "map_of_table": ("trunkwatch.library", "map_of_table"),
    "map_of_geoframe": ("trunkwatch.library", "map_of_geoframe"),
    "map_of_points": ("trunkwatch.library", "map_of_points"),
    "draw": ("trunkwatch.library.draw", ""),
    "stats": ("trunkwatch.stats", ""),
    "grid": ("trunkwatch.grid", ""),
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, inside = _HOME[name]
    found = import_module(module)
    return getattr(found, inside) if inside else found


def __dir__() -> list[str]:
    return sorted(__all__)

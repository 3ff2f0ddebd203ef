"""Where do cases crowd: the places that a scan of the block finds, named by row and position."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.stats.scan_statistic import Scan, Window, scan

__all__ = ["HotSpots", "hot_spots"]

LEVEL = 0.05
#: HotSpots that are told at most.
MOST = 3


@dataclass(frozen=True, slots=True)
class HotSpots:
    """HotSpots in which cases crowd, the strongest first.

    Attributes
    ----------
    scan : Scan
        All windows, twice as long along the row as across it.
    grid : RowGrid
    """

    scan: Scan
    grid: RowGrid = field(repr=False)

    @property
    def sure(self) -> tuple[Window, ...]:
        """Places that stand out beyond chance, at most `MOST`; empty where the scan has no answer."""
        if self.scan.reason:
            return ()
        return tuple(one for one in self.scan.windows if one.pvalue <= LEVEL)[:MOST]

    def label(self, one: Window) -> tuple[str, str]:
        """Return row and position of the middle of a place."""
        row, position = self.grid.label(*one.centre)
        return row, str(position)


def hot_spots(
    cases: NDArray[np.bool_], vines: NDArray[np.bool_], grid: RowGrid, *, permutations: int = 299, seed: int = 1
) -> HotSpots | None:
    """Find the places of a map that is not scattered.

    Parameters
    ----------
    cases, vines : (rows, stations) bool arrays
        Cases and the vines that count.
    grid : RowGrid
        Rows and metres.
    permutations, seed : int
        Relabelled maps, and the seed.

    Returns
    -------
    HotSpots or None
        None where the spacings are a guess.
    """
    if grid.assumed_spacing:
        return None
    found = scan(
        cases,
        vines,
        row_spacing=grid.row_spacing_m,
        vine_spacing=grid.vine_spacing_m,
        family="ellipses",
        permutations=permutations,
        rng=np.random.Generator(np.random.SFC64([seed, 30])),
    )
    return HotSpots(found, grid)

"""Where do cases crowd: the places that a scan of the block finds, named by row and position."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.pattern.words import p_words
from trunkwatch.stats.scan import Scan, Window, scan

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
    sentences : tuple of str
        What a grower reads; empty where the scan has no answer.
    grid : RowGrid
    """

    scan: Scan
    sentences: tuple[str, ...]
    grid: RowGrid = field(repr=False)

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
        cases, vines, row_spacing=grid.row_spacing_m, vine_spacing=grid.vine_spacing_m, family="ellipses",
        permutations=permutations, rng=np.random.Generator(np.random.SFC64([seed, 30])),
    )  # fmt: skip
    if found.reason:
        return HotSpots(found, (), grid)
    sure = [one for one in found.windows if one.pvalue <= LEVEL][:MOST]
    if not sure:
        return HotSpots(
            found,
            (f"No single place stands out: {_place(found, found.windows[0], grid)}, is within what chance does.",),
            grid,
        )
    return HotSpots(
        found,
        (
            f"Look first {'; '.join(_place(found, one, grid) for one in sure)}. All places and sizes are allowed for; the edges are rough.",
        ),
        grid,
    )


def _place(found: Scan, one: Window, grid: RowGrid) -> str:
    """Name one window: its middle, its rows, and how far it stands out."""
    row, position = grid.label(*one.centre)
    numbers = sorted({cell[0] for cell in one.cells})
    rows = f"rows {grid.rows[numbers[0]]} to {grid.rows[numbers[-1]]}" if len(numbers) > 1 else "that row alone"
    rest = found.n_vines - one.vines
    elsewhere = f", {100 * (found.n_cases - one.cases) / rest:.0f} % elsewhere" if rest else ""
    return (
        f"around row {row}, position {position} ({rows}): {one.cases} of {one.vines} vines, {100 * one.cases / one.vines:.0f} %"
        f"{elsewhere} ({p_words(one.pvalue)})"
    )

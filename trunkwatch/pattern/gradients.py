"""Do the cases of a season lie towards an edge, one end of the rows, or one side of the block?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.stats.chance import holm
from trunkwatch.stats.gradients import Gradient, focus_gradient, gradient

__all__ = ["BlockGradient", "block_gradients"]


@dataclass(frozen=True, slots=True)
class BlockGradient:
    """One covariate of place.

    Attributes
    ----------
    name : {"edge", "along", "across"}
        Metres to the nearest end of row or outer row; along the rows; across them.
    found : Gradient
        Mean over the cases, by random labelling.
    pvalue : float
        The larger of the p by labelling and by foci, so that one focus at an edge is no gradient.
    corrected : float
        For the three covariates (Holm).
    row : str
        The outer row towards which cases lie, of "across"; empty for the others.
    """

    name: str
    found: Gradient
    pvalue: float
    corrected: float
    row: str = ""

    @property
    def farther(self) -> bool:
        """Whether cases lie at more metres than chance would put them."""
        return self.found.statistic > self.found.expected


def block_gradients(
    cases: NDArray[np.bool_], vines: NDArray[np.bool_], grid: RowGrid, *, strata: NDArray[np.int64] | None = None
) -> tuple[BlockGradient, ...]:
    """Test three covariates of place; empty where there is nothing to test.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array
        Cases and vines that count.
    grid : RowGrid
        Metres.
    strata : (rows, stations) int array, optional
        Groups of vines that may have shares of their own, such as those that one person looked at: a gradient is then one
        inside the groups.
    """
    fields = _fields(grid)
    found: dict[str, tuple[Gradient, float]] = {}
    for name, field in fields.items():
        values = np.where(vines, field, 0.0)
        test = gradient(cases, vines, values, permutations=0, strata=strata)
        if test.reason:
            continue
        whole = focus_gradient(cases, vines, _inside(values, vines, strata))
        found[name] = (test, max(test.pvalue, whole.pvalue) if not whole.reason else 1.0)
    corrected = holm({name: p for name, (_, p) in found.items()})
    return tuple(
        BlockGradient(name, test, p, corrected[name], _outer_row(name, test, grid)) for name, (test, p) in found.items()
    )


def _inside(
    values: NDArray[np.float64], vines: NDArray[np.bool_], strata: NDArray[np.int64] | None
) -> NDArray[np.float64]:
    """Take the mean of each group off its vines."""
    if strata is None:
        return values
    out = values.copy()
    for code in np.unique(strata[vines]):
        here = vines & (strata == code)
        out[here] -= values[here].mean()
    return out


def _fields(grid: RowGrid) -> dict[str, NDArray[np.float64]]:
    along = np.where(grid.exists, grid.along_m, np.nan)
    ends = np.full(grid.shape, np.nan)
    for number, line in enumerate(along):
        if grid.exists[number].any():
            ends[number] = np.minimum(line - np.nanmin(line), np.nanmax(line) - line)
    across = grid.across_m
    sides = np.minimum(across - np.nanmin(across), np.nanmax(across) - across)
    return {"edge": np.minimum(ends, sides), "along": along - np.nanmin(along), "across": across - np.nanmin(across)}


def _outer_row(name: str, test: Gradient, grid: RowGrid) -> str:
    if name != "across":
        return ""
    return grid.labels[-1] if test.statistic > test.expected else grid.labels[0]

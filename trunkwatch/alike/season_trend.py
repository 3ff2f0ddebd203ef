"""Is it getting worse over several blocks: one trend of all, with blocks that differ and seasons that are showy or quiet for all."""

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtr, stdtrit

from trunkwatch.alike.counts import checked_counts
from trunkwatch.alike.crossed import fit_crossed
from trunkwatch.stats.years_trend import FEWEST_SEASONS, LongTrend

__all__ = ["season_trend"]


def season_trend(cases: ArrayLike, vines: ArrayLike, block: ArrayLike, years: ArrayLike) -> LongTrend:
    """Fit the change of the odds a season, shared by all blocks.

    Blocks that come and go move nothing by their level: each has its own. Seasons have a swing that all blocks share, so
    the limits are those of as many seasons as there are, however many blocks were scouted in each.

    Parameters
    ----------
    cases, vines, block, years : (rows,) array_like
        Counts, number of the block, and year, of each block in each season.

    Returns
    -------
    LongTrend
        Its `statistic` is nan with fewer than five seasons, with one block, or where nothing or everything is a case.

    Raises
    ------
    ValueError
        If the counts cannot be.
    """
    k, n = checked_counts(cases, vines)
    year = np.asarray(years, dtype=float)
    different, season = np.unique(year, return_inverse=True)
    blocks, of_block = np.unique(np.asarray(block), return_inverse=True)
    first, last = int(different[0]), int(different[-1])
    if different.size < FEWEST_SEASONS or blocks.size < 2 or not 0 < k.sum() < n.sum():
        nan = math.nan
        return LongTrend(nan, nan, nan, nan, nan, first, last, int(different.size))
    design = np.column_stack([np.ones_like(year), year - different.mean()])
    fit = fit_crossed(k, n, design, [of_block, season])
    slope, error = float(fit.fixed[1]), math.sqrt(float(fit.covariance[1, 1]))
    freedom = different.size - 2
    reach = float(stdtrit(freedom, 0.975)) * error
    pvalue = 2 * float(stdtr(freedom, -abs(slope) / error))
    return LongTrend(
        math.exp(slope),
        math.exp(slope - reach),
        math.exp(slope + reach),
        pvalue,
        float(fit.sds[1]),
        first,
        last,
        int(different.size),
    )

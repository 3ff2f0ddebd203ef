"""Spread, or foci that came with the planting stock: what this block's record can tell, and what it cannot."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history import BlockHistory, rate
from trunkwatch.pattern.near_old import NearOldPattern, near_old_pattern, shifted_pattern
from trunkwatch.stats.false_positive import FalsePositive, false_positive_share
from trunkwatch.stats.hazard import HazardTrend, hazard_trend
from trunkwatch.stats.shift import Shifted
from trunkwatch.stats.spread_evidence import SpreadEvidence, spread_evidence

__all__ = ["ENOUGH_SEASONS", "Says", "SpreadVerdict", "spread_verdict"]

#: Counted seasons below which nothing is concluded (our own convention, after simulation).
ENOUGH_SEASONS = 8
LEVEL = 0.05


class Says(StrEnum):
    """What the record says of spread; the value is the code in JSON."""

    FOR = "for"
    AGAINST = "against"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class SpreadVerdict:
    """Evidence for or against spread inside the block.

    Attributes
    ----------
    says : Says
    order : SpreadEvidence
        Order of first symptoms against foci from the start.
    false_positive : FalsePositive
        How often new cases would be called near old ones if these vines had been infected from the start.
    new_cases : HazardTrend
        Do new cases hold, or dry up.
    within_rows, long_free : NearOldPattern
        New near old with rows kept, and for vines with three or more symptom-free looks before.
    shifted : Shifted
        New near old by shifting the new cases as a whole.
    seasons : int
        Counted seasons.
    """

    says: Says
    order: SpreadEvidence
    false_positive: FalsePositive
    new_cases: HazardTrend
    within_rows: NearOldPattern
    long_free: NearOldPattern
    shifted: Shifted
    seasons: int


def spread_verdict(
    history: BlockHistory, season: int, *, near: bool, permutations: int = 999, seed: int = 1
) -> SpreadVerdict:
    """Weigh the evidence up to a season.

    Parameters
    ----------
    history : BlockHistory
        The block over its years; without suspected winter injury, which makes neighbours fall ill together.
    season : int
        Last season taken.
    near : bool
        Whether new cases lie near old ones; without that nothing speaks for spread.
    permutations, seed : int
        Shuffles, and the seed of their generator.
    """
    numbers = [history.index_of(year) for year in history.compared_seasons if year <= season]
    first, ever, looked = _record(history, numbers)
    grid = history.grid
    streams = [np.random.Generator(np.random.SFC64([seed, 70 + k])) for k in range(2)]
    looks = looked.reshape(len(numbers), -1).T if numbers else np.zeros((ever.size, 1))
    strata = np.unique(looks, axis=0, return_inverse=True)[1].reshape(ever.shape)
    order = spread_evidence(
        first, ever, joins=grid.joins("queen"), row_spacing=grid.row_spacing_m, vine_spacing=grid.vine_spacing_m,
        strata=strata, permutations=permutations, rng=streams[0],
    )  # fmt: skip
    static = false_positive_share(first, ever, looked, joins=grid.joins("queen"), runs=200, rng=streams[1])
    rates = [rate(history, "new", year) for year in history.compared_seasons if year <= season]
    usable = [one for one in rates if not one.reason]
    trend = hazard_trend([one.cases for one in usable], [one.vines for one in usable])
    return SpreadVerdict(
        _says(order, trend, near=near, seasons=len(numbers)), order, static, trend,
        near_old_pattern(history, season, within_rows=True), near_old_pattern(history, season, looks_before=3),
        shifted_pattern(history, season), len(numbers),
    )  # fmt: skip


def _record(
    history: BlockHistory, numbers: list[int]
) -> tuple[NDArray[np.int64], NDArray[np.bool_], NDArray[np.bool_]]:
    """Return first season (by its place among the counted ones), cases by now, and what counted when."""
    looked = history.looked_at[numbers]
    seen = history.case[numbers] & looked
    ever = np.asarray(seen.any(axis=0)) if numbers else np.zeros(history.grid.shape, dtype=bool)
    first = seen.argmax(axis=0) if numbers else np.zeros(history.grid.shape, dtype=np.int64)
    return np.where(ever, first, -1), ever, looked


def _says(order: SpreadEvidence, trend: HazardTrend, *, near: bool, seasons: int) -> Says:
    if seasons < ENOUGH_SEASONS or not near or order.reason:
        return Says.CANNOT_TELL
    ordered, drying = order.pvalue <= LEVEL, not trend.reason and trend.high < 1
    if ordered and not drying:
        return Says.FOR
    return Says.AGAINST if drying and not ordered else Says.CANNOT_TELL

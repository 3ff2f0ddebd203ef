"""Spread, or foci that came with the planting stock: what this block's record can tell, and what it cannot."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history import BlockHistory, rate
from trunkwatch.pattern.near_old import NearOldPattern, near_old_pattern, shifted_pattern
from trunkwatch.pattern.words import p_words
from trunkwatch.stats.false_positive import FalsePositive, false_positive_share
from trunkwatch.stats.hazard import HazardTrend, hazard_trend
from trunkwatch.stats.shift import Shifted
from trunkwatch.stats.spread_evidence import Measure, SpreadEvidence, spread_evidence

__all__ = ["ENOUGH_SEASONS", "SpreadVerdict", "spread_verdict"]

#: Counted seasons below which nothing is concluded (our own convention, after simulation).
ENOUGH_SEASONS = 8
LEVEL = 0.05

Says = Literal["for", "against", "cannot tell"]


@dataclass(frozen=True, slots=True)
class SpreadVerdict:
    """Evidence for or against spread inside the block.

    Attributes
    ----------
    says : {"for", "against", "cannot tell"}
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

    @property
    def sentences(self) -> tuple[str, ...]:
        """Say it for a grower, the conclusion first."""
        told = [_conclusion(self)]
        if not self.false_positive.reason:
            so = ": nearness alone is no sign of spread." if self.false_positive.high > 2 * LEVEL else "."
            told.append(
                f"Had all these vines been infected from the start and shown in the same seasons in another order, new cases "
                f"would still be called near old ones in {100 * self.false_positive.share:.0f} % of {self.false_positive.runs} such records{so}"
            )
        told += [_measure_words(one) for one in self.order.measures]
        if not self.new_cases.reason:
            told.append(_trend_words(self.new_cases))
        kept = [
            (name, one)
            for name, one in (("rows kept as they are", self.within_rows), ("only vines with three or more symptom-free looks before", self.long_free))
            if not one.reason and one.expected > 0
        ]  # fmt: skip
        told += [
            f"With {name}, new cases have {one.statistic / one.expected:.1f} times the earlier cases beside them that chance "
            f"would give ({p_words(one.pvalue)})."
            for name, one in kept
        ]
        return tuple(told)


def _conclusion(found: SpreadVerdict) -> str:
    if found.says == "for":
        return (
            "Spread from vine to vine: there is evidence for it. First symptoms are in an order that foci from the planting stock "
            "would not have; another cause that passes through the block would."
        )
    if found.says == "against":
        return (
            "Spread from vine to vine: the record speaks against it. New cases are drying up, as when the vines that were "
            "infected from the start have nearly all shown."
        )
    if found.seasons < ENOUGH_SEASONS:
        return (
            f"Spread from vine to vine: cannot tell with {found.seasons} counted season{'s' if found.seasons != 1 else ''}; "
            f"about {ENOUGH_SEASONS} are needed before the record can say anything."
        )
    return "Spread from vine to vine: cannot tell from this record."


def _measure_words(one: Measure) -> str:
    seen, expected, low, high = (
        f"{round(value, 1) + 0.0:.1f}" for value in (one.seen, one.expected, one.low, one.high)
    )
    end = f"(mostly {low} to {high}; {p_words(one.corrected)})"
    if one.name == "closeness":
        return (
            f"Neighbouring cases first showed {seen} seasons apart on average; with the seasons shuffled among the cases it would be "
            f"{expected} {end}. Spread makes it fewer."
        )
    if one.name == "beginnings":
        return (
            f"{one.seen:.0f} cases touch other cases and showed before all of them; with the seasons shuffled it would be {expected} {end}. "
            "Spread makes it fewer."
        )
    return (
        f"Each season later, first symptoms lie {seen} m further out from the first vine of their focus; with the seasons shuffled it would be "
        f"{expected} m {end}. Spread makes it more."
    )


def _trend_words(found: HazardTrend) -> str:
    limits = f"({found.low:.2f} to {found.high:.2f})"
    if found.high < 1:
        return f"New cases are drying up: each season has {found.ratio:.2f} times those of the one before {limits}."
    if found.low > 1:
        return f"New cases are growing: each season has {found.ratio:.2f} times those of the one before {limits}."
    return f"New cases neither grow nor dry up for certain: each season has {found.ratio:.2f} times those of the one before {limits}."


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
        return "cannot tell"
    ordered, drying = order.pvalue <= LEVEL, not trend.reason and trend.high < 1
    if ordered and not drying:
        return "for"
    return "against" if drying and not ordered else "cannot tell"

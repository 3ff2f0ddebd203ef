"""The rates of a block by season, each with the vines behind its numerator and denominator."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history.block_history import BlockHistory
from trunkwatch.history.condition import MATURE_LIVING, Condition
from trunkwatch.history.reason_words import no_rate_words, out_words
from trunkwatch.history.reasons import NoRate, NotCounted, WhyOut

__all__ = ["RATES", "LeftOut", "Rate", "RateName", "left_out", "rate", "rates", "seen_before"]

RateName = Literal["annual", "standing", "ever", "new", "relapse", "deaths"]
RATES: tuple[RateName, ...] = get_args(RateName)

#: Rates that set a season beside others.
_COMPARED = frozenset({"new", "ever"})
_MEANINGS: dict[RateName, str] = {
    "annual": "showing this season, of mature living vines scouted",
    "standing": "showing now, or before and not this year, of mature living vines scouted",
    "ever": "ever a case, of the vines of the first counted season (the dead, removed and retrained stay in)",
    "new": "first case, of vines at risk: scouted now and before, never a case",
    "relapse": "showing again, of vines whose case was cut out",
    "deaths": "newly dead, of vines seen alive in the last counted season and scouted now",
}


@dataclass(frozen=True, slots=True)
class Rate:
    """One rate of one season.

    Attributes
    ----------
    cases, vines : int
        Numerator and denominator.
    at_least : bool
        True where living vines of the denominator were not looked at, so that there may be more cases.
    numerator, denominator : (rows, stations) bool array
        The vines behind the numbers.
    why_not : NoRate or None
        Why there is no rate; None where there is one.
    carried : int
        Of the numerator: vines that no look of the season saw as a case, with damage of before that nothing has ended.
    """

    name: RateName
    season: int
    cases: int
    vines: int
    at_least: bool
    why_not: NoRate | None
    numerator: NDArray[np.bool_] = field(repr=False, compare=False)
    denominator: NDArray[np.bool_] = field(repr=False, compare=False)
    carried: int = 0
    season_reasons: tuple[NotCounted, ...] = ()

    @property
    def reason(self) -> str:
        """Why there is no rate, in words; empty where there is one."""
        return no_rate_words(self.why_not, self.season_reasons)

    @property
    def seen(self) -> int:
        """Of the numerator: vines that a look of the season saw."""
        return self.cases - self.carried

    @property
    def meaning(self) -> str:
        """What is divided by what, in words."""
        return _MEANINGS[self.name]

    @property
    def share(self) -> float:
        """Numerator over denominator, nan where there is no denominator."""
        return self.cases / self.vines if self.vines else float("nan")

    def __str__(self) -> str:
        if self.reason:
            return f"{self.name} {self.season}: no rate, {self.reason}"
        return f"{self.name} {self.season}: {'at least ' if self.at_least else ''}{self.cases}/{self.vines}"


def seen_before(history: BlockHistory, number: int) -> NDArray[np.int64]:
    """Count the earlier compared seasons in which the same plant was looked at, (rows, stations)."""
    times = np.zeros(history.grid.shape, dtype=np.int64)
    for earlier in range(number):
        if history.looks[earlier].compared:
            same = history.plant[earlier] == history.plant[number]
            times += same & np.isin(history.condition[earlier], (*MATURE_LIVING, Condition.YOUNG))
    return times


def _never_a_case_before(history: BlockHistory, number: int) -> NDArray[np.bool_]:
    never = np.ones(history.grid.shape, dtype=bool)
    for earlier in range(number):
        never &= ~(history.had_case[earlier] & (history.plant[earlier] == history.plant[number]))
    return never


def rate(history: BlockHistory, name: RateName, season: int, *, looks_before: int = 1) -> Rate:
    """Return one rate of one season.

    Parameters
    ----------
    history : BlockHistory
        The block over its years.
    name : {"annual", "standing", "ever", "new", "relapse", "deaths"}
        Which rate.
    season : int
        Year of the harvest.
    looks_before : int
        For `new`: in how many earlier counted seasons a vine must have been looked at (3 is
        better where the record is long enough).

    Raises
    ------
    ValueError
        If there is no such rate or `looks_before` is below 1.
    RecordError
        If the block has no records of the season.
    """
    if name not in RATES:
        raise ValueError(f"rate is {name!r}: one of {', '.join(RATES)} is needed")
    if looks_before < 1:
        raise ValueError(f"looks_before is {looks_before}: 1 or more is needed")
    number = history.index_of(season)
    look = history.looks[number]
    nothing = np.zeros(history.grid.shape, dtype=bool)
    if not look.counted:
        return Rate(name, season, 0, 0, False, NoRate.SEASON, nothing, nothing, season_reasons=look.reasons)
    if name in _COMPARED and not look.compared:
        return Rate(name, season, 0, 0, False, NoRate.OTHER_LOOKS, nothing, nothing)
    numerator, denominator = _masks(history, name, number, looks_before)
    why_not = None if denominator.any() else _no_denominator(history, name, number)
    at_least = name == "ever" and bool(history.lost_track[number].any())
    carried = int((numerator & history.carried[number]).sum()) if name in ("annual", "standing", "new") else 0
    return Rate(
        name, season, int(numerator.sum()), int(denominator.sum()), at_least, why_not, numerator, denominator, carried
    )


def _masks(
    history: BlockHistory, name: RateName, number: int, looks_before: int
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    condition = history.condition[number]
    mature = np.isin(condition, MATURE_LIVING)
    if name == "ever":
        first = history.seasons.index(history.compared_seasons[0])
        cohort = np.isin(history.condition[first], MATURE_LIVING)
        return history.ever_case[number], cohort
    if name == "relapse":
        return history.relapse[number] & mature, history.relapse_risk[number] & mature
    if name == "deaths":
        return history.died[number], history.death_risk[number]
    if name == "new":
        known = seen_before(history, number) >= looks_before
        at_risk = mature & known & _never_a_case_before(history, number)
        return at_risk & (condition == Condition.SHOWING), at_risk
    if name == "standing":
        return np.isin(condition, (Condition.SHOWING, Condition.HIDDEN)), mature
    return condition == Condition.SHOWING, mature


def _no_denominator(history: BlockHistory, name: RateName, number: int) -> NoRate:
    season = history.seasons[number]
    if (name == "new" and season == history.compared_seasons[0]) or (
        name == "deaths" and season == history.counted_seasons[0]
    ):
        return NoRate.FIRST_SEASON
    if name == "new":
        return NoRate.NO_VINE_AT_RISK
    return NoRate.NO_CUT_VINE if name == "relapse" else NoRate.NO_VINE


def rates(history: BlockHistory, *, looks_before: int = 1) -> list[dict[RateName, Rate]]:
    """Return every rate of every season, one dict a season, in the order of `history.seasons`."""
    return [
        {name: rate(history, name, season, looks_before=looks_before) for name in RATES} for season in history.seasons
    ]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Vines that a denominator leaves out for one reason."""

    why: Rate | WhyOut | Condition  # the rate itself where it has no value
    vines: tuple[tuple[str, int], ...]  # row, position

    @property
    def reason(self) -> str:
        """The reason in words."""
        return self.why.reason if isinstance(self.why, Rate) else out_words(self.why)


def left_out(history: BlockHistory, found: Rate) -> list[LeftOut]:
    """Tell why each position that is not in the denominator was left out."""
    number = history.index_of(found.season)
    outside = history.grid.exists & ~found.denominator
    reasons: dict[Rate | WhyOut | Condition, list[tuple[str, int]]] = {}
    for row, station in zip(*np.nonzero(outside), strict=True):
        why = _why_out(history, found, number, (int(row), int(station)))
        reasons.setdefault(why, []).append(history.grid.label(int(row), int(station)))
    return sorted((LeftOut(why, tuple(vines)) for why, vines in reasons.items()), key=lambda one: one.reason)


def _why_out(history: BlockHistory, found: Rate, number: int, cell: tuple[int, int]) -> Rate | WhyOut | Condition:
    if found.why_not is not None:
        return found
    condition = Condition(history.condition[(number, *cell)])
    if found.name == "ever":
        return WhyOut.NOT_AT_FIRST
    if found.name in ("annual", "standing", "new") and condition not in MATURE_LIVING:
        return condition
    if found.name == "new":
        was = any(
            history.had_case[(e, *cell)] and history.plant[(e, *cell)] == history.plant[(number, *cell)]
            for e in range(number)
        )
        return WhyOut.CASE_BEFORE if was else WhyOut.TOO_FEW_LOOKS
    if found.name == "relapse":
        return WhyOut.NOTHING_CUT_OUT
    return WhyOut.NOT_FOLLOWED


def names_of(history: BlockHistory, mask: NDArray[np.bool_]) -> Sequence[tuple[str, int]]:
    """Return row and position of every vine of a mask, in the order of the ground."""
    return [history.grid.label(int(row), int(station)) for row, station in zip(*np.nonzero(mask), strict=True)]

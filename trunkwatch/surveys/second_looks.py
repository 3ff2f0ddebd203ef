"""Blind second looks: how well two looks agree, what the first one missed, and whether two people drifted apart."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trunkwatch.block.opening import BlockSeason
from trunkwatch.history import definition_named
from trunkwatch.stats.drift import ObserverDrift, Period, observer_drift
from trunkwatch.stats.rechecks import Recheck, recheck, tally
from trunkwatch.surveys.paired_looks import OF_LOOK, SecondLooks, second_looks

__all__ = ["LATE_DAYS", "LookRecheck", "PairDrift", "recheck_of"]

#: With more days between the looks the report says that two times are compared (our own convention).
LATE_DAYS = 7


@dataclass(frozen=True, slots=True)
class PairDrift:
    """Two people in one order of looking, period by period.

    Attributes
    ----------
    first, second : str
        Who made the first look and who the second.
    by : str
        season or month.
    periods : tuple of Period
        Those with enough vines, earliest first.
    drift : ObserverDrift
        The latest against the earlier ones.
    """

    first: str
    second: str
    by: str
    periods: tuple[Period, ...]
    drift: ObserverDrift


@dataclass(frozen=True, slots=True)
class LookRecheck:
    """The second looks of one kind in one season.

    Attributes
    ----------
    look : str
        dormant, spring or summer.
    result : Recheck
        The two looks compared.
    pairs : tuple of (str, str, int)
        Who looked first, who second, and at how many vines.
    days : (int, int)
        Fewest and most days between the looks.
    late : int
        Vines with more than `LATE_DAYS` between.
    carried : int
        Vines left out: a lasting symptom on record that the first look did not write down again.
    pooled : tuple of int
        Other seasons of the same people that were taken in for the corrected figure.
    drift : tuple of PairDrift
        Of people who looked twice in two or more seasons or months with enough vines.
    too_few : tuple of (str, str)
        People who looked twice in several seasons, with too few vines to compare them.
    """

    look: str
    result: Recheck
    pairs: tuple[tuple[str, str, int], ...]
    days: tuple[int, int]
    late: int
    carried: int
    pooled: tuple[int, ...]
    drift: tuple[PairDrift, ...]
    too_few: tuple[tuple[str, str], ...] = ()


def recheck_of(season: BlockSeason) -> tuple[LookRecheck, ...] | None:
    """Compare the looks of a season with its blind second looks, each kind of look by itself; None without any.

    Only kinds of look that the season's case definition needs are taken.
    """
    if not season.reading.rechecks:
        return None
    needed = definition_named(season.history.definition).looks
    found = [_of_look(season, look) for look in OF_LOOK if look in needed]
    return tuple(one for one in found if one is not None) or None


def _of_look(season: BlockSeason, look: str) -> LookRecheck | None:
    years = second_looks(season.reading, look, season.season)
    if not years or years[-1].season != season.season:
        return None
    *earlier, now = years
    people = set(now.pairs)
    same = [one for one in earlier if set(one.pairs) == people and all(first and second for first, second in people)]
    others = [tally(one.first, one.second, cases=one.cases, vines=one.vines) for one in same]
    result = recheck(now.first, now.second, cases=now.cases, vines=now.vines, others=others)
    counted = [one.season for one, other in zip(same, others, strict=True) if other.tells]
    return LookRecheck(
        look,
        result,
        tuple((*pair, count) for pair, count in sorted(Counter(now.pairs).items())),
        (int(now.days.min()), int(now.days.max())),
        int((now.days > LATE_DAYS).sum()),
        now.carried,
        tuple(counted) if result.pooled else (),
        *_drifts(years),
    )


def _drifts(years: Sequence[SecondLooks]) -> tuple[tuple[PairDrift, ...], tuple[tuple[str, str], ...]]:
    """Compare by season, and by month within the last season, every two people of the last season."""
    found, few = [], []
    for first, second in sorted(set(years[-1].pairs)):
        if not first or not second or first == second:
            continue
        by_season, by_month = _periods(years, (first, second), "season"), _periods(years[-1:], (first, second), "month")
        for by, every in (("season", by_season), ("month", by_month)):
            periods = [one for one in every if one.enough]
            if len(periods) > 1:
                found.append(PairDrift(first, second, by, tuple(periods), observer_drift(periods)))
            elif by == "season" and len(every) > 1:
                few.append((first, second))
    return tuple(found), tuple(few)


def _periods(years: Sequence[SecondLooks], pair: tuple[str, str], by: str) -> list[Period]:
    counts: defaultdict[str, Counter[tuple[bool, bool]]] = defaultdict(Counter)
    for year in years:
        for k in np.flatnonzero([one == pair for one in year.pairs]):
            label = str(year.season) if by == "season" else year.months[k]
            counts[label][bool(year.first[k]), bool(year.second[k])] += 1
    return [
        Period(label, one[True, True], one[True, False], one[False, True], one[False, False])
        for label, one in sorted(counts.items())
    ]

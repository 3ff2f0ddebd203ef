"""Blind second looks: how well two looks agree, what the first one missed, and whether two people drifted apart."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trunkwatch.block.opening import BlockSeason
from trunkwatch.history import definition_named
from trunkwatch.stats.observer_drift import FEWEST_EACH, Change, ObserverDrift, Period, observer_drift
from trunkwatch.stats.recheck import Recheck, recheck, tally
from trunkwatch.surveys.paired_looks import OF_LOOK, SecondLooks, second_looks

__all__ = ["LATE_DAYS", "LookRecheck", "PairDrift", "recheck_of", "recheck_sentences"]

#: With more days between the looks the report says that two times are compared (our own convention).
LATE_DAYS = 7
#: What a case is at each kind of look.
_CASES = {"dormant": "dieback", "spring": "dieback", "summer": "leaf symptoms"}


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
        look, result, tuple((*pair, count) for pair, count in sorted(Counter(now.pairs).items())),
        (int(now.days.min()), int(now.days.max())), int((now.days > LATE_DAYS).sum()), now.carried,
        tuple(counted) if result.pooled else (), *_drifts(years),
    )  # fmt: skip


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


def recheck_sentences(found: Sequence[LookRecheck]) -> tuple[str, ...]:
    """Say it for a grower."""
    return tuple(sentence for one in found for sentence in (*_compared(one), *_missed(one), *_drifted(one)))


def _compared(one: LookRecheck) -> list[str]:
    result, n = one.result, one.result.agreement.vines
    told = []
    told.append(
        f"{one.look.capitalize()} look ({_CASES[one.look]}): {n} vines were looked at a second time without knowledge "
        f"of the first look; both looks say the same of {result.agreement.cases} "
        f"({100 * result.agreement.low:.0f} to {100 * result.agreement.high:.0f} %)."
    )
    if result.kappa == result.kappa:
        told.append(
            f"Agreement beyond chance (kappa) is {result.kappa:.2f} ({result.kappa_low:.2f} to "
            f"{result.kappa_high:.2f}); it hangs on how many of the vines drawn were cases."
        )
    if one.carried:
        told.append(
            f"{_vines(one.carried)} left out: a dead arm or trunk, canker or dead spurs are on record from before, and "
            "the first look did not write them down again, so nobody can say whether it saw them."
        )
    alone = sum(count for first, second, count in one.pairs if first and first == second)
    if alone:
        told.append(
            f"{_vines(alone)} looked at both times by the same person: what one person misses twice does not come out."
        )
    if one.late:
        changes = "symptoms come and go within a season" if one.look == "summer" else "wood may be cut in between"
        told.append(
            f"From the first look to the second it was {_span(one.days)}, for {one.late} of {n} vines more than "
            f"{LATE_DAYS} (a mark of our own): {changes}, so the difference is not of the people alone."
        )
    return told


def _missed(one: LookRecheck) -> list[str]:
    result, told = one.result, []
    if one.pooled:
        told.append(
            f"The second looks of this season alone saw {result.both + result.second_only} cases, too few to correct "
            f"by. Those of {_listed(one.pooled)}, by the same people, are taken in: {result.pooled_cases} cases "
            "together. That holds only if these people judged alike in all these seasons."
        )
    if result.seen_again == result.seen_again:
        told.append(
            f"Weighed back to the block, the first look had seen {100 * result.seen_again:.0f} % "
            f"({100 * result.seen_again_low:.0f} to {100 * result.seen_again_high:.0f} %) of what the second look saw."
        )
    if result.reason:
        told.append(f"No incidence corrected for missed cases is given: {result.reason}.")
    else:
        told.append(
            f"Corrected for missed cases, {100 * result.corrected:.1f} % of the vines had symptoms to be seen "
            f"({100 * result.corrected_low:.1f} to {100 * result.corrected_high:.1f} %). That is not the share infected."
        )
    return told


def _drifted(one: LookRecheck) -> list[str]:
    told = [sentence for pair in one.drift for sentence in _of_pair(pair)]
    if one.too_few:
        pairs = "; ".join(f"{first} and {second}" for first, second in one.too_few)
        told.append(
            f"Whether two people came to judge otherwise over the seasons is not said of {pairs}: two seasons with "
            f"{FEWEST_EACH} cases and {FEWEST_EACH} vines without, each looked at by both, are needed (our own convention)."
        )
    return told


def _of_pair(pair: PairDrift) -> list[str]:
    again, more = pair.drift.again, pair.drift.more
    before, now = pair.drift.before, pair.drift.now
    if again is None or more is None or before is None or now is None:
        return []
    first, second = pair.first, pair.second
    listed = "; ".join(
        f"{p.label}: of {first}'s cases {second} saw {p.again.cases} of {p.again.vines} again, and a case on "
        f"{p.more.cases} of {p.more.vines} others; they agree on {p.agreement.cases} of {p.agreement.vines}"
        for p in pair.periods
    )
    told = [f"{first} first and {second} second, by {pair.by}: {listed}."]
    told.append(
        f"Seen again: {100 * before.again.share:.0f} % in {before.label}, {100 * now.again.share:.0f} % in {now.label} "
        f"(change {100 * again.low:+.0f} to {100 * again.high:+.0f} points). Seen by {second} alone: "
        f"{100 * before.more.share:.0f} % and {100 * now.more.share:.0f} % (change {100 * more.low:+.0f} to "
        f"{100 * more.high:+.0f} points). Limits are at 97.5 %, as two shares are compared."
    )
    if not again.shown and not more.shown:
        told.append("No change between the two people is shown; with so few vines a small one would not be.")
        return told
    told.append(
        f"{_way(first, second, again, more)} Which of the two changed nobody can tell from this; fainter symptoms or "
        "more days between the looks do the same."
    )
    return told


def _way(first: str, second: str, again: Change, more: Change) -> str:
    """Say in which way two people came to differ: who writes down more is known only of one against the other."""
    shown = [one.value for one in (again, more) if one.shown]
    if min(shown) < 0 < max(shown):
        return f"{first} and {second} came to agree {'less' if again.value < 0 else 'more'}."
    more_now, less_now = (first, second) if shown[0] < 0 else (second, first)
    return f"{more_now} came to write down more, or {less_now} fewer, cases than before against the other."


def _vines(count: int) -> str:
    return "1 vine was" if count == 1 else f"{count} vines were"


def _span(days: tuple[int, int]) -> str:
    return f"{days[0]} days" if days[0] == days[1] else f"{days[0]} to {days[1]} days"


def _listed(seasons: Sequence[int]) -> str:
    *most, last = [str(one) for one in seasons]
    return f"{', '.join(most)} and {last}" if most else last

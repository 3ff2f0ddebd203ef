"""Did it work: renewed vines beside left vines of the same past, and the hours that went in."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import NamedTuple

from trunkwatch.block.opening import BlockSeason
from trunkwatch.follow_up.fallback import Fallback, fallback
from trunkwatch.follow_up.lots import with_a_neighbour_worked_on
from trunkwatch.follow_up.matching import Difference, Matched, difference, followed_for, matched
from trunkwatch.follow_up.outcomes import MORE, Outcome, outcomes_of
from trunkwatch.follow_up.trials import Trial, Winter, left_trials, lot_trials, renewed_before, trials_of
from trunkwatch.vineyard.lots import LOT_YEARS

__all__ = ["FEWEST", "HORIZON", "KNOWN", "Cannot", "Comparison", "Lots", "Worked", "compared", "worked"]

#: With fewer renewed vines that have a comparable left vine nothing is compared (our own convention).
FEWEST = 10
#: Years after the winter that are compared, where so many were followed; else fewer (our own convention).
HORIZON = 3
#: Share of the left vines' years that must have been followed before somebody cut them (our own convention).
KNOWN = 0.75


class Cannot(Enum):
    """Why nothing can be said."""

    NOBODY_RENEWED = 1
    NOT_FOLLOWED = 2
    NO_PARTNERS = 3
    CUT_LATER = 4


class Lots(NamedTuple):
    """Vines that were to be renewed, and to be left, by lot, and whether they are what is compared.

    `beside_renew` and `beside_leave` are those of them beside which in the row a vine was renewed or protected as well.
    """

    renew: int = 0
    leave: int = 0
    beside_renew: int = 0
    beside_leave: int = 0
    compared: bool = False


@dataclass(frozen=True, slots=True)
class Comparison:
    """Renewed and left vines on one outcome.

    Attributes
    ----------
    outcome : Outcome
    years : int
        Years after the winter that are compared.
    renewed : int
        Renewed vines on record that were followed for so long and could come to count as bad.
    pairs : Matched
        Those with a comparable left vine, and these.
    difference : Difference
    cannot : Cannot or None
        Why nothing can be said; None where something can.
    renewed_before, too_far : int
        Renewed vines left out: renewed before; so far gone that they could hardly get worse.
    not_yet : int
        Renewed vines whose years are not over.
    fallback : Fallback or None
        How the same choice would have gone without work; None where nothing can be said.
    lots : Lots
        Vines on which lots were drawn, and whether this is a comparison by lot.
    """

    outcome: Outcome
    years: int
    renewed: int
    pairs: Matched
    difference: Difference
    cannot: Cannot | None
    renewed_before: int
    too_far: int
    not_yet: int
    fallback: Fallback | None
    lots: Lots


@dataclass(frozen=True, slots=True)
class Worked:
    """All comparisons of a block, and the hours by kind of work: planned pieces and hours, done pieces and hours."""

    comparisons: tuple[Comparison, ...]
    hours: dict[str, tuple[int, float, int, float]]


def compared(season: BlockSeason, outcome: Outcome) -> Comparison:
    """Compare renewed with left vines on one outcome, over as many years as were followed; by lot where lots were drawn.

    Parameters
    ----------
    season : BlockSeason
        The block up to the last season that counts.
    outcome : Outcome
        What counts as bad.
    """
    lots = lot_trials(season, outcome)
    drawn = _compared(season, outcome, [trial for trial, _ in lots], [(t.winter.season, group) for t, group in lots])
    sides = [[trial for trial, _ in lots if trial.renewed is renew] for renew in (True, False)]
    beside = [
        sum(
            with_a_neighbour_worked_on(season, [t.cell], t.winter.season - LOT_YEARS, t.winter.season + drawn.years - 1)
            for t in side
        )
        for side in sides
    ]
    by_lot = Lots(len(sides[0]), len(sides[1]), beside[0], beside[1], drawn.cannot is None)
    if drawn.cannot is None:
        return replace(drawn, lots=by_lot)
    return replace(_compared(season, outcome, trials_of(season, outcome), None), lots=by_lot)


def _compared(
    season: BlockSeason, outcome: Outcome, every: Sequence[Trial], keys: Sequence[object] | None
) -> Comparison:
    lines = [
        (trial, key)
        for trial, key in zip(every, keys or [None] * len(every), strict=True)
        if keys or outcome is not Outcome.WORSE or trial.past.share + MORE <= 100
    ]
    too_far = sum(trial.renewed for trial in every) - sum(trial.renewed for trial, _ in lines)
    last: defaultdict[Winter, int] = defaultdict(
        int
    )  # the last year after each winter in which some vine was looked at
    for trial in every:
        last[trial.winter] = max(last[trial.winter], *trial.years[-1:], 0)
    best: tuple[int, list[Trial], Matched] | None = None
    # Old damage counts as seen until looks are silent on it, that of a renewed vine once it is seen again: a year is too short for both.
    for years in range(HORIZON, 1 if outcome is Outcome.HALF_DEAD else 0, -1):
        over = [(trial, key) for trial, key in lines if last[trial.winter] >= years]
        trials = [trial for trial, _ in over]
        pairs = matched(trials, years, [key for _, key in over] if keys else None)
        good = _renewed_in(pairs) >= FEWEST and pairs.left_known >= KNOWN
        if good or best is None or _renewed_in(pairs) > _renewed_in(best[2]):
            best = years, trials, pairs
        if good:
            break
    assert best is not None  # noqa: S101
    years, trials, pairs = best
    renewed = sum(trial.renewed and followed_for(trial, years) for trial in trials)
    cannot = _why_not(every, renewed, pairs)
    return Comparison(
        outcome,
        years,
        renewed,
        pairs,
        difference(pairs),
        cannot,
        renewed_before(season, outcome),
        too_far,
        sum(trial.renewed for trial, _ in lines) - renewed,
        None if cannot else _fallback(season, outcome, pairs),
        Lots(),
    )


def _fallback(season: BlockSeason, outcome: Outcome, pairs: Matched) -> Fallback:
    """Tell how the same choice would have gone without work, from vines of all years that were left."""
    renewed = [trial for trial in pairs.trials if trial.renewed]
    left = left_trials(season, outcome)
    reach: defaultdict[Winter, int] = defaultdict(int)
    for trial in left:
        reach[trial.winter] = max(reach[trial.winter], *trial.years[-1:], 0)
    over = [trial for trial in left if reach[trial.winter] >= pairs.years]
    return fallback(renewed, pairs.weights[pairs.renewed].tolist(), over, pairs.years)


def _renewed_in(pairs: Matched) -> int:
    return int(pairs.renewed.sum()) if pairs.trials else 0


def _why_not(every: Sequence[Trial], renewed: int, pairs: Matched) -> Cannot | None:
    if not any(trial.renewed for trial in every):
        return Cannot.NOBODY_RENEWED
    if renewed < FEWEST:
        return Cannot.NOT_FOLLOWED
    if _renewed_in(pairs) < FEWEST:
        return Cannot.NO_PARTNERS
    return Cannot.CUT_LATER if pairs.left_known < KNOWN else None


def worked(season: BlockSeason) -> Worked:
    """Compare renewed and left vines on every outcome of the block's case definition.

    Parameters
    ----------
    season : BlockSeason
        The block up to the last season that counts.
    """
    comparisons = tuple(compared(season, outcome) for outcome in outcomes_of(season.history.definition))
    return Worked(comparisons, _hours(season))


def _hours(season: BlockSeason) -> dict[str, tuple[int, float, int, float]]:
    out = {}
    for kind in dict.fromkeys(work.kind for work in season.reading.work):
        listed = [work for work in season.reading.work if work.kind == kind]
        parts = [[w for w in listed if w.status == "planned"], [w for w in listed if w.done]]
        counts = [(len(part), sum(work.hours or 0.0 for work in part)) for part in parts]
        out[kind] = (*counts[0], *counts[1])
    return out

"""Did it work: renewed vines beside left vines of the same past, and the hours that went in."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from trunkwatch.block.opening import BlockSeason
from trunkwatch.follow_up.matching import Difference, Matched, difference, followed_for, matched
from trunkwatch.follow_up.outcomes import MORE, Outcome, outcomes_of
from trunkwatch.follow_up.trials import Trial, left_out_before, trials_of

__all__ = ["FEWEST", "HORIZON", "Cannot", "Comparison", "Worked", "compared", "worked"]

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


@dataclass(frozen=True, slots=True)
class Worked:
    """All comparisons of a block, and the hours by kind of work: planned pieces and hours, done pieces and hours."""

    comparisons: tuple[Comparison, ...]
    hours: dict[str, tuple[int, float, int, float]]


def compared(season: BlockSeason, outcome: Outcome) -> Comparison:
    """Compare renewed with left vines on one outcome, over as many years as were followed.

    Parameters
    ----------
    season : BlockSeason
        The block up to the last season that counts.
    outcome : Outcome
        What counts as bad.
    """
    every = trials_of(season, outcome)
    trials = [trial for trial in every if outcome is not Outcome.WORSE or trial.past.share + MORE <= 100]
    too_far = sum(trial.renewed for trial in every) - sum(trial.renewed for trial in trials)
    last: defaultdict[tuple[int, int], int] = defaultdict(int)  # the last year after each winter in which some vine was looked at
    for trial in every:
        key = trial.winter.season, trial.winter.base
        last[key] = max(last[key], *trial.years[-1:], 0)
    best: tuple[int, list[Trial], Matched] | None = None
    for years in range(HORIZON, 0, -1):
        over = [trial for trial in trials if last[trial.winter.season, trial.winter.base] >= years]
        pairs = matched(over, years)
        good = _renewed_in(pairs) >= FEWEST and pairs.left_known >= KNOWN
        if good or best is None or _renewed_in(pairs) > _renewed_in(best[2]):
            best = years, over, pairs
        if good:
            break
    assert best is not None  # noqa: S101
    years, over, pairs = best
    renewed = sum(trial.renewed and followed_for(trial, years) for trial in over)
    return Comparison(
        outcome, years, renewed, pairs, difference(pairs), _why_not(every, renewed, pairs), left_out_before(season, outcome),
        too_far, sum(trial.renewed for trial in trials) - renewed,
    )  # fmt: skip


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

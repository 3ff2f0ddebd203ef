"""Renewed vines set beside left vines of the same past: strata, the difference, and its limits.

Within a stratum (one winter, one past, the same looks since) renewed and left vines are taken as alike. A stratum weighs
n r / (n + r) for its n renewed and r left vines, so that swapping the groups changes the sign and nothing else; what still differs
inside strata in severity is allowed for by a straight line. A left vine that is cut later counts from then on with what came of the
left vines that were followed (of the same kind at the same time), so that who is cut later decides nothing.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from trunkwatch.follow_up.trials import Past, Trial

__all__ = ["Difference", "Matched", "difference", "followed_for", "matched", "outcomes_by", "past_key", "stratum_of"]

#: Left or renewed vines that the kind of a vine weighs against all kinds, where its own numbers are small (our own convention).
DRAWN_TO_ALL = 2.0
#: Percents of the vine at which the line of severity may bend, and what speaks for a flat one: five vines ten points off (our own
#: conventions).
KNOTS, NO_SLOPE = (0.0, 30.0, 60.0), 500.0
#: Upper ends of the bands of severity, in percent of the vine.
BANDS = (0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0)


@dataclass(frozen=True, slots=True)
class Matched:
    """Trials that have a comparable vine in the other group, in one order.

    Attributes
    ----------
    trials : tuple of Trial
    stratum : (trials,) int array
    bad : (trials,) array
        Whether each counted as bad within the years, 0 or 1; in between where it was cut before.
    years : int
        Years followed.
    without : int
        Renewed vines without a comparable left vine.
    cut_later : int
        Left vines that were cut before the years were over.
    known : (trials,) array
        Share of its years that each was followed, 1 where it came to count as bad.
    """

    trials: tuple[Trial, ...]
    stratum: NDArray[np.int64] = field(repr=False)
    bad: NDArray[np.float64] = field(repr=False)
    years: int
    without: int
    cut_later: int
    known: NDArray[np.float64] = field(repr=False)

    @property
    def left_known(self) -> float:
        """Share of the left vines' years, as they weigh, that were followed before somebody cut them."""
        left = ~self.renewed
        return float(np.average(self.known[left], weights=self.weights[left])) if left.any() else math.nan

    @property
    def renewed(self) -> NDArray[np.bool_]:
        """Which are renewed vines."""
        return np.array([trial.renewed for trial in self.trials], dtype=bool)

    @property
    def weights(self) -> NDArray[np.float64]:
        """Weight of each trial; those of a group sum to the same in every stratum."""
        return _weights(self.stratum, self.renewed)


@dataclass(frozen=True, slots=True)
class Difference:
    """Share of renewed vines that counted as bad less that of comparable left vines.

    Attributes
    ----------
    middle, low, high : float
    renewed, left : float
        The two shares.
    error : float
        Standard error.
    """

    middle: float
    low: float
    high: float
    renewed: float
    left: float
    error: float


def followed_for(trial: Trial, years: int) -> bool:
    """Tell whether a position was looked at in the last or the last but one of these years."""
    return any(year in trial.years for year in range(max(1, years - 1), years + 1))


def stratum_of(trial: Trial, years: int) -> tuple[object, ...]:
    """Return what two vines must have in common to be compared.

    Parameters
    ----------
    trial : Trial
    years : int
        Years followed: both must have been looked at in the same ones of them.
    """
    return (trial.winter, *past_key(trial.past), tuple(year for year in trial.years if year <= years))


def past_key(past: Past) -> tuple[object, ...]:
    """Return what of their past two vines must have in common: seasons on record, how often it showed, last look, severity."""
    seasons = past.seasons if past.seasons < 6 else min(past.seasons // 2 * 2, 8)
    return seasons, min(past.showed, 6), past.last, int(np.searchsorted(BANDS, past.share - 1e-9)), past.replant


def outcomes_by(trials: Sequence[Trial], years: int) -> NDArray[np.float64]:
    """Return by trial whether it counted as bad within some years; where it was cut before, what was to be expected."""
    bad = np.array([0.0 if not trial.ended or trial.ended > years else 1.0 for trial in trials])
    open_ended = [k for k, trial in enumerate(trials) if not bad[k] and trial.through < _last_look(trial, years)]
    if not open_ended:
        return bad
    risk: Counter[tuple[bool, int, int]] = Counter()
    ends: Counter[tuple[bool, int, int]] = Counter()
    for trial in trials:
        for year in range(1, years + 1):
            if (trial.ended and trial.ended < year) or (not trial.ended and trial.through < year):
                break
            risk[trial.renewed, _kind(trial), year] += 1
            ends[trial.renewed, _kind(trial), year] += trial.ended == year
    kinds = {_kind(trial) for trial in trials}
    for k in open_ended:
        trial, free = trials[k], 1.0
        for year in range(trial.through + 1, years + 1):
            both = [(trial.renewed, kind, year) for kind in kinds]
            of_all = sum(ends[key] for key in both) / max(1, sum(risk[key] for key in both))
            own = (trial.renewed, _kind(trial), year)
            free *= 1 - (ends[own] + DRAWN_TO_ALL * of_all) / (risk[own] + DRAWN_TO_ALL)
        bad[k] = 1 - free
    return bad


def _last_look(trial: Trial, years: int) -> int:
    return max((year for year in trial.years if year <= years), default=0)


def _kind(trial: Trial) -> int:
    """Return the kind of a vine for what is to be expected of it: how badly it is damaged, or whether it showed at the last look."""
    return (
        int(np.searchsorted((10.0, 20.0, 30.0, 50.0), trial.past.share)) if trial.past.share else -int(trial.past.last)
    )


def matched(trials: Sequence[Trial], years: int, keys: Sequence[object] | None = None) -> Matched:
    """Keep the trials of strata that hold both groups.

    Parameters
    ----------
    trials : sequence of Trial
        All of one outcome.
    years : int
        Years followed.
    keys : sequence, optional
        The stratum of each trial; that of its past where left out.
    """
    named = [
        (trial, key)
        for trial, key in zip(trials, keys or [stratum_of(t, years) for t in trials], strict=True)
        if followed_for(trial, years)
    ]
    renewed = Counter(key for trial, key in named if trial.renewed)
    left = Counter(key for trial, key in named if not trial.renewed and trial.through > 0)
    bad = outcomes_by([trial for trial, _ in named], years)
    places = {key: k for k, key in enumerate(key for key in renewed if left[key])}
    keep = [k for k, (trial, key) in enumerate(named) if key in places and (trial.renewed or trial.through > 0)]
    kept = tuple(named[k][0] for k in keep)
    return Matched(
        kept,
        np.array([places[named[k][1]] for k in keep], dtype=np.int64),
        bad[keep],
        years,
        sum(many for key, many in renewed.items() if not left[key]),
        sum(not t.renewed and not t.ended and t.through < _last_look(t, years) for t in kept),
        np.array([1.0 if t.ended else min(1.0, t.through / _last_look(t, years)) for t in kept]),
    )


def _weights(stratum: NDArray[np.int64], renewed: NDArray[np.bool_]) -> NDArray[np.float64]:
    many = int(stratum.max()) + 1 if stratum.size else 0
    cut, left = (np.bincount(stratum, side, minlength=many) for side in (renewed, ~renewed))
    with np.errstate(divide="ignore", invalid="ignore"):
        of_stratum = np.where((cut > 0) & (left > 0), cut * left / (cut + left), 0.0)
        return np.asarray(np.where(renewed, of_stratum[stratum] / cut[stratum], of_stratum[stratum] / left[stratum]))


def _within(values: NDArray[np.float64], stratum: NDArray[np.int64]) -> NDArray[np.float64]:
    """Take the mean of its stratum from each value."""
    size = np.bincount(stratum)
    return np.asarray(values - (np.bincount(stratum, values) / size)[stratum])


def difference(pairs: Matched, *, level: float = 0.95) -> Difference:
    """Return the difference with limits; nan where there is nothing to compare.

    Parameters
    ----------
    pairs : Matched
    level : float
        Of the limits.

    Notes
    -----
    The limits take each vine with all its winters as one draw (a vine that is left enters every winter), residuals set right
    for the size of their stratum. They are for the vines at hand: what the renewed vines would have done had they been left
    is as uncertain as what the left ones do, also where the renewed ones all stayed clean.
    """
    renewed, weights = pairs.renewed, pairs.weights
    if not renewed.any() or renewed.all():
        return Difference(*(math.nan,) * 6)
    bad, treated = pairs.bad, renewed.astype(float)
    inside = np.stack([_within(np.maximum(_shares(pairs) - knot, 0.0), pairs.stratum) for knot in KNOTS], axis=1)
    pull = _less_severity(_within(treated, pairs.stratum), inside)
    total = float(pull @ treated)
    middle = float(pull @ bad) / total
    left_share = float(np.average(bad[~renewed], weights=weights[~renewed]))
    rest = _less_severity(_within(bad - middle * treated, pairs.stratum), inside)
    size = np.bincount(pairs.stratum)[pairs.stratum]
    set_right = rest / np.sqrt(1 - 1 / size)
    # What is only expected of a vine that was cut brings no knowledge of its own: the others carry its weight.
    scores = pull / total * set_right / np.where(renewed, 1.0, pairs.left_known)
    variance = _by_vine(scores, pairs.trials)
    left_variance = float(np.average(set_right[~renewed] ** 2, weights=weights[~renewed]))
    as_left = float(((pull[renewed] / total) ** 2).sum()) * left_variance
    variance += max(0.0, as_left - float((scores[renewed] ** 2).sum()))
    counts = [_many(weights[side]) for side in (renewed, ~renewed)]
    variance = max(variance, _least(left_share + middle, counts[0]) + _least(left_share, counts[1]))
    error = math.sqrt(variance)
    half = float(student.ppf(0.5 + level / 2, max(1.0, 2 * min(counts)))) * error
    renewed_share = min(1.0, max(0.0, left_share + middle))
    return Difference(middle, max(-1.0, middle - half), min(1.0, middle + half), renewed_share, left_share, error)


def _shares(pairs: Matched) -> NDArray[np.float64]:
    return np.array([trial.past.share for trial in pairs.trials])


def _less_severity(values: NDArray[np.float64], inside: NDArray[np.float64]) -> NDArray[np.float64]:
    """Take out what goes with severity inside strata, drawn to nothing where there is little to learn it from."""
    if not inside.any():
        return values
    slopes = np.linalg.solve(inside.T @ inside + NO_SLOPE * np.eye(inside.shape[1]), inside.T @ values)
    return np.asarray(values - inside @ slopes)


def _by_vine(scores: NDArray[np.float64], trials: Sequence[Trial]) -> float:
    vines = {cell: k for k, cell in enumerate(dict.fromkeys(trial.cell for trial in trials))}
    summed = np.bincount([vines[trial.cell] for trial in trials], scores)
    return float((summed**2).sum())


def _many(weights: NDArray[np.float64]) -> float:
    """Return how many vines of one weight carry as much."""
    return float(weights.sum() ** 2 / (weights**2).sum())


def _least(share: float, many: float) -> float:
    """Return the least variance of a share where less than half a vine went one way: as if half a vine more had gone each way."""
    drawn = (min(1.0, max(0.0, share)) * many + 0.5) / (many + 1)
    return drawn * (1 - drawn) / (many + 1) if min(drawn, 1 - drawn) * (many + 1) < 1.0 else 0.0

"""How the same choice of vines would have gone without any work: from vines with the same past that nobody renewed, all years."""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trunkwatch.follow_up.matching import followed_for, outcomes_by, past_key
from trunkwatch.follow_up.trials import Trial

__all__ = ["Fallback", "fallback"]


@dataclass(frozen=True, slots=True)
class Fallback:
    """What vines with the renewed vines' past do when nobody works on them.

    Attributes
    ----------
    last : float
        Share of the renewed vines that had shown at the last look before their winter.
    next_look : float
        Share of vines of the same past that counted as bad at the first look after, left as they were.
    within : float
        The same within the years compared.
    left : int
        How many looks back these shares rest on: a left vine serves after each of its looks.
    """

    last: float
    next_look: float
    within: float
    left: int


def fallback(renewed: Sequence[Trial], weights: Sequence[float], left: Sequence[Trial], years: int) -> Fallback:
    """Look up what vines like the renewed ones did in all years in which they were left.

    Parameters
    ----------
    renewed : sequence of Trial
    weights : sequence of float
        Of the renewed vines, as they are compared.
    left : sequence of Trial
        After every look, of vines that were never renewed.
    years : int
        Years compared.
    """
    followed = [trial for trial in left if followed_for(trial, years) and trial.through > 0]
    bad = outcomes_by(followed, years)
    by_past: defaultdict[tuple[object, ...], list[tuple[float, float]]] = defaultdict(list)
    for trial, share in zip(followed, bad, strict=True):
        by_past[past_key(trial.past)].append((float(0 < trial.ended <= trial.years[0]), float(share)))
    lines = [
        (weight, *np.mean(by_past[key], axis=0), float(trial.past.last), key)
        for trial, weight in zip(renewed, weights, strict=True)
        if (key := past_key(trial.past)) in by_past and weight > 0
    ]
    if not lines:
        return Fallback(math.nan, math.nan, math.nan, 0)
    of = np.array([line[0] for line in lines])
    shares = [float(np.average([line[k] for line in lines], weights=of)) for k in (3, 1, 2)]
    return Fallback(shares[0], shares[1], shares[2], sum(len(by_past[key]) for key in {line[4] for line in lines}))

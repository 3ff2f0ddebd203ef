"""Which stretch of a winter is best for a cut, by what margin, or what it hangs on that none can be named.

The parts (open wounds under both rules, spare buds, frost) are not added: without prices nobody can say what one is worth in another.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from trunkwatch.winter_model.wounds import Flip

__all__ = ["ENOUGH_WINTERS", "NEAR_BEST", "BestDays", "HangsOn", "Stretch", "best_days"]

Floats = NDArray[np.float64]
#: Past winters from which an average says something.
ENOUGH_WINTERS = 10
#: A stretch is among the best that loses no more than this share of the way from the best to the worst, under either rule; and
#: gives away no more of the crop than this. Our own conventions.
NEAR_BEST, CROP_AT_STAKE = 0.15, 0.03
#: Share of winters by which a stretch with less frost is told from one with more.
FROST_APART = 0.2


class HangsOn(Enum):
    """What has to be known, or decided, before a stretch can be named."""

    WOUND_AGING = "whether a wound ages while it is frozen"
    SPARE_BUDS = "what spare buds are worth against open wounds"
    SPRING_FROST = "what the delay of budbreak is worth against open wounds"
    FEW_WINTERS = "too few past winters on file"
    NO_HARDINESS = "no model says what the cold would kill"
    NO_RAIN = "no rain on file"


@dataclass(frozen=True, slots=True)
class Stretch:
    """One stretch of days, each figure a mean over its days and over the winters.

    Attributes
    ----------
    first, last : int
        Days since the start, both in it.
    by_calendar, by_warmth : float
        Regret of the wounds' exposure against the best stretch, as a share of the way to the worst, under each rule.
    crop_lost : float
        Share of the crop that a final cut gives away; nan where no model serves.
    crop_lost_long : float
        The same after a long first cut.
    frost : float
        Share of winters with frost on open buds; nan where budbreak is not known.
    workable : float
        Share of days that can be worked.
    """

    first: int
    last: int
    by_calendar: float
    by_warmth: float
    crop_lost: float
    crop_lost_long: float
    frost: float
    workable: float

    @property
    def regret(self) -> float:
        """The worse of both rules."""
        return max(self.by_calendar, self.by_warmth)


@dataclass(frozen=True, slots=True)
class BestDays:
    """All stretches in order, the best of them (none where it cannot be told), and what it hangs on."""

    stretches: tuple[Stretch, ...]
    best: tuple[Stretch, ...]
    hangs_on: tuple[HangsOn, ...]
    flip: Flip
    winters: int

    @property
    def told(self) -> bool:
        """Whether a stretch can be named."""
        return bool(self.best)


def best_days(
    stretches: Sequence[tuple[int, int]],
    by_calendar: Floats,
    by_warmth: Floats,
    crop_lost: Floats,
    crop_lost_long: Floats,
    frost: Floats,
    workable: Floats,
    flipped: Flip,
) -> BestDays:
    """Weigh the stretches of a winter.

    Parameters
    ----------
    stretches : sequence of (int, int)
        First and last day of each.
    by_calendar, by_warmth, crop_lost, crop_lost_long, frost : array (winters, days)
        Of every past winter; all nan where not known.
    workable : array (days,)
        Share of winters in which the day could be worked.
    flipped : Flip
        Where the best day moves between both rules.
    """
    parts = [_means(strip, stretches) for strip in (by_calendar, by_warmth, crop_lost, crop_lost_long, frost)]
    calendar, warmth = (_regret(part) for part in parts[:2])
    days = _means(workable[None, :], stretches)
    told = tuple(
        Stretch(first, last, *(float(column[k]) for column in (calendar, warmth, *parts[2:], days)))
        for k, (first, last) in enumerate(stretches)
    )
    hangs = _hangs_on(told, len(by_calendar))
    fit = sorted((one for one in told if one.regret <= NEAR_BEST), key=lambda one: one.regret) if not hangs else []
    return BestDays(told, tuple(fit[:3]), hangs, flipped, len(by_calendar))


def _means(strip: Floats, stretches: Sequence[tuple[int, int]]) -> Floats:
    """Return the mean of each stretch over days and winters, nan where nothing is known."""
    out = []
    for first, last in stretches:
        part = strip[:, first : last + 1]
        known = part[~np.isnan(part)]
        out.append(float(known.mean()) if known.size else np.nan)
    return np.array(out)


def _regret(means: Floats) -> Floats:
    """Return how far each stretch lies from the best, as a share of the way to the worst."""
    if np.isnan(means).all():
        return means
    low, high = np.nanmin(means), np.nanmax(means)
    return np.asarray((means - low) / (high - low)) if high > low else np.zeros_like(means)


def _hangs_on(stretches: Sequence[Stretch], winters: int) -> tuple[HangsOn, ...]:
    """List what keeps a stretch from being named."""
    known = [one for one in stretches if one.regret == one.regret]
    if not known:
        return (HangsOn.NO_RAIN,)
    found = [HangsOn.FEW_WINTERS] if winters < ENOUGH_WINTERS else []
    near = [one for one in known if one.regret <= NEAR_BEST]
    if not near:
        return (*found, HangsOn.WOUND_AGING)
    losses = [one.crop_lost for one in known if one.crop_lost == one.crop_lost]
    if not losses:
        found.append(HangsOn.NO_HARDINESS)
    elif min(one.crop_lost for one in near) - min(losses) > CROP_AT_STAKE:
        found.append(HangsOn.SPARE_BUDS)
    frosts = [one.frost for one in known if one.frost == one.frost]
    if frosts and min(one.frost for one in near) - min(frosts) > FROST_APART:
        found.append(HangsOn.SPRING_FROST)
    return tuple(found)

"""What past counts and noted budbreak say of a site: by how much its buds die warmer than the model says, and break later.

Both are shrunken: a site without a record is as the model has it, and each winter has an error of its own beside that of the site.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from trunkwatch.winter_model.kill import HALF_AT_MOST_C, NINETY_AT_MOST_C, TENTH_AT_MOST_C, kill_share

__all__ = [
    "OFFSETS",
    "SITE_SD_C",
    "SITE_SD_DAYS",
    "YEAR_SD_DAYS",
    "SiteDays",
    "SiteOffset",
    "kill_by_offset",
    "learn_days",
    "learn_offset",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
#: How far sites lie from the model, before one knows anything of them: C and days, our own conventions (a hollow 1 to 2 C under its
#: station is usual). Spread of budbreak from year to year around a model: the middle of what was measured at one site in Washington.
SITE_SD_C, SITE_SD_DAYS, YEAR_SD_DAYS = 1.5, 5.0, 6.5
#: Offsets that are tried, C.
OFFSETS = np.linspace(-12.0, 12.0, 241)
_LEAST = 1e-4


@dataclass(frozen=True, slots=True)
class SiteOffset:
    """By how many C buds die warmer here than the model says (minus: colder), its spread, its middle 80 %, and what it stands on."""

    mean_c: float
    sd_c: float
    low_c: float
    high_c: float
    counts: int
    winters: int


@dataclass(frozen=True, slots=True)
class SiteDays:
    """By how many days buds break later here than the model says (minus: earlier), its middle 80 %, and the years it stands on."""

    mean: float
    low: float
    high: float
    years: int


def kill_by_offset(
    lowest_c: Floats, half_c: Floats, tenth_c: Floats, ninety_c: Floats, *, until: int, offsets: Floats = OFFSETS
) -> Floats:
    """Return the share that one winter has killed up to a day, (offsets,), were buds softer by each offset.

    Parameters
    ----------
    lowest_c, half_c, tenth_c, ninety_c : array (days,)
        Nights, and temperatures that kill half, 10 %, 90 % after each day.
    until : int
        Number of days that count.
    offsets : array, optional
    """
    before = [np.concatenate([curve[:1], curve[:-1]])[:until] for curve in (half_c, tenth_c, ninety_c)]
    caps = (HALF_AT_MOST_C, TENTH_AT_MOST_C, NINETY_AT_MOST_C)
    moved = [np.minimum(curve[None, :] + offsets[:, None], cap) for curve, cap in zip(before, caps, strict=True)]
    nights = np.nan_to_num(kill_share(lowest_c[None, :until], *moved), nan=0.0)
    return np.asarray(nights.max(axis=-1, initial=0.0))


def learn_offset(
    shares: Floats,
    dead: Floats,
    counts_as: Floats,
    winter: Ints,
    *,
    bias_c: float,
    sd_c: float,
    offsets: Floats = OFFSETS,
    level: float = 0.8,
) -> SiteOffset:
    """Learn a site's offset from counts.

    Parameters
    ----------
    shares : array (counts, offsets)
        As `kill_by_offset` gives them.
    dead, counts_as : array (counts,)
        Share of buds found dead, and the independent buds that each count is worth.
    winter : array (counts,)
        Winter of each count: those of one winter share its error.
    bias_c, sd_c : float
        The model's error on the mean (minus: it says hardier than measured) and its spread from winter to winter.
    offsets : array, optional
        Evenly spaced.
    level : float
    """
    chance = np.clip(shares, _LEAST, 1 - _LEAST)
    spoken = counts_as[:, None] * (dead[:, None] * np.log(chance) + (1 - dead[:, None]) * np.log(1 - chance))
    belief = -0.5 * (offsets / SITE_SD_C) ** 2
    for one in np.unique(winter):
        by_total = spoken[winter == one].sum(axis=0)
        # The total offset of a winter is that of the site, that of the model's bias, and the winter's own error.
        error = -0.5 * ((offsets[None, :] - offsets[:, None] + bias_c) / sd_c) ** 2
        both = error + by_total[None, :]
        top = both.max(axis=1, keepdims=True)
        belief = belief + top[:, 0] + np.log(np.exp(both - top).sum(axis=1))
    weight = np.exp(belief - belief.max())
    weight /= weight.sum()
    mean = float(weight @ offsets)
    below = np.cumsum(weight)
    low, high = (float(np.interp(q, below, offsets)) for q in (0.5 - level / 2, 0.5 + level / 2))
    return SiteOffset(
        mean, float(np.sqrt(weight @ (offsets - mean) ** 2)), low, high, len(dead), int(np.unique(winter).size)
    )


def learn_days(errors: Floats, *, level: float = 0.8) -> SiteDays:
    """Learn by how many days buds break later than the model says.

    Parameters
    ----------
    errors : array (years,)
        Noted day less the model's.
    level : float
    """
    own, prior = errors.size / YEAR_SD_DAYS**2, 1 / SITE_SD_DAYS**2
    mean = float(errors.sum() / YEAR_SD_DAYS**2 / (own + prior))
    reach = float(ndtri(0.5 + level / 2)) / float(np.sqrt(own + prior))
    return SiteDays(mean, mean - reach, mean + reach, int(errors.size))

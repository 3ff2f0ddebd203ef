"""Invented blocks for the room `trunkwatch.yearly`: worlds in which nothing spreads, and one in which disease does.

Every world is a hidden season of infection for each vine (never: infinity), made visible in one way: from `LATENT` seasons
after it a vine shows in each season with a chance of its own, and an observer notes it with a chance that may change.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

LATENT = 1
#: Seasons before the record in which the block already stood.
BEFORE = 8


@dataclass(frozen=True)
class World:
    """What is on record of one invented block; every grid is (rows, stations)."""

    case: NDArray[np.bool_]
    looked_at: NDArray[np.bool_]
    stratum: NDArray[np.int64]
    infected: NDArray[np.float64]


Infect = Callable[[np.random.Generator, int, int, int], NDArray[np.float64]]


def observed(infected, seasons, rng, *, shows=(2.0, 4.0), noted=None, stratum=None):
    """Make a record of hidden infections: beta-distributed chances of showing, and chances of being noted."""
    rows, stations = infected.shape
    chance = rng.beta(*shows, (rows, stations))
    time = np.arange(seasons)[:, None, None]
    case = (time >= infected + LATENT) & (rng.random((seasons, rows, stations)) < chance)
    if noted is not None:
        case &= rng.random(case.shape) < noted
    codes = np.zeros((rows, stations), dtype=np.int64) if stratum is None else stratum
    return World(case, np.ones(case.shape, dtype=bool), codes, infected)


def _never(rows, stations):
    return np.full((rows, stations), np.inf)


def scattered_static(rng, seasons, rows, stations):
    """Vines anywhere, all infected long ago; low chances of showing, so that first symptoms come over many seasons."""
    infected = np.where(rng.random((rows, stations)) < 0.25, -5.0, np.inf)
    return observed(infected, seasons, rng, shows=(1.0, 6.0))


def _surface(rng, rows, stations, reach):
    raw = ndimage.gaussian_filter(rng.normal(size=(rows, stations)), (reach / 2, reach), mode="reflect")
    return (raw - raw.mean()) / raw.std()


def static_foci(rng, seasons, rows, stations):
    """Foci infected long ago, two thirds of the vines in them."""
    chance = 0.66 * (_surface(rng, rows, stations, 3.0) > 1.0) + 0.04
    infected = np.where(rng.random((rows, stations)) < chance, -5.0, np.inf)
    return observed(infected, seasons, rng, shows=(1.0, 6.0))


def rootstock_patches(rng, seasons, rows, stations, *, known=False):
    """Patches of 6 rows by 20 vines whose vines sicken from a season of their own."""
    patch = np.add.outer(np.arange(rows) // 6 * 100, np.arange(stations) // 20)
    codes = np.unique(patch, return_inverse=True)[1].reshape(patch.shape)
    onset = rng.uniform(-3, seasons - 2, codes.max() + 1)[codes]
    infected = np.where(rng.random((rows, stations)) < 0.3, onset + rng.exponential(1.5, (rows, stations)), np.inf)
    return observed(infected, seasons, rng, stratum=codes if known else None)


def replant_batches(rng, seasons, rows, stations, *, known=False):
    """One vine in five is a replant, in gaps of one to three; two of four batches came infected. The rest is scattered."""
    batch = np.zeros((rows, stations), dtype=np.int64)
    while (batch > 0).mean() < 0.2:
        row, at, size = rng.integers(rows), rng.integers(stations), rng.integers(1, 4)
        batch[row, at : at + size] = rng.integers(1, 5)
    infected = np.where(rng.random((rows, stations)) < 0.12, rng.uniform(-6, seasons, (rows, stations)), np.inf)
    planted = np.array([0.0, -2.0, seasons / 4, seasons / 2, 3 * seasons / 4])
    sick = np.isin(batch, (1, 3)) & (rng.random(batch.shape) < 0.6)
    infected = np.where(batch > 0, np.where(sick, planted[batch] + rng.exponential(1.5, batch.shape), np.inf), infected)
    return observed(infected, seasons, rng, stratum=batch if known else None)


def changing_crews(rng, seasons, rows, stations, *, known=False):
    """Crews prune four rows each and change every third season; one crew's saw infects four times as many."""
    years = np.arange(-BEFORE, seasons)
    bad = rng.random((len(years) // 3 + 1, rows // 4 + 1)) < 0.3
    rate = np.where(bad[(years[:, None] + BEFORE) // 3, np.arange(rows)[None, :] // 4], 0.05, 0.006)
    hit = rng.random((len(years), rows, stations)) < rate[:, :, None]
    infected = np.where(hit.any(axis=0), years[hit.argmax(axis=0)].astype(float), np.inf)
    codes = np.broadcast_to((np.arange(rows) // 4)[:, None], (rows, stations)).copy() if known else None
    return observed(infected, seasons, rng, stratum=codes)


def smooth_risk(rng, seasons, rows, stations):
    """A smooth surface of risk; infections come evenly over the seasons."""
    rate = 0.012 * np.exp(1.0 * _surface(rng, rows, stations, 6.0))
    infected = -BEFORE + rng.exponential(1 / rate)
    return observed(infected, seasons, rng)


def cold_winter(rng, seasons, rows, stations):
    """One cold winter, worse where cold air lies, beside a steady trickle."""
    infected = -BEFORE + rng.exponential(1 / 0.008, (rows, stations))
    frost = rng.random((rows, stations)) < 0.12 * np.exp(_surface(rng, rows, stations, 5.0))
    return observed(np.where(frost, np.minimum(infected, seasons // 2), infected), seasons, rng)


def other_observer(rng, seasons, rows, stations):
    """Another observer, who notes twice as much, from the middle on in one half of the block."""
    infected = -BEFORE + rng.exponential(1 / (0.015 * np.exp(0.7 * _surface(rng, rows, stations, 6.0))))
    noted = np.full((seasons, rows, stations), 0.4)
    noted[seasons // 2 :, : rows // 2] = 0.95
    return observed(infected, seasons, rng, noted=noted)


def short_zones(rng, seasons, rows, stations, *, length=(4, 9), share=0.5, zones=0.35):
    """Short zones along the row that sicken one after another, each in one or two seasons, beside a scatter."""
    infected = -BEFORE + rng.exponential(1 / 0.004, (rows, stations))
    for row in range(rows):
        at, onset = 0, rng.uniform(-4, seasons)
        while at < stations:
            size = int(rng.integers(*length))
            if rng.random() < zones:
                hit = rng.random(infected[row, at : at + size].size) < share
                when = np.where(hit, onset + rng.exponential(0.7, hit.size), np.inf)
                infected[row, at : at + size] = np.minimum(infected[row, at : at + size], when)
                onset = onset + rng.uniform(0.5, 2.0)
                onset = onset if onset < seasons else rng.uniform(-4, seasons)
            at += size
    return observed(infected, seasons, rng)


def shorter_zones(rng, seasons, rows, stations):
    """The same with zones of two to four vines, nearly all of whose vines sicken."""
    return short_zones(rng, seasons, rows, stations, length=(2, 5), share=0.8, zones=0.15)


def spreading(rng, seasons, rows, stations, *, along=0.06, across=0.0, outside=0.006):
    """Disease comes in from outside, and passes from an infected vine to the next ones, whether it shows or not."""
    infected = np.full((rows, stations), np.inf)
    for year in range(-BEFORE, seasons):
        sick = infected < year
        row, other = np.zeros(sick.shape), np.zeros(sick.shape)
        row[:, 1:] += sick[:, :-1]
        row[:, :-1] += sick[:, 1:]
        other[1:] += sick[:-1]
        other[:-1] += sick[1:]
        force = outside + along * row + across * other
        hit = ~np.isfinite(infected) & (rng.random(sick.shape) < -np.expm1(-force))
        infected[hit] = year
    return observed(infected, seasons, rng)


STILL: dict[str, Callable[..., World]] = {
    "scattered static": scattered_static, "static foci": static_foci, "rootstock patches": rootstock_patches,
    "replant batches": replant_batches, "changing crews": changing_crews, "smooth risk": smooth_risk,
    "cold winter": cold_winter, "other observer": other_observer, "short zones": short_zones,
    "shorter zones": shorter_zones,
}  # fmt: skip


def first_seasons(case):
    """Season number of each vine's first case, -1 where there is none, and how many seasons it was noted in."""
    times = case.sum(axis=0)
    return np.where(times > 0, case.argmax(axis=0), -1), times

"""What goes on in a block: where disease comes from, how it shows, who looks, what is cut. Drawn before anything runs."""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from calibration.worlds.kinds import BEFORE, FUTURE, ROW_M, VINE_M, Block
from numpy.typing import NDArray

__all__ = [
    "CHOICES",
    "FAR",
    "Cold",
    "Course",
    "Growth",
    "Looks",
    "Passing",
    "Replanting",
    "Showing",
    "Work",
    "along_kernel",
    "distance_kernel",
    "no_stock",
    "one_observer",
    "rising",
]

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

#: A season that never comes.
FAR = 10_000
#: Ways to choose the vines to renew.
CHOICES = ("worst_first", "longest_on_record", "at_random", "showing_this_year", "showed_least")


@dataclass(frozen=True)
class Passing:
    """Disease passes from vine to vine.

    An infected vine whose incubation is over infects others as long as it stands, dead or alive; a vine whose renewal took
    the disease away does not. `rate` is the number of vines that it infects in a season where all around it are
    sound; `kernel` (rows x stations, odd sides, sum 1, 0 in the middle) shares them out.
    """

    kernel: Floats
    rate: float


@dataclass(frozen=True)
class Showing:
    """How an infected vine shows once its incubation is over: by leaf symptoms that come and go.

    The chance is `first` until it has shown, then `again[0]`, moving to `again[1]` over `ramp` seasons of showing; seasons differ
    by log-odds with standard deviation `season_sd`.
    """

    first: float = 0.5
    again: tuple[float, float] = (0.6, 0.6)
    ramp: int = 1
    season_sd: float = 0.3

    def chance(self, times: Ints) -> Floats:
        """Return the chance of a middling season for vines that showed so many times."""
        low, high = self.again
        return np.where(times == 0, self.first, low + (high - low) * np.clip((times - 1) / max(self.ramp - 1, 1), 0, 1))


@dataclass(frozen=True)
class Growth:
    """How an infected vine shows by dead wood that lasts: the share dead after so many seasons of its disease."""

    curve: Literal["early", "late", "slow"]
    spread_of_rates: float = 0.3  # standard deviation of the logarithm of each vine's speed

    def share(self, seasons: Floats) -> Floats:
        """Return the share dead; seasons count from 1 in the first in which the vine can show."""
        age = np.maximum(seasons, 0.0)
        if self.curve == "early":
            grown = 0.8 * (1 - np.exp(-age / 2.0))
        elif self.curve == "late":
            grown = np.where(age > 0, 0.06 + 0.9 / (1 + np.exp(-(age - 8.0) / 1.2)), 0.0)
        else:
            grown = 0.04 * age
        return np.minimum(grown, 1.0)


@dataclass(frozen=True)
class Cold:
    """One cold winter: before the look of season `season` of the record wood is killed with `chance`.

    Damaged wood stands and is grown over again, which nobody writes, by `heals` of the vines a season.
    """

    season: int
    chance: Floats
    heals: float = 0.3
    kills: float = 0.05
    called_cold: float = (
        0.3  # share of the dead wood first noted in that season whose cause is written as winter injury
    )


@dataclass(frozen=True)
class Replanting:
    """Before the look of season `season` of the record the vines of `where` are replaced, some by infected stock."""

    season: int
    where: Bools
    infected: Bools


@dataclass(frozen=True)
class Work:
    """Vines that are renewed every winter from season `first` of the record on, chosen from what is on record.

    `useful`: the disease goes and comes back with the chance `relapse` a season. Otherwise the work changes nothing.
    """

    choose: str
    useful: bool
    relapse: float = 0.0
    share: float = 0.015  # of all vines, each winter
    first: int = 3


@dataclass(frozen=True)
class Looks:
    """Who walks which row, and how well they see; by season of the record and five after it."""

    who: Ints  # season x row: index of the observer, -1 not walked
    sees: Floats  # season x row: chance that a vine that shows is noted
    names: tuple[str, ...] = ("A",)
    writes_dead: bool = True
    writes_gap: float = 0.0  # share of the dead that are written as removed two to four seasons later
    sees_beside: float | None = (
        None  # instead, beside a vine that was noted in an earlier season (in the row or across)
    )
    slips: float = 0.0  # share of notes that are written one position off in the row
    false_once: float = 0.0  # share of vines that are noted once though sound, where they were sound in that season


@dataclass(frozen=True)
class Course:
    """All of it. Seasons called `year` count from the planting of the block, others from the start of the record."""

    looks: Looks
    stock: Bools  # vines that were infected when the block was planted
    can_show: Ints  # year in which a vine infected with the stock can show for the first time
    outside: Floats | float = 0.0  # chance of infection from outside, by year x row x station or what spreads out to it
    incubation: int = 2  # seasons from infection to when it can show, for infections after planting
    passing: Passing | None = None
    seeds: Bools | None = None  # infected from outside in the year `seeds_in`, can show after the incubation
    seeds_in: int = 3
    shows: Showing | Growth = field(default_factory=Showing)
    dies_showing: float = 0.02  # in the season after one in which it showed
    dies_sound: float = 0.002
    cold: Cold | None = None
    weather: bool = False
    replantings: tuple[Replanting, ...] = ()
    work: Work | None = None
    row_cultivars: tuple[str, ...] = ()  # by row, where on record
    plant_rootstocks: NDArray[np.str_] | None = None  # row x station, where on record


def one_observer(block: Block, sees: float = 0.9) -> Looks:
    """Return looks of every row in every season by one person."""
    span = (block.seasons + FUTURE, block.shape[0])
    return Looks(np.zeros(span, dtype=np.int64), np.full(span, sees))


def along_kernel(second: float = 0.2) -> Floats:
    """Return a kernel that reaches the next vine along the row, and with the share `second` the one after it."""
    kernel = np.array([[second, 1.0, 0.0, 1.0, second]])
    return kernel / kernel.sum()


def distance_kernel(scale_m: float) -> Floats:
    """Return a kernel that falls as exp(-distance / scale) in metres, the same in all directions, cut off at 5 scales."""
    reach = 5 * scale_m
    rows, stations = int(reach // ROW_M), int(reach // VINE_M)
    across = np.arange(-rows, rows + 1)[:, None] * ROW_M
    along = np.arange(-stations, stations + 1)[None, :] * VINE_M
    distance = np.hypot(across, along)
    kernel = np.where(distance <= reach, np.exp(-distance / scale_m), 0.0)
    kernel[rows, stations] = 0.0
    return kernel / kernel.sum()


def no_stock(block: Block) -> tuple[Bools, Ints]:
    """Return a block planted with sound vines: no stock, and seasons that never come."""
    return np.zeros(block.shape, dtype=bool), np.full(block.shape, FAR, dtype=np.int64)


def rising(block: Block, start: float, slope: float) -> Floats:
    """Return a chance by year: `start` up to the first season of the record, from then on log-odds that move by `slope` a season."""
    years = np.maximum(np.arange(block.years) - BEFORE, 0)
    return 1 / (1 + np.exp(-(np.log(start / (1 - start)) + slope * years)))

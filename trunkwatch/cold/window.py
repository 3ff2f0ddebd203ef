"""When to prune a block, as values: every stretch of what is left of a winter, with the weather of past winters after today."""

import datetime as dt
from calendar import isleap
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from trunkwatch.cold.ahead import Ahead
from trunkwatch.cold.block_cold import BlockCold
from trunkwatch.cold.days import SPORES_TO, Weather, Winter
from trunkwatch.cold.models import Course, at_site, chill_course, daily_course
from trunkwatch.winter_model.best_days import BestDays, best_days
from trunkwatch.winter_model.serves import Serves
from trunkwatch.winter_model.spare_buds import early_cut_cost, secondary_crop
from trunkwatch.winter_model.spring import FROST_C, frost_after
from trunkwatch.winter_model.workable import Limits, share_workable, workable
from trunkwatch.winter_model.wounds import CALENDAR, WARMTH, exposure, flip, spore_days

__all__ = ["HARMLESS_C", "LONG_CUT", "MOST_NODES", "PRUNING", "BlockWindow", "window_of"]

Floats = NDArray[np.float64]
#: First and last day of pruning, north of the equator, and the days that part its stretches.
PRUNING = ((11, 1), (4, 30))
_STARTS = (1, 16)
#: Nodes that a vine carries at the most, and that a long first cut leaves, in wanted nodes (2 to 3 by Purdue's extension text).
MOST_NODES, LONG_CUT = 2.0, 2.0
#: Nights that no dormant bud minds, and the day up to which they are asked for (our own convention; the tenderest measured buds of
#: October lost half at -11.5 C in the middle of many years).
HARMLESS_C, HARMLESS_TO = -8.0, (3, 31)
#: Days that make a stretch; a shorter rest joins its neighbor.
_SHORTEST = 5
_BLENDS = np.linspace(0.0, 1.0, 21)
#: Levels whose limits lie in the middle of each fifth of the model's error, and how often each limit counts.
_FIFTHS = (0.8, 0.4, 0.0)


@dataclass(frozen=True, slots=True)
class BlockWindow:
    """The stretches of a winter for one block and cultivar.

    Attributes
    ----------
    first : date
        Day 0 of the stretches.
    from_day : date
        First day that can still be pruned.
    best : BestDays
    winters : tuple of int
        Seasons of the past winters that stood in for what is to come.
    calendar, warmth : array (days,)
        Mean exposure of a cut on each day under both rules.
    crop_lost : array (days,)
        Mean share of the crop that a final cut on each day gives away; nan where no model serves.
    frost_of : int
        Winters of which budbreak is known.
    harmless : bool
        No model serves, and no night of past winters was cold enough to matter: spare buds are not at stake.
    most : float
        Nodes that a vine carries at the most, in wanted nodes.
    long_cut : float
        Nodes that a long first cut leaves, in wanted nodes.
    forecast : tuple of date
        Days of the user's own forecast that stand between what was measured and the past winters.
    by_winter : dict of str to array (winters, days)
        What the stretches are means of: calendar, warmth, crop_lost, crop_lost_long, frost, workable.
    """

    first: dt.date
    from_day: dt.date
    best: BestDays
    winters: tuple[int, ...]
    calendar: Floats = field(repr=False)
    warmth: Floats = field(repr=False)
    crop_lost: Floats = field(repr=False)
    frost_of: int = 0
    harmless: bool = False
    most: float = MOST_NODES
    long_cut: float = LONG_CUT
    forecast: tuple[dt.date, ...] = ()
    by_winter: dict[str, Floats] = field(default_factory=dict, repr=False)

    def day(self, place: int) -> dt.date:
        """Return the day at a place."""
        return self.first + dt.timedelta(days=place)


def window_of(
    found: BlockCold,
    weather: Weather,
    *,
    limits: Limits | None = None,
    most: float = MOST_NODES,
    long_cut: float = LONG_CUT,
    ahead: Ahead | None = None,
) -> BlockWindow | None:
    """Weigh what is left of the winter; None where no past winter is on file, or pruning time is over.

    Parameters
    ----------
    found : BlockCold
        The block this winter.
    weather : Weather
    limits : Limits, optional
        What the crew works in.
    most : float
        Nodes that a vine carries at the most, in wanted nodes.
    long_cut : float
        Nodes that a long first cut leaves, in wanted nodes.
    ahead : Ahead, optional
        The user's own forecast: its days stand in for those of past winters.
    """
    this = weather.winter(found.season, found.hemisphere)
    past = weather.past(found.season, found.hemisphere)
    today = max((found.asked - this.first).days, 0)
    known = today if found.as_of is None else (found.as_of - this.first).days
    stretches = _stretches(this, today)
    if not past or not stretches:
        return None
    soon = None if ahead is None else ahead.weather.winter(found.season, found.hemisphere)
    to_come = [_spliced(this, one, known, soon) for one in past]
    lows, highs, rain, snow = (
        np.stack([getattr(one, name) for one in to_come]) for name in ("t_min_c", "t_max_c", "rain_mm", "snow_cm")
    )
    mean = (lows + highs) / 2
    spores = spore_days(rain, highs)
    by_blend = exposure(spores, mean, _BLENDS)
    by_blend[:, np.isnan(rain).all(axis=-1)] = np.nan  # a winter without a figure of rain says nothing of spores
    allowed = np.zeros(mean.shape[-1], dtype=bool)
    allowed[stretches[0][0] : stretches[-1][1] + 1] = True
    middle = _mean(by_blend, 1)
    moved = flip(np.nan_to_num(middle, nan=0.0), _BLENDS, allowed)
    courses = _courses(found, to_come)
    final, long = _crop_lost(courses, lows.shape, most, long_cut)
    harmless = not courses and bool(np.nanmin(lows[:, today : this.at(HARMLESS_TO) + 1], initial=np.inf) > HARMLESS_C)
    if harmless:
        final, long = np.zeros_like(final), np.zeros_like(long)
    frost = _frost(found, courses, lows)
    can_work = workable(highs, rain, snow, limits)
    work = share_workable(can_work)
    calendar, warmth = by_blend[_BLENDS == CALENDAR][0], by_blend[_BLENDS == WARMTH][0]
    best = best_days(stretches, calendar, warmth, final, long, frost, work, moved)
    return BlockWindow(
        this.first,
        this.day(stretches[0][0]),
        best,
        tuple(one.season for one in past),
        middle[-1],
        middle[0],
        _mean(final, 0),
        int((~np.isnan(frost).all(axis=-1)).sum()),
        harmless,
        most,
        long_cut,
        () if ahead is None else ahead.days,
        {
            "calendar": calendar,
            "warmth": warmth,
            "crop_lost": final,
            "crop_lost_long": long,
            "frost": frost,
            "workable": can_work,
        },
    )


def _mean(values: Floats, axis: int) -> Floats:
    """Return the mean of what is known, nan where nothing is."""
    known = ~np.isnan(values)
    count = known.sum(axis=axis)
    return np.where(count > 0, np.where(known, values, 0.0).sum(axis=axis) / np.maximum(count, 1), np.nan)


def _stretches(this: Winter, today: int) -> list[tuple[int, int]]:
    """Return the half-months of pruning time that are not over, the one under way from today on."""
    first, last = this.at(PRUNING[0]), this.at(PRUNING[1])
    days = [place for place in range(first, last + 1) if place >= today]
    if not days:
        return []
    starts = [days[0], *(place for place in days[1:] if this.day(place).day in _STARTS)]
    ends = [place - 1 for place in starts[1:]] + [last]
    found = list(zip(starts, ends, strict=True))
    if len(found) > 1 and found[0][1] - found[0][0] + 1 < _SHORTEST:
        found[:2] = [(found[0][0], found[1][1])]
    return found


def _spliced(this: Winter, past: Winter, known: int, soon: Winter | None = None) -> Winter:
    """Return this winter up to the last day that is known, forecast days where they say something, and a past winter elsewhere.

    29 February of a past winter is left out where this one has none; where only this one has it, its figures are missing.
    """
    places = _places(this, past)
    cut = {}
    for name in ("t_min_c", "t_max_c", "rain_mm", "snow_cm"):
        other = np.where(places >= 0, getattr(past, name)[places], np.nan)
        own = getattr(this, name)
        if soon is not None:
            other = np.where(np.isnan(getattr(soon, name)), other, getattr(soon, name))
        cut[name] = np.where(np.arange(len(own)) <= known, own, other)
    return Winter(this.season, this.hemisphere, this.first, **cut)


def _places(this: Winter, past: Winter) -> NDArray[np.intp]:
    """Return where each day of a winter lies in a past one by month and day, -1 where it does not."""
    own, other = len(this.t_min_c), len(past.t_min_c)
    places = np.arange(own)
    leap, past_leap = _leap_day(this), _leap_day(past)
    if leap is not None and past_leap is None:
        places[leap:] -= 1
        places[leap] = -1
    elif past_leap is not None and leap is None:
        places[past_leap:] += 1
    return np.where(places < other, places, -1)


def _leap_day(winter: Winter) -> int | None:
    """Return the place of 29 February, None where the winter has none."""
    first, last = winter.first, winter.day(len(winter.t_min_c) - 1)
    days = [dt.date(year, 2, 29) for year in range(first.year, last.year + 1) if isleap(year)]
    return next(((day - first).days for day in days if first <= day <= last), None)


def _courses(found: BlockCold, to_come: Sequence[Winter]) -> list[Course]:
    """Run the model that serves over the winters ahead, to early summer: of late winters alone without budbreak frost would look worse."""
    if found.verdict is None or found.verdict.serves is Serves.NONE:
        return []
    if found.verdict.serves is Serves.CHILL:
        return [
            at_site(chill_course(to_come, one, found.latitude, SPORES_TO), found.site)
            for one in found.of
            if found.latitude is not None
        ]
    return [at_site(daily_course(to_come, one, SPORES_TO), found.site) for one in found.of]


def _crop_lost(
    courses: Sequence[Course], shape: tuple[int, ...], most: float, long_cut: float
) -> tuple[Floats, Floats]:
    """Return the share of the crop that a final and a long cut give away, the mean over the model's error and over a group."""
    out = [np.full(shape, np.nan) for _ in range(2)]
    if not courses:
        return out[0], out[1]
    sums = [np.zeros_like(courses[0].half_c) for _ in range(2)]
    for course in courses:
        secondary = secondary_crop(course.cultivar.kind)
        for level in _FIFTHS:
            killed = course.killed(level=level)
            for side in (killed.low, killed.high) if level else (killed.low,):
                for number, left in enumerate((1.0, long_cut)):
                    sums[number] += early_cut_cost(side, most=most, left=left, secondary=secondary)
    offset, length = courses[0].offset, courses[0].half_c.shape[-1]
    for number, values in enumerate(sums):
        out[number][:, offset : offset + length] = values / (5 * len(courses))
    return out[0], out[1]


def _frost(found: BlockCold, courses: Sequence[Course], lows: Floats) -> Floats:
    """Tell where frost would meet open buds after a cut on each day; not for groups, nor where no budbreak is known."""
    days = lows.shape[-1]
    point = FROST_C.get(courses[0].cultivar.kind) if courses and found.stand_in is None else None
    if point is None:
        return np.full(lows.shape, np.nan)
    breaks = np.where(courses[0].budbreak >= 0, courses[0].budbreak + courses[0].offset, -1)
    return frost_after(lows, breaks, np.arange(days), point)

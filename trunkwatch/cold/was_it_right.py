"""Was it right? Past counts of buds and noted budbreak of a block beside what the model said of those winters."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trunkwatch.cold.block_cold import BlockCold, cold_of_block
from trunkwatch.cold.counts import BUDS_A_CANE
from trunkwatch.cold.days import CHILL_FROM, SPORES_TO, Weather, day_in, season_at
from trunkwatch.cold.models import Course, chill_course, daily_course
from trunkwatch.cold.noted import BudCount, NotedBudbreak
from trunkwatch.winter_model.bud_count import likeness_factor
from trunkwatch.winter_model.serves import Serves
from trunkwatch.winter_model.site_offset import SiteDays, SiteOffset, kill_by_offset, learn_days, learn_offset

__all__ = ["PastBreak", "PastKill", "WasItRight", "was_it_right"]

#: Years of noted budbreak from which the model is set against the site's mean date.
YEARS_TO_BEAT = 3


@dataclass(frozen=True, slots=True)
class PastKill:
    """One past count: the share found dead beside the model's range by that day."""

    day: dt.date
    part: str
    dead: int
    buds: int
    low: float
    high: float

    @property
    def inside(self) -> bool:
        """Whether the share lies in the range."""
        return self.low <= self.dead / self.buds <= self.high


@dataclass(frozen=True, slots=True)
class PastBreak:
    """One past budbreak: noted, and by the model."""

    noted: dt.date
    model: dt.date

    @property
    def days_late(self) -> int:
        """Days by which it was noted after the model's day."""
        return (self.noted - self.model).days


@dataclass(frozen=True, slots=True)
class WasItRight:
    """What the past says of the model at a block.

    Attributes
    ----------
    kills : tuple of PastKill
    breaks : tuple of PastBreak
    offset : SiteOffset or None
    days : SiteDays or None
    rmse : (float, float) or None
        Error in days of the model with its offset, and of the site's mean date, each year predicted from the others.
    no_model : tuple of int
        Seasons of counts and notes of which no model speaks.
    """

    kills: tuple[PastKill, ...] = ()
    breaks: tuple[PastBreak, ...] = ()
    offset: SiteOffset | None = None
    days: SiteDays | None = None
    rmse: tuple[float, float] | None = None
    no_model: tuple[int, ...] = ()


def was_it_right(
    cold: BlockCold, weather: Weather, counts: Sequence[BudCount], broke: Sequence[NotedBudbreak], own_cultivar: str
) -> WasItRight:
    """Set the past beside the model, of winters before the one that is asked about.

    Parameters
    ----------
    cold : BlockCold
    weather : Weather
    counts, broke : sequences
        Of the block, all years.
    own_cultivar : str
        The block's: a note that names none is of it.
    """
    if not cold.of or cold.stand_in is not None:
        return WasItRight()
    before = day_in(cold.season, CHILL_FROM, cold.hemisphere)
    mine = [one for one in counts if _is_of(one.cultivar, own_cultivar, cold) and one.date < before]
    noted = [one for one in broke if _is_of(one.cultivar, own_cultivar, cold) and one.date < before]
    courses: dict[int, tuple[Course, dt.date] | None] = {}
    kills, shares, worth = [], [], []
    lost = []
    for count in mine:
        season = season_at(count.date, cold.hemisphere)
        then = _at(cold, weather, count.date)
        course = courses.setdefault(season, _course(cold, weather, season))
        if then.killed is None or course is None:
            lost.append(season)
            continue
        kills.append(PastKill(count.date, count.part, count.primary_dead, count.buds, *then.killed))
        shares.append(_by_offset(*course, count.date))
        per_cane = count.buds / count.canes if count.canes else BUDS_A_CANE
        worth.append((count.primary_dead / count.buds, count.buds / likeness_factor(per_cane), season))
    breaks = []
    for note in noted:
        season = season_at(note.date, cold.hemisphere)
        course = courses.setdefault(season, _course(cold, weather, season))
        if course is None or course[0].budbreak[0] < 0:
            lost.append(season)
            continue
        breaks.append(PastBreak(note.date, course[1] + dt.timedelta(days=int(course[0].budbreak[0]))))
    error = next((one[0].error for one in courses.values() if one is not None), None)
    offset = None
    if kills and error is not None:
        dead, counts_as, winter = (np.array(column, dtype=float) for column in zip(*worth, strict=True))
        offset = learn_offset(
            np.stack(shares), dead, counts_as, winter.astype(np.intp), bias_c=error.bias_c, sd_c=error.sd_c
        )
    days = learn_days(np.array([one.days_late for one in breaks], dtype=float)) if breaks else None
    return WasItRight(tuple(kills), tuple(breaks), offset, days, _beaten(breaks), tuple(sorted(set(lost))))


def _is_of(cultivar: str, own: str, cold: BlockCold) -> bool:
    return (cultivar or own).casefold() == cold.cultivar.casefold()


def _at(cold: BlockCold, weather: Weather, day: dt.date) -> BlockCold:
    return cold_of_block(
        cold.block,
        cold.cultivar,
        weather,
        day,
        hemisphere=cold.hemisphere,
        latitude=cold.latitude,
        stand_in=cold.stand_in,
    )


def _course(cold: BlockCold, weather: Weather, season: int) -> tuple[Course, dt.date] | None:
    """Return a past winter by the model that served it, with its first day; None where none did."""
    end = day_in(season, (5, 15), cold.hemisphere)
    then = _at(cold, weather, end)
    if then.verdict is None or then.verdict.serves is Serves.NONE:
        return None
    winter = weather.winter(season, cold.hemisphere)
    if then.verdict.serves is Serves.CHILL and cold.latitude is not None:
        course = chill_course([winter], cold.of[0], cold.latitude, SPORES_TO)
    else:
        course = daily_course([winter], cold.of[0], SPORES_TO)
    return course, winter.day(course.offset)


def _by_offset(course: Course, first: dt.date, day: dt.date) -> np.ndarray:
    last = (day - first).days + 1
    end = int(course.ends[0])
    last = min(last, end) if end >= 0 else last
    return kill_by_offset(
        course.t_min_c[0], course.half_c[0], course.tenth_c[0], course.ninety_c[0], until=max(last, 0)
    )


def _beaten(breaks: Sequence[PastBreak]) -> tuple[float, float] | None:
    """Return the errors of the model and of the mean date, each year predicted from the others; None for too few years."""
    if len(breaks) < YEARS_TO_BEAT:
        return None
    late = np.array([one.days_late for one in breaks], dtype=float)
    of_year = np.array([one.noted.timetuple().tm_yday for one in breaks], dtype=float)
    by_model, by_mean = [], []
    for k in range(len(breaks)):
        rest = np.arange(len(breaks)) != k
        by_model.append(late[k] - learn_days(late[rest]).mean)
        by_mean.append(of_year[k] - of_year[rest].mean())
    return tuple(float(np.sqrt(np.mean(np.square(errors)))) for errors in (by_model, by_mean))  # type: ignore[return-value]

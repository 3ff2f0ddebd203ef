"""What this winter did to the buds of a block, as values: how hardy they stand, the coldest night, the range killed, when to look."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from trunkwatch.cold.days import DAILY_FROM, DAILY_TO, Gap, Weather, Winter, gap_in, season_at
from trunkwatch.cold.models import Course, at_site, chill_course, daily_course, judged
from trunkwatch.winter_model.chill_curve import CHILL_SETS
from trunkwatch.winter_model.cultivars import Cultivar, Group, cultivar_named, members
from trunkwatch.winter_model.kill import HALF_AT_MOST_C
from trunkwatch.winter_model.serves import Gate, Serves, Verdict
from trunkwatch.winter_model.site_offset import SiteOffset

__all__ = ["LOOK_AT", "BlockCold", "Curve", "OtherModel", "Why", "cold_of_block"]

Floats = NDArray[np.float64]
#: Share killed at the upper limit from which a look is worth the walk: what a count of a hundred buds can show (our own convention).
LOOK_AT = 0.1
LEVEL = 0.8
#: The gates from the best to the worst: of a group the worst member's counts.
_WORST = (Gate.REACHED, Gate.USUAL, Gate.ON_PACE, Gate.UNKNOWN, Gate.MILD_PLACE, Gate.MILD_WINTER)


class Why(Enum):
    """Why nothing is said of a block's buds."""

    NO_CULTIVAR = "no cultivar is written"
    UNKNOWN_CULTIVAR = "no model knows the cultivar"
    NO_WEATHER = "no weather of this winter is on file"
    HOLES = "days are missing"
    REFUSED = "no model holds for this winter"
    NO_SPRING = "the hybrids' curve says nothing in spring"


@dataclass(frozen=True, slots=True)
class OtherModel:
    """What the model that does not serve says, beside the one that does: where half would die, the range killed, budbreak."""

    serves: Serves
    half_c: float
    killed: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Curve:
    """The course of the winter, for a picture: where half of the buds would die (both limits), and the nights."""

    days: tuple[dt.date, ...]
    soft_c: Floats = field(repr=False)
    hardy_c: Floats = field(repr=False)
    t_min_c: Floats = field(repr=False)


@dataclass(frozen=True, slots=True)
class BlockCold:
    """One cultivar of a block in one winter.

    Attributes
    ----------
    block, cultivar : str
    stand_in : Group or None
        The group that stands in for a cultivar that no model knows.
    of : tuple of Cultivar
        The cultivar, or the members of the group.
    season : int
        Year of the harvest.
    hemisphere : {"north", "south"}
    asked, as_of : date
        The day asked for, and the last day with temperatures up to it (None where there is none).
    why : Why or None
        Why nothing is said.
    gap : Gap or None
        The days that are missing.
    verdict : Verdict or None
    half_dies_c : (float, float) or None
        Temperatures between which half of the primary buds would die now, the softer one first.
    coldest : (date, float) or None
        Coldest night of the winter so far.
    killed : (float, float) or None
        Limits of the share of primary buds killed so far.
    worst_night : date or None
        The night that counts for it.
    look_from : date or None
        From when a look at the buds is worth the walk; None where it is not.
    budbreak : date or None
        When buds broke by the model, where that is past.
    other : OtherModel or None
    curve : Curve or None
    latitude : float or None
    site : SiteOffset or None
        What counts of past winters say of the site; it is in all figures but those of the other model.
    """

    block: str
    cultivar: str
    stand_in: Group | None
    of: tuple[Cultivar, ...]
    season: int
    hemisphere: str
    asked: dt.date
    as_of: dt.date | None = None
    why: Why | None = None
    gap: Gap | None = None
    verdict: Verdict | None = None
    half_dies_c: tuple[float, float] | None = None
    coldest: tuple[dt.date, float] | None = None
    killed: tuple[float, float] | None = None
    worst_night: dt.date | None = None
    look_from: dt.date | None = None
    budbreak: dt.date | None = None
    other: OtherModel | None = None
    curve: Curve | None = field(default=None, repr=False)
    latitude: float | None = None
    site: SiteOffset | None = None


def cold_of_block(
    block: str,
    cultivar: str,
    weather: Weather,
    day: dt.date,
    *,
    hemisphere: str,
    latitude: float | None = None,
    stand_in: Group | None = None,
    site: SiteOffset | None = None,
    beside: bool = True,
) -> BlockCold:
    """Say what the winter did up to a day.

    Parameters
    ----------
    block, cultivar : str
        Names; the cultivar may be empty.
    weather : Weather
        Of the vineyard.
    day : date
    hemisphere : {"north", "south"}
    latitude : float, optional
        Degrees, negative south of the equator.
    stand_in : Group, optional
        Taken where no model knows the cultivar, and only there.
    site : SiteOffset, optional
        What counts of past winters say of the site.
    beside : bool
        Whether the other model is asked beside the one that serves.
    """
    known = cultivar_named(cultivar)
    group = None if known else stand_in
    of = (known,) if known else members(group) if group else ()
    season = season_at(day, hemisphere)
    found = BlockCold(block, cultivar, group, of, season, hemisphere, day, latitude=latitude, site=site)
    whole = weather.winter(season, hemisphere)
    last = _last_known(whole, day)
    if last is None:
        return replace(found, why=Why.NO_WEATHER)
    this = whole.until(last)
    found = replace(found, as_of=this.day(last), coldest=_coldest(this, this.at(DAILY_FROM), last))
    if not of:
        return replace(found, why=Why.UNKNOWN_CULTIVAR if cultivar else Why.NO_CULTIVAR)
    if (gap := gap_in(this, last)) is not None:
        return replace(found, why=Why.HOLES, gap=gap)
    past = weather.past(season, hemisphere)
    verdicts = [judged(this, past, last, one, latitude if group is None else None) for one in of]
    verdict = max(verdicts, key=lambda one: _WORST.index(one.gate))
    if verdict.serves is Serves.NONE:
        return replace(found, why=Why.REFUSED, verdict=verdict)
    courses = [at_site(_course(this, one, verdict.serves, latitude), site) for one in of]
    spoken = _spoken(replace(found, verdict=verdict), this, last, courses)
    return replace(spoken, other=_other(spoken, this, last, courses)) if beside else spoken


def _last_known(winter: Winter, day: dt.date) -> int | None:
    """Return the place of the last day with both temperatures, up to a day and to the end of the daily model."""
    end = min((day - winter.first).days, winter.at(DAILY_TO))
    known = np.flatnonzero(~np.isnan(winter.mean_c[: max(end + 1, 0)]))
    return int(known[-1]) if known.size and known[-1] >= winter.at(DAILY_FROM) else None


def _coldest(winter: Winter, first: int, last: int) -> tuple[dt.date, float]:
    nights = winter.t_min_c[first : last + 1]
    place = int(np.nanargmin(nights))
    return winter.day(first + place), float(nights[place])


def _course(this: Winter, cultivar: Cultivar, serves: Serves, latitude: float | None) -> Course:
    if serves is Serves.CHILL and latitude is not None:
        return chill_course([this], cultivar, latitude)
    return daily_course([this], cultivar)


def _spoken(found: BlockCold, this: Winter, last: int, courses: Sequence[Course]) -> BlockCold:
    """Put the courses of a cultivar, or of the members of a group, into one answer."""
    offset = courses[0].offset
    now = last - offset
    ends = [int(one.ends[0]) for one in courses]
    over = all(0 <= end <= now for end in ends)
    killed = [one.killed(level=LEVEL) for one in courses]
    low = min(float(one.low[0, now]) for one in killed)
    high = max(float(one.high[0, now]) for one in killed)
    nights = np.max([np.nan_to_num(one.night_high[0, : now + 1]) for one in killed], axis=0)
    worst = int(nights.argmax())
    soft, hardy = _band(courses)
    days = tuple(this.day(offset + place) for place in range(now + 1))
    hybrid = courses[0].cultivar.budbreak_c is None
    return replace(
        found,
        killed=(low, high),
        worst_night=this.day(offset + worst),
        look_from=this.day(offset + worst + 1) if high >= LOOK_AT else None,
        curve=Curve(days, soft[: now + 1], hardy[: now + 1], courses[0].t_min_c[0, : now + 1]),
        why=Why.NO_SPRING if over and hybrid else None,
        budbreak=this.day(offset + min(ends)) if over and not hybrid else None,
        half_dies_c=None if over else (float(soft[now]), float(hardy[now])),
    )


def _band(courses: Sequence[Course]) -> tuple[Floats, Floats]:
    """Return the limits of the temperature that kills half, the softer first, with the model's error in them."""
    reach = float(ndtri(0.5 + LEVEL / 2))
    soft = np.max([one.half_c[0] - one.error.bias_c + reach * one.error.sd_c for one in courses], axis=0)
    hardy = np.min([one.half_c[0] - one.error.bias_c - reach * one.error.sd_c for one in courses], axis=0)
    return np.minimum(soft, HALF_AT_MOST_C), np.minimum(hardy, HALF_AT_MOST_C)


def _other(found: BlockCold, this: Winter, last: int, courses: Sequence[Course]) -> OtherModel | None:
    """Ask the model by chill portions beside the daily one, where it knows the cultivar; the other way it would be refused."""
    cultivar = courses[0].cultivar
    daily = found.verdict is not None and found.verdict.serves is Serves.DAILY
    if not daily or len(courses) > 1 or cultivar.name not in CHILL_SETS or found.latitude is None:
        return None
    course = chill_course([this], cultivar, found.latitude)
    now = last - course.offset
    if 0 <= int(course.ends[0]) <= now:
        return None
    killed = course.killed(level=LEVEL)
    return OtherModel(
        Serves.CHILL, float(course.half_c[0, now]), (float(killed.low[0, now]), float(killed.high[0, now]))
    )

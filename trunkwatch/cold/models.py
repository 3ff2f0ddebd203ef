"""The models of a winter run over the winters of a place, for a cultivar or for a group that stands in for one."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from trunkwatch.cold.days import CHILL_FROM, DAILY_FROM, DAILY_TO, GATE_ON, Winter, stacked
from trunkwatch.winter_model.chill_curve import CHILL_ERROR, CHILL_SETS, ChillCurve, chill_curve
from trunkwatch.winter_model.cultivars import Cultivar, ModelError
from trunkwatch.winter_model.daily import DailyCurve, daily_curve
from trunkwatch.winter_model.kill import LEAST_STEP_C, Killed, ten_and_ninety, winter_kill
from trunkwatch.winter_model.serves import Gate, Serves, Verdict, gate, spring_ends, which_model
from trunkwatch.winter_model.site_offset import SiteOffset

__all__ = ["Course", "at_site", "chill_course", "daily_course", "judged"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Course:
    """Hardiness over winters by one model for one cultivar, each from the model's own first day on.

    Attributes
    ----------
    cultivar : Cultivar
    serves : Serves
        Which model.
    offset : int
        Place of its first day in the arrays of a winter.
    t_min_c, half_c, tenth_c, ninety_c : array (winters, days)
    ends : array (winters,)
        Day from which nothing is said: budbreak, or the spring of a hybrid; -1 for none.
    budbreak : array (winters,)
    error : ModelError
    """

    cultivar: Cultivar
    serves: Serves
    offset: int
    t_min_c: Floats = field(repr=False)
    half_c: Floats = field(repr=False)
    tenth_c: Floats = field(repr=False)
    ninety_c: Floats = field(repr=False)
    ends: Ints
    budbreak: Ints
    error: ModelError

    def killed(self, *, level: float = 0.8) -> Killed:
        """Return the shares killed of every winter."""
        return winter_kill(
            self.t_min_c, self.half_c, self.tenth_c, self.ninety_c, self.error, until=self.ends, level=level
        )


def _run(winters: Sequence[Winter], cultivar: Cultivar, last: tuple[int, int] = DAILY_TO) -> tuple[Floats, DailyCurve]:
    parts = [slice(one.at(DAILY_FROM), one.at(last) + 1) for one in winters]
    lows = stacked([one.t_min_c[part] for one, part in zip(winters, parts, strict=True)])
    return lows, daily_curve(stacked([one.mean_c[part] for one, part in zip(winters, parts, strict=True)]), cultivar)


def daily_course(winters: Sequence[Winter], cultivar: Cultivar, last: tuple[int, int] = DAILY_TO) -> Course:
    """Run the daily model, up to a day of spring: where buds break late, a later one than that of the public record."""
    lows, curve = _run(winters, cultivar, last)
    tenth, ninety = ten_and_ninety(curve.half_c, cultivar.spread)
    ends = curve.budbreak
    if cultivar.budbreak_c is None:
        ends = spring_ends(curve.half_c, cultivar.softest_c, curve.second_phase)
    offset = winters[0].at(DAILY_FROM)
    return Course(
        cultivar, Serves.DAILY, offset, lows, curve.half_c, tenth, ninety, ends, curve.budbreak, cultivar.error
    )


def chill_course(
    winters: Sequence[Winter], cultivar: Cultivar, latitude: float, last: tuple[int, int] = DAILY_TO
) -> Course:
    """Run the model by chill portions."""
    parts = [slice(one.at(CHILL_FROM), one.at(last) + 1) for one in winters]
    lows, highs = (
        stacked([getattr(one, name)[part] for one, part in zip(winters, parts, strict=True)])
        for name in ("t_min_c", "t_max_c")
    )
    first = winters[0].first.timetuple().tm_yday
    sun: Floats = np.asarray((first - 1 + np.arange(lows.shape[-1])) % 365 + 1, dtype=np.float64)
    curve: ChillCurve = chill_curve(lows, highs, sun, latitude, CHILL_SETS[cultivar.name])
    tenth, ninety = (
        np.maximum(curve.tenth_c, curve.half_c + LEAST_STEP_C),
        np.minimum(curve.ninety_c, curve.half_c - LEAST_STEP_C),
    )
    return Course(
        cultivar,
        Serves.CHILL,
        winters[0].at(CHILL_FROM),
        lows,
        curve.half_c,
        tenth,
        ninety,
        curve.budbreak,
        curve.budbreak,
        CHILL_ERROR,
    )


def at_site(course: Course, site: SiteOffset | None) -> Course:
    """Return a course with what past counts say of its site in the model's error."""
    if site is None:
        return course
    error = course.error._replace(
        bias_c=course.error.bias_c - site.mean_c, sd_c=float(np.hypot(course.error.sd_c, site.sd_c))
    )
    return replace(course, error=error)


def judged(this: Winter, past: Sequence[Winter], until: int, cultivar: Cultivar, latitude: float | None) -> Verdict:
    """Ask which model may speak of a winter.

    Parameters
    ----------
    this : Winter
        Known up to `until`.
    past : sequence of Winter
        Whole winters.
    until : int
        Place of the last day that is known.
    cultivar : Cultivar
    latitude : float, optional
        Degrees; the model by chill portions needs it.
    """
    _, curve = _run([this, *past], cultivar)
    offset = this.at(DAILY_FROM)
    second = curve.second_phase
    march = this.at(GATE_ON) - offset
    day = min(until - offset, curve.half_c.shape[-1] - 1)
    found: Gate = gate(int(second[0]), day, march, second[1:], curve.cold_sum[0], cultivar.second_phase_at)
    return which_model(
        found,
        chill_knows=cultivar.name in CHILL_SETS,
        latitude_known=latitude is not None,
        cold_sum=float(curve.cold_sum[0, max(day, 0)]),
        needed=cultivar.second_phase_at,
        past_second_phase=second[1:],
        march_first=march,
    )

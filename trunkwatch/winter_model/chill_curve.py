"""How hardy buds stand from day to day, by chill portions (the model of Kovaleski et al. 2023), for the three cultivars it was fitted to.

Buds harden in cold nights as long as warmth cannot call them; readiness for warmth grows with chill portions. Three curves: the
temperatures that kill 10 %, half and 90 % of the primary buds. Above zero the state is a clock towards budbreak, no temperature.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from trunkwatch.winter_model.cultivars import Basis, ModelError
from trunkwatch.winter_model.portions import hourly, portions

__all__ = ["CHILL_ERROR", "CHILL_SETS", "ChillCurve", "ChillSet", "chill_curve"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
_LONGEST = 500.0
_T = np.arange(1, round(_LONGEST * 10) + 1) / 10
#: Chill portions of none, so that there is a logarithm.
_NONE = 1e-9
#: Beside a public record of Washington the error was 1.6 to 2.5 C up to December, with a bias that changed sign by cultivar in
#: mid-winter; nearer to where the model was made it is less. One figure for all is our own convention.
CHILL_ERROR = ModelError(0.0, 2.0, Basis.OWN)


class _One(NamedTuple):
    """One curve: names as in the published equations."""

    tl: float
    th: float
    tb: float
    te: float
    m: float
    n: float
    b: float
    c: float
    kd: float
    a: float
    s: float
    i: float


@dataclass(frozen=True, slots=True)
class ChillSet:
    """The three curves of a cultivar, and the state at which buds break.

    Attributes
    ----------
    half, tenth, ninety : tuple of float
        Constants of the curves of half, 10 % and 90 % of the buds killed.
    budbreak_at : float
    basis : Basis
    """

    half: _One
    tenth: _One
    ninety: _One
    budbreak_at: float
    basis: Basis = Basis.TEXT


CHILL_SETS: Mapping[str, ChillSet] = MappingProxyType({
    "Concord": ChillSet(
        _One(0, 12, 8, 66, 31, 6, -2.1, 24, 1.9, 3.5, 3, 5), _One(0, 10, 11, 66, 28, 6, -2.3, 24, 1.9, 3.5, 3, 4),
        _One(0, 12, 8, 66, 33, 6, -2.2, 24, 1.9, 4.0, 2, 4), 5.0,
    ),
    "Cabernet Sauvignon": ChillSet(
        _One(0, 8, 7, 66, 23, 6, -2.2, 22, 1.8, 5, 6, 3), _One(0, 6, 6, 66, 22, 6, -1.7, 14, 1.7, 4, 7, 3),
        _One(0, 10, 6, 66, 25, 6, -1.9, 24, 1.7, 5, 4, 3), 10.0,
    ),
    "Riesling": ChillSet(
        _One(0, 12, 7, 66, 26, 6, -1.9, 24, 2.2, 5, 3, 4), _One(0, 10, 6, 66, 24, 6, -2.0, 14, 2.2, 5, 3, 5),
        _One(0, 14, 10, 66, 29, 6, -1.9, 24, 2.0, 5, 2, 5), 10.0,
    ),
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class ChillCurve:
    """The course of a winter, or of several.

    Attributes
    ----------
    half_c, tenth_c, ninety_c : array (..., days)
        Temperature that would kill half, 10 %, 90 % of the primary buds, after each day.
    portions : array (..., days)
        Chill portions, the mean of each day.
    budbreak : array (...)
        Day of budbreak, -1 where there is none.
    """

    half_c: Floats
    tenth_c: Floats
    ninety_c: Floats
    portions: Floats
    budbreak: Ints


def chill_curve(t_min_c: Floats, t_max_c: Floats, day_of_year: Floats, latitude: float, of: ChillSet) -> ChillCurve:
    """Run the model over winters that all begin in late summer (1 August north of the equator).

    Parameters
    ----------
    t_min_c, t_max_c : array (..., days)
        nan where a day is missing, which leaves the state as it is.
    day_of_year : array (days,) or (..., days)
        For the sun.
    latitude : float
    of : ChillSet
    """
    low, high = np.asarray(t_min_c, dtype=float), np.asarray(t_max_c, dtype=float)
    hours = hourly(low, high, day_of_year, latitude)
    chill = portions(hours.reshape(*low.shape[:-1], -1)).reshape(hours.shape).mean(axis=-1)
    half, tenth, ninety = (_course(low, high, chill, one) for one in (of.half, of.tenth, of.ninety))
    broken = half >= of.budbreak_at
    budbreak = np.where(broken.any(axis=-1), broken.argmax(axis=-1), -1)
    return ChillCurve(half, tenth, ninety, chill, budbreak)


def _warmth(celsius: Floats, one: _One) -> Floats:
    """Softening by a temperature, most at 25 C and none from 40 C on."""
    x = np.maximum(0.0, 40 - celsius) / 15
    return np.asarray(one.kd * x**one.a * np.exp(one.a * (1 - x)))


def _course(low: Floats, high: Floats, chill: Floats, one: _One) -> Floats:
    """Run one curve."""
    at = np.log(np.maximum(chill, _NONE))
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        ready = 1 / (1 + np.exp(-one.tb * (at - np.log(one.te))))
        both = np.where(low > 0, (_warmth(high, one) + _warmth(low, one)) / 2, _warmth(high, one) / 2)
        loss = ready * np.where(high > 0, both, 0.0)
        limit = one.tl + (one.th - one.tl) / (1 + np.exp(one.tb * (at - np.log(one.te))))
        colder = np.maximum(limit - low, 1e-12)
        deepest = -(one.n + (one.m - one.n) / (1 + np.exp(-one.s * (np.log(colder) - np.log(one.i)))))
    hardens = low < limit
    deepest = np.where(hardens, deepest, -one.n)
    reached = 1 / (1 + np.exp(one.b * (np.log(_T) - np.log(one.c))))
    slope = -one.b / _T * reached * (1 - reached)
    missing = np.isnan(low) | np.isnan(high)
    state, out = np.full(low.shape[:-1], -one.n, dtype=float), np.empty_like(low)
    for day in range(low.shape[-1]):
        goal = deepest[..., day]
        share = np.where(hardens[..., day], np.minimum(1.0, state / goal), 1.0)
        gain = (goal + one.n) * (0.001 + slope[_nearest(reached, share)])
        state = np.where(missing[..., day], state, state + gain + loss[..., day])
        out[..., day] = state
    return out


def _nearest(rising: Floats, wanted: Floats) -> Ints:
    """Return the place of the value nearest to each that is wanted."""
    after = np.clip(np.searchsorted(rising, wanted), 1, len(rising) - 1)
    return np.asarray(after - (wanted - rising[after - 1] <= rising[after] - wanted))

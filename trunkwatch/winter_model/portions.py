"""Hourly temperatures from daily extremes, and chill portions from them.

Hours: sine by day, logarithm by night (Linvill 1990), sunrise and sunset by Spencer (1971). Portions: the Dynamic Model (Fishman,
Erez and Couvillon 1987) with Kelvin = Celsius + 273 as in the classical code; with 273.15 totals differ by up to 2 %,
up or down from winter to winter.
"""

import numpy as np
from numpy.typing import NDArray

__all__ = ["KELVIN", "hourly", "portions", "sun_hours"]

Floats = NDArray[np.float64]
KELVIN = 273.0
_E0, _E1, _A0, _A1 = 4153.5, 12888.8, 139500.0, 2.567e18
_SLOPE, _MELTS = 1.6, 277.0
#: Hours after the sun's height at which it is warmest: stretches the sine of the day.
_LATE_H = 4.0


def sun_hours(day_of_year: Floats, latitude: float) -> tuple[Floats, Floats]:
    """Return sunrise and sunset in hours of sun time; beyond the circles days and nights do not come to an end."""
    angle = 2 * np.pi / 365 * (np.asarray(day_of_year, dtype=float) - 1)
    tilt = (
        0.006918
        - 0.399912 * np.cos(angle)
        + 0.070257 * np.sin(angle)
        - 0.006758 * np.cos(2 * angle)
        + 0.000907 * np.sin(2 * angle)
        - 0.002697 * np.cos(3 * angle)
        + 0.00148 * np.sin(3 * angle)
    )
    north = np.radians(latitude)
    horizon = np.sin(np.radians(-0.8333))
    half = (
        np.arccos(np.clip((horizon - np.sin(north) * np.sin(tilt)) / (np.cos(north) * np.cos(tilt)), -1, 1))
        * 12
        / np.pi
    )
    return 12 - half, 12 + half


def hourly(t_min_c: Floats, t_max_c: Floats, day_of_year: Floats, latitude: float) -> Floats:
    """Return temperatures of every hour, shape (..., days, 24); nan on days that are missing.

    Parameters
    ----------
    t_min_c, t_max_c : array (..., days)
    day_of_year : array (days,) or (..., days)
    latitude : float
        Degrees, negative south of the equator.
    """
    low, high = np.asarray(t_min_c, dtype=float), np.asarray(t_max_c, dtype=float)
    rise, down = (np.broadcast_to(hours, low.shape) for hours in sun_hours(day_of_year, latitude))
    at_dusk = low + (high - low) * np.sin(np.pi * (down - rise) / (down - rise + _LATE_H))
    # Where the day beside is missing, the night is taken between the day's own ends.
    dusk_before = _beside(at_dusk, low, -1)
    down_before, rise_after, low_after = _beside(down, down, -1), _beside(rise, rise, 1), _beside(low, low, 1)
    hour = np.arange(24.0)
    low_, high_, rise_, down_ = low[..., None], high[..., None], rise[..., None], down[..., None]
    with np.errstate(invalid="ignore", divide="ignore"):
        by_day = low_ + (high_ - low_) * np.sin(np.pi * (hour - rise_) / (down_ - rise_ + _LATE_H))
        evening = _falling(at_dusk, low_after, hour - down_, 24 - (down - rise_after))
        morning = _falling(dusk_before, low, hour + 24 - down_before[..., None], 24 - (down_before - rise))
    return np.where(hour < rise_, morning, np.where(hour <= down_, by_day, evening))


def _falling(start: Floats, end: Floats, since: Floats, night: Floats) -> Floats:
    """Fall from dusk to sunrise with the logarithm of the hours since, from one hour after dusk on."""
    share = np.log(np.maximum(since, 1.0)) / np.log(np.maximum(night, 2.0))[..., None]
    return start[..., None] - (start - end)[..., None] * share


def _beside(values: Floats, own: Floats, step: int) -> Floats:
    """Return the value of the day before or after; the day's own where there is none."""
    moved = np.roll(values, -step, axis=-1)
    edge = -1 if step > 0 else 0
    moved[..., edge] = np.nan
    return np.where(np.isnan(moved), own, moved)


def portions(hours_c: Floats) -> Floats:
    """Return chill portions summed up to the end of every hour; a missing hour adds none and changes nothing.

    Parameters
    ----------
    hours_c : array (..., hours)
    """
    kelvin = np.asarray(hours_c, dtype=float) + KELVIN
    missing = np.isnan(kelvin)
    kelvin = np.where(missing, _MELTS, kelvin)
    ready = np.exp(_SLOPE * _MELTS * (kelvin - _MELTS) / kelvin)
    kept = ready / (1 + ready)
    level = _A0 / _A1 * np.exp((_E1 - _E0) / kelvin)
    left = np.exp(-_A1 * np.exp(-_E1 / kelvin))
    left = np.where(missing, 1.0, left)
    state = np.zeros(kelvin.shape[:-1])
    fixed = np.empty_like(kelvin)
    for hour in range(kelvin.shape[-1]):
        state = level[..., hour] - (level[..., hour] - state) * left[..., hour]
        gained = np.where((state >= 1) & ~missing[..., hour], state * kept[..., hour], 0.0)
        state = state - gained
        fixed[..., hour] = gained
    return np.cumsum(fixed, axis=-1)

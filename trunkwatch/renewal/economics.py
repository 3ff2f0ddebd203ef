"""Money over years: present values, annuities, payback, break-even. Whole-year steps, paid at the year's end."""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

__all__ = ["annuity", "break_even", "equal_yearly", "payback", "present_value"]


def present_value(flows: ArrayLike, rate: float) -> float:
    """Return the present value of yearly flows, the first one year from now.

    Parameters
    ----------
    flows : (years,) array_like
        Money in each year.
    rate : float
        Discount rate a year, 0.05 for 5 %.

    Raises
    ------
    ValueError
        If the rate is -1 or below.
    """
    if rate <= -1:
        raise ValueError(f"rate is {rate}: above -1 is needed, for example 0.05")
    money = np.asarray(flows, dtype=float)
    return float((money / (1 + rate) ** np.arange(1, money.size + 1)).sum())


def annuity(years: int, rate: float) -> float:
    """Return the present value of 1 a year for so many years.

    Raises
    ------
    ValueError
        If there are fewer than no years, or the rate is -1 or below.
    """
    if years < 0 or rate <= -1:
        raise ValueError(f"{years} years at {rate}: 0 years or more and a rate above -1 are needed")
    return float(years) if rate == 0 else (1 - (1 + rate) ** -years) / rate


def equal_yearly(value: float, years: int, rate: float) -> float:
    """Return the equal yearly amount that is worth a present value."""
    return value / annuity(years, rate)


def payback(flows: ArrayLike, rate: float = 0.0) -> float:
    """Return the years until the discounted flows add up to 0 or more for good; nan if they never do.

    Parameters
    ----------
    flows : (years,) array_like
        The first is today (not discounted), then one a year.
    rate : float
        Discount rate; 0 is the plain payback time. Within the year of return the flow is taken as even.
    """
    money = np.asarray(flows, dtype=float)
    worth = money / (1 + rate) ** np.arange(money.size)
    total = np.cumsum(worth)
    below = np.flatnonzero(total < 0)
    if not below.size:
        return 0.0
    last = int(below[-1])
    if last == money.size - 1:
        return math.nan
    return last + float(-total[last] / worth[last + 1])


def break_even(gain: Callable[[float], float], low: float, high: float, *, steps: int = 60) -> float:
    """Return where a gain that rises or falls all the way changes its sign; nan if it does not between the ends."""
    a, b = gain(low), gain(high)
    if a == 0:
        return low
    if a * b > 0:
        return math.nan
    for _ in range(steps):
        middle = (low + high) / 2
        if a * gain(middle) <= 0:
            high = middle
        else:
            low = middle
    return (low + high) / 2

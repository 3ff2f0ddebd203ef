"""How a vineyard is spoken to: its spelling, its units and its paper, as its settings say.

Sums and records stay metric, codes and columns keep their names. Whoever writes a length or a temperature for people
asks here for its words; spelling is put on at the edge, where a page is finished or a line is printed
(`trunkwatch.vineyard.spelling`).
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

__all__ = [
    "AMERICAN",
    "FOOT_M",
    "SETTINGS",
    "Manner",
    "Paper",
    "celsius",
    "centimeters",
    "degree_days",
    "degrees",
    "follow",
    "following",
    "in_force",
    "is_following",
    "kilometers",
    "meters",
    "millimeters",
    "shown_feet",
    "speaking",
    "temperature",
    "temperature_unit",
]

Paper = Literal["A4", "Letter"]
#: What can be set, and to what; the first is what holds where nothing is written.
SETTINGS: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "spelling": ("american", "british", "australian"),
    "units": ("metric", "us"),
    "paper": ("a4", "letter"),
})  # fmt: skip
#: An international foot in meters, an inch in centimeters and a mile in kilometers, exact by definition.
FOOT_M, INCH_CM, MILE_KM = 0.3048, 2.54, 1.609344


@dataclass(frozen=True, slots=True)
class Manner:
    """How the people of a vineyard are spoken to.

    Attributes
    ----------
    spelling, units, paper : str
        Codes, as `SETTINGS` lists them.
    written : frozenset of str
        Texts of people, names and notes, that stay as they were written, whatever the spelling.
    """

    spelling: str = "american"
    units: str = "metric"
    paper: str = "a4"
    written: frozenset[str] = frozenset()

    @property
    def is_us(self) -> bool:
        """Whether lengths are in feet and temperatures in Fahrenheit."""
        return self.units == "us"

    @property
    def size(self) -> Paper:
        """Paper, as sheets ask for it."""
        return "Letter" if self.paper == "letter" else "A4"


AMERICAN = Manner()
_IN_FORCE: ContextVar[Manner] = ContextVar("manner", default=AMERICAN)
_FOLLOWS: ContextVar[bool] = ContextVar("follows", default=False)


def in_force() -> Manner:
    """Return the manner in force."""
    return _IN_FORCE.get()


@contextmanager
def speaking(manner: Manner) -> Iterator[None]:
    """Speak so inside the block, whatever is opened there."""
    with _as_it_was():
        _IN_FORCE.set(manner)
        _FOLLOWS.set(False)
        yield


@contextmanager
def following() -> Iterator[None]:
    """Inside the block, speak as the vineyard that was opened last, or the block that was read last, says."""
    with _as_it_was():
        _IN_FORCE.set(AMERICAN)
        _FOLLOWS.set(True)
        yield


@contextmanager
def _as_it_was() -> Iterator[None]:
    """Give back at the end what was in force before."""
    before, followed = _IN_FORCE.get(), _FOLLOWS.get()
    try:
        yield
    finally:
        _IN_FORCE.set(before)
        _FOLLOWS.set(followed)


def is_following() -> bool:
    """Whether what is opened decides; true inside a `following` block."""
    return _FOLLOWS.get()


def follow(manner: Manner) -> None:
    """Speak so from here on, as what was opened says; outside a `following` block nothing changes."""
    if _FOLLOWS.get():
        _IN_FORCE.set(manner)


# ---- Words of lengths ---------------------------------------------------------------------------------------------


def meters(length_m: float, form: str = "g") -> str:
    """Write a length in meters, or in feet.

    Parameters
    ----------
    length_m : float
        In meters.
    form : str
        How a number of meters is written; feet are written as finely, to a tenth at most.
    """
    if not in_force().is_us:
        return f"{length_m:{form}} m"
    return f"{_shown(length_m / FOOT_M, form)} ft"


def centimeters(length_cm: float, form: str = ".0f") -> str:
    """Write a height or a length on a vine in centimeters, or in inches; `form` as of `meters`."""
    if not in_force().is_us:
        return f"{length_cm:{form}} cm"
    return f"{_shown(length_cm / INCH_CM, form)} in"


def millimeters(rain_mm: float, form: str = "g") -> str:
    """Write rain in millimeters, or in inches to a hundredth."""
    if not in_force().is_us:
        return f"{rain_mm:{form}} mm"
    return f"{rain_mm / INCH_CM / 10:.2f} in"


def kilometers(length_km: float, form: str = ".0f") -> str:
    """Write a way in kilometers, or in miles; `form` as of `meters`."""
    if not in_force().is_us:
        return f"{length_km:{form}} km"
    return f"{_shown(length_km / MILE_KM, form)} mi"


def shown_feet() -> bool:
    """Whether pictures and forms are in feet."""
    return in_force().is_us


def _shown(value: float, form: str) -> str:
    """Write a number of feet, inches or miles as finely as that of meters, to a tenth at most, and no minus before 0."""
    if form == "g":
        return f"{round(value, 1) + 0.0:g}"
    return f"{value:{_unsigned(form.replace('.2f', '.1f'))}}"


def _unsigned(form: str) -> str:
    """Return a format that writes no minus before 0."""
    sign, _, rest = form.rpartition(".")
    return f"{sign}z.{rest}"


# ---- Words of temperatures ----------------------------------------------------------------------------------------


def temperature_unit() -> str:
    """Return the sign of the unit of temperatures."""
    return "F" if in_force().is_us else "C"


def temperature(value_c: float) -> float:
    """Return a temperature as it is shown: Celsius, or Fahrenheit."""
    return value_c * 1.8 + 32.0 if in_force().is_us else value_c


def celsius(value_c: float, form: str = ".1f") -> str:
    """Write a temperature given in Celsius with its unit."""
    if not in_force().is_us:
        return f"{value_c:{form}} C"
    value = temperature(value_c)
    return f"{round(value, 1) + 0.0:g} F" if form == "g" else f"{value:{_unsigned(form)}} F"


def degrees(difference_c: float, form: str = ".1f") -> str:
    """Write a difference of temperatures given in degrees Celsius with its unit."""
    if not in_force().is_us:
        return f"{difference_c:{form}} C"
    value = difference_c * 1.8
    return f"{round(value, 1) + 0.0:g} F" if form == "g" else f"{value:{_unsigned(form)}} F"


def degree_days(value_c: float) -> float:
    """Return a sum of degree-days as it is shown: in degrees Celsius, or Fahrenheit."""
    return value_c * 1.8 if in_force().is_us else value_c

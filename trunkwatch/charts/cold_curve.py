"""The lowest temperature of each night beside the band in which half of the buds would die, over a winter."""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

from trunkwatch.charts.colours import BAR, DEEP, EDGE, INK, LINE, MARK, QUIET
from trunkwatch.charts.pieces import NARROW, framed, text, text_width
from trunkwatch.vineyard.manner import celsius, temperature, temperature_unit

__all__ = ["ColdDay", "cold_curve_svg"]

_TOP, _BOTTOM = 40, 26
#: Degrees between the band and the foot of the chart, where the band's name stands.
_BELOW = 6.0


@dataclass(frozen=True, slots=True)
class ColdDay:
    """One day: its lowest temperature (nan where none is on file), the limits between which half of the buds would die, whether it is forecast."""

    day: dt.date
    lowest_c: float
    soft_c: float
    hardy_c: float
    forecast: bool = False


@dataclass(frozen=True, slots=True)
class _Room:
    width: float
    height: float
    left: float
    right: float
    days: int
    high: float
    low: float
    step: int

    def x(self, place: float) -> float:
        return self.left + (self.width - self.left - self.right) * place / max(self.days - 1, 1)

    def y(self, shown: float) -> float:
        return _TOP + (self.height - _TOP - _BOTTOM) * (self.high - shown) / (self.high - self.low)

    @property
    def lines(self) -> range:
        """Round temperatures that have a line, in the unit that is shown."""
        return range(math.ceil(self.low / self.step) * self.step, int(self.high) + 1, self.step)

    @property
    def foot(self) -> float:
        return self.height - _BOTTOM


def cold_curve_svg(days: Sequence[ColdDay], *, title: str, name: str = "cold", narrow: bool = False) -> str:
    """Draw the nights of a winter and the band.

    Parameters
    ----------
    days : sequence of ColdDay
        Every day from the first on.
    title : str
        Heading for readers who cannot see it.
    name : str
        Start of the ids, unlike that of any other picture on the page.
    narrow : bool
        Whether it is for a phone.

    Raises
    ------
    ValueError
        If there are fewer than two days, or no night is on file.
    """
    nights = [(place, one) for place, one in enumerate(days) if one.lowest_c == one.lowest_c]
    if len(days) < 2 or not nights:
        raise ValueError(f"{len(days)} days with {len(nights)} nights: two days and one night are needed")
    step = 20 if temperature_unit() == "F" else 10
    deepest = temperature(min(*(one.hardy_c for one in days), *(one.lowest_c for _, one in nights)) - _BELOW)
    warmest = temperature(max(*(one.soft_c for one in days), *(one.lowest_c for _, one in nights), 0.0))
    high, low = (step / 2 * edge for edge in (math.ceil(warmest * 2 / step), math.floor(deepest * 2 / step)))
    size = (NARROW, 300) if narrow else (760, 340)
    room = _Room(*size, 44, 12, len(days), high, low, step)
    coldest = min(nights, key=lambda pair: pair[1].lowest_c)
    body = (
        _axes(days, room)
        + _band(days, room)
        + _nights(days, room)
        + _forecast(days, room)
        + _coldest(coldest, room)
        + _names(days, room)
    )
    return framed("cold", size, name, (title, _told(days, coldest[1])), body, narrow=narrow)


def _axes(days: Sequence[ColdDay], room: _Room) -> str:
    out = []
    for shown in room.lines:
        y = room.y(shown)
        out.append(
            f'<path d="M{room.left:g} {y:.1f}H{room.width - room.right:g}" stroke="{LINE}" stroke-width="{1 if shown == temperature(0.0) else 0.6}"/>'
        )
        out.append(text(room.left - 6, y + 4, f"{shown} {temperature_unit()}", anchor="end"))
    last = -100.0
    for place, one in enumerate(days):
        x = room.x(place)
        words = f"{one.day:%b}"
        half = text_width(words) / 2
        if one.day.day == 1 and x - half > last and x + half < room.width:
            out.append(
                f'<path d="M{x:.1f} {room.foot:g}v5" stroke="{LINE}"/>'
                + text(x, room.foot + 19, words, anchor="middle")
            )
            last = x + half + 4
    return "".join(out)


def _band(days: Sequence[ColdDay], room: _Room) -> str:
    over = [f"{room.x(place):.1f} {room.y(temperature(one.soft_c)):.1f}" for place, one in enumerate(days)]
    back = [f"{room.x(place):.1f} {room.y(temperature(one.hardy_c)):.1f}" for place, one in enumerate(days)][::-1]
    return f'<path d="M{"L".join([*over, *back])}Z" fill="{BAR}" stroke="{DEEP}" stroke-width="1"/>'


def _nights(days: Sequence[ColdDay], room: _Room) -> str:
    """Draw the line of the nights, solid where they were measured and dotted where they are forecast."""
    paths, pen = {False: "", True: ""}, "M"
    for place, one in enumerate(days):
        if one.lowest_c != one.lowest_c:
            pen = "M"
            continue
        at = f"{room.x(place):.1f} {room.y(temperature(one.lowest_c)):.1f}"
        before = days[place - 1]
        if pen == "L" and before.forecast != one.forecast:
            paths[one.forecast] += f"M{room.x(place - 1):.1f} {room.y(temperature(before.lowest_c)):.1f}"
        paths[one.forecast] += f"{pen}{at}"
        pen = "L"
    dots = ' stroke-dasharray="2 2"'
    return "".join(
        f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="1.4"{dots if forecast else ""}/>'
        for forecast, path in paths.items()
        if path
    )


def _forecast(days: Sequence[ColdDay], room: _Room) -> str:
    """Shade the days that are forecast, with the word at their foot."""
    ahead = [place for place, one in enumerate(days) if one.forecast]
    if not ahead:
        return ""
    x, words = room.x(ahead[0] - 0.5), "your forecast from here on"
    fits = x - 5 - text_width(words) > room.left
    return f'<path d="M{x:.1f} {_TOP:g}V{room.foot:g}" stroke="{EDGE}" stroke-dasharray="2 4"/>' + text(
        x - 5 if fits else x + 5, _TOP + 13, words, anchor="end" if fits else "start", colour=EDGE
    )


def _coldest(coldest: tuple[int, ColdDay], room: _Room) -> str:
    """Mark the coldest night, its words at the head of the chart."""
    place, one = coldest
    x, y = room.x(place), room.y(temperature(one.lowest_c))
    words = f"coldest: {celsius(one.lowest_c)} on {one.day.day} {one.day:%b}"
    half = text_width(words) / 2
    middle = min(max(x, room.left + half), room.width - half - 2)
    return (
        f'<path d="M{x:.1f} 18V{y - 6:.1f}" stroke="{EDGE}" stroke-dasharray="2 4"/>'
        f'<path d="M{x:.1f} {y - 5:.1f}l5 5l-5 5l-5 -5Z" fill="{MARK}" stroke="{EDGE}" stroke-width="1.4"/>'
        + text(middle, 13, words, anchor="middle", colour=EDGE, bold=True)
    )


def _names(days: Sequence[ColdDay], room: _Room) -> str:
    """Write what the line and the band are, beside them."""
    below = "half of the buds would die in the band"
    place = min(range(len(days)), key=lambda number: days[number].hardy_c)
    half = text_width(below) / 2
    middle = min(max(room.x(place), room.left + half), room.width - half - 2)
    reach = [one.hardy_c for number, one in enumerate(days) if abs(room.x(number) - middle) <= half]
    y = room.y(temperature(min([*reach, days[place].hardy_c]))) + 16
    lines = [room.y(shown) for shown in room.lines]
    y = next((line + 15 for line in lines if abs(y - 4 - line) < 9), y)  # no line of the grid through the words
    return text(middle, min(y, room.foot - 4), below, anchor="middle", colour=DEEP) + text(
        room.left + 4, _TOP - 8, "lowest of each night", colour=QUIET
    )


def _told(days: Sequence[ColdDay], coldest: ColdDay) -> str:
    """Say the picture in numbers."""
    ahead = [one for one in days if one.forecast]
    forecast = f" {_day(ahead[0].day)} to {_day(ahead[-1].day)} are forecast, not measured." if ahead else ""
    month = [one for one in days if one.day.day == 1] or [days[-1]]
    told = "; ".join(f"{_day(one.day)} {temperature(one.soft_c):.0f} to {celsius(one.hardy_c, '.0f')}" for one in month)
    return (
        f"{_day(days[0].day)} to {_day(days[-1].day)}. Coldest night {celsius(coldest.lowest_c)} on {_day(coldest.day)}, when half of the buds would have died "
        f"between {temperature(coldest.soft_c):.0f} and {celsius(coldest.hardy_c, '.0f')}. Half would have died on {told}.{forecast}"
    )


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%B %Y}"

"""The price of the grapes at which each strategy would break even."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from trunkwatch.charts.colours import BLUE, BROWN, DEEP, EDGE, INK, LINE, MARK, QUIET
from trunkwatch.charts.pieces import NARROW, framed, round_step, text, wrapped
from trunkwatch.charts.strategies import StrategyLine, gain_words

__all__ = ["break_even_svg"]

#: Colour of a line and of its name, and its dash: none needs its colour to be told apart.
_STYLES = ((MARK, EDGE, ""), (DEEP, DEEP, "7 4"), (BROWN, BROWN, "2 4"), (BLUE, BLUE, "12 3 2 3"))
_MOST = len(_STYLES)


@dataclass(frozen=True, slots=True)
class _Room:
    """Where the lines stand in one of the two forms, and how far the axes go."""

    width: float
    height: float
    left: float
    right: float
    price: float
    top: float
    low: float
    high: float

    def x(self, price: float) -> float:
        return self.left + (self.width - self.left - self.right) * price / self.top

    def y(self, gain: float) -> float:
        within = max(min(gain, self.high), self.low)
        return 42 + (self.height - 86) * (self.high - within) / (self.high - self.low)

    def gain(self, one: StrategyLine, price: float) -> float:
        return one.gain * (price - one.flip_price) / (self.price - one.flip_price)


def break_even_svg(
    lines: Sequence[StrategyLine],
    price: float,
    *,
    title: str,
    name: str = "breakeven",
    area: str = "a hectare",
    weight: str = "a metric ton",
    money: str = "",
    narrow: bool = False,
) -> str:
    """Draw the mean gain over the price of the grapes: a straight line for each strategy, through its break-even price.

    Strategies without a break-even price above nothing are left out, and those whose line lies on one drawn before.

    Parameters
    ----------
    lines : sequence of StrategyLine
        The strategies; four at most are drawn.
    price : float
        Price of the grapes now.
    title, name : str
        Heading for readers who cannot see it; start of the ids.
    area, weight, money : str
        The area that gains are of, the weight that the price is of, and the currency; "" where none is written.
    narrow : bool
        Whether it is for a phone: the names of the lines then stand under the chart.

    Raises
    ------
    ValueError
        If the price is not above 0.
    """
    if price <= 0:
        raise ValueError(f"price is {price}: above 0 is needed")
    shown: list[StrategyLine] = []
    for one in lines:
        if one.flip_price == one.flip_price and abs(one.flip_price - price) > 1e-9 and not _drawn(one, shown, price):
            shown.append(one)
    shown = shown[:_MOST]
    room = _room(shown, price, narrow=narrow)
    parts = [_axes(room, area, weight, money)]
    for number, one in enumerate(shown):
        parts.append(_line(one, number, room))
    names, height = _under(shown, room) if narrow else _at_the_ends(shown, room)
    told = (
        "; ".join(f"{one.name} breaks even at {one.flip_price:,.0f} {weight}" for one in shown)
        or "no strategy breaks even at any price"
    )
    words = (title, f"Price now {price:,.0f}. {told}.")
    return framed("strategies", (room.width, height), name, words, "".join([*parts, *names]), narrow=narrow)


def _room(shown: Sequence[StrategyLine], price: float, *, narrow: bool) -> _Room:
    top = max([2 * price, *(min(one.flip_price * 1.2, 4 * price) for one in shown)])
    empty = _Room(0, 0, 0, 0, price, top, 0, 0)
    values = [empty.gain(one, at) for one in shown for at in (0.0, top)] or [0.0]
    low, high = min(0.0, *values), max(0.0, *values, 1.0)
    low = max(low, -1.5 * max(high, abs(low) / 2))
    return (
        _Room(NARROW, 290, 58, 26, price, top, low, high) if narrow else _Room(760, 320, 90, 240, price, top, low, high)
    )


def _axes(room: _Room, area: str, weight: str, money: str) -> str:
    end, foot = room.width - room.right, room.height - 44
    parts = [f'<path d="M{room.left} {room.y(0):.1f}H{end}" stroke="{INK}"/>']
    parts.append(text(room.left - 8, room.y(0) + 4, "0", anchor="end"))
    for value in _ticks(room.low, room.high):
        parts.append(text(room.left - 8, room.y(value) + 4, f"{value:,.0f}", anchor="end"))
        parts.append(f'<path d="M{room.left} {room.y(value):.1f}H{end}" stroke="{LINE}" stroke-width="0.6"/>')
    parts.append(text(0, 13, gain_words(area, money), colour=QUIET))
    step = round_step(room.top)
    parts += [
        text(room.x(step * k), foot + 18, f"{step * k:,.0f}", anchor="middle") for k in range(int(room.top // step) + 1)
    ]
    words = f"price of {weight}{f' in {money}' if money else ''}"
    parts.append(text(room.x(room.top / 2), foot + 37, words, anchor="middle", colour=QUIET))
    parts.append(f'<path d="M{room.x(room.price):.1f} 36V{foot}" stroke="{INK}" stroke-dasharray="2 4"/>')
    parts.append(text(room.x(room.price), 31, f"now {room.price:,.0f}", anchor="middle"))
    return "".join(parts)


def _line(one: StrategyLine, number: int, room: _Room) -> str:
    colour, _, dash = _STYLES[number]
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    start, end = room.y(room.gain(one, 0)), room.y(room.gain(one, room.top))
    drawn = f'<path d="M{room.x(0):.1f} {start:.1f}L{room.x(room.top):.1f} {end:.1f}" stroke="{colour}" stroke-width="2"{dashed} fill="none"/>'
    if 0 < one.flip_price <= room.top:
        x, y = room.x(one.flip_price), room.y(0)
        drawn += f'<path d="M{x - 4:.1f} {y:.1f}l4 -4l4 4l-4 4Z" fill="{colour}"/>'
    return drawn


def _name(one: StrategyLine) -> str:
    return f"{one.name}: breaks even at {one.flip_price:,.0f}" if one.flip_price > 0 else one.name


def _at_the_ends(shown: Sequence[StrategyLine], room: _Room) -> tuple[list[str], float]:
    """Write the names beside the ends of the lines, moved apart where they would touch."""
    ends = sorted((room.y(room.gain(one, room.top)), number) for number, one in enumerate(shown))
    parts, before = [], -100.0
    for y, number in ends:
        for n, words in enumerate(wrapped(_name(shown[number]), room.right - 8)):
            before = max(y, before + (15 if n else 21))
            parts.append(text(room.width - room.right + 6, before + 4, words, colour=_STYLES[number][1]))
    return parts, max(room.height, before + 12)


def _under(shown: Sequence[StrategyLine], room: _Room) -> tuple[list[str], float]:
    """Write a letter at the end of each line, and under the chart its name beside the letter and a piece of the line."""
    ends = sorted((room.y(room.gain(one, room.top)), number) for number, one in enumerate(shown))
    parts, before = [], -100.0
    for y, number in ends:
        before = max(y, before + 14)
        parts.append(
            text(room.width - room.right + 6, before + 4, "ABCD"[number], bold=True, colour=_STYLES[number][1])
        )
    y = room.height + 8
    for number, one in enumerate(shown):
        colour, ink, dash = _STYLES[number]
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        parts.append(f'<path d="M16 {y - 4:g}h30" stroke="{colour}" stroke-width="2"{dashed}/>')
        parts.append(text(0, y, "ABCD"[number], bold=True, colour=ink))
        for words in wrapped(_name(one), room.width - 56):
            parts.append(text(54, y, words))
            y += 15
        y += 5
    return parts, y - 6


def _drawn(one: StrategyLine, shown: Sequence[StrategyLine], price: float) -> bool:
    """Tell whether a line would lie on one that is drawn already, within 2 % of the price and of the gain."""
    return any(
        abs(one.flip_price - other.flip_price) < 0.02 * price and abs(one.gain - other.gain) < 0.02 * abs(other.gain)
        for other in shown
    )


def _ticks(low: float, high: float) -> list[float]:
    step = round_step(high - low)
    return [step * k for k in range(math.ceil(low / step), math.floor(high / step) + 1) if k]

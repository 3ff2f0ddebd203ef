"""Strategies beside doing nothing: the gain of each with its limits, and the crew-days it takes."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from trunkwatch.charts.colours import BAR, EDGE, INK, LINE, MARK, QUIET
from trunkwatch.charts.pieces import NARROW, framed, round_step, text, text_width, wrapped

__all__ = ["StrategyLine", "gain_words", "strategies_svg"]

_WIDTH, _ROW, _LEFT, _RIGHT, _TOP = 760, 32, 280, 226, 42


@dataclass(frozen=True, slots=True)
class StrategyLine:
    """One strategy: mean gain over doing nothing with its 90 % limits, money a hectare; crew-days a hectare in the first winter (nan: not told)."""

    name: str
    gain: float
    low: float
    high: float
    flip_price: float = math.nan
    best: bool = False
    crew_days: float = math.nan


@dataclass(frozen=True, slots=True)
class _Axis:
    """The axis of the gains: its ends in money and on the drawing, and its step."""

    low: float
    high: float
    step: float
    left: float
    right: float

    def x(self, value: float) -> float:
        within = min(max(value, self.low), self.high)
        return self.left + (self.right - self.left) * (within - self.low) / (self.high - self.low)


def gain_words(area: str, money: str) -> str:
    """Name the axis of a gain with its currency and its area."""
    return f"gain{f' in {money}' if money else ''} {area} over doing nothing"


def strategies_svg(
    lines: Sequence[StrategyLine],
    *,
    title: str,
    name: str = "strategies",
    area: str = "a hectare",
    money: str = "",
    narrow: bool = False,
) -> str:
    """Draw the gain of every strategy with its limits, the figures and the crew-days beside it.

    A strategy so much worse than the others that it would squeeze them is drawn as an arrow; its figures tell.

    Parameters
    ----------
    lines : sequence of StrategyLine
        The strategies in the order in which they are drawn.
    title, name : str
        Heading for readers who cannot see it; start of the ids.
    area, money : str
        The area that gains are of, and the currency; "" where none is written.
    narrow : bool
        Whether it is for a phone: names and figures then stand over the bars.

    Raises
    ------
    ValueError
        If there is no strategy.
    """
    if not lines:
        raise ValueError("no strategy to draw: one at least is needed")
    low, high, step = _ends(lines)
    axis = _Axis(low, high, step, 12, NARROW - 16) if narrow else _Axis(low, high, step, _LEFT, _WIDTH - _RIGHT)
    rows, spans = _stacked(lines, axis, area) if narrow else _beside(lines, axis, area)
    heads = [gain_words(area, money), "bar: 90% range; flag: mean"]
    at = 0 if narrow else _LEFT
    parts = [text(at, 14 + 16 * number, words, colour=QUIET) for number, words in enumerate(heads)]
    parts += [_grid(axis, spans), *rows]
    told = "; ".join(f"{one.name}: {_figures(one)}" for one in lines)
    size = (NARROW if narrow else _WIDTH, spans[-1][1] + 24)
    return framed("strategies", size, name, (title, told), "".join(parts), narrow=narrow)


def _figures(one: StrategyLine) -> str:
    return f"{one.gain:,.0f} ({one.low:,.0f} to {one.high:,.0f})"


def _grid(axis: _Axis, spans: Sequence[tuple[float, float]]) -> str:
    """Draw the lines of the axis over the heights at which bars stand, and its figures under the last."""
    parts = []
    for k in range(round((axis.high - axis.low) / axis.step) + 1):
        value = axis.low + axis.step * k
        naught = abs(value) < 1e-9
        path = "".join(f"M{axis.x(value):.1f} {top:.1f}V{bottom:.1f}" for top, bottom in spans)
        parts.append(f'<path d="{path}" stroke="{INK if naught else LINE}" stroke-width="{1 if naught else 0.6}"/>')
        parts.append(_figure(axis, value, spans[-1][1] + 16))
    return "".join(parts)


def _figure(axis: _Axis, value: float, y: float) -> str:
    """Write a figure of the axis under its line, or where the picture ends before it would be cut off."""
    words = f"{value:,.0f}"
    half, end = text_width(words) / 2, axis.right + 16
    return text(min(max(axis.x(value), half), end - half), y, words, anchor="middle")


def _bar(one: StrategyLine, axis: _Axis, y: float) -> str:
    if one.gain < axis.low:
        return f'<path d="M{axis.left + 2} {y:.1f}l10 -5v10Z" fill="{MARK}" stroke="{EDGE}"/>'
    return (
        f'<path d="M{axis.x(one.low):.1f} {y:.1f}H{axis.x(one.high):.1f}" stroke="{BAR}" stroke-width="9"/>'
        f'<path d="M{axis.x(one.gain):.1f} {y + 9:.1f}V{y - 9:.1f}l9 4l-9 4" fill="{MARK}" stroke="{EDGE}" stroke-width="1.4"/>'
    )


def _beside(lines: Sequence[StrategyLine], axis: _Axis, area: str) -> tuple[list[str], list[tuple[float, float]]]:
    """Draw name, bar, figures and crew-days on one line each; return them and the heights of the grid."""
    parts = [
        text(axis.right + 14, 14, "gain (90% range)", colour=QUIET),
        text(_WIDTH - 4, 14, "crew-days", anchor="end", colour=QUIET),
        text(_WIDTH - 4, 30, f"{area.replace('hectare', 'ha')}, 1st winter", anchor="end", colour=QUIET),
    ]
    for number, one in enumerate(lines):
        y = _TOP + _ROW * (number + 0.5)
        names = wrapped(one.name, _LEFT - 14)
        parts += [
            text(_LEFT - 10, y + 4 + 13 * (n - (len(names) - 1) / 2), line, anchor="end", bold=one.best)
            for n, line in enumerate(names)
        ]
        parts += [_bar(one, axis, y), text(axis.right + 14, y + 4, _figures(one), bold=one.best)]
        if not math.isnan(one.crew_days):
            parts.append(text(_WIDTH - 4, y + 4, f"{one.crew_days:.1f}", anchor="end", bold=one.best))
    return parts, [(_TOP, _TOP + _ROW * len(lines))]


def _stacked(lines: Sequence[StrategyLine], axis: _Axis, area: str) -> tuple[list[str], list[tuple[float, float]]]:
    """Draw name, figures and bar under each other; return them and the heights of the grid, which no word crosses."""
    parts, spans, y = [text(0, 46, f"crew-days: {area}, first winter", colour=QUIET)], [], 56.0
    for one in lines:
        days = "" if math.isnan(one.crew_days) else f"; {one.crew_days:.1f} crew-days"
        for words, colour in ((one.name, INK), (_figures(one) + days, QUIET)):
            for line in wrapped(words, NARROW - 4):
                y += 15
                parts.append(text(0, y, line, bold=one.best and colour == INK, colour=colour))
        parts.append(_bar(one, axis, y + 17))
        spans.append((y + 5, y + 29))
        y += 34
    return parts, spans


def _ends(lines: Sequence[StrategyLine]) -> tuple[float, float, float]:
    """Return the ends of the axis and its step; what would take more than half of it to itself is left out."""
    lows, high = sorted(min(0.0, one.low) for one in lines), max(0.0, *(one.high for one in lines))
    low = lows[0]
    for after in lows[1:-1]:
        if high - after >= 0.5 * (high - low):
            break
        low = after
    step = round_step(high - low, 4)
    return step * math.floor(low / step), step * math.ceil(high / step) or step, step

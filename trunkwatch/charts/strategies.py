"""Strategies beside doing nothing, and the price at which each would break even."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

__all__ = ["StrategyLine", "break_even_svg", "strategies_svg"]

WIDTH, ROW, LEFT, RIGHT, TOP = 760, 30, 280, 226, 42
_INK, _FAINT, _BAR, _MARK, _QUIET = "#1e2a33", "#c9c5bb", "#86b2d9", "#d65f0a", "#5c5a54"


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


def _frame(height: float, name: str, title: str, told: str, body: str) -> str:
    return (
        f'<svg class="strategies" viewBox="0 0 {WIDTH} {height:.0f}" role="img" aria-labelledby="{name}-t {name}-d" '
        f'xmlns="http://www.w3.org/2000/svg"><title id="{name}-t">{escape(title)}</title><desc id="{name}-d">{escape(told)}</desc>{body}</svg>'
    )


def _step(span: float, most: int = 6) -> float:
    size = 10.0 ** math.floor(math.log10(max(span, 1.0)))
    return next(size * k for k in (0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if span / (size * k) <= most)


def strategies_svg(
    lines: Sequence[StrategyLine], *, title: str, name: str = "strategies", area: str = "a hectare"
) -> str:
    """Draw the gain of every strategy with its limits, the figures and the crew-days beside it.

    A strategy so much worse than the others that it would squeeze them is drawn as an arrow; its figures tell.

    Raises
    ------
    ValueError
        If there is no strategy.
    """
    if not lines:
        raise ValueError("no strategy to draw: one at least is needed")
    low, high, step = _axis(lines)
    height = TOP + ROW * len(lines) + 26
    right = WIDTH - RIGHT

    def x(value: float) -> float:
        return LEFT + (right - LEFT) * (min(max(value, low), high) - low) / (high - low)

    bottom = TOP + ROW * len(lines)
    parts = [
        _text(LEFT, 14, f"gain {area} over doing nothing", colour=_QUIET),
        _text(LEFT, 30, "bar: nine futures in ten; flag: mean", colour=_QUIET),
        _text(right + 14, 14, "gain (nine in ten)", colour=_QUIET),
        _text(WIDTH - 4, 14, "crew-days", end=True, colour=_QUIET),
        _text(WIDTH - 4, 30, f"{area.replace('hectare', 'ha')}, 1st winter", end=True, colour=_QUIET),
    ]
    for k in range(round((high - low) / step) + 1):
        value = low + step * k
        colour = _INK if abs(value) < 1e-9 else _FAINT
        parts.append(f'<path d="M{x(value):.1f} {TOP}V{bottom}" stroke="{colour}" stroke-width="1"/>')
        parts.append(
            f'<text x="{x(value):.1f}" y="{bottom + 16}" text-anchor="middle" font-size="11" fill="{_INK}">{value:,.0f}</text>'
        )
    for number, one in enumerate(lines):
        y = TOP + ROW * (number + 0.5)
        parts.append(_text(LEFT - 10, y + 4, one.name, end=True, bold=one.best))
        if one.gain < low:
            parts.append(f'<path d="M{LEFT + 2} {y:.1f}l10 -5v10Z" fill="{_MARK}" stroke="#8f3a00"/>')
        else:
            parts.append(f'<path d="M{x(one.low):.1f} {y:.1f}H{x(one.high):.1f}" stroke="{_BAR}" stroke-width="9"/>')
            parts.append(
                f'<path d="M{x(one.gain):.1f} {y + 9:.1f}V{y - 9:.1f}l9 4l-9 4" fill="{_MARK}" stroke="#8f3a00" stroke-width="1.4"/>'
            )
        parts.append(
            _text(right + 14, y + 4, f"{one.gain:,.0f} ({one.low:,.0f} to {one.high:,.0f})", bold=one.best, size=11)
        )
        if not math.isnan(one.crew_days):
            parts.append(_text(WIDTH - 4, y + 4, f"{one.crew_days:.1f}", end=True, bold=one.best, size=11))
    told = "; ".join(f"{one.name}: {one.gain:,.0f} ({one.low:,.0f} to {one.high:,.0f})" for one in lines)
    return _frame(height, name, title, told, "".join(parts))


def _axis(lines: Sequence[StrategyLine]) -> tuple[float, float, float]:
    """Return the ends of the axis and its step; what would take more than half of it to itself is left out."""
    lows, high = sorted(min(0.0, one.low) for one in lines), max(0.0, *(one.high for one in lines))
    low = lows[0]
    for after in lows[1:-1]:
        if high - after >= 0.5 * (high - low):
            break
        low = after
    step = _step(high - low, 4)
    return step * math.floor(low / step), step * math.ceil(high / step) or step, step


def _text(
    x: float, y: float, words: str, *, end: bool = False, bold: bool = False, size: int = 12, colour: str = _INK
) -> str:
    anchor = ' text-anchor="end"' if end else ""
    weight = ' font-weight="600"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{anchor} font-size="{size}" fill="{colour}"{weight}>{escape(words)}</text>'


def _in_two(words: str, most: int = 34) -> list[str]:
    """Break a name into lines that fit beside a picture."""
    lines = [""]
    for word in words.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > most:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def break_even_svg(
    lines: Sequence[StrategyLine], price: float, *, title: str, name: str = "breakeven", area: str = "a hectare",
    weight: str = "a tonne",
) -> str:  # fmt: skip
    """Draw the mean gain over the price of the grapes: a straight line for each strategy, through its break-even price.

    Strategies without a break-even price above nothing are left out, and those whose line lies on one drawn before.

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
    shown = shown[:4]
    top = max([2 * price, *(min(one.flip_price * 1.2, 4 * price) for one in shown)])
    height, left, right, up, down = 300.0, 90.0, 230.0, 28.0, 44.0

    def gain(one: StrategyLine, at: float) -> float:
        return one.gain * (at - one.flip_price) / (price - one.flip_price)

    values = [gain(one, at) for one in shown for at in (0.0, top)] or [0.0]
    low, high = min(0.0, *values), max(0.0, *values, 1.0)
    low = max(low, -1.5 * max(high, abs(low) / 2))

    def at_x(value: float) -> float:
        return left + (WIDTH - left - right) * value / top

    def at_y(value: float) -> float:
        return up + (height - up - down) * (high - max(min(value, high), low)) / (high - low)

    parts = [
        f'<path d="M{left} {at_y(0):.1f}H{WIDTH - right}" stroke="{_INK}"/>',
        f'<text x="{left - 8}" y="{at_y(0) + 4:.1f}" text-anchor="end" font-size="11" fill="{_INK}">0</text>',
    ]
    for value in _ticks(low, high):
        parts.append(_text(left - 8, at_y(value) + 4, f"{value:,.0f}", end=True, size=11))
        parts.append(f'<path d="M{left} {at_y(value):.1f}H{WIDTH - right}" stroke="{_FAINT}"/>')
    parts.append(_text(4, 14, f"gain {area} over doing nothing", colour=_QUIET))
    step = _step(top)
    parts += [
        f'<text x="{at_x(step * k):.1f}" y="{height - 24:.0f}" text-anchor="middle" font-size="11" fill="{_INK}">{step * k:,.0f}</text>'
        for k in range(int(top // step) + 1)
    ]
    parts.append(
        f'<text x="{at_x(top / 2):.1f}" y="{height - 6:.0f}" text-anchor="middle" font-size="12" fill="#5c5a54">price of {weight}; dotted: now</text>'
    )
    parts.append(f'<path d="M{at_x(price):.1f} {up}V{height - down}" stroke="{_INK}" stroke-dasharray="2 4"/>')
    marks = ("", "7 4", "2 4", "12 3 2 3")
    colours = ("#d65f0a", "#153f6b", "#8f5210", "#2b69a3")
    names: list[tuple[float, str, str]] = []
    for one, dash, colour in zip(shown, marks, colours, strict=False):
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        parts.append(
            f'<path d="M{at_x(0):.1f} {at_y(gain(one, 0)):.1f}L{at_x(top):.1f} {at_y(gain(one, top)):.1f}" stroke="{colour}" stroke-width="2"{dashed} fill="none"/>'
        )
        if 0 < one.flip_price <= top:
            x, y = at_x(one.flip_price), at_y(0)
            parts.append(f'<path d="M{x - 4:.1f} {y:.1f}l4 -4l4 4l-4 4Z" fill="{colour}"/>')
        names.append((at_y(gain(one, top)), one.name, colour))
    before = -100.0
    for y, text, colour in sorted(names):
        for number, part in enumerate(_in_two(text)):
            before = max(y, before + (14 if number else 20))
            parts.append(_text(WIDTH - right + 6, before + 4, part, size=11, colour=colour))
    told = (
        "; ".join(f"{one.name} breaks even at {one.flip_price:,.0f} {weight}" for one in shown)
        or "no strategy breaks even at any price"
    )
    return _frame(height, name, title, f"Price now {price:,.0f}. {told}.", "".join(parts))


def _drawn(one: StrategyLine, shown: Sequence[StrategyLine], price: float) -> bool:
    """Tell whether a line would lie on one that is drawn already, within 2 % of the price and of the gain."""
    return any(
        abs(one.flip_price - other.flip_price) < 0.02 * price and abs(one.gain - other.gain) < 0.02 * abs(other.gain)
        for other in shown
    )


def _ticks(low: float, high: float) -> list[float]:
    step = _step(high - low)
    return [step * k for k in range(math.ceil(low / step), math.floor(high / step) + 1) if k]

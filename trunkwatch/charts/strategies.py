"""Strategies beside doing nothing, and the price at which each would break even."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

__all__ = ["StrategyLine", "break_even_svg", "strategies_svg"]

WIDTH, ROW, LEFT, RIGHT, TOP = 760, 30, 300, 30, 30
_INK, _FAINT, _BAR, _MARK = "#1e2a33", "#c9c5bb", "#86b2d9", "#d65f0a"


@dataclass(frozen=True, slots=True)
class StrategyLine:
    """One strategy: mean gain over doing nothing with its 90 % limits, money a hectare, and whether it is the best."""

    name: str
    gain: float
    low: float
    high: float
    flip_price: float = math.nan
    best: bool = False


def _frame(height: float, name: str, title: str, told: str, body: str) -> str:
    return (
        f'<svg class="strategies" viewBox="0 0 {WIDTH} {height:.0f}" role="img" aria-labelledby="{name}-t {name}-d" '
        f'xmlns="http://www.w3.org/2000/svg"><title id="{name}-t">{escape(title)}</title><desc id="{name}-d">{escape(told)}</desc>{body}</svg>'
    )


def _step(span: float) -> float:
    size = 10.0 ** math.floor(math.log10(max(span, 1.0)))
    return next(size * k for k in (0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if span / (size * k) <= 6)


def strategies_svg(lines: Sequence[StrategyLine], *, title: str, name: str = "strategies") -> str:
    """Draw the gain of every strategy with its limits.

    Raises
    ------
    ValueError
        If there is no strategy.
    """
    if not lines:
        raise ValueError("no strategy to draw: one at least is needed")
    low, high = min(0.0, *(one.low for one in lines)), max(0.0, *(one.high for one in lines))
    step = _step(high - low)
    low, high = step * math.floor(low / step), step * math.ceil(high / step) or step
    height = TOP + ROW * len(lines) + 34

    def x(value: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (value - low) / (high - low)

    bottom = TOP + ROW * len(lines)
    parts = [
        f'<text x="{LEFT}" y="16" font-size="12" fill="#5c5a54">gain a hectare over doing nothing: bar, nine futures in ten; flag, mean</text>'
    ]
    ticks = round((high - low) / step)
    for k in range(ticks + 1):
        value = low + step * k
        parts.append(
            f'<path d="M{x(value):.1f} {TOP}V{bottom}" stroke="{_INK if abs(value) < 1e-9 else _FAINT}" stroke-width="1"/>'
        )
        parts.append(
            f'<text x="{x(value):.1f}" y="{bottom + 18}" text-anchor="middle" font-size="11" fill="{_INK}">{value:,.0f}</text>'
        )
    for number, one in enumerate(lines):
        y = TOP + ROW * (number + 0.5)
        weight = ' font-weight="600"' if one.best else ""
        parts.append(
            f'<text x="{LEFT - 10}" y="{y + 4:.1f}" text-anchor="end" font-size="12" fill="{_INK}"{weight}>{escape(one.name)}</text>'
        )
        parts.append(f'<path d="M{x(one.low):.1f} {y:.1f}H{x(one.high):.1f}" stroke="{_BAR}" stroke-width="9"/>')
        parts.append(
            f'<path d="M{x(one.gain):.1f} {y + 9:.1f}V{y - 9:.1f}l9 4l-9 4" fill="{_MARK}" stroke="#8f3a00" stroke-width="1.4"/>'
        )
    told = "; ".join(f"{one.name}: {one.gain:,.0f} ({one.low:,.0f} to {one.high:,.0f})" for one in lines)
    return _frame(height, name, title, told, "".join(parts))


def break_even_svg(lines: Sequence[StrategyLine], price: float, *, title: str, name: str = "breakeven") -> str:
    """Draw the mean gain over the price of the grapes: a straight line for each strategy, through its break-even price.

    Strategies without a break-even price above nothing are left out.

    Raises
    ------
    ValueError
        If the price is not above 0.
    """
    if price <= 0:
        raise ValueError(f"price is {price}: above 0 is needed")
    shown = [one for one in lines if one.flip_price == one.flip_price and abs(one.flip_price - price) > 1e-9][:4]
    top = max([2 * price, *(min(one.flip_price * 1.2, 4 * price) for one in shown)])
    height, left, right, up, down = 300.0, 90.0, 230.0, 24.0, 44.0

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
    step = _step(top)
    parts += [
        f'<text x="{at_x(step * k):.1f}" y="{height - 24:.0f}" text-anchor="middle" font-size="11" fill="{_INK}">{step * k:,.0f}</text>'
        for k in range(int(top // step) + 1)
    ]
    parts.append(
        f'<text x="{at_x(top / 2):.1f}" y="{height - 6:.0f}" text-anchor="middle" font-size="12" fill="#5c5a54">price of a tonne; dotted: now</text>'
    )
    parts.append(f'<path d="M{at_x(price):.1f} {up}V{height - down}" stroke="{_INK}" stroke-dasharray="2 4"/>')
    marks = ("", "7 4", "2 4", "12 3 2 3")
    colours = ("#d65f0a", "#153f6b", "#8f5210", "#2b69a3")
    names: list[tuple[float, str]] = []
    for one, dash, colour in zip(shown, marks, colours, strict=False):
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        parts.append(
            f'<path d="M{at_x(0):.1f} {at_y(gain(one, 0)):.1f}L{at_x(top):.1f} {at_y(gain(one, top)):.1f}" stroke="{colour}" stroke-width="2"{dashed} fill="none"/>'
        )
        if 0 < one.flip_price <= top:
            x, y = at_x(one.flip_price), at_y(0)
            parts.append(f'<path d="M{x - 4:.1f} {y:.1f}l4 -4l4 4l-4 4Z" fill="{colour}"/>')
        names.append((at_y(gain(one, top)), f'<tspan fill="{colour}">{escape(one.name[:38])}</tspan>'))
    before = -100.0
    for y, text in sorted(names):
        before = max(y, before + 15)
        parts.append(f'<text x="{WIDTH - right + 6}" y="{before + 4:.1f}" font-size="11">{text}</text>')
    told = (
        "; ".join(f"{one.name} breaks even at {one.flip_price:,.0f} a tonne" for one in shown)
        or "no strategy breaks even at any price"
    )
    return _frame(height, name, title, f"Price now {price:,.0f}. {told}.", "".join(parts))

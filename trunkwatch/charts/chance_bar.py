"""Where a count lies in what chance would give: one small picture beside one test."""

import math
from html import escape

from trunkwatch.charts.colours import BAR, DEEP, EDGE, LINE, MARK
from trunkwatch.charts.pieces import text, text_width

__all__ = ["chance_bar_svg"]

WIDTH, HEIGHT = 240, 50


def chance_bar_svg(
    seen: float, expected: float, spread: float, *, what: str, name: str, most: float | None = None
) -> str:
    """Draw a count beside the range that chance gives.

    Parameters
    ----------
    seen, expected : float
        The count and its mean under chance.
    spread : float
        Standard deviation under chance.
    what : str
        What is counted, for the alternative text.
    name : str
        Start of the ids, unlike that of any other picture on the page.
    most : float, optional
        Largest number of several pictures on one scale; that of this one where left out.

    Raises
    ------
    ValueError
        If the spread is not a number of 0 or more.
    """
    if not spread >= 0 or math.isinf(spread):
        raise ValueError(f"spread is {spread}: a number of 0 or more is needed")
    low, high = max(0.0, expected - 2 * spread), expected + 2 * spread
    top = max(high, seen, 1.0, most or 0.0) * 1.12
    x = {
        key: 8 + (WIDTH - 16) * value / top
        for key, value in (("low", low), ("high", high), ("mean", expected), ("seen", seen))
    }
    told = f"{what}: {seen:g} seen; chance gives about {expected:.1f}, mostly {low:.1f} to {high:.1f}."
    above, below = f"seen {seen:g}", f"chance {expected:.1f}"
    beside = x["seen"] + 12 + text_width(above) <= WIDTH
    half = text_width(below) / 2
    return (
        f'<svg class="bar" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{name}-t" fill="none" '
        f'xmlns="http://www.w3.org/2000/svg"><title id="{name}-t">{escape(told)}</title>'
        f'<path d="M8 27H{WIDTH - 8}" stroke="{LINE}" stroke-width="1"/>'
        f'<path d="M{x["low"]:.1f} 27H{x["high"]:.1f}" stroke="{BAR}" stroke-width="9"/>'
        f'<path d="M{x["mean"]:.1f} 21v12" stroke="{DEEP}" stroke-width="2"/>'
        f'<path d="M{x["seen"]:.1f} 35V9l9 4l-9 4" fill="{MARK}" stroke="{EDGE}" stroke-width="1.5"/>'
        + text(min(max(x["mean"], half), WIDTH - half), 47, below, anchor="middle", colour=DEEP)
        + text(x["seen"] + (12 if beside else -4), 12, above, anchor="" if beside else "end", colour=EDGE)
        + "</svg>"
    )

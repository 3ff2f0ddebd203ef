"""Where a count lies in what chance would give: one small picture beside one test."""

import math
from html import escape

__all__ = ["chance_bar_svg"]

WIDTH, HEIGHT = 300, 46


def chance_bar_svg(seen: float, expected: float, spread: float, *, what: str, name: str) -> str:
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

    Raises
    ------
    ValueError
        If the spread is not a number of 0 or more.
    """
    if not spread >= 0 or math.isinf(spread):
        raise ValueError(f"spread is {spread}: a number of 0 or more is needed")
    low, high = max(0.0, expected - 2 * spread), expected + 2 * spread
    top = max(high, seen, 1.0) * 1.12
    x = {
        key: 8 + (WIDTH - 16) * value / top
        for key, value in (("low", low), ("high", high), ("mean", expected), ("seen", seen))
    }
    text = f"{what}: {seen:g} seen; chance gives about {expected:.1f}, mostly {low:.1f} to {high:.1f}."
    room = x["seen"] + 12 + 6.5 * len(f"seen {seen:g}") <= WIDTH
    beside = f'x="{x["seen"] + 12:.1f}"' if room else f'x="{x["seen"] - 4:.1f}" text-anchor="end"'
    return (
        f'<svg class="bar" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{name}-t" '
        f'xmlns="http://www.w3.org/2000/svg"><title id="{name}-t">{escape(text)}</title>'
        f'<path d="M8 26H{WIDTH - 8}" stroke="#8b8d8a" stroke-width="1"/>'
        f'<path d="M{x["low"]:.1f} 26H{x["high"]:.1f}" stroke="#86b2d9" stroke-width="9"/>'
        f'<path d="M{x["mean"]:.1f} 20v12" stroke="#153f6b" stroke-width="2"/>'
        f'<path d="M{x["seen"]:.1f} 34V8l9 4l-9 4" fill="#d65f0a" stroke="#8f3a00" stroke-width="1.5"/>'
        f'<text x="{x["mean"]:.1f}" y="44" text-anchor="middle" font-size="10" fill="#153f6b">chance {expected:.1f}</text>'
        f'<text {beside} y="11" font-size="11" fill="#8f3a00">seen {seen:g}</text></svg>'
    )

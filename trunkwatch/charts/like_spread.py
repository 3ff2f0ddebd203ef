"""How blocks like one are spread, and where it lies among them: fifty dots by the law of such blocks, none of them a block of anybody."""

from collections import Counter
from collections.abc import Sequence
from html import escape

from trunkwatch.charts.colours import BAR, BLUE, EDGE, LINE, MARK
from trunkwatch.charts.pieces import round_step, text, text_width

__all__ = ["DOTS", "like_spread_svg"]

#: How many dots.
DOTS = 50
_WIDTH, _LEFT, _BINS, _STEP = 320, 12, 24, 6.0


def like_spread_svg(shares: Sequence[float], own: tuple[float, float, float], *, name: str) -> str:
    """Draw the spread of blocks like one with that one marked: no place in it is good or bad.

    Parameters
    ----------
    shares : sequence of float
        `DOTS` shares, 0 to 1, at even steps of the law of such blocks.
    own : (float, float, float)
        The block's share and its limits.
    name : str
        Start of the ids, unlike that of any other picture on the page.

    Raises
    ------
    ValueError
        If there are more or fewer shares, or one is none.
    """
    share, low, high = own
    if len(shares) != DOTS or not all(0 <= one <= 1 for one in (*shares, *own)) or not low <= share <= high:
        raise ValueError(f"{len(shares)} shares and {own}: {DOTS} are needed, and 0 <= low <= share <= high <= 1")
    ordered = sorted(shares)
    top = min(1.0, max(ordered[-2], high, 0.01) * 1.05)
    wide = (_WIDTH - 2 * _LEFT) / _BINS
    stacks: Counter[int] = Counter()
    dots = ""
    for one in ordered:
        place = min(_BINS - 1, int(_BINS * min(one, top) / top))
        dots += f"M{_LEFT + wide * (place + 0.5):.1f} {-_STEP * (stacks[place] + 0.7):.1f}h0"
        stacks[place] += 1
    tall = _STEP * max(stacks.values()) + 44
    base = tall - 34
    x = [_LEFT + (_WIDTH - 2 * _LEFT) * value / top for value in (share, low, high)]
    told = f"Blocks like yours are spread from {100 * ordered[0]:.0f} to {100 * ordered[-1]:.0f} of 100 vines; yours lies at about {100 * share:.0f} (likely range {100 * low:.0f} to {100 * high:.0f})."
    words = "your block"
    right = x[0] + 10 + text_width(words) <= _WIDTH
    return (
        f'<svg class="spread" viewBox="0 0 {_WIDTH} {tall:.0f}" role="img" aria-labelledby="{name}-t" fill="none" '
        f'xmlns="http://www.w3.org/2000/svg"><title id="{name}-t">{escape(told)}</title>'
        f'<path d="{dots}" transform="translate(0 {base:.1f})" stroke="{BAR}" stroke-width="5" stroke-linecap="round"/>'
        f'<path d="M{_LEFT} {base:.1f}H{_WIDTH - _LEFT}" stroke="{LINE}" stroke-width="1"/>'
        f'<path d="M{x[1]:.1f} {base + 5:.1f}H{x[2]:.1f}" stroke="{EDGE}" stroke-width="3"/>'
        f'<path d="M{x[0]:.1f} {base + 8:.1f}V3l8 4l-8 4" stroke="{EDGE}" fill="{MARK}" stroke-width="1.5"/>'
        + text(x[0] + (11 if right else -4), 12, words, anchor="" if right else "end", colour=EDGE)
        + "".join(text(at, tall - 8, label, anchor=anchor, colour=BLUE) for at, label, anchor in _ticks(top))
        + "</svg>"
    )


def _ticks(top: float) -> list[tuple[float, str, str]]:
    """Return the numbers under the axis: none, and round numbers of a hundred."""
    step = round_step(100 * top, 4)
    out = [(float(_LEFT), "none", "")]
    value = step
    while value <= 100 * top * 0.97:
        out.append((_LEFT + (_WIDTH - 2 * _LEFT) * value / (100 * top), f"{value:g}", "middle"))
        value += step
    at, label, _ = out[-1]
    return [*out[:-1], (at, f"{label} of 100", "end" if at + 30 > _WIDTH else "middle")]

"""The rate of every season in the size of two words, to stand beside the sentence that says whether it is getting worse."""

from collections.abc import Sequence
from html import escape

from trunkwatch.charts.colours import BLUE, EDGE, LINE, MARK, PALE, QUIET
from trunkwatch.charts.pieces import text
from trunkwatch.charts.trend_chart import TrendPoint

__all__ = ["years_line_svg"]

_WIDE, _HIGH = 112.0, 66.0
#: Margins left and right, above, and below where the years stand.
_SIDE, _TOP, _FOOT = 6.0, 5.0, 16.0


def years_line_svg(points: Sequence[TrendPoint], *, what: str, name: str) -> str:
    """Draw the shares of the seasons as a line from zero, their likely ranges as bars, the last one marked.

    Parameters
    ----------
    points : sequence of TrendPoint
        In the order of the seasons; one without a share breaks the line.
    what : str
        What the share is of, for the alternative text, as in "show symptoms".
    name : str
        Start of the ids, unlike that of any other picture on the page.

    Returns
    -------
    str
        One SVG element; empty where fewer than two seasons have a share.
    """
    counted = [one for one in points if one.share is not None]
    if len(counted) < 2:
        return ""
    first, last = points[0].season, points[-1].season
    most = max(one.high for one in counted) or 1.0

    def at(season: int, share: float) -> tuple[float, float]:
        x = _SIDE + (_WIDE - 2 * _SIDE) * (season - first) / max(1, last - first)
        return x, _HIGH - _FOOT - (_HIGH - _FOOT - _TOP) * share / most

    bars, line, pen = "", "", "M"
    for one in points:
        if one.share is None:
            pen = "M"
            continue
        (x, y), (_, low), (_, high) = (at(one.season, share) for share in (one.share, one.low, one.high))
        bars += f"M{x:.1f} {low:.1f}V{high:.1f}"
        line += f"{pen}{x:.1f} {y:.1f}"
        pen = "L"
    shares = {one.season: one.share for one in points if one.share is not None}
    x, y = at(*list(shares.items())[-1])
    told = "; ".join(f"{season}: {100 * share:.1f}%" for season, share in shares.items())
    return (
        f'<svg class="years" viewBox="0 0 {_WIDE:g} {_HIGH:g}" role="img" aria-labelledby="{name}-t" fill="none" '
        f'xmlns="http://www.w3.org/2000/svg"><title id="{name}-t">{escape(f"Of all vines {what}, by season: {told}.")}</title>'
        f'<path d="M{_SIDE:g} {_HIGH - _FOOT:g}H{_WIDE - _SIDE:g}" stroke="{LINE}"/>'
        f'<path d="{bars}" stroke="{PALE}" stroke-width="5"/><path d="{line}" stroke="{BLUE}" stroke-width="2" stroke-linejoin="round"/>'
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="{MARK}" stroke="{EDGE}"/>'
        + text(_SIDE - 4, _HIGH - 3, str(first), size=11, colour=QUIET)
        + text(_WIDE - _SIDE + 4, _HIGH - 3, str(last), anchor="end", size=11, colour=QUIET)
        + "</svg>"
    )

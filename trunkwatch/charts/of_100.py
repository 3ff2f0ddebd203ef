"""How many of a hundred vines: ten rows of ten, some flagged, for a share that a number alone does not show."""

import math
from html import escape

from trunkwatch.charts.colours import BLUE, EDGE, MARK

__all__ = ["of_100_svg"]

_SIDE, _STEP = 100, 10


def of_100_svg(share: float, low: float, high: float, *, what: str, name: str) -> str:
    """Draw ten rows of ten small vines with as many flags as the share has in a hundred.

    A flag is one of a hundred; a tick is a vine without a flag. How far the share could be off stands in words: flags for it too were counted
    as sick vines.

    Parameters
    ----------
    share, low, high : float
        The share and its limits, 0 to 1.
    what : str
        What the flagged vines do, for the alternative text, as in "show symptoms".
    name : str
        Start of the ids, unlike that of any other picture on the page.

    Raises
    ------
    ValueError
        If it is not so that 0 <= low <= share <= high <= 1.
    """
    if not 0 <= low <= share <= high <= 1:
        raise ValueError(f"share is {share} within {low} to {high}: 0 <= low <= share <= high <= 1 is needed")
    flags, least, most = (math.floor(100 * value + 0.5) for value in (share, low, high))
    solid, ticks = "", ""
    for vine in range(100):
        x, y = _STEP * (vine % 10) + 3, _STEP * (vine // 10) + 9
        flag = f"M{x} {y}v-8l5 2.4l-5 2.4"
        if vine < flags:
            solid += flag
        else:
            ticks += f"M{x} {y}v-4"
    told = f"Of 100 vines about {flags} {what} (likely range {least} to {most})."
    return (
        f'<svg class="hundred" viewBox="0 0 {_SIDE} {_SIDE}" role="img" aria-labelledby="{name}-t" fill="none" '
        f'xmlns="http://www.w3.org/2000/svg"><title id="{name}-t">{escape(told)}</title>'
        + _path(ticks, BLUE, "none")
        + _path(solid, EDGE, MARK)
        + "</svg>"
    )


def _path(drawn: str, stroke: str, fill: str) -> str:
    return f'<path d="{drawn}" fill="{fill}" stroke="{stroke}" stroke-width="1.5"/>' if drawn else ""

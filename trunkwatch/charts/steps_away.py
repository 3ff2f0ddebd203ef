"""How much more often new cases come beside a case noted before, one vine away, two, three: each beside what chance gives."""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from trunkwatch.charts.colours import BAR, DEEP, EDGE, LINE, MARK
from trunkwatch.charts.pieces import text

__all__ = ["StepAway", "steps_away_svg"]

#: Room for how far away, and for how many times.
_WIDTH, _LEFT, _RIGHT, _ROW, _TOP, _FOOT = 340.0, 84.0, 70.0, 34.0, 12.0, 30.0
#: Half the height of a band of chance.
_BAND = 7.0


@dataclass(frozen=True, slots=True)
class StepAway:
    """One line of the picture.

    Attributes
    ----------
    words : str
        How far away, as in "two away".
    seen : float
        How many times as often as beside a case noted only later.
    low, high : float
        What chance gives, mostly.
    """

    words: str
    seen: float
    low: float
    high: float


def steps_away_svg(steps: Sequence[StepAway], *, name: str) -> str:
    """Draw each distance as a band of chance with a flag where the record stands.

    Parameters
    ----------
    steps : sequence of StepAway
        The nearest first.
    name : str
        Start of the ids, unlike that of any other picture on the page.

    Returns
    -------
    str
        One SVG element; empty where there is no step.

    Raises
    ------
    ValueError
        If it is not so that 0 <= low <= high, or a value is below 0.
    """
    if any(not (0 <= one.low <= one.high and one.seen >= 0) for one in steps):
        raise ValueError(f"steps are {list(steps)}: 0 <= low <= high and seen >= 0 are needed")
    if not steps:
        return ""
    least = min(1.0, *(min(one.seen, one.low) for one in steps))
    most = max(1.2, *(max(one.seen, one.high) for one in steps))
    tall = _TOP + _ROW * len(steps) + _FOOT

    def x(times: float) -> float:
        return _LEFT + (_WIDTH - _LEFT - _RIGHT) * (times - least) / (most - least)

    ends = tall - _FOOT
    body = f'<path d="M{x(1):.1f} {_TOP - 6:.0f}V{ends + 4:.0f}" stroke="{LINE}" stroke-dasharray="3 3"/>'
    for number, one in enumerate(steps):
        y = _TOP + _ROW * (number + 0.5)
        label = f"{one.seen:.1f} times"
        body += (
            text(0, y + 4, one.words)
            + f'<path d="M{x(one.low):.1f} {y:.1f}H{max(x(one.high), x(one.low) + 2):.1f}" stroke="{BAR}" stroke-width="{2 * _BAND:g}"/>'
            + f'<path d="M{x(one.seen):.1f} {y + 11:.1f}v-24l9 4l-9 4" fill="{MARK}" stroke="{EDGE}" stroke-width="1.5"/>'
            + text(max(x(one.seen) + 12, x(one.high) + 5), y + 4, label, colour=EDGE)
        )
    return (
        f'<svg class="steps" viewBox="0 0 {_WIDTH:g} {tall:g}" role="img" aria-labelledby="{name}-t" fill="none" '
        f'xmlns="http://www.w3.org/2000/svg"><title id="{name}-t">{escape(_told(steps))}</title>{body}'
        + text(x(1), tall - 12, "just as often", anchor="middle", colour=DEEP)
        + "</svg>"
    )


def _told(steps: Sequence[StepAway]) -> str:
    lines = "; ".join(f"{one.words} {one.seen:.1f} times, by chance {one.low:.1f} to {one.high:.1f}" for one in steps)
    return f"New cases beside a case noted before, against one noted only later: {lines}."

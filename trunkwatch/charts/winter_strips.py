"""Strips over the stretches of a winter: one strip a question, one bar a stretch, its figure over it."""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from trunkwatch.charts.colours import BAR, DEEP, INK, LINE, MARK, QUIET
from trunkwatch.charts.pieces import NARROW, framed, text, text_width, wrapped

__all__ = ["Strip", "winter_strips_svg"]

_BAR_HEIGHT, _OVER = 34, 16


@dataclass(frozen=True, slots=True)
class Strip:
    """One question over the stretches: its name, a share for each (nan where it is not known), whether more is worse, and the share of a full bar."""

    name: str
    shares: tuple[float, ...]
    more_is_worse: bool = True
    full: float = 1.0


def winter_strips_svg(
    stretches: Sequence[str], strips: Sequence[Strip], *, title: str, name: str = "strips", narrow: bool = False
) -> str:
    """Draw strips one under the other.

    Parameters
    ----------
    stretches : sequence of str
        Short names of the stretches: "1 Mar".
    strips : sequence of Strip
    title : str
        Heading for readers who cannot see it.
    name : str
        Start of the ids, unlike that of any other picture on the page.
    narrow : bool
        Whether it is for a phone.

    Raises
    ------
    ValueError
        If a strip has not one share for each stretch, or there is none.
    """
    if not strips or not stretches or any(len(one.shares) != len(stretches) for one in strips):
        raise ValueError(
            f"{len(stretches)} stretches: every strip needs one share for each, and one strip at least is needed"
        )
    width = NARROW if narrow else 760
    left = 4.0 if narrow else 190.0
    column = (width - left - 4) / len(stretches)
    parts, y = [], 4.0
    for strip in strips:
        part, y = _strip(strip, y, left, column, narrow=narrow)
        parts.append(part)
    parts.append(_heads(stretches, y + 14, left, column))
    told = " ".join(
        f"{one.name}: {', '.join(f'{head} {_figure(share)}' for head, share in zip(stretches, one.shares, strict=True))}."
        for one in strips
    )
    return framed("strips", (width, y + 24), name, (title, told), "".join(parts), narrow=narrow)


def _strip(strip: Strip, y: float, left: float, column: float, *, narrow: bool) -> tuple[str, float]:
    """Draw one strip from a height on; return it and where it ends."""
    if narrow:
        lines = wrapped(strip.name, NARROW - 8)
        out = [text(left, y + 12 + 14 * number, line, bold=True) for number, line in enumerate(lines)]
        y += 14 * len(lines)
    else:
        lines = wrapped(strip.name, left - 16)
        out = [text(left - 12, y + 28 + 14 * number, line, anchor="end") for number, line in enumerate(lines)]
    foot = y + _OVER + _BAR_HEIGHT
    colour, edge = (MARK, MARK) if strip.more_is_worse else (BAR, DEEP)
    best = [share for share in strip.shares if share == share]
    goal = (min(best) if strip.more_is_worse else max(best)) if best else None
    for number, share in enumerate(strip.shares):
        x, middle = left + column * number, left + column * (number + 0.5)
        if share != share:
            out.append(text(middle, foot - 4, "?", anchor="middle", colour=QUIET))
            continue
        tall = max(1.0, _BAR_HEIGHT * min(max(share / strip.full, 0.0), 1.0))
        out.append(
            f'<rect x="{x + 2:.1f}" y="{foot - tall:.1f}" width="{column - 4:.1f}" height="{tall:.1f}" fill="{colour}" stroke="{edge}">'
            f"<title>{escape(_figure(share))}</title></rect>"
        )
        out.append(
            text(
                middle, foot - tall - 4, f"{100 * share:.0f}", anchor="middle", size=11, bold=share == goal, colour=INK
            )
        )
    out.append(f'<path d="M{left:g} {foot:.1f}h{column * len(strip.shares):.1f}" stroke="{LINE}"/>')
    return "".join(out), foot + 8


def _heads(stretches: Sequence[str], y: float, left: float, column: float) -> str:
    """Write the names under the strips, as many as there is room for."""
    every = next(step for step in range(1, 100) if step * column >= max(text_width(one, 11) for one in stretches) + 4)
    out = []
    for number in range(0, len(stretches), every):
        half = text_width(stretches[number], 11) / 2
        out.append(text(max(left + column * (number + 0.5), half), y, stretches[number], anchor="middle", size=11))
    return "".join(out)


def _figure(share: float) -> str:
    return "not known" if share != share else f"{100 * share:.0f} %"

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
    """One question over the stretches.

    Attributes
    ----------
    name : str
        The question, short.
    shares : tuple of float
        One for each stretch, nan where it is not known.
    more_is_worse : bool
    full : float
        The share of a full bar.
    without : tuple of float
        What each would be without a measure, drawn as an outline; may be left out.
    scale : str
        What its figures are; may be left out.
    """

    name: str
    shares: tuple[float, ...]
    more_is_worse: bool = True
    full: float = 1.0
    without: tuple[float, ...] = ()
    scale: str = ""


def winter_strips_svg(
    stretches: Sequence[str],
    strips: Sequence[Strip],
    *,
    title: str,
    axis: str = "",
    name: str = "strips",
    narrow: bool = False,
) -> str:
    """Draw strips one under the other.

    Parameters
    ----------
    stretches : sequence of str
        Short names of the stretches: "1 Mar".
    strips : sequence of Strip
    title : str
        Heading for readers who cannot see it.
    axis : str
        What the names of the stretches are; may be left out.
    name : str
        Start of the ids, unlike that of any other picture on the page.
    narrow : bool
        Whether it is for a phone.

    Raises
    ------
    ValueError
        If a strip has not one share for each stretch, or there is none.
    """
    if (
        not strips
        or not stretches
        or any(len(one.shares) != len(stretches) or len(one.without) not in (0, len(stretches)) for one in strips)
    ):
        raise ValueError(
            f"{len(stretches)} stretches: every strip needs one share for each, and one strip at least is needed"
        )
    width = NARROW if narrow else 760
    left = 4.0 if narrow else 190.0
    column = (width - left - 4) / len(stretches)
    legend, y = _legend(strips, left, narrow=narrow)
    parts = [legend]
    for strip in strips:
        part, y = _strip(strip, y, left, column, narrow=narrow)
        parts.append(part)
    parts.append(_heads(stretches, y + 14, left, column))
    if axis:
        y += 15
        parts.append(text(left + column * len(stretches) / 2, y + 14, axis, anchor="middle", size=11, colour=QUIET))
    told = " ".join(_told(one, stretches) for one in strips)
    return framed("strips", (width, y + 24), name, (title, told), "".join(parts), narrow=narrow)


def _legend(strips: Sequence[Strip], left: float, *, narrow: bool) -> tuple[str, float]:
    """Say what the colors, the outline and bold figures are; return it and where it ends."""
    signs = [(MARK, MARK, "more is worse")] if any(one.more_is_worse for one in strips) else []
    signs += [(BAR, DEEP, "more is better")] if any(not one.more_is_worse for one in strips) else []
    signs += [("none", QUIET, "without it")] if any(one.without for one in strips) else []
    x, out = left, []
    for fill, edge, words in signs:
        dashes = ' stroke-dasharray="3 2"' if fill == "none" else ""
        out.append(
            f'<path d="M{x:.1f} 5h10v10h-10Z" fill="{fill}" stroke="{edge}"{dashes}/>'
            + text(x + 15, 14, words, size=11)
        )
        x += 15 + text_width(words, 11) + (10 if narrow else 18)
    out.append(text(x, 14, "bold: the best", size=11, bold=True))
    return "".join(out), 26.0


def _told(strip: Strip, stretches: Sequence[str]) -> str:
    """Say a strip in numbers."""
    before = [f", {_figure(share)} without" for share in strip.without] or [""] * len(stretches)
    figures = zip(stretches, strip.shares, before, strict=True)
    scale = f" ({strip.scale})" if strip.scale else ""
    return f"{strip.name}{scale}: {', '.join(f'{head} {_figure(share)}{without}' for head, share, without in figures)}."


def _strip(strip: Strip, y: float, left: float, column: float, *, narrow: bool) -> tuple[str, float]:
    """Draw one strip from a height on; return it and where it ends."""
    if narrow:
        lines = wrapped(strip.name, NARROW - 8)
        out = [text(left, y + 12 + 14 * number, line, bold=True) for number, line in enumerate(lines)]
        small = wrapped(strip.scale, NARROW - 8, 11) if strip.scale else []
        y += 14 * len(lines)
        out += [text(left, y + 11 + 13 * number, line, size=11, colour=QUIET) for number, line in enumerate(small)]
        y += 13 * len(small)
    else:
        lines = wrapped(strip.name, left - 16)
        small = wrapped(strip.scale, left - 16, 11) if strip.scale else []
        top = y + 34 - 7 * (len(lines) + len(small) - 1)
        out = [text(left - 12, top + 14 * number, line, anchor="end", bold=True) for number, line in enumerate(lines)]
        top += 14 * len(lines)
        out += [
            text(left - 12, top + 13 * number, line, anchor="end", size=11, colour=QUIET)
            for number, line in enumerate(small)
        ]
    foot = y + _OVER + _BAR_HEIGHT
    colour, edge = (MARK, MARK) if strip.more_is_worse else (BAR, DEEP)
    best = [share for share in strip.shares if share == share]
    goal = (min(best) if strip.more_is_worse else max(best)) if best else None
    for number, share in enumerate(strip.shares):
        x, middle = left + column * number, left + column * (number + 0.5)
        if share != share:
            out.append(text(middle, foot - 4, "?", anchor="middle", colour=QUIET))
            continue
        tall = ghost = _tall(share, strip.full)
        if strip.without and strip.without[number] == strip.without[number]:
            ghost = _tall(strip.without[number], strip.full)
            out.append(
                f'<rect x="{x + 2:.1f}" y="{foot - ghost:.1f}" width="{column - 4:.1f}" height="{ghost:.1f}" fill="none" stroke="{QUIET}" '
                f'stroke-dasharray="3 2"><title>{escape(_figure(strip.without[number]))}</title></rect>'
            )
        out.append(
            f'<rect x="{x + 2:.1f}" y="{foot - tall:.1f}" width="{column - 4:.1f}" height="{tall:.1f}" fill="{colour}" stroke="{edge}">'
            f"<title>{escape(_figure(share))}</title></rect>"
        )
        out.append(
            text(
                middle,
                foot - max(tall, ghost) - 4,
                f"{100 * share:.0f}",
                anchor="middle",
                size=11,
                bold=share == goal,
                colour=INK,
            )
        )
    out.append(f'<path d="M{left:g} {foot:.1f}h{column * len(strip.shares):.1f}" stroke="{LINE}"/>')
    return "".join(out), foot + 8


def _tall(share: float, full: float) -> float:
    return max(1.0, _BAR_HEIGHT * min(max(share / full, 0.0), 1.0))


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

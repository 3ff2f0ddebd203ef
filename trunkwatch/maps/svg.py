"""The pieces that every picture is put together from: numbers, text, symbols, paths, scale and arrow."""

import math
from collections.abc import Iterable, Sequence
from html import escape
from itertools import pairwise

from trunkwatch.maps.symbols import FAINT, INK, PAPER, Stroke, Symbol
from trunkwatch.vineyard.manner import shown_feet

__all__ = ["document", "north_arrow", "number", "repeated", "scale_bar", "symbol", "text", "text_width"]

_FONT = "Verdana, 'DejaVu Sans', Helvetica, Arial, sans-serif"
FEET_PER_METRE = 1 / 0.3048


def number(value: float) -> str:
    """Write a coordinate with at most two decimals, without a minus before zero."""
    written = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if written == "-0" else written


def text_width(words: str, size: float) -> float:
    """Estimate how wide a text is set, in the unit of `size` (0.62 em a character fits the font)."""
    return 0.62 * size * len(words)


def text(
    words: str, x: float, y: float, size: float, *, anchor: str = "start", bold: bool = False, fill: str = INK
) -> str:
    """Return one line of text; what users typed is escaped."""
    weight = ' font-weight="bold"' if bold else ""
    where = "" if anchor == "start" else f' text-anchor="{anchor}"'
    colour = "" if fill == INK else f' fill="{fill}"'
    return (
        f'<text x="{number(x)}" y="{number(y)}" font-size="{number(size)}"{where}{weight}{colour}>'
        f"{escape(words)}</text>"
    )


def symbol(look: Symbol, x: float, y: float, size: float) -> str:
    """Return one symbol as an SVG path, its box `size` units wide and high, its middle at (x, y)."""
    scale = size / 20
    xs, ys = zip(*(point for stroke in look.strokes for point in stroke), strict=True)
    x, y = x - (max(xs) + min(xs)) / 2 * scale, y - (max(ys) + min(ys)) / 2 * scale
    path = "".join(
        "M" + "L".join(f"{number(x + px * scale)} {number(y + py * scale)}" for px, py in stroke)
        for stroke in look.strokes
    )
    return f'<path d="{path}" {paint(look, max(0.9, 2.2 * scale))}/>'


def paint(look: Symbol, width: float) -> str:
    """Return the attributes that give a path its colours."""
    fill = look.fill if look.solid and look.fill else "none"
    return f'fill="{fill}" stroke="{look.ink}" stroke-width="{number(width)}" stroke-linejoin="round"'


def _pair(x: int, y: int) -> str:
    return f"{x}{y}" if y < 0 else f"{x} {y}"


def _steps(points: Sequence[tuple[int, int]]) -> str:
    """Write the way through whole-numbered points as relative commands."""
    said = []
    for (x0, y0), (x1, y1) in pairwise(points):
        dx, dy = x1 - x0, y1 - y0
        said.append(f"v{dy}" if dx == 0 else f"h{dx}" if dy == 0 else f"l{_pair(dx, dy)}")
    return "".join(said)


def repeated(strokes: Iterable[Stroke], places: Iterable[tuple[int, int]], scale: float) -> str:
    """Write one shape at many places as one compact path.

    Parameters
    ----------
    strokes : iterable of strokes
        The shape, in its box of 20 by 20.
    places : iterable of (int, int)
        Centres, in whole units of the drawing.
    scale : float
        Units of the drawing for one unit of the box.
    """
    shapes = [[(round(x * scale), round(y * scale)) for x, y in stroke] for stroke in strokes]
    there = [(shape[0], shape[-1], _steps(shape)) for shape in shapes]
    # A tick is drawn down and the next one up: the way between them is then shorter to write.
    back = [(shape[-1], shape[0], _steps(shape[::-1])) for shape in shapes] if len(shapes) == 1 else there
    pen_x, pen_y, said = 0, 0, []
    for count, (x, y) in enumerate(places):
        for (first_x, first_y), (last_x, last_y), steps in back if count % 2 else there:
            said.append(f"m{_pair(x + first_x - pen_x, y + first_y - pen_y)}{steps}")
            pen_x, pen_y = x + last_x, y + last_y
    return "".join(said)


def scale_bar(x: float, y: float, length_m: float, per_metre: float, size: float = 11) -> str:
    """Draw a scale as a stretch of row between two posts, with metres and feet under it."""
    end = x + length_m * per_metre
    feet = length_m * FEET_PER_METRE
    words = f"{feet:.0f} ft" if shown_feet() else f"{length_m:g} m ({feet:.0f} ft)"
    return (
        f'<path d="M{number(x)} {number(y)}H{number(end)}M{number(x)} {number(y - 5)}v10'
        f'M{number(end)} {number(y - 5)}v10" fill="none" stroke="{INK}" stroke-width="1.6"/>'
        + text(words, end + 7, y + 4, size)
    )


def north_arrow(x: float, y: float, size: float, words: float = 11) -> str:
    """Draw an arrow that points upwards, to true north, with its letter under it."""
    half = size / 2
    return (
        f'<path d="M{number(x)} {number(y - half)}l{number(size * 0.28)} {number(size * 0.75)}'
        f'l{number(-size * 0.28)} {number(-size * 0.2)}l{number(-size * 0.28)} {number(size * 0.2)}z" fill="{INK}"/>'
        + text("N", x, y + half + 7, words, anchor="middle", bold=True)
    )


def document(
    width: float, height: float, title: str, description: str, body: str, name: str, *, narrow: bool = False
) -> str:
    """Wrap a drawing as one SVG element with its alternative text.

    Parameters
    ----------
    width, height : float
        Size in units of the drawing (a CSS pixel at full size).
    title, description : str
        The alternative text: what it is, and what it says in numbers.
    body : str
        The drawing.
    name : str
        Start of the ids, unlike that of any other picture on the same page.
    narrow : bool
        Whether it is the form for a phone; a page that holds both shows one.
    """
    return (
        f'<svg class="{"slim" if narrow else "broad"}" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {number(width)} {number(height)}" '
        f'width="{number(width)}" height="{number(height)}" role="img" '
        f'aria-labelledby="{name}-title {name}-desc" style="max-width:100%;height:auto" '
        f'font-family="{_FONT}" fill="{INK}">'
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(description)}</desc>'
        f'<rect width="{number(width)}" height="{number(height)}" fill="{PAPER}"/>{body}</svg>'
    )


def faint_line(path: str, width: float = 1.0) -> str:
    """Return a thin line that stands back behind the vines."""
    return f'<path d="{path}" fill="none" stroke="{FAINT}" stroke-width="{number(width)}"/>'


def turned(angle: float) -> str:
    """Write an angle in degrees for a transform, to a hundredth."""
    return number(math.degrees(angle))

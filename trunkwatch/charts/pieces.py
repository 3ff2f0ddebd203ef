"""What the charts share: words, wrapped names, round steps, and the frame with its alternative text.

Every chart has two forms with the same data: a broad one for a desk and for paper, and a narrow one whose words
keep their size on a phone. A page holds both and shows one; their ids differ by the name they are given.
"""

import math
from html import escape

from trunkwatch.charts.colours import INK

__all__ = ["NARROW", "framed", "round_step", "shortened", "text", "text_width", "wrapped"]

#: Width of the narrow form: a phone of 390 CSS pixels without the margins of the page.
NARROW = 360


def framed(kind: str, size: tuple[float, float], name: str, words: tuple[str, str], body: str, *, narrow: bool) -> str:
    """Wrap a chart as one SVG element.

    Parameters
    ----------
    kind : str
        Class of the element.
    size : (float, float)
        Width and height, in units of the drawing.
    name : str
        Start of the ids, unlike that of any other picture on the page.
    words : (str, str)
        The alternative text: what it is, and what it says in numbers.
    body : str
        The drawing.
    narrow : bool
        Which of the two forms it is.
    """
    return (
        f'<svg class="{kind} {"slim" if narrow else "broad"}" viewBox="0 0 {size[0]:g} {size[1]:.0f}" role="img" '
        f'aria-labelledby="{name}-t {name}-d" fill="none" xmlns="http://www.w3.org/2000/svg">'
        f'<title id="{name}-t">{escape(words[0])}</title><desc id="{name}-d">{escape(words[1])}</desc>{body}</svg>'
    )


def text(
    x: float, y: float, words: str, *, anchor: str = "", bold: bool = False, size: float = 12, colour: str = INK
) -> str:
    """Return one line of text; what users typed is escaped."""
    where = f' text-anchor="{anchor}"' if anchor else ""
    weight = ' font-weight="600"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{where} font-size="{size:g}" fill="{colour}"{weight}>{escape(words)}</text>'


def text_width(words: str, size: float = 12) -> float:
    """Estimate how wide a text is set."""
    return 0.53 * size * len(words)


def wrapped(words: str, room: float, size: float = 12) -> list[str]:
    """Break words into lines that fit into a width."""
    lines = [""]
    for word in words.split():
        if lines[-1] and text_width(f"{lines[-1]} {word}", size) > room:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def shortened(words: str, room: float, size: float = 12) -> str:
    """Cut words that do not fit into a width; three dots stand for the rest."""
    if text_width(words, size) <= room:
        return words
    return words[: max(1, int(room / text_width("x", size)) - 3)].rstrip() + "..."


def round_step(span: float, most: int = 6) -> float:
    """Return the smallest of ... 2, 5, 10, 20, 50 ... that divides a span into `most` parts or fewer."""
    size = 10.0 ** math.floor(math.log10(max(span, 1.0)))
    return next(size * k for k in (0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if span / (size * k) <= most)

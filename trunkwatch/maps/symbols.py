"""The look that all pictures share: a colour, a shape and a letter for every condition.

The shapes come from the paper strip of the trade: the row is a line, a vine a tick on it, a
finding a flag. Every shape is made of straight strokes in a box of 20 by 20 around the vine, x
along the row and y downwards, so that the same numbers serve SVG and the canvas of a browser.

The colours lie on one scale from blue (sound) to orange (showing); red and green never have to
be told apart, and no picture needs its colours to be read.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from trunkwatch.history.condition import Condition

__all__ = [
    "CHANGES",
    "DARK",
    "DRAWN",
    "FAINT",
    "FOCUS",
    "INK",
    "LEGEND",
    "OUTSIDE",
    "PAPER",
    "ROW_LINE",
    "ROW_START",
    "SYMBOLS",
    "THIS_WINTER",
    "WORK_DONE",
    "WORK_PLANNED",
    "Stroke",
    "Symbol",
]

Point = tuple[float, float]
Stroke = tuple[Point, ...]

#: Paper, text and lines, and what stands back.
PAPER, INK, FAINT = "#fffdf8", "#1e2a33", "#8b8d8a"
#: The line of a row on the desk, lighter than any mark on it.
ROW_LINE = "#c9c5bb"


@dataclass(frozen=True, slots=True)
class Symbol:
    """How one thing is drawn wherever it is drawn.

    Attributes
    ----------
    word, letter : str
        Its name, and the letter that stands for it where there is room.
    fill, ink : str
        Colour of areas and of strokes, as #rrggbb; an empty fill leaves the paper.
    strokes : tuple of strokes
        Each a line through points of the box, x along the row, y down, both from -10 to 10.
    solid : bool
        Whether the strokes enclose areas that take the fill.
    with_row : bool
        Whether it is turned with the row, as a tick is; a flag stands upright.
    """

    word: str
    letter: str
    fill: str
    ink: str
    strokes: tuple[Stroke, ...]
    solid: bool = False
    with_row: bool = False


_TICK: Stroke = ((0, 5), (0, -5))
_FLAG: Stroke = ((0, 6), (0, -9), (9, -5), (0, -1))
_CROSS: tuple[Stroke, ...] = (((-5, -5), (5, 5)), ((-5, 5), (5, -5)))
_GAP: Stroke = ((-3, 0), (0, -3), (3, 0), (0, 3), (-3, 0))
_SHOOT: tuple[Stroke, ...] = (((0, 6), (0, -8)), ((-5, -3), (0, -8), (5, -3)))
_DOTTED: tuple[Stroke, ...] = (((0, -5), (0, -3)), ((0, 3), (0, 5)))
_SEEDLING: tuple[Stroke, ...] = (((0, 5), (0, 0)), ((0, 0), (-3, -3), (0, -6), (3, -3), (0, 0)))

SYMBOLS: Mapping[Condition, Symbol] = MappingProxyType(
    {
        Condition.SHOWING: Symbol("showing", "S", "#d65f0a", "#8f3a00", (_FLAG,), solid=True),
        Condition.HIDDEN: Symbol("showed before", "B", "#f8c58f", "#8f5210", (_FLAG,), solid=True),
        Condition.DEAD: Symbol("dead", "D", "#40281a", "#2b1a10", _CROSS),
        Condition.RENEWED: Symbol("retrained", "R", "#2b69a3", "#153f6b", _SHOOT),
        Condition.YOUNG: Symbol("young", "Y", "#86b2d9", "#2c5f92", _SEEDLING, solid=True),
        Condition.SOUND: Symbol("no symptoms", "O", "#c4daec", "#4a7ba8", (_TICK,), with_row=True),
        Condition.NOT_SEEN: Symbol("not scouted", "N", "#e5e2da", "#77756e", _DOTTED, with_row=True),
        Condition.MISSING: Symbol("missing", "M", "", "#77756e", (_GAP,)),
    }
)

#: The order in which conditions are drawn: what matters most lies on top.
DRAWN: tuple[Condition, ...] = (
    Condition.MISSING,
    Condition.NOT_SEEN,
    Condition.SOUND,
    Condition.YOUNG,
    Condition.RENEWED,
    Condition.DEAD,
    Condition.HIDDEN,
    Condition.SHOWING,
)
#: The order of the map page's legend.
LEGEND: tuple[Condition, ...] = (
    Condition.SHOWING,
    Condition.HIDDEN,
    Condition.RENEWED,
    Condition.SOUND,
    Condition.YOUNG,
    Condition.DEAD,
    Condition.NOT_SEEN,
    Condition.MISSING,
)

#: What has changed since an earlier season, in the order in which the first that holds is drawn.
CHANGES: Mapping[str, Symbol] = MappingProxyType(
    {
        "new": Symbol("first case", "F", "#d65f0a", "#8f3a00", (_FLAG,), solid=True),
        "again": Symbol("showing again", "A", "#f8c58f", "#8f5210", (_FLAG, ((0, 6), (5, 6))), solid=True),
        "no longer": Symbol("no longer showing", "L", "", "#4a7ba8", (((0, 6), (0, -7)), ((-5, 0), (5, 0)))),
        "dead": Symbol("dead or gone since", "D", "#40281a", "#2b1a10", _CROSS),
        "renewed": Symbol("retrained since", "R", "#2b69a3", "#153f6b", _SHOOT),
        "replanted": Symbol("replanted since", "P", "#86b2d9", "#2c5f92", _SEEDLING, solid=True),
    }
)

#: Work on a vine: a notch under it, filled when done and open when planned.
WORK_DONE = Symbol("work done", "", "#153f6b", "#153f6b", (((-4, 9), (0, 5), (4, 9), (-4, 9)),), solid=True)
WORK_PLANNED = Symbol("work planned", "", "", "#153f6b", (((-4, 9), (0, 5), (4, 9), (-4, 9)),))

#: A vine listed for this winter of saw and spade: a ring around it.
THIS_WINTER = Symbol(
    "listed for this winter",
    "",
    "",
    "#153f6b",
    (((-8, -4), (-3, -9), (4, -9), (9, -4), (9, 3), (4, 8), (-3, 8), (-8, 3), (-8, -4)),),
)

#: Damage that stands on a vine and that the season's count leaves out: a bar over it.
OUTSIDE = Symbol(
    "damage on record, not in this count",
    "",
    "",
    "#8f3a00",
    (((-5, -10), (5, -10)), ((-5, -10), (-5, -8)), ((5, -10), (5, -8))),
)

#: The line around a focus, shown in legends as a corner of it.
FOCUS = Symbol("sick vines side by side", "", "", INK, (((-7, 6), (-7, -6), (7, -6), (7, 6), (-7, 6)),))

#: The end of a row from which its positions are counted: an arrowhead that points into the row.
ROW_START = Symbol(
    "position 1 is at this end of a row",
    "",
    INK,
    INK,
    (((-4, -4), (4, 0), (-4, 4), (-4, -4)),),
    solid=True,
    with_row=True,
)

#: What stands for each colour on a dark screen.
DARK: Mapping[str, str] = MappingProxyType(
    {
        PAPER: "#15191c",
        INK: "#ece7dc",
        FAINT: "#7d807d",
        "#d65f0a": "#f0812e",
        "#8f3a00": "#ffb380",
        "#f8c58f": "#7a5224",
        "#8f5210": "#d9974a",
        "#40281a": "#e3c9b5",
        "#2b1a10": "#f3e3d6",
        "#2b69a3": "#5f9bd6",
        "#153f6b": "#8dbbe8",
        "#86b2d9": "#2c5f92",
        "#2c5f92": "#86b2d9",
        "#c4daec": "#2a3f52",
        "#4a7ba8": "#6d9dc9",
        "#e5e2da": "#34383b",
        "#77756e": "#9b9990",
    }
)

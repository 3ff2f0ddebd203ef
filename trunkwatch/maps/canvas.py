"""The sheet of paper that a block is drawn on: scale, rows with their posts, row numbers, legend."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.maps.frame import DrawingFrame, nice_length
from trunkwatch.maps.outline import focus_outlines
from trunkwatch.maps.svg import north_arrow, number, paint, repeated, scale_bar, symbol, text, text_width
from trunkwatch.maps.symbols import FAINT, INK, ROW_START, Symbol

__all__ = ["Canvas", "sheet_of", "shown_labels"]

#: Width of the sheet and most height of the block on it, in CSS pixels: a page of A4 with its margins.
WIDTH, MOST_HEIGHT = 760.0, 820.0
#: The same of the narrow form: a phone of 390 pixels without the margins of the page.
NARROW_WIDTH, NARROW_HEIGHT = 360.0, 460.0
#: Above the block stand two lines of text, around it the row numbers.
TOP, SIDE = 50.0, 34.0
#: Sizes of the words: row numbers, legend and notes; on a phone none is under 11 pixels.
_SIZES, _NARROW_SIZES = (10.5, 11.0), (12.0, 12.0)
#: Parts of a pixel: vines are placed in whole numbers of these, which keeps the paths short.
FINE = 4
_LEGEND_LINE = 21.0


@dataclass(frozen=True, slots=True)
class Canvas:
    """One block laid on paper.

    Attributes
    ----------
    grid, frame : RowGrid, DrawingFrame
        The block.
    per_metre : float
        Pixels for one metre.
    middle_m : (float, float)
        The point of the frame that stands in the middle of the drawing, along and across the rows.
    middle : (float, float)
        Where that point stands, in pixels.
    bottom : float
        Where the drawing of the block ends, in pixels from the top.
    width, side : float
        Width of the sheet, and the margin that the row numbers stand in.
    narrow : bool
        Whether it is the form for a phone.
    """

    grid: RowGrid
    frame: DrawingFrame
    per_metre: float
    middle_m: tuple[float, float]
    middle: tuple[float, float]
    bottom: float
    width: float = WIDTH
    side: float = SIDE
    narrow: bool = False

    @property
    def angle(self) -> float:
        """How far the rows are turned on the sheet, radians clockwise."""
        x, y = self.frame.heading
        return math.atan2(-y, x)

    def turned(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return points of the frame along and across the rows, in parts of a pixel; nan becomes 0."""
        a, b = _along_across(self.frame, x, y)
        scale = self.per_metre * FINE
        found = [
            np.rint(np.nan_to_num((v - m) * scale)).astype(np.int64)
            for v, m in ((a, self.middle_m[0]), (b, self.middle_m[1]))
        ]
        return found[0], found[1]

    def screen(self, x: float, y: float) -> tuple[float, float]:
        """Return where a point of the frame stands on the sheet, in pixels."""
        a, b = _along_across(self.frame, np.array([x]), np.array([y]))
        right = (float(a[0]) - self.middle_m[0]) * self.per_metre
        down = (float(b[0]) - self.middle_m[1]) * self.per_metre
        cos, sin = math.cos(self.angle), math.sin(self.angle)
        return self.middle[0] + right * cos - down * sin, self.middle[1] + right * sin + down * cos

    @property
    def symbol_scale(self) -> float:
        """Pixels for one unit of a symbol's box of 20."""
        size = min(self.frame.row_m * self.per_metre * 0.95, self.frame.vine_m * self.per_metre * 2.2)
        return float(np.clip(size, 3.4, 20.0)) / 20

    def in_rows(self, drawing: str) -> str:
        """Wrap a drawing made in parts of a pixel along and across the rows."""
        turn = f" rotate({number(math.degrees(self.angle))})" if abs(self.angle) > 1e-9 else ""
        return self._group(drawing, turn)

    def _group(self, drawing: str, turn: str) -> str:
        x, y = self.middle
        scale = f"{1 / FINE:g}"
        return (
            f'<g transform="translate({number(x)} {number(y)}){turn} scale({scale})">{drawing}</g>' if drawing else ""
        )

    def vines(self, mask: NDArray[np.bool_], look: Symbol) -> str:
        """Draw one symbol on every vine of a mask, as one path.

        Ticks stand at right angles to the rows; flags and other shapes stand upright, however the
        rows run.
        """
        mask = mask & np.isfinite(self.frame.x)
        if not mask.any():
            return ""
        along, across = (v[mask] for v in self.turned(self.frame.x, self.frame.y))
        if not look.with_row:
            cos, sin = math.cos(self.angle), math.sin(self.angle)
            along, across = (
                np.rint(v).astype(np.int64) for v in (along * cos - across * sin, along * sin + across * cos)
            )
        path = repeated(look.strokes, zip(along.tolist(), across.tolist(), strict=True), self.symbol_scale * FINE)
        width = float(np.clip(self.symbol_scale * 2.2, 0.6, 1.6)) * FINE
        drawing = f'<path d="{path}" {paint(look, width)}/>'
        return self.in_rows(drawing) if look.with_row else self._group(drawing, "")

    def rows(self) -> str:
        """Draw every row as a line, broken at alleys, with its end posts and the posts of its bays."""
        lines, posts, bays = [], [], []
        along, across = self.turned(self.frame.x, self.frame.y)
        reach = round(self.frame.vine_m * self.per_metre * FINE / 2)
        for row in range(self.grid.shape[0]):
            for run in _runs(np.isfinite(self.frame.x[row]), self.grid.which[row]):
                a, b = along[row, run], across[row, run]
                way = 1 if a[-1] >= a[0] else -1
                lines.append(_row_line(a, b, way * reach))
                posts += [(int(a[0]) - way * reach, int(b[0])), (int(a[-1]) + way * reach, int(b[-1]))]
            bays += self._bay_posts(row, along[row], across[row])
        size = self.symbol_scale * FINE
        return self.in_rows(
            f'<path d="{"".join(lines)}" fill="none" stroke="{FAINT}" stroke-width="{FINE * 0.6:g}"/>'
            f'<path d="{repeated((((0, -4), (0, 4)),), bays, size)}" stroke="{FAINT}" stroke-width="{FINE * 0.6:g}"/>'
            f'<path d="{repeated((((0, -7), (0, 7)),), posts, size)}" stroke="{INK}" stroke-width="{FINE * 1.4:g}"/>'
        )

    def _bay_posts(self, row: int, along: NDArray[np.int64], across: NDArray[np.int64]) -> list[tuple[int, int]]:
        posts = []
        for own in self.grid.rows_on(row):
            for end in own.bay_ends[:-1]:
                pair = own.stations[[end - own.first, end + 1 - own.first]]
                if np.isfinite(self.frame.x[row, pair]).all():
                    posts.append((int(along[pair].sum()) // 2, int(across[pair].sum()) // 2))
        return posts

    def foci(self, labels: NDArray[np.int64]) -> str:
        """Outline every focus of two vines or more."""
        said = []
        for sides in focus_outlines(self.frame, labels).values():
            a, b = self.turned(sides[:, [0, 2]], sides[:, [1, 3]])
            said += [f"M{a0} {b0}L{a1} {b1}" for (a0, a1), (b0, b1) in zip(a.tolist(), b.tolist(), strict=True)]
        width = float(np.clip(self.symbol_scale * 3, 0.8, 1.4)) * FINE
        drawing = f'<path d="{"".join(said)}" fill="none" stroke="{INK}" stroke-width="{number(width)}" stroke-linecap="square"/>'
        return self.in_rows(drawing) if said else ""

    def row_numbers(self) -> str:
        """Write row labels at both ends of the rows, thinned where they would touch, and mark where positions begin."""
        said = []
        for row in shown_labels(self.grid.rows, self.frame.row_m * self.per_metre, least=self._label_room()):
            at = np.flatnonzero(np.isfinite(self.frame.x[row]))
            if not at.size:
                continue
            for station, side in ((at[0], -1), (at[-1], 1)):
                said.append(self._row_number(row, int(station), side))
            said += self._numbers_between(row, at)
        return "".join(said)

    def _numbers_between(self, row: int, at: NDArray[np.int64]) -> list[str]:
        """Write the labels of rows on one line beside the alley between them, where it has room for both."""
        said: list[str] = []
        for before, after in pairwise(at.tolist()):
            if self.grid.which[row, before] == self.grid.which[row, after]:
                continue
            labels = [self.grid.label(row, station)[0] for station in (before, after)]
            flat, steep = (abs(float(part)) for part in self.frame.along[row])
            size = self._sizes[0]
            need = sum(flat * text_width(label, size) + steep * size * 1.2 + 12 for label in labels)
            room = self.per_metre * (
                float(np.hypot(*(axis[row, after] - axis[row, before] for axis in (self.frame.x, self.frame.y))))
                - self.frame.vine_m
            )
            if room >= need:
                said += [self._row_number(row, before, 1), self._row_number(row, after, -1)]
        return said

    def _label_room(self) -> float:
        """Return how far apart rows must be for their numbers to clear each other above, below or beside."""
        size = self._sizes[0]
        wide = max((text_width(label, size) for label in self.grid.labels), default=0.0) + 2
        flat, steep = (max(abs(part), 1e-9) for part in self.frame.heading)
        return min((size + 1) / flat, wide / steep)

    def _row_number(self, row: int, station: int, side: int) -> str:
        label, size = self.grid.label(row, station)[0], self._sizes[0]
        x, y = self.screen(float(self.frame.x[row, station]), float(self.frame.y[row, station]))
        right, down = (float(v) for v in self.frame.along[row] * (side, -side))
        away = self.frame.vine_m * self.per_metre / 2 + 5
        start = ""
        if side < 0:
            start = _arrowhead(x + right * (away + 1), y + down * (away + 1), (-right, -down))
            away += 7
        away += abs(right) * text_width(label, size) / 2 + abs(down) * size * 0.6
        return start + text(label, x + right * away, y + down * away + size * 0.36, size, anchor="middle")

    @property
    def _sizes(self) -> tuple[float, float]:
        return _NARROW_SIZES if self.narrow else _SIZES

    def foot(self, legend: Sequence[tuple[Symbol, str]], notes: Sequence[str]) -> tuple[str, float]:
        """Draw scale, north arrow, legend and notes under the block; return them and the sheet's height."""
        y, size, edge = self.bottom + 22, self._sizes[1], 4.0 if self.narrow else SIDE
        said = [scale_bar(edge, y, nice_length(self.width / 5 / self.per_metre), self.per_metre, size)]
        if self.frame.north:
            said.append(north_arrow(self.width - SIDE, y - 3, 24, size))
        x, y = edge, y + 30
        for look, words in (*legend, (ROW_START, ROW_START.word)):
            width = 30 + text_width(words, size)
            if x > edge and x + width > self.width - 8:
                x, y = edge, y + _LEGEND_LINE
            said += [symbol(look, x + 5, y - 4, 17), text(words, x + 16, y, size)]
            x += width
        for note in notes:
            for line in _lines(note, self.width - 2 * edge, size):
                y += _LEGEND_LINE - 3
                said.append(text(line, edge, y, size))
        return "".join(said), y + 14

    def head(self, title: str, line: str) -> str:
        """Write the title and the line of numbers over the block."""
        if not self.narrow:
            return text(title, SIDE, 22, 15, bold=True) + text(line, SIDE, 42, 12)
        lines = _lines(line, self.width - 8, 12)
        written = "".join(text(words, 4, 36 + 16 * n, 12) for n, words in enumerate(lines))
        return text(title, 4, 18, 14, bold=True) + written


def _lines(words: str, room: float, size: float) -> list[str]:
    """Break words into lines that fit into a width."""
    lines = [""]
    for word in words.split():
        if lines[-1] and text_width(f"{lines[-1]} {word}", size) > room:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def _arrowhead(x: float, y: float, way: tuple[float, float]) -> str:
    """Draw a small arrowhead that points a way."""
    right, down = way
    tip, back = (x + 3.5 * right, y + 3.5 * down), (x - 3.5 * right, y - 3.5 * down)
    corners = (tip, (back[0] - 3.5 * down, back[1] + 3.5 * right), (back[0] + 3.5 * down, back[1] - 3.5 * right))
    return f'<path d="M{"L".join(f"{number(px)} {number(py)}" for px, py in corners)}Z" fill="{INK}"/>'


def _along_across(
    frame: DrawingFrame, x: NDArray[np.float64], y: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return metres along the rows and, at right angles and clockwise of that, across them."""
    ux, uy = frame.heading
    return x * ux + y * uy, x * uy - y * ux


def _runs(present: NDArray[np.bool_], which: NDArray[np.int32]) -> list[NDArray[np.int64]]:
    """Return the stations of each unbroken stretch of a row; where another row begins on the line, the stretch ends."""
    at = np.flatnonzero(present)
    breaks = (np.diff(at) > 1) | (np.diff(which[at]) != 0)
    return [run for run in np.split(at, np.flatnonzero(breaks) + 1) if run.size]


def _row_line(a: NDArray[np.int64], b: NDArray[np.int64], reach: int) -> str:
    """Draw one stretch of row: straight where its vines stand within half a pixel of a line."""
    straight = np.interp(np.arange(a.size), [0, a.size - 1], [b[0], b[-1]]) if a.size > 1 else b
    keep = [0, a.size - 1] if np.abs(straight - b).max() <= FINE / 2 else sorted({*range(0, a.size, 5), a.size - 1})
    points = [
        (int(a[0]) - reach, int(b[0])),
        *((int(a[i]), int(b[i])) for i in keep[1:-1]),
        (int(a[-1]) + reach, int(b[-1])),
    ]
    return "M" + "L".join(f"{x} {y}" for x, y in points)


def shown_labels(rows: Sequence[str], apart: float, *, least: float) -> list[int]:
    """Choose the rows whose labels are written: first and last, and every n-th where all would touch.

    Parameters
    ----------
    rows : sequence of str
        Labels in the order of the ground; "" has none.
    apart, least : float
        Distance between rows, and what two labels need.
    """
    named = [row for row, label in enumerate(rows) if label]
    if not named:
        return []
    need = least / max(apart, 1e-9)
    every = next(n for n in (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000, 10**9) if n >= need)
    shown = [row for row in named[:-1:every] if named[-1] - row >= need]
    return [*shown, named[-1]] if shown or len(named) == 1 else [named[0], named[-1]]


def sheet_of(grid: RowGrid, frame: DrawingFrame, line: str = "", *, narrow: bool = False) -> Canvas:
    """Choose the scale at which a block fills a sheet.

    Parameters
    ----------
    grid, frame : RowGrid, DrawingFrame
        The block.
    line : str
        The line of numbers over the block, which takes more room on a phone the longer it is.
    narrow : bool
        Whether it is for a phone.

    Raises
    ------
    ValueError
        If no position of the block has a place.
    """
    if not np.isfinite(frame.x).any():
        raise ValueError(f"block {grid.block!r} has no position with a place, so there is nothing to draw")
    width, most, least, size = (
        (NARROW_WIDTH, NARROW_HEIGHT, 16.0, _NARROW_SIZES[0]) if narrow else (WIDTH, MOST_HEIGHT, SIDE, _SIZES[0])
    )
    top = 28.0 + 16 * len(_lines(line, width - 8, 12)) if narrow else TOP
    side = _side(grid, frame, least, size)
    pad_x, pad_y = frame.vine_m, frame.row_m / 2
    across_m = float(np.nanmax(frame.x) - np.nanmin(frame.x)) + 2 * pad_x
    down_m = float(np.nanmax(frame.y) - np.nanmin(frame.y)) + 2 * pad_y
    # A handful of vines is not blown up to fill the page: 30 px between vines show all there is.
    per_metre = min((width - 2 * side) / across_m, most / down_m, 30 / frame.vine_m)
    middle_x = float(np.nanmax(frame.x) + np.nanmin(frame.x)) / 2
    middle_y = float(np.nanmax(frame.y) + np.nanmin(frame.y)) / 2
    along, across = _along_across(frame, np.array([middle_x]), np.array([middle_y]))
    tall = down_m * per_metre
    margin = 24.0
    return Canvas(
        grid=grid,
        frame=frame,
        per_metre=per_metre,
        middle_m=(float(along[0]), float(across[0])),
        middle=(width / 2, top + margin + tall / 2),
        bottom=top + 2 * margin + tall,
        width=width,
        side=side,
        narrow=narrow,
    )


def _side(grid: RowGrid, frame: DrawingFrame, least: float, size: float) -> float:
    """Return the margin that the longest row number needs beside its row, a sixth of the sheet at most."""
    flat = float(np.nanmax(np.abs(frame.along[:, 0])))
    longest = max((text_width(label, size) for label in grid.labels), default=0.0)
    return min(max(least, flat * longest + 14), 60.0)

"""Incidence by season: lines with limits, and hollow places where a season does not count."""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from trunkwatch.charts.colours import BLUE, BROWN, DEEP, EDGE, LINE, MARK, QUIET
from trunkwatch.charts.pieces import NARROW, framed, shortened, text, text_width

__all__ = ["TrendLine", "TrendPoint", "trend_svg"]

_TOP, _BOTTOM = 18, 52
#: Colour of the line and of its name, dash and marker: none needs its colour to be told apart.
_STYLES = (
    (MARK, EDGE, "", "flag"),
    (BROWN, BROWN, "7 4", "square"),
    (DEEP, DEEP, "2 4", "diamond"),
    (BLUE, BLUE, "12 3 2 3", "tick"),
)
#: Ends of the axis, each with the step of its lines.
_ENDS = (
    (0.05, 0.01), (0.1, 0.02), (0.15, 0.05), (0.2, 0.05), (0.3, 0.1), (0.4, 0.1), (0.5, 0.1), (0.6, 0.2), (0.8, 0.2),
    (1.0, 0.2),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """One season of one line; without share where the season does not count or there is no rate."""

    season: int
    cases: int = 0
    vines: int = 0
    share: float | None = None
    low: float = 0.0
    high: float = 0.0
    reason: str = ""
    at_least: bool = False


@dataclass(frozen=True, slots=True)
class TrendLine:
    """One rate over the seasons."""

    name: str
    points: tuple[TrendPoint, ...]
    limits: bool = False  # draw the limits of this line


@dataclass(frozen=True, slots=True)
class _Room:
    """Where the lines stand in one of the two forms, and how far the axis goes."""

    width: float
    height: float
    left: float
    right: float
    seasons: tuple[int, ...]
    top: float
    step: float

    @property
    def column(self) -> float:
        return (self.width - self.left - self.right) / max(len(self.seasons), 2)

    def x(self, season: int) -> float:
        return self.left + self.column * (self.seasons.index(season) + 0.5)

    def y(self, share: float) -> float:
        return _TOP + (self.height - _TOP - _BOTTOM) * (1 - share / self.top)

    @property
    def foot(self) -> float:
        return self.height - _BOTTOM

    def written(self, words: Sequence[str]) -> list[int]:
        """Return the numbers of the seasons under which there is room to write, the last one always."""
        every = next(n for n in range(1, 1000) if n * self.column >= max(text_width(one, 11) for one in words) + 4)
        return list(range(len(self.seasons) - 1, -1, -every))[::-1]


def trend_svg(lines: Sequence[TrendLine], *, title: str, name: str = "trend", narrow: bool = False) -> str:
    """Draw rates by season.

    Parameters
    ----------
    lines : sequence of TrendLine
        At most four, all over the same seasons. The first carries numbers beside its points.
    title : str
        Heading for readers who cannot see it.
    name : str
        Start of the ids, unlike that of any other picture on the page.
    narrow : bool
        Whether it is for a phone.

    Returns
    -------
    str
        One SVG element with alternative text.

    Raises
    ------
    ValueError
        If there is no line or no season, or more than four lines.
    """
    if not lines or not lines[0].points or len(lines) > len(_STYLES):
        raise ValueError(f"{len(lines)} lines: one to {len(_STYLES)} with seasons are needed")
    tops = [
        max(p.high if line.limits else p.share, p.share) for line in lines for p in line.points if p.share is not None
    ]
    top, step = _axis_end(max(tops, default=0.05))
    seasons = tuple(point.season for point in lines[0].points)
    names = max(text_width(line.name, 12) for line in lines) + 14
    room = (
        _Room(NARROW, 300, 38, names, seasons, top, step)
        if narrow
        else _Room(760, 340, 52, max(names, 112), seasons, top, step)
    )
    parts = [_axes(room), _gaps(lines[0], room)]
    labels: list[tuple[float, str, str]] = []
    for line, style in zip(lines, _STYLES, strict=False):
        parts.append(_line(line, style, room))
        last = [point for point in line.points if point.share is not None]
        if last:
            labels.append((room.y(last[-1].share or 0.0), line.name, style[1]))
    parts += [_numbers(lines[0], room), _names(labels, room)]
    return framed("trend", (room.width, room.height), name, (title, _described(lines)), "".join(parts), narrow=narrow)


def _axis_end(most: float) -> tuple[float, float]:
    return next(((end, step) for end, step in _ENDS if most <= end), _ENDS[-1])


def _axes(room: _Room) -> str:
    out = []
    for number in range(round(room.top / room.step) + 1):
        share = room.step * number
        y = room.y(share)
        width = "0.6" if number else "1"
        out.append(f'<path d="M{room.left} {y:.1f}H{room.width - room.right}" stroke="{LINE}" stroke-width="{width}"/>')
        out.append(text(room.left - 6, y + 4, f"{100 * share:.0f} %", anchor="end"))
    for number in room.written([str(season) for season in room.seasons]):
        season = room.seasons[number]
        out.append(text(room.x(season), room.foot + 18, str(season), anchor="middle"))
    return "".join(out)


def _gaps(line: TrendLine, room: _Room) -> str:
    """Draw a season that does not count as a hollow column with its reason."""
    out, step = [], room.column
    for point in line.points:
        if point.share is None:
            x = room.x(point.season)
            reason = shortened(point.reason, room.foot - _TOP - 12, 11)
            out.append(
                f'<rect x="{x - step * 0.38:.1f}" y="{_TOP}" width="{step * 0.76:.1f}" height="{room.foot - _TOP:g}" '
                f'fill="none" stroke="{LINE}" stroke-dasharray="3 4"><title>{point.season}: {escape(point.reason)}</title></rect>'
                f'<text transform="translate({x + 4:.1f} {room.foot - 8:g}) rotate(-90)" font-size="11" fill="{QUIET}">'
                f"{escape(reason)}</text>"
            )
    return "".join(out)


def _line(line: TrendLine, style: tuple[str, str, str, str], room: _Room) -> str:
    colour, _, dash, marker = style
    out, path, pen = [], "", "M"
    for point in line.points:
        if point.share is None:
            pen = "M"
            continue
        x, y = room.x(point.season), room.y(point.share)
        path += f"{pen}{x:.1f} {y:.1f}"
        pen = "L"
        if line.limits:
            low, high = room.y(point.low), room.y(min(point.high, room.top))
            out.append(
                f'<path d="M{x:.1f} {low:.1f}V{high:.1f}M{x - 4:.1f} {low:.1f}h8M{x - 4:.1f} {high:.1f}h8" '
                f'stroke="{colour}" stroke-width="1.2" fill="none"/>'
            )
        out.append(_marker(marker, x, y, colour))
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="2"{dashed}/>' + "".join(out)


def _marker(kind: str, x: float, y: float, colour: str) -> str:
    shapes = {
        "flag": f"M{x:.1f} {y + 5:.1f}V{y - 5:.1f}L{x + 8:.1f} {y - 2:.1f}L{x:.1f} {y + 1:.1f}",
        "square": f"M{x - 3:.1f} {y - 3:.1f}h6v6h-6Z",
        "diamond": f"M{x:.1f} {y - 4:.1f}l4 4l-4 4l-4 -4Z",
        "tick": f"M{x:.1f} {y - 5:.1f}v10",
    }
    return f'<path d="{shapes[kind]}" fill="{colour}" stroke="{colour}" stroke-width="1.5"/>'


def _numbers(line: TrendLine, room: _Room) -> str:
    """Write the counts of the line under its seasons, where no line crosses them."""
    words = [f"{point.cases}/{point.vines}" if point.share is not None else "" for point in line.points]
    return "".join(
        text(room.x(line.points[number].season), room.foot + 36, words[number], anchor="middle", size=11)
        for number in room.written([*words, str(line.points[0].season)])
        if words[number]
    )


def _names(labels: Sequence[tuple[float, str, str]], room: _Room) -> str:
    """Write the names at the right end, moved apart where they would touch."""
    out, before = [], -100.0
    for y, name, colour in sorted(labels):
        before = max(y, before + 15)
        out.append(text(room.width - room.right + 6, before + 4, name, colour=colour))
    return "".join(out)


def _described(lines: Sequence[TrendLine]) -> str:
    told = []
    for line in lines:
        points = [
            f"{p.season} {'at least ' if p.at_least else ''}{p.cases} of {p.vines}"
            if p.share is not None
            else f"{p.season} not counted ({p.reason})"
            for p in line.points
        ]
        told.append(f"{line.name}: {', '.join(points)}.")
    return " ".join(told)

"""Join counts by season beside what chance gives: the series behind one p-value."""

from collections.abc import Sequence
from dataclasses import dataclass

from trunkwatch.charts.colours import BAR, DEEP, EDGE, LINE, MARK, QUIET
from trunkwatch.charts.pieces import NARROW, framed, text, wrapped

__all__ = ["SeriesPoint", "series_svg"]

WIDTH, ROW, LEFT, RIGHT, TOP = 640, 24, 60, 190, 26
_KEY = ("pairs of adjacent showing vines:", "bar, what chance gives (95 %); flag, seen")
_EDGE = 10


@dataclass(frozen=True, slots=True)
class SeriesPoint:
    """One season: pairs seen, by chance on average, their spread, and words beside them."""

    season: int
    seen: float
    expected: float
    spread: float
    words: str
    primary: bool = False


def series_svg(points: Sequence[SeriesPoint], *, title: str, name: str = "series", narrow: bool = False) -> str:
    """Draw one line a season: chance as a bar, the count seen as a flag.

    Parameters
    ----------
    points : sequence of SeriesPoint
        Counted seasons in order.
    title : str
        Heading for readers who cannot see it.
    name : str
        Start of the ids, unlike that of any other picture on the page.
    narrow : bool
        Whether it is for a phone: the words of a season then stand over its bar.

    Raises
    ------
    ValueError
        If there is no season.
    """
    if not points:
        raise ValueError("no season to draw: one at least is needed")
    top = max(1.0, *(max(p.seen, p.expected + 2 * p.spread) for p in points)) * 1.05
    width, left, right = (NARROW, _EDGE, NARROW - _EDGE) if narrow else (WIDTH, LEFT, WIDTH - RIGHT)

    def at(value: float) -> float:
        return left + (right - left) * value / top

    parts, y = _key(narrow=narrow)
    for point in points:
        above = y
        words, y = _words(point, y, narrow=narrow)
        middle = y - 10 if narrow else (above + y) / 2
        parts += [words, _bar(middle, (at(_low(point)), at(_high(point)), at(point.expected), at(point.seen)))]
    axis = y + 4
    parts.append(f'<path d="M{left} {axis}H{right}" stroke="{LINE}"/>')
    parts += [text(at(value), axis + 15, f"{value:g}", anchor="middle") for value in _ticks(top)]
    told = "; ".join(f"{p.season}: {p.seen:g} seen, {p.expected:.1f} by chance, {p.words}" for p in points)
    return framed("series", (width, axis + 20), name, (title, told), "".join(parts), narrow=narrow)


def _key(*, narrow: bool) -> tuple[list[str], float]:
    if narrow:
        return [text(0, 13 + 16 * n, line, colour=QUIET) for n, line in enumerate(_KEY)], 40
    return [text(LEFT, 14, " ".join(_KEY), colour=QUIET)], TOP


def _words(point: SeriesPoint, y: float, *, narrow: bool) -> tuple[str, float]:
    """Write season and words from a height on; return them and where the line of the season ends."""
    if not narrow:
        lines = wrapped(point.words, RIGHT - 14)
        end = y + max(ROW, 14 * len(lines) + 6)
        middle = (y + end) / 2 + 4
        season = text(LEFT - 10, middle, str(point.season), anchor="end", bold=point.primary)
        first = middle - 7 * (len(lines) - 1)
        beside = (text(WIDTH - RIGHT + 12, first + 14 * n, line, bold=point.primary) for n, line in enumerate(lines))
        return season + "".join(beside), end
    lines = wrapped(f"{point.season}: {point.words}", NARROW - 4)
    written = "".join(text(0, y + 13 + 15 * n, line, bold=point.primary) for n, line in enumerate(lines))
    return written, y + 15 * len(lines) + 24


def _low(point: SeriesPoint) -> float:
    return max(0.0, point.expected - 2 * point.spread)


def _high(point: SeriesPoint) -> float:
    return point.expected + 2 * point.spread


def _ticks(top: float) -> list[float]:
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 5000, 10**6) if top / s <= 6)
    return [step * k for k in range(int(top // step) + 1)]


def _bar(y: float, at: tuple[float, float, float, float]) -> str:
    low, high, mean, seen = at
    return (
        f'<path d="M{low:.1f} {y:.1f}H{high:.1f}" stroke="{BAR}" stroke-width="8"/>'
        f'<path d="M{mean:.1f} {y - 6:.1f}v12" stroke="{DEEP}" stroke-width="2"/>'
        f'<path d="M{seen:.1f} {y + 8:.1f}V{y - 8:.1f}l8 3.5l-8 3.5" fill="{MARK}" stroke="{EDGE}" '
        f'stroke-width="1.4"/>'
    )

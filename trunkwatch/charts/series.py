"""Join counts by season beside what chance gives: the series behind one p-value."""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

__all__ = ["SeriesPoint", "series_svg"]

WIDTH, ROW, LEFT, RIGHT, TOP = 640, 24, 60, 190, 26


@dataclass(frozen=True, slots=True)
class SeriesPoint:
    """One season: pairs seen, by chance on average, their spread, and words beside them."""

    season: int
    seen: float
    expected: float
    spread: float
    words: str
    primary: bool = False


def series_svg(points: Sequence[SeriesPoint], *, title: str, name: str = "series") -> str:
    """Draw one line a season: chance as a bar, the count seen as a flag.

    Parameters
    ----------
    points : sequence of SeriesPoint
        Counted seasons in order.
    title : str
        Heading for readers who cannot see it.
    name : str
        Start of the ids, unlike that of any other picture on the page.

    Raises
    ------
    ValueError
        If there is no season.
    """
    if not points:
        raise ValueError("no season to draw: one at least is needed")
    top = max(1.0, *(max(p.seen, p.expected + 2 * p.spread) for p in points)) * 1.05
    height = TOP + ROW * len(points) + 22
    parts = [
        f'<text x="{LEFT}" y="14" font-size="12" fill="#5c5a54">pairs of adjacent showing vines: bar, what chance gives (95 %); flag, seen</text>'
    ]
    for number, point in enumerate(points):
        parts.append(_line(point, TOP + ROW * number + ROW / 2, top))
    axis = TOP + ROW * len(points) + 4
    parts.append(f'<path d="M{LEFT} {axis}H{WIDTH - RIGHT}" stroke="#8b8d8a"/>')
    parts += [
        f'<text x="{_x(value, top):.1f}" y="{axis + 14}" text-anchor="middle" font-size="11" fill="#1e2a33">{value:g}</text>'
        for value in _ticks(top)
    ]
    told = "; ".join(f"{p.season}: {p.seen:g} seen, {p.expected:.1f} by chance, {p.words}" for p in points)
    return (
        f'<svg class="series" viewBox="0 0 {WIDTH} {height}" role="img" aria-labelledby="{name}-t {name}-d" '
        f'xmlns="http://www.w3.org/2000/svg"><title id="{name}-t">{escape(title)}</title>'
        f'<desc id="{name}-d">{escape(told)}</desc>{"".join(parts)}</svg>'
    )


def _x(value: float, top: float) -> float:
    return LEFT + (WIDTH - LEFT - RIGHT) * value / top


def _ticks(top: float) -> list[float]:
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 5000, 10**6) if top / s <= 6)
    return [step * k for k in range(int(top // step) + 1)]


def _line(point: SeriesPoint, y: float, top: float) -> str:
    low, high = _x(max(0.0, point.expected - 2 * point.spread), top), _x(point.expected + 2 * point.spread, top)
    seen, mean = _x(point.seen, top), _x(point.expected, top)
    weight = ' font-weight="600"' if point.primary else ""
    return (
        f'<text x="{LEFT - 10}" y="{y + 4:.1f}" text-anchor="end" font-size="12" fill="#1e2a33"{weight}>{point.season}</text>'
        f'<path d="M{low:.1f} {y:.1f}H{high:.1f}" stroke="#86b2d9" stroke-width="8"/>'
        f'<path d="M{mean:.1f} {y - 6:.1f}v12" stroke="#153f6b" stroke-width="2"/>'
        f'<path d="M{seen:.1f} {y + 8:.1f}V{y - 8:.1f}l8 3.5l-8 3.5" fill="#d65f0a" stroke="#8f3a00" stroke-width="1.4"/>'
        f'<text x="{WIDTH - RIGHT + 12}" y="{y + 4:.1f}" font-size="12" fill="#1e2a33"{weight}>{escape(point.words)}</text>'
    )

"""Incidence by season: lines with limits, and hollow places where a season does not count."""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

__all__ = ["TrendLine", "TrendPoint", "trend_svg"]

WIDTH, HEIGHT = 760, 340
LEFT, RIGHT, TOP, BOTTOM = 52, 112, 18, 52
_INK, _FAINT = "#1e2a33", "#c9c5bb"
#: Colour, dash and marker of each line: none needs its colour to be told apart.
_STYLES = (
    ("#d65f0a", "", "flag"),
    ("#8f5210", "7 4", "square"),
    ("#153f6b", "2 4", "diamond"),
    ("#2b69a3", "12 3 2 3", "tick"),
)


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


def trend_svg(lines: Sequence[TrendLine], *, title: str, name: str = "trend") -> str:
    """Draw rates by season.

    Parameters
    ----------
    lines : sequence of TrendLine
        At most four, all over the same seasons. The first carries numbers beside its points.
    title : str
        Heading for readers who cannot see it.
    name : str
        Start of the ids, unlike that of any other picture on the page.

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
    seasons = [point.season for point in lines[0].points]
    tops = [
        max(p.high if line.limits else p.share, p.share) for line in lines for p in line.points if p.share is not None
    ]
    top = _ceiling(max(tops, default=0.05))
    step = (WIDTH - LEFT - RIGHT) / max(len(seasons), 2)
    across = {season: LEFT + step * (number + 0.5) for number, season in enumerate(seasons)}
    parts = [_axes(seasons, across, top)]
    parts += [_gaps(lines[0], across, step)]
    labels: list[tuple[float, str]] = []
    for line, style in zip(lines, _STYLES, strict=False):
        parts.append(_line(line, style, across, top))
        last = [point for point in line.points if point.share is not None]
        if last:
            labels.append((_y(last[-1].share or 0.0, top), f'<tspan fill="{style[0]}">{escape(line.name)}</tspan>'))
    parts.append(_numbers(lines[0], across))
    parts.append(_names(labels))
    text = _described(lines)
    return (
        f'<svg class="trend" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{name}-t {name}-d" '
        f'xmlns="http://www.w3.org/2000/svg"><title id="{name}-t">{escape(title)}</title>'
        f'<desc id="{name}-d">{escape(text)}</desc>{"".join(parts)}</svg>'
    )


def _ceiling(most: float) -> float:
    return next((step for step in (0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8) if most <= step), 1.0)


def _y(share: float, top: float) -> float:
    return TOP + (HEIGHT - TOP - BOTTOM) * (1 - share / top)


def _axes(seasons: Sequence[int], across: dict[int, float], top: float) -> str:
    out = []
    for number in range(5):
        share = top * number / 4
        y = _y(share, top)
        out.append(f'<path d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}" stroke="{_FAINT}" stroke-width="1"/>')
        out.append(
            f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end" font-size="12" fill="{_INK}">{100 * share:g} %</text>'
        )
    every = 1 if len(seasons) <= 14 else 2
    out += [
        f'<text x="{across[season]:.1f}" y="{HEIGHT - BOTTOM + 18}" text-anchor="middle" font-size="12" fill="{_INK}">{season}</text>'
        for season in seasons[::every]
    ]
    return "".join(out)


def _gaps(line: TrendLine, across: dict[int, float], step: float) -> str:
    """Draw a season that does not count as a hollow column with its reason."""
    out = []
    for point in line.points:
        if point.share is None:
            x = across[point.season]
            out.append(
                f'<rect x="{x - step * 0.38:.1f}" y="{TOP}" width="{step * 0.76:.1f}" height="{HEIGHT - TOP - BOTTOM}" '
                f'fill="none" stroke="#77756e" stroke-dasharray="3 4"><title>{point.season}: {escape(point.reason)}</title></rect>'
                f'<text transform="translate({x + 4:.1f} {HEIGHT - BOTTOM - 8}) rotate(-90)" font-size="11" fill="#5c5a54">'
                f"{escape(point.reason)}</text>"
            )
    return "".join(out)


def _line(line: TrendLine, style: tuple[str, str, str], across: dict[int, float], top: float) -> str:
    colour, dash, marker = style
    out, path, pen = [], "", "M"
    for point in line.points:
        if point.share is None:
            pen = "M"
            continue
        x, y = across[point.season], _y(point.share, top)
        path += f"{pen}{x:.1f} {y:.1f}"
        pen = "L"
        if line.limits:
            low, high = _y(point.low, top), _y(min(point.high, top), top)
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


def _numbers(line: TrendLine, across: dict[int, float]) -> str:
    """Write the counts of the line under its seasons, where no line crosses them."""
    every = 1 if len(line.points) <= 12 else 2
    return "".join(
        f'<text x="{across[point.season]:.1f}" y="{HEIGHT - BOTTOM + 36}" text-anchor="middle" font-size="11" '
        f'fill="{_INK}">{point.cases}/{point.vines}</text>'
        for point in line.points[::every]
        if point.share is not None
    )


def _names(labels: list[tuple[float, str]]) -> str:
    """Write the names at the right end, moved apart where they would touch."""
    out, before = [], -100.0
    for y, text in sorted(labels):
        at = max(y, before + 15)
        before = at
        out.append(f'<text x="{WIDTH - RIGHT + 4}" y="{at + 4:.1f}" font-size="13">{text}</text>')
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

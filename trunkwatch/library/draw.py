"""Pictures of a block, or of a map of one's own, for a notebook or a file: drawings as SVG."""

from html import escape
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from trunkwatch.block import trend_of
from trunkwatch.charts import trend_svg
from trunkwatch.charts.colours import EDGE, INK, MARK, QUIET
from trunkwatch.library.vineyard import Block
from trunkwatch.report.block_page import map_svg
from trunkwatch.report.facts import trend_lines
from trunkwatch.stats.labels import checked_labels, checked_places

__all__ = ["Picture", "block_map", "map_of", "trend"]

#: Pixels: the longest side of a map of one's own, its margin, and the lines above and below it.
_SIDE, _MARGIN, _LINE = 640.0, 20.0, 26.0


class Picture(str):
    """An SVG drawing; a notebook shows it, `save` writes it."""

    __slots__ = ()

    def _repr_svg_(self) -> str:
        return str(self)

    def save(self, path: str | Path) -> None:
        """Write the drawing.

        Raises
        ------
        ValueError
            If the name does not end in .svg.
        """
        where = Path(path)
        if where.suffix.casefold() != ".svg":
            raise ValueError(
                f"{where.name}: a name that ends in .svg is needed; `trunkwatch map --out` writes PNG and PDF too"
            )
        where.write_text(self, "utf-8")


def block_map(block: Block, season: int | None = None) -> Picture:
    """Draw the vines of a block as they lie, each with its condition in a season.

    Parameters
    ----------
    block : Block
        From `Vineyard.block`.
    season : int, optional
        The last counted one where left out.
    """
    return Picture(map_svg(block.season(season)))


def trend(block: Block) -> Picture:
    """Draw the rates of all seasons, the share showing with its likely range.

    Parameters
    ----------
    block : Block
        From `Vineyard.block`.
    """
    return Picture(
        trend_svg(trend_lines(trend_of(block.season())), title=f"Block {block.label}: share of vines by season")
    )


def map_of(
    cases: ArrayLike,
    vines: ArrayLike,
    *,
    row_spacing: float | None = None,
    vine_spacing: float | None = None,
    places: ArrayLike | None = None,
    title: str = "",
) -> Picture:
    """Draw a map of one's own, rows from top to bottom, or points with north on top: a triangle for a case, a circle for any other vine that counts.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count; where none counts nothing is drawn.
    row_spacing, vine_spacing : float, optional
        Meters. Without them rows and vines stand equally far apart, and there is no scale.
    places : (rows, stations, 2) float array_like, optional
        Meters east and north, instead of spacings: `Map.places` of `map_of_points` and `map_of_geoframe`.
    title : str
        Stands above the map.

    Returns
    -------
    Picture
        The drawing, 680 pixels at its longer side.

    Raises
    ------
    ValueError
        If the shapes differ, no vine counts, a case lies outside the mask, a spacing is not positive or stands alone, or places
        stand beside spacings.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> picture = tw.draw.map_of([[0, 1, 1], [0, 0, 1]], [[1, 1, 1], [1, 0, 1]], row_spacing=2.5, vine_spacing=1.2)
    >>> picture.count("<circle"), picture.count("<path")
    (3, 4)
    """
    marked, mask = checked_labels(cases, vines)
    if not mask.any():
        raise ValueError("no vine counts: there is nothing to draw")
    at, wide, high, nearest = _ground(mask, row_spacing, vine_spacing, places)
    scale = _SIDE / max(wide, high)
    size = min(8.0, 0.32 * scale * nearest)
    top = _MARGIN + (_LINE if title else 0.0)
    marks = [
        _mark(_MARGIN + x * scale, top + y * scale, size, sick=bool(sick))
        for (x, y), sick in zip(at, marked[mask], strict=True)
    ]
    width, base = 2 * _MARGIN + max(wide * scale, 320.0), top + high * scale
    words = [_words(_MARGIN, _MARGIN + 4, title, 16)] if title else []
    words += [
        _mark(_MARGIN + 6, base + _LINE - 4, 6.0, sick=True),
        _words(_MARGIN + 18, base + _LINE, f"case {int(marked.sum())}", 13),
        _mark(_MARGIN + 106, base + _LINE - 4, 6.0, sick=False),
        _words(_MARGIN + 118, base + _LINE, f"other vine {int((mask & ~marked).sum())}", 13),
    ]
    if row_spacing is not None or places is not None:
        words.append(_bar(_MARGIN + 236, base + _LINE - 4, scale))
    said = escape(title or f"Map of {int(mask.sum())} vines, {int(marked.sum())} of them cases", quote=True)
    height = base + 2 * _LINE
    return Picture(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" width="{width:.0f}" height="{height:.0f}" '
        f'role="img" aria-label="{said}" font-family="sans-serif">{"".join(marks + words)}</svg>'
    )


def _ground(
    mask: NDArray[np.bool_], row_spacing: float | None, vine_spacing: float | None, places: ArrayLike | None
) -> tuple[NDArray[np.float64], float, float, float]:
    """Return where the vines stand, right and down from the corner, how wide and high it all is, and how far neighbors are apart."""
    if places is not None:
        at = checked_places(mask, row_spacing, vine_spacing, places) * [1.0, -1.0]
        low, high = at.min(axis=0), at.max(axis=0)
        if len(at) < 2 or not (high - low).any():
            return at - low + 0.5, 1.0, 1.0, 1.0
        spots = np.unique(at, axis=0)
        apart, _ = cKDTree(spots).query(spots, k=2)
        nearest = float(np.median(np.asarray(apart)[:, 1]))
        return at - low + nearest / 2, *(float(side) for side in high - low + nearest), nearest
    if (row_spacing is None) != (vine_spacing is None):
        raise ValueError(f"row_spacing is {row_spacing} and vine_spacing {vine_spacing}: both are needed, or neither")
    across, along = (1.0, 1.0) if row_spacing is None or vine_spacing is None else (row_spacing, vine_spacing)
    if not (across > 0 and along > 0):
        raise ValueError(f"row_spacing is {across:g} and vine_spacing {along:g}: spacings above 0 are needed")
    rows, stations = mask.shape
    cells = (np.argwhere(mask)[:, ::-1] + 0.5) * [along, across]
    return cells, stations * along, rows * across, min(across, along)


def _mark(x: float, y: float, size: float, *, sick: bool) -> str:
    if not sick:
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{0.6 * size:.1f}" fill="none" stroke="{QUIET}"/>'
    return (
        f'<path d="M{x:.1f} {y - size:.1f}L{x + size:.1f} {y + 0.8 * size:.1f}H{x - size:.1f}Z" '
        f'fill="{MARK}" stroke="{EDGE}" stroke-width="0.8"/>'
    )


def _words(x: float, y: float, text: str, size: int) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" fill="{INK}">{escape(text)}</text>'


def _bar(x: float, y: float, scale: float) -> str:
    """Return a scale bar of a round number of meters, about 60 pixels long."""
    meters = min((1, 2, 5, 10, 20, 50, 100, 200, 500), key=lambda length: abs(length * scale - 60))
    return (
        f'<line x1="{x:.1f}" y1="{y:.1f}" x2="{x + meters * scale:.1f}" y2="{y:.1f}" stroke="{INK}" stroke-width="2"/>'
        f"{_words(x + meters * scale + 8, y + 4, f'{meters} m', 13)}"
    )

"""Paper for the row: a list to write findings on, and the rows drawn as strips to mark."""

from collections.abc import Mapping
from html import escape
from typing import Literal, get_args

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup
from numpy.typing import NDArray

from trunkwatch.grid import NamedRow
from trunkwatch.history import BlockHistory
from trunkwatch.surveys.to_walk import ToWalk
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.spelling import spelled_page

__all__ = ["SHORT", "Size", "findings_list", "render", "row_strips", "short_codes"]

Size = Literal["A4", "Letter"]
#: What is written on paper for each symptom: initials, our own.
SHORT: Mapping[str, str] = {
    "dead_spurs": "DS", "dead_arm": "DA", "dead_trunk": "DT", "canker": "CA", "leaf_stripe": "LS", "berry_spots": "BS",
    "stunted_shoots": "SS", "crowded_shoots": "CS", "collapse": "CO", "dead": "DV", "wood_staining": "WS",
    "crown_gall": "CG", "trunk_split": "TS", "bud_kill": "BK", "frost_shoots": "FS", "mechanical_injury": "MI",
    "wire_girdled": "WG", "chewed_bark": "CB", "herbicide_injury": "HI", "water_stress": "DW", "virus_suspected": "VS",
    "other": "OT", "mummies": "MU", "old_wood_left": "OW", "none": "NO", "not_seen": "NS",
}  # fmt: skip
#: What is written on paper for the quality of a shoot.
QUALITY: Mapping[str, str] = {"good": "G", "too_vigorous": "V", "unripe": "U", "thin": "T"}
LINES = 30
#: With more rows than these the foot of the list has blanks instead: nobody walks them all in an hour, and it must
#: stay one page.
MOST_ROWS, MOST_LETTERS, BLANKS = 24, 60, 20
#: Vines on one line of a strip, the paper turned sideways: a cell is then 6 mm wide at least.
VINES_A_LINE: Mapping[str, int] = {"A4": 37, "Letter": 35}


def render(template: str, **values: object) -> str:
    """Fill one of the package's templates; text is escaped."""
    environment = Environment(
        loader=PackageLoader("trunkwatch"),
        undefined=StrictUndefined,
        autoescape=select_autoescape(["html"]),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return spelled_page(environment.get_template(template).render(**values))


def short_codes() -> list[tuple[str, str]]:
    """Return what is written for each symptom, and what it means."""
    return [(short, codes.SYMPTOMS[code]) for code, short in SHORT.items()]


def _checked(size: str) -> None:
    if size not in get_args(Size):
        raise ValueError(f"size is {size!r}: one of {', '.join(get_args(Size))} is needed")


def findings_list(history: BlockHistory, season: int, *, training: str = "bilateral", size: Size = "A4") -> str:
    """Write a page to note findings on: about an hour of a scout.

    Parameters
    ----------
    history : BlockHistory
        The block.
    season : int
        Season to be walked.
    training : str
        Tells which arms exist.
    size : {"A4", "Letter"}
        Paper.

    Returns
    -------
    str
        One HTML page for printing.

    Raises
    ------
    ValueError
        If there is no such paper.
    """
    _checked(size)
    grid = history.grid
    rows = [(row.label, row.first, row.last) for row in grid.named]
    if len(rows) > MOST_ROWS or sum(len(label) for label, _, _ in rows) > MOST_LETTERS:
        rows = []
    return render(
        "findings_list.html",
        block=history.block,
        season=season,
        size=size,
        lines=range(LINES),
        rows=rows,
        codes=short_codes(),
        qualities=[(QUALITY[code], meaning) for code, meaning in codes.SHOOT_QUALITIES.items()],
        arms=[arm.replace("_", " ") for arm in codes.ARMS.get(training, codes.ARMS["bilateral"])],
        bays=any(row.bay_ends for row in grid.named),
        blanks=range(BLANKS),
    )


def row_strips(walk: ToWalk, *, size: Size = "A4") -> str:
    """Draw every row as a strip with a cell for each vine, posts, gaps and young vines.

    Parameters
    ----------
    walk : ToWalk
        The block, the season, missing and young vines.
    size : {"A4", "Letter"}
        Paper.

    Raises
    ------
    ValueError
        If there is no such paper.
    """
    _checked(size)
    grid = walk.history.grid
    strips = []
    for row in grid.named:
        cells = row.stations
        parts = _lines_of(cells, grid.position[row.line, cells], row.bay_ends, VINES_A_LINE[size])
        for start, part in enumerate(parts):
            before = int(parts[start - 1][-1]) if start else None
            drawn = Markup(_strip(walk, row, part, before, VINES_A_LINE[size]))  # noqa: S704 - numbers only, the label is escaped
            strips.append((row.label, start > 0, start == len(parts) - 1, row.backwards, drawn))
    return render(
        "row_strip.html",
        block=grid.block,
        season=walk.season,
        size=size,
        strips=strips,
        codes=short_codes(),
    )


def _lines_of(
    cells: NDArray[np.int64], positions: NDArray[np.int32], ends: tuple[int, ...], most: int
) -> list[NDArray[np.int64]]:
    """Cut a row into lines of about the same length, at posts where there are any."""
    lines, start = -(-cells.size // most), 0
    posts = np.flatnonzero(np.isin(positions, ends)) + 1
    parts = []
    for left in range(lines, 1, -1):
        even = start + -(-(cells.size - start) // left)
        # A later line must still hold what is left.
        fits = posts[(posts > start) & (posts <= start + most)]
        fits = fits[cells.size - fits <= (left - 1) * most]
        stop = int(fits[np.abs(fits - even).argmin()]) if fits.size else even
        parts.append(cells[start:stop])
        start = stop
    return [*parts, cells[start:]]


def _strip(walk: ToWalk, row: NamedRow, cells: NDArray[np.int64], before: int | None, most: int) -> str:
    grid, number = walk.history.grid, row.line
    ends = set(row.bay_ends)
    parts = [f'<path d="M0 13H{len(cells) * 24 + 6}" stroke="#1e2a33" stroke-width="1.2"/>']
    for k, cell in enumerate(cells):
        position, x = int(grid.position[number, cell]), k * 24 + 12
        parts.append(
            f'<rect x="{x - 11}" y="14" width="22" height="28" fill="none" stroke="#77756e" stroke-width="0.8"/>'
        )
        if before is not None and abs(int(cell) - before) > 1:  # stations fall where a row is numbered backwards
            parts.append(f'<path d="M{x - 12} 2V46" stroke="#1e2a33" stroke-width="1" stroke-dasharray="2 2"/>')
        before = int(cell)
        if walk.missing[number, cell]:
            parts.append(f'<path d="M{x - 11} 14l22 28M{x + 11} 14l-22 28" stroke="#77756e" stroke-width="0.8"/>')
        elif walk.young[number, cell]:
            parts.append(f'<path d="M{x} 13V4M{x - 4} 8L{x} 4L{x + 4} 8" stroke="#1e2a33" fill="none"/>')
        else:
            parts.append(f'<path d="M{x} 13V7" stroke="#1e2a33" stroke-width="1.4"/>')
        if position % 5 == 0 or k == 0 or k == len(cells) - 1:
            parts.append(f'<text x="{x}" y="52" text-anchor="middle" font-size="9">{position}</text>')
        if position in ends:
            parts.append(f'<path d="M{x + 12} 0V48" stroke="#1e2a33" stroke-width="3"/>')
    return f'<svg viewBox="-2 0 {most * 24 + 10} 54" role="img" aria-label="row {escape(row.label)}">{"".join(parts)}</svg>'

"""The static picture of a season: a row is a line with posts, a vine a tick, a finding a flag."""

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history import BlockHistory, Condition
from trunkwatch.maps.canvas import sheet_of
from trunkwatch.maps.counts import condition_counts, count_line, described, work_masks
from trunkwatch.maps.frame import DrawingFrame, Placement, drawing_frame
from trunkwatch.maps.svg import document
from trunkwatch.maps.symbols import FOCUS, OUTSIDE, SYMBOLS, THIS_WINTER, WORK_DONE, WORK_PLANNED

__all__ = ["strip_svg"]

#: What stands back is drawn first, cases last.
_ORDER = (
    Condition.MISSING,
    Condition.NOT_SEEN,
    Condition.SOUND,
    Condition.YOUNG,
    Condition.RENEWED,
    Condition.DEAD,
    Condition.HIDDEN,
    Condition.SHOWING,
)


def strip_svg(
    history: BlockHistory,
    season: int,
    *,
    placed: Placement | tuple[NDArray[np.float64], NDArray[np.float64]] | None = None,
    bearing_deg: float | None = None,
    rows_go: str = "right",
    foci: NDArray[np.int64] | None = None,
    this_winter: NDArray[np.bool_] | None = None,
    title: str | None = None,
    name: str = "strip",
    narrow: bool = False,
) -> str:
    """Draw one season of a block for paper.

    Parameters
    ----------
    history : BlockHistory
        The block over its years.
    season : int
        Year of the harvest.
    placed : Placement or (longitude, latitude), optional
        WGS84 degrees, (rows, stations); the block is then drawn as it lies, north up.
    bearing_deg, rows_go : float and {"right", "left"}, optional
        How the rows lie, used where there are no coordinates.
    foci : (rows, stations) int array, optional
        Number of the focus in its cells, 0 elsewhere; foci of two vines or more are outlined.
    this_winter : (rows, stations) bool array, optional
        Vines that are to be cut or replanted this winter; they are ringed.
    title : str, optional
        The heading; block and season where left out.
    name : str
        Start of the ids, unlike that of any other picture on the same page.
    narrow : bool
        Whether it is for a phone: 360 px wide instead of 760.

    Returns
    -------
    str
        One SVG element, with alternative text; same input, same bytes.

    Raises
    ------
    RecordError
        If the block has no records of the season.
    ValueError
        If an array has another shape than the grid.
    """
    frame = drawing_frame(history.grid, placed, bearing_deg=bearing_deg, rows_go=rows_go)
    line = count_line(history, season)
    sheet = sheet_of(history.grid, frame, line, narrow=narrow)
    condition = history.condition[history.index_of(season)]
    done, planned = work_masks(history, season)
    drawn = [sheet.rows()]
    drawn += [sheet.vines(condition == one, SYMBOLS[one]) for one in _ORDER]
    outside = history.outside[history.index_of(season)]
    drawn += [sheet.vines(done, WORK_DONE), sheet.vines(planned, WORK_PLANNED), sheet.vines(outside, OUTSIDE)]
    winter = np.zeros(history.grid.shape, dtype=bool) if this_winter is None else np.asarray(this_winter, dtype=bool)
    if winter.shape != history.grid.shape:
        raise ValueError(f"this_winter has shape {winter.shape}: that of the grid, {history.grid.shape}, is needed")
    drawn.append(sheet.vines(winter, THIS_WINTER))
    outlines = sheet.foci(np.asarray(foci)) if foci is not None else ""
    legend = [
        (SYMBOLS[one], f"{SYMBOLS[one].word} {count}") for one, count in condition_counts(history, season).items()
    ]
    for mask, look in ((done, WORK_DONE), (planned, WORK_PLANNED), (outside, OUTSIDE), (winter, THIS_WINTER)):
        if mask.any():
            legend.append((look, f"{look.word} {int(mask.sum())}"))
    if outlines:
        legend.append((FOCUS, FOCUS.word))
    foot, height = sheet.foot(legend, notes_of(frame))
    heading = title if title is not None else f"Block {history.block}, {season}"
    body = sheet.head(heading, line) + "".join(drawn) + outlines
    body += sheet.row_numbers() + foot
    return document(sheet.width, height, heading, described(history, season), body, name, narrow=narrow)


def notes_of(frame: DrawingFrame) -> list[str]:
    """Return what a reader must know about how the block is drawn."""
    return [frame.note] if frame.note else []

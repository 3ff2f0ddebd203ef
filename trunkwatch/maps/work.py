"""This winter's work on the block: one mark a vine by what is to be done to it."""

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history import BlockHistory, Condition
from trunkwatch.maps.canvas import sheet_of
from trunkwatch.maps.frame import Placement, drawing_frame
from trunkwatch.maps.strip import notes_of
from trunkwatch.maps.svg import document
from trunkwatch.maps.symbols import SYMBOLS, Symbol

__all__ = ["WORKS", "work_svg"]

#: Groups of work in the order in which they are drawn, the last on top, each with the kinds in it.
WORKS: Mapping[str, tuple[Symbol, frozenset[str]]] = MappingProxyType(
    {
        "watch": (Symbol("mark or watch", "W", "", "#8f5210", (((0, 6), (0, -8), (8, -5), (0, -2)),)), frozenset({"mark", "watch", "lab_sample"})),
        "train": (Symbol("finish training", "T", "", "#2c5f92", (((0, 6), (0, -8)), ((-6, -8), (6, -8)))), frozenset({"train"})),
        "keep": (Symbol("leave the shoot", "K", "", "#153f6b", (((0, 6), (0, -8)), ((-5, -3), (0, -8), (5, -3)))), frozenset({"keep_shoot"})),
        "clear": (Symbol("clear away", "C", "", "#77756e", (((-5, 4), (5, 4)), ((-3, 0), (3, 0)))), frozenset({"clear_mummies"})),
        "replant": (Symbol("replant", "P", "#86b2d9", "#153f6b", (((0, 6), (-6, -2), (0, -8), (6, -2), (0, 6)),), solid=True), frozenset({"replant", "remove"})),
        "cut": (Symbol("cut and retrain", "X", "#d65f0a", "#8f3a00", (((-7, 5), (7, -7), (7, -1), (-1, 6), (-7, 5)),), solid=True), frozenset({"renew_arm", "renew_trunk", "cut_old_trunk", "regraft", "curettage"})),
    }
)  # fmt: skip


def work_svg(
    history: BlockHistory,
    season: int,
    work: Mapping[tuple[int, int], frozenset[str]],
    *,
    placed: Placement | tuple[NDArray[np.float64], NDArray[np.float64]] | None = None,
    bearing_deg: float | None = None,
    rows_go: str = "right",
    title: str | None = None,
    name: str = "work",
    narrow: bool = False,
) -> str:
    """Draw what is to be done.

    Parameters
    ----------
    history, season : BlockHistory, int
        The block, and the season that the work follows on.
    work : mapping of (row index, station index) to frozenset of str
        Kinds of work for each vine that has any.
    placed, bearing_deg, rows_go, title, name, narrow
        As in `trunkwatch.maps.strip_svg`.

    Returns
    -------
    str
        One SVG element with alternative text; same input, same bytes.
    """
    frame = drawing_frame(history.grid, placed, bearing_deg=bearing_deg, rows_go=rows_go)
    sheet = sheet_of(history.grid, frame, narrow=narrow)
    masks = {key: np.zeros(history.grid.shape, dtype=bool) for key in WORKS}
    taken = np.zeros(history.grid.shape, dtype=bool)
    for key in reversed(list(WORKS)):  # a vine with several pieces of work carries the heaviest
        for cell, kinds in work.items():
            if kinds & WORKS[key][1] and not taken[cell]:
                masks[key][cell] = taken[cell] = True
    condition = history.condition[history.index_of(season)]
    missing = (condition == Condition.MISSING) & ~taken
    plain = history.grid.exists & ~taken & ~missing
    drawn = [
        sheet.rows(),
        sheet.vines(plain, SYMBOLS[Condition.SOUND]),
        sheet.vines(missing, SYMBOLS[Condition.MISSING]),
    ]
    drawn += [sheet.vines(masks[key], look) for key, (look, _) in WORKS.items()]
    legend = [(look, f"{look.word} {int(masks[key].sum())}") for key, (look, _) in WORKS.items() if masks[key].any()]
    legend.append((SYMBOLS[Condition.SOUND], f"nothing to do {int(plain.sum())}"))
    heading = title if title is not None else f"Block {history.block}: the winter after {season}"
    line = ", ".join(words for _, words in legend)
    foot, height = sheet.foot(legend, notes_of(frame))
    body = sheet.head(heading, f"{int(taken.sum())} vines with work") + "".join(drawn) + sheet.row_numbers() + foot
    return document(sheet.width, height, heading, f"Work proposed: {line}.", body, name, narrow=narrow)

"""A block as it was laid out from points, drawn to be looked over before it is taken."""

from collections.abc import Collection, Mapping
from html import escape

import numpy as np
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.maps.canvas import sheet_of
from trunkwatch.maps.frame import Placement, drawing_frame
from trunkwatch.maps.svg import document
from trunkwatch.maps.symbols import INK, Symbol

__all__ = ["layout_page", "layout_svg"]

VINE = Symbol("vine with a point", "", "", "#55534d", (((0, 5), (0, -5)),), with_row=True)
EMPTY = Symbol(
    "position without a point", "", "", "#8f3a00", (((-4, -4), (4, -4), (4, 4), (-4, 4), (-4, -4)),), with_row=True
)
DOUBTFUL = Symbol("row with something doubtful", "", "#ffffff", "#b35900", (((-5, 8), (5, 8)),), with_row=True)


def layout_svg(
    grid: RowGrid,
    placed: Placement,
    *,
    empty: Collection[tuple[str, int]] = (),
    unsure: Collection[str] = (),
    line: str = "",
) -> str:
    """Draw rows with their numbers, vines with and positions without a point, and rows in which something is doubtful.

    Parameters
    ----------
    grid, placed
        The block and where it lies.
    empty : collection of (row, position)
        Positions without a point.
    unsure : collection of str
        Rows in which something is doubtful.
    line : str
        A sentence over the drawing.
    """
    frame = drawing_frame(grid, placed)
    sheet = sheet_of(grid, frame, line)
    open_places = np.zeros(grid.shape, dtype=bool)
    for row, position in empty:
        open_places[grid.cell(row, position)] = True
    doubtful: NDArray[np.bool_] = grid.exists & np.isin(np.array([*grid.labels, ""]), list(unsure))[grid.which]
    masks = ((VINE, grid.exists & ~open_places), (EMPTY, open_places), (DOUBTFUL, doubtful))
    drawn = sheet.rows() + "".join(sheet.vines(mask, look) for look, mask in masks) + sheet.row_numbers()
    legend = [(look, f"{look.word} {int(mask.sum()):,}") for look, mask in masks[:2]]
    legend += [(DOUBTFUL, f"{DOUBTFUL.word} {len(unsure)}")] if unsure else []
    foot, height = sheet.foot(legend, [frame.note] if frame.note else [])
    heading = f"Block {grid.block}, as laid out from points"
    body = sheet.head(heading, line) + drawn + foot
    return document(sheet.width, height, heading, f"{heading}. {line}", body, "layout")


def layout_page(drawing: str, block: str, sentences: Collection[str], doubts: Mapping[str, str]) -> str:
    """Return a page with the drawing, what was understood, and the rows to look at on the ground."""
    said = "".join(f"<li>{escape(sentence)}</li>" for sentence in sentences)
    rows = "".join(f"<tr><td>{escape(row)}</td><td>{escape(why)}</td></tr>" for row, why in doubts.items())
    table = (
        f"<h2>Look at these rows</h2><table><caption>Rows in which something is doubtful</caption><tr><th scope=col>row</th>"
        f"<th scope=col>what is doubtful</th></tr>{rows}</table>"
        if rows
        else ""
    )
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Block {escape(block)}, laid out from points</title><style>body{{font:16px/1.5 Verdana,sans-serif;color:{INK};margin:1em;"
        "max-width:60em}svg{max-width:100%;height:auto}td,th{text-align:left;padding:.2em 1em .2em 0}</style></head><body>"
        f"<h1>Block {escape(block)}, laid out from points</h1><ul>{said}</ul>{drawing}{table}</body></html>\n"
    )

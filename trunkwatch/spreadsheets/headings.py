"""Which line of a sheet holds the headings, and which column a heading means.

People put a title above the headings, write units and "#" into them, and have words of their own.
A heading is taken for a column only where no other could be meant; each such reading is told.
"""

import re
from collections.abc import Collection, Sequence
from typing import Any

from trunkwatch.vineyard.tables import TABLES, Table

__all__ = ["KNOWN", "heading_place", "is_second_table", "meant_by", "tidy"]

#: Lines of a file among which the headings are looked for.
LOOKED_AT = 20
#: Words of people for columns; each is read so only in tables that have the column.
SAME = {
    "comment": "note", "comments": "note", "notes": "note", "remark": "note", "remarks": "note", "scout": "observer",
    "lat": "latitude", "lon": "longitude", "long": "longitude", "lng": "longitude", "variety": "cultivar", "vine_no": "vine",
}  # fmt: skip
#: Headings by which the line of headings is recognised.
KNOWN = frozenset({name for table in TABLES.values() for name in table.names} | set(SAME))

_UNIT = re.compile(r"\s*[\[(]([^\])]*)[\])]\s*$")
_MARK = re.compile(r"_(#|no|nr|number)$")
_SPELT = {
    "percent": "%",
    "": "",
    "metres": "m",
    "meters": "m",
    "feet": "ft",
    "hours": "h",
    "degree": "degrees",
    "°": "degrees",
}


def tidy(heading: Any) -> str:
    """Return a heading in the form of column names: lower case, underscores, without unit and "#"."""
    text = _UNIT.sub("", "" if heading is None else str(heading))
    text = re.sub(r"[\s./-]+", "_", text.strip().casefold()).strip("_")
    text = re.sub(r"(?<=[^_])#$", "_#", text)
    return _MARK.sub("", text) or text


def heading_place(lines: Sequence[tuple[int, Sequence[Any]]], wanted: Collection[str] = KNOWN) -> int:
    """Return which of the lines holds the headings: the first, unless a later one plainly does.

    Parameters
    ----------
    lines : sequence of (int, sequence)
        Line numbers and cells, empty lines left out.
    wanted : collection of str
        Headings to be expected, as `tidy` writes them.
    """
    first = lines[:LOOKED_AT]
    if not first:
        return 0
    hits = [sum(tidy(cell) in wanted for cell in cells) for _, cells in first]
    best = max(hits)
    if best >= 2 and best > hits[0]:
        return hits.index(best)
    filled = [sum(cell is not None and str(cell).strip() != "" for cell in cells) for _, cells in first]
    if filled[0] == 1 and not hits[0] and max(filled) >= 3:
        return next(place for place, count in enumerate(filled) if count >= 0.6 * max(filled))
    return 0


def meant_by(heading: str, table: Table, headings: Sequence[str]) -> tuple[str, str]:
    """Return the column that a heading means ("" if none), and the unit that it was written with.

    Parameters
    ----------
    heading : str
        As written.
    table : Table
        The table of the sheet.
    headings : sequence of str
        All headings of the sheet: a column "vine" is the vine in the bay only beside a column "bay".
    """
    name = (
        tidy(heading)
        if heading.casefold().replace(" ", "_") not in table.names
        else heading.casefold().replace(" ", "_")
    )
    unit = _UNIT.search(heading)
    written = unit[1].strip().casefold() if unit else ""
    if name not in table.names and written:
        joined = f"{name}_{_SPELT.get(written, written)}"
        if joined in table.names or (joined.endswith("_ft") and f"{joined[:-3]}_m" in table.names):
            return joined, ""
    name = SAME.get(name, name) if name not in table.names else name
    others = {tidy(other) for other in headings}
    if name in ("vine", "plant") and "position" in table.names and not others & {"bay", "position"}:
        name = "position"
    return (name if name in table.names else ""), _SPELT.get(written, written)


def is_second_table(cells: Sequence[Any]) -> bool:
    """Whether a line below the headings is a line of headings itself."""
    filled = [cell for cell in cells if cell is not None and str(cell).strip()]
    if len(filled) < 3 or not isinstance(filled[0], str) or tidy(filled[0]) not in KNOWN:
        return False
    return sum(isinstance(cell, str) and tidy(cell) in KNOWN for cell in filled) >= 0.75 * len(filled)

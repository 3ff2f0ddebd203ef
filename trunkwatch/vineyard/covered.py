"""Which rows and positions a survey walked: the little language of the `covered` column.

Parts are separated by semicolons: ``12`` (a whole row), ``1..12`` (rows 1 to 12 in the order
of the block), ``1..12/2`` (every second of them: 1, 3, 5 ...), ``16:1..40`` (positions 1 to 40 of row 16), ``20:5..95/10`` (every tenth of
those), ``all``. Two dots stand between numbers and never a hyphen, because spreadsheets turn
``1-12`` into a date.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from trunkwatch.vineyard.one_line import halves_of
from trunkwatch.vineyard.row_cells import HIGHEST_POSITION, MOST_POSITIONS

__all__ = ["CoverageError", "Stretch", "format_covered", "parse_covered"]

#: No walk is written in more letters or more stretches.
MOST_LETTERS, MOST_STRETCHES = 20_000, 20_000

_POSITIONS = re.compile(r"(\d{1,9})(?:\.\.(\d{1,9})(?:/(\d{1,6}))?)?")
_LABEL = r"[^\s;:]+?"
_ROWS = re.compile(rf"({_LABEL})(?:\.\.({_LABEL}))?")
_STEPPED = re.compile(r"(.+\.\..+)/(\d{1,4})")


class CoverageError(ValueError):
    """A part of `covered` that cannot be read."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Part of one row: positions first, first + step, ... up to last; None means the whole row."""

    row: str
    first: int | None = None
    last: int | None = None
    step: int = 1


def parse_covered(text: str, rows: Sequence[str]) -> list[Stretch]:
    """Read a `covered` cell.

    Parameters
    ----------
    text : str
        For example ``1..12; 15; 16:1..40; 20:5..95/10``.
    rows : sequence of str
        The row labels of the block in their order on the ground.

    Returns
    -------
    list of Stretch
        One for each row and part, in the order written.

    Raises
    ------
    CoverageError
        If a part cannot be read or names a row that the block has not got.
    """
    return list(_parsed(text, tuple(rows)))


@lru_cache(maxsize=256)  # a desk asks for the same surveys with every record
def _parsed(text: str, rows: tuple[str, ...]) -> tuple[Stretch, ...]:
    if len(text) > MOST_LETTERS:
        raise CoverageError(
            f"covered has {len(text):,} letters ({text[:20]}...): at most {MOST_LETTERS:,}; write all, or several surveys"
        )
    stretches: list[Stretch] = []
    for part in (piece.strip() for piece in text.split(";")):
        if part:
            stretches.extend(_part(part, rows))
            if len(stretches) > MOST_STRETCHES:
                raise CoverageError(f"covered names more than {MOST_STRETCHES:,} stretches: name each row once")
    if not stretches:
        raise CoverageError("covered is empty: name rows, for example 1..12; 15; 16:1..40, or all")
    return tuple(stretches)


def _part(part: str, rows: Sequence[str]) -> Iterable[Stretch]:
    if part.casefold() == "all":
        return [Stretch(row) for row in rows if row]
    rows_text, colon, positions_text = (piece.strip() for piece in part.partition(":"))
    labels = _row_range(rows_text, rows)
    if not colon:
        return [Stretch(row) for row in labels]
    found = _POSITIONS.fullmatch(positions_text.replace(" ", ""))
    if not found:
        raise CoverageError(f"{part!r} cannot be read: row:first..last or row:first..last/step is needed")
    first = int(found[1])
    last = int(found[2]) if found[2] else first
    step = int(found[3]) if found[3] else 1
    if last < first or step < 1:
        raise CoverageError(f"{part!r} runs backwards or has no step: first..last/step with first <= last")
    if last > HIGHEST_POSITION or last - first >= MOST_POSITIONS:
        raise CoverageError(
            f"{part!r} runs over {last - first + 1:,} positions up to {last}: at most {MOST_POSITIONS:,} up to {HIGHEST_POSITION}; "
            "write the last position of the row"
        )
    return [Stretch(row, first, last, step) for row in labels]


def _row_range(text: str, rows: Sequence[str]) -> list[str]:
    if text in rows:
        return [text]
    if "-" in text:
        raise CoverageError(f"{text!r} has a hyphen: write two dots, as in 1..12, so that no program makes it a date")
    bare, step = text.replace(" ", ""), 1
    stepped = _STEPPED.fullmatch(bare)
    if stepped and bare.partition("..")[2] not in rows:  # a row may be labeled 4/2
        bare, step = stepped[1], int(stepped[2])
    found = _ROWS.fullmatch(bare)
    if not found:
        raise CoverageError(
            f"{text!r} is no row: row, row..row, row..row/step, row:first..last or row:first..last/step"
        )
    for label in found.groups():
        if label and label not in rows:
            raise CoverageError(f"row {label!r} is not in the block: its rows are {_span(rows)}")
    if step < 1:
        raise CoverageError(f"{text!r} has no step: row..row/2 is every second row")
    low = rows.index(found[1])
    high = rows.index(found[2]) if found[2] else low
    between = [row for row in rows[min(low, high) : max(low, high) + 1] if row]
    if step > 1 and (halves := halves_of(between)):
        pair = " and ".join(next(iter(halves.values()))[:2])
        raise CoverageError(
            f"{text!r} steps over rows {pair}, which may stand on one line or side by side: name the rows that were scouted, as in 1; 3; 5..6"
        )
    return between[:: step if low <= high else -step][:: 1 if low <= high else -1]


def _span(rows: Sequence[str]) -> str:
    named = [row for row in rows if row]
    return f"{named[0]} to {named[-1]}" if named else "not given"


def format_covered(stretches: Iterable[Stretch]) -> str:
    """Write stretches the way `parse_covered` reads them."""
    parts = []
    for stretch in stretches:
        if stretch.first is None:
            parts.append(stretch.row)
        else:
            step = f"/{stretch.step}" if stretch.step != 1 else ""
            parts.append(f"{stretch.row}:{stretch.first}..{stretch.last}{step}")
    return "; ".join(parts)

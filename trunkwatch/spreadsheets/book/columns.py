"""What each column of a table is: by its heading, and by what stands in it."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from trunkwatch.spreadsheets.book.days import day_in_text, day_key
from trunkwatch.spreadsheets.book.guess import guess_word, names_something, plain
from trunkwatch.spreadsheets.book.outline import is_total
from trunkwatch.spreadsheets.book.pages import column_letters, is_filled
from trunkwatch.spreadsheets.book.plan import ColumnPlan
from trunkwatch.spreadsheets.book.roles import part_of, role_of
from trunkwatch.spreadsheets.book.trade_words import MARKS, NO_MARKS, SIDES
from trunkwatch.spreadsheets.cells import DayOrder
from trunkwatch.spreadsheets.located import text_of

__all__ = ["ROLES", "columns_of", "place_in"]

ROLES = (
    "row",
    "position",
    "block",
    "date",
    "place",
    "arm",
    "trunk",
    "note",
    "observer",
    "cultivar",
    "finding",
    "left out",
)
#: Roles that one column of a table has at most.
_SINGLE = ("row", "position", "block", "date", "place", "observer", "cultivar")
#: Cells of a column that are looked at to tell what it is.
_LOOKED_AT = 400
_BAY = re.compile(r"(?:bay|panel|span|vano|travee|campata|stickel|section|tramo)s?(?: ?(?:no|nr|#|number))?\.?")
_PLACE = re.compile(
    r"(?:row|r|f|fila|rang|reihe|filare|linha)?\s*([0-9]{1,4}[a-z]?)\s*(?:[-/.:,_ ]|\s)\s*(?:vine|v|p|pos|cepa|pied|rebe|stock|vite)?\s*([0-9]{1,5})",
    re.IGNORECASE,
)
_PLACE_RUN = re.compile(r"(?:r|f|row)\s*([0-9]{1,4}[a-z]?)\s*(?:v|p|c|vine)\s*([0-9]{1,5})", re.IGNORECASE)


def place_in(text: str) -> tuple[str, int] | None:
    """Return the row and the position that one cell names (5-12, R5V12, 5/12), None where it names none."""
    found = _PLACE_RUN.fullmatch(text.strip()) or _PLACE.fullmatch(text.strip())
    return (found[1].upper(), int(found[2])) if found else None


def columns_of(
    headings: Sequence[tuple[Any, Any]], body: Sequence[tuple[int, Sequence[Any]]], order: DayOrder
) -> list[ColumnPlan]:
    """Tell of each column of a table what it is.

    Parameters
    ----------
    headings : sequence of (object, object)
        Upper and lower heading of each column.
    body : sequence of (int, sequence)
        Lines below the headings.
    order : {"", "day", "month"}
        Which comes first in days like 03/04/2026.
    """
    columns = []
    for place, (upper, lower) in enumerate(headings):
        cells = [own[place] for _, own in body[:_LOOKED_AT] if is_filled(own[place])]
        if len(cells) < 20 and len(body) > _LOOKED_AT:
            cells = [own[place] for _, own in body if is_filled(own[place])][:_LOOKED_AT]
        if not is_filled(upper) and not is_filled(lower):
            if cells:
                columns.append(ColumnPlan(place, f"column {column_letters(place)}", *_unnamed(cells)))
            continue
        columns.append(_column(place, upper, lower, cells, order))
    return _settled(_once_each(columns), body)


def _unnamed(cells: Sequence[Any]) -> tuple[str, str, str, Any, str]:
    words = sum(1 for cell in cells if guess_word(text_of(cell)).text and not text_of(cell).isdecimal())
    if words >= 0.5 * len(cells):
        return "finding", "", "", "ask", "it has no heading: say whether it is a finding, a note, or left out"
    return "left out", "", "", "proposed", "it has no heading"


def _column(place: int, upper: Any, lower: Any, cells: Sequence[Any], order: DayOrder) -> ColumnPlan:
    day = ""
    rest: list[str] = []
    for part in (upper, lower):
        if not is_filled(part):
            continue
        key, left = (day_key(part, order), "") if not isinstance(part, str) else day_in_text(part, order)
        if not key and isinstance(part, str) is False:
            left = text_of(part)
        day, rest = (key or day), [*rest, *([left] if left else [])]
    heading = " | ".join(dict.fromkeys(text_of(part) for part in (upper, lower) if is_filled(part)))
    named = " ".join(dict.fromkeys(rest))
    role = role_of(named) or role_of(rest[-1] if rest else "")
    if role in ("arm", "trunk"):
        role = role if _says_part(role, cells) and not day else "finding"
        return ColumnPlan(place, heading, role, day, named if role == "finding" else "")
    if day and role in ("date", "block"):
        role, named = "finding", ""
    if day and role in ("", "finding", "position", "row"):
        return _of_day(place, heading, day, named, role, cells)
    if role == "place":
        fits = cells and all(place_in(text_of(cell)) for cell in cells)
        return (
            ColumnPlan(place, heading, "place", sure="proposed", why="row and vine stand in one cell, the row first")
            if fits
            else ColumnPlan(place, heading, "left out")
        )
    if role == "finding" or part_of(named):
        context = named if names_something(named) or part_of(named) else ""
        return ColumnPlan(place, heading, "finding", day, context)
    if role:
        return ColumnPlan(place, heading, role, day)
    if is_total(heading):
        return ColumnPlan(place, heading, "left out", why="it holds sums")
    return _strange(place, heading, cells)


def _of_day(place: int, heading: str, day: str, named: str, role: str, cells: Sequence[Any]) -> ColumnPlan:
    """A column whose heading holds a day: findings, unless the rest of the heading or the cells say otherwise."""
    context = named if named and (names_something(named) or part_of(named)) else ""
    if role == "finding" or not named or context:
        return ColumnPlan(place, heading, "finding", day, context)
    words = sum(1 for cell in cells if _like_word(cell))
    if cells and words >= 0.5 * len(cells):
        return ColumnPlan(
            place,
            heading,
            "finding",
            day,
            "",
            "proposed",
            f"{named!r} is no word for findings, and its cells hold some",
        )
    return ColumnPlan(place, heading, "left out", day, "", "proposed", f"{named!r} is not understood")


def _strange(place: int, heading: str, cells: Sequence[Any]) -> ColumnPlan:
    words = [cell for cell in cells if _like_word(cell)]
    if cells and len(words) >= 0.5 * len(cells) and any(not text_of(cell).isdecimal() for cell in words):
        return ColumnPlan(
            place,
            heading,
            "finding",
            "",
            "",
            "proposed",
            "its heading is not understood, and its cells hold words for what was seen",
        )
    marks = Counter(plain(text_of(cell)) for cell in cells)
    if cells and set(marks) <= (MARKS | NO_MARKS):
        return ColumnPlan(
            place,
            heading,
            "finding",
            "",
            heading,
            "ask",
            "its heading is not understood, and its cells hold marks: say whether it is a finding, a note, or left out",
        )
    why = "its heading is not understood"
    if _SHARE.search(plain(heading)) and cells:
        why = "a share: it is not taken by itself; write it behind the word, as in dead arm 50 %, or call the column a finding"
    return ColumnPlan(place, heading, "left out", "", "", "proposed", why)


_SHARE = re.compile(
    r"%|\b(?:anteil|prozent|percent|share|porcentaje|pourcentage|percentuale|percentagem|porcentagem|proporcion|part)\b"
)


def _like_word(cell: Any) -> bool:
    text = text_of(cell)
    return bool(guess_word(text).text) or plain(text) in MARKS | NO_MARKS or (len(text) <= 2 and not text.isdecimal())


def _says_part(role: str, cells: Sequence[Any]) -> bool:
    """Tell whether a column of arms or trunks names which one, and does not say what is on it."""
    texts = {plain(text_of(cell)) for cell in cells}
    if role == "arm":
        return bool(texts) and all(text in SIDES or text in ("start", "end", "both") for text in texts)
    return bool(texts) and all(text.isdecimal() and 1 <= int(text) <= 12 for text in texts) and not texts <= {"1"}


def _once_each(columns: list[ColumnPlan]) -> list[ColumnPlan]:
    """Ask where two columns claim to be what only one can be."""
    out = list(columns)
    for role in _SINGLE:
        own = [number for number, column in enumerate(out) if column.role == role]
        if len(own) < 2:
            continue
        if role == "date":
            best = next(
                (
                    number
                    for number in own
                    if "date" in plain(out[number].heading)
                    or plain(out[number].heading) in ("fecha", "data", "datum", "day", "tag", "giorno", "jour")
                ),
                own[0],
            )
            for number in own:
                if number != best:
                    out[number] = replace(
                        out[number], role="left out", why=f"the day is taken from {out[best].heading!r}"
                    )
            continue
        if role in ("observer", "cultivar"):
            out[own[1]] = replace(out[own[1]], role="left out", sure="proposed", why=f"{out[own[0]].heading!r} says it")
            continue
        names = " and ".join(repr(out[number].heading) for number in own)
        for number in own:
            out[number] = replace(
                out[number],
                sure="ask",
                why=f"{names} both seem to be the {role}: leave one, and make the other left out",
            )
    return out


def _settled(columns: list[ColumnPlan], body: Sequence[tuple[int, Sequence[Any]]]) -> list[ColumnPlan]:
    """Let a place in one cell stand back where row and position have columns; let notes be findings where nothing else says any."""
    columns = [
        replace(
            column,
            sure="ask",
            why="vines seem to be counted in bays: positions must count through the row; say left out if they do",
        )
        if column.role == "left out" and _BAY.fullmatch(plain(column.heading))
        else column
        for column in columns
    ]
    roles = {column.role for column in columns}
    if {"row", "position"} <= roles:
        columns = [
            replace(column, role="left out", sure="certain", why="row and vine have columns of their own")
            if column.role == "place"
            else column
            for column in columns
        ]
    if any(column.role == "finding" for column in columns):
        return columns
    for number, column in enumerate(columns):
        cells = [own[column.place] for _, own in body[:_LOOKED_AT] if is_filled(own[column.place])]
        if column.role == "note" and sum(map(_like_word, cells)) >= 0.4 * len(cells) > 0:
            columns[number] = replace(column, role="finding", sure="proposed", why="no other column says what was seen")
            if not column.day:
                break
    return columns

"""Where the headings of a sheet are, and how it is laid out: a table, a matrix of rows by vines, or lists of positions."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from typing import Any

from trunkwatch.spreadsheets.book.days import day_in_text, day_key
from trunkwatch.spreadsheets.book.guess import guess_word, names_something, plain
from trunkwatch.spreadsheets.book.pages import Page, is_filled
from trunkwatch.spreadsheets.book.plan import Choice, Layout
from trunkwatch.spreadsheets.book.roles import block_named, part_of, role_of, row_named, vine_named
from trunkwatch.spreadsheets.book.trade_words import TOTALS
from trunkwatch.spreadsheets.located import text_of

__all__ = [
    "LOOKED_AT", "Outline", "distinct_in", "heading_score", "is_ascending", "is_total", "line_text", "matrix_labels", "number_at", "outline_of",
    "roles_in",
]  # fmt: skip

#: Lines among which the headings are looked for.
LOOKED_AT = 30
_ROW_LETTER = re.compile(r"[RrFf]\d{1,4}[A-Za-z]?")


@dataclass(slots=True)
class Outline:
    """The bare form of a sheet.

    Attributes
    ----------
    layout : Choice
        A `Layout` and why.
    headings : list of (object, object)
        Of a table: upper and lower heading of each column, None where there is none.
    labels : dict of int to str
        Of a matrix: what each column is numbered.
    label_place : int
        Column of the labels of the lines, -1 where lines have none.
    """

    layout: Choice
    heading_lines: tuple[int, ...] = ()
    begins: int = 1
    titles: list[str] = field(default_factory=list)
    headings: list[tuple[Any, Any]] = field(default_factory=list)
    labels: dict[int, str] = field(default_factory=dict)
    label_place: int = -1
    lines_are: Choice = field(default_factory=lambda: Choice(""))
    notes: list[str] = field(default_factory=list)


def line_text(cells: Sequence[Any]) -> str:
    """Return the cells of a line as one text, what merging repeats once."""
    texts: list[str] = []
    for cell in cells:
        text = text_of(cell)
        if text and (not texts or texts[-1] != text):
            texts.append(text)
    return " ".join(texts)


@lru_cache(maxsize=4_096)
def is_total(text: str) -> bool:
    """Tell whether a label is that of a line or column of sums."""
    words = plain(text).strip(" :=.").split()
    return bool(words) and (words[0].strip(":.") in TOTALS or words[-1] in ("total", "totals", "subtotal"))


def distinct_in(cells: Sequence[Any]) -> set[str]:
    """Return the different texts of a line."""
    return {text_of(cell) for cell in cells if is_filled(cell)}


def roles_in(cells: Sequence[Any]) -> list[str]:
    """Return what each cell of a line says as a heading, "" where it says nothing."""
    return [role_of(cell) if isinstance(cell, str) else "" for cell in cells]


def heading_score(cells: Sequence[Any]) -> tuple[int, int]:
    """Return how plainly a line is one of headings: names of a place, then all that is known."""
    roles = roles_in(cells)
    known = {role for role in roles if role}
    if len(distinct_in(cells)) < 2:
        return 0, 0
    days = sum(1 for cell in cells if is_filled(cell) and day_key(cell))
    named = {text_of(cell) for cell, role in zip(cells, roles, strict=True) if role}
    if "position" in known or "place" in known:
        return 2 + ("row" in known), len(named) + days
    if "row" in known and (known - {"row", "block"} or days):
        return 2, len(named) + days
    return 0, 0


def matrix_labels(cells: Sequence[Any]) -> tuple[dict[int, str], int, str] | None:
    """Return the labels of the columns of a matrix by their place, the place of the labels of lines, and what columns are ("" if not told)."""
    filled = [(place, cell) for place, cell in enumerate(cells) if is_filled(cell)]
    if len(filled) < 2:
        return None
    corner = text_of(filled[0][1])
    role = role_of(corner) if isinstance(filled[0][1], str) else ""
    crossed = _crossed(corner)
    numbered = number_at(filled[0][1]) and is_ascending([number_at(cell) for _, cell in filled[:3]])
    start = 0 if not crossed and (numbered or _names_label(filled[0][1])) else 1
    found: dict[int, str] = {}
    kinds: set[str] = set()
    for place, cell in filled[start:]:
        text = text_of(cell)
        if vine_named(text):
            found[place], kind = vine_named(text), "vines"
        elif row_named(text):
            found[place], kind = row_named(text), "rows"
        elif not start and _ROW_LETTER.fullmatch(text):
            found[place], kind = text, "rows"
        elif number_at(cell):
            found[place], kind = number_at(cell), ""
        elif role == "position" and re.fullmatch(r"[A-Za-z]?\d{1,4} ?[A-Za-z]?", text):
            found[place], kind = text.replace(" ", ""), "rows"
        elif is_total(text) or role_of(text) in ("note", "left out", "observer"):
            continue
        else:
            return None
        kinds.add(kind)
    numbers = [int(label) for label in found.values() if label.isdecimal()]
    ordered = is_ascending(list(map(str, numbers))) or is_ascending(list(map(str, numbers[::-1])))
    if (
        len(found) < (2 if kinds - {""} or crossed or role in ("row", "position") else 3)
        or (len(numbers) > 1 and not ordered)
        or all(1950 <= one <= 2100 for one in numbers or [0])
    ):
        return None
    told = (
        "rows"
        if "rows" in kinds or role == "position" or crossed == "vines"
        else "vines"
        if "vines" in kinds or role == "row" or crossed == "rows"
        else ""
    )
    gap = filled[start][0]
    label_place = (filled[0][0] if start else gap - 1) if start or gap else -1
    return found, label_place, told


def _names_label(cell: Any) -> bool:
    """Tell whether a first cell is the label of a column itself, as where the corner of a matrix is blank."""
    text = text_of(cell)
    return isinstance(cell, str) and bool(vine_named(text) or row_named(text) or _ROW_LETTER.fullmatch(text))


def _crossed(corner: str) -> str:
    r"""Return what the lines are where the corner says both, as in row \ vine: what stands first."""
    parts = [part for part in re.split(r"\s*[\\/|]\s*|\s+x\s+", corner) if part]
    roles = [role_of(part) for part in parts]
    if len(parts) == 2 and set(roles) == {"row", "position"}:
        return "rows" if roles[0] == "row" else "vines"
    return ""


def number_at(cell: Any) -> str:
    """Return a whole number below 1,000,000 as text, "" for anything else."""
    if isinstance(cell, bool):
        return ""
    text = text_of(cell)
    return str(int(text)) if text.isascii() and text.isdecimal() and len(text) < 7 else ""


def is_ascending(numbers: Sequence[str]) -> bool:
    """Tell whether numbers rise from one to the next."""
    values = [int(number) if number else -1 for number in numbers]
    return len(values) > 1 and all(before < after for before, after in pairwise(values))


def outline_of(page: Page) -> Outline:
    """Find how a sheet is laid out."""
    first = page.lines[:LOOKED_AT]
    scores = [heading_score(cells) for _, cells in first]
    matrix = next(((place, labels) for place, (_, cells) in enumerate(first) if (labels := matrix_labels(cells))), None)
    best = max(range(len(first)), key=lambda place: (scores[place], -place))
    if (
        matrix
        and (scores[best][0] < 3 or matrix[0] == best)
        and not (scores[best][0] >= 2 and best < matrix[0] and _is_table(first[best][1]))
    ):
        return _matrix(page, *matrix)
    if scores[best][0]:
        return _table(page, best)
    return _headless(page)


def _is_table(cells: Sequence[Any]) -> bool:
    roles = set(roles_in(cells))
    return (
        bool(roles & {"position", "place"})
        and bool(roles & {"finding", "note", "date", "row"})
        and len(distinct_in(cells)) >= 3
    )


def _titles(page: Page, place: int) -> list[str]:
    return [text for _, cells in page.lines[:place] if (text := line_text(cells))]


# ---- Tables ----------------------------------------------------------------------------------------------------


def _table(page: Page, place: int) -> Outline:
    line, lower = page.lines[place]
    upper: Sequence[Any] = [None] * len(lower)
    above, lines = place, [line]
    if place and _is_upper(page.lines[place - 1][1], lower):
        above = place - 1
        upper = _spread(page.lines[above][1], lower)
        lines.insert(0, page.lines[above][0])
    after = place + 1
    if above == place and after < len(page.lines) and _is_lower(page.lines[after][1], lower):
        below = page.lines[after][1]
        upper, lower = (
            _spread(lower, below),
            [None if text_of(up) == text_of(low) else low for up, low in zip(lower, below, strict=True)],
        )
        lines.append(page.lines[after][0])
        after += 1
    begins = page.lines[after][0] if after < len(page.lines) else lines[-1] + 1
    found = Outline(Choice("table"), tuple(lines), begins, _titles(page, above), list(zip(upper, lower, strict=True)))
    roles = {role_of(text_of(cell)) for pair in found.headings for cell in pair if isinstance(cell, str)}
    if not roles & {"position", "place"}:
        found.layout = Choice("lists", "proposed", "its columns name what was seen, and its cells list positions")
    return found


def _is_upper(above: Sequence[Any], lower: Sequence[Any]) -> bool:
    """Tell whether the line above the headings is a second line of headings: years or parts over the columns."""
    filled = [(place, cell) for place, cell in enumerate(above) if is_filled(cell)]
    over = [
        place
        for place, cell in filled
        if day_in_text(text_of(cell))[0] or names_something(text_of(cell)) or part_of(text_of(cell))
    ]
    if not filled or not over:
        return False
    distinct = distinct_in(above)
    places = {place for place, role in enumerate(roles_in(lower)) if role in ("row", "position", "place")}
    return (
        (len(distinct) > 1 or not any(is_filled(above[place]) for place in places))
        and any(place not in places for place in over)
        and len(over) * 2 >= len(filled)
    )


def _is_lower(below: Sequence[Any], heading: Sequence[Any]) -> bool:
    """Tell whether the line below the headings is a second line of headings."""
    own = []
    for up, low in zip(heading, below, strict=True):
        role = role_of(text_of(up)) if isinstance(up, str) else ""
        if not is_filled(low) or text_of(low) == text_of(up):
            continue
        if role in ("row", "position", "place", "block"):
            return False
        own.append(low)
    known = [
        low
        for low in own
        if (isinstance(low, str) and (part_of(low) or role_of(low) in ("finding", "note", "arm", "trunk", "date")))
        or day_key(low)
    ]
    beside = any(
        not is_filled(up) or day_in_text(text_of(up))[0]
        for up, low in zip(heading, below, strict=True)
        if is_filled(low)
    )
    return len(own) >= 2 and len(known) == len(own) and beside and not _looks_said(own, heading)


def _looks_said(own: Sequence[Any], heading: Sequence[Any]) -> bool:
    """Tell whether a line that may be a second heading says what a first line of data would: whole words of findings under finding columns."""
    only_words = all(isinstance(cell, str) and guess_word(cell).certain for cell in own)
    return only_words and all(is_filled(cell) for cell in heading)


def _spread(upper: Sequence[Any], lower: Sequence[Any]) -> list[Any]:
    """Let an upper heading hold for the columns to its right that have a lower one only."""
    out, last = [], None
    for up, low in zip(upper, lower, strict=True):
        if is_filled(up):
            last = up if day_in_text(text_of(up))[0] or names_something(text_of(up)) or part_of(text_of(up)) else None
            out.append(up)
            continue
        role = role_of(low) if isinstance(low, str) else ""
        out.append(last if is_filled(low) and role in ("", "finding", "arm", "trunk", "note") else None)
    return out


# ---- Matrices --------------------------------------------------------------------------------------------------


def _matrix(page: Page, place: int, found: tuple[dict[int, str], int, str]) -> Outline:
    labels, label_place, told = found
    line, cells = page.lines[place]
    titles = _titles(page, place)
    after = page.lines[place + 1 :]
    if not told and place:
        over = {role_of(text_of(cell)) for cell in page.lines[place - 1][1] if isinstance(cell, str)}
        told = (
            "vines"
            if "position" in over and "row" not in over
            else "rows"
            if "row" in over and "position" not in over
            else ""
        )
    if label_place >= 0 and not told:
        names = [text_of(own[label_place]) for _, own in after if is_filled(own[label_place])]
        told = (
            "vines"
            if names and all(row_named(name) or is_total(name) for name in names)
            else "rows"
            if names and all(vine_named(name) or is_total(name) for name in names)
            else ""
        )
    if label_place >= 0 and not any(is_filled(own[label_place]) for _, own in after):
        label_place = -1
    lines_are = (
        Choice("rows" if told == "vines" else "vines")
        if told
        else Choice("rows", "proposed", "nothing says whether a line is a row or a vine")
    )
    begins = after[0][0] if after else line + 1
    sure = Choice("matrix") if told and label_place >= 0 else Choice("matrix", "proposed", "numbers stand above it")
    headings: list[tuple[Any, Any]] = [(None, cell) for cell in cells]
    return Outline(sure, (line,), begins, titles, headings, labels, label_place, lines_are)


def _headless(page: Page) -> Outline:
    """Take a sheet without headings for a matrix of words, a list of row, vine and word, or for nothing that is understood."""
    place = 0
    while place < len(page.lines) and _is_title(page.lines[place][1], page):
        place += 1
    body = page.lines[place:]
    cells = [cell for _, own in body for cell in own if is_filled(cell)]
    if not body or not cells:
        return Outline(_not_understood("it has no headings and no vines"))
    listed = _listed(body)
    if listed:
        why = "it has no headings: the first column goes on from line to line as rows do, the second as vines do"
        return Outline(Choice("table", "proposed", why), (), body[0][0], _titles(page, place), listed)
    names = [own[0] for _, own in body]
    labelled = (
        all(is_filled(name) for name in names if name is not None)
        and sum(map(is_filled, names)) >= 0.8 * len(names)
        and (
            all(row_named(text_of(name)) for name in names if is_filled(name) and not is_total(text_of(name)))
            or is_ascending([number_at(name) for name in names if is_filled(name) and not is_total(text_of(name))])
        )
    )
    inner = [cell for _, own in body for cell in own[1 if labelled else 0 :] if is_filled(cell)]
    short = sum(1 for cell in inner if len(text_of(cell)) <= 3 or guess_word(text_of(cell)).text)
    width = len(body[0][1]) - labelled
    if (
        len(body) < 2
        or width < 2
        or not inner
        or short < 0.8 * len(inner)
        or any(day_key(cell, serials=True) and not number_at(cell) for cell in inner)
    ):
        return Outline(_not_understood("no line of it names a row and a vine, and it is no matrix of words"))
    left = min(
        number
        for _, own in body
        for number, cell in enumerate(own)
        if is_filled(cell) and not (labelled and number == 0)
    )
    left = 1 if labelled else left
    labels = {number: str(number - left + 1) for number in range(left, len(body[0][1]))}
    why = "it has no headings: line after line is taken for row 1, 2, 3, cell after cell for vine 1, 2, 3"
    lines_are = (
        Choice("rows")
        if labelled and row_named(text_of(names[0]))
        else Choice("rows", "proposed", "nothing says whether a line is a row or a vine")
    )
    return Outline(
        Choice("matrix", "proposed", why),
        (),
        body[0][0],
        _titles(page, place),
        [],
        labels,
        0 if labelled else -1,
        lines_are,
    )


def _is_title(cells: Sequence[Any], page: Page) -> bool:
    texts = distinct_in(cells)
    if len(texts) > 2 or not texts:
        return not texts
    if len(page.lines) > 1 and len(page.lines[0][1]) < 3 and len(texts) == 2:
        return False
    first = next(text_of(cell) for cell in cells if is_filled(cell))
    return (
        not number_at(first)
        and not row_named(first)
        and (not guess_word(first).certain)
        and (len(first) > 3 or bool(block_named(first)))
    )


def _not_understood(why: str) -> Choice:
    layout: Layout = "left out"
    return Choice(layout, "proposed", why)


def _listed(body: Sequence[tuple[int, Sequence[Any]]]) -> list[tuple[Any, Any]]:
    """Return headings for lines of row, vine and word that have none, or nothing where lines are not so."""
    if len(body) < 3 or len(body[0][1]) < 3:
        return []
    pairs = [(number_at(cells[0]) or row_named(text_of(cells[0])), number_at(cells[1])) for _, cells in body]
    if not all(row and vine for row, vine in pairs):
        return []
    same = [before[0] == after[0] for before, after in pairwise(pairs)]
    up = [int(after[1]) > int(before[1]) for before, after in pairwise(pairs)]
    if not any(same) or not all(rising or not alike for alike, rising in zip(same, up, strict=True)):
        return []
    headings: list[tuple[Any, Any]] = [(None, "row"), (None, "vine")]
    for place in range(2, len(body[0][1])):
        cells = [own[place] for _, own in body if is_filled(own[place])]
        days = bool(cells) and all(day_key(cell) for cell in cells)
        words = [cell for cell in cells if guess_word(text_of(cell)).text or len(text_of(cell)) <= 3]
        headings.append(
            (
                None,
                "date" if days else "status" if cells and len(words) >= 0.5 * len(cells) else "note" if cells else None,
            )
        )
    return headings if any(low == "status" for _, low in headings) else []

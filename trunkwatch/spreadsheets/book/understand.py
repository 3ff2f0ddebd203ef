"""A sheet of a workbook understood: what it is, and what holds for all of it."""

import datetime as dt
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from trunkwatch.errors import RecordError
from trunkwatch.spreadsheets.book.columns import ROLES, columns_of
from trunkwatch.spreadsheets.book.days import day_in_text, day_key, is_day, order_of
from trunkwatch.spreadsheets.book.guess import guess_word, plain
from trunkwatch.spreadsheets.book.kept import Kept
from trunkwatch.spreadsheets.book.outline import Outline, outline_of
from trunkwatch.spreadsheets.book.pages import Page, is_filled
from trunkwatch.spreadsheets.book.plan import Choice, ColumnPlan, SheetPlan
from trunkwatch.spreadsheets.book.roles import GENERIC_SHEET, block_named, row_named
from trunkwatch.spreadsheets.cells import DayOrder
from trunkwatch.spreadsheets.located import plain_label, text_of

__all__ = ["Surroundings", "legend_of", "shape_of", "sheet_plan"]

_LEGEND = re.compile(r"\s*([^\s=:]{1,4})\s*(?:=|:|→|->|–)\s*([^=:]{2,60})\s*")
_LEGEND_SIGNS = ("=", ":", "→", "->", "–")
_YEAR = re.compile(r"(?:19|20)\d{2}")
_RANGE = re.compile(r"\s*\d{1,6}\s*[-–]\s*\d{1,6}\s*")


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What is known beside a sheet: the file, the other sheets, the blocks of the vineyard, the mapping that is kept."""

    stem: str
    sheets: int
    blocks: tuple[str, ...] = ()
    kept: Kept = field(default_factory=Kept)


def legend_of(pages: Sequence[Page]) -> dict[str, str]:
    """Return what a workbook itself says that its short words stand for: "X = dead arm"."""
    found: dict[str, str] = {}
    for page in pages:
        for _, cells in page.lines:
            for cell in cells:
                if isinstance(cell, str) and any(sign in cell for sign in _LEGEND_SIGNS):
                    found |= _pieces(text_of(cell))
        if re.search(r"\b(legend|key|codes?|leyenda|claves?|legende|legenda|simboli)\b", plain(page.name)):
            found |= {
                plain(text_of(own[0])): text_of(own[1])
                for _, own in page.lines
                if len(own) > 1 and is_filled(own[0]) and is_filled(own[1])
            }
    return found


def _pieces(text: str) -> dict[str, str]:
    pieces = [_LEGEND.fullmatch(piece) for piece in re.split(r"[,;|]|\s{2,}", text) if piece.strip()]
    known = [piece for piece in pieces if piece and guess_word(piece[2]).text]
    return {plain(piece[1]): piece[2].strip() for piece in known}


def shape_of(outline: Outline) -> str:
    """Return what two sheets of one kind have in common."""
    names = [text_of(part) for pair in outline.headings for part in pair if is_filled(part)]
    bare = [_YEAR.sub("year", plain(name)) for name in names] if outline.layout.value in ("table", "lists") else []
    return f"{outline.layout.value}: {', '.join(dict.fromkeys(bare))}".strip(": ")


def sheet_plan(page: Page, around: Surroundings) -> SheetPlan:
    """Understand one sheet.

    Raises
    ------
    RecordError
        If the mapping says something of it that cannot be.
    """
    outline = outline_of(page)
    shape = shape_of(outline)
    kept = around.kept.sheet(page.name, shape)
    body = [pair for pair in page.lines if pair[0] >= outline.begins]
    order, columns = Choice(""), []
    if outline.layout.value in ("table", "lists"):
        order = kept.choice("day_order", _order(outline, body), ("day", "month"))
        columns = columns_of(outline.headings, body, _as_order(order))
        columns = [_kept_column(column, kept.columns, page.name) for column in columns]
        if not any(column.role == "finding" for column in columns):
            outline.layout = Choice("left out", "proposed", "no column of it says what was seen on a vine")
    elif outline.layout.value == "matrix":
        columns = _matrix_columns(outline)
    if outline.layout.value == "table" and _counts_a_row(columns, body):
        outline.layout = Choice(
            "left out", "proposed", "one line a row with counts: nobody can tell which vines they are"
        )
    proposed = Choice("left out", "proposed", "it is hidden in the workbook") if page.hidden else outline.layout
    layout = kept.choice("is", proposed, ("table", "matrix", "lists", "left out"))
    if layout.value not in (outline.layout.value, "left out"):
        raise RecordError(
            f"sheet {page.name!r}: the mapping says that it is {layout.value!r}; it can be read as {outline.layout.value!r}, or be left out"
        )
    if layout.value == "left out":
        return SheetPlan(
            page.name,
            page.file,
            layout,
            shape=shape,
            columns=tuple(columns),
            heading_lines=outline.heading_lines,
            begins=outline.begins,
            notes=tuple(page.notes),
        )
    plan = SheetPlan(
        page.name,
        page.file,
        layout,
        outline.heading_lines,
        outline.begins,
        tuple(columns),
        order=order,
        shape=shape,
        notes=(*page.notes, *_notes(page, outline, body)),
    )
    return _with_choices(plan, page, outline, body, around)


def _with_choices(
    plan: SheetPlan, page: Page, outline: Outline, body: Sequence[tuple[int, Sequence[Any]]], around: Surroundings
) -> SheetPlan:
    kept = around.kept.sheet(page.name, plan.shape)
    same = around.kept.has_sheet(page.name)
    roles = {column.role for column in plan.columns}
    day = Choice("") if "date" in roles or _all_days(plan.columns) else _day(page, outline, around, plan.day_order)
    block = Choice("") if "block" in roles else _block(page, outline, around)
    row = Choice("") if roles & {"row", "place"} or plan.layout.value == "matrix" else _row(page, outline, body)
    colours = _colours(page, plan, body)
    return replace(
        plan,
        block=kept.choice("block", block) if same else block,
        day=_said_day(kept.choice("day", day), page.name) if same else day,
        row=kept.choice("row", row) if same else row,
        blank=kept.choice("blank", Choice("not scouted"), ("not scouted", "sound", "whole rows", "whole block")),
        colours=kept.choice("colors", colours, ("not read",)) if colours.value else colours,
        lines_are=kept.choice("lines_are", outline.lines_are, ("rows", "vines"))
        if outline.lines_are.value
        else Choice(""),
        hyphens=kept.choice("hyphens", _hyphens(plan, body), ("range",)) if _hyphens(plan, body).value else Choice(""),
        fill_down=kept.choice("fill_down", _fill_down(plan, body), ("yes", "no"))
        if _fill_down(plan, body).value
        else Choice(""),
    )


#: Headings of a column that counts vines, where each row has one line.
_MANY = frozenset(
    [
        "vines",
        "plants",
        "ceps",
        "pieds",
        "cepas",
        "plantas",
        "viti",
        "piante",
        "ceppi",
        "reben",
        "rebstocke",
        "stocke",
        "videiras",
        "number",
        "count",
        "n",
        "total",
    ]
)


def _counts_a_row(columns: Sequence[ColumnPlan], body: Sequence[tuple[int, Sequence[Any]]]) -> bool:
    """Tell whether lines are rows with a count of vines, and not vines: a heading in the plural, and no row twice."""
    row = next((column.place for column in columns if column.role == "row"), None)
    counted = next((column for column in columns if column.role == "position" and plain(column.heading) in _MANY), None)
    if row is None or counted is None:
        return False
    block = next((column.place for column in columns if column.role == "block"), None)
    named = [
        (text_of(own[block]) if block is not None else "", text_of(own[row]))
        for _, own in body
        if is_filled(own[row]) and is_filled(own[counted.place])
    ]
    return len(named) > 1 and len(set(named)) == len(named)


def _said_day(day: Choice, sheet: str) -> Choice:
    """Return the key of a day that the mapping gives to a sheet."""
    if day.sure != "said":
        return day
    key = day_key(day.value)
    if not key:
        raise RecordError(f"sheet {sheet!r}: the mapping says day {day.value!r}: write it as YYYY-MM-DD, or a year")
    return Choice(key, "said")


def _as_order(order: Choice) -> DayOrder:
    return "day" if order.value == "day" else "month" if order.value == "month" else ""


def _kept_column(column: ColumnPlan, kept: Mapping[str, str], sheet: str) -> ColumnPlan:
    said = kept.get(column.heading) or kept.get(_YEAR.sub("year", column.heading))
    if not said or said == "ask":
        return column
    role, _, day = said.partition(" on ")
    if role not in ROLES:
        raise RecordError(
            f"sheet {sheet!r}, column {column.heading!r}: the mapping says {said!r}, which is none of {', '.join(ROLES)}"
        )
    own = day_key(day) if day else ""
    if day and not own:
        raise RecordError(
            f"sheet {sheet!r}, column {column.heading!r}: {day!r} is no day: write 2024, or a day as YYYY-MM-DD, behind `finding on`"
        )
    return replace(column, role=role, day=own or column.day, sure="said", why="")


_MAY_BE_TWO = re.compile(r"\s*\d{1,2}[./-]\d{1,2}[./-]\d{2,4}\s*")


def _order(outline: Outline, body: Sequence[tuple[int, Sequence[Any]]]) -> Choice:
    """Tell how days like 03/04/2026 are written, as far as the sheet shows it."""
    texts = [cell for pair in outline.headings for cell in pair if isinstance(cell, str)]
    columns = [place for place, pair in enumerate(outline.headings) if any(_is_date(cell) for cell in pair)]
    texts += [own[place] for _, own in body for place in columns if isinstance(own[place], str)]
    texts += outline.titles
    real = [own[place] for _, own in body for place in columns if isinstance(own[place], dt.datetime)]
    written = next(
        (
            cell
            for _, own in body
            for place in columns
            if isinstance(cell := own[place], str) and re.fullmatch(r"\s*\d{1,2}[./-]\d{1,2}[./-]\d{2,4}\s*", cell)
        ),
        "",
    )
    if written and real and all(day.day <= 12 for day in real):
        return Choice(
            "ask",
            "ask",
            f"some days are dates and others text ({written}): the program may have taken the month for the day in the dates; look them over, then say day or month",
        )
    order, either = order_of(list(dict.fromkeys(texts)))
    if order:
        return Choice(order)
    if (
        either
        and re.fullmatch(r"\s*\d{1,2}\.\d{1,2}\.\d{2,4}\s*", either)
        and all(re.fullmatch(r"\s*\d{1,2}\.\d{1,2}\.\d{2,4}\s*", text) for text in texts if _MAY_BE_TWO.fullmatch(text))
    ):
        return Choice("day", "proposed", f"{either}: days with dots are written with the day first")
    return (
        Choice("ask", "ask", f"{either} may be two days: say day or month, whichever is written first")
        if either
        else Choice("")
    )


def _is_date(cell: Any) -> bool:
    from trunkwatch.spreadsheets.book.roles import role_of

    return isinstance(cell, str) and role_of(cell) == "date"


def _all_days(columns: Sequence[ColumnPlan]) -> bool:
    findings = [column for column in columns if column.role == "finding"]
    return bool(findings) and all(column.day for column in findings)


def _matrix_columns(outline: Outline) -> list[ColumnPlan]:
    columns = [ColumnPlan(outline.label_place, "labels of the lines", "label")] if outline.label_place >= 0 else []
    columns += [ColumnPlan(place, label, "cell") for place, label in outline.labels.items()]
    for place, (_, lower) in enumerate(outline.headings):
        if is_filled(lower) and place not in outline.labels and place != outline.label_place:
            columns.append(ColumnPlan(place, text_of(lower), "left out", why="it is no vine"))
    return columns


def _day(page: Page, outline: Outline, around: Surroundings, order: DayOrder) -> Choice:
    """Find the day of a whole sheet: in its titles, its name, the name of the file."""
    titles = [key for text in outline.titles if (key := day_in_text(text, order)[0])]
    named = day_in_text(page.name, order)[0]
    full = [key for key in titles if is_day(key)]
    best = (full or titles or [""])[0]
    if len({*full}) > 1:
        return Choice(
            "ask", "ask", f"its titles name several days ({', '.join(dict.fromkeys(full))}): say which one it is"
        )
    if best and named and best[:4] not in named and named[-4:] not in best:
        return Choice("ask", "ask", f"its title says {best}, its name {named}: say the day of the inspection")
    if best or named:
        return Choice(named if is_day(named) or not best else best)
    in_file = day_in_text(around.stem, order)[0]
    if in_file:
        return Choice(in_file, "proposed", "from the name of the file")
    return Choice("ask", "ask", "nothing says on which day it was scouted: write the day as YYYY-MM-DD, or the year")


def _block(page: Page, outline: Outline, around: Surroundings) -> Choice:
    """Find the block of a whole sheet: in its titles, its name, the vineyard, the name of the file."""
    rest = re.sub(r"\s{2,}", " ", day_in_text(page.name.partition(" (")[0])[1]).strip(" -_")
    inner = re.search(r"\((.*)\)$", page.name)
    candidates = [text for text in (inner[1] if inner else "", page.name, rest) if text]
    by_plain = {plain_label(label): label for label in around.blocks}
    for text in candidates:
        named = block_named(text) or text
        if plain_label(named) in by_plain:
            return Choice(by_plain[plain_label(named)])
    for text in [*outline.titles, *candidates]:
        if label := block_named(day_in_text(text)[1] or text):
            return Choice(by_plain.get(plain_label(label), label))
    for text in outline.titles:
        known = [label for label in around.blocks if re.search(rf"\b{re.escape(plain(label))}\b", plain(text))]
        if len(known) == 1:
            return Choice(known[0], "proposed", "from its title")
    if len(around.blocks) == 1:
        return Choice(around.blocks[0], "proposed", "the only block of the vineyard")
    if inner and not row_named(inner[1]) and not day_in_text(inner[1])[0]:
        return Choice(inner[1], "proposed", "from its title")
    if rest and not _generic(rest) and not row_named(rest):
        return Choice(rest, "certain" if around.sheets > 1 else "proposed", "from the name of the sheet")
    if around.sheets > 1 and rest.isdecimal() and len(rest) < 4:
        return Choice(rest, "proposed", "from the name of the sheet")
    stem = re.sub(r"[\s_-]+", " ", day_in_text(around.stem)[1]).strip()
    if len(around.blocks) > 1:
        return Choice("ask", "ask", f"nothing says which block it is of: {', '.join(around.blocks)}, or a new one")
    return Choice(
        stem if stem and not _generic(stem) else "Block 1", "proposed", "nothing says what the block is called"
    )


def _generic(name: str) -> bool:
    bare = plain(name).strip()
    return (
        bool(re.fullmatch(GENERIC_SHEET, bare))
        or bare.isdecimal()
        or all(re.fullmatch(GENERIC_SHEET, word) or word.isdecimal() for word in bare.split())
    )


def _row(page: Page, outline: Outline, body: Sequence[tuple[int, Sequence[Any]]]) -> Choice:
    """Find the row of a sheet without a column of rows: lines between name it, or the sheet does."""
    if any(
        len({text_of(cell) for cell in cells if is_filled(cell)}) == 1
        and row_named(next(text_of(cell) for cell in cells if is_filled(cell)))
        for _, cells in body
    ):
        return Choice("")
    for text in (page.name, *outline.titles):
        if label := row_named(text):
            return Choice(label)
    return Choice("ask", "ask", "no column names the row: write the row that all of the sheet is of")


def _hyphens(plan: SheetPlan, body: Sequence[tuple[int, Sequence[Any]]]) -> Choice:
    places = [column.place for column in plan.columns if column.role == "position"]
    if plan.layout.value == "lists":
        places = [column.place for column in plan.columns if column.role == "finding"]
    seen = next(
        (
            text_of(own[place])
            for _, own in body
            for place in places
            if isinstance(own[place], str) and _RANGE.search(own[place])
        ),
        "",
    )
    return (
        Choice("range", "proposed", f"{seen} is taken for all vines from the first number to the second")
        if seen
        else Choice("")
    )


def _fill_down(plan: SheetPlan, body: Sequence[tuple[int, Sequence[Any]]]) -> Choice:
    """Propose that a blank row or block is that of the line above, where vines stand beside it."""
    row = next((column.place for column in plan.columns if column.role == "row"), None)
    above = next((column.place for column in plan.columns if column.role == "block"), None)
    position = next((column.place for column in plan.columns if column.role == "position"), None)
    if row is None or position is None or plan.layout.value != "table":
        return Choice("")
    blank = sum(
        1
        for _, own in body
        if (not is_filled(own[row]) or (above is not None and not is_filled(own[above])))
        and is_filled(own[position])
        and text_of(own[position])[:1].isdecimal()
    )
    return (
        Choice(
            "yes", "proposed", f"{blank:,} lines have a vine and no row or block: that of the line above holds for them"
        )
        if blank
        else Choice("")
    )


def _colours(page: Page, plan: SheetPlan, body: Sequence[tuple[int, Sequence[Any]]]) -> Choice:
    """Ask where a colour may say something that no word says: on blank cells, or on some of the cells with the same word."""
    if not page.coloured:
        return Choice("")
    places = [column.place for column in plan.columns if column.role in ("finding", "cell")]
    colours: dict[str, Counter[int]] = {}
    blank = count = 0
    for line, own in body:
        painted = [page.coloured.get((line, place), 0) for place in places]
        striped = (
            len(set(painted)) == 1
            and painted[0] != 0
            and page.coloured.get((line, plan.columns[0].place), 0) == painted[0]
            and len(plan.columns) > len(places)
        )
        for place, colour in zip(places, painted, strict=True):
            if colour and not (striped and colour > 0):
                blank, count = blank + (not is_filled(own[place])), count + 1
            if is_filled(own[place]) and not striped:
                colours.setdefault(plain(text_of(own[place])), Counter())[colour] += 1
    mixed = any(len(counts) > 1 for counts in colours.values())
    if not count:
        whole = sum(1 for line, _ in body for place in places if (line, place) in page.coloured)
        return (
            Choice("not read", "certain", f"{whole:,} cells lie in colored lines; colors are not read")
            if whole
            else Choice("")
        )
    if blank or mixed:
        why = (
            f"{count:,} cells are colored or struck through, {blank:,} of them blank. Colors are not read: write what they mean into the cells "
            "as words, or say here that they are not read"
        )
        return Choice("ask", "ask", why)
    return Choice(
        "not read", "certain", f"{count:,} cells are colored, always with the same words; colors are not read"
    )


def _notes(page: Page, outline: Outline, body: Sequence[tuple[int, Sequence[Any]]]) -> list[str]:
    notes = []
    if outline.titles:
        notes.append(f"{len(outline.titles)} line(s) of title above: {outline.titles[0][:60]}")
    if page.merged:
        notes.append(f"{page.merged:,} merged area(s) are filled with what stands in their first cell")
    if page.comments:
        notes.append(
            f"{page.comments:,} comment(s) hang on cells of the workbook: they are not read; write into cells what counts"
        )
    if not body:
        notes.append("no line stands below the headings")
    return notes

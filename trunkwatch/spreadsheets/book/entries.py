"""The cells of a sheet as entries: one for each vine, day and finding column, blank cells too."""

import datetime as dt
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from trunkwatch.spreadsheets.book.columns import place_in
from trunkwatch.spreadsheets.book.days import day_key
from trunkwatch.spreadsheets.book.guess import guess_word
from trunkwatch.spreadsheets.book.outline import is_total, line_text
from trunkwatch.spreadsheets.book.pages import Page, column_letters, is_filled
from trunkwatch.spreadsheets.book.plan import Cause, ColumnPlan, Entry, SheetPlan
from trunkwatch.spreadsheets.book.roles import block_named, row_label, row_named, vine_named
from trunkwatch.spreadsheets.located import plain_label, status_of, text_of
from trunkwatch.vineyard.row_cells import HIGHEST_POSITION

__all__ = ["Causes", "entries_of", "positions_in"]

_RANGE = re.compile(r"(\d{1,6})\s*(\.\.+|…|-|–|to|bis|al?|à)\s*(\d{1,6})(?:\s*/\s*(\d{1,4}))?", re.IGNORECASE)
_NUMBERS_OF_A_DAY = re.compile(r"\s*(\d{1,2})[/.-](\d{1,2})[/.-]\d{2,4}\b")
_LEGEND = re.compile(r"\s*\S{1,4}\s*(?:=|:|→|->)\s*\D.*")
#: A range of more vines than this in one cell is a slip.
_MOST = 2_000


@dataclass(slots=True)
class Causes:
    """Faults gathered by their cause."""

    found: dict[tuple[str, str, bool], list[str]] = field(default_factory=dict)
    counts: dict[tuple[str, str, bool], int] = field(default_factory=dict)

    def add(self, problem: str, example: str, way_out: str, *, stops: bool = True) -> None:
        """Count a fault; the first of each cause is the example."""
        key = (problem, way_out, stops)
        self.counts[key] = self.counts.get(key, 0) + 1
        self.found.setdefault(key, [example])

    def listed(self) -> tuple[Cause, ...]:
        """Return one cause for each kind of fault, those that stop first."""
        causes = [
            Cause(problem, self.counts[key], self.found[key][0], way, stops)
            for key in self.counts
            for problem, way, stops in [key]
        ]
        return tuple(sorted(causes, key=lambda cause: not cause.stops))


@lru_cache(maxsize=4_096)
def _explains(label: str) -> bool:
    return bool(_LEGEND.fullmatch(label))


def positions_in(raw: Any, *, hyphens: bool) -> list[int] | str:
    """Return the positions that a cell names (12, V12, 1..16, 1..16/2, "3, 5, 9"), or what is wrong with it.

    Parameters
    ----------
    raw : object
        Cell.
    hyphens : bool
        Whether 5-8 is a range.
    """
    if isinstance(raw, (dt.datetime, dt.date)):
        return "a spreadsheet has turned this position into a date"
    text = text_of(raw)
    bare = text if text.isdecimal() else vine_named(text) or text
    if bare.isascii() and bare.isdecimal() and len(bare) < 7:
        return [int(bare)]
    found: list[int] = []
    for part in (piece.strip() for piece in re.split(r"\s*(?:[,;+&]|\band\b|\by\b|\bund\b|\bet\b|\be\b)\s*", bare)):
        if re.fullmatch(r"\d{1,6}", part):
            found.append(int(part))
            continue
        span = _RANGE.fullmatch(part)
        if not span or (span[2] in "-–" and not hyphens):
            return "this is no position" if text else "no position is written"
        first, last, step = int(span[1]), int(span[3]), int(span[4] or 1)
        if last < first or step < 1 or last - first > _MOST or last > HIGHEST_POSITION:
            return "this range of positions cannot be"
        found += range(first, last + 1, step)
    return found


def entries_of(number: int, page: Page, plan: SheetPlan, blocks: Iterable[str], causes: Causes) -> list[Entry]:
    """Return the entries of a sheet, and gather what is wrong in it.

    Parameters
    ----------
    number : int
        Which sheet of the book it is.
    page, plan : Page, SheetPlan
        Its cells, and how they are read.
    blocks : iterable of str
        Blocks that are known, by which a line between is recognised.
    causes : Causes
        Where faults are gathered.
    """
    reader = _Reader(number, page, plan, {plain_label(label): label for label in blocks}, causes)
    return list(reader.matrix() if plan.layout.value == "matrix" else reader.table())


class _Reader:
    """Reads the lines of one sheet from top to bottom."""

    def __init__(self, number: int, page: Page, plan: SheetPlan, blocks: dict[str, str], causes: Causes) -> None:
        self.number, self.page, self.plan, self.blocks, self.causes = number, page, plan, blocks, causes
        self.block, self.row, self.last_row = plan.block.value, row_label(plan.row.value), ""
        self.columns: dict[str, list[ColumnPlan]] = {}
        for column in plan.columns:
            self.columns.setdefault(column.role, []).append(column)
        self.findings = self.columns.get("finding", [])
        self.serials = True
        self.labels: dict[str, str] = {}
        self.no_result = set(page.no_result)
        self.first_label = min(
            (column.place for column in plan.columns if column.role in ("row", "position", "block", "place")), default=0
        )

    # -- tables ------------------------------------------------------------------------------------------------

    def table(self) -> Iterator[Entry]:
        heading = self._heading()
        for line, cells in self.page.lines:
            if line < self.plan.begins or self._is_passed(line, cells, heading):
                continue
            yield from self._line(line, cells)

    def _heading(self) -> list[str]:
        last = self.plan.heading_lines[-1] if self.plan.heading_lines else -1
        return next(([text_of(cell) for cell in cells] for line, cells in self.page.lines if line == last), [])

    def _is_passed(self, line: int, cells: Sequence[Any], heading: list[str]) -> bool:
        """Pass over headings that come again, sums, lines that name a row or block for what follows, and legends."""
        first = cells[self.first_label]
        if isinstance(first, (int, float)):
            return False
        label = text_of(first) or next((text_of(cell) for cell in cells if is_filled(cell)), "")
        if heading and label in heading and [text_of(cell) for cell in cells] == heading:
            return True
        if not label[:1].isdecimal() and is_total(label):
            self._note("lines of sums are left out", line, line_text(cells), "nothing, if they are sums")
            return True
        if all(
            not is_filled(cell) or cell is first or text_of(cell) == label for cell in cells
        ) and self._names_section(label):
            return True
        if _explains(label) and not self._has_row(cells):
            self._note(
                "lines that explain words are left out",
                line,
                line_text(cells),
                "nothing, if they explain what words mean",
            )
            return True
        return False

    def _has_row(self, cells: Sequence[Any]) -> bool:
        return any(row_label(text_of(cells[column.place]))[:1].isdecimal() for column in self.columns.get("row", ()))

    def _names_section(self, text: str) -> bool:
        if label := row_named(text):
            self.row = label
            return True
        named = block_named(text)
        if named or plain_label(text) in self.blocks:
            self.block = self.blocks.get(plain_label(named or text), named)
            return True
        return False

    def _line(self, line: int, cells: Sequence[Any]) -> Iterator[Entry]:
        says = any(is_filled(cells[column.place]) for column in self.findings)
        block, row = self._label("block", cells) or self.block, ""
        positions: list[int] | str
        if "place" in self.columns:
            cell = cells[self.columns["place"][0].place]
            place = place_in(text_of(cell))
            row, positions = (place[0], [place[1]]) if place else ("", "this names no row and vine")
            raw = cell
        elif self.plan.layout.value == "lists":
            yield from self._lists(line, cells, block)
            return
        else:
            row = self._row(cells)
            raw = cells[self.columns["position"][0].place] if "position" in self.columns else None
            positions = positions_in(raw, hyphens=self.plan.hyphens.value == "range")
        if not is_filled(raw) and not (row and says):
            self._nameless(line, cells, says=says)
            return
        if isinstance(positions, str):
            self._wrong(
                f"{positions}",
                line,
                "position",
                text_of(raw),
                "the number of the vine in its row; several as 3, 5, 9 or 1..16, in a column formatted as text",
            )
            return
        if not row:
            self._wrong(
                "no row is written beside the vine",
                line,
                "row",
                line_text(cells)[:60],
                'write the row in every line, or fill_down = "yes" where the line above holds',
            )
            return
        if not block:
            self._wrong(
                "no block is written beside the vine",
                line,
                "block",
                line_text(cells)[:60],
                'write the block in every line, or fill_down = "yes" where the line above holds',
            )
            return
        yield from self._said(line, cells, block, row, positions)

    def _said(self, line: int, cells: Sequence[Any], block: str, row: str, positions: list[int]) -> Iterator[Entry]:
        own_day = self._day(line, cells)
        observer, arm, trunk = (self._label(role, cells) for role in ("observer", "arm", "trunk"))
        cultivar = self._label("cultivar", cells)
        last = max((column.day for column in self.findings if is_filled(cells[column.place])), default="")
        for column in self.findings:
            day = column.day or own_day
            if day is None:
                return
            word = self._word(line, column, cells)
            note = self._note_of(cells, day, last)
            for position in positions:
                yield Entry(
                    self.number,
                    line,
                    column.heading,
                    block,
                    row,
                    position,
                    day,
                    column.context,
                    word,
                    note,
                    observer,
                    arm,
                    trunk,
                    cultivar,
                )

    def _note_of(self, cells: Sequence[Any], day: str, last: str) -> str:
        """Return the notes of a day; a note without a day is of the last day that has a word in the line."""
        own = (
            column
            for column in self.columns.get("note", ())
            if column.day == day or (not column.day and last in ("", day))
        )
        return "; ".join(text for column in own if (text := text_of(cells[column.place])))

    def _word(self, line: int, column: ColumnPlan, cells: Sequence[Any]) -> str:
        cell = cells[column.place]
        if not is_filled(cell):
            if (line, column.place) in self.no_result:
                self._wrong(
                    "the result of this formula was not saved in the file",
                    line,
                    column.heading,
                    f"{column_letters(column.place)}{line}",
                    "open and save the file in your spreadsheet program, or paste the values",
                )
            return ""
        return status_of(cell)

    def _lists(self, line: int, cells: Sequence[Any], block: str) -> Iterator[Entry]:
        row, day = self._row(cells), self._day(line, cells)
        filled = [column for column in self.findings if is_filled(cells[column.place])]
        if not row:
            self._nameless(line, cells, says=bool(filled))
            return
        for column in filled:
            own = column.day or day
            if own is None:
                return
            text = text_of(cells[column.place])
            if guess_word(text).text in ("not scouted", "sound"):
                continue
            positions = positions_in(cells[column.place], hyphens=self.plan.hyphens.value == "range")
            if isinstance(positions, str):
                self._wrong(
                    positions,
                    line,
                    column.heading,
                    text,
                    "positions as 3, 5, 9 or 1..16, in a column formatted as text",
                )
                continue
            for position in positions:
                yield Entry(
                    self.number,
                    line,
                    column.heading,
                    block,
                    row,
                    position,
                    own,
                    "",
                    column.context or ("listed" if column.day else column.heading),
                )

    def _nameless(self, line: int, cells: Sequence[Any], *, says: bool) -> None:
        if says:
            self._wrong(
                "the line has a word and names no vine",
                line,
                "",
                line_text(cells)[:60],
                "write row and vine beside it, or take the line out",
            )
        else:
            self._note(
                "lines that name no vine are left out", line, line_text(cells)[:60], "nothing, if they are remarks"
            )

    def _row(self, cells: Sequence[Any]) -> str:
        if "row" not in self.columns:
            return self.row
        cell = cells[self.columns["row"][0].place]
        if isinstance(cell, (dt.datetime, dt.date)):
            return text_of(cell)
        row = row_label(text_of(cell))
        if row:
            self.last_row = row
            return row
        return (self.last_row if self.plan.fill_down.value == "yes" else "") or self.row

    def _label(self, role: str, cells: Sequence[Any]) -> str:
        if role not in self.columns:
            return ""
        text = text_of(cells[self.columns[role][0].place])
        if role != "block":
            return text
        label = block_named(text) or text
        if not label and self.plan.fill_down.value == "yes":
            return self.labels.get(role, "")
        self.labels[role] = label
        return label

    def _day(self, line: int, cells: Sequence[Any]) -> str | None:
        """Return the day of a line: "" where the columns have days of their own, None where it cannot be read."""
        if "date" not in self.columns:
            return self.plan.day.value
        column = self.columns["date"][0]
        raw = cells[column.place]
        if not is_filled(raw):
            if all(finding.day for finding in self.findings):
                return ""
            self._wrong(
                "no day is written", line, column.heading, line_text(cells)[:60], "write the day into every line"
            )
            return None
        day = day_key(raw, self.plan.day_order, serials=True)
        if day and self._is_of_other_order(text_of(raw)):
            self._wrong(
                f"a day is written the other way round, where the {self.plan.day_order} comes first in the others",
                line,
                column.heading,
                text_of(raw),
                "a day as YYYY-MM-DD in every line",
            )
            return None
        if day:
            return day
        if self.plan.order.value == "ask":
            return "ask"
        self._wrong("this is no day", line, column.heading, text_of(raw), "a real day as YYYY-MM-DD")
        return None

    def _is_of_other_order(self, text: str) -> bool:
        """Tell whether a day has one reading only, and that is not in the order of its column: then no other can be trusted."""
        found = _NUMBERS_OF_A_DAY.match(text)
        if not found or not self.plan.day_order:
            return False
        first, second = int(found[1]), int(found[2])
        return second > 12 if self.plan.day_order == "day" else first > 12

    # -- matrices ----------------------------------------------------------------------------------------------

    def matrix(self) -> Iterator[Entry]:
        label = self.columns.get("label", [None])[0]
        rows = self.plan.lines_are.value != "vines"
        numbered = label is not None and self._are_numbered(label)
        for line, cells in self.page.lines:
            if line < self.plan.begins:
                continue
            name = text_of(cells[label.place]) if label else str(line - self.plan.begins + 1)
            filled = any(is_filled(cells[column.place]) for column in self.columns.get("cell", ()))
            first = next((text_of(cell) for cell in cells if is_filled(cell)), "")
            if is_total(name or first) or (_LEGEND.fullmatch(first) and not row_named(first)):
                self._note(
                    "lines of sums and of explanations are left out",
                    line,
                    line_text(cells)[:60],
                    "nothing, if no vine stands in them",
                )
                continue
            if not name:
                if filled:
                    self._wrong(
                        "the line has words and no label",
                        line,
                        "",
                        line_text(cells)[:60],
                        "write the row before it, or take the line out",
                    )
                continue
            if filled and label and numbered and not self._is_label(name):
                self._wrong(
                    "a line among numbered rows has a name that is no row",
                    line,
                    "",
                    line_text(cells)[:60],
                    "take it out if it holds sums or a remark, or give the row its number",
                )
                continue
            if not filled and label and not self._is_label(name):
                self._note("lines that name no vine are left out", line, name[:60], "nothing, if they are remarks")
                continue
            yield from self._matrix_line(line, cells, name, rows=rows)

    def _are_numbered(self, label: ColumnPlan) -> bool:
        """Tell whether nearly all lines of a grid are named by a number: then a word is none of them."""
        names = [text_of(cells[label.place]) for line, cells in self.page.lines if line >= self.plan.begins]
        named = [name for name in names if name]
        return len(named) > 1 and 2 * sum(name[:1].isdecimal() or bool(row_named(name)) for name in named) > len(named)

    def _is_label(self, name: str) -> bool:
        return (
            bool(row_named(name) or vine_named(name))
            or bool(re.fullmatch(r"\d{1,6}\s*[A-Za-z]?", name))
            or (len(name) <= 3 and not guess_word(name).text)
        )

    def _matrix_line(self, line: int, cells: Sequence[Any], name: str, *, rows: bool) -> Iterator[Entry]:
        own = row_label(name) if rows else vine_named(name) or name
        if not rows and not own.isdecimal():
            self._wrong("this is no position", line, "", name, "the number of the vine in its row")
            return
        if rows and isinstance(
            cells[self.columns["label"][0].place] if "label" in self.columns else None, (dt.datetime, dt.date)
        ):
            self._wrong(
                "a spreadsheet has turned this row into a date",
                line,
                "",
                name,
                "the label of the row, in a column formatted as text",
            )
            return
        for column in self.columns.get("cell", ()):
            row, position = (own, column.heading) if rows else (column.heading, own)
            if not position.isdecimal():
                self._wrong("this is no position", line, column.heading, position, "the number of the vine in its row")
                return
            yield Entry(
                self.number,
                line,
                column_letters(column.place),
                self.block,
                row,
                int(position),
                self.plan.day.value,
                "",
                self._word(line, column, cells),
            )

    # -- faults ------------------------------------------------------------------------------------------------

    def _wrong(self, problem: str, line: int, column: str, value: str, way_out: str) -> None:
        where = f"{self.page.file} line {line}" + (f", column {column}" if column else "")
        self.causes.add(problem, f"{where}: {value!r}", way_out)

    def _note(self, problem: str, line: int, value: str, way_out: str) -> None:
        self.causes.add(problem, f"{self.page.file} line {line}: {value!r}", way_out, stops=False)

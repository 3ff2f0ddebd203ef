"""What was understood of a workbook, before anything of it is taken: values, for whoever shows or confirms them."""

from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from trunkwatch.spreadsheets.cells import DayOrder

__all__ = [
    "BlockFacts", "BookPlan", "Cause", "Choice", "ColumnPlan", "DayPlan", "Entry", "Layout", "SheetPlan", "Sure", "WordPlan",
]  # fmt: skip

#: How far something is known: said by the mapping, beyond doubt, proposed, or to be asked.
Sure = Literal["said", "certain", "proposed", "ask"]
#: How a sheet is laid out.
Layout = Literal["table", "matrix", "lists", "left out"]


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing that the mapping file may change, how far it is known, and why."""

    value: str
    sure: Sure = "certain"
    why: str = ""


@dataclass(frozen=True, slots=True)
class ColumnPlan:
    """A column of a sheet.

    Attributes
    ----------
    place : int
        0 is the first.
    heading : str
        As written, both header lines joined; of a column without a heading, its letters.
    role : str
        row, position, block, date, place, arm, trunk, note, observer, cultivar, finding or left out.
    day : str
        Key of the day that the heading names.
    context : str
        What the heading names, where that says what a mark under it means.
    """

    place: int
    heading: str
    role: str
    day: str = ""
    context: str = ""
    sure: Sure = "certain"
    why: str = ""


@dataclass(frozen=True, slots=True)
class SheetPlan:
    """A sheet: what it is, and how it is read.

    Attributes
    ----------
    name : str
        Name of the sheet.
    layout : Choice
        A `Layout`, and why.
    heading_lines : tuple of int
        Lines of the file that hold the headings; empty where there are none.
    begins : int
        First line of the file that tells of vines.
    columns : tuple of ColumnPlan
        Of a table.
    block, row, day : Choice
        Of all of the sheet, where no column has it; empty values where one has.
    order : Choice
        day, month or empty: how days like 03/04/2026 are written.
    blank : Choice
        not looked at, sound, or whole block: what a blank cell, or a vine that no line names, means.
    colours : Choice
        not read, or ask: what becomes of cells whose colour may mean something.
    lines_are : Choice
        rows or vines, of a matrix.
    hyphens : Choice
        range or ask: what 5-8 in a column of positions is.
    fill_down : Choice
        yes or no: whether a blank row label is that of the line above.
    shape : str
        What two sheets of one kind have in common: layout and headings, years left out.
    notes : tuple of str
        What was left out or read in a way that the writer should know.
    """

    name: str
    file: str
    layout: Choice
    heading_lines: tuple[int, ...] = ()
    begins: int = 1
    columns: tuple[ColumnPlan, ...] = ()
    block: Choice = Choice("")
    row: Choice = Choice("")
    day: Choice = Choice("")
    order: Choice = Choice("")
    blank: Choice = Choice("not scouted")
    colours: Choice = Choice("")
    lines_are: Choice = Choice("")
    hyphens: Choice = Choice("")
    fill_down: Choice = Choice("")
    shape: str = ""
    entries: int = 0
    notes: tuple[str, ...] = ()

    @property
    def day_order(self) -> DayOrder:
        """Which comes first in days like 03/04/2026."""
        return "day" if self.order.value == "day" else "month" if self.order.value == "month" else ""


class Entry(NamedTuple):
    """What one cell says of one vine on one day; `word` is empty where the cell is blank."""

    sheet: int
    line: int
    column: str
    block: str
    row: str
    position: int
    day: str
    context: str
    word: str
    note: str = ""
    observer: str = ""
    arm: str = ""
    trunk: str = ""
    cultivar: str = ""


@dataclass(frozen=True, slots=True)
class WordPlan:
    """A distinct word, what stands above it where that counts, how often it stands, and its meaning ("ask" for none)."""

    word: str
    context: str
    key: str
    count: int
    sheet: str
    line: int
    meaning: Choice


@dataclass(frozen=True, slots=True)
class DayPlan:
    """A year, a month or a look that needs a day."""

    key: str
    count: int
    meaning: Choice


@dataclass(frozen=True, slots=True)
class BlockFacts:
    """A block that is to be made, with the facts that no sheet tells."""

    label: str
    rows: tuple[tuple[str, int, int], ...]  # label, first and last position
    hemisphere: Choice
    planted: str = ""
    row_spacing_m: str = ""
    vine_spacing_m: str = ""
    rows_between: Choice = Choice("")
    divided_rows: Choice = Choice("")
    from_far_end: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause of faults: how many there are, one of them, and the way out."""

    problem: str
    count: int
    example: str
    way_out: str
    stops: bool = True

    def __str__(self) -> str:
        many = f"{self.count:,} times" if self.count > 1 else "once"
        return f"{self.problem} ({many}; for example {self.example}): {self.way_out}"


@dataclass(frozen=True, slots=True)
class BookPlan:
    """All that was understood of a workbook."""

    file: str
    sheets: tuple[SheetPlan, ...]
    words: tuple[WordPlan, ...]
    days: tuple[DayPlan, ...]
    sides: tuple[tuple[str, Choice], ...]
    blocks: tuple[BlockFacts, ...]
    causes: tuple[Cause, ...]
    entries: tuple[Entry, ...] = field(default=(), repr=False)
    legend: tuple[tuple[str, str], ...] = ()

    def choices(self) -> list[tuple[str, Choice]]:
        """Return everything that may be changed, each with what it is about."""
        found: list[tuple[str, Choice]] = []
        for sheet in self.sheets:
            where = f"sheet {sheet.name}"
            found.append((f"{where}, what it is", sheet.layout))
            if sheet.layout.value == "left out":
                continue
            names = ("block", "row", "day", "order", "blank", "colours", "lines_are", "hyphens", "fill_down")
            told = {"order": "day order", "colours": "colors"}
            found += [(f"{where}, {told.get(name, name.replace('_', ' '))}", getattr(sheet, name)) for name in names]
            found += [
                (f"{where}, column {column.heading}", Choice(column.role, column.sure, column.why))
                for column in sheet.columns
            ]
        found += [(f"word {word_label(word.context, word.word)!r}", word.meaning) for word in self.words]
        found += [(f"the day of {day.key!r}", day.meaning) for day in self.days]
        found += [(f"side {side}", choice) for side, choice in self.sides]
        for block in self.blocks:
            found += [
                (f"block {block.label}, hemisphere", block.hemisphere),
                (f"block {block.label}, rows between", block.rows_between),
                (f"block {block.label}, divided rows", block.divided_rows),
            ]
        return found

    @property
    def asked(self) -> list[tuple[str, Choice]]:
        """What waits for an answer: nothing is taken before it has one."""
        return [(about, choice) for about, choice in self.choices() if choice.sure == "ask"]

    @property
    def proposed(self) -> list[tuple[str, Choice]]:
        """What is proposed, and taken once it was looked over."""
        return [(about, choice) for about, choice in self.choices() if choice.sure == "proposed"]


def word_label(context: str, word: str) -> str:
    """Return how the mapping file names a word: with its heading where that counts."""
    return f"{context}: {word}" if context else word

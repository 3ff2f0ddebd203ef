"""The form of a workbook: a field for each thing that may be said of it, and the answers as a mapping file has them."""

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from trunkwatch.errors import RecordError
from trunkwatch.intake.row_text import METERS_IN
from trunkwatch.spreadsheets.book.columns import ROLES
from trunkwatch.spreadsheets.book.days import day_key
from trunkwatch.spreadsheets.book.meaning import read_meaning
from trunkwatch.spreadsheets.book.plan import BlockFacts, BookPlan, Choice, SheetPlan, WordPlan, word_label
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.calendar import is_iso_date

__all__ = ["BookForm", "Field", "SheetPart", "answers_of", "book_form", "in_words"]

#: So many words of each kind are shown; those that wait come first, and the next follow when these have a meaning.
MOST_WORDS = 300
_KINDS: Mapping[str, str] = {
    "sound": "scouted, nothing seen", "not scouted": "not scouted", "no vine": "no vine there",
    "replanted": "replanted, a young vine",
}  # fmt: skip
_FORMS: Mapping[str, str] = {
    "table": "a table, one line a vine or finding", "matrix": "a matrix, rows by vines", "lists": "lists of positions",
    "left out": "left out",
}  # fmt: skip
_COLUMNS: Mapping[str, str] = {
    "position": "vine (position in the row)", "date": "day", "place": "row and vine in one cell", "observer": "who looked",
    "finding": "what was seen",
}  # fmt: skip
#: What is said of a sheet: its name in the plan, in the mapping file, its label, its options, what is typed where it has none.
_OF_SHEET: tuple[tuple[str, str, str, Mapping[str, str], str], ...] = (
    ("block", "block", "Block", {}, "as you call it"),
    ("row", "row", "Row that all of it is of", {}, "5 or 7A"),
    ("day", "day", "Day of the inspection", {}, "YYYY-MM-DD, or the year"),
    ("order", "day_order", "Days are written", {"day": "day first: 18.08.2026", "month": "month first: 8/18/2026"}, ""),
    ("blank", "blank", "A blank cell, or a vine that no line names, means",
     {"not scouted": "not scouted", "sound": "scouted, nothing seen (blank cells)", "whole rows": "so are vines that no line names, in rows that the sheet names",
      "whole block": "so are vines that no line names, in the whole block"}, ""),
    ("colours", "colors", "Colors of cells", {"not read": "not read: words alone count"}, ""),
    ("lines_are", "lines_are", "A line of the sheet is", {"rows": "a row", "vines": "a vine of each row"}, ""),
    ("hyphens", "hyphens", "5-8 means", {"range": "all vines from the first number to the second"}, ""),
    ("fill_down", "fill_down", "A blank row label is that of the line above", {"yes": "yes", "no": "no"}, ""),
)  # fmt: skip
_SIDES: Mapping[str, str] = {
    "start": "the arm towards position 1", "end": "the other arm", "no arm": "left open; the words stay in the note",
}  # fmt: skip
_BETWEEN: Mapping[str, str] = {
    "there": "they are there: keep their place",
    "none": "there are none: rows lie side by side",
}
_DIVIDED: Mapping[str, str] = {
    "one line": "on one line of posts, one behind the other",
    "side by side": "side by side, each with a line of its own",
}
_SPACINGS = ("row_spacing_m", "vine_spacing_m")
_LENGTH = re.compile(r"(\d{1,3}(?:[.,]\d{1,3})?) ?(m|ft)?")
_YEAR = re.compile(r"(?:1[89]|20)\d{2}")
_LOOKS = ("dormant", "spring", "summer")


@dataclass(frozen=True, slots=True)
class Field:
    """One thing that may be said.

    Attributes
    ----------
    key : tuple of str
        What it is about: word, exact, day, side, block, sheet or column, and which.
    label : str
        As the page calls it.
    choice : Choice
        What stands, how far it is known, and why.
    options : mapping of str to str
        What may be chosen; empty where it is typed.
    help : str
        What is typed.
    about : str
        How often it stands, and where.
    """

    key: tuple[str, ...]
    label: str
    choice: Choice
    options: Mapping[str, str] = field(default_factory=dict)
    help: str = ""
    about: str = ""

    @property
    def name(self) -> str:
        """Name in the form."""
        return json.dumps(self.key, ensure_ascii=False)

    @property
    def exact(self) -> str:
        """Name of the field beside a word, in which its meaning is written out."""
        return json.dumps(("exact", *self.key[1:]), ensure_ascii=False)

    @property
    def value(self) -> str:
        """What stands, "" where it waits for an answer."""
        return "" if self.choice.value == "ask" or self.choice.sure == "ask" else self.choice.value

    @property
    def waits(self) -> bool:
        """Whether it waits for an answer or to be confirmed."""
        return self.choice.sure in ("ask", "proposed")


@dataclass(frozen=True, slots=True)
class SheetPart:
    """The part of the form that is about one sheet."""

    plan: SheetPlan
    is_called: str
    fields: tuple[Field, ...]
    columns: tuple[Field, ...]

    @property
    def waits(self) -> int:
        """How many of its fields wait."""
        return sum(one.waits for one in (*self.fields, *self.columns))


@dataclass(frozen=True, slots=True)
class BookForm:
    """The whole form."""

    sheets: tuple[SheetPart, ...]
    words: tuple[Field, ...]  # that wait: the unknown first
    known_words: tuple[Field, ...]
    many_words: int  # how many there are in all
    days: tuple[Field, ...]
    sides: tuple[Field, ...]
    blocks: tuple[tuple[BlockFacts, tuple[Field, ...]], ...]

    def fields(self) -> Iterable[Field]:
        """Return every field."""
        for sheet in self.sheets:
            yield from (*sheet.fields, *sheet.columns)
        yield from (*self.words, *self.known_words, *self.days, *self.sides)
        for _, fields in self.blocks:
            yield from fields


def book_form(plan: BookPlan) -> BookForm:
    """Make the form of what was understood of a workbook."""
    words: dict[tuple[str, ...], Field] = {}
    for word in plan.words:
        made = _word(word)
        words.setdefault(made.key, made)
    waiting = sorted((one for one in words.values() if one.waits), key=lambda one: one.choice.sure != "ask")
    known = [one for one in words.values() if not one.waits]
    return BookForm(
        tuple(_sheet(sheet) for sheet in plan.sheets),
        tuple(waiting[:MOST_WORDS]),
        tuple(known[:MOST_WORDS]),
        len(words),
        tuple(
            Field(
                ("day", day.key),
                f"{day.key}: on which day?",
                day.meaning,
                help="YYYY-MM-DD, or dormant, spring, summer",
                about=f"{day.count:,} cells",
            )
            for day in plan.days
        ),
        tuple(Field(("side", side), f"Side {side} is", choice, _SIDES) for side, choice in plan.sides),
        tuple((block, tuple(_block(block))) for block in plan.blocks),
    )


def _word(word: WordPlan) -> Field:
    label = word_label(word.context, word.word)
    return Field(
        ("word", label), label, word.meaning, about=f"{word.count:,} times, first in {word.sheet}, line {word.line}"
    )


def _block(block: BlockFacts) -> Iterable[Field]:
    yield Field(("block", block.label, "hemisphere"), "Side of the equator", block.hemisphere, codes.HEMISPHERES)
    if block.rows_between.value:
        yield Field(("block", block.label, "rows_between"), "Rows between the numbers", block.rows_between, _BETWEEN)
    if block.divided_rows.value:
        yield Field(("block", block.label, "divided_rows"), "Rows such as 7A and 7B", block.divided_rows, _DIVIDED)
    yield Field(
        ("block", block.label, "planted"),
        "Year of planting",
        Choice(block.planted),
        help="leave it empty where you do not know",
    )
    yield Field(
        ("block", block.label, "row_spacing_m"),
        "Between rows",
        Choice(block.row_spacing_m),
        help="2.5, in meters; or 8 ft",
    )
    yield Field(
        ("block", block.label, "vine_spacing_m"),
        "Between vines",
        Choice(block.vine_spacing_m),
        help="1.2, in meters; or 4 ft",
    )
    yield Field(
        ("block", block.label, "rows_from_far_end"),
        "Rows numbered from the other end",
        Choice(", ".join(block.from_far_end)),
        help="2, 4, 6",
    )


def _sheet(sheet: SheetPlan) -> SheetPart:
    form = sheet.shape.partition(":")[0]
    can_be = form if form in _FORMS and form != "left out" else sheet.layout.value
    forms = {name: _FORMS[name] for name in dict.fromkeys((can_be, "left out"))}
    fields = [Field(("sheet", sheet.name, "is"), "It is", sheet.layout, forms)]
    for name, key, label, options, typed in _OF_SHEET if sheet.layout.value != "left out" else ():
        choice: Choice = getattr(sheet, name)
        if choice.value:
            fields.append(Field(("sheet", sheet.name, key), label, choice, options, typed))
    columns: dict[str, Field] = {}
    for column in sheet.columns:
        if column.role in ("cell", "label") or column.heading in columns:
            continue
        on = f" on {column.day}" if column.role == "finding" and column.day and " " not in column.day else ""
        roles = {role: _COLUMNS.get(role, role) for role in ROLES}
        if on:
            roles = {f"finding{on}": f"what was seen, {column.day}"} | roles
        value = "ask" if column.sure == "ask" else f"{column.role}{on}"
        columns[column.heading] = Field(
            ("column", sheet.name, column.heading), column.heading, Choice(value, column.sure, column.why), roles
        )
    shown = columns.values() if can_be in ("table", "lists") else ()
    return SheetPart(sheet, _FORMS[sheet.layout.value], tuple(fields), tuple(shown))


def in_words(meaning: str) -> str:
    """Return a meaning of the mapping file as the page says it."""
    if meaning in _KINDS:
        return _KINDS[meaning]
    first, _, rest = meaning.partition(" ")
    if first == "work":
        return f"work: {codes.WORK_KINDS.get(rest, rest)}"
    if first == "replanted":
        return f"replanted in {rest}"
    parts = []
    for part in meaning.split(" + "):
        symptom, _, where = part.partition(" ")
        parts.append(f"{codes.SYMPTOMS.get(symptom, symptom)}{f', {where}' if where else ''}")
    return " + ".join(parts)


def answers_of(
    typed: Mapping[str, str], plan: BookPlan, before: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, str]]:
    """Read the form: the answers as a mapping file has them, and what is wrong by the name of its field.

    Parameters
    ----------
    typed : mapping of str to str
        The form as it was sent.
    plan : BookPlan
        What was shown; what is certain in it and was left as it was needs no answer.
    before : mapping
        The answers so far.
    """
    answers: dict[str, Any] = json.loads(json.dumps(before))
    wrong: dict[str, str] = {}
    form = book_form(plan)
    shapes = {sheet.name: sheet.shape for sheet in plan.sheets}
    for one in form.fields():
        name, text = one.name, " ".join(typed.get(one.name, "").split())
        if one.key[0] == "word" and (exact := " ".join(typed.get(one.exact, "").split())):
            name, text = one.exact, exact
        is_as_it_was = text == one.value and one.choice.sure in ("certain", "said")
        if one.name not in typed or is_as_it_was or (not text and one.key[0] != "block"):
            continue
        problem = _wrong_with(one, text)
        if problem:
            wrong[name] = problem
        else:
            _put(answers, one.key, text, shapes)
    for _, fields in form.blocks:
        wrong |= _lone_spacing(fields, typed)
    return answers, wrong


def _lone_spacing(fields: Iterable[Field], typed: Mapping[str, str]) -> dict[str, str]:
    """Ask for the other distance where one of a block is given: the drawing needs both, or takes usual ones for both."""
    pair = [one for one in fields if one.key[2] in _SPACINGS]
    given = [one for one in pair if typed.get(one.name, one.value).strip()]
    if len(given) != 1:
        return {}
    there = typed.get(given[0].name, given[0].value)
    return {
        one.name: f"{given[0].label} is \u201c{there}\u201d: give this distance too, or neither."
        for one in pair
        if one not in given
    }


def _wrong_with(one: Field, text: str) -> str:
    """Say what is wrong with what was typed into a field; "" where nothing is."""
    if one.options and text not in one.options:
        return f"\u201c{text}\u201d is none of what can be chosen."
    if one.key[0] == "word":
        try:
            read_meaning(text, one.label)
        except RecordError:
            return f"\u201c{text}\u201d is no meaning. Write sound, no vine, not scouted, replanted 2023, or a symptom with its part: dead_arm start + leaf_stripe."
    if one.key[0] == "day" and text not in _LOOKS and not is_iso_date(text):
        return f"\u201c{text}\u201d is no day. Write it as YYYY-MM-DD, or dormant, spring or summer."
    if one.key[0] == "sheet" and one.key[2] == "day" and not day_key(text):
        return f"\u201c{text}\u201d is no day. Write it as YYYY-MM-DD, or the year."
    if one.key[0] == "block" and one.key[2] in _SPACINGS and text and not _LENGTH.fullmatch(text):
        return f"\u201c{text}\u201d is no distance. Write meters, 2.5, or feet, 8 ft; or leave it empty."
    if one.key[0] == "block" and one.key[2] == "planted" and text and not _YEAR.fullmatch(text):
        return f"\u201c{text}\u201d is no year. Write four figures, 2012, or leave it empty."
    return ""


def _meters(text: str) -> str:
    """Return a distance in meters, as a mapping file has it."""
    length = _LENGTH.fullmatch(text)
    if length is None:
        return text
    number = float(length[1].replace(",", "."))
    return f"{number * METERS_IN['ft'] if length[2] == 'ft' else number:.3f}".rstrip("0").rstrip(".")


def _put(answers: dict[str, Any], key: tuple[str, ...], text: str, shapes: Mapping[str, str]) -> None:
    """Write an answer where a mapping file has it."""
    kind, name = key[0], key[1]
    if kind in ("word", "day", "side"):
        answers.setdefault(f"{kind}s", {})[name] = text
    elif kind == "block":
        is_list = key[2] == "rows_from_far_end"
        value = text.replace(",", " ").split() if is_list else _meters(text) if key[2] in _SPACINGS else text
        answers.setdefault("block", {}).setdefault(name, {})[key[2]] = value
    else:
        sheet = answers.setdefault("sheet", {}).setdefault(name, {"shape": shapes[name]})
        if kind == "column":
            sheet.setdefault("columns", {})[key[2]] = text
        else:
            sheet[key[2]] = text

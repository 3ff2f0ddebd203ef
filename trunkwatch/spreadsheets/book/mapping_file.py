"""The mapping file of workbooks: read as TOML, and written line by line with the reason beside each."""

import json
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.book.kept import Kept, label_key
from trunkwatch.spreadsheets.book.plan import BookPlan, Choice, SheetPlan, word_label
from trunkwatch.spreadsheets.book.trade_words import words_in
from trunkwatch.vineyard.codes import SYMPTOMS, WORK_KINDS

__all__ = ["differs", "mapping_text", "read_mapping"]

_MOST_BYTES = 20_000_000
#: Names of lines that stand without quotation marks; what the workbook calls something has them.
_KEYS = words_in(
    "hemisphere rows_between divided_rows is block row day day_order blank colors lines_are hyphens fill_down"
)
_HEAD = """\
# What was understood of {book}, and what you say of it. Look it over, change what is wrong, then
#   {command}
# takes the workbook. "ask" waits for your answer: nothing is taken before it has one. PROPOSED marks what was guessed.
# What stands here is kept with the vineyard and used again for the next workbook."""
_WORDS = """\
# What each word means, as a word = "meaning". With its heading before it where a mark means what the heading says.
#   "sound"          scouted, and nothing seen       "no vine"         no vine stands there
#   "not scouted"  counts as not scouted           "replanted 2023"  a young vine; the year may be left out
#   "dead_arm" or another symptom, with its part: "dead_arm start", "dead_arm side N", "dead_trunk trunk 2", "dead_arm 60%"
#   several with plus signs: "dead_arm + leaf_stripe"; "work renew_trunk" is work that was done. ">0" stands for all numbers above 0.
# Symptoms: {symptoms}
# Work: {work}"""
_DAYS = """\
# An inspection has a day. Where a year, a month or a season only is written, give the day as YYYY-MM-DD, or the inspection:
# "dormant", "spring" or "summer" takes the middle of that inspection in the season of that year."""
_SIDES = '# Which arm is on a side: "start" (towards position 1), "end", or "no arm" (left open; the words stay in the note).'
_BLOCK = """\
# A block that will be made. Hemisphere: "north" or "south". planted is a year, the spacings are meters ("2.5"); leave them
# empty where you do not know. rows_from_far_end lists rows that are numbered from the other end: ["2", "4"]."""
_SHEET = """\
# is: "table", "matrix", "lists", or "left out". blank: what a blank cell, or a vine without a line, means: "not scouted";
# "sound" (blank cells were scouted); "whole rows" or "whole block" (so were vines that no line names, in rows that the
# sheet names or in all). A column is row, position, block, date, place, arm, trunk, note, observer, cultivar, finding,
# or left out; "finding on 2024" is of that year or day."""


def read_mapping(path: Path) -> Kept:
    """Read a mapping file.

    Raises
    ------
    FileError
        If it cannot be read, or is no TOML.
    RecordError
        If a part of it is not what it should be.
    """
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise FileError(f"{path} is larger than any mapping file: {_MOST_BYTES / 1e6:g} MB is the limit")
        raw = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise FileError(f"{path} cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise FileError(f"{path} is not UTF-8 text: save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise FileError(
            f'{path} is no mapping file that can be read: {error}; each line is "name" = "value"'
        ) from error
    return Kept.of(raw, path.name)


def mapping_text(plan: BookPlan, kept: Kept, command: str) -> str:
    """Return the mapping file of a workbook: all that was understood, and what was said of other workbooks before.

    Parameters
    ----------
    plan : BookPlan
        What was understood.
    kept : Kept
        What the mapping file holds now.
    command : str
        The command that takes the workbook by this file.
    """
    parts = [_HEAD.format(book=_flat(plan.file), command=_flat(command)), *_words(plan, kept)]
    parts += _pairs("days", _DAYS, [(day.key, day.meaning, f"{day.count:,} cells") for day in plan.days], kept)
    parts += _pairs("sides", _SIDES, [(side, choice, "") for side, choice in plan.sides], kept)
    parts += _blocks(plan, kept)
    if plan.sheets:
        parts.append(_SHEET)
    parts += [_sheet(sheet) for sheet in plan.sheets]
    own = {sheet.name for sheet in plan.sheets}
    parts += [
        _kept_table(("sheet", name), table) for name, table in kept.raw.get("sheet", {}).items() if name not in own
    ]
    return "\n\n".join(parts) + "\n"


def differs(raw: Mapping[str, Any], plan: BookPlan, kept: Kept) -> bool:
    """Tell whether a mapping file says anything otherwise than the one that would be written."""
    return _contradicts(raw, tomllib.loads(mapping_text(plan, kept, "")))


def _contradicts(one: Any, other: Any) -> bool:
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return any(_contradicts(value, other[name]) for name, value in one.items() if name in other)
    return bool(one != other)


def _words(plan: BookPlan, kept: Kept) -> list[str]:
    lines = ["[words]"]
    order = {"ask": 0, "proposed": 1, "certain": 2, "said": 3}
    written = set()
    for word in sorted(plan.words, key=lambda one: order[one.meaning.sure]):
        label = word_label(word.context, word.word)
        if label_key(label) in written:
            continue
        written.add(label_key(label))
        where = f"{'once' if word.count == 1 else f'{word.count:,} times'}, {'' if word.count == 1 else 'first '}in {word.sheet} line {word.line}"
        lines.append(_line(label, word.meaning, where))
    old = {key: value for key, value in kept.raw.get("words", {}).items() if label_key(key) not in written}
    if old:
        lines.append("# From earlier workbooks:")
        lines += [f"{_text(key)} = {_text(value)}" for key, value in old.items()]
    head = _WORDS.format(symptoms=", ".join(SYMPTOMS), work=", ".join(WORK_KINDS))
    return [f"{head}\n" + "\n".join(lines)]


def _pairs(name: str, head: str, choices: Iterable[tuple[str, Choice, str]], kept: Kept) -> list[str]:
    listed = list(choices)
    own = {key for key, _, _ in listed}
    old = {key: value for key, value in kept.raw.get(name, {}).items() if key not in own}
    if not listed and not old:
        return []
    lines = [head, f"[{name}]"] + [_line(key, choice, where) for key, choice, where in listed]
    return ["\n".join(lines + [f"{_text(key)} = {_text(value)}" for key, value in old.items()])]


def _blocks(plan: BookPlan, kept: Kept) -> list[str]:
    parts = []
    for number, block in enumerate(plan.blocks):
        lines = [_BLOCK] if not number else []
        many = f"{len(block.rows):,} row{'s' if len(block.rows) > 1 else ''}, {block.rows[0][0]} to {block.rows[-1][0]}; positions up to {max(last for _, _, last in block.rows):,}"
        lines += [f"[block.{_text(block.label)}]  # {_flat(many)}", _line("hemisphere", block.hemisphere, "")]
        lines += [
            f"{name} = {_text(value)}"
            for name, value in (
                ("planted", block.planted),
                ("row_spacing_m", block.row_spacing_m),
                ("vine_spacing_m", block.vine_spacing_m),
            )
        ]
        lines.append(f"rows_from_far_end = [{', '.join(_text(row) for row in block.from_far_end)}]")
        if block.rows_between.value:
            lines.append(_line("rows_between", block.rows_between, ""))
        if block.divided_rows.value:
            lines.append(_line("divided_rows", block.divided_rows, ""))
        lines += [f"# {_flat(note)}" for note in block.notes]
        parts.append("\n".join(lines))
    own = {block.label for block in plan.blocks}
    return parts + [
        _kept_table(("block", name), table) for name, table in kept.raw.get("block", {}).items() if name not in own
    ]


def _sheet(sheet: SheetPlan) -> str:
    name = _text(sheet.name)
    lines = [
        f"[sheet.{name}]",
        _line("is", sheet.layout, ""),
        f"shape = {_text(sheet.shape)}  # by which a sheet like it is known again",
    ]
    if sheet.layout.value == "left out":
        return "\n".join(lines)
    for key, choice in (
        ("block", sheet.block),
        ("row", sheet.row),
        ("day", sheet.day),
        ("day_order", sheet.order),
        ("blank", sheet.blank),
        ("colors", sheet.colours),
        ("lines_are", sheet.lines_are),
        ("hyphens", sheet.hyphens),
        ("fill_down", sheet.fill_down),
    ):
        if choice.value:
            lines.append(_line(key, choice, ""))
    lines += [f"# {_flat(note)}" for note in sheet.notes]
    columns = [column for column in sheet.columns if column.role not in ("cell", "label")]
    if columns and sheet.layout.value in ("table", "lists"):
        lines.append(f"[sheet.{name}.columns]")
        seen: set[str] = set()
        for column in columns:
            if column.heading not in seen:
                seen.add(column.heading)
                value = (
                    f"{column.role} on {column.day}"
                    if column.day and column.role == "finding" and " " not in column.day
                    else column.role
                )
                lines.append(
                    _line(column.heading, Choice(value if column.sure != "ask" else "ask", column.sure, column.why), "")
                )
    return "\n".join(lines)


def _kept_table(names: tuple[str, str], table: Mapping[str, Any]) -> str:
    """Write what an earlier workbook's sheet or block has, as it was."""
    head = f"{names[0]}.{_text(names[1])}"
    inner = {key: value for key, value in table.items() if isinstance(value, dict)}
    lines = [f"[{head}]"] + [f"{_key(key)} = {_value(value)}" for key, value in table.items() if key not in inner]
    for key, own in inner.items():
        lines += [f"[{head}.{_key(key)}]"] + [
            f"{_text(name)} = {_value(value)}" for name, value in own.items() if not isinstance(value, dict)
        ]
    return "\n".join(lines)


def _line(name: str, choice: Choice, where: str) -> str:
    """Write one line; a word that is called like a key of ours means the same with and without quotation marks."""
    said = {"ask": "ASK", "proposed": "PROPOSED", "certain": "", "said": ""}[choice.sure]
    why = ": ".join(part for part in (said, choice.why) if part)
    told = "; ".join(part for part in (why, where) if part)
    return f"{name if name in _KEYS else _text(name)} = {_text(choice.value)}" + (f"  # {_flat(told)}" if told else "")


def _key(name: str) -> str:
    return name if re.fullmatch(r"[a-z_]+", name) else _text(name)


def _value(value: Any) -> str:
    if isinstance(value, list):
        return f"[{', '.join(_value(one) for one in value)}]"
    if isinstance(value, bool):
        return str(value).lower()
    return str(value) if isinstance(value, (int, float)) else _text(str(value))


def _text(text: str) -> str:
    """Return text as TOML writes it in quotation marks: the marks of JSON, and of what else may not stand bare."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _flat(text: str) -> str:
    """Return text that may stand in a comment: on one line, without what no eye can see."""
    return "".join(sign if sign.isprintable() else " " for sign in text)

"""Blocks and rows of a workbook set beside those of the vineyard, and the blocks that are to be made."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence

from trunkwatch.errors import RecordError
from trunkwatch.spreadsheets.book.entries import Causes
from trunkwatch.spreadsheets.book.kept import Kept
from trunkwatch.spreadsheets.book.plan import BlockFacts, Choice, Entry
from trunkwatch.spreadsheets.located import Known, plain_label
from trunkwatch.vineyard.codes import HEMISPHERES
from trunkwatch.vineyard.rows_on_day import natural_key

__all__ = ["facts_of", "with_known_labels"]

#: A position so far beyond the end of all other rows is a slip of the pen, perhaps.
_FAR = 3


def with_known_labels(
    entries: Sequence[Entry], known: Known, blocks: Sequence[str], sheets: Sequence[str], causes: Causes
) -> list[Entry]:
    """Write labels as the vineyard writes them, or as the workbook writes them most often; tell rows that are not there."""
    usual = _usual_blocks(entries, blocks)
    rows = _usual_rows(entries, usual, known)
    there = {block for block, _ in known}
    out: list[Entry] = []
    refused: set[tuple[int, int]] = set()
    for entry in entries:
        block, row = usual.get(entry.block, entry.block), rows.get((entry.block, entry.row), entry.row)
        where = f"{sheets[entry.sheet]} line {entry.line}"
        if row == "ask":
            out.append(entry)
            continue
        if block in there and (block, row) not in known:
            if (entry.sheet, entry.line) not in refused:
                causes.add(
                    f"block {block} has no such row",
                    f"{where}: {row!r}",
                    "write the row as the block has it, or add it to the rows of the block first",
                )
            refused.add((entry.sheet, entry.line))
            continue
        first, last = known.get((block, row), (0, 999_999))
        if entry.word and not first <= entry.position <= last:
            causes.add(
                f"block {block} has no such position",
                f"{where}: row {row}, position {entry.position}",
                f"row {row} has positions {first} to {last}: fix the line, or the row",
            )
            continue
        if not first <= entry.position <= last:
            continue
        out.append(entry if (block, row) == (entry.block, entry.row) else entry._replace(block=block, row=row))
    return out


def _usual_blocks(entries: Sequence[Entry], blocks: Sequence[str]) -> dict[str, str]:
    counts = Counter(entry.block for entry in entries)
    usual: dict[str, str] = {}
    for label, _ in sorted(counts.items(), key=lambda pair: (-pair[1], pair[0])):
        usual.setdefault(plain_label(label), label)
    usual |= {plain_label(label): label for label in blocks}
    return {label: usual[plain_label(label)] for label in counts}


def _usual_rows(entries: Sequence[Entry], blocks: Mapping[str, str], known: Known) -> dict[tuple[str, str], str]:
    counts = Counter((entry.block, entry.row) for entry in entries)
    usual: dict[tuple[str, str], str] = {}
    for (block, row), _ in sorted(counts.items(), key=lambda pair: (-pair[1], pair[0])):
        usual.setdefault((blocks[block], plain_label(row)), row)
    usual |= {(block, plain_label(row)): row for block, row in known}
    return {(block, row): usual[blocks[block], plain_label(row)] for block, row in counts}


def facts_of(
    entries: Sequence[Entry], known: Known, blocks: set[str], kept: Kept, hemisphere: Choice
) -> list[BlockFacts]:
    """List the blocks that are to be made: their rows as far as the workbook names them, and what it does not tell."""
    extents: dict[str, dict[str, tuple[int, int]]] = {}
    there = blocks | {block for block, _ in known}
    for entry in entries:
        if entry.block in there or entry.block == "ask":
            continue
        rows = extents.setdefault(entry.block, {})
        low, high = rows.get(entry.row, (entry.position, entry.position))
        rows[entry.row] = (min(low, entry.position), max(high, entry.position))
    return [_facts(label, rows, kept, hemisphere) for label, rows in extents.items()]


def _facts(label: str, rows: Mapping[str, tuple[int, int]], kept: Kept, hemisphere: Choice) -> BlockFacts:
    said = kept.of_block(label)
    where = str(said.get("hemisphere", "")).strip()
    if where and where != "ask" and where not in HEMISPHERES:
        raise RecordError(f"block {label!r}: the mapping says hemisphere {where!r}: north or south is needed")
    far_end = said.get("rows_from_far_end", [])
    if not isinstance(far_end, list) or any(str(row) not in rows for row in far_end):
        odd = far_end if not isinstance(far_end, list) else next(str(row) for row in far_end if str(row) not in rows)
        raise RecordError(
            f'block {label!r}: the mapping says rows_from_far_end {odd!r}: a list of rows of the block is needed, ["2", "4"]'
        )
    ordered = tuple((row, 0 if rows[row][0] == 0 else 1, rows[row][1]) for row in sorted(rows, key=natural_key))
    return BlockFacts(
        label, ordered, Choice(where, "said") if where and where != "ask" else hemisphere,
        planted=_number(label, "planted", said), row_spacing_m=_number(label, "row_spacing_m", said),
        vine_spacing_m=_number(label, "vine_spacing_m", said), rows_between=_between(label, list(rows), str(said.get("rows_between", "")).strip()),
        from_far_end=tuple(str(row) for row in far_end), notes=tuple(_notes(ordered)),
    )  # fmt: skip


def _number(label: str, name: str, said: Mapping[str, object]) -> str:
    text = str(said.get(name, "")).strip()
    if text and not re.fullmatch(r"\d{1,4}(?:[.,]\d{1,3})?", text):
        raise RecordError(
            f"block {label!r}: the mapping says {name} {text!r}: a number is needed, or nothing between the quotation marks"
        )
    return text.replace(",", ".")


def _between(label: str, rows: Sequence[str], said: str) -> Choice:
    """Ask what is on the ground where the numbers of rows leave some out."""
    if not all(row.isdecimal() for row in rows) or len(rows) < 2:
        return Choice("")
    numbers = sorted(int(row) for row in rows)
    if numbers[-1] - numbers[0] + 1 == len(numbers):
        return Choice("")
    if said in ("there", "none"):
        return Choice(said, "said")
    if said and said != "ask":
        raise RecordError(f"block {label!r}: the mapping says rows_between {said!r}: there or none is needed")
    missing = numbers[-1] - numbers[0] + 1 - len(numbers)
    return Choice(
        "there",
        "proposed",
        f"{missing:,} row numbers between the first and the last stand in no sheet: there keeps their place on the ground free, none puts the rows side by side",
    )


def _notes(rows: Sequence[tuple[str, int, int]]) -> list[str]:
    notes = []
    halves = Counter(match[1] for row, _, _ in rows if (match := re.fullmatch(r"(\d+)[A-Za-z]", row)))
    twin = next((number for number, count in halves.items() if count > 1), "")
    if twin:
        notes.append(
            f"rows like {twin}A and {twin}B are laid out side by side; where they lie on one line, one row with an alley in it is needed (breaks in rows.csv)"
        )
    ends = sorted(last for _, _, last in rows)
    middle = ends[len(ends) // 2]
    notes += [
        f"row {row} reaches to position {last}, far beyond the others ({middle} in the middle): is it a slip?"
        for row, _, last in rows
        if len(rows) > 2 and last > _FAR * middle
    ]
    return notes

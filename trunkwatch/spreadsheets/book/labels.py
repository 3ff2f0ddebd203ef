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
from trunkwatch.vineyard.one_line import divided_label, halves_of
from trunkwatch.vineyard.rows_on_day import natural_key

__all__ = ["facts_of", "with_known_labels"]

#: A position so far beyond the end of all other rows is a slip of the pen, perhaps.
_FAR = 3
#: What may be said of rows such as 7A and 7B.
_DIVIDED = ("one line", "side by side")


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
    divided = _divided(label, rows, str(said.get("divided_rows", "")).strip())
    ordered = _extents(rows, on_one_line=divided.value == "one line")
    return BlockFacts(
        label,
        ordered,
        Choice(where, "said") if where and where != "ask" else hemisphere,
        planted=_number(label, "planted", said),
        row_spacing_m=_number(label, "row_spacing_m", said),
        vine_spacing_m=_number(label, "vine_spacing_m", said),
        rows_between=_between(label, list(rows), str(said.get("rows_between", "")).strip()),
        divided_rows=divided,
        from_far_end=tuple(str(row) for row in far_end),
        notes=tuple(_notes(ordered, on_one_line=divided.value == "one line")),
    )


def _divided(label: str, rows: Mapping[str, tuple[int, int]], said: str) -> Choice:
    """Propose that 7A and 7B stand on one line of posts, one behind the other."""
    halves = halves_of(rows)
    if said and said != "ask" and said not in _DIVIDED:
        raise RecordError(f"block {label!r}: the mapping says divided_rows {said!r}: {' or '.join(_DIVIDED)} is needed")
    if not halves:
        return Choice("")
    if said in _DIVIDED:
        return Choice(said, "said")
    pair = sorted(next(iter(halves.values())), key=natural_key)[:2]
    return Choice(
        "one line",
        "proposed",
        f"rows {pair[0]} and {pair[1]} are parts of one row, {pair[1]} begins where {pair[0]} ends; side by side gives each a line of posts of its own",
    )


def _extents(rows: Mapping[str, tuple[int, int]], *, on_one_line: bool) -> tuple[tuple[str, int, int], ...]:
    """Return label, first and last position of each row; a part that goes on counting behind the one before it begins there."""
    found: list[tuple[str, int, int]] = []
    halves = {label for own in halves_of(rows).values() for label in own} if on_one_line else set()
    for row in sorted(rows, key=natural_key):
        low, high = rows[row]
        first = 0 if low == 0 else 1
        if (
            row in halves
            and found
            and divided_label(found[-1][0])[0] == divided_label(row)[0]
            and low == found[-1][2] + 1
        ):
            first = low
        found.append((row, first, high))
    return tuple(found)


def _number(label: str, name: str, said: Mapping[str, object]) -> str:
    text = str(said.get(name, "")).strip()
    if text and not re.fullmatch(r"\d{1,4}(?:[.,]\d{1,3})?", text):
        raise RecordError(
            f"block {label!r}: the mapping says {name} {text!r}: a number is needed, or nothing between the quotation marks"
        )
    return text.replace(",", ".")


def _between(label: str, rows: Sequence[str], said: str) -> Choice:
    """Ask what is on the ground where the numbers of rows leave some out."""
    halves = {label: number for number, own in halves_of(rows).items() for label in own}
    bare = {halves.get(row, row) for row in rows}
    if not all(row.isdecimal() for row in bare) or len(bare) < 2:
        return Choice("")
    numbers = sorted(int(row) for row in bare)
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


def _notes(rows: Sequence[tuple[str, int, int]], *, on_one_line: bool) -> list[str]:
    notes = []
    halves = [label for own in halves_of(row for row, _, _ in rows).values() for label in own]
    if halves and on_one_line:
        notes.append(
            "an alley between parts of one row stands in no sheet: write start_m of the part behind it into the rows, else vines on both sides of it count as neighbors"
        )
        notes += [
            f"row {row} goes on counting behind the part before it: its first position is {first}"
            for row, first, _ in rows
            if row in halves and first > 1
        ]
    ends = sorted(last for _, _, last in rows)
    middle = ends[len(ends) // 2]
    notes += [
        f"row {row} reaches to position {last}, far beyond the others ({middle} in the middle): is it a slip?"
        for row, _, last in rows
        if len(rows) > 2 and last > _FAR * middle
    ]
    return notes

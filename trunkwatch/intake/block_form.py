"""A block as it is typed into a form: read to its record and its rows, with every fault beside its field."""

import math
import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any, TypeVar

import pandas as pd

from trunkwatch.errors import FaultyNotesError, RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.intake.row_text import (
    METERS_IN,
    MOST_ROWS,
    OddRow,
    alleys_in,
    lengths_in,
    odd_rows_in,
    row_labels,
    wrong,
)
from trunkwatch.intake.typed import read_typed
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.row_cells import breaks_of
from trunkwatch.vineyard.row_layout import runs_other_way
from trunkwatch.vineyard.tables import TABLES, frame_of

__all__ = ["FIELDS", "UNITS", "TypedBlock", "read_block_form"]

T = TypeVar("T")
#: Fields of the form, in its order.
FIELDS = (
    "block", "planted", "cultivar", "rootstock", "grafted", "training", "hemisphere", "units", "many_rows", "first_label", "vines",
    "row_spacing", "vine_spacing", "row_alleys", "vine_alleys", "odd_rows", "row_bearing_deg", "rows_go", "numbering",
)  # fmt: skip
UNITS: Mapping[str, str] = {"metric": "m", "us": "ft"}
_AS_TYPED = ("block", "planted", "cultivar", "rootstock", "grafted", "training", "hemisphere", "rows_go", "numbering")
_POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")


@dataclass(slots=True)
class TypedBlock:
    """A block that was typed.

    Attributes
    ----------
    record : dict
        Columns of the `blocks` table.
    rows : list of dict
        Lines of the `rows` table, without block and vineyard; empty where they cannot be laid out yet.
    faults : list of Fault
        What stands in the way; `column` is the field.
    grid : RowGrid or None
        The block laid out; None where that cannot be done yet.
    """

    record: dict[str, Any] = field(default_factory=dict)
    rows: list[dict[str, Any]] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    grid: RowGrid | None = None

    def attempt(self, read: Callable[[], T], otherwise: T) -> T:
        """Read a field; note its faults where it cannot be read."""
        try:
            return read()
        except FaultyNotesError as error:
            self.faults += error.faults
            return otherwise


def read_block_form(typed: Mapping[str, str], known: Collection[str] = ()) -> TypedBlock:
    """Read a block that was typed into a form.

    Parameters
    ----------
    typed : mapping
        Text by field, as in `FIELDS`.
    known : collection of str
        Names that cannot be taken, since a block has or had them.

    Returns
    -------
    TypedBlock
        Laid out as far as the fields can be read: a fault in one keeps the drawing of the others.
    """
    text = {name: str(typed.get(name, "")).strip() for name in FIELDS}
    found = TypedBlock()
    unit = UNITS.get(text["units"], "m")
    for column in _AS_TYPED:
        found.record |= _cell(found, column, text[column])
    _name(found, text["block"], known)
    if not text["hemisphere"]:
        found.faults += _said(
            "hemisphere", "the side of the equator is not said", "", "it says which season a day belongs to"
        )
    bearing = found.attempt(lambda: _bearing(text["row_bearing_deg"]), None)
    row_m = found.attempt(lambda: _spacing("row_spacing", text["row_spacing"], unit), None)
    vine_m = found.attempt(lambda: _spacing("vine_spacing", text["vine_spacing"], unit), None)
    if (row_m is None) != (vine_m is None) and not any(one.column.endswith("_spacing") for one in found.faults):
        lacking = "row_spacing" if row_m is None else "vine_spacing"
        found.faults += _said(lacking, "the other spacing is written, this one is not", "", "both, or none")
    told = {"row_bearing_deg": bearing, "row_spacing_m": row_m, "vine_spacing_m": vine_m}
    found.record |= {name: value for name, value in told.items() if value is not None}
    _lay_out(found, text, unit)
    return found


def _said(column: str, problem: str, value: str, expected: str) -> Iterable[Fault]:
    return wrong(column, problem, value, expected).faults


def _cell(found: TypedBlock, column: str, text: str) -> dict[str, Any]:
    """Read a field as the cell of a notes file is read."""
    if not text:
        return {}
    try:
        return {column: read_typed("blocks", {column: text}, [column])[column]}
    except FaultyNotesError as error:
        found.faults += [replace(one, column=column) for one in error.faults]
        return {}


def _name(found: TypedBlock, name: str, known: Collection[str]) -> None:
    if not name:
        found.faults += _said("block", "the block has no name", "", "a name, such as North")
    elif found.record.get("block") in known:
        found.faults += _said(
            "block", "a block has this name, or had it", name, "another name; the block that is there stays as it is"
        )


def _bearing(text: str) -> float | None:
    if not text:
        return None
    if text.upper() in _POINTS:
        return 22.5 * _POINTS.index(text.upper())
    number = re.fullmatch(r"(\d{1,3}(?:[.,]\d{1,6})?)\s*\u00b0?", text)
    if number is None or float(number[1].replace(",", ".")) > 360:
        raise wrong(
            "row_bearing_deg", "this is no bearing", text, "degrees from 0 to 360 (90 is east), or N, NE, ESE and so on"
        )
    return float(number[1].replace(",", "."))


def _spacing(name: str, text: str, unit: str) -> float | None:
    if not text:
        return None
    column = TABLES["blocks"].column(f"{name}_m")
    low, high = column.low or 0.0, column.high or math.inf
    number = re.fullmatch(r"\d{1,5}(?:[.,]\d{1,6})?", text)
    meters = float(text.replace(",", ".")) * METERS_IN[unit] if number else math.nan
    if not low <= meters <= high:
        between = f"{low / METERS_IN[unit]:.2g} to {high / METERS_IN[unit]:.3g} {unit}"
        raise wrong(
            name,
            f"this is no distance {column.meaning}"
            if not number
            else f"too {'small' if meters < low else 'large'} {column.meaning}",
            f"{text} {unit}",
            between,
        )
    return meters


def _lay_out(found: TypedBlock, text: Mapping[str, str], unit: str) -> None:
    """Read the rows, as far as they can be read, and lay them out."""
    no_rows: tuple[list[str], list[int]] = ([], [])
    labels, lengths = found.attempt(lambda: _rows(text), no_rows)
    if not labels:
        return
    record = found.record
    row_m, vine_m = record.get("row_spacing_m"), record.get("vine_spacing_m")
    odd, faults = odd_rows_in(text["odd_rows"], labels, unit, vine_m)
    found.faults += faults
    behind = _behind(found, odd, labels)
    ahead = [label for label in labels if label not in behind]
    across = _across(found, text["row_alleys"], ahead, unit)
    alleys = _vine_alleys(found, text["vine_alleys"], lengths, unit)
    lines = []
    for label, last in zip(labels, lengths, strict=True):
        own = odd.get(label, OddRow())
        place = ahead.index(behind.get(label, label))
        line: dict[str, Any] = {"row": label, "row_order": place + 1, "first": own.first, "last": last}
        if across is not None:
            line["across_m"] = across[place]
        if own.later_m:
            line["start_m"] = own.later_m
        if own.from_end:
            line["numbered_from"] = "end"
        here = {at: meters for at, meters in alleys.items() if own.first <= at < last} | own.alleys
        if here:
            line["breaks"] = "; ".join(f"{at}:{_plain(meters)}" for at, meters in sorted(here.items()))
        if own.first > 1 and vine_m is None and label not in behind:
            found.faults += _said(
                "odd_rows",
                f"where row {label} starts hangs on the spacing",
                f"starts at {own.first}",
                "the spacing between vines",
            )
        found.faults += _beyond(label, own, last)
        lines.append(line)
    for line, turned in zip(lines, runs_other_way(lines, str(record.get("numbering") or "")), strict=True):
        # The positions that are not there are those at its numbered end.
        if line["first"] > 1 and vine_m is not None and not turned and line["row"] not in behind:
            line["start_m"] = (line["first"] - 1) * vine_m
    _begin_behind(found, lines, odd, vine_m)
    try:
        # What cannot be drawn yet for want of a name or spacing is drawn without it.
        shown = {"block": "new", **record}
        if row_m is None or vine_m is None:
            shown = {name: value for name, value in shown.items() if name not in ("row_spacing_m", "vine_spacing_m")}
        found.grid = RowGrid.from_tables(shown, _frame(lines, str(shown["block"])))
        found.rows = lines
    except RecordError as error:
        if not found.faults:
            found.faults.append(Fault("fault", str(error), column="odd_rows" if odd else "vines"))


def _behind(found: TypedBlock, odd: Mapping[str, OddRow], labels: Sequence[str]) -> dict[str, str]:
    """Return the rows that stand behind another on one line of posts, each with the first row of its line."""
    first: dict[str, str] = {}
    for label in labels:
        before = odd[label].behind if label in odd else ""
        if not before:
            continue
        at = labels.index(label)
        if not at or labels[at - 1] != before:
            ahead = f"row {labels[at - 1]}" if at else "none"
            found.faults += _said(
                "odd_rows",
                f"row {label} is not the row after {before}",
                f"behind {before}",
                f"the row before it, which is {ahead}",
            )
            continue
        first[label] = first.get(before, before)
    return first


def _begin_behind(
    found: TypedBlock, lines: Sequence[dict[str, Any]], odd: Mapping[str, OddRow], vine_m: float | None
) -> None:
    """Write where a row begins that stands behind another with an alley between, or that no label tells to be a part of it."""
    for before, line in pairwise(lines):
        own = odd.get(line["row"], OddRow())
        if line["row_order"] != before["row_order"]:
            continue
        if vine_m is None:
            found.faults += _said(
                "odd_rows",
                f"where row {line['row']} begins hangs on the spacing",
                f"behind {own.behind}",
                "the spacing between vines",
            )
            continue
        breaks = breaks_of(str(before.get("breaks", "")), "")
        long = (before["last"] - before["first"] - len(breaks)) * vine_m + sum(breaks.values())
        gap = vine_m if own.behind_m is None else own.behind_m
        line["start_m"] = float(before.get("start_m", 0.0)) + long + gap


def _frame(lines: Sequence[Mapping[str, Any]], block: str) -> pd.DataFrame:
    return frame_of("rows", [{**line, "block": block} for line in lines])


def _rows(text: Mapping[str, str]) -> tuple[list[str], list[int]]:
    many = text["many_rows"]
    if many and (not re.fullmatch(r"\d{1,6}", many) or not 1 <= int(many) <= MOST_ROWS):
        raise wrong("many_rows", "this is no number of rows", many, f"a whole number from 1 to {MOST_ROWS}")
    if not many and not text["vines"]:
        raise wrong(
            "many_rows",
            "how many rows there are is not said",
            expected="a whole number, or the vines of each row below",
        )
    first = text["first_label"] or "1"
    labels = row_labels(first, int(many)) if many else None
    named, lengths = lengths_in(text["vines"], labels)
    if labels is None:
        if named is None and len(lengths) == 1:
            raise wrong(
                "many_rows",
                "how many rows there are is not said",
                expected=f"a whole number; or the vines of each row, one a line, in place of {lengths[0]}",
            )
        labels = named or row_labels(first, len(lengths))
    if len(labels) > MOST_ROWS:
        raise wrong("vines", f"{len(labels)} rows are too many", expected=f"at most {MOST_ROWS}")
    return labels, lengths * len(labels) if len(lengths) == 1 else lengths


def _across(found: TypedBlock, text: str, labels: Sequence[str], unit: str) -> list[float] | None:
    """Return the meters of every row from the first; None where no alley is between them."""
    name, row_m = "row_alleys", found.record.get("row_spacing_m")
    alleys, faults = alleys_in(text, name, unit, "row and distance to the next row, such as 6: 5")
    found.faults += faults
    if alleys and row_m is None:
        found.faults += _said(name, "an alley is wider than the spacing", text, "the spacing between rows")
    if not alleys or row_m is None:
        return None
    good = {}
    for label, meters in alleys.items():
        if label not in labels[:-1]:
            problem = f"no row follows row {label}" if label in labels else f"there is no row {label}"
            found.faults += _said(name, problem, label, f"a row from {labels[0]} on, not the last")
        elif meters <= row_m:
            found.faults += _narrow(name, "row", label, meters, row_m, unit)
        else:
            good[label] = meters
    at_m = [0.0]
    for label in labels[:-1]:
        at_m.append(at_m[-1] + good.get(label, row_m))
    return at_m


def _vine_alleys(found: TypedBlock, text: str, lengths: Sequence[int], unit: str) -> dict[int, float]:
    """Return meters from a vine to the next, in every row that goes on behind it."""
    name, vine_m = "vine_alleys", found.record.get("vine_spacing_m")
    alleys, faults = alleys_in(text, name, unit, "vine and distance to the next vine, such as 30: 6")
    found.faults += faults
    if alleys and vine_m is None:
        found.faults += _said(name, "an alley is wider than the spacing", text, "the spacing between vines")
    if vine_m is None:
        return {}
    good = {}
    for at, meters in alleys.items():
        if not re.fullmatch(r"\d{1,6}", at) or not 1 <= int(at) < max(lengths):
            last = max(max(lengths) - 1, 1)
            found.faults += _said(name, f"no vine follows vine {at}", at, f"a vine from 1 to {last}")
        elif meters <= vine_m:
            found.faults += _narrow(name, "vine", at, meters, vine_m, unit)
        else:
            good[int(at)] = meters
    return good


def _narrow(name: str, what: str, after: str, meters: float, spacing: float, unit: str) -> Iterable[Fault]:
    meant, least = (f"{length / METERS_IN[unit]:g} {unit}" for length in (meters, spacing))
    problem = f"after {what} {after}: no wider than the spacing between {what}s"
    return _said(name, problem, meant, f"more than {least}, from {what} to {what}")


def _beyond(label: str, own: OddRow, last: int) -> Iterable[Fault]:
    """Tell where a row would start, or have an alley, behind its last vine."""
    if own.first > last:
        yield from _said("odd_rows", f"row {label} ends at {last}", f"starts at {own.first}", f"{last} or less")
    for at in own.alleys:
        if not own.first <= at < last:
            yield from _said(
                "odd_rows", f"row {label} goes from {own.first} to {last}", f"alley after {at}", f"a vine before {last}"
            )


def _plain(meters: float) -> str:
    """Write meters as the cell of `breaks` takes them, to a billionth."""
    return f"{meters:.9f}".rstrip("0").rstrip(".")

"""The tables of a vineyard: their columns, what a cell may hold, and what names a record.

A table in memory is a pandas DataFrame with exactly these columns in this order. Text, codes,
dates (YYYY-MM-DD) and yes/no are Python text with "" where nothing is written; numbers are
float64 with nan where nothing is written.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.vineyard import codes
from trunkwatch.vineyard.manner import SETTINGS

__all__ = [
    "COMMON",
    "TABLES",
    "Column",
    "Kind",
    "Record",
    "Table",
    "cells_of",
    "empty_frame",
    "frame_of",
    "number_in",
    "number_or_none",
    "records_of",
]

#: One row of a table: its cells by column.
Record = Mapping[str, Any]
Kind = Literal["text", "code", "date", "number", "whole"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, kind, meaning, and the codes, unit and limits of its cells."""

    name: str
    kind: Kind
    meaning: str
    codes: tuple[str, ...] = ()
    unit: str = ""
    required: bool = False
    low: float | None = None
    high: float | None = None

    @property
    def is_number(self) -> bool:
        """Whether cells are numbers."""
        return self.kind in ("number", "whole")


@dataclass(frozen=True, slots=True)
class Table:
    """One table: what a row is, its columns, and the columns that name a record without id."""

    name: str
    row_is: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all columns, the common ones last."""
        return tuple(column.name for column in self.columns)

    def column(self, name: str) -> Column:
        """Return the column of that name; KeyError if there is none."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)


def _text(name: str, meaning: str, **more: Any) -> Column:
    return Column(name, "text", meaning, **more)


def _code(name: str, meaning: str, allowed: Iterable[str], **more: Any) -> Column:
    return Column(name, "code", meaning, codes=tuple(allowed), **more)


def _number(name: str, meaning: str, unit: str = "", **more: Any) -> Column:
    return Column(name, "number", meaning, unit=unit, **more)


def _whole(name: str, meaning: str, **more: Any) -> Column:
    return Column(name, "whole", meaning, **more)


def _date(name: str, meaning: str, **more: Any) -> Column:
    return Column(name, "date", meaning, **more)


#: Columns that every record may have.
COMMON: tuple[Column, ...] = (
    _text("id", "identity of the record; made from its key where empty"),
    _text("corrects", "id of the record that this one replaces"),
    _code("void", "yes: the record that this one corrects never was", codes.YES_NO),
    _text("recorded_at", "when it was written down, ISO date or date and time"),
    _text("device", "what it was written down on"),
    _text("read_from", "file and line it was read from"),
)
_BLOCK = _text("block", "block", required=True)
_VINEYARD = _text("vineyard", "vineyard; may be left out where one vineyard only has that block")
_OWNER = _text("vineyard", "vineyard; may be left out where there is one only")
_ROW = _text("row", "row label as painted on the end post", required=True)
_POSITION = _text("position", "position in the row, counted from its start")
_OBSERVER = _text("observer", "who looked")
_NOTE = _text("note", "free text")
_BAY = _text("bay", "bay (between two posts), counted from the row's start")
_VINE = _whole("vine", "vine in the bay, where the bay is given instead of a position", low=1)
_TRUNK = _whole("trunk", "trunk, counted from the row's start", low=1, high=12)
_ARMS = sorted({arm for arms in codes.ARMS.values() for arm in arms})
_ARM = _code("arm", "arm by the row: start (towards position 1) or end", _ARMS)
_CUT = _number("cut_height_cm", "height of the cut above ground", "cm", low=0, high=400)
_POINT = (
    _number("longitude", "degrees east", "degrees", low=-180, high=180),
    _number("latitude", "degrees north", "degrees", low=-90, high=90),
)
_ACCURACY = _number("accuracy_m", "accuracy of the coordinates", "m", low=0)
_PLANT_KIND = (
    _text("cultivar", "cultivar"),
    _text("rootstock", "rootstock"),
    _code("grafted", "grafted, or on its own roots (no)", codes.YES_NO),
)


def _table(name: str, row_is: str, key: tuple[str, ...], *columns: Column) -> Table:
    have = {column.name for column in columns}
    extra = () if "observer" in have else (_OBSERVER,)
    return Table(name, row_is, (*columns, *extra, *COMMON), key)


TABLES: Mapping[str, Table] = MappingProxyType(
    {
        table.name: table
        for table in (
            _table(
                "blocks",
                "a block",
                ("block", "vineyard"),
                _BLOCK,
                _text("vineyard", "vineyard"),
                *_PLANT_KIND,
                _whole("planted", "year of planting", low=1700, high=2200),
                _code("training", "training system", codes.TRAININGS),
                _number("row_spacing_m", "between rows", "m", low=0.3, high=12),
                _number("vine_spacing_m", "between vines in a row", "m", low=0.2, high=8),
                *_POINT,
                _number(
                    "row_bearing_deg",
                    "the way positions grow, clockwise from true north",
                    "degrees",
                    low=-360,
                    high=360,
                ),
                _code("rows_go", "where the next row lies when you face the way positions grow", codes.ROWS_GO),
                _code("numbering", "which end rows are numbered from", codes.NUMBERING),
                _code("hemisphere", "only where there is no latitude", codes.HEMISPHERES),
                _text("replaces", "block that stood here before"),
                _NOTE,
            ),
            _table(
                "rows",
                "a row line",
                ("block", "row", "valid_from", "vineyard"),
                _BLOCK,
                _VINEYARD,
                _ROW,
                _number("row_order", "place of the row in the block, 1 is the first"),
                _number("across_m", "distance from the first row, at a right angle", "m"),
                _whole("first", "first position", low=0),
                _whole("last", "last position", low=0, required=True),
                _code(
                    "numbered_from",
                    "end that this row is numbered from: start (the block's base line) or end; as the block's numbering says where empty",
                    codes.NUMBERED_FROM,
                ),
                _number("start_m", "first vine, from the base line", "m"),
                _number("spacing_m", "between vines, where it differs from the block", "m", low=0.2, high=8),
                _text(
                    "breaks",
                    "alleys: 30:6.0 is 6 m after position 30; several with semicolons; less than a spacing beside a vine planted between two",
                ),
                _text("bay_ends", "last position of each bay: 5; 10; 15, or every 5"),
                _number("start_longitude", "first vine", "degrees", low=-180, high=180),
                _number("start_latitude", "first vine", "degrees", low=-90, high=90),
                _number("end_longitude", "last vine", "degrees", low=-180, high=180),
                _number("end_latitude", "last vine", "degrees", low=-90, high=90),
                _text("cultivar", "cultivar, where it differs from the block"),
                _date("valid_from", "day from which this label holds"),
                _date("valid_to", "last day on which this label held"),
                _NOTE,
            ),
            _table(
                "plants",
                "a plant in a position",
                ("block", "row", "position", "planted", "removed", "vineyard"),
                _BLOCK,
                _VINEYARD,
                _ROW,
                Column("position", "text", _POSITION.meaning, required=True),
                _text("planted", "day or year of planting"),
                _text("removed", "day or year of removal"),
                _code("reason", "why it was removed", codes.REASONS),
                *_PLANT_KIND,
                *_POINT,
                _ACCURACY,
                _NOTE,
            ),
            _table(
                "surveys",
                "an inspection",
                ("survey", "block", "date", "look", "observer", "covered", "vineyard"),
                _text("survey", "name of the survey"),
                _BLOCK,
                _VINEYARD,
                _date("date", "day of the inspection, the first where it took several", required=True),
                _date("until", "last day, where it took several"),
                _code("look", "dormant, spring or summer; from the date where empty", codes.LOOKS),
                _text(
                    "covered",
                    "rows scouted: 1..12; 15; 16:1..40; 20:5..95/10; every second row is 1..12/2",
                    required=True,
                ),
                _code("counted_from", "end that positions were counted from", codes.COUNTED_FROM),
                _code("counting", "what was counted", codes.COUNTING),
                _text("purpose", "all, recheck, or the symptoms looked for, with semicolons"),
                _OBSERVER,
                _text("method", "how"),
                _number("minutes", "time taken", "min", low=0),
                _NOTE,
            ),
            _table(
                "symptoms",
                "one finding",
                ("block", "row", "position", "bay", "vine", "date", "symptom", "trunk", "arm", "observer", "vineyard"),
                _BLOCK,
                _VINEYARD,
                _text("row", _ROW.meaning),
                _POSITION,
                _BAY,
                _VINE,
                _date("date", "day it was seen", required=True),
                _code("symptom", "what was seen", codes.SYMPTOMS, required=True),
                _TRUNK,
                _ARM,
                _whole("dead", "dead spur positions", low=0),
                _whole("total", "all spur positions", low=1),
                _number("percent", "share of the arm or vine", "%", low=0, high=100),
                _text("class", "class on a scale"),
                _text("scale", "name of the scale"),
                _number("empty_percent", "share of this vine's wire without bearing wood", "%", low=0, high=100),
                _code("pattern", "pattern of the stain", codes.PATTERNS),
                _CUT,
                _number("stain_cm", "length of the stain", "cm", low=0, high=400),
                _code("cause", "suspected cause", codes.CAUSES),
                _code("renewal_shoot", "young shoot to retrain from", codes.RENEWAL_SHOOTS),
                _code("shoot_quality", "quality of that shoot; not said where empty", codes.SHOOT_QUALITIES),
                _code("counted_from", "end that the position was counted from", codes.COUNTED_FROM),
                *_POINT,
                _ACCURACY,
                _text("photo", "number of a photo"),
                _OBSERVER,
                _NOTE,
            ),
            _table(
                "work",
                "one piece of work",
                ("block", "row", "position", "bay", "vine", "date", "kind", "trunk", "arm", "observer", "vineyard"),
                _BLOCK,
                _VINEYARD,
                _ROW,
                _POSITION,
                _BAY,
                _VINE,
                _date("date", "day done or planned", required=True),
                _code("kind", "kind of work", codes.WORK_KINDS, required=True),
                _code("status", "planned, done (where empty) or dropped", codes.STATUSES),
                _TRUNK,
                _ARM,
                _CUT,
                _number("hours", "hours of work", "h", low=0),
                _text("crew", "who did it"),
                _number("cost", "cost in your money"),
                _code(
                    "wound_protected", "whether the wound of this cut was protected; not said where empty", codes.YES_NO
                ),
                _code("not_done", "why dropped work was not done; not said where empty", codes.NOT_DONE),
                _NOTE,
            ),
            _table(
                "bud_counts",
                "a count of buds that were cut",
                ("block", "date", "cultivar", "part", "observer", "vineyard"),
                _BLOCK,
                _VINEYARD,
                _date("date", "day the canes were collected", required=True),
                _text("cultivar", "cultivar, where it differs from the block"),
                _text("part", "part of the block, where parts were counted apart: hill top, hollow"),
                _text("canes_from", "where the canes came from: kind of cane, rows"),
                _whole("canes", "canes that the buds were cut on", low=1, high=10_000),
                _whole("buds", "buds that were cut", low=1, high=100_000, required=True),
                _whole("primary_dead", "dead primary buds of those", low=0, required=True),
                _whole("secondary_dead", "dead secondary buds", low=0),
                _whole("secondary_alive", "live secondary buds", low=0),
                _whole("tertiary_dead", "dead tertiary buds", low=0),
                _whole("tertiary_alive", "live tertiary buds", low=0),
                _OBSERVER,
                _NOTE,
            ),
            _table(
                "budbreak",
                "the day on which buds broke",
                ("block", "date", "cultivar", "part", "observer", "vineyard"),
                _BLOCK,
                _VINEYARD,
                _date("date", "day on which half of the buds had broken: green showed", required=True),
                _text("cultivar", "cultivar, where it differs from the block"),
                _text("part", "part of the block, where parts were noted apart: hill top, hollow"),
                _OBSERVER,
                _NOTE,
            ),
            _table(
                "pruning",
                "rows pruned by the crew",
                ("block", "date", "cut", "covered", "vineyard"),
                _BLOCK,
                _VINEYARD,
                _date("date", "day of the work, the last where it took several", required=True),
                _text("covered", "rows pruned: 1..12; 15; 16:1..40", required=True),
                _code(
                    "cut",
                    "final (where empty) or first: a long first cut, the final one comes later",
                    codes.PRUNING_CUTS,
                ),
                _number("hours", "hours of work, of all hands together", "h", low=0),
                _text("crew", "who did it"),
                _NOTE,
            ),
            _table(
                "photos",
                "a photo of a finding or work",
                ("block", "record", "sha256", "vineyard"),
                _BLOCK,
                _VINEYARD,
                _text("record", "id of the finding or work that it was taken for", required=True),
                _text("sha256", "SHA-256 of the picture's bytes, which are kept beside", required=True),
                _code("shows", "what the photo shows", codes.PHOTO_SHOWS),
                _text("taken_at", "when it was taken, ISO date or date and time"),
                _whole("width", "width in pixels", low=1, high=20_000),
                _whole("height", "height in pixels", low=1, high=20_000),
                _text("caption", "what is to be seen"),
                _text("observer", "who took it"),
            ),
            _table(
                "weather",
                "a day",
                ("date", "vineyard"),
                _date("date", "day", required=True),
                _OWNER,
                _number("t_min_c", "lowest temperature", "C", low=-70, high=60),
                _number("t_max_c", "highest temperature", "C", low=-70, high=60),
                _number("rain_mm", "rain", "mm", low=0),
                _number("snow_cm", "snow on the ground", "cm", low=0, high=1200),
            ),
            _table(
                "costs",
                "one assumption",
                ("name", "vineyard"),
                _text("name", "what", required=True),
                _OWNER,
                _number("value", "value", required=True),
                _text("unit", "unit"),
                _text("source", "where from"),
            ),
            _table(
                "settings",
                "one setting of the vineyard",
                ("name", "vineyard"),
                _code("name", "what is set", SETTINGS, required=True),
                _OWNER,
                _code(
                    "value",
                    "how pages speak to its people",
                    [one for every in SETTINGS.values() for one in every],
                    required=True,
                ),
            ),
        )
    }
)


_EMPTY: dict[str, pd.DataFrame] = {}
_BLANK: dict[str, pd.DataFrame] = {}
_NAMES = {name: frozenset(table.names) for name, table in TABLES.items()}


def records_of(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of a table as dicts from column to cell."""
    if frame.empty:
        return []
    # As frame.to_dict("records"), which takes ten times as long for few rows of many columns.
    names = [str(name) for name in frame.columns]
    return [dict(zip(names, cells, strict=True)) for cells in frame.to_numpy(dtype=object).tolist()]


def number_in(record: Record, column: str) -> float:
    """Return the number in a cell of a record, nan where nothing is written."""
    value = record.get(column)
    return float("nan") if value is None or value == "" else float(value)


def number_or_none(value: object) -> float | None:
    """Return the number of a cell, None where nothing is written."""
    return float(value) if isinstance(value, (int, float)) and not math.isnan(value) else None


def empty_frame(table: str) -> pd.DataFrame:
    """Return the table with no row."""
    if table not in _EMPTY:
        _EMPTY[table] = frame_of(table, [])
    return _EMPTY[table].copy()


def _refuse_strange(table: str, records: Iterable[Record]) -> None:
    known = _NAMES[table]
    for record in records:
        if not record.keys() <= known:
            raise KeyError(f"{table} has no column {next(name for name in record if name not in known)!r}")


def cells_of(table: str, records: Sequence[Record]) -> list[list[str | float | None]]:
    """Return the cells of records that may leave columns out, as `frame_of` reads them; None for a number that is not written.

    Raises
    ------
    KeyError
        If a record has a column that the table has not got.
    """
    _refuse_strange(table, records)
    rows = []
    for record in records:
        cells: list[str | float | None] = []
        for column in TABLES[table].columns:
            cell = record.get(column.name)
            if column.is_number:
                number = math.nan if cell in (None, "") else float(cell)
                cells.append(None if number != number else number)
            else:
                cells.append("" if cell is None else str(cell))
        rows.append(cells)
    return rows


def frame_of(table: str, records: Iterable[Record]) -> pd.DataFrame:
    """Build a table from records that may leave columns out.

    Raises
    ------
    KeyError
        If a record has a column that the table has not got.
    """
    rows = list(records)
    _refuse_strange(table, rows)
    return _one_row(table, rows[0]) if len(rows) == 1 else _rows(table, rows)


def _one_row(table: str, record: Record) -> pd.DataFrame:
    """Build a table of one record: filling in an empty row takes a fifth of the time of putting columns together."""
    if table not in _BLANK:
        _BLANK[table] = _rows(table, [{}])
    frame = _BLANK[table].copy()
    for column in TABLES[table].columns:
        cell = record.get(column.name)
        if cell is not None and cell != "":
            frame.at[0, column.name] = float(cell) if column.is_number else str(cell)  # noqa: PD008 - a third of the time of .loc
    return frame


def _rows(table: str, rows: Sequence[Record]) -> pd.DataFrame:
    data: dict[str, NDArray[Any]] = {}
    for column in TABLES[table].columns:
        name = column.name
        cells = [row.get(name) for row in rows]
        if column.is_number:
            data[name] = np.array([math.nan if cell in (None, "") else float(cell) for cell in cells], dtype=float)
        else:
            words = np.empty(len(cells), dtype=object)
            words[:] = ["" if cell is None else str(cell) for cell in cells]
            data[name] = words
    return pd.DataFrame(data)

"""The file that a phone hands over: records as JSON, read cell by cell like a spreadsheet."""

import base64
import contextlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.cells import read_cell
from trunkwatch.vineyard.faults import DayFault, Fault
from trunkwatch.vineyard.tables import TABLES, frame_of

__all__ = ["MOST_BYTES", "VERSIONS", "damaged", "handover_frames", "handover_photos", "handover_text", "read_handover"]

#: A phone's whole season is under a megabyte; more is no hand-over.
MOST_BYTES = 20_000_000
#: 1: without a word of which block it is of but its label. 2: bound to the block, and signed where the phone is paired.
#: 3: with photos, or lines of plants, which an earlier desk would leave out in silence. 4: with counts of buds, or rows pruned.
VERSIONS = (1, 2, 3, 4)
_TABLES = ("surveys", "symptoms", "work", "plants", "bud_counts", "pruning", "photos")


def read_handover(path: Path) -> tuple[dict[str, pd.DataFrame], list[Fault]]:
    """Read a hand-over file.

    Parameters
    ----------
    path : Path
        A .json or .txt file that a field page wrote.

    Returns
    -------
    frames : dict of table name to DataFrame
        Surveys, findings, work done, vines found gone, counts of buds and rows pruned; faulty records are left out.
    faults : list of Fault
        What is wrong with them, by table and number of the record.

    Raises
    ------
    FileError
        If it is too large, damaged, or something else.
    """
    text = handover_text(path)
    try:
        told = json.loads(text)
    except (ValueError, RecursionError) as error:  # no JSON, a number of thousands of digits
        raise damaged(path.name) from error
    return handover_frames(told, path.name)


def damaged(name: str) -> FileError:
    """Return what is said of a file that is no hand-over any more."""
    return FileError(f"{name} is damaged, or no hand-over of a field page: send again on the phone")


def handover_text(path: Path) -> str:
    """Return the text of a hand-over file.

    Raises
    ------
    FileError
        If it is too large, or no text.
    """
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise FileError(
                f"{path.name} has {size / 1e6:.0f} MB: no hand-over of a phone is over {MOST_BYTES / 1e6:.0f} MB"
            )
        return path.read_text("utf-8")
    except OSError as error:
        raise FileError(f"{path.name} cannot be read: {error.strerror}") from error
    except ValueError as error:
        raise damaged(path.name) from error


def handover_frames(told: Any, name: str) -> tuple[dict[str, pd.DataFrame], list[Fault]]:
    """Read what a hand-over says; as `read_handover`.

    Raises
    ------
    FileError
        If it is something else, or of a later version.
    """
    if not isinstance(told, Mapping) or "trunkwatch_handover" not in told:
        raise FileError(f"{name} is no hand-over of a field page")
    if told["trunkwatch_handover"] not in VERSIONS or isinstance(told["trunkwatch_handover"], (bool, float)):
        raise FileError(f"{name} was written by a later field page: update trunkwatch")
    frames, faults = {}, []
    for table in _TABLES:
        listed = told.get(table, [])
        if not isinstance(listed, list):
            raise FileError(f"{name}: {table} is no list")
        records = []
        for number, raw in enumerate(listed, start=1):
            record, found = _record(table, raw, f"{name} {table}", number)
            faults += found
            if not found:
                records.append(record)
        if records:
            frames[table] = frame_of(table, records)
    return frames, faults


def handover_photos(told: Mapping[str, Any]) -> dict[str, bytes]:
    """Return the bytes of the photos of a hand-over by the marks under which they stand; what is no text of bytes is left out."""
    files = told.get("photo_files", {})
    found: dict[str, bytes] = {}
    for mark, text in files.items() if isinstance(files, Mapping) else ():
        if isinstance(text, str):
            with contextlib.suppress(ValueError):
                found[str(mark)] = base64.b64decode(text, validate=True)
    return found


def _record(table: str, raw: Any, where: str, number: int) -> tuple[dict[str, Any], list[Fault]]:
    if not isinstance(raw, Mapping):
        return {}, [Fault("fault", "no record", where, number)]
    known = {column.name: column for column in TABLES[table].columns}
    faults = [
        Fault("fault", "no such column", where, number, str(key)[:40], str(value)[:40])
        for key, value in raw.items()
        if key not in known
    ]
    record: dict[str, Any] = {}
    for key, column in known.items():
        value = raw.get(key)
        if isinstance(value, (Mapping, list)):
            faults.append(Fault("fault", "no value of a cell", where, number, key))
            continue
        said = read_cell(column, value)
        if said.weight == "fault":
            kind = DayFault if said.days else Fault
            faults.append(kind("fault", said.problem, where, number, key, str(value)[:60], said.expected))
        record[key] = said.value
    if not record.get("id"):
        faults.append(Fault("fault", "no id", where, number, "id"))
    record["read_from"] = f"{where}:{number}"
    return record, faults

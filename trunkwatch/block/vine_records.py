"""Every record of one position in words: who wrote what when, where it was read from, and what replaced what."""

from dataclasses import dataclass, field

from trunkwatch.block.opening import read
from trunkwatch.errors import UnknownVineError
from trunkwatch.history.versions import Version, versions_at
from trunkwatch.history.words import finding_words, planting_words, work_words, written_as
from trunkwatch.history.written import Finding, Planting, Work
from trunkwatch.store import Store

__all__ = ["VineRecord", "vine_records"]


@dataclass(frozen=True, slots=True)
class VineRecord:
    """One record as it was written, and whether it stands.

    `fate` is "stands", "corrected", "taken back", or, for the record that takes another one back, "takes back". A line
    of plants with a planting and a removal is two of these with one id.
    """

    table: str
    date: str
    text: str
    fate: str
    id: str
    corrects: str
    observer: str
    recorded_at: str
    device: str
    read_from: str
    record: Finding | Work | Planting = field(repr=False, compare=False)


def vine_records(store: Store, block: str, row: str, position: str) -> list[VineRecord]:
    """List every record of a position, in order of date and of writing.

    Raises
    ------
    UnknownVineError
        If there is none.
    RecordError
        If the rows of the block cannot be laid out.
    """
    reading, _ = read(store, block)
    cell = reading.places.find(row, position)
    tables = {name: store.frame(name, block, all_versions=True) for name in ("plants", "symptoms", "work")}
    versions = versions_at(reading, tables, cell) if cell is not None else []
    if not versions:
        raise UnknownVineError(f"no record of row {row!r}, position {position!r} in block {block!r}")
    found = [line for version in versions for line in _lines(version, row, position)]
    return sorted(found, key=lambda line: (line.date, line.recorded_at, line.id))


def _lines(version: Version, row: str, position: str) -> list[VineRecord]:
    record = version.record
    if isinstance(record, Finding):
        said = [(record.date, finding_words(record))]
    elif isinstance(record, Work):
        said = [(record.date, work_words(record))]
    else:
        said = list(planting_words(record))
    also = written_as(record.named, row, position)
    return [
        VineRecord(
            version.table,
            date,
            f"{text}, written as {also}" if also else text,
            version.fate.value,
            record.id,
            version.corrects,
            record.observer,
            version.recorded_at,
            version.device,
            record.read_from,
            record,
        )
        for date, text in said
    ]

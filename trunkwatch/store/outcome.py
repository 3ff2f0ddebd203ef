"""What became of records that were handed in, and what a record says, as text."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field

from trunkwatch.store.again import Changed
from trunkwatch.vineyard.records import PROVENANCE, record_id
from trunkwatch.vineyard.tables import TABLES

__all__ = ["Outcome", "as_correction", "provenance", "values_of"]


@dataclass(slots=True)
class Outcome:
    """What became of records that were handed in.

    Attributes
    ----------
    new, same : dict of table name to int
        Added; known as they came in.
    changed : list of Changed
        Known with other values.
    superseded : list of Changed
        That do not stand as they came in: written otherwise since.
    """

    new: dict[str, int] = field(default_factory=dict)
    same: dict[str, int] = field(default_factory=dict)
    changed: list[Changed] = field(default_factory=list)
    superseded: list[Changed] = field(default_factory=list)


def values_of(table: str, record: Mapping[str, object]) -> str:
    """Return all that a record says, as text that can be compared."""
    says = [name for name in TABLES[table].names if name not in PROVENANCE]
    return "\x1f".join(str(record[name]) for name in says)


def provenance(record: Mapping[str, object]) -> tuple[str, ...]:
    """Return how a record came here."""
    return tuple(str(record[name]) for name in PROVENANCE)


def as_correction(table: str, record: Mapping[str, object]) -> dict[str, object]:
    """Return a record as a correction of its own id.

    Its id is none that a correction has which a person wrote: that the record was once as it was first written is
    another thing than that it was corrected back to it.
    """
    correction = {**record, "corrects": record["id"], "id": ""}
    return {**correction, "id": str(uuid.uuid5(uuid.UUID(record_id(table, correction)), "one of several values"))}

"""Rows of a block as JSON has them, to be kept from run to run; who scouted is no part of it."""

from collections.abc import Mapping
from typing import Any

from trunkwatch.peers.gather import BlockRow, OfBlock

__all__ = ["rows_data", "rows_of_data"]


def rows_data(found: OfBlock) -> dict[str, list[dict[str, Any]]]:
    """Return the rows of a block as JSON has them."""
    return {
        definition: [
            {name: getattr(row, name) for name in BlockRow.__slots__}
            | {"classes": sorted(row.classes), "observers": []}
            for row in rows
        ]
        for definition, rows in found.rows.items()
    }


def rows_of_data(grower: str, block: str, data: Mapping[str, Any]) -> OfBlock:
    """Read what `rows_data` gives, under the name that the grower has in the programme."""
    rows = {
        definition: [
            BlockRow(**{**row, "grower": grower, "block": block, "classes": frozenset(row["classes"]), "observers": ()})
            for row in listed
        ]
        for definition, listed in data.get("rows", {}).items()
    }
    return OfBlock(grower, block, rows, str(data.get("reason", "")))

"""Which fields of a record a page offers to correct, in the words of the trade."""

from collections.abc import Mapping
from typing import Any

from trunkwatch.vineyard import codes

__all__ = ["correctable"]

#: Column, label, and choices where there are only so many.
_PLACE: tuple[tuple[str, str, Mapping[str, str] | None], ...] = (("row", "Row", None), ("position", "Position", None))
_FIELDS: Mapping[str, tuple[tuple[str, str, Mapping[str, str] | None], ...]] = {
    "symptoms": (
        *_PLACE, ("date", "Day", None), ("symptom", "What was seen", codes.SYMPTOMS), ("arm", "Arm", None), ("trunk", "Trunk", None),
        ("percent", "Share dead, %", None), ("dead", "Dead spur positions", None), ("total", "All spur positions", None),
        ("cause", "Suspected cause", codes.CAUSES), ("renewal_shoot", "Shoot to renew from", codes.RENEWAL_SHOOTS),
        ("observer", "Who looked", None), ("note", "Note", None),
    ),
    "work": (
        *_PLACE, ("date", "Day", None), ("status", "Status", codes.STATUSES), ("trunk", "Trunk", None), ("arm", "Arm", None),
        ("hours", "Hours", None), ("crew", "Crew", None), ("note", "Note", None),
    ),
    "plants": (
        *_PLACE, ("planted", "Planted", None), ("removed", "Removed", None), ("reason", "Reason", codes.REASONS),
    ),
}  # fmt: skip


def correctable(table: str, record: Mapping[str, Any]) -> list[list[Any]]:
    """Return the fields of a record that can be corrected.

    Parameters
    ----------
    table : str
        symptoms, work or plants.
    record : mapping
        The record that stands.

    Returns
    -------
    list of [column, label, value as text, choices or None]
    """
    return [
        [name, label, _text(record.get(name)), dict(choices) if choices else None]
        for name, label, choices in _FIELDS.get(table, ())
    ]


def _text(value: Any) -> str:
    if value is None or value != value:
        return ""
    return f"{value:.10g}" if isinstance(value, float) else str(value)

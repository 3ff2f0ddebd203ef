"""Which fields of a record a page offers to correct, in the words of the trade."""

from collections.abc import Callable, Mapping
from typing import Any

from trunkwatch.history.written import Finding, Planting, Work
from trunkwatch.vineyard import codes

__all__ = ["correctable"]

_Field = tuple[str, str, Callable[[Any], Any], Mapping[str, str] | None]
#: Column, label, the value that is written, and choices where there are only so many.
_PLACE: tuple[_Field, ...] = (
    ("row", "Row", lambda r: r.named.row, None),
    ("position", "Position", lambda r: r.named.position, None),
)
_FIELDS: Mapping[type, tuple[_Field, ...]] = {
    Finding: (
        *_PLACE, ("date", "Day", lambda r: r.date, None), ("symptom", "What was seen", lambda r: r.symptom, codes.SYMPTOMS),
        ("arm", "Arm", lambda r: r.part.arm, None), ("trunk", "Trunk", lambda r: r.part.trunk or None, None),
        ("percent", "Share dead, %", lambda r: r.percent, None), ("dead", "Dead spur positions", lambda r: r.dead, None),
        ("total", "All spur positions", lambda r: r.total, None), ("cause", "Suspected cause", lambda r: r.cause, codes.CAUSES),
        ("renewal_shoot", "Shoot to retrain", lambda r: r.shoot, codes.RENEWAL_SHOOTS),
        ("shoot_quality", "Quality of the shoot", lambda r: r.shoot_quality, codes.SHOOT_QUALITIES),
        ("cut_height_cm", "Cut above ground, cm", lambda r: r.cut_height_cm, None), ("stain_cm", "Stain, cm", lambda r: r.stain_cm, None),
        ("observer", "Who looked", lambda r: r.observer, None), ("note", "Note", lambda r: r.note, None),
    ),
    Work: (
        *_PLACE, ("date", "Day", lambda r: r.date, None), ("status", "Status", lambda r: r.status, codes.STATUSES),
        ("trunk", "Trunk", lambda r: r.trunk or None, None), ("arm", "Arm", lambda r: r.arm, None),
        ("cut_height_cm", "Cut above ground, cm", lambda r: r.cut_height_cm, None),
        ("wound_protected", "Wound protected", lambda r: r.wound_protected, codes.YES_NO),
        ("not_done", "Not done because", lambda r: r.not_done, codes.NOT_DONE),
        ("hours", "Hours", lambda r: r.hours, None), ("crew", "Crew", lambda r: r.crew, None), ("note", "Note", lambda r: r.note, None),
    ),
    Planting: (
        *_PLACE, ("planted", "Planted", lambda r: r.planted, None), ("removed", "Removed", lambda r: r.removed, None),
        ("reason", "Reason", lambda r: r.reason, codes.REASONS),
    ),
}  # fmt: skip


def correctable(record: Finding | Work | Planting) -> list[list[Any]]:
    """Return the fields of a record that can be corrected.

    Parameters
    ----------
    record : Finding, Work or Planting
        The record that stands.

    Returns
    -------
    list of [column, label, value as text, choices or None]
    """
    return [
        [name, label, _text(written(record)), dict(choices) if choices else None]
        for name, label, written, choices in _FIELDS[type(record)]
    ]


def _text(value: Any) -> str:
    if value is None:
        return ""
    return f"{value:.10g}" if isinstance(value, float) else str(value)

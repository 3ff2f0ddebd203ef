"""Where a record was read from, as a fault shows it."""

from collections.abc import Mapping
from typing import Any

from trunkwatch.vineyard.faults import Fault, Weight

__all__ = ["fault_at"]


def fault_at(
    record: Mapping[str, Any],
    weight: Weight,
    problem: str,
    column: str = "",
    value: str = "",
    expected: str = "",
    *,
    about: tuple[str, ...] = (),
    waits: bool = False,
) -> Fault:
    """Return a fault or note at the file and line that a record was read from; `about` and `waits` as in `Fault`."""
    file, _, line = str(record.get("read_from", "")).rpartition(":")
    number = int(line) if line.isdecimal() else 0
    place = file if number else str(record.get("read_from", ""))
    return Fault(weight, problem, place, number, column, value, expected, about, waits)

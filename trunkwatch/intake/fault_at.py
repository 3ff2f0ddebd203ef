"""Where a record was read from, as a fault shows it."""

from collections.abc import Mapping
from typing import Any

from trunkwatch.vineyard.faults import Fault, Weight

__all__ = ["fault_at"]


def fault_at(
    record: Mapping[str, Any] | str,
    weight: Weight,
    problem: str,
    column: str = "",
    value: str = "",
    expected: str = "",
    *,
    about: tuple[str, ...] = (),
    waits: bool = False,
) -> Fault:
    """Return a fault or note at the file and line that a record, or its `read_from`, names; `about` and `waits` as in `Fault`."""
    read_from = record if isinstance(record, str) else str(record.get("read_from", ""))
    file, _, line = read_from.rpartition(":")
    number = int(line) if line.isdecimal() else 0
    return Fault(weight, problem, file if number else read_from, number, column, value, expected, about, waits)

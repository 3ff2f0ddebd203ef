"""How one row is laid out: alleys within it, and where its bays end."""

import re

from trunkwatch.errors import RecordError

__all__ = ["bay_ends_of", "breaks_of", "natural_key"]

_BREAK = re.compile(r"(\d+)\s*:\s*(\d+(?:\.\d+)?)")
_EVERY = re.compile(r"every\s+(\d+)", re.IGNORECASE)


def breaks_of(text: str, where: str) -> dict[int, float]:
    """Read ``30:6.0; 55:8`` as {30: 6.0, 55: 8.0}: metres from a position to the next.

    Raises
    ------
    RecordError
        If a part cannot be read; the message names `where`.
    """
    breaks: dict[int, float] = {}
    for part in (piece.strip() for piece in text.split(";")):
        if not part:
            continue
        found = _BREAK.fullmatch(part)
        if not found:
            raise RecordError(f"{where}: breaks has {part!r}; expected: position:metres, for example 30:6.0")
        breaks[int(found[1])] = float(found[2])
    return breaks


def bay_ends_of(text: str, first: int, last: int, where: str) -> tuple[int, ...]:
    """Read ``5; 10; 15`` or ``every 5`` as the last position of each bay, the row's last included.

    Raises
    ------
    RecordError
        If it cannot be read or the positions do not rise; the message names `where`.
    """
    if not text.strip():
        return ()
    every = _EVERY.fullmatch(text.strip())
    if every:
        step = int(every[1])
        if step < 1:
            raise RecordError(f"{where}: bay_ends is {text!r}; expected: every 1 or more")
        ends = list(range(first + step - 1, last, step))
    else:
        parts = [piece.strip() for piece in text.split(";") if piece.strip()]
        if not all(part.isdecimal() for part in parts):
            raise RecordError(f"{where}: bay_ends is {text!r}; expected: positions, 5; 10; 15, or every 5")
        ends = [int(part) for part in parts if first <= int(part) < last]
    if ends != sorted(set(ends)):
        raise RecordError(f"{where}: bay_ends is {text!r}; expected: positions that rise")
    return (*ends, last)


def natural_key(label: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts 2 before 10 and 12A after 12."""
    return tuple(
        (0, int(piece), "") if piece.isdecimal() else (1, 0, piece.casefold())
        for piece in re.findall(r"\d+|\D+", label)
    )

"""What the cells of a row say: its positions, the alleys in it, the ends of its bays."""

import math
import re

from trunkwatch.errors import RecordError
from trunkwatch.vineyard.tables import Record, number_in

__all__ = ["bay_ends_of", "breaks_of", "positions_of"]

#: More positions than this in a row are a slip of the pen, and would fill the memory.
MOST_POSITIONS = 100_000
#: No position is numbered higher.
HIGHEST_POSITION = 999_999
#: No alley is so many metres wide, and no row begins so many metres from the base line.
MOST_METRES = 10_000.0

# Six digits and no more: a number of five thousand digits is none that Python turns into an int.
_BREAK = re.compile(r"(\d{1,6})\s*:\s*(\d{1,6}(?:\.\d{1,9})?)")
_EVERY = re.compile(r"every\s+(\d{1,6})", re.IGNORECASE)


def positions_of(record: Record, where: str) -> tuple[int, int]:
    """Return the first and the last position of a row; the first is 1 where it is not written.

    Raises
    ------
    RecordError
        If they are not whole, below 0, far too high, or the last is before the first.
    """
    found = []
    for column, otherwise in (("first", 1.0), ("last", math.nan)):
        value = number_in(record, column)
        value = otherwise if math.isnan(value) else value
        if math.isnan(value):
            raise RecordError(f"{where}: {column} is ''; expected: the last position of the row")
        if not value.is_integer() or value < 0:
            raise RecordError(f"{where}: {column} is {value:g}; expected: a whole number, 0 or more")
        found.append(int(value))
    first, last = found
    if last < first:
        turned = f"; a row numbered from the far end is written first {last}, last {first}, numbered_from end"
        raise RecordError(f"{where}: last is {last}; expected: {first} (first) or more{turned if last > 0 else ''}")
    if last - first >= MOST_POSITIONS:
        raise RecordError(
            f"{where}: last is {_short(str(last))}; expected: at most {MOST_POSITIONS} positions in a row"
        )
    if last > HIGHEST_POSITION:
        raise RecordError(f"{where}: last is {_short(str(last))}; expected: a position up to {HIGHEST_POSITION}")
    return first, last


def breaks_of(text: str, where: str) -> dict[int, float]:
    """Read ``30:6.0; 55:8`` as {30: 6.0, 55: 8.0}: metres from a position to the next.

    Raises
    ------
    RecordError
        If a part cannot be read, is 0 m or names a position twice; the message names `where`.
    """
    breaks: dict[int, float] = {}
    for part in (piece.strip() for piece in text.split(";")):
        if not part:
            continue
        found = _BREAK.fullmatch(part)
        if not found or not 0 < float(found[2]) <= MOST_METRES:
            raise RecordError(
                f"{where}: breaks has {_short(part)!r}; expected: position:metres, for example 30:6.0, up to {MOST_METRES:g} m"
            )
        if int(found[1]) in breaks:
            raise RecordError(f"{where}: breaks has {part!r} after another for {found[1]}; expected: one a position")
        breaks[int(found[1])] = float(found[2])
    return breaks


def bay_ends_of(text: str, first: int, last: int, where: str) -> tuple[int, ...]:
    """Read ``5; 10; 15`` or ``every 5`` as the last position of each bay, the row's last included.

    ``every 5`` counts from the row's first position.

    Raises
    ------
    RecordError
        If it cannot be read, or the positions do not rise or are not in the row; the message
        names `where`.
    """
    if not text.strip():
        return ()
    every = _EVERY.fullmatch(text.strip())
    if every:
        step = int(every[1])
        if step < 1:
            raise RecordError(f"{where}: bay_ends is {text!r}; expected: every 1 or more")
        ends = list(range(first + step - 1, last, step))
        return (*ends, last)
    parts = [piece.strip() for piece in text.split(";") if piece.strip()]
    if not all(part.isdecimal() and len(part) <= 6 for part in parts):
        raise RecordError(f"{where}: bay_ends is {_short(text)!r}; expected: positions, 5; 10; 15, or every 5")
    ends = [int(part) for part in parts]
    if ends != sorted(set(ends)):
        raise RecordError(f"{where}: bay_ends is {_short(text)!r}; expected: positions that rise")
    if ends and not (first <= ends[0] and ends[-1] <= last):
        raise RecordError(f"{where}: bay_ends is {_short(text)!r}; expected: positions from {first} to {last}")
    return tuple(ends) if ends[-1:] == [last] else (*ends, last)


def _short(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:57]}..."

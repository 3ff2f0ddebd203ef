"""Rows as they are typed into one field: labels, lengths, alleys, and what is odd about some of them."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from trunkwatch.errors import FaultyNotesError
from trunkwatch.vineyard.faults import Fault

__all__ = [
    "METERS_IN", "MOST_ROWS", "MOST_VINES", "OddRow", "alleys_in", "lengths_in", "meters_in", "odd_rows_in", "row_labels",
]  # fmt: skip

#: Meters in each unit of length; the foot is the international one.
METERS_IN: Mapping[str, float] = {"m": 1.0, "ft": 0.3048}
#: As many rows, and positions in a row, as `trunkwatch new` takes.
MOST_ROWS, MOST_VINES = 2000, 5000

_LENGTH = re.compile(r"(\d{1,5}(?:[.,]\d{1,6})?)\s*(m|meters?|metres?|ft|foot|feet|')?", re.IGNORECASE)
_PAIR = re.compile(r"(\S.*?)\s*[:=\t]\s*(\S.*)")
_LATER = re.compile(r"starts?\s+(\d{1,4})\s+vines?\s+later", re.IGNORECASE)
_LATER_BY = re.compile(r"starts?\s+(\S+\s*\S*)\s+later", re.IGNORECASE)
_AT = re.compile(r"starts?\s+at\s+(\d{1,4})", re.IGNORECASE)
_ALLEY = re.compile(r"alley\s+(?:of\s+)?(\S+\s*\S*)\s+after\s+(\d{1,4})", re.IGNORECASE)
_FROM_END = re.compile(r"numbered\s+from\s+(?:the\s+)?(?:far\s+)?end", re.IGNORECASE)
_BEHIND = re.compile(r"(?:(\S+(?:\s*[a-z']+)?)\s+)?behind\s+(?:row\s+)?(\S+)", re.IGNORECASE)
_ODD = "starts 3 vines later; starts 4.5 m later; starts at 5; alley 6 after 30; numbered from the end; behind 7A; 6 m behind 7A"


@dataclass(slots=True)
class OddRow:
    """What differs in one row.

    Attributes
    ----------
    later_m : float
        Meters from the base line to the first vine.
    first : int
        First position; 1 where all are there.
    alleys : dict of int to float
        Meters from a position to the next.
    from_end : bool
        Whether it is numbered from the far end.
    behind : str
        Row on the same line of posts behind which it stands; empty where it has a line of its own.
    behind_m : float or None
        Meters from the last vine of that row to its own first; None for one spacing.
    """

    later_m: float = 0.0
    first: int = 1
    alleys: dict[int, float] = field(default_factory=dict)
    from_end: bool = False
    behind: str = ""
    behind_m: float | None = None


def wrong(column: str, problem: str, value: str = "", expected: str = "") -> FaultyNotesError:
    """Return the error of a field."""
    shown = value if len(value) <= 40 else f"{value[:37]}..."
    return FaultyNotesError([Fault("fault", problem, column=column, value=shown, expected=expected)])


def meters_in(text: str, unit: str) -> float | None:
    """Return a length in meters, read in `unit` where it names none; None where it is no length above 0."""
    found = _LENGTH.fullmatch(text.strip())
    if found is None:
        return None
    named = (found[2] or "").casefold()
    own = unit if not named else "ft" if named[0] in "f'" else "m"
    return float(found[1].replace(",", ".")) * METERS_IN[own] or None


def row_labels(first: str, many: int) -> list[str]:
    """Return the labels of rows from the first on: 1, 2, 3; A, B, ... Z, AA; R01, R02.

    Raises
    ------
    FaultyNotesError
        If it cannot be told how the first label goes on.
    """
    if found := re.fullmatch(r"(.*?)(\d{1,6})", first):
        start, wide = int(found[2]), len(found[2])
        return [f"{found[1]}{start + number:0{wide}d}" for number in range(many)]
    if re.fullmatch(r"[A-Za-z]{1,2}", first):
        start, small = _number_of_letters(first.upper()), first.islower()
        return [_letters(start + n).lower() if small else _letters(start + n) for n in range(many)]
    raise wrong("first_label", "it is not clear how the labels go on", first, "a label such as 1, A or R01")


def _number_of_letters(letters: str) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - ord("A") + 1
    return number


def _letters(number: int) -> str:
    out = ""
    while number:
        number, rest = divmod(number - 1, 26)
        out = chr(ord("A") + rest) + out
    return out


def lengths_in(text: str, labels: Sequence[str] | None) -> tuple[list[str] | None, list[int]]:
    """Read the vines of each row: one number for all, one a line, or pairs of row and number.

    Parameters
    ----------
    text : str
        ``60``; ``60`` and ``62`` on lines of their own; ``1: 62, 2: 60``; two columns of a spreadsheet.
    labels : sequence of str, optional
        Labels of the rows; None where the number of rows is to follow from the list.

    Returns
    -------
    labels : list of str or None
        Where the list itself names the rows and no labels were given.
    lengths : list of int
        One a row; a single one where it holds for all.

    Raises
    ------
    FaultyNotesError
        If a part is no number of vines, or the list does not go with the rows.
    """
    parts = [part.strip() for part in re.split(r"[\n;,]", text) if part.strip()]
    if not parts:
        raise wrong("vines", "how many vines stand in each row is not said", expected="one number, or one a row")
    pairs = [_PAIR.fullmatch(part) or re.fullmatch(r"(\S+)\s+(\d+)", part) for part in parts]
    if not any(pairs):
        lengths = [_vines(part) for part in parts]
        if len(lengths) > 1 and labels is not None and len(lengths) != len(labels):
            raise wrong(
                "vines",
                f"{len(lengths)} numbers for {len(labels)} rows",
                expected="one number for all rows, or one for each",
            )
        return None, lengths
    found: dict[str, int] = {}
    for part, pair in zip(parts, pairs, strict=True):
        if pair is None:
            raise wrong("vines", "this part names no row", part, "row and number, such as 1: 62")
        label = pair[1].strip()
        if label in found:
            raise wrong("vines", f"row {label} stands twice", part, "each row once")
        if labels is not None and label not in labels:
            raise wrong("vines", f"there is no row {label}", part, f"a row from {labels[0]} to {labels[-1]}")
        found[label] = _vines(pair[2])
    if labels is None:
        return list(found), list(found.values())
    if lacking := [label for label in labels if label not in found]:
        raise wrong(
            "vines",
            f"no number for row {', '.join(lacking[:8])}{' ...' if len(lacking) > 8 else ''}",
            expected="one for each row",
        )
    return None, [found[label] for label in labels]


def _vines(text: str) -> int:
    text = text.strip()
    if not re.fullmatch(r"\d{1,6}", text) or not 1 <= int(text) <= MOST_VINES:
        raise wrong("vines", "this is no number of vines in a row", text, f"a whole number from 1 to {MOST_VINES}")
    return int(text)


def alleys_in(text: str, column: str, unit: str, example: str) -> tuple[dict[str, float], list[Fault]]:
    """Read ``6: 5; 12: 5.5`` as meters from a row, or a vine, to the next; the good parts, and what is wrong with others."""
    alleys: dict[str, float] = {}
    faults: list[Fault] = []
    # A comma ends a part where another pair follows; else it is a decimal one.
    for part in re.split(r"[\n;]|,(?=[^,;\n]*:)", text):
        if not part.strip():
            continue
        pair = _PAIR.fullmatch(part.strip())
        meters = meters_in(pair[2], unit) if pair else None
        if pair is None or meters is None:
            faults += wrong(column, "this part cannot be read", part.strip(), example).faults
        elif pair[1] in alleys:
            faults += wrong(column, f"{pair[1]} stands twice", part.strip(), "each once").faults
        else:
            alleys[pair[1]] = meters
    return alleys, faults


def odd_rows_in(
    text: str, labels: Sequence[str], unit: str, vine_m: float | None
) -> tuple[dict[str, OddRow], list[Fault]]:
    """Read what is odd about some rows, one row or stretch of rows a line: ``7: starts 3 vines later, alley 6 after 30``.

    Parameters
    ----------
    text : str
        Lines, or parts with semicolons between.
    labels : sequence of str
        All rows of the block.
    unit : {"m", "ft"}
        Of lengths that name none.
    vine_m : float or None
        Meters between vines; None where it is not written.

    Returns
    -------
    odd : dict of str to OddRow
        By label, as far as it can be understood: a line that is half typed takes nothing from the others.
    faults : list of Fault
        The lines and parts that cannot be.
    """
    odd: dict[str, OddRow] = {}
    faults: list[Fault] = []
    for line in (piece.strip() for piece in re.split(r"[\n;]", text)):
        if not line:
            continue
        try:
            for label, part in _parts_of(line, labels):
                _note_odd(odd.setdefault(label, OddRow()), part, label, unit, vine_m)
        except FaultyNotesError as error:
            faults += error.faults
    return odd, faults


def _parts_of(line: str, labels: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Return each row that a line names with each thing that it says of it."""
    rows, colon, said = line.partition(":")
    if not colon or not said.strip():
        raise wrong("odd_rows", "row, colon, and what is odd", line, "such as 7: starts 3 vines later")
    for label in _rows_named(rows.strip(), labels, line):
        for part in (piece.strip() for piece in re.split(r",(?!\d)", said)):
            if part:
                yield label, part


def _rows_named(text: str, labels: Sequence[str], line: str) -> Iterator[str]:
    for part in (piece.strip() for piece in text.split(",")):
        first, dots, last = (piece.strip() for piece in part.partition(".."))
        last = last if dots else first
        for label in (first, last):
            if label not in labels:
                raise wrong(
                    "odd_rows", f"there is no row {label or '(empty)'}", line, f"rows from {labels[0]} to {labels[-1]}"
                )
        begin, end = sorted((labels.index(first), labels.index(last)))
        yield from labels[begin : end + 1]


def _note_odd(own: OddRow, part: str, label: str, unit: str, vine_m: float | None) -> None:
    if _FROM_END.fullmatch(part):
        own.from_end = True
        return
    if found := _ALLEY.fullmatch(part):
        own.alleys[int(found[2])] = _length(found[1], unit, part)
        return
    if found := _BEHIND.fullmatch(part):
        own.behind = found[2]
        own.behind_m = _length(found[1], unit, part) if found[1] else None
        return
    if own.later_m or own.first > 1:
        raise wrong("odd_rows", f"where row {label} starts stands twice, or this part cannot be read", part, _ODD)
    if found := _AT.fullmatch(part):
        own.first = int(found[1])
    elif found := _LATER.fullmatch(part):
        if vine_m is None:
            raise wrong(
                "odd_rows", "how far that is hangs on the spacing", part, "the spacing between vines, or a length"
            )
        own.later_m = int(found[1]) * vine_m
    elif (found := _LATER_BY.fullmatch(part)) and re.search(r"[a-z']\s*$", found[1], re.IGNORECASE):
        own.later_m = _length(found[1], unit, part)
    else:
        raise wrong("odd_rows", "this part cannot be read", part, _ODD)


def _length(text: str, unit: str, part: str) -> float:
    meters = meters_in(text, unit)
    if meters is None:
        raise wrong("odd_rows", "this is no length", part, "such as 6, 6.5 m or 20 ft")
    return meters

"""One cell of a spreadsheet: what was written, what is meant, and what is wrong with it."""

import datetime as dt
import difflib
import math
import re
from dataclasses import dataclass, replace
from typing import Any, Literal

from trunkwatch.spreadsheets.words import proposed_arm, proposed_symptom
from trunkwatch.vineyard.calendar import FIRST_YEAR, LAST_YEAR, is_any_day, is_iso_date
from trunkwatch.vineyard.faults import Weight
from trunkwatch.vineyard.tables import Column

__all__ = ["DayOrder", "Said", "day_as_told", "is_formula_error", "read_cell"]

DayOrder = Literal["", "day", "month"]

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_DMY = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{2}|\d{4})")
_YMD = re.compile(r"(\d{4})[./-](\d{1,2})[./-](\d{1,2})")
_RUN_ON = re.compile(r"((?:19|20)\d{2})(\d{2})(\d{2})")
_NAMED = re.compile(
    r"(?:[A-Za-z]+,? )?(?:(\d{1,2})(?:st|nd|rd|th)?[ .-]*([A-Za-z]{3,9})|([A-Za-z]{3,9})[ .-]*(\d{1,2})(?:st|nd|rd|th)?),?[ .-]*(\d{4}|\d{2})"
)
_DATE_TIME = re.compile(r"(\d{4}-\d{2}-\d{2})[T ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?")
_MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
_MONTH_CELL = re.compile(r"(\d{1,4})[- ]([A-Za-z]{3,9})([- ]\d{2,4})?|([A-Za-z]{3,9})[- ](\d{1,4})")
_YES = {"yes": "yes", "y": "yes", "true": "yes", "1": "yes", "no": "no", "n": "no", "false": "no", "0": "no"}
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff]")  # no spreadsheet holds them, nor halves of letters
#: Nothing that is written about vines is so large, in whatever money.
MOST_NUMBER = 1e12
#: What spreadsheet programs show where a formula went wrong.
_ERRORS = frozenset({"#n/a", "#ref!", "#value!", "#div/0!", "#name?", "#null!", "#num!", "#spill!", "########"})
_DAY_ZERO = dt.date(1899, 12, 30)  # day 0 of the days that spreadsheets count, for days after 1900-02-28
#: Text columns in which a spreadsheet likes to see dates where people wrote ranges or labels.
_LABELS = frozenset({"row", "position", "bay", "covered", "breaks", "bay_ends"})


@dataclass(frozen=True, slots=True)
class Said:
    """What a cell says: its value, or what is wrong; or its value and a remark.

    `days` is how many days may be meant by one that is not in ISO form.
    """

    value: str | float
    weight: Weight | None = None
    problem: str = ""
    expected: str = ""
    days: int = 0


def is_formula_error(text: str) -> bool:
    """Tell whether a spreadsheet shows this where a formula went wrong: #N/A, #REF! ..."""
    return text.casefold() in _ERRORS


def _fault(column: Column, problem: str, expected: str) -> Said:
    return Said(float("nan") if column.is_number else "", "fault", problem, expected)


def read_cell(column: Column, raw: Any) -> Said:
    """Read one cell of a column.

    Parameters
    ----------
    column : Column
        What the cell may hold.
    raw : str, number, date or None
        As the file has it: text from CSV, typed values from XLSX.

    Returns
    -------
    Said
        An empty cell is "" or nan. A fault has no value.
    """
    if raw is None or (isinstance(raw, float) and raw != raw):
        raw = ""
    if isinstance(raw, (dt.datetime, dt.date)):
        return _typed_date(column, raw)
    if isinstance(raw, int) and abs(raw) >= MOST_NUMBER:
        raw = float(raw) if abs(raw) < 10**300 else math.inf  # of more digits than can be told as text
    text = str(raw)
    if isinstance(raw, bool):
        text = "yes" if raw else "no"
    elif isinstance(raw, float) and raw.is_integer() and abs(raw) < MOST_NUMBER:
        text = str(int(raw))
    if _CONTROL.search(text):
        said = read_cell(column, _CONTROL.sub("", text))
        return replace(
            said, weight=said.weight or "note", problem=said.problem or "unprintable characters were left out"
        )
    tidy = " ".join(text.split()) if column.kind != "text" or column.name in _LABELS else text.strip()
    said = _of_text(column, tidy)
    if said.weight is None and tidy != text and text.strip() != tidy:
        return Said(said.value, "note", "spaces were left out")
    return said


def _of_text(column: Column, text: str) -> Said:
    if not text:
        if column.required:
            return _fault(
                column,
                f"{column.name} is empty",
                f"{column.meaning}; a merged cell holds its value in its first line only",
            )
        return Said(float("nan") if column.is_number else "")
    if is_formula_error(text):
        if column.name == "note":
            return Said(text, "note", "the spreadsheet shows an error here, or somebody wrote it: taken as it stands")
        return _fault(column, "the spreadsheet shows an error here instead of a value", "the value itself")
    if column.is_number:
        return _number(column, text)
    if column.kind == "code":
        return _code(column, text)
    if column.kind == "date":
        return _date(column, text)
    return _text(column, text)


def _typed_date(column: Column, raw: dt.date) -> Said:
    if column.kind == "date" or column.name in ("planted", "removed", "recorded_at"):
        day = (raw.date() if isinstance(raw, dt.datetime) else raw).isoformat()
        return Said(day) if column.kind != "date" or is_iso_date(day) else _date(column, day)
    return _mangled(column)


def _mangled(column: Column) -> Said:
    how = "two dots between numbers, as in 1..12" if column.name == "covered" else column.meaning
    return _fault(
        column,
        f"a spreadsheet has turned this {column.name} into a date",
        f"{how}; format the column as text",
    )


def _text(column: Column, text: str) -> Said:
    if column.name in ("planted", "removed"):
        return Said(text) if re.fullmatch(r"\d{4}", text) else _date(column, text)
    if column.name in _LABELS and _looks_like_date(text):
        return _mangled(column)
    if column.name in ("position", "bay") and re.fullmatch(r"\d+[.,]0+", text):
        return Said(re.split("[.,]", text)[0])
    return Said(text)


def _looks_like_date(text: str) -> bool:
    if is_iso_date(text) or _DATE_TIME.fullmatch(text) or _DMY.fullmatch(text) or _YMD.fullmatch(text):
        return True
    found = _MONTH_CELL.fullmatch(text)
    word = (found[2] or found[4]) if found else ""
    return bool(found) and word[:3].casefold() in _MONTHS


def _number(column: Column, text: str) -> Said:
    bare = text.removesuffix("%").strip() if column.unit == "%" else text
    if column.unit and bare.endswith(f" {column.unit}"):
        bare = bare.removesuffix(column.unit).strip()
    wanted = _range(column)
    if not _NUMBER.fullmatch(bare):
        return _fault(column, f"{column.name} is no number", wanted)
    value = float(bare.replace(",", "."))
    if not abs(value) < MOST_NUMBER:
        return _fault(
            column,
            f"{column.name} is larger than any number here",
            wanted if column.high is not None else f"{wanted}, below {MOST_NUMBER:g}",
        )
    if column.kind == "whole" and not value.is_integer():
        return _fault(column, f"{column.name} is no whole number", wanted)
    too_low = column.low is not None and value < column.low
    if too_low or (column.high is not None and value > column.high):
        return _fault(column, f"{column.name} cannot be", wanted)
    if column.unit == "%" and 0 < value < 1 and bare == text:
        return _fault(
            column,
            f"{column.name} under one percent is unclear",
            f"{100 * value:g} if you mean {100 * value:g} %; {value:g} % with its sign if you mean that",
        )
    if "," in bare:
        return Said(value, "note", f"read as {value:g}: a decimal comma")
    return Said(value)


def _range(column: Column) -> str:
    kind = "a whole number" if column.kind == "whole" else "a number"
    unit = f" of {column.unit}" if column.unit else ""
    if column.low is not None and column.high is not None:
        return f"{kind}{unit} from {column.low:g} to {column.high:g}"
    return f"{kind}{unit}" + (f", {column.low:g} or more" if column.low is not None else "")


def _code(column: Column, text: str) -> Said:
    word = text.casefold().replace(" ", "_").replace("-", "_")
    if set(column.codes) == {"yes", "no"}:
        word = _YES.get(word, word)
    if word in column.codes:
        return Said(word, "note", f"read as {word}") if word != text and column.codes != ("yes", "no") else Said(word)
    own = {"symptom": proposed_symptom, "arm": proposed_arm}.get(column.name, lambda _: "")(text)
    near = difflib.get_close_matches(word, column.codes, n=1, cutoff=0.72)
    if near and not (own and own != near[0]):
        expected = f"{near[0]} perhaps"
    else:
        expected = own or f"one of {', '.join(column.codes)}"
    return _fault(column, f"unknown {column.name}", expected)


def _date(column: Column, text: str) -> Said:
    if is_iso_date(text):
        return Said(text)
    if is_any_day(text):
        return _fault(
            column,
            f"{column.name} lies in a year without vines",
            f"a day from {FIRST_YEAR} to {LAST_YEAR}; an open end stays empty",
        )
    timed = _DATE_TIME.fullmatch(text)
    if timed and is_iso_date(timed[1]):
        return Said(timed[1], "note", f"read as {timed[1]}: the time of day was left out")
    days = _days_meant(text)
    if days:
        meant = (
            f"{days[0]} or {days[1]}: write the one you mean" if len(days) == 2 else f"{days[0]} if you mean that day"
        )
        return replace(_fault(column, "date is not in ISO form", meant), days=len(days))
    return _fault(column, f"{column.name} is no date", "a real day as YYYY-MM-DD")


def _days_meant(text: str) -> list[str]:
    """Return the days that a text like 03/04/2026 could be; they are asked for, never guessed."""
    if parts := _YMD.fullmatch(text) or _RUN_ON.fullmatch(text):
        days = {f"{parts[1]}-{int(parts[2]):02d}-{int(parts[3]):02d}"}
    elif parts := _DMY.fullmatch(text):
        one, two, full = int(parts[1]), int(parts[2]), _full_year(parts[3])
        days = {f"{full}-{two:02d}-{one:02d}", f"{full}-{one:02d}-{two:02d}"}
    elif (parts := _NAMED.fullmatch(text)) and (parts[2] or parts[3])[:3].casefold() in _MONTHS:
        month = _MONTHS.index((parts[2] or parts[3])[:3].casefold()) + 1
        days = {f"{_full_year(parts[5])}-{month:02d}-{int(parts[1] or parts[4]):02d}"}
    elif re.fullmatch(r"[2-7]\d{4}", text):  # 1954 to 2119, as a spreadsheet counts days
        days = {(_DAY_ZERO + dt.timedelta(days=int(text))).isoformat()}
    else:
        days = set()
    return sorted(day for day in days if is_iso_date(day))


def _full_year(year: str) -> str:
    return year if len(year) == 4 else f"20{year}"


def day_as_told(text: str, order: DayOrder) -> str:
    """Return a day as YYYY-MM-DD where the writer said how days are written; other text as it is.

    Parameters
    ----------
    text : str
        As written: 03/04/2026, 3.4.26, 3 Apr 2026, 2026/4/3.
    order : {"", "day", "month"}
        Which comes first; "" takes nothing.
    """
    if not order:
        return text
    tidied = " ".join(text.split())
    if parts := _DMY.fullmatch(tidied):
        one, two = (parts[1], parts[2]) if order == "day" else (parts[2], parts[1])
        day = f"{_full_year(parts[3])}-{int(two):02d}-{int(one):02d}"
        return day if is_iso_date(day) else text
    days = _days_meant(tidied) if not tidied.isdecimal() else []
    return days[0] if len(days) == 1 else text

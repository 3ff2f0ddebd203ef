"""Days as growers write them: in cells, in headings, in names of sheets.

A day is a key: a day as YYYY-MM-DD, or what is less than a day and needs one from the mapping file: ``2024`` (a year),
``2024-08`` (a month), ``summer 2024`` (a look of a season).
"""

import datetime as dt
import re
from typing import Any

from trunkwatch.spreadsheets.book.guess import plain
from trunkwatch.spreadsheets.book.trade_words import words_in
from trunkwatch.spreadsheets.cells import DayOrder
from trunkwatch.vineyard.calendar import is_iso_date

__all__ = ["MIDDLE", "day_in_text", "day_key", "is_day", "middle_day", "order_of"]

_ZERO = dt.date(1899, 12, 30)
_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january enero ene janvier janv gennaio gen januar janner janeiro", "feb february febrero fevrier fev febbraio februar fevereiro",
            "mar march marzo mars marz marco", "apr april abril abr avril avr aprile", "may mayo mai maggio mag maio", "jun june junio juin giugno giu juni junho",
            "jul july julio juillet juil luglio lug juli julho", "aug august agosto ago aout", "sep sept september septiembre septembre settembre set setembro",
            "oct october octubre octobre ottobre ott oktober okt outubro out", "nov november noviembre novembre novembro",
            "dec december diciembre dic decembre dicembre dezember dez dezembro",
        ), start=1,
    )
    for name in names.split()
}  # fmt: skip
_LOOKS = {
    **dict.fromkeys(words_in("winter invierno hiver inverno dormant dormancy pruning poda taille potatura rebschnitt"), "dormant"),
    **dict.fromkeys(words_in("spring primavera printemps fruhjahr fruhling"), "spring"),
    **dict.fromkeys(words_in("summer verano ete estate sommer verao harvest vendimia vendange vendemmia ernte vindima fall autumn otono automne autunno herbst"), "summer"),
}  # fmt: skip
#: Month and day in the middle of each look, by hemisphere, and whether the year is that of the season.
MIDDLE = {
    ("north", "dormant"): ("01-15", 0), ("north", "spring"): ("05-15", 0), ("north", "summer"): ("08-15", 0),
    ("south", "dormant"): ("07-15", -1), ("south", "spring"): ("11-15", -1), ("south", "summer"): ("02-15", 0),
}  # fmt: skip

_DMY = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d{2})")
_YMD = re.compile(r"(\d{4})[./-](\d{1,2})[./-](\d{1,2})(?:[T ]\d{1,2}:\d{2}.*)?")
_RUN_ON = re.compile(r"((?:19|20)\d{2})(0[1-9]|1[0-2])([0-3]\d)")
_YEAR = re.compile(r"((?:19|20)\d{2})")
_TWO_YEARS = re.compile(r"((?:19|20)\d{2})\s*[/-]\s*((?:19|20)?\d{2})")
_YEAR_MONTH = re.compile(r"((?:19|20)\d{2})[-/.](0?[1-9]|1[0-2])|(0?[1-9]|1[0-2])[/.-]((?:19|20)\d{2})")
_DAY_WORDS = re.compile(
    r"(\d{1,2})(?:st|nd|rd|th|er|o|º|ª)?[.\s-]*(?:de |d'|di )?([a-z]{3,10})\.?[,\s-]*(?:de |del )?((?:19|20)\d{2}|\d{2})"
)
_WORDS_DAY = re.compile(r"([a-z]{3,10})\.?[\s-]*(\d{1,2})(?:st|nd|rd|th)?[,\s]+((?:19|20)\d{2})")
_MONTH_YEAR = re.compile(r"([a-z]{3,10})\.?[\s/'-]*(?:de |del )?((?:19|20)\d{2}|\d{2})")
_LOOK_YEAR = re.compile(r"([a-z]{3,12})\s*(?:de |del )?((?:19|20)\d{2}(?:\s*[/-]\s*(?:19|20)?\d{2})?)")
_IN_TEXT = (
    re.compile(r"(?<!\d)\d{4}[./-]\d{1,2}[./-]\d{1,2}(?!\d)"), re.compile(r"(?<!\d)\d{1,2}([./-])\d{1,2}\1(?:\d{4}|\d{2})(?!\d)"),
    _DAY_WORDS, _WORDS_DAY, _LOOK_YEAR, _MONTH_YEAR, _TWO_YEARS, re.compile(r"(?<!\d)(?:19|20)\d{2}(?!\d)"),
)  # fmt: skip


def is_day(key: str) -> bool:
    """Tell whether a key is a day, not a year, a month or a look that needs one."""
    return is_iso_date(key)


def middle_day(season: int, look: str, hemisphere: str) -> str:
    """Return the day in the middle of a look of a season."""
    day, shift = MIDDLE[hemisphere, look]
    return f"{season + shift}-{day}"


def order_of(texts: list[str]) -> tuple[DayOrder, str]:
    """Tell which comes first in days like 03/04/2026, as far as the days themselves show it; "" and a text that may be either, else.

    Where they show both, the order is "" and the text is two of them.
    """
    first: dict[str, str] = {}
    either = ""
    for text in texts:
        parts = _DMY.fullmatch(text.strip())
        if not parts:
            continue
        one, two = int(parts[1]), int(parts[3])
        if one > 12 >= two:
            first.setdefault("day", text)
        elif two > 12 >= one:
            first.setdefault("month", text)
        elif one != two:
            either = either or text
    if len(first) == 2:
        return "", f"{first['day']} and {first['month']}"
    if first:
        return ("day" if "day" in first else "month"), ""
    return "", either


def day_key(raw: Any, order: DayOrder = "", *, serials: bool = False) -> str:
    """Return the key of a day, "" where the cell holds none.

    Parameters
    ----------
    raw : object
        Cell.
    order : {"", "day", "month"}
        Which comes first in 03/04/2026; "" reads only what can be read one way.
    serials : bool
        Whether numbers like 45500 are days as spreadsheets count them.
    """
    if isinstance(raw, (dt.datetime, dt.date)):
        day = (raw.date() if isinstance(raw, dt.datetime) else raw).isoformat()
        return day if is_iso_date(day) else ""
    if isinstance(raw, (int, float)) and not isinstance(raw, bool):
        return _of_number(raw, serials=serials)
    text = " ".join(str(raw or "").split())
    if text.isdecimal():
        return _of_number(int(text), serials=serials) if len(text) < 8 else _run_on(text)
    return _of_text(text, order)


def _of_number(raw: float, *, serials: bool) -> str:
    if raw != raw or (not float(raw).is_integer() and not serials):
        return ""
    if 1950 <= raw <= 2100 and float(raw).is_integer():
        return str(int(raw))
    if serials and 25_000 <= raw < 60_000:
        return (_ZERO + dt.timedelta(days=int(raw))).isoformat()
    return _run_on(str(int(raw)))


def _run_on(text: str) -> str:
    parts = _RUN_ON.fullmatch(text)
    return _iso(parts[1], parts[2], parts[3]) if parts else ""


def _of_text(text: str, order: DayOrder) -> str:
    if parts := _YMD.fullmatch(text):
        return _iso(parts[1], parts[2], parts[3])
    if parts := _DMY.fullmatch(text):
        return _of_dmy(int(parts[1]), int(parts[3]), parts[4], order)
    bare = plain(text)
    if parts := _DAY_WORDS.fullmatch(bare):
        return _iso(parts[3], _MONTHS.get(parts[2], 0), parts[1])
    if parts := _WORDS_DAY.fullmatch(bare):
        return _iso(parts[3], _MONTHS.get(parts[1], 0), parts[2])
    if parts := _YEAR_MONTH.fullmatch(bare):
        return f"{parts[1] or parts[4]}-{int(parts[2] or parts[3]):02d}"
    if (parts := _LOOK_YEAR.fullmatch(bare)) and parts[1] in _LOOKS:
        season = _season(parts[2])
        return f"{_LOOKS[parts[1]]} {season}" if season else ""
    if (parts := _MONTH_YEAR.fullmatch(bare)) and parts[1] in _MONTHS:
        return f"{_full(parts[2])}-{_MONTHS[parts[1]]:02d}"
    if _TWO_YEARS.fullmatch(bare):
        return _season(bare)
    parts = _YEAR.fullmatch(bare)
    return parts[1] if parts else ""


def _season(text: str) -> str:
    """Return the year of the harvest: of 2023/24 the second, of 2024 itself; "" where the years do not follow each other."""
    parts = _TWO_YEARS.fullmatch(text.strip())
    if not parts:
        return text.strip()
    second = parts[2] if len(parts[2]) == 4 else f"{parts[1][:2]}{parts[2]}"
    return second if int(second) == int(parts[1]) + 1 else ""


def _of_dmy(one: int, two: int, year: str, order: DayOrder) -> str:
    if one > 12 or (order == "day" and two <= 12):
        return _iso(year, two, one)
    if two > 12 or order == "month" or one == two:
        return _iso(year, one, two)
    return ""


def _full(year: str) -> str:
    return year if len(year) == 4 else f"20{year}"


def _iso(year: str, month: Any, day: Any) -> str:
    text = f"{_full(year)}-{int(month):02d}-{int(day):02d}"
    return text if is_iso_date(text) else ""


def day_in_text(text: str, order: DayOrder = "") -> tuple[str, str]:
    """Return the key of the one day that a heading, a title or a name holds, and the text without it; "" where it holds none."""
    bare = " ".join(str(text).replace("_", " ").split())
    if key := day_key(bare, order):
        return key, ""
    if _DMY.search(bare) and not any(day_key(found[0], order) for found in _DMY.finditer(bare)):
        return "", bare  # 03/04/2026 may be two days: its year alone would be a third thing
    folded = plain(bare)
    same_length = len(folded) == len(bare)
    for pattern in _IN_TEXT:
        for parts in pattern.finditer(folded):
            if key := day_key(parts[0].strip(), order):
                rest = (
                    (bare[: parts.start()] + " " + bare[parts.end() :])
                    if same_length
                    else folded.replace(parts[0], " ")
                )
                return key, " ".join(rest.split()).strip(" -–:,|()[]")
    return "", bare

"""A weather station's file, whatever its headings, units and codes for a missing value, as a sheet of the weather table.

Known by themselves: the daily files of the Global Historical Climatology Network by station, in both their forms (one line a day,
known by columns of attributes; one line a value), whose figures are tenths of a degree and of a mm; and the files of a point of two
public grids (`open_data`). Of all others each column says its
unit, in its heading or by an option: nothing is guessed, for Fahrenheit looks like a hot year.
"""

import re
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any

from trunkwatch.errors import RecordError
from trunkwatch.spreadsheets.headings import tidy
from trunkwatch.spreadsheets.located import heading_of, number_of, text_of
from trunkwatch.spreadsheets.open_data import open_data_sheet
from trunkwatch.spreadsheets.worksheet import Worksheet
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.tables import TABLES

__all__ = ["MISSING", "UNITS", "station_sheet", "units_of"]

#: Codes that stations write where a value is missing; none of them can be a temperature, rain or snow.
MISSING = ("-99", "-99.9", "-999", "-999.9", "-9999", "-9999.9", "m", "na", "n/a", "nan", "null", "-", "--")
#: Unit -> factor and what is taken off first, to C, mm or cm.
UNITS: Mapping[str, tuple[str, float, float]] = {
    "c": ("c", 1.0, 0.0), "f": ("c", 1 / 1.8, 32.0), "k": ("c", 1.0, 273.15), "c/10": ("c", 0.1, 0.0),
    "mm": ("mm", 1.0, 0.0), "in": ("mm", 25.4, 0.0), "cm": ("mm", 10.0, 0.0), "mm/10": ("mm", 0.1, 0.0),
}  # fmt: skip
_SPELT = {
    "°c": "c",
    "celsius": "c",
    "deg c": "c",
    "°f": "f",
    "fahrenheit": "f",
    "deg f": "f",
    "inch": "in",
    "inches": "in",
    "kelvin": "k",
}
#: Column of the table -> words that stations head it with.
_HEADS = {
    "date": ("date", "day", "datum"),
    "t_min_c": ("t_min_c", "tmin", "t_min", "min_temp", "temp_min", "low", "minimum_temperature", "temperature_min"),
    "t_max_c": ("t_max_c", "tmax", "t_max", "max_temp", "temp_max", "high", "maximum_temperature", "temperature_max"),
    "rain_mm": ("rain_mm", "prcp", "rain", "precip", "precipitation", "rainfall"),
    "snow_cm": ("snow_cm", "snwd", "snow_depth", "snow_on_ground"),
}  # fmt: skip
_OWN = {"t_min_c": "c", "t_max_c": "c", "rain_mm": "mm", "snow_cm": "cm"}
_KIND = {"t_min_c": "c", "t_max_c": "c", "rain_mm": "mm", "snow_cm": "mm"}
#: Other columns of the table, which are taken as they stand.
_BESIDE = frozenset(TABLES["weather"].names) - _HEADS.keys()
_GHCN = {
    "TMIN": ("t_min_c", "c/10"),
    "TMAX": ("t_max_c", "c/10"),
    "PRCP": ("rain_mm", "mm/10"),
    "SNWD": ("snow_cm", "mm"),
}
_TENTHS = dict(_GHCN.values())
#: No temperature in degrees of any kind is as large, and from where on figures are codes.
_NO_DEGREES, _NO_VALUE = 130, 900
_HOTTEST_C = 56.7
_STATION, _DAY = re.compile(r"[A-Z]{2}[A-Z0-9_-]{9}"), re.compile(r"\d{8}")
_IN_HEADING = re.compile(r"[\[(]([^\])]*)[\])]\s*$|_(c|f|mm|in|cm)$", re.IGNORECASE)


def units_of(text: str) -> dict[str, str]:
    """Read units as they are typed, "F, in": one of temperature, one of rain and snow.

    Raises
    ------
    RecordError
        If a unit is none, or two are of one kind.
    """
    found: dict[str, str] = {}
    for word in filter(None, (part.strip() for part in text.split(","))):
        unit = _unit(word)
        if unit is None:
            raise RecordError(f"{word!r} is no unit: one of {', '.join(UNITS)}; `F, in` for both kinds")
        if UNITS[unit][0] in found:
            raise RecordError(f"{text!r} gives two units of one kind: one of temperature, one of rain and snow")
        found[UNITS[unit][0]] = unit
    return found


def _unit(word: str) -> str | None:
    plain = word.strip().casefold()
    plain = _SPELT.get(plain, plain)
    return plain if plain in UNITS else None


def station_sheet(
    sheet: Worksheet,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    missing: Collection[str] = (),
) -> Worksheet:
    """Return the sheet under the headings of the weather table, in C, mm and cm.

    Parameters
    ----------
    sheet : Worksheet
        Raw cells.
    columns : mapping of str to str, optional
        Column of the table -> heading of the sheet, where it is not understood.
    units : mapping of str to str, optional
        As `units_of` reads them: they hold for columns whose heading has no unit in brackets.
    missing : collection of str
        Codes for a missing value beside the usual ones.

    Raises
    ------
    RecordError
        If a column is not there, or its unit is not said.
    """
    sheet = open_data_sheet(sheet) or sheet
    codes = frozenset([*MISSING, *(one.strip().casefold() for one in missing)])
    if _is_one_value_a_line(sheet):
        return _from_values(sheet, codes)
    names = _columns(sheet, columns or {})
    flags = {name: place for name, heading in names.items() if (place := _flags_at(sheet, heading)) is not None}
    tenths = bool(flags) and not units and _are_tenths(sheet, names)
    how = {
        name: _TENTHS[name] if tenths and name != "date" else _unit_of(name, heading, units or {}, sheet)
        for name, heading in names.items()
    }
    at = {name: sheet.headings.index(heading) for name, heading in names.items()}
    at |= {
        name: place
        for place, name in enumerate(map(tidy, sheet.headings))
        if name in _BESIDE and place not in at.values()
    }
    counts: Counter[str] = Counter()
    lines = []
    for line, cells in sheet.lines:
        row = [
            cells[place]
            if name not in _KIND
            else _flagged(cells, flags.get(name), counts) or _value(cells[place], name, how[name], codes, counts)
            for name, place in at.items()
        ]
        lines.append((line, [None if cell == _OUT else cell for cell in row]))
    _refuse_heat(sheet, list(at), lines)
    return replace(sheet, headings=list(at), lines=lines, faults=[*sheet.faults, *_told(sheet, how, counts)])


def _refuse_heat(sheet: Worksheet, names: Sequence[str], lines: Sequence[tuple[int, list[Any]]]) -> None:
    """Refuse a file of another unit as a whole: line by line its winters would pass for warm ones."""
    places = [place for place, name in enumerate(names) if _KIND.get(name) == "c"]
    hot = [
        (cells[place], line)
        for line, cells in lines
        for place in places
        if isinstance(cells[place], float) and cells[place] > _HOTTEST_C
    ]
    if hot:
        warmest, line = max(hot)
        raise RecordError(
            f"{sheet.file}: {len(hot)} temperatures are above {_HOTTEST_C:g} C, more than was ever measured on earth, the highest {warmest:g} C in "
            f"line {line}: this looks like Fahrenheit; --units F turns it"
        )


#: Hours of reading from and to which a day's highest temperature is that of the day before.
_MORNING = ("0300", "1100")
#: Stands for a value that is left out.
_OUT = "left out"


def _columns(sheet: Worksheet, columns: Mapping[str, str]) -> dict[str, str]:
    """Return the heading of each column of the table that the sheet has."""
    strange = [name for name in columns if name not in _HEADS]
    if strange:
        raise RecordError(f"weather has no column {strange[0]!r}; it has {', '.join(_HEADS)}")
    found = {name: heading_of(heading, sheet) for name, heading in columns.items()}
    bare = {heading: _bare(heading) for heading in sheet.headings if heading and heading not in found.values()}
    for name, words in _HEADS.items():
        if name in found:
            continue
        fits = [heading for heading, plain in bare.items() if plain in words or tidy(heading) in words]
        if len(fits) > 1:
            raise RecordError(
                f"{sheet.file}: {' and '.join(fits)} could both be {name}: --map {name}=HEADING says which"
            )
        if fits:
            found[name] = fits[0]
    if "date" not in found or not found.keys() & _OWN.keys():
        lacks = "date" if "date" not in found else "t_min_c"
        listed = ", ".join(heading for heading in sheet.headings if heading) or "none"
        raise RecordError(
            f"{sheet.file}: no heading is understood as {lacks}; its headings: {listed}. --map {lacks}=HEADING says which it is"
        )
    return {name: found[name] for name in _HEADS if name in found}


def _bare(heading: str) -> str:
    """Return a heading without its unit."""
    return re.sub(r"_(c|f|mm|in|cm)$", "", tidy(heading))


def _unit_of(name: str, heading: str, units: Mapping[str, str], sheet: Worksheet) -> str:
    if name == "date":
        return ""
    written = _IN_HEADING.search(heading)
    in_brackets, at_end = (written[1] or "", written[2] or "") if written else ("", "")
    # Our own headings end in a unit whatever stands below them: what somebody says of the file outweighs that.
    unit = _unit(in_brackets) or units.get(_KIND[name]) or _unit(at_end)
    if unit is None or UNITS[unit][0] != _KIND[name]:
        kind = "temperature" if _KIND[name] == "c" else "rain or snow"
        raise RecordError(
            f"{sheet.file}: column {heading!r} says no unit of {kind}: give it as in --units 'C, mm' or --units 'F, in'"
        )
    return unit


def _are_tenths(sheet: Worksheet, names: Mapping[str, str]) -> bool:
    """Tell whether temperatures beside attributes are tenths: whole numbers, some of them too large for degrees of any kind.

    The same columns are handed out in degrees as well, in the unit that was asked for.
    """
    places = [sheet.headings.index(heading) for name, heading in names.items() if _KIND.get(name) == "c"]
    cells = [number_of(text_of(line[place])) for _, line in sheet.lines for place in places]
    known = [number for number in cells if number is not None and abs(number) < _NO_VALUE]
    return bool(known) and all(number == int(number) for number in known) and max(map(abs, known)) > _NO_DEGREES


def _flags_at(sheet: Worksheet, heading: str) -> int | None:
    wanted = f"{heading.casefold()}_attributes"
    return next((place for place, other in enumerate(sheet.headings) if other.casefold() == wanted), None)


def _flagged(cells: list[Any], place: int | None, counts: Counter[str]) -> str:
    """Tell a value that failed a check where it was collected: the second of the attributes is not empty."""
    parts = text_of(cells[place]).split(",") if place is not None else []
    _note_hour(parts[3] if len(parts) > 3 else "", counts)
    if len(parts) > 1 and parts[1].strip():
        counts["flag"] += 1
        return _OUT
    return ""


def _note_hour(text: str, counts: Counter[str]) -> None:
    """Count a value that was read in the morning."""
    hour = text.strip().zfill(4) if text.strip() else ""
    if hour.isdigit() and _MORNING[0] <= hour <= _MORNING[1]:
        counts["morning"] += 1


def _value(cell: Any, name: str, unit: str, codes: Collection[str], counts: Counter[str]) -> Any:
    text = text_of(cell).casefold()
    if not text:
        return _OUT
    if text in codes:
        counts["missing"] += 1
        return _OUT
    number = number_of(text)
    if number is None:  # the reader of cells says what is wrong with it
        return cell
    _, factor, off = UNITS[unit]
    return round((number - off) * factor / (10 if name == "snow_cm" else 1), 2)


def _told(sheet: Worksheet, how: Mapping[str, str], counts: Counter[str]) -> list[Fault]:
    turned = [
        f"{name} from {unit.upper() if unit in 'cfk' else unit}"
        for name, unit in how.items()
        if name != "date" and unit != _OWN[name]
    ]
    notes = [Fault("note", f"units were turned: {', '.join(turned)}", sheet.file)] if turned else []
    if counts["missing"]:
        notes.append(
            Fault(
                "note",
                f"{counts['missing']:,} cell(s) with a code for a missing value: taken as not measured",
                sheet.file,
            )
        )
    if counts["flag"]:
        notes.append(
            Fault(
                "note",
                f"{counts['flag']:,} value(s) that failed a check where they were collected: left out",
                sheet.file,
            )
        )
    if counts["morning"]:
        notes.append(
            Fault(
                "note",
                f"{counts['morning']:,} value(s) were read in the morning: such a highest temperature, and such rain, are mostly of the day before; "
                "days are taken as they are written, so that a night may stand beside the next day's warmth",
                sheet.file,
            )
        )
    return notes


def _is_one_value_a_line(sheet: Worksheet) -> bool:
    """Whether each line is station, day, element, value ... with or without headings."""
    first = sheet.headings[:3]
    if [tidy(one) for one in first] in (["id", "date", "element"], ["station", "date", "element"]):
        return True
    return len(first) == 3 and bool(_STATION.fullmatch(first[0]) and _DAY.fullmatch(first[1])) and len(first[2]) == 4


def _from_values(sheet: Worksheet, codes: Collection[str]) -> Worksheet:
    """Put the values of each day into one line, at the line of its first value."""
    lines = list(sheet.lines)
    if _DAY.fullmatch(sheet.headings[1]):
        lines.insert(0, (sheet.heading_at, list(sheet.headings)))
    counts: Counter[str] = Counter()
    days: dict[str, tuple[int, dict[str, Any]]] = {}
    stations = {text_of(cells[0]) for _, cells in lines}
    if len(stations) > 1:
        raise RecordError(
            f"{sheet.file} holds {len(stations)} stations ({', '.join(sorted(stations)[:3])} ...): give the file of one"
        )
    for line, cells in lines:
        element = text_of(cells[2]).upper()
        if element not in _GHCN:
            continue
        name, unit = _GHCN[element]
        day = text_of(cells[1])
        at = days.setdefault(f"{day[:4]}-{day[4:6]}-{day[6:8]}", (line, {}))[1]
        if len(cells) > 5 and text_of(cells[5]):
            counts["flag"] += 1
        elif (value := _value(cells[3], name, unit, codes, counts)) != _OUT:
            at[name] = value
            _note_hour(text_of(cells[7]) if len(cells) > 7 else "", counts)
    names = ["date", *_OWN]
    made = [(line, [day, *(values.get(name) for name in _OWN)]) for day, (line, values) in days.items()]
    notes = _told(sheet, _TENTHS, counts)
    return replace(sheet, headings=names, lines=made, faults=[*sheet.faults, *notes])

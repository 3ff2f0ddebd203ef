"""What a file would give, tried on a copy of the vineyard in a process of its own."""

from pathlib import Path

from trunkwatch.intake.add import Added
from trunkwatch.intake.bring import bring_files, bring_sheet, bring_table, sheet_words
from trunkwatch.spreadsheets.apart import apart
from trunkwatch.spreadsheets.mapping import ColumnMap
from trunkwatch.spreadsheets.meanings import StatusWord
from trunkwatch.spreadsheets.renamed import TableMap
from trunkwatch.spreadsheets.worksheet import Worksheet, read_sheets
from trunkwatch.vineyard.faults import Fault

__all__ = ["MOST_SECONDS", "shown_sheets", "try_files", "try_sheet", "try_weather", "weather_map", "words_of_sheet"]

#: Seconds for reading a file, checking it against the vineyard and drawing the layers of the copy.
MOST_SECONDS = 60.0


def shown_sheets(path: Path, lines: int, *, heading: int | None = None) -> list[tuple[Worksheet, int]]:
    """Return the sheets of a file with their first lines only, and how many lines each has.

    Raises
    ------
    FileError
        If it cannot be read, or not within the limits.
    """
    return apart(_shown, path, lines, heading=heading)


def _shown(path: Path, lines: int, *, heading: int | None) -> list[tuple[Worksheet, int]]:
    found = [(sheet, len(sheet.lines)) for sheet in read_sheets(path, heading=heading)]
    for sheet, _ in found:
        sheet.lines = sheet.lines[:lines]
        sheet.faults = sheet.faults[:lines]
    return found


def try_files(
    path: Path, copy: Path, *, keep_good: bool = False, unsigned: bool = False, desk: Path | None = None
) -> tuple[Added, list[Fault]]:
    """Take a file whose name is a table's into a copy of the vineyard; as `bring_files`."""
    return apart(_files, path, copy, keep_good=keep_good, unsigned=unsigned, desk=desk, seconds=MOST_SECONDS)


def _files(path: Path, copy: Path, *, keep_good: bool, unsigned: bool, desk: Path | None) -> tuple[Added, list[Fault]]:
    return bring_files(copy, path, keep_good=keep_good, unsigned=unsigned, desk=desk)


def try_sheet(
    path: Path, copy: Path, told: ColumnMap, *, sheet: str, heading: int, keep_good: bool = False
) -> tuple[Added, list[str]]:
    """Take a foreign spreadsheet into a copy of the vineyard; as `bring_sheet`."""
    return apart(_sheet, path, copy, told, sheet=sheet, heading=heading, keep_good=keep_good, seconds=MOST_SECONDS)


def _sheet(
    path: Path, copy: Path, told: ColumnMap, *, sheet: str, heading: int, keep_good: bool
) -> tuple[Added, list[str]]:
    return bring_sheet(copy, path, told, sheet=sheet, heading=heading, keep_good=keep_good)


def weather_map() -> TableMap:
    """Return the map of a station's file whose headings are understood by themselves."""
    return TableMap("weather", {}, {}, {}, "")


def try_weather(path: Path, copy: Path, units: str, *, keep_good: bool = False) -> tuple[Added, list[Fault]]:
    """Take a station's file into a copy of the vineyard; as `bring_table`."""
    return apart(_weather, path, copy, units, keep_good=keep_good, seconds=MOST_SECONDS)


def _weather(path: Path, copy: Path, units: str, *, keep_good: bool) -> tuple[Added, list[Fault]]:
    return bring_table(copy, path, weather_map(), units=units, keep_good=keep_good)


def words_of_sheet(path: Path, vineyard: Path, told: ColumnMap, *, sheet: str, heading: int) -> list[StatusWord]:
    """List the words of the status column; as `sheet_words`."""
    return apart(_words, path, vineyard, told, sheet=sheet, heading=heading, seconds=MOST_SECONDS)


def _words(path: Path, vineyard: Path, told: ColumnMap, *, sheet: str, heading: int) -> list[StatusWord]:
    return sheet_words(vineyard, path, told, sheet=sheet, heading=heading)

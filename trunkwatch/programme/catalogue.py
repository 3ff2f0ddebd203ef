"""The catalogue of a programme: who takes part under which name, where the vineyard lies, and what was agreed to."""

import csv
import datetime as dt
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from trunkwatch.errors import FileError, RecordError
from trunkwatch.spreadsheets.guard import guarded, unguarded
from trunkwatch.spreadsheets.write import replace_file
from trunkwatch.store import refuse_shared

__all__ = ["CATALOGUE", "PURPOSES", "Grower", "add_grower", "read_catalogue", "write_catalogue"]

#: File name of the catalogue.
CATALOGUE = "programme.csv"
#: What a grower can agree to, and what it means.
PURPOSES = {
    "report": "yearly reports and maps of the blocks",
    "handout": "a page for the grower",
    "compare": "the blocks beside those of other growers",
    "pool": "cards of the blocks in tables over five growers or more",
    "forecast": "cards of the blocks in forecasts of other growers",
}
_COLUMNS = ("grower", "path", "consent", "until", "call", "sees", "last_read", "region")


@dataclass(frozen=True, slots=True)
class Grower:
    """One grower of a programme.

    Attributes
    ----------
    name : str
        The pseudonym.
    path : str
        Vineyard file or folder, seen from the folder of the programme.
    purposes : tuple of str
        What the grower agreed to, of `PURPOSES`.
    until : str
        Last day of the consent; empty where no end was written, and then there is none to rely on.
    call, sees : str
        Who to call, and who sees the grower's pages.
    last_read : str
        Day on which the vineyard was last read.
    region : str
        A word that pool cards tell; none where empty.
    """

    name: str
    path: str
    purposes: tuple[str, ...] = ()
    until: str = ""
    call: str = ""
    sees: str = ""
    last_read: str = ""
    region: str = ""

    def why_not(self, purpose: str, day: str) -> str:
        """Say why there is no consent for a purpose on a day; empty where there is."""
        if purpose not in self.purposes:
            return f"no consent for {purpose}"
        if not self.until:
            return f"the consent for {purpose} has no end date"
        return f"the consent for {purpose} ended on {self.until}" if day > self.until else ""

    def allows(self, purpose: str, day: str) -> bool:
        """Tell whether there is consent for a purpose on a day."""
        return not self.why_not(purpose, day)


def read_catalogue(folder: Path) -> tuple[Grower, ...]:
    """Read the growers of a programme.

    Raises
    ------
    FileError
        If there is no catalogue, or a line of it cannot be.
    """
    path = folder / CATALOGUE
    if not path.is_file():
        raise FileError(
            f"no programme in {str(folder)!r}: `trunkwatch programme {folder} add --grower NAME --path FILE` starts one"
        )
    try:
        lines = list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"), newline="")))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise FileError(f"{path} cannot be read as CSV in UTF-8: {error}") from error
    growers: list[Grower] = []
    for number, line in enumerate(lines, 2):
        try:
            growers.append(_checked(_grower(line), growers))
        except RecordError as error:
            raise FileError(f"{CATALOGUE}, line {number}: {error}") from error
    return tuple(growers)


def write_catalogue(folder: Path, growers: Sequence[Grower]) -> None:
    """Write the catalogue in one step.

    Raises
    ------
    FileError
        If the folder cannot be written to.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(_COLUMNS)
    for one in growers:
        cells = (one.name, one.path, " ".join(one.purposes), one.until, one.call, one.sees, one.last_read, one.region)
        writer.writerow([guarded(cell) for cell in cells])
    replace_file(folder / CATALOGUE, out.getvalue().encode("utf-8-sig"))


def add_grower(folder: Path, grower: Grower) -> tuple[Grower, ...]:
    """Add a grower, or write anew what is on record of one; the folder is made where it is not there.

    Raises
    ------
    RecordError
        If the line cannot be.
    FileError
        If there is no vineyard at the path, or the folder cannot be written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(f"{folder} cannot be made: {error.strerror}") from error
    growers = list(read_catalogue(folder)) if (folder / CATALOGUE).exists() else []
    others = [one for one in growers if one.name != grower.name]
    earlier = next((one for one in growers if one.name == grower.name), None)
    grower = _checked(replace(grower, last_read=earlier.last_read if earlier else ""), others)
    if not (folder / grower.path).exists():
        raise FileError(f"no vineyard at {str(folder / grower.path)!r}: the path is seen from {str(folder)!r}")
    now = [grower if one.name == grower.name else one for one in growers] if earlier else [*growers, grower]
    write_catalogue(folder, now)
    return tuple(now)


def _grower(line: dict[str, str | None]) -> Grower:
    cells = {name: unguarded((line.get(name) or "").strip()) for name in _COLUMNS}
    purposes = tuple(dict.fromkeys(cells["consent"].replace(";", " ").replace(",", " ").split()))
    return Grower(
        cells["grower"],
        cells["path"],
        purposes,
        cells["until"],
        cells["call"],
        cells["sees"],
        cells["last_read"],
        cells["region"],
    )


def _checked(grower: Grower, others: Sequence[Grower]) -> Grower:
    """Refuse what cannot be: two growers under one name or at one vineyard, a purpose or a day that is none."""
    if not grower.name or not grower.path:
        raise RecordError(f"a grower has a name and a path: {grower.name!r}, {grower.path!r}")
    refuse_shared(grower.path, "a programme", "it is of vineyard files, one a grower: `trunkwatch export` writes one")
    for other in others:
        if other.name.casefold() == grower.name.casefold():
            raise RecordError(f"two growers are named {grower.name!r}: give one of them another name")
        if Path(other.path) == Path(grower.path):
            raise RecordError(
                f"{grower.path!r} is the vineyard of {other.name!r} already: each grower has one of their own"
            )
    strange = [name for name in grower.purposes if name not in PURPOSES]
    if strange:
        raise RecordError(f"{strange[0]!r} is nothing to consent to: one of {', '.join(PURPOSES)}")
    for name, day in (("until", grower.until), ("last_read", grower.last_read)):
        if day and not _is_day(day):
            raise RecordError(f"{name} is {day!r}: a day is written 2027-12-31")
    return grower


def _is_day(text: str) -> bool:
    try:
        return dt.date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False

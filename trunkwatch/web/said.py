"""What was said of a vineyard when it was made at the desk: its name, its side of the equator, and its unit of length.

It lies in the folder of the desk beside the file, and is a start for forms: what a block says itself goes before it.
"""

from collections.abc import Mapping
from pathlib import Path

from trunkwatch.access.private import read_private, write_private
from trunkwatch.errors import FileError
from trunkwatch.intake.block_form import UNITS

__all__ = ["said_of", "units_of", "write_said"]

_FILE = "vineyard.json"


def said_of(path: Path) -> Mapping[str, str]:
    """Return name, hemisphere and units; what cannot be read is asked for again with every block."""
    try:
        said = read_private(path, _FILE)
    except FileError:
        return {}
    return {str(name): str(value) for name, value in said.items()} if isinstance(said, dict) else {}


def write_said(path: Path, said: Mapping[str, str]) -> None:
    """Keep name, hemisphere and units.

    Raises
    ------
    FileError
        If they cannot be written.
    """
    write_private(path, _FILE, dict(said))


def units_of(path: Path) -> str:
    """Return "m" or "ft", as lengths are shown and typed."""
    return UNITS.get(said_of(path).get("units", ""), "m")

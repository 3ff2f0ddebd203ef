"""What was done at the desk, by whom and when: one line of JSON each, in a private file that grows no further than it may.

No line holds a code, a secret or a pass: nothing is written but what `note` takes, and no caller hands one over.
"""

import heapq
import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import IO

from trunkwatch.access.private import private_folder, turn
from trunkwatch.errors import FileError
from trunkwatch.vineyard.records import now_text

__all__ = ["KEPT", "MOST_BYTES", "Done", "Entry", "entries_of", "note"]

#: A file of so many bytes is put aside, and so many of them are kept.
MOST_BYTES, KEPT = 1_000_000, 4
#: Signs of a text that are kept.
MOST_SIGNS = 120
#: What people did, and what was refused apart: many refusals must not push out what was done.
FILE, TRIES = "done", "tries"


class Done(StrEnum):
    """What was done."""

    ENTERED = "entered"
    WRONG_CODE = "wrong code"
    LEFT = "left"
    NOT_ALLOWED = "not allowed"
    WROTE = "wrote"
    CORRECTED = "corrected"
    TOOK_BACK = "took back"
    PLANNED = "planned"
    HANDED_OVER = "sent"
    REFUSED = "hand-over refused"
    IMPORTED = "imported"
    PAIRED = "paired a phone"
    STOPPED = "stopped a phone"
    ADDED = "added a person"
    NEW_CODE = "gave a new code"
    REMOVED = "removed a person"
    SERVED = "started the desk"
    BEGAN = "made the vineyard file"
    NEW_BLOCK = "made a block"
    SET = "changed the settings"
    FORECAST = "brought a forecast"
    NO_FORECAST = "left the forecast out"


_REFUSALS = frozenset({Done.WRONG_CODE, Done.NOT_ALLOWED, Done.REFUSED})


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that was done.

    Attributes
    ----------
    at : str
        When, in universal time.
    done : str
        What, a value of `Done`.
    who : str
        Person and device; empty where nobody is named.
    address : str
        From where; empty for a command.
    more : mapping
        What else: table, number of records, name of a file.
    """

    at: str
    done: str
    who: str
    address: str = ""
    more: Mapping[str, str | int] = field(default_factory=dict)

    @property
    def sentence(self) -> str:
        """The details in a line."""
        return ", ".join(f"{name} {value}" for name, value in self.more.items())


def _plain(value: object) -> str | int:
    """Return a value as it is kept: short, on one line, without signs that steer a screen."""
    if isinstance(value, int):
        return int(value)
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in str(value)[:MOST_SIGNS])


def note(vineyard: Path, done: Done, who: str = "", address: str = "", **more: str | int) -> None:
    """Add a line; where a file is full it is put aside, and the oldest goes.

    Raises
    ------
    FileError
        If it cannot be written.
    ValueError
        If a detail has the name of what every line has.
    """
    if taken := more.keys() & {"at", "done", "who", "from"}:
        raise ValueError(f"{min(taken)!r} stands in every line: give the detail another name")
    told = {"at": now_text(), "done": done.value, "who": _plain(who), "from": _plain(address)}
    told |= {name: _plain(value) for name, value in more.items() if value not in ("", None)}
    line = json.dumps(told, ensure_ascii=True, separators=(",", ":")).encode() + b"\n"
    with turn(vineyard) as folder:
        name = TRIES if done in _REFUSALS else FILE
        path = _file(folder, name)
        try:
            if path.exists() and path.stat().st_size + len(line) > MOST_BYTES:
                _put_aside(folder, name)
            handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0), 0o600)
            with os.fdopen(handle, "a+b") as file:
                file.write(b"\n" + line if _is_torn(file) else line)
        except OSError as error:
            raise FileError(f"{path} cannot be written: {error.strerror}; make room, or set its rights") from error


def _is_torn(file: IO[bytes]) -> bool:
    """Tell whether the last line was broken off: the next must not be lost with it."""
    if not file.seek(0, os.SEEK_END):
        return False
    file.seek(-1, os.SEEK_END)
    return file.read(1) != b"\n"


def _file(folder: Path, name: str, number: int = 0) -> Path:
    return folder / (f"{name}.{number}.jsonl" if number else f"{name}.jsonl")


def _put_aside(folder: Path, name: str) -> None:
    for number in range(KEPT - 1, -1, -1):
        if (older := _file(folder, name, number)).exists():
            older.replace(_file(folder, name, number + 1))


def entries_of(vineyard: Path) -> Iterator[Entry]:
    """Yield what was done, newest first; lines that cannot be read are passed over."""
    folder = private_folder(vineyard)
    return heapq.merge(*(_entries(folder, name) for name in (FILE, TRIES)), key=lambda entry: entry.at, reverse=True)


def _entries(folder: Path, name: str) -> Iterator[Entry]:
    for number in range(KEPT + 1):
        path = _file(folder, name, number)
        try:
            lines = path.read_bytes().split(b"\n")
        except FileNotFoundError:
            continue
        except OSError as error:
            raise FileError(f"{path} cannot be read: {error.strerror}") from error
        for line in reversed(lines):
            if (entry := _read(line)) is not None:
                yield entry


def _read(line: bytes) -> Entry | None:
    try:
        told = json.loads(line)
        at, done, who, address = (str(_plain(told.pop(name))) for name in ("at", "done", "who", "from"))
    except (ValueError, KeyError, AttributeError, TypeError, RecursionError):
        return None
    return Entry(at, done, who, address, {str(_plain(name)): _plain(value) for name, value in told.items()})

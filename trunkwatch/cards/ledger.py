"""The ledger of a pool: which blocks stood behind every figure that was ever shown, so that no later table is set against it.

It holds no counts of any block: blocks, their counts and growers are marks by a key that stays in the ledger, and
what was shown was shown already. It is private to whoever keeps the pool.
"""

import hmac
import json
import os
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

from trunkwatch.cards.attack import Known
from trunkwatch.cards.cells import Figure
from trunkwatch.errors import FileError

__all__ = ["LEDGER", "Hidden", "Ledger", "Shown", "read_ledger", "write_ledger"]

#: Name of the ledger in a folder of cards; no `.json`, which cards have.
LEDGER = "pool.ledger"
_VERSION = 1


#: A cell that was not shown.
Hidden = tuple[int, str, frozenset[str]]


@dataclass(frozen=True, slots=True)
class Shown:
    """A figure that was shown: what it is of, which blocks stand behind it, and what readers know.

    Attributes
    ----------
    season : int
    count : str
        "showing" or "new".
    definition : str
    cell : mapping of str to str
        Values by what cells are told apart by.
    members : tuple of (str, str)
        Marks of blocks with those of their growers.
    figure : Figure
    """

    season: int
    count: str
    definition: str
    cell: Mapping[str, str]
    members: tuple[tuple[str, str], ...]
    figure: Figure

    @property
    def known(self) -> Known:
        """What readers know by it."""
        one = self.figure
        return Known(self.members, (one.vines_low, one.vines_high), (one.cases_low, one.cases_high))


@dataclass(frozen=True, slots=True)
class Ledger:
    """All that was shown, in order, and the key of its marks; and the cells that were not, by season, count and marks of blocks."""

    key: bytes = field(repr=False)
    shown: tuple[Shown, ...] = ()
    hidden: frozenset[Hidden] = frozenset()

    def mark(self, *parts: object) -> str:
        """Return the mark of something; equal marks are of equal things."""
        return hmac.new(self.key, json.dumps(parts).encode(), sha256).hexdigest()[:24]


def read_ledger(path: Path) -> Ledger:
    """Read a ledger; an empty one where there is none.

    Raises
    ------
    FileError
        If it is there and cannot be read: without it nothing guards against a difference of two tables.
    """
    try:
        told = json.loads(path.read_bytes())
    except FileNotFoundError:
        return Ledger(secrets.token_bytes(32))
    except (OSError, ValueError) as error:
        raise _damaged(path) from error
    try:
        if told["version"] != _VERSION:
            raise _damaged(path)
        return Ledger(
            bytes.fromhex(told["key"]),
            tuple(_shown(one) for one in told["shown"]),
            frozenset(
                (int(season), str(count), frozenset(map(str, blocks))) for season, count, blocks in told["hidden"]
            ),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise _damaged(path) from error


def _damaged(path: Path) -> FileError:
    return FileError(
        f"{path} cannot be read, and without it a new table could be set against an earlier one: put it back from a copy"
    )


def _shown(one: Mapping[str, Any]) -> Shown:
    return Shown(
        int(one["season"]),
        str(one["count"]),
        str(one["definition"]),
        dict(one["cell"]),
        tuple((str(block), str(grower)) for block, grower in one["members"]),
        Figure(**one["figure"]),
    )


def write_ledger(path: Path, ledger: Ledger) -> None:
    """Write a ledger in one step; only its owner can read it.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    shown: Sequence[dict[str, Any]] = [
        {
            "season": one.season,
            "count": one.count,
            "definition": one.definition,
            "cell": dict(one.cell),
            "members": one.members,
            "figure": {name: getattr(one.figure, name) for name in Figure.__dataclass_fields__},
        }
        for one in ledger.shown
    ]
    hidden = sorted([season, count, sorted(blocks)] for season, count, blocks in ledger.hidden)
    text = json.dumps({"version": _VERSION, "key": ledger.key.hex(), "shown": shown, "hidden": hidden})
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise FileError(f"{path} cannot be written: {error.strerror}") from error

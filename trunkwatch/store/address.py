"""The address of a store that several share: `postgresql://...` in place of the path of a file.

An address goes through the program as a path does. A path keeps one slash of several, so an address is brought to a form
of which that is no loss: `postgresql:/LOGIN@HOST:PORT/DATABASE?...`, with `@` alone where no host is named. A password
is no part of it: whoever lists the processes of the machine would read it, and it would stand in messages and reports.
"""

from dataclasses import dataclass
from pathlib import Path
from urllib.parse import parse_qsl, quote, unquote, urlsplit

from trunkwatch.errors import FileError

__all__ = ["Address", "address_of", "as_path", "is_shared", "is_there", "refuse_shared", "shared_path", "shown_path"]

_SCHEMES = ("postgresql:", "postgres:")
#: Ways of giving a password, or a file of passwords, inside the address.
_SECRET = frozenset({"password", "sslpassword"})
_WAY = "write postgresql://LOGIN@HOST/DATABASE, or postgresql:///DATABASE for a server on this machine"


@dataclass(frozen=True, slots=True)
class Address:
    """Where a shared store is, and whose record of it is meant.

    Attributes
    ----------
    url : str
        What the library of the server is told: no password, and nothing of ours.
    grower : str
        Whose record is meant; empty where the login sees one grower only.
    shown : str
        The address for messages, as a person types it.
    path : Path
        The address as it goes through the program.
    """

    url: str
    grower: str
    shown: str
    path: Path


def is_shared(path: str | Path) -> bool:
    """Tell whether a path is the address of a shared store."""
    return str(path).startswith(_SCHEMES)


def as_path(path: str | Path) -> Path:
    """Return the path of a vineyard, be it an address as it was typed.

    Raises
    ------
    FileError
        As `shared_path`.
    """
    return shared_path(str(path)) if is_shared(path) else Path(path)


def is_there(path: Path) -> bool:
    """Tell whether a vineyard is there: a shared store is taken to be, whoever opens it finds out."""
    return is_shared(path) or path.exists()


def shared_path(text: str) -> Path:
    """Return an address, as it was typed, as a path from which `address_of` makes it again.

    Raises
    ------
    FileError
        If it holds a password, or names no database.
    """
    parts = urlsplit(text if "://" in text else text.replace(":/", "://", 1))
    keys = {key.casefold() for key, _ in parse_qsl(parts.query, keep_blank_values=True)}
    login, at, _ = parts.netloc.rpartition("@")
    if (at and ":" in login) or keys & _SECRET:
        raise FileError(
            "the address of a shared store holds a password, which others could read: take it out and put it into "
            "the password file that PGPASSFILE names (~/.pgpass), or into PGPASSWORD"
        )
    name = unquote(parts.path.strip("/"))
    if not name or "/" in name:
        raise FileError(f"{text!r} names no database: {_WAY}")
    query = "&".join(
        f"{quote(key, safe='')}={quote(value, safe='')}"
        for key, value in parse_qsl(parts.query, keep_blank_values=True)
    )
    return Path(f"postgresql:/{parts.netloc or '@'}/{quote(name, safe='')}{'?' if query else ''}{query}")


def address_of(path: str | Path) -> Address:
    """Return the address that a path is.

    Raises
    ------
    FileError
        As `shared_path`.
    """
    kept = shared_path(str(path))
    text = str(kept).replace(":/", "://", 1)
    parts = urlsplit(text)
    netloc = "" if parts.netloc == "@" else parts.netloc
    pairs = parse_qsl(parts.query, keep_blank_values=True)
    query = "&".join(f"{quote(key, safe='')}={quote(value, safe='')}" for key, value in pairs if key != "grower")
    grower = next((value for key, value in pairs if key == "grower"), "")
    url = f"postgresql://{netloc}{parts.path}{'?' if query else ''}{query}"
    return Address(url, grower, unquote(text.replace("//@/", "///", 1)), kept)


def shown_path(path: str | Path) -> str:
    """Return the path of a vineyard as a person types it."""
    return address_of(path).shown if is_shared(path) else str(path)


def refuse_shared(path: str | Path, verb: str, way: str) -> None:
    """Refuse a shared store where a command needs a file.

    Parameters
    ----------
    path : str or Path
        The vineyard.
    verb : str
        What cannot be done with it.
    way : str
        What can be done instead.
    """
    if is_shared(path):
        raise FileError(f"{verb} works on a folder or a file, not on the shared store {address_of(path).shown}: {way}")

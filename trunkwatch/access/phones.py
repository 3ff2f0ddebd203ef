"""Phones that were paired with a desk: each has a secret of its own, with which it signs what it hands over."""

import re
import secrets
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

from trunkwatch.access.people import Person, checked_name, device_text, remove_person
from trunkwatch.access.private import read_private, turn, write_private
from trunkwatch.errors import AccessError, FileError
from trunkwatch.vineyard.records import now_text

__all__ = [
    "Phone",
    "let_go",
    "next_name",
    "pair_phone",
    "phone_with_cookie",
    "phones_of",
    "stop_phone",
    "stop_phones_of",
]

FILE = "phones.json"


@dataclass(frozen=True, slots=True)
class Phone:
    """A phone that was paired.

    Attributes
    ----------
    id : str
        What its hand-overs call it.
    name : str
        As people call it.
    person : str
        Whose it is; empty where no people are set up.
    secret : str
        The key of its signatures, as hexadecimal text; empty once it was stopped.
    cookie : str
        SHA-256 of what its browser shows at the door; empty once it was stopped.
    since, stopped : str
        When it was paired, and when it was stopped.
    """

    id: str
    name: str
    person: str
    secret: str
    cookie: str
    since: str
    stopped: str = ""

    @property
    def lives(self) -> bool:
        """Whether its hand-overs are taken."""
        return not self.stopped

    @property
    def device(self) -> str:
        """What stands in the column `device` of its records."""
        return device_text(self.person, self.name)


def phones_of(vineyard: Path) -> tuple[Phone, ...]:
    """Return all phones that were ever paired, the stopped ones too; none for a vineyard in a folder.

    Raises
    ------
    FileError
        If the list is damaged.
    """
    told = read_private(vineyard, FILE)
    if told is None:
        return ()
    try:
        return tuple(Phone(**{name: str(cell) for name, cell in one.items()}) for one in told["phones"])
    except (AttributeError, KeyError, TypeError) as error:
        raise FileError(
            f"the list of phones beside {vineyard.name} is damaged ({error}): put {FILE} back from a copy, or delete it"
        ) from error


def _write(vineyard: Path, phones: tuple[Phone, ...]) -> None:
    cells = ("id", "name", "person", "secret", "cookie", "since", "stopped")
    listed = [{name: getattr(one, name) for name in cells} for one in phones]
    write_private(vineyard, FILE, {"version": 1, "phones": listed})


def next_name(phones: tuple[Phone, ...]) -> str:
    """Return a name that no phone had yet: phone 1, phone 2."""
    numbers = [int(found[1]) for one in phones if (found := re.fullmatch(r"phone ([0-9]{1,6})", one.name))]
    return f"phone {max(numbers, default=0) + 1}"


def pair_phone(vineyard: Path, name: str = "", person: str = "") -> tuple[Phone, str]:
    """Pair a phone.

    Returns
    -------
    Phone
        With its secret.
    str
        What its browser shows at the door.

    Raises
    ------
    AccessError
        If the name cannot be, or another phone has or had it.
    """
    with turn(vineyard):
        phones = phones_of(vineyard)
        told = checked_name(name or next_name(phones), "name of a phone")
        if any(one.name.casefold() == told.casefold() for one in phones):
            raise AccessError(f"there is, or was, a phone {told!r}: choose another name, its records keep that one")
        cookie = secrets.token_urlsafe(32)
        hashed = sha256(cookie.encode()).hexdigest()
        phone = Phone(secrets.token_hex(8), told, person, secrets.token_hex(32), hashed, now_text())
        _write(vineyard, (*phones, phone))
    return phone, cookie


def phone_with_cookie(phones: tuple[Phone, ...], cookie: str | None) -> Phone | None:
    """Return the phone whose browser shows this; None where there is none, or it was stopped."""
    if not cookie:
        return None
    hashed = sha256(cookie.encode("utf-8", "replace")).hexdigest()
    return next((one for one in phones if one.lives and secrets.compare_digest(one.cookie, hashed)), None)


def _stopped(phone: Phone) -> Phone:
    return replace(phone, secret="", cookie="", stopped=now_text())


def stop_phone(vineyard: Path, name: str) -> Phone:
    """Take nothing more from a phone, from now on; its secret is deleted.

    Raises
    ------
    AccessError
        If there is no such phone.
    """
    with turn(vineyard):
        phones = phones_of(vineyard)
        told = " ".join(name.split()).casefold()
        found = next((one for one in phones if one.lives and told in (one.name.casefold(), one.id)), None)
        if found is None:
            live = ", ".join(one.name for one in phones if one.lives)
            raise AccessError(f"there is no paired phone {name[:60]!r}; the paired phones: {live or 'none'}")
        gone = _stopped(found)
        _write(vineyard, tuple(gone if one.id == found.id else one for one in phones))
    return gone


def stop_phones_of(vineyard: Path, person: str) -> tuple[Phone, ...]:
    """Stop all phones of a person, and return them."""
    with turn(vineyard):
        phones = phones_of(vineyard)
        own = {one.id for one in phones if one.lives and one.person == person}
        if own:
            _write(vineyard, tuple(_stopped(one) if one.id in own else one for one in phones))
    return tuple(one for one in phones if one.id in own)


def let_go(vineyard: Path, name: str) -> tuple[Person, tuple[Phone, ...]]:
    """Remove a person and stop the person's phones; return both.

    Raises
    ------
    AccessError
        As `remove_person`.
    """
    person = remove_person(vineyard, name)
    return person, stop_phones_of(vineyard, person.name)

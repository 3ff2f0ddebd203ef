"""People with codes of their own: added, let in, removed; of a code only its salted hash is kept."""

import hashlib
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from trunkwatch.access.may import Right, read_rights
from trunkwatch.access.private import read_private, turn, write_private
from trunkwatch.errors import AccessError
from trunkwatch.vineyard.records import BY_PLAN, now_text

__all__ = [
    "Person",
    "add_person",
    "checked_name",
    "device_text",
    "new_code",
    "people_of",
    "person_in",
    "person_with_code",
    "remove_person",
]

FILE = "people.json"
#: Cost of one try of a code: 16 MB and some tens of milliseconds.
_COST, _BLOCK, _LANES = 2**14, 8, 1
#: Digits of the number of a person, and of the part that only the person knows.
_NUMBER, _SECRET = 3, 12
_NAME = re.compile(r"[^\W_][\w .'\u2019-]{0,39}")


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who may enter.

    Attributes
    ----------
    number : int
        First part of the code: it tells whose code it is.
    name : str
        As records and the list of what was done name the person.
    may : frozenset of Right
        What the person may do; nothing where removed.
    salt, hashed : str
        Of the code, as hexadecimal text.
    since : str
        When the person was added, or got this code.
    removed : str
        When the person was removed; empty for whoever may enter.
    """

    number: int
    name: str
    may: frozenset[Right]
    salt: str
    hashed: str
    since: str
    removed: str = ""

    @property
    def lives(self) -> bool:
        """Whether the person may enter."""
        return not self.removed


def checked_name(text: str, what: str = "name") -> str:
    """Return a name of a person or device as it is kept.

    Raises
    ------
    AccessError
        If it has signs that would be misread in a record, is too long, or means something else.
    """
    name = " ".join(text.split())
    if not _NAME.fullmatch(name) or name.casefold() == BY_PLAN:
        raise AccessError(
            f"{text[:60]!r} cannot be the {what}: up to 40 letters, digits, spaces, points and hyphens, not {BY_PLAN!r}"
        )
    return name


def device_text(name: str, device: str) -> str:
    """Return what stands in the column `device` of records that a person wrote: person and device."""
    return ", ".join(part for part in (name, device) if part)


def person_in(device: str) -> str:
    """Return the person named in a column `device`, as `device_text` writes it."""
    return device.partition(", ")[0]


def people_of(vineyard: Path) -> dict[int, Person]:
    """Return everybody who was ever added, by number.

    Raises
    ------
    FileError
        If the list is damaged.
    """
    told = read_private(vineyard, FILE)
    if told is None:
        return {}
    try:
        listed = [_read(one) for one in told["people"]]
    except (KeyError, TypeError, ValueError) as error:
        raise AccessError(
            f"the list of people beside {vineyard.name} is damaged ({error}): put {FILE} back from a copy, or delete it"
        ) from error
    return {one.number: one for one in listed}


def _read(told: Mapping[str, Any]) -> Person:
    may = frozenset(Right(word) for word in told["may"])
    texts = [told[name] for name in ("name", "salt", "hash", "since", "removed")]
    if not all(isinstance(text, str) for text in texts):
        raise TypeError("a cell is no text")
    return Person(int(told["number"]), texts[0], may, *texts[1:])


def _write(vineyard: Path, people: Mapping[int, Person]) -> None:
    listed = [
        {
            "number": one.number,
            "name": one.name,
            "may": sorted(one.may),
            "salt": one.salt,
            "hash": one.hashed,
            "since": one.since,
            "removed": one.removed,
        }
        for one in people.values()
    ]
    write_private(vineyard, FILE, {"version": 1, "people": listed})


def _hash(secret: str, salt: str) -> str:
    return hashlib.scrypt(secret.encode(), salt=bytes.fromhex(salt), n=_COST, r=_BLOCK, p=_LANES, dklen=32).hex()


def _with_code(person: Person) -> tuple[Person, str]:
    """Give a person a new code; the old one ends."""
    secret = f"{secrets.randbelow(10**_SECRET):0{_SECRET}d}"
    salt = secrets.token_hex(16)
    code = "-".join([f"{person.number:0{_NUMBER}d}", *(secret[at : at + 4] for at in range(0, _SECRET, 4))])
    return replace(person, salt=salt, hashed=_hash(secret, salt), since=now_text(), removed=""), code


def add_person(vineyard: Path, name: str, rights: frozenset[Right]) -> tuple[Person, str]:
    """Add a person, or let one who was removed come back.

    Returns
    -------
    Person
        The person.
    str
        The code: it is shown now and never again.

    Raises
    ------
    AccessError
        If the name cannot be, or somebody has it; if the first person could not add others.
    """
    told = checked_name(name)
    rights = read_rights(rights)
    with turn(vineyard):
        people = people_of(vineyard)
        live = [one for one in people.values() if one.lives]
        if any(one.name.casefold() == told.casefold() for one in live):
            raise AccessError(f"there is a person {told!r} already: choose another name, or give a new code")
        if Right.KEEP not in rights and not any(Right.KEEP in one.may for one in live):
            raise AccessError(
                f"{told!r} would be the first, and nobody could add others: the first needs the right keep"
            )
        old = next((one for one in people.values() if one.name.casefold() == told.casefold()), None)
        number = old.number if old else max(people, default=0) + 1
        if number >= 10**_NUMBER:
            raise AccessError(
                f"{number - 1} people were added already, the most there can be: let one come back by name"
            )
        person, code = _with_code(Person(number, told, rights, "", "", ""))
        _write(vineyard, {**people, number: person})
    return person, code


def _named(people: Mapping[int, Person], name: str) -> Person:
    told = " ".join(name.split()).casefold()
    found = next((one for one in people.values() if one.name.casefold() == told and one.lives), None)
    if found is None:
        live = ", ".join(one.name for one in people.values() if one.lives)
        raise AccessError(f"there is no person {name[:60]!r}; who may enter: {live or 'nobody'}")
    return found


def new_code(vineyard: Path, name: str) -> tuple[Person, str]:
    """Give a person a new code; the old one, and every pass given for it, ends.

    Raises
    ------
    AccessError
        If there is no such person.
    """
    with turn(vineyard):
        people = people_of(vineyard)
        person, code = _with_code(_named(people, name))
        _write(vineyard, {**people, person.number: person})
    return person, code


def remove_person(vineyard: Path, name: str) -> Person:
    """Let a person in no more, from now on; records keep the name.

    Raises
    ------
    AccessError
        If there is no such person, or only people would be left who cannot add others.
    """
    with turn(vineyard):
        people = people_of(vineyard)
        person = _named(people, name)
        others = [one for one in people.values() if one.lives and one.number != person.number]
        if others and not any(Right.KEEP in one.may for one in others):
            raise AccessError(
                f"{person.name!r} is the last who may keep people and phones: give somebody else that right first"
            )
        gone = replace(person, may=frozenset(), salt="", hashed="", removed=now_text())
        _write(vineyard, {**people, person.number: gone})
    return gone


def person_with_code(people: Mapping[int, Person], code: str) -> Person | None:
    """Return the person whose code this is; it takes as long where there is none."""
    digits = re.sub(r"[\s-]", "", code)
    whole = re.fullmatch(rf"[0-9]{{{_NUMBER + _SECRET}}}", digits) is not None
    person = people.get(int(digits[:_NUMBER])) if whole else None
    known = person is not None and person.lives
    salt = person.salt if person is not None and known else "00" * 16
    hashed = _hash(digits[_NUMBER:][:64], salt)
    right = secrets.compare_digest(hashed, person.hashed if person is not None and known else "")
    return person if right and known else None

"""What a person may do at the desk, and names under which several rights go together."""

from collections.abc import Iterable, Mapping
from enum import StrEnum

from trunkwatch.errors import AccessError

__all__ = ["EVERYTHING", "ROLES", "Right", "read_rights", "rights_text"]


class Right(StrEnum):
    """One thing that a person may do."""

    LOOK = "look"
    LOG = "log"
    CORRECT_OWN = "correct-own"
    CORRECT_ALL = "correct-all"
    IMPORT = "import"
    KEEP = "keep"  # people, phones, and the list of what was done


EVERYTHING: frozenset[Right] = frozenset(Right)
#: Names for rights that go together.
ROLES: Mapping[str, frozenset[Right]] = {
    "reader": frozenset({Right.LOOK}),
    "scout": frozenset({Right.LOOK, Right.LOG, Right.CORRECT_OWN}),
    "manager": frozenset({Right.LOOK, Right.LOG, Right.CORRECT_OWN, Right.CORRECT_ALL, Right.IMPORT}),
    "keeper": EVERYTHING,
}


def read_rights(words: Iterable[str]) -> frozenset[Right]:
    """Return the rights that are named, one by one or as a role; several may stand in one word with commas.

    Raises
    ------
    AccessError
        If a word is no right and no role, or nothing is named.
    """
    found: set[Right] = set()
    for word in (part.strip().casefold() for text in words for part in text.split(",")):
        if word in ROLES:
            found |= ROLES[word]
        elif word in {right.value for right in Right}:
            found.add(Right(word))
        elif word:
            raise AccessError(f"{word[:40]!r} is no right: one of {', '.join(Right)}, or {', '.join(ROLES)}")
    if not found:
        raise AccessError(f"no right is named: one of {', '.join(Right)}, or {', '.join(ROLES)}")
    return frozenset(found)


def rights_text(rights: Iterable[Right]) -> str:
    """Return rights as a line: the role where they are exactly a role's."""
    own = frozenset(rights)
    role = next((name for name, bundle in ROLES.items() if bundle == own), "")
    listed = ", ".join(right.value for right in Right if right in own)
    return f"{role} ({listed})" if role else listed

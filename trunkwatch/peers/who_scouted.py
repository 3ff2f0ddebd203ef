"""Whether a difference between growers may be one between observers: who scouted for whom."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum

from trunkwatch.peers.gather import BlockRow

__all__ = ["Apart", "WhoScouted", "who_scouted"]


class Apart(Enum):
    """Whether growers can be told from observers."""

    ONE_GROWER = 1  # nothing to tell apart
    NOT_WRITTEN = 2  # no observer is on record of some growers
    CONFOUNDED = 3  # no two growers share an observer
    IN_PARTS = 4  # some do
    LINKED = 5  # all growers hang together by observers that they share


@dataclass(frozen=True, slots=True)
class WhoScouted:
    """Observers and growers.

    Attributes
    ----------
    apart : Apart
    alone : tuple of str
        Growers of whom every observer scouted for nobody else.
    unnamed : tuple of str
        Growers with a block season of which no observer is on record.
    observers, shared : int
        Observers by name, and those who scouted for two growers or more.
    """

    apart: Apart
    alone: tuple[str, ...]
    unnamed: tuple[str, ...]
    observers: int
    shared: int


def who_scouted(rows: Iterable[BlockRow]) -> WhoScouted:
    """Tell which growers share an observer, directly or through others."""
    of_observer: dict[str, set[str]] = {}
    growers, unnamed = set(), set()
    for row in rows:
        growers.add(row.grower)
        names = {name.strip().casefold() for name in row.observers} - {""}
        if not names:
            unnamed.add(row.grower)
        for name in names:
            of_observer.setdefault(name, set()).add(row.grower)
    together = [{grower} for grower in sorted(growers)]
    for scouted in of_observer.values():
        touched = [part for part in together if part & scouted]
        together = [part for part in together if not part & scouted] + [set().union(*touched)]
    alone = tuple(sorted(grower for part in together if len(part) == 1 for grower in part))
    shared = sum(len(scouted) > 1 for scouted in of_observer.values())
    return WhoScouted(_apart(growers, unnamed, together), alone, tuple(sorted(unnamed)), len(of_observer), shared)


def _apart(growers: set[str], unnamed: set[str], together: list[set[str]]) -> Apart:
    if len(growers) < 2:
        return Apart.ONE_GROWER
    if unnamed:
        return Apart.NOT_WRITTEN
    if len(together) == len(growers):
        return Apart.CONFOUNDED
    return Apart.LINKED if len(together) == 1 else Apart.IN_PARTS

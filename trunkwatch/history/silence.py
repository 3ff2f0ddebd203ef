"""What silence says in this block: how often old damage is written again at a look that could have seen it.

Learnt from damage that was seen before and after a look, so that it was there at it; as of a day only from what was written
by then, so that later years change no earlier figure.
"""

import math
from bisect import bisect_right
from collections.abc import Iterable
from typing import NamedTuple

__all__ = ["Silence", "Track"]

#: Silence never counts with fewer looks at which damage was surely there; so many silent looks at least are needed; and
#: the chance that damage that is there goes unmentioned at all of them (our own conventions).
FEWEST_LOOKS, FEWEST_SILENT, CHANCE = 3, 2, 0.05


class Track(NamedTuple):
    """One damage: for every look at which it was surely there, since which day that is known, and whether it was mentioned."""

    looks: tuple[tuple[str, bool], ...]


class Silence:
    """How many silent looks in a row count, by day."""

    def __init__(self, tracks: Iterable[Track]) -> None:
        known = sorted(pair for track in tracks for pair in track.looks)
        self._days = [day for day, _ in known]
        self._mentioned = [0]
        for _, mentioned in known:
            self._mentioned.append(self._mentioned[-1] + mentioned)

    def learnt(self, day: str) -> tuple[int, int]:
        """Return how often damage that was there had been mentioned, and at how many looks, as far as known on a day."""
        looks = bisect_right(self._days, day)
        return self._mentioned[looks], looks

    def never(self, day: str) -> bool:
        """Tell whether silence says nothing up to a day."""
        return self.learnt(day)[1] < FEWEST_LOOKS

    def looks_needed(self, day: str) -> float:
        """Return how many silent looks in a row count on a day; infinite where silence says nothing."""
        mentioned, looks = self.learnt(day)
        if looks < FEWEST_LOOKS:
            return math.inf
        share = (mentioned + 0.5) / (looks + 1)
        return max(FEWEST_SILENT, math.ceil(math.log(CHANCE) / math.log1p(-share) - 1e-9))

"""What the tests of a map found, as values; their words stand in `trunkwatch.pattern.words`."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum, StrEnum

__all__ = [
    "BUNCHED_LEVEL",
    "FAMILY_LEVEL",
    "GRADIENT_LEVEL",
    "STEP_LEVEL",
    "Direction",
    "MapFinding",
    "VinesTested",
    "Word",
    "has",
]


#: What a p must not exceed: that of the declared test of a season's map, and of all seasons' maps together; the corrected ones
#: of its family (pairs along and across, new cases near old) and of gradients; that of a season that stands out. All are asked
#: of one block: they are set so that few of the blocks in which all is chance get any of these words: 4 and 9 % in two worlds (our
#: own convention, after simulation: tests/calibration).
BUNCHED_LEVEL, FAMILY_LEVEL, GRADIENT_LEVEL, STEP_LEVEL = 0.02, 0.01, 0.01, 0.01


class Word(Enum):
    """What may be found on a map; several may hold."""

    CHANCE = 1
    CLUSTERED = 2
    PAIRS = 3
    TOO_FEW = 4
    GRADIENT = 5
    NEAR_OLD = 6
    STEP = 7
    PAIRS_ACROSS = 8


class Direction(Enum):
    """Which way the cases of a clustered map lie together."""

    ALONG = 1
    ACROSS = 2
    BOTH = 3
    MORE_ALONG = 4
    UNCLEAR = 5


class VinesTested(StrEnum):
    """Which vines carry the test; the value is the code in JSON."""

    CASES = "cases"
    FREE = "vines without symptoms"


@dataclass(frozen=True, slots=True)
class MapFinding:
    """One thing that was found.

    Attributes
    ----------
    word : Word
    direction : Direction or None
        Of a clustered map.
    year : int
        Of a one-season step; 0 for anything else.
    """

    word: Word
    direction: Direction | None = None
    year: int = 0


def has(findings: Iterable[MapFinding], *wanted: Word) -> bool:
    """Tell whether any of these words holds."""
    return any(finding.word in wanted for finding in findings)

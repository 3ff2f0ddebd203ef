"""What is odd about a survey, as values; their words stand in `trunkwatch.surveys.words`."""

from dataclasses import dataclass
from enum import Enum

from trunkwatch.history.written import Finding

__all__ = ["Oddity", "OddityKind"]


class OddityKind(Enum):
    """What a second thought should be given to."""

    ROWS_NOT_WALKED = 1
    ROW_NOT_WHOLE = 2
    FOUND_OUTSIDE = 3
    NO_VINE_THERE = 4
    WALKED_TWICE = 5
    NOT_MENTIONED = 6
    QUIET_ROW = 7


@dataclass(frozen=True, slots=True)
class Oddity:
    """One thing that is odd.

    Attributes
    ----------
    kind : OddityKind
    rows : tuple of str
        Rows that it is about.
    left : str
        Positions of a row that were not walked.
    vines : tuple of (str, Finding)
        Vines by row and position, each with what was found or stands on record.
    people : (str, str)
        Who walked the same vines; empty where no name was written.
    many : int
        Vines walked twice, or with a finding at the look of the year before.
    differ : int
        Of those walked twice, vines at which one of the two alone found something.
    look, season : str, int
        The look that a quiet row is set beside.
    """

    kind: OddityKind
    rows: tuple[str, ...] = ()
    left: str = ""
    vines: tuple[tuple[str, Finding], ...] = ()
    people: tuple[str, str] = ("", "")
    many: int = 0
    differ: int = 0
    look: str = ""
    season: int = 0

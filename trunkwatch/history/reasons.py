"""Why a season or a rate does not count, and what a reader should know first: values, each with its words."""

from enum import Enum
from typing import NamedTuple

__all__ = ["NoRate", "NotCounted", "NoteKind", "SeasonNote"]


class NotCounted(Enum):
    """Why a season does not count for a case definition."""

    NO_SURVEY = "no survey"
    NO_LEAFY_LOOK = "no summer look"
    NO_BARE_LOOK = "no dormant or spring look"
    NOTHING_LOOKED_FOR = "no look for these symptoms"
    NO_VINE_WITH_ALL = "no vine had all the looks that the definition needs"

    @property
    def words(self) -> str:
        """The reason in words."""
        return str(self.value)


class NoRate(Enum):
    """Why there is no rate."""

    SEASON = "the season does not count"
    OTHER_LOOKS = "other looks took place than in the seasons it would be compared with"
    FIRST_SEASON = "it is the first counted season"
    NO_VINE_AT_RISK = "no vine that was never a case was looked at in enough earlier counted seasons"
    NO_CUT_VINE = "no vine whose case was cut out was looked at"
    NO_VINE = "no vine counts"

    @property
    def words(self) -> str:
        """The reason in words."""
        return str(self.value)


class NoteKind(Enum):
    """What a reader should know of a history."""

    YOUNG_BLOCK = "young block"
    HEMISPHERE_UNKNOWN = "hemisphere unknown"


class SeasonNote(NamedTuple):
    """One note, with the year that it is about."""

    kind: NoteKind
    year: int

    @property
    def words(self) -> str:
        """The note in words."""
        if self.kind is NoteKind.YOUNG_BLOCK:
            return f"the block was planted in {self.year}: in its first three seasons rates are of all vines"
        return "no latitude is known: seasons are those north of the equator"

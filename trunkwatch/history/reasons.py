"""Why a season or a rate does not count, and what a reader should know first: values; `reason_words` has their words."""

from enum import Enum
from typing import NamedTuple

__all__ = ["NoRate", "NotCounted", "NoteKind", "SeasonNote", "WhyOut"]


class NotCounted(Enum):
    """Why a season does not count for a case definition."""

    NO_SURVEY = 1
    NO_LEAFY_LOOK = 2
    NO_BARE_LOOK = 3
    NOTHING_LOOKED_FOR = 4
    NO_VINE_WITH_ALL = 5


class NoRate(Enum):
    """Why there is no rate."""

    SEASON = 1
    OTHER_LOOKS = 2
    FIRST_SEASON = 3
    NO_VINE_AT_RISK = 4
    NO_CUT_VINE = 5
    NO_VINE = 6


class WhyOut(Enum):
    """Why a vine is not in the denominator of a rate, beside its condition."""

    NOT_AT_FIRST = 1
    CASE_BEFORE = 2
    TOO_FEW_LOOKS = 3
    NOTHING_CUT_OUT = 4
    NOT_FOLLOWED = 5


class NoteKind(Enum):
    """What a reader should know of a history."""

    YOUNG_BLOCK = 1
    HEMISPHERE_UNKNOWN = 2


class SeasonNote(NamedTuple):
    """One note, with the year that it is about."""

    kind: NoteKind
    year: int

"""Why a season, a rate or a vine does not count, in words."""

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from trunkwatch.history.condition import Condition
from trunkwatch.history.reasons import NoRate, NotCounted, NoteKind, SeasonNote, WhyOut

__all__ = ["apart_words", "no_rate_words", "not_counted_words", "out_words", "season_note_words"]

_NOT_COUNTED: Mapping[NotCounted, str] = MappingProxyType({
    NotCounted.NO_SURVEY: "no survey",
    NotCounted.NO_LEAFY_LOOK: "no summer inspection",
    NotCounted.NO_BARE_LOOK: "no dormant or spring inspection",
    NotCounted.NOTHING_LOOKED_FOR: "no look for these symptoms",
    NotCounted.NO_VINE_WITH_ALL: "no vine had all the inspections that the definition needs",
})  # fmt: skip
_NO_RATE: Mapping[NoRate, str] = MappingProxyType({
    NoRate.SEASON: "the season does not count",
    NoRate.OTHER_LOOKS: "other inspections took place than in the seasons it would be compared with",
    NoRate.FIRST_SEASON: "it is the first counted season",
    NoRate.NO_VINE_AT_RISK: "no vine that was never a case was scouted in enough earlier counted seasons",
    NoRate.NO_CUT_VINE: "no vine whose case was cut out was scouted",
    NoRate.NO_VINE: "no vine counts",
})  # fmt: skip
_OUT: Mapping[WhyOut, str] = MappingProxyType({
    WhyOut.NOT_AT_FIRST: "not among the mature vines scouted in the first counted season",
    WhyOut.CASE_BEFORE: "a case before",
    WhyOut.TOO_FEW_LOOKS: "not scouted in enough earlier counted seasons",
    WhyOut.NOTHING_CUT_OUT: "no case that work had cut out, or not scouted since",
    WhyOut.NOT_FOLLOWED: "not seen alive in the last counted season, or not scouted now",
})  # fmt: skip
_CLASS: Mapping[str, str] = MappingProxyType({"bare": "dormant or spring inspections", "leafy": "summer inspections"})


def not_counted_words(reasons: Iterable[NotCounted]) -> str:
    """Say why a season does not count; empty where it does."""
    return " and ".join(_NOT_COUNTED[one] for one in reasons)


def apart_words(classes: Iterable[str]) -> str:
    """Say which looks alone took place in a season that is drawn apart."""
    return f"only {' and '.join(_CLASS[name] for name in sorted(classes))}: not compared with the others"


def no_rate_words(why_not: NoRate | None, season: Iterable[NotCounted] = ()) -> str:
    """Say why there is no rate, and, where the season does not count, why that is; empty where there is a rate."""
    if why_not is None:
        return ""
    more = not_counted_words(season)
    return f"{_NO_RATE[why_not]}: {more}" if more else _NO_RATE[why_not]


def out_words(why: WhyOut | Condition) -> str:
    """Say why a vine is not in a denominator."""
    return _OUT[why] if isinstance(why, WhyOut) else why.meaning


def season_note_words(note: SeasonNote) -> str:
    """Say what a reader should know of a history."""
    if note.kind is NoteKind.YOUNG_BLOCK:
        return f"the block was planted in {note.year}: in its first three seasons rates are of all vines"
    return "no latitude is known: seasons are those north of the equator"

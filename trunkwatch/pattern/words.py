"""The verdict on a map in fixed words, and in sentences for a grower; no code asks what they say."""

import math
from collections.abc import Iterable, Iterator, Mapping
from enum import Enum
from types import MappingProxyType
from typing import TYPE_CHECKING

from trunkwatch.pattern.chance_words import chance_words, p_words
from trunkwatch.pattern.findings import FAMILY_LEVEL, GRADIENT_LEVEL, Direction, MapFinding, VinesTested, Word, has
from trunkwatch.pattern.near_old import NearOldChecks, NearOldPattern
from trunkwatch.pattern.place_words import (
    gradient_sentence,
    group_sentences,
    hot_spots_sentences,
    observer_shares,
    observers_sentences,
)
from trunkwatch.pattern.spread import Says
from trunkwatch.pattern.spread_words import series_sentence, spread_sentences, step_sentence
from trunkwatch.stats.focus_sizes import Foci
from trunkwatch.stats.join_counts import JoinCount

if TYPE_CHECKING:
    from trunkwatch.pattern.verdict import Pattern

__all__ = [
    "CANNOT_TELL_BY_NEARNESS",
    "CANNOT_TELL_STOCK",
    "CAUTION",
    "PAIRS_TESTED",
    "Part",
    "caution_sentences",
    "cautions",
    "joins_sentence",
    "opening",
    "pattern_sentences",
    "side_by_side",
    "verdict_words",
]

_WORDS: Mapping[Word, str] = MappingProxyType({
    Word.CHANCE: "scattered as by chance",
    Word.CLUSTERED: "clustered",
    Word.NEAR_OLD: "new cases near old",
    Word.PAIRS: "pairs along the row",
    Word.PAIRS_ACROSS: "pairs across the rows",
    Word.GRADIENT: "gradient or edge",
    Word.STEP: "one-season jump",
    Word.TOO_FEW: "too few to say",
})  # fmt: skip
_DIRECTIONS: Mapping[Direction, str] = MappingProxyType({
    Direction.ALONG: "along",
    Direction.ACROSS: "across",
    Direction.BOTH: "both",
    Direction.MORE_ALONG: "both, more along the rows",
    Direction.UNCLEAR: "no clear direction",
})  # fmt: skip
_WAYS: Mapping[Direction, str] = MappingProxyType({
    Direction.ALONG: "along the rows",
    Direction.ACROSS: "across the rows",
    Direction.BOTH: "both along and across the rows",
    Direction.MORE_ALONG: "along and across the rows, more along them",
    Direction.UNCLEAR: "in no clear direction",
})  # fmt: skip
CANNOT_TELL_STOCK = "cannot tell spread from old planting stock"
#: Where the order of first symptoms or the drying up of new cases says more than their places do.
CANNOT_TELL_BY_NEARNESS = (
    f"{CANNOT_TELL_STOCK} by nearness alone: what is said on spread rests on the years, not on this map"
)
CAUTION = (
    "Clustering is no proof of who infected whom: one planting batch, soil, a pruning crew or cold ground "
    "can group cases as well as spread can."
)


#: How the pairs of the three tests are called: the one declared beforehand, in the row, across it.
PAIRS_TESTED = (
    "adjacent vines (along the row and across)",
    "adjacent vines in a row",
    "vines directly across in the next row",
)
#: New cases below which nothing is said on where they lie (our own convention).
FEWEST_NEW = 5


class Part(Enum):
    """What a sentence of a pattern is about; a page that shows one by itself leaves it out of the rest."""

    OPENING = 1
    RARER = 2
    PAIRS = 3
    FOCI = 4
    NEAR_OLD = 5
    PLACES = 6
    GRADIENTS = 7
    OBSERVER_SHARES = 8
    OBSERVERS = 9
    SPREAD = 10
    SERIES = 11
    STEP = 12
    GROUPS = 13


def verdict_words(findings: Iterable[MapFinding]) -> tuple[str, ...]:
    """Write the verdict in the project's fixed words."""
    return tuple(_finding_words(finding) for finding in findings)


def _finding_words(finding: MapFinding) -> str:
    word = _WORDS[finding.word]
    if finding.direction is not None:
        return f"{word} ({_DIRECTIONS[finding.direction]})"
    return f"{word} ({finding.year})" if finding.year else word


def pattern_sentences(found: "Pattern", *, without: Iterable[Part] = ()) -> tuple[str, ...]:
    """Say the verdict and the numbers behind it, for a grower; where cases are too few, no more than their one count.

    Parameters
    ----------
    found : Pattern
    without : iterable of Part
        What a page shows elsewhere.
    """
    left_out = frozenset(without)
    return tuple(sentence for part, sentence in _sentences(found) if part not in left_out)


def _sentences(found: "Pattern") -> Iterator[tuple[Part, str]]:
    yield Part.OPENING, opening(found)
    if found.no_count is None:
        yield from _of_the_map(found)
    if found.places is not None:
        yield from ((Part.PLACES, one) for one in hot_spots_sentences(found.places))
    if found.tested is VinesTested.CASES:
        yield from (
            (Part.GRADIENTS, gradient_sentence(one)) for one in found.gradients if one.corrected <= GRADIENT_LEVEL
        )
    if found.groups is not None:
        yield from ((Part.GROUPS, one) for one in group_sentences(found.groups))
    if found.observers is not None and found.no_count is None:
        yield from ((Part.OBSERVER_SHARES, one) for one in observer_shares(found.observers))
        yield from ((Part.OBSERVERS, one) for one in observers_sentences(found.observers))
    if found.spread is not None and (
        found.spread.says is not Says.CANNOT_TELL or has(found.findings, Word.CLUSTERED, Word.NEAR_OLD)
    ):
        yield from ((Part.SPREAD, one) for one in spread_sentences(found.spread))
    if found.series is not None and (said := series_sentence(found.series)):
        yield Part.SERIES, said
    if found.step is not None and has(found.findings, Word.STEP):
        yield Part.STEP, step_sentence(*found.step)


def _of_the_map(found: "Pattern") -> Iterator[tuple[Part, str]]:
    if found.tested is VinesTested.FREE:
        yield Part.RARER, "More than half of the vines show symptoms, so the vines without carry the test."
    few = has(found.findings[:1], Word.TOO_FEW)
    if found.primary.n_cases:
        yield Part.PAIRS, joins_sentence(found.primary, PAIRS_TESTED[0], found.tested)
    if not few:
        yield Part.PAIRS, joins_sentence(found.row, PAIRS_TESTED[1], found.tested)
        yield Part.PAIRS, joins_sentence(found.across, PAIRS_TESTED[2], found.tested)
        if found.foci.statistic and not found.foci.reason:
            yield Part.FOCI, _foci_sentence(found.foci)
    if found.near_old is not None:
        corrected = found.holm.get("near old", math.nan)
        yield Part.NEAR_OLD, _near_sentence(found.near_old, corrected, said=has(found.findings, Word.NEAR_OLD))
        if found.checks is not None and has(found.findings, Word.NEAR_OLD):
            yield from ((Part.NEAR_OLD, one) for one in _check_sentences(found.checks))


def opening(found: "Pattern") -> str:
    """Say the verdict in one sentence, or why there is none."""
    if found.no_count is not None:
        return f"No test: {found.no_count.reason}."
    primary, first = found.primary, found.findings[0]
    if primary.n_cases == primary.n_vines > 1:
        return f"Every one of the {primary.n_vines} vines is a case: there is no pattern to test."
    if primary.n_cases == 0:
        return f"No case was seen among the {primary.n_vines} vines scouted."
    if first.word is Word.TOO_FEW:
        return (
            f"There are too few cases to say anything about the pattern ({primary.n_cases} of {primary.n_vines} vines)."
        )
    if first.word is Word.PAIRS:
        return "Sick vines lie next to each other in the row more often than by chance; over the block as a whole they are not bunched."
    if first.word is Word.PAIRS_ACROSS:
        return "Sick vines lie directly across from each other more often than by chance; over the block as a whole they are not bunched."
    if first.word is Word.CHANCE:
        return _scattered(uneven=has(found.findings, Word.GRADIENT))
    way = _WAYS[first.direction or Direction.UNCLEAR]
    return f"Sick vines are bunched {way}, more than by chance."


def _scattered(*, uneven: bool) -> str:
    """Say that a map is scattered."""
    if not uneven:
        return "Sick vines are scattered, as chance would scatter them."
    return "Sick vines have sick vines next to them about as often as by chance, but they are not spread evenly over the block."


def cautions(found: "Pattern") -> tuple[str, ...]:
    """Say what the verdict must not be taken for."""
    if not has(found.findings, Word.CLUSTERED, Word.NEAR_OLD, Word.PAIRS, Word.PAIRS_ACROSS):
        return ()
    unknown = found.spread is None or found.spread.says is Says.CANNOT_TELL
    return (CANNOT_TELL_STOCK if unknown else CANNOT_TELL_BY_NEARNESS, CAUTION)


def caution_sentences(found: "Pattern") -> tuple[str, ...]:
    """Say the same in whole sentences."""
    return tuple(f"{caution[:1].upper()}{caution[1:].rstrip('.')}." for caution in cautions(found))


def joins_sentence(found: JoinCount, pairs: str, tested: VinesTested) -> str:
    """Say what was counted, what chance would give, and how often."""
    if found.reason:
        return f"Pairs of {pairs}: no test, {found.reason}."
    who = "showing" if tested is VinesTested.CASES else "free of symptoms"
    return (
        f"In {found.case_case} pair{'s' if found.case_case != 1 else ''} of {pairs} both are {who}; chance would give about "
        f"{found.expected_case_case:.1f} ({chance_words(found.pvalue)}; {p_words(found.pvalue)})."
    )


def side_by_side(found: JoinCount, where: str, tested: VinesTested) -> str:
    """Say beside a picture what was counted: no p, and what chance gives in whole pairs."""
    who = "sick" if tested is VinesTested.CASES else "symptom-free"
    many = {0: "Nowhere", 1: "Once"}.get(found.case_case, f"{found.case_case} times")
    do = "do" if found.case_case == 0 else ""
    told = f"{many} {do} two {who} vines stand side by side {where}".replace("  ", " ")
    often = chance_words(found.pvalue)
    return f"{told}; chance alone would give about {found.expected_case_case:.0f}. {often[:1].upper()}{often[1:]}."


def _foci_sentence(patches: Foci) -> str:
    many = f"{patches.statistic} {'focus' if patches.statistic == 1 else 'foci'}"
    return (
        f"The cases form {many}, a case by itself counted as one (chance: about {patches.expected:.0f}); the largest has "
        f"{patches.largest} vine{'s' if patches.largest != 1 else ''} (chance: about {patches.expected_largest:.0f})."
    )


def _near_sentence(near_old: NearOldPattern, corrected: float, *, said: bool) -> str:
    if near_old.reason:
        return f"New cases near earlier ones: no test, {near_old.reason}."
    (a, b), (c, d) = near_old.table
    over = f"Over {near_old.seasons} season{'s' if near_old.seasons > 1 else ''}"
    if near_old.n_new < FEWEST_NEW and not said:
        many = f"{near_old.n_new} new case{'s' if near_old.n_new != 1 else ''}"
        return f"{over} there {'was' if near_old.n_new == 1 else 'were'} {many}: too few to say whether new cases lie near earlier ones."
    also = (
        f", {p_words(corrected)} corrected for the other tests" if corrected > FAMILY_LEVEL >= near_old.pvalue else ""
    )
    each = "" if near_old.seasons == 1 else " each year"
    return (
        f"{over}: beside a sick vine {_percent(a, a + b)} of the healthy vines turned sick{each} ({a} of {a + b}), elsewhere "
        f"{_percent(c, c + d)} ({c} of {c + d}); {chance_words(near_old.pvalue)} ({p_words(near_old.pvalue)}{also})."
    )


def _check_sentences(checks: NearOldChecks) -> Iterator[str]:
    kept = (
        ("rows kept as they are", checks.within_rows),
        ("only vines with three or more symptom-free inspections before", checks.long_free),
    )
    for name, one in kept:
        if not one.reason and one.expected > 0:
            yield (
                f"With {name}, new cases have {one.statistic / one.expected:.1f} times the earlier cases beside them that chance "
                f"would give ({p_words(one.pvalue)})."
            )


def _percent(some: int, of: int) -> str:
    return f"{100 * some / of:.1f}%" if of else "none"

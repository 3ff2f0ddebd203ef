"""The verdict on a map in fixed words, and in sentences for a grower."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from trunkwatch.stats.foci import Foci
from trunkwatch.stats.join_count import JoinCount

if TYPE_CHECKING:
    from trunkwatch.pattern.near_old import NearOldPattern

__all__ = [
    "CANNOT_TELL_BY_NEARNESS",
    "CANNOT_TELL_STOCK",
    "CAUTION",
    "CHANCE",
    "CLUSTERED",
    "GRADIENT",
    "NEAR_OLD",
    "PAIRS",
    "STEP",
    "TOO_FEW",
    "chance_words",
    "direction_word",
    "joins_sentence",
    "p_words",
    "sentences",
]

CHANCE = "scattered as by chance"
CLUSTERED = "clustered"
NEAR_OLD = "new cases near old"
PAIRS = "pairs along the row"
GRADIENT = "gradient or edge"
STEP = "one-season step"
TOO_FEW = "too few to say"
LEVEL = 0.05
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
    "next vines (along the row and across)",
    "next vines in a row",
    "vines side by side in neighbouring rows",
)
#: New cases below which nothing is said on where they lie (our own convention).
FEWEST_NEW = 5


def direction_word(*, along: bool, across: bool, stronger_along: bool) -> str:
    """Name the direction; along the row only where it is more than the same metres across would give."""
    if along and across:
        return "both, more along the rows" if stronger_along else "both"
    if along:
        return "along" if stronger_along else "no clear direction"
    return "across" if across else "no clear direction"


def p_words(pvalue: float) -> str:
    """Write a p-value; below 0.0001 its digits say nothing."""
    return "p < 0.0001" if pvalue < 0.0001 else f"p = {pvalue:.2g}"


def chance_words(pvalue: float) -> str:
    """Say a p-value as how often chance alone would do it."""
    if math.isnan(pvalue):
        return "no test is possible"
    if pvalue < 0.001:
        return "chance alone would do this less than once in 1,000 blocks"
    if pvalue >= 0.95:
        return "chance alone would nearly always do this"
    if pvalue <= 0.05:
        return f"chance alone would do this about {_times(pvalue)}"
    return f"chance alone would {'sometimes' if pvalue < 0.2 else 'often'} do this, about {_times(pvalue)}"


def _times(pvalue: float) -> str:
    if pvalue >= 0.1:
        tenths = round(10 * min(pvalue, 1.0))
        return "once in 10" if tenths == 1 else f"{tenths} times in 10"
    if pvalue < 0.0095:
        thousandths = max(1, round(1000 * pvalue))
        return f"{thousandths} time{'s' if thousandths > 1 else ''} in 1,000"
    return f"{round(100 * pvalue)} time{'s' if round(100 * pvalue) > 1 else ''} in 100"


def joins_sentence(found: JoinCount, pairs: str, tested: str) -> str:
    """Say what was counted, what chance would give, and how often."""
    if found.reason:
        return f"Pairs of {pairs}: no test, {found.reason}."
    who = "showing" if tested == "cases" else "free of symptoms"
    return (
        f"Both vines are {who} in {found.case_case} pair{'s' if found.case_case != 1 else ''} of {pairs}; chance would give about "
        f"{found.expected_case_case:.1f} ({chance_words(found.pvalue)}; {p_words(found.pvalue)})."
    )


def sentences(
    words: Sequence[str],
    primary: JoinCount,
    row: JoinCount,
    across: JoinCount,
    near_old: "NearOldPattern | None",
    patches: Foci,
    tested: str,
    no_count: str,
    corrected_near: float = math.nan,
    *,
    across_too: bool = False,
) -> tuple[str, ...]:
    """Say the verdict and the numbers behind it; where cases are too few, no more than their one count.

    `across_too`: neighbouring rows stand out, corrected for the tests.
    """
    if no_count:
        return (f"No test: {no_count}.",)
    told = [_opening(words, primary, across_too=across_too)]
    if tested != "cases":
        told.append("More than half of the vines show symptoms, so the vines without carry the test.")
    few = words[0] == TOO_FEW
    if primary.n_cases:
        told.append(joins_sentence(primary, PAIRS_TESTED[0], tested))
    if not few:
        told.append(joins_sentence(row, PAIRS_TESTED[1], tested))
        told.append(joins_sentence(across, PAIRS_TESTED[2], tested))
        if patches.statistic and not patches.reason:
            told.append(_foci_sentence(patches))
    if near_old is not None:
        told.append(_near_sentence(near_old, corrected_near, said=NEAR_OLD in words))
    return tuple(told)


def _foci_sentence(patches: Foci) -> str:
    many = f"{patches.statistic} {'focus' if patches.statistic == 1 else 'foci'}"
    return (
        f"The cases form {many}, a case by itself counted as one (chance: about {patches.expected:.0f}); the largest has "
        f"{patches.largest} vine{'s' if patches.largest != 1 else ''} (chance: about {patches.expected_largest:.0f})."
    )


def _opening(words: Sequence[str], primary: JoinCount, *, across_too: bool = False) -> str:
    first = words[0]
    if primary.reason == "every vine is a case":
        return f"Every one of the {primary.n_vines} vines is a case: there is no pattern to test."
    if primary.n_cases == 0:
        return f"No case was seen among the {primary.n_vines} vines looked at."
    if first == TOO_FEW:
        return (
            f"There are too few cases to say anything about the pattern ({primary.n_cases} of {primary.n_vines} vines)."
        )
    if first == PAIRS:
        return "Cases are next to each other in the row more often than chance would have it; the block as a whole is not clustered."
    if first == CHANCE and (across_too or GRADIENT in words):
        but = [
            *(["side by side in neighbouring rows more often"] if across_too else []),
            *(["not evenly over the block"] if GRADIENT in words else []),
        ]
        return f"Taken together, cases have other cases next to them about as often as chance would have it, but {' and '.join(but)}."
    if first == CHANCE:
        return "The cases are scattered as chance would scatter them."
    way = {
        "(along)": "along the rows",
        "(across)": "across the rows",
        "(both)": "both along and across the rows",
        "(both, more along the rows)": "along and across the rows, more along them",
    }.get(first.removeprefix(f"{CLUSTERED} "), "in no clear direction")
    return f"The cases lie closer together than chance would put them, {way}."


def _near_sentence(near_old: "NearOldPattern", corrected: float, *, said: bool) -> str:
    if near_old.reason:
        return f"New cases near earlier ones: no test, {near_old.reason}."
    (a, b), (c, d) = near_old.table
    over = f"Over {near_old.seasons} season{'s' if near_old.seasons > 1 else ''}"
    if near_old.n_new < FEWEST_NEW and not said:
        many = f"{near_old.n_new} new case{'s' if near_old.n_new != 1 else ''}"
        return f"{over} there {'was' if near_old.n_new == 1 else 'were'} {many}: too few to say whether new cases lie near earlier ones."
    also = f", {p_words(corrected)} corrected for the other tests" if corrected > LEVEL >= near_old.pvalue else ""
    vines = "vines" if near_old.seasons == 1 else "vine-seasons (a vine counts once each season)"
    return (
        f"{over}, {a} of {a + b} {vines} beside an earlier case brought a new case{_percent(a, a + b)}, and {c} of {c + d} "
        f"away from one{_percent(c, c + d)}; {chance_words(near_old.pvalue)} ({p_words(near_old.pvalue)}{also})."
    )


def _percent(some: int, of: int) -> str:
    return f" ({100 * some / of:.1f} %)" if of else ""

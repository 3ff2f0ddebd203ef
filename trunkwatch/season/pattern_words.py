"""The verdict on a map in fixed words, and in sentences for a grower."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from trunkwatch.stats.foci import Foci
from trunkwatch.stats.join_count import JoinCount

if TYPE_CHECKING:
    from trunkwatch.season.near_old import NearOldPattern

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
    "sentences",
]

CHANCE = "scattered as by chance"
CLUSTERED = "clustered"
NEAR_OLD = "new cases near old"
PAIRS = "pairs along the row"
GRADIENT = "gradient or edge"
STEP = "one-season step"
TOO_FEW = "too few to say"
CANNOT_TELL_STOCK = "cannot tell spread from old planting stock"
#: Where the order of first symptoms or the drying up of new cases says more than their places do.
CANNOT_TELL_BY_NEARNESS = f"{CANNOT_TELL_STOCK} by nearness alone; the years may say more"
CAUTION = (
    "Clustering is no proof of who infected whom: one planting batch, soil, a pruning crew or cold ground "
    "can group cases as well as spread can."
)


def direction_word(*, along: bool, across: bool, stronger_along: bool) -> str:
    """Name the direction; along the row only where it is more than the same metres across would give."""
    if along and across:
        return "both, more along the rows" if stronger_along else "both"
    if along:
        return "along" if stronger_along else "no clear direction"
    return "across" if across else "no clear direction"


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
    return f"{max(1, round(100 * pvalue))} time{'s' if round(100 * pvalue) > 1 else ''} in 100"


def joins_sentence(found: JoinCount, pairs: str, tested: str) -> str:
    """Say what was counted, what chance would give, and how often."""
    if found.reason:
        return f"Pairs of {pairs}: no test, {found.reason}."
    who = "showing" if tested == "cases" else "free of symptoms"
    both = f"1 pair of {pairs} is" if found.case_case == 1 else f"{found.case_case} pairs of {pairs} are"
    return (
        f"{both} both {who}; chance would give about "
        f"{found.expected_case_case:.1f} ({chance_words(found.pvalue)}; p = {found.pvalue:.2g})."
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
    *,
    across_too: bool = False,
) -> tuple[str, ...]:
    """Say the verdict and the numbers behind it; `across_too`: neighbouring rows stand out, corrected for the tests."""
    if no_count:
        return (f"No test: {no_count}.",)
    told = [_opening(words, primary, across_too=across_too)]
    if tested != "cases":
        told.append("More than half of the vines show symptoms, so the vines without carry the test.")
    told.append(joins_sentence(primary, "next vines (along and across)", tested))
    told.append(joins_sentence(row, "next vines in a row", tested))
    told.append(joins_sentence(across, "vines side by side in neighbouring rows", tested))
    if patches.statistic and not patches.reason:
        told.append(
            f"The cases form {patches.statistic} {'focus' if patches.statistic == 1 else 'foci'} (chance: about {patches.expected:.0f}), "
            f"the largest of {patches.largest} vines (chance: about {patches.expected_largest:.0f})."
        )
    if near_old is not None:
        told.append(_near_sentence(near_old))
    return tuple(told)


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


def _near_sentence(near_old: "NearOldPattern") -> str:
    if near_old.reason:
        return f"New cases near earlier ones: no test, {near_old.reason}."
    (a, b), (c, d) = near_old.table
    return (
        f"Over {near_old.seasons} season{'s' if near_old.seasons > 1 else ''}, {a} of {a + b} vines beside an earlier case "
        f"became new cases, and {c} of {c + d} vines away from one "
        f"({'a vine counts once for every season; ' if near_old.seasons > 1 else ''}{chance_words(near_old.pvalue)}; p = {near_old.pvalue:.2g})."
    )

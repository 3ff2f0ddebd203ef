"""Which figures over several growers may be shown: a cell's own rules, and rounding. Functions on counts.

References
----------
The rules are those of handbooks of statistical disclosure control for tables of firms (from memory: Hundepool et al. 2012,
Statistical Disclosure Control, chapter 4): a least number of those who contribute, dominance, and the p% rule with the
second largest as the one who looks. The values are our own convention.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

__all__ = ["BASE", "FEWEST_GROWERS", "LARGEST_SHARE", "Figure", "P", "Part", "figure_of", "may_show"]

#: Growers that a cell takes.
FEWEST_GROWERS = 5
#: Share of the vines that no grower may be over.
LARGEST_SHARE = 0.5
#: How near the second largest may come to the largest, as a share of it.
P = 0.15
#: Counts are shown as multiples of this; fewer than this are shown as such.
BASE = 5


@dataclass(frozen=True, slots=True)
class Part:
    """What one block brings to a cell.

    Attributes
    ----------
    grower : str
        Mark of the grower.
    block : str
        Mark of the block and of these counts of it: another one when they were corrected.
    vines, cases : int
        Vines that count and those of them that are cases.
    """

    grower: str
    block: str
    vines: int
    cases: int


@dataclass(frozen=True, slots=True)
class Figure:
    """A cell as it is shown; each count lies within its limits, the limits included.

    Attributes
    ----------
    vines : int
        Rounded.
    cases : int or None
        Rounded; None where fewer than `BASE` are cases, or fewer than that are none.
    vines_low, vines_high, cases_low, cases_high : int
        What a reader knows.
    """

    vines: int
    cases: int | None
    vines_low: int
    vines_high: int
    cases_low: int
    cases_high: int

    @property
    def few(self) -> bool:
        """Whether fewer than `BASE` are cases: none, perhaps."""
        return self.cases is None and self.cases_low == 0


def may_show(parts: Sequence[Part]) -> bool:
    """Tell whether a cell may be shown.

    Parameters
    ----------
    parts : sequence of Part
        Of all blocks in it; blocks of one grower count together.
    """
    vines, cases = _by_grower(parts, "vines"), _by_grower(parts, "cases")
    total = sum(vines)
    if len(vines) < FEWEST_GROWERS or max(vines) > LARGEST_SHARE * total:
        return False
    sick = sum(cases)
    sound = [many - some for many, some in zip(vines, cases, strict=True)]
    # A cell without cases says of every grower in it that there are none, so none, few and all but few are shown alike.
    if sick >= BASE and not _is_far(cases):
        return False
    return not (2 * sick > total and sum(sound) >= BASE and not _is_far(sound))


def _is_far(values: Sequence[int]) -> bool:
    """Apply the p% rule: can the second largest reckon the largest to within that share?"""
    largest, *rest = sorted(values, reverse=True)
    return sum(rest[1:]) >= P * largest


def _by_grower(parts: Iterable[Part], name: str) -> list[int]:
    sums: defaultdict[str, int] = defaultdict(int)
    for part in parts:
        sums[part.grower] += getattr(part, name)
    return list(sums.values())


def figure_of(parts: Iterable[Part]) -> Figure:
    """Round a cell."""
    listed = list(parts)
    vines, cases = sum(part.vines for part in listed), sum(part.cases for part in listed)
    shown = _round(vines)
    low, high = shown - BASE // 2, shown + BASE // 2
    if cases < BASE:
        return Figure(shown, None, low, high, 0, BASE - 1)
    if vines - cases < BASE:
        return Figure(shown, None, low, high, max(BASE, low - BASE + 1), high)
    told = _round(cases)
    return Figure(shown, told, low, high, max(BASE, told - BASE // 2), told + BASE // 2)


def _round(many: int) -> int:
    return BASE * ((many + BASE // 2) // BASE)

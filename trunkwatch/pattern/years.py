"""One verdict for all years: which explanations compete for how the cases lie and came, and how well each fits."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum, StrEnum

from trunkwatch.pattern.findings import BUNCHED_LEVEL, STEP_LEVEL, Word, has
from trunkwatch.pattern.spread import Says
from trunkwatch.pattern.verdict import Pattern

__all__ = ["Explanation", "Fits", "Headline", "Weighed", "YearsVerdict", "years_verdict"]

LEVEL = 0.05


class Explanation(StrEnum):
    """What may bring cases to where and when they are; the value is the code in JSON."""

    CHANCE = "chance"
    SPREAD = "spread"
    STOCK = "planting stock"
    PLACE = "slope or edge"
    CULTIVAR = "cultivar"
    ROOTSTOCK = "rootstock"
    PLANTING = "planting year"
    PEOPLE = "people who scouted"
    WINTER = "one winter"


class Fits(StrEnum):
    """How well an explanation fits the record; the value is the code in JSON."""

    WELL = "fits"
    MAYBE = "cannot tell"
    NOT = "does not fit"
    NO_RECORD = "not on record"
    SAME = "the same everywhere"


class Headline(Enum):
    """What all years say together, the strongest first."""

    TOO_FEW = 1
    SPREADS = 2
    SPREADS_OR_ZONES = 3
    BUNCHED_NO_SPREAD = 4
    BUNCHED = 5
    ROWS_OR_SIDES = 6
    SCATTERED = 7


@dataclass(frozen=True, slots=True)
class Weighed:
    """One explanation.

    Attributes
    ----------
    what : Explanation
    fits : Fits
    pvalue : float or None
        Of the test it rests on; None where it rests on none.
    year : int
        Of a winter; 0 for anything else.
    """

    what: Explanation
    fits: Fits
    pvalue: float | None = None
    year: int = 0


@dataclass(frozen=True, slots=True)
class YearsVerdict:
    """What all years say together; this season's map is one witness.

    Attributes
    ----------
    headline : Headline
    seasons : int
        Surveyed seasons that it rests on.
    bunched_p : float or None
        Of all seasons' maps together, whole vine histories shuffled; None where there is one season.
    now_bunched : bool
        Whether this season's map alone is clustered.
    explanations : tuple of Weighed
    """

    headline: Headline
    seasons: int
    bunched_p: float | None
    now_bunched: bool
    explanations: tuple[Weighed, ...]

    def fits(self, what: Explanation) -> Fits:
        """Tell how well an explanation fits."""
        return next(one.fits for one in self.explanations if one.what is what)


def years_verdict(found: Pattern) -> YearsVerdict | None:
    """Weigh the explanations.

    Parameters
    ----------
    found : Pattern
        The tests of one block.

    Returns
    -------
    YearsVerdict or None
        None for a single map, and where the season's map does not count.
    """
    if found.spread is None or found.series is None:
        return None
    together = found.series.together
    p = together.pvalue if together is not None and not together.reason else None
    now = has(found.findings[:1], Word.CLUSTERED)
    bunched = now or (p is not None and p <= BUNCHED_LEVEL) or has(found.findings, Word.NEAR_OLD)
    explanations = tuple(_weighed(found, p, bunched=bunched))
    return YearsVerdict(
        _headline(found, bunched=bunched, explanations=explanations), found.spread.seasons, p, now, explanations
    )


def _headline(found: Pattern, *, bunched: bool, explanations: tuple[Weighed, ...]) -> Headline:
    says = found.spread.says if found.spread is not None else Says.CANNOT_TELL
    if says is Says.FOR:
        return Headline.SPREADS
    if says is Says.EITHER:
        return Headline.SPREADS_OR_ZONES
    if has(found.findings[:1], Word.TOO_FEW) and not bunched:
        return Headline.TOO_FEW
    if bunched:
        return Headline.BUNCHED_NO_SPREAD if says is Says.AGAINST else Headline.BUNCHED
    lasting = {Explanation.PLACE, Explanation.CULTIVAR, Explanation.ROOTSTOCK, Explanation.PLANTING}
    if any(one.what in lasting and one.fits is Fits.WELL for one in explanations) or has(
        found.findings, Word.PAIRS, Word.PAIRS_ACROSS
    ):
        return Headline.ROWS_OR_SIDES
    return Headline.SCATTERED


def _weighed(found: Pattern, p: float | None, *, bunched: bool) -> Iterator[Weighed]:
    few = has(found.findings[:1], Word.TOO_FEW)
    yield Weighed(Explanation.CHANCE, Fits.NOT if bunched else Fits.MAYBE if few else Fits.WELL, p)
    assert found.spread is not None  # noqa: S101 - asked by `years_verdict`
    says, telling = found.spread.says, found.spread.telling
    spread = {Says.FOR: Fits.WELL, Says.EITHER: Fits.WELL, Says.AGAINST: Fits.NOT}.get(says, Fits.MAYBE)
    yield Weighed(Explanation.SPREAD, spread, telling.either_p if telling is not None else None)
    stock = {Says.FOR: Fits.NOT, Says.EITHER: Fits.MAYBE, Says.AGAINST: Fits.WELL}.get(says, Fits.MAYBE)
    yield Weighed(Explanation.STOCK, stock if bunched else Fits.MAYBE)
    slopes = [one.corrected for one in found.gradients]
    sides = has(found.findings, Word.GRADIENT)
    yield Weighed(
        Explanation.PLACE,
        Fits.WELL if sides else Fits.MAYBE if few or not slopes else Fits.NOT,
        min(slopes, default=None),
    )
    yield from _on_record(found)
    yield _people(found)
    if found.step is not None and found.step[0].pvalue == found.step[0].pvalue:
        step, year = found.step
        stands = step.pvalue <= STEP_LEVEL
        yield Weighed(Explanation.WINTER, Fits.WELL if stands else Fits.NOT, step.pvalue, year if stands else 0)
    else:
        yield Weighed(Explanation.WINTER, Fits.MAYBE)


def _on_record(found: Pattern) -> Iterator[Weighed]:
    names = {"cultivar": Explanation.CULTIVAR, "rootstock": Explanation.ROOTSTOCK, "planting": Explanation.PLANTING}
    groups = found.groups
    tables = {table.name: table for table in groups.tables} if groups is not None else {}
    for name, what in names.items():
        if name in tables:
            test = tables[name].test
            fits = Fits.MAYBE if test.reason else Fits.WELL if test.pvalue <= LEVEL else Fits.NOT
            yield Weighed(what, fits, None if test.reason else test.pvalue)
        elif groups is not None and name in groups.unwritten:
            yield Weighed(what, Fits.NO_RECORD)
        else:
            yield Weighed(what, Fits.SAME)


def _people(found: Pattern) -> Weighed:
    seen = found.observers
    if seen is None or not seen.shares or all(not name for name, _ in seen.shares):
        return Weighed(Explanation.PEOPLE, Fits.NO_RECORD)
    if seen.split is None:
        return Weighed(Explanation.PEOPLE, Fits.SAME)
    if seen.by_people != seen.by_people:
        return Weighed(Explanation.PEOPLE, Fits.MAYBE)
    return Weighed(Explanation.PEOPLE, Fits.WELL if seen.by_people <= LEVEL else Fits.NOT, seen.by_people)

"""What all years say together, in sentences for a grower."""

from collections.abc import Mapping
from types import MappingProxyType

from trunkwatch.pattern.chance_words import p_words
from trunkwatch.pattern.years import Explanation, Fits, Headline, Weighed, YearsVerdict

__all__ = ["explanation_lines", "headline_sentence"]

_HEADLINES: Mapping[Headline, str] = MappingProxyType({
    Headline.TOO_FEW: "too few vines have shown symptoms to tell how they lie.",
    Headline.SPREADS: "sick vines are bunched, and the dates point to spread from vine to vine.",
    Headline.SPREADS_OR_ZONES: "the dates point to spread from vine to vine, or to short stretches of row that got sick one after another: they cannot tell which.",
    Headline.BUNCHED_NO_SPREAD: "sick vines are bunched, and nothing in the dates points to spread.",
    Headline.BUNCHED: "sick vines are bunched more than by chance; it is too early to tell whether it spreads.",
    Headline.ROWS_OR_SIDES: "sick vines are not bunched, but lie more in some rows, sides or plantings than in others.",
    Headline.SCATTERED: "sick vines are scattered, as chance would scatter them.",
})  # fmt: skip
_NAMES: Mapping[Explanation, str] = MappingProxyType({
    Explanation.CHANCE: "Chance alone",
    Explanation.SPREAD: "Spread from vine to vine",
    Explanation.STOCK: "Infected planting stock, or other old spots",
    Explanation.PLACE: "A slope, a side or an edge of the block",
    Explanation.CULTIVAR: "The cultivar",
    Explanation.ROOTSTOCK: "The rootstock",
    Explanation.PLANTING: "The planting year",
    Explanation.PEOPLE: "Who scouted",
    Explanation.WINTER: "One bad winter",
})  # fmt: skip
_FITS: Mapping[Fits, str] = MappingProxyType({
    Fits.WELL: "fits", Fits.MAYBE: "cannot tell", Fits.NOT: "does not explain it", Fits.NO_RECORD: "not on record",
    Fits.SAME: "the same for nearly all vines",
})  # fmt: skip
#: What to write down so that an explanation can be weighed.
_WRITE: Mapping[Explanation, str] = MappingProxyType({
    Explanation.CULTIVAR: "write the cultivar of the block or of each row",
    Explanation.ROOTSTOCK: "write the rootstock of each planting",
    Explanation.PEOPLE: "write who scouted with each survey",
})  # fmt: skip


def headline_sentence(found: YearsVerdict) -> str:
    """Say what all years say, and where this season's map alone would mislead."""
    many = f"{found.seasons} surveyed season{'s' if found.seasons != 1 else ''}"
    told = f"Over {many}: {_HEADLINES[found.headline]}"
    if found.headline is Headline.SPREADS_OR_ZONES and found.fits(Explanation.CHANCE) is Fits.NOT:
        told = f"Over {many}: sick vines are bunched, and {_HEADLINES[found.headline]}"
    bunched = found.headline in (
        Headline.SPREADS,
        Headline.SPREADS_OR_ZONES,
        Headline.BUNCHED_NO_SPREAD,
        Headline.BUNCHED,
    )
    if bunched and not found.now_bunched:
        told += " One season's map alone does not show it; the seasons together do."
    winter = next((one.year for one in found.explanations if one.what is Explanation.WINTER and one.year), 0)
    if winter:
        told += f" {winter} brought far more new cases than other years: ask first what happened in the winter before that season."
    return told


def explanation_lines(found: YearsVerdict) -> tuple[tuple[str, str], ...]:
    """Name each explanation, and say how well it fits."""
    return tuple((_NAMES[one.what], _fit_words(one)) for one in found.explanations)


def _fit_words(one: Weighed) -> str:
    told = _FITS[one.fits]
    if one.fits is Fits.NO_RECORD:
        return f"{told}: {_WRITE[one.what]}"
    if one.year:
        return f"{told} {one.year} ({p_words(one.pvalue)})" if one.pvalue is not None else f"{told} {one.year}"
    return f"{told} ({p_words(one.pvalue)})" if one.pvalue is not None else told

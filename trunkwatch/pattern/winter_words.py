"""Winter or disease, in sentences for a grower: the answer, then every sign with what it speaks for."""

from collections.abc import Mapping
from types import MappingProxyType

from trunkwatch.pattern.chance_words import p_words
from trunkwatch.pattern.cold_or_disease import (
    Answer,
    ByCultivar,
    ColdNight,
    Hardness,
    InOneStep,
    LowGround,
    ShownLater,
    Sign,
    Speaks,
    StainAtCuts,
    WinterSheet,
)
from trunkwatch.pattern.place_words import gradient_sentence
from trunkwatch.stats.new_near_old import NewNearOld

__all__ = ["sign_words", "winter_sentences"]

_ANSWERS: Mapping[Answer, str] = MappingProxyType({
    Answer.COLD: "fits cold",
    Answer.DISEASE: "fits disease",
    Answer.BOTH: "both",
    Answer.CANNOT_TELL: "cannot tell",
})  # fmt: skip
_SPEAKS: Mapping[Speaks, str] = MappingProxyType({
    Speaks.COLD: "speaks for cold",
    Speaks.DISEASE: "speaks for disease",
    Speaks.NEITHER: "says nothing either way",
})  # fmt: skip
#: A sign of which nothing can be said.
_NOTHING: Mapping[str, str] = MappingProxyType({
    "cold": "No temperatures of that winter are written (weather.csv).",
    "low ground": "Too few new cases to say where they lie.",
    "later": "No counted season lies after it yet: whether these vines show again is not known.",
    "stain": "None of these vines was cut and looked at yet.",
    "neighbours": "Whether new cases lie beside earlier ones cannot be said.",
})  # fmt: skip
_HARDNESS: Mapping[Hardness, str] = MappingProxyType({
    Hardness.MID_WINTER: "in mid-winter",
    Hardness.BEFORE: "before the vines were hard",
    Hardness.AFTER: "after they had lost hardness",
})  # fmt: skip


def winter_sentences(found: WinterSheet) -> tuple[str, ...]:
    """Say the answer, then every sign."""
    told = [f"Season {found.season}: {_ANSWERS[found.answer]}."]
    told += [f"{sign_words(sign)} ({_SPEAKS[sign.speaks]})" for sign in found.signs]
    if found.look_at:
        named = ", ".join(
            f"{row}:{position} ({seen})" if seen else f"{row}:{position}" for row, position, seen in found.look_at
        )
        told.append(f"Cut into and look at these first (row:position, last seen): {named}.")
    told.append(
        "Sources disagree whether stain at a cut settles it: old cold injury stains too, and young infections may not. No sign decides by itself, "
        "and an arm that bears nothing is worth renewing whichever killed it."
    )
    return tuple(told)


def sign_words(sign: Sign) -> str:
    """Say what was found of one sign."""
    match sign.facts:
        case InOneStep():
            return _step(sign.facts)
        case ColdNight():
            return _cold(sign.facts)
        case LowGround(gradient):
            if gradient is None:
                return "New cases lie on no side of the block."
            return f"{gradient_sentence(gradient)} If that is the low or the windy side, cold is likely."
        case ByCultivar(shares, pvalue):
            listed = ", ".join(f"{name} {cases} of {vines}" for name, cases, vines in shares)
            return f"By cultivar: {listed} ({p_words(pvalue)}). Tender cultivars suffer first from cold; some are also prone to disease."
        case ShownLater():
            return _later(sign.facts)
        case StainAtCuts(cuts, stained):
            return f"{stained} of {cuts} cuts into these vines showed stain."
        case NewNearOld():
            return _neighbours(sign.facts)
    return _NOTHING[sign.name]


def _step(one: InOneStep) -> str:
    found = one.found
    if found.reason:
        return f"One season or slow rise: {found.reason}."
    if not one.here:
        return "New cases came season by season, without a step."
    return f"New cases came in one step: {found.new} this season, the others give about {found.expected:.0f} ({p_words(found.pvalue)})."


def _cold(night: ColdNight) -> str:
    spell = f", after {night.warmest_c:.0f} degrees in the ten days before" if night.warm_before else ""
    return (
        f"Coldest night {night.lowest_c:.0f} C on {night.day}, {_HARDNESS[night.hardness]}{spell}. What kills depends on the cultivar and the week: "
        "mid-winter limits do not hold in autumn or spring."
    )


def _later(found: ShownLater) -> str:
    own, rest = found.own, found.rest
    if not found.compared:
        return f"Of {own.vines} vines that came then, {own.cases} showed again within two counted seasons: too few to compare."
    return (
        f"Of {own.vines} vines that came then, {own.cases} showed symptoms that come and go within two counted seasons; of those of other seasons "
        f"{rest.cases} of {rest.vines}."
    )


def _neighbours(found: NewNearOld) -> str:
    (near, _), (away, _) = found.table
    return (
        f"{near} of {near + away} new cases lie beside an earlier one: {found.statistic} such pairs, chance gives about {found.expected:.1f} "
        f"({p_words(found.pvalue)})."
    )

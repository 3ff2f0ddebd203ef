"""Winter or disease, in sentences for a grower: the answer, then every sign with what it speaks for."""

from collections.abc import Mapping
from types import MappingProxyType

from trunkwatch.pattern.chance_words import p_words
from trunkwatch.pattern.cold_or_disease import Answer, Sign, Speaks, WinterSheet
from trunkwatch.pattern.cold_signs import (
    COLD_BRINGS,
    FEWEST_NEW,
    ByCultivar,
    FirstNoted,
    OneSide,
    ShownLater,
    StainAtCuts,
    StripedLeaves,
    YoungVines,
)
from trunkwatch.pattern.cold_weights import State
from trunkwatch.pattern.place_words import gradient_sentence
from trunkwatch.pattern.winter_margin import AS_CLOSE_C, MarginNight
from trunkwatch.pattern.winters import AS_COLD_C, FEWEST_WINTERS, ColdNight, Hardness
from trunkwatch.stats.near_old import NewNearOld
from trunkwatch.stats.step import AgainstOthers
from trunkwatch.vineyard.manner import celsius, degree_days, degrees, temperature

__all__ = ["sign_words", "winter_sentences"]

_ANSWERS: Mapping[Answer, str] = MappingProxyType({
    Answer.COLD: "the new cases fit cold",
    Answer.DISEASE: "the new cases fit disease",
    Answer.BOTH: "the new cases fit both, cold on top of disease",
    Answer.CANNOT_TELL: "cannot tell cold from disease",
})  # fmt: skip
_SPEAKS: Mapping[Speaks, str] = MappingProxyType({
    Speaks.COLD: "speaks for cold",
    Speaks.DISEASE: "speaks for disease",
    Speaks.NEITHER: "says nothing either way",
})  # fmt: skip
#: A sign of which nothing can be said.
_NOTHING: Mapping[str, str] = MappingProxyType({
    "cold": "No temperatures of that winter are on record, or too few days of it (weather.csv).",
    "leaves": "No striped leaves or spotted berries are on record for the new cases.",
    "sudden": "How much of these vines was dead when first noted is on record for too few of them.",
    "low ground": "Too few new cases to say where they lie.",
    "later": "No survey after it is on file yet: whether these vines get worse is not known.",
    "stain": "None of these vines was cut and scouted yet.",
    "neighbours": "Whether new cases lie beside earlier ones cannot be said.",
})  # fmt: skip
_HARDNESS: Mapping[Hardness, str] = MappingProxyType({
    Hardness.MID_WINTER: "in mid-winter",
    Hardness.BEFORE: "before the vines were hard",
    Hardness.AFTER: "after they had lost hardness",
})  # fmt: skip
_CAUTION = (
    "Symptoms are not a diagnosis. Sources disagree whether stain at a cut settles it: old cold injury stains too, and young infections may "
    "not. No sign decides by itself, and an arm that bears nothing is worth retraining whichever killed it."
)


def winter_sentences(found: WinterSheet) -> tuple[str, ...]:
    """Say the answer, then every sign."""
    sentences = [f"Season {found.season}: {_ANSWERS[found.answer]}.", *_why(found)]
    sentences += [f"{sign_words(sign)} ({_SPEAKS[sign.speaks]})" for sign in found.signs]
    if found.look_at:
        named = ", ".join(
            f"{row}:{position} ({seen})" if seen else f"{row}:{position}" for row, position, seen in found.look_at
        )
        sentences.append(f"Cut into and look at these first (row:position, last seen): {named}.")
    return (*sentences, _CAUTION)


def _why(found: WinterSheet) -> list[str]:
    """Say what stands behind the answer, and what would help."""
    if found.new is None:
        return ["New cases cannot be counted in that season: it needs a survey of its own and one before it."]
    if found.new < FEWEST_NEW:
        return [f"{found.new} new cases are too few to weigh: {FEWEST_NEW} are needed."]
    out = []
    if 0.5 < found.weight < 2:
        out.append("Weighed together, the signs are as likely with cold as with disease.")
    else:
        one, other = ("cold", "disease") if found.weight > 1 else ("disease", "cold")
        out.append(
            f"Weighed together, the signs come {_times(max(found.weight, 1 / found.weight))} more often with {one} than with {other}."
        )
    ordinary = any(sign.state is State.ORDINARY_WINTER for sign in found.signs)
    if ordinary and found.weight >= 1 and found.answer is Answer.CANNOT_TELL:
        spared = any(isinstance(sign.facts, MarginNight) for sign in found.signs)
        why = "the buds were spared that winter" if spared else "the winter was no colder than others on file"
        out.append(f"Cold is not named as the cause, because {why}.")
    if not found.later and found.answer is Answer.CANNOT_TELL:
        out.append("Ask again after the next survey: it shows whether these vines get worse or grow over the damage.")
    return out


def _times(weight: float) -> str:
    return "more than 1,000 times" if weight >= 1000 else f"about {weight:.0f} times"


def sign_words(sign: Sign) -> str:
    """Say what was found of one sign."""
    match sign.facts:
        case AgainstOthers():
            return _step(sign.facts, sign.state)
        case ColdNight():
            return _cold(sign.facts)
        case MarginNight():
            return _margin(sign.facts)
        case OneSide():
            return _side(sign.facts)
        case StripedLeaves(share):
            return f"{share.cases} of {share.vines} new cases showed striped leaves or spotted berries, which cold does not bring."
        case FirstNoted():
            return _sudden(sign.facts)
        case ByCultivar(shares, pvalue):
            listed = ", ".join(f"{name} {cases} of {vines}" for name, cases, vines in shares)
            return f"By cultivar: {listed} ({p_words(pvalue)}). Tender cultivars suffer first from cold; some are also prone to disease."
        case YoungVines(share):
            return f"{share.cases} of {share.vines} vines under three years show dead wood. Cold takes young and old alike; trunk disease seldom shows on young vines."
        case ShownLater():
            return _later(sign.facts)
        case StainAtCuts(cuts, stained):
            return f"{stained} of {cuts} cuts into these vines showed stain. Both cold and disease stain wood."
        case NewNearOld():
            return _neighbors(sign.facts)
    return _NOTHING[sign.name]


def _step(found: AgainstOthers, state: State) -> str:
    if found.reason:
        return f"New cases of one season against the others: {found.reason}."
    counts = f"{found.new} this season, the others lead to expect about {found.expected:.0f}"
    if state is State.JUMP:
        return f"New cases jumped: {counts} ({p_words(found.pvalue)})."
    power = f"a winter that brought {COLD_BRINGS:.0f} times as many would have stood out in {100 * found.power:.0f} of 100 records like this one"
    if state is State.NO_JUMP:
        return f"New cases did not jump: {counts}. That rules out {COLD_BRINGS:.0f} times as many; {power}."
    return f"New cases: {counts}. That is no clear jump, and does not rule one out; {power}."


def _cold(found: ColdNight) -> str:
    night = found.night
    spell = f", after {temperature(night.warmest_c):.0f} degrees in the ten days before" if night.warm_before else ""
    words = [
        f"Coldest night {celsius(night.lowest_c)} on {night.day}, {_HARDNESS[night.hardness]}{spell}: {_rank(found)}."
    ]
    if not found.enough:
        words.append(f"{FEWEST_WINTERS} winters are needed to call one unusual.")
    elif not night.can_kill:
        words.append("That is not cold enough to kill wood of most vines.")
    if found.as_cold:
        quiet = f", and {found.quiet} of them came and went without a jump in new cases" if found.quiet else ""
        words.append(
            f"{found.as_cold} other{'s were' if found.as_cold > 1 else ' was'} as cold (within {_degrees(AS_COLD_C)}){quiet}."
        )
    words.append("What kills depends on the cultivar and the week.")
    return " ".join(words)


def _margin(found: MarginNight) -> str:
    own = found.own
    above = "above" if own.margin_c > 0 else "below"
    words = [
        (
            f"The night of {own.day} ({celsius(own.lowest_c)}) came to {degrees(abs(own.margin_c))} {above} what kills half of the buds of {found.cultivar} as they stood then, "
            f"by the model: number {found.rank} of {found.winters} winters from the closest{', by far' if found.rank == 1 and found.far_out else ''}; "
            f"primary buds killed between {100 * own.killed[0]:.0f} and {100 * own.killed[1]:.0f} of 100."
        )
    ]
    if own.counted is not None:
        words.append(
            f"Counted that winter: {own.counted.dead} of {own.counted.buds} dead (likely {100 * own.counted.low:.0f} to {100 * own.counted.high:.0f} of 100)."
        )
    if found.as_close:
        quiet = f", and {found.quiet} of them came and went without a jump in new cases" if found.quiet else ""
        words.append(
            f"{found.as_close} other{'s' if found.as_close > 1 else ''} came as close (within {_degrees(AS_CLOSE_C)}){quiet}."
        )
    if not found.unusual and not found.spared:
        words.append("That tells the winter apart from no other, and does not rule cold out.")
    words.append("Buds die before wood as a rule; what it took of the wood shows when you cut.")
    return " ".join(words)


def _degrees(difference_c: float) -> str:
    """Write a difference of temperatures in whole degrees."""
    whole = round(degree_days(difference_c))
    return f"{whole} degree{'s' if whole != 1 else ''}"


def _rank(found: ColdNight) -> str:
    if found.winters == 1:
        return "no other winter is on file to set it beside"
    ordinal = {1: "the coldest", 2: "the second coldest", 3: "the third coldest"}.get(
        found.rank, f"number {found.rank} from the coldest"
    )
    far = ", by far" if found.rank == 1 and found.far_out else ""
    return f"{ordinal} of {found.winters} winters on file{far}"


def _side(found: OneSide) -> str:
    if found.gradient is None:
        than = ", compared with the earlier cases" if found.beside_earlier else ""
        return f"New cases lie toward no side of the block{than}. Heights are not on record."
    than = " Compared with the earlier cases." if found.beside_earlier else ""
    return f"{gradient_sentence(found.gradient)}{than} If that is low ground where cold air collects, or the windy side, cold is likely."


def _sudden(found: FirstNoted) -> str:
    own, rest = found.own, found.rest
    words = f"Half or more of the wood was dead on {own.cases} of {own.vines} new cases when they were first noted"
    return (
        f"{words}; in the other seasons on {rest.cases} of {rest.vines}."
        if rest.vines
        else f"{words}; other seasons have none to compare."
    )


def _later(found: ShownLater) -> str:
    own, rest, gone = found.own, found.rest, found.gone
    span = "the next survey" if found.surveys == 1 else f"{found.surveys} surveys"
    words = f"Of {own.vines} vines that came then, {own.cases} showed symptoms again or lost more wood by {span}"
    words += f"; of those of other seasons {rest.cases} of {rest.vines}." if rest.vines else "."
    return f"{words} On {gone.cases} of {gone.vines} no dead wood is left." if gone.cases else words


def _neighbors(found: NewNearOld) -> str:
    (near, _), (away, _) = found.table
    return (
        f"{near} of {near + away} new cases lie beside an earlier one: {found.statistic} such pairs, chance gives about {found.expected:.1f} "
        f"({p_words(found.pvalue)})."
    )

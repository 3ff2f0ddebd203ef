"""What the years of a record say, in sentences for a grower: spread or planting stock, all seasons, a season that stands out."""

from trunkwatch.pattern.all_seasons import PatternSeries
from trunkwatch.pattern.chance_words import p_words
from trunkwatch.pattern.spread import ENOUGH_SEASONS, Says, SpreadVerdict
from trunkwatch.stats.hazard import HazardTrend
from trunkwatch.stats.spread_evidence import Measure
from trunkwatch.stats.step import Step

__all__ = ["series_sentence", "spread_sentences", "step_sentence"]

LEVEL = 0.05


def spread_sentences(found: SpreadVerdict) -> tuple[str, ...]:
    """Say what speaks for and against spread, the conclusion first."""
    told = [_conclusion(found)]
    if not found.false_positive.reason:
        so = ": nearness alone is no sign of spread." if found.false_positive.high > 2 * LEVEL else "."
        told.append(
            f"Had all these vines been infected from the start and shown in the same seasons in another order, new cases "
            f"would still be called near old ones in {100 * found.false_positive.share:.0f} % of {found.false_positive.runs} such records{so}"
        )
    told += [_measure_words(one) for one in found.order.measures]
    if not found.new_cases.reason:
        told.append(_trend_words(found.new_cases))
    kept = [
        (name, one)
        for name, one in (("rows kept as they are", found.within_rows), ("only vines with three or more symptom-free looks before", found.long_free))
        if not one.reason and one.expected > 0
    ]  # fmt: skip
    told += [
        f"With {name}, new cases have {one.statistic / one.expected:.1f} times the earlier cases beside them that chance "
        f"would give ({p_words(one.pvalue)})."
        for name, one in kept
    ]
    return tuple(told)


def _conclusion(found: SpreadVerdict) -> str:
    if found.says is Says.FOR:
        return (
            "Spread from vine to vine, or patches that fell ill one after another: first symptoms came in an order that old foci "
            "would not have. Which of the two, this record cannot tell; a map of planting stock, rootstocks, replanting and pruning crews would."
        )
    if found.says is Says.AGAINST:
        return (
            "Spread from vine to vine: nothing in this record speaks for it. New cases are drying up, as when the vines that were "
            "infected from the start have nearly all shown; slow spread can look the same."
        )
    if found.seasons < ENOUGH_SEASONS:
        return (
            f"Spread from vine to vine: cannot tell with {found.seasons} counted season{'s' if found.seasons != 1 else ''}; "
            f"about {ENOUGH_SEASONS} are needed before the record can say anything."
        )
    return "Spread from vine to vine: cannot tell from this record."


def _measure_words(one: Measure) -> str:
    seen, expected, low, high = (
        f"{round(value, 1) + 0.0:.1f}" for value in (one.seen, one.expected, one.low, one.high)
    )
    end = f"(mostly {low} to {high}; {p_words(one.corrected)})"
    if one.name == "closeness":
        return (
            f"Neighbouring cases first showed {seen} seasons apart on average; with the seasons shuffled among the cases it would be "
            f"{expected} {end}. Spread makes it fewer."
        )
    if one.name == "beginnings":
        return (
            f"{one.seen:.0f} cases touch other cases and showed before all of them; with the seasons shuffled it would be {expected} {end}. "
            "Spread makes it fewer."
        )
    return (
        f"Each season later, first symptoms lie {seen} m further out from the first vine of their focus; with the seasons shuffled it would be "
        f"{expected} m {end}. Spread makes it more."
    )


def _trend_words(found: HazardTrend) -> str:
    limits = f"({found.low:.2f} to {found.high:.2f})"
    if found.high < 1:
        return f"New cases are drying up: each season has {found.ratio:.2f} times those of the one before {limits}."
    if found.low > 1:
        return f"New cases are growing: each season has {found.ratio:.2f} times those of the one before {limits}."
    return f"New cases neither grow nor dry up for certain: each season has {found.ratio:.2f} times those of the one before {limits}."


def series_sentence(found: PatternSeries) -> str:
    """Say what all seasons say together; empty where they say nothing."""
    if found.together is None or found.together.reason or len(found.seasons) < 2:
        return ""
    apart = [one for one in found.seasons[:-1] if one.corrected <= 0.05]
    named = ", ".join(str(one.season) for one in apart)
    many = len(found.seasons) - 1
    alone = (
        f"{named} by {'itself' if len(apart) == 1 else 'themselves'}, of {many} earlier seasons"
        if apart
        else f"none of the {many} earlier seasons by itself"
        if many > 1
        else "not the earlier season by itself"
    )
    close = "lie closer" if found.together.pvalue <= 0.05 else "are not shown to lie closer"
    return (
        f"Taking all {len(found.seasons)} counted seasons together, not this one alone, the cases {close} than chance would put them "
        f"({p_words(found.together.pvalue)}, whole vine histories shuffled); {alone} (corrected for their number)."
    )


def step_sentence(step: Step, year: int) -> str:
    """Say which season stands out."""
    return (
        f"{year} stands out: {step.new} new cases where the other seasons give about {step.expected:.0f} "
        f"({p_words(step.pvalue)}). Look at the weather of that winter, and at who looked."
    )

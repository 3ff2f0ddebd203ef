"""What the years of a record say, in sentences for a grower: spread or planting stock, all seasons, a season that stands out."""

from trunkwatch.pattern.all_seasons import PatternSeries
from trunkwatch.pattern.chance_words import p_words
from trunkwatch.pattern.findings import BUNCHED_LEVEL
from trunkwatch.pattern.spread import ENOUGH_SEASONS, Says, SpreadVerdict
from trunkwatch.stats.step import Step
from trunkwatch.yearly.spread import SpreadTest

__all__ = ["AWAY", "series_sentence", "spread_sentences", "step_sentence"]

LEVEL = 0.05
#: How far a vine stands from another, by the number of vines away.
AWAY = {1: "next to it", 2: "two away", 3: "three away", 4: "four away"}


def spread_sentences(found: SpreadVerdict) -> tuple[str, ...]:
    """Say what speaks for and against spread, the conclusion first."""
    told = [_conclusion(found)]
    if found.telling is not None:
        told += [_beside_words(found.telling), _share_words(found.telling)]
    if not found.false_positive.reason:
        so = ": nearness alone is no sign of spread." if found.false_positive.high > 2 * LEVEL else "."
        told.append(
            "Had all these vines come infected and shown in the same seasons in another order, new cases would still be "
            f"called near old ones in {100 * found.false_positive.share:.0f} % of {found.false_positive.runs} such records{so}"
        )
    if not found.new_cases.reason:
        told.append(_trend_words(found))
    return tuple(told)


def _conclusion(found: SpreadVerdict) -> str:
    if found.says is Says.FOR:
        return f"Spread from vine to vine: the dates point to it. {_follow(found)}"
    if found.says is Says.EITHER:
        return (
            "Spread from vine to vine, or short stretches of row that got sick one after another: the dates fit both. "
            f"{_map_to_bring(found)}"
        )
    if found.says is Says.AGAINST:
        return (
            "Spread from vine to vine: nothing in this record points to it. New cases are drying up faster than the first notes "
            "of vines that had long been sick explain, and they do not follow the sick vines beside them. Slow spread over wider "
            "distances can look the same."
        )
    if found.seasons < ENOUGH_SEASONS:
        return (
            f"Spread from vine to vine: cannot tell with {found.seasons} surveyed season{'s' if found.seasons != 1 else ''}; "
            f"{ENOUGH_SEASONS} are needed at the least, and about 12 to find it in most blocks."
        )
    if found.along.reason and found.across.reason:
        return f"Spread from vine to vine: cannot tell from this record ({found.along.reason})."
    return (
        "Spread from vine to vine: cannot tell from this record. Spread to the next vine in the row shows in the dates after "
        "about 12 seasons; spread over several meters hardly ever does."
    )


def _follow(found: SpreadVerdict) -> str:
    held = _held_apart(found)
    where = "in the row" if found.telling is found.along else "in the next row"
    return (
        f"Vines got sick after the vine right beside them {where}, more than vines two, three and four away would lead one to expect"
        f"{held}. Infected nursery stock does not do that; a crew or a tool that works its way along the row might."
    )


def _map_to_bring(found: SpreadVerdict) -> str:
    held = _held_apart(found)
    return f"A map of planting stock, replants and pruning crews would tell{held}."


def _held_apart(found: SpreadVerdict) -> str:
    names = {"cultivar": "cultivar", "rootstock": "rootstock", "planting": "planting year"}
    on = [names[name] for name in found.strata]
    return f" ({' and '.join(on)}, which {'is' if len(on) == 1 else 'are'} on record, held apart)" if on else ""


def _beside_words(test: SpreadTest) -> str:
    lags = "; ".join(
        f"{AWAY[one.lag]} {one.ratio:.1f} times (by chance {one.low:.1f} to {one.high:.1f})" for one in test.lags
    )
    return (
        f"Beside a vine that was noted before, new cases came more often than beside one noted only later: {lags} "
        f"({p_words(test.spread_p)}; {p_words(test.either_p)} without regard to short stretches)."
    )


def _share_words(test: SpreadTest) -> str:
    return (
        f"Of 100 new cases at least about {100 * test.share:.0f} ({100 * test.low:.0f} to {100 * test.high:.0f}) followed the sick vine "
        "right beside them; how many more, the dates cannot tell."
    )


def _trend_words(found: SpreadVerdict) -> str:
    trend = found.new_cases
    limits = f"({trend.low:.2f} to {trend.high:.2f})"
    start = (
        f"Without the first {found.skipped} surveys, in which vines that had long been sick were still being found: "
    )
    if trend.high < 1:
        return f"{start}new cases are drying up, each year {trend.ratio:.2f} times those of the year before {limits}."
    if trend.low > 1:
        return f"{start}new cases are growing, each year {trend.ratio:.2f} times those of the year before {limits}."
    return f"{start}new cases neither grow nor dry up for certain, each year {trend.ratio:.2f} times those of the year before {limits}."


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
    bunched = (
        "are bunched more than by chance" if found.together.pvalue <= BUNCHED_LEVEL else "are not shown to be bunched"
    )
    return (
        f"All {len(found.seasons)} counted seasons together, not this one alone: sick vines {bunched} "
        f"({p_words(found.together.pvalue)}, whole vine histories shuffled); {alone} (corrected for their number)."
    )


def step_sentence(step: Step, year: int) -> str:
    """Say which season stands out."""
    return (
        f"{year} stands out: {step.new} new cases where the other seasons give about {step.expected:.0f} "
        f"({p_words(step.pvalue)}). Look at the weather of that winter, and at who looked."
    )

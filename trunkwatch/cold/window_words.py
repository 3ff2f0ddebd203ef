"""When to prune a block, in sentences for a grower: the best stretches, or what it hangs on that none can be named."""

from collections.abc import Mapping
from types import MappingProxyType

from trunkwatch.cold.ahead_words import FORECAST_MARK
from trunkwatch.cold.window import HARMLESS_C, BlockWindow
from trunkwatch.cold.words import day_words
from trunkwatch.stats.shares import incidence
from trunkwatch.vineyard.manner import celsius, degree_days, millimeters
from trunkwatch.vineyard.plural import number_of
from trunkwatch.winter_model.best_days import ENOUGH_WINTERS, HangsOn, Stretch
from trunkwatch.winter_model.cultivars import Kind
from trunkwatch.winter_model.spare_buds import SECONDARY_CROP
from trunkwatch.winter_model.spring import DELAY_DAYS, FROST_C
from trunkwatch.winter_model.wounds import PER_DAY, PER_DEGREE_DAY, WET_MM, WET_WARMER_C

__all__ = ["BY_CLIMATE", "basis_lines", "forecast_mark", "stretch_words", "window_lines", "window_table"]

_HANGS: Mapping[HangsOn, str] = MappingProxyType({
    HangsOn.WOUND_AGING: "whether a wound ages while it is frozen, which nobody has measured",
    HangsOn.SPARE_BUDS: "what spare buds are worth to you against open wounds",
    HangsOn.SPRING_FROST: "what a later budbreak is worth to you against open wounds",
    HangsOn.FEW_WINTERS: f"more past winters: {ENOUGH_WINTERS} are the least",
    HangsOn.NO_HARDINESS: "what the cold would still kill, of which no model speaks here",
    HangsOn.NO_RAIN: "rain, of which none is on file",
})  # fmt: skip
#: Advice against advice, with where it comes from (abstracts).
BY_CLIMATE = (
    "California, mild and wet: fewer infections after late cuts (Petzoldt 1981, Munkvold and Marois 1995, Urbez-Torres and Gubler 2011).",
    "Catalonia: fewer natural infections after autumn cuts than after winter cuts (Luque 2014).",
    "South Africa: wounds of late winter stay open more than those of mid-winter (van Niekerk 2011).",
    "South Australia: the date made no difference (Ayres 2016, preliminary).",
    "Frozen winters: no trial; Concord pruned in fall lost more buds by spring (Wolpert and Howell 1984).",
)


def stretch_words(window: BlockWindow, one: Stretch) -> str:
    """Return a stretch as people say it: 1 to 15 March."""
    first, last = window.day(one.first), window.day(one.last)
    if first == last:
        return day_words(first, year=False)
    if first.month == last.month:
        return f"{first.day} to {day_words(last, year=False)}"
    return f"{day_words(first, year=False)} to {day_words(last, year=False)}"


def forecast_mark(window: BlockWindow, one: Stretch) -> str:
    """Return the mark of a stretch that has forecast days in it."""
    first, last = window.day(one.first), window.day(one.last)
    return FORECAST_MARK if any(first <= day <= last for day in window.forecast) else ""


def window_lines(window: BlockWindow) -> tuple[str, ...]:
    """Say the best stretches, or that it cannot be told and what it hangs on."""
    best = window.best
    told = [_best(window) if best.told else _cannot(window)]
    costly = [one for one in best.stretches if one.crop_lost >= 0.01]
    if costly:
        most = max(costly, key=lambda one: one.crop_lost)
        told.append(
            f"A final cut {stretch_words(window, most)} gives away {100 * most.crop_lost:.0f} % of the crop on the mean, where the cold comes after it; "
            f"a first cut that leaves {window.long_cut:g} times the nodes gives away {100 * most.crop_lost_long:.0f} %."
        )
    if window.harmless:
        told.append(
            f"No night of past winters was colder than {celsius(HARMLESS_C, '.0f')} at this time: spare buds are not at stake."
        )
    after = f"your own forecast to {day_words(window.forecast[-1], year=False)}" if window.forecast else "today"
    told.append(
        f"From the weather of {number_of(len(window.winters), 'past winter')} after {after}; wounds, spare buds and frost are not added up."
    )
    if any(forecast_mark(window, one) for one in window.best.stretches):
        told.append(f"{FORECAST_MARK} partly your own forecast, not measured.")
    return tuple(told)


def basis_lines(window: BlockWindow) -> tuple[str, ...]:
    """Say what the figures of the stretches stand on."""
    told = [
        (
            f"Wounds: days with {millimeters(WET_MM)} of rain or more, warmer than {celsius(WET_WARMER_C, 'g')} at their warmest (common practice, no data), each weighed by how open the "
            f"cut still is: {100 * PER_DAY:.1f} % less a day by the calendar, or {100 * PER_DEGREE_DAY / degree_days(1):.2f} % less a degree-day above {celsius(0, 'g')}. Both are reckoned by us from two "
            "points of Elena and Luque 2016 (Catalonia, abstract): rough, and of other fungi than those of frozen winters."
        ),
        (
            f"Spare buds: a vine carries {window.most:g} times the nodes you want at the most. A dead primary bud's node still bears {100 * SECONDARY_CROP:.0f} % on labrusca "
            "(Howell, extension text); on others none is counted, for no figure was found."
        ),
    ]
    if window.frost_of:
        told.append(
            f"Frost: {celsius(FROST_C[Kind.VINIFERA], 'g')} on vinifera, {celsius(FROST_C[Kind.LABRUSCA], 'g')} on labrusca at burst, half of the shoots (public research code). A cut at two or "
            f"three leaves delays budbreak by {DELAY_DAYS[0]:g} to {DELAY_DAYS[1]:g} days (Poni and others 2022, abstract); how the delay grows to that is our own figure. "
            "Buds in a hollow, on a clear night, are colder than the station."
        )
    told.append(
        "Days to work: your limits (--work-above, --work-rain, --work-snow); what stands there at first is our own."
    )
    return tuple(told)


def _best(window: BlockWindow) -> str:
    names = [stretch_words(window, one) for one in window.best.best]
    first = window.best.best[0]
    rest = f"; nearly as good: {', '.join(names[1:])}" if names[1:] else ""
    return (
        f"Best time to prune, by open wounds: {names[0]}{rest}. From the best stretch to the worst it lies {100 * first.by_calendar:.0f} % of the way where "
        f"wounds close with the days that pass (by calendar), {100 * first.by_warmth:.0f} % where they close with warm days (by warmth)."
    )


def _cannot(window: BlockWindow) -> str:
    hangs = window.best.hangs_on
    text = f"When to prune: cannot tell. It hangs on {'; and on '.join(_HANGS[one] for one in hangs)}."
    if HangsOn.WOUND_AGING not in hangs:
        return text
    known = [one for one in window.best.stretches if one.regret == one.regret]
    calendar = stretch_words(window, min(known, key=lambda one: one.by_calendar))
    warmth = stretch_words(window, min(known, key=lambda one: one.by_warmth))
    flips = window.best.flip.at
    turned = (
        "" if flips is None else f" The best day flips where {100 * flips:.0f} % of the aging goes by the calendar."
    )
    return f"{text} By the calendar {calendar} is best, by warmth {warmth}.{turned}"


def window_table(window: BlockWindow) -> tuple[str, ...]:
    """Return one line a stretch, within 80 columns: regret under both rules, crop given away, frost, days to work."""
    head = f"{'cut':<26}{'wounds,':>9}{'wounds,':>9}{'crop lost,':>12}{'frost,':>8}{'workable':>10}"
    below = f"{'':<26}{'calendar':>9}{'warmth':>9}{'final cut':>12}{'years':>8}{'days':>10}"
    lines = [head, below]
    for one in window.best.stretches:
        frost = "" if one.frost != one.frost else f"{one.frost * window.frost_of:.0f}/{window.frost_of}"
        lines.append(
            f"{stretch_words(window, one) + forecast_mark(window, one):<26}{_percent(one.by_calendar):>9}{_percent(one.by_warmth):>9}{_percent(one.crop_lost):>12}{frost:>8}"
            f"{_percent(one.workable):>10}"
        )
    lines.append("Wounds: 0 % the best stretch, 100 % the worst, under each rule of aging.")
    if window.frost_of:
        last = window.best.stretches[-1]
        share = incidence(round(last.frost * window.frost_of), window.frost_of)
        lines.append(
            f"Frost on open buds after the last stretch: {100 * share.low:.0f} to {100 * share.high:.0f} % of years (95 %)."
        )
    return tuple(lines)


def _percent(share: float) -> str:
    return "?" if share != share else f"{100 * share:.0f} %"

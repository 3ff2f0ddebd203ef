"""The decision in sentences for a grower: the answer first, what lies behind it after."""

import math
import re
from collections.abc import Sequence
from itertools import groupby

from trunkwatch.decide.cuts_before import CutsBefore, cuts_before
from trunkwatch.decide.decision import Decision, NoComparison, winter_of
from trunkwatch.renewal.compare import Judged
from trunkwatch.renewal.costs import ASSUMPTIONS, LOUD_NOTE, OPTIONAL, WINTER_ONLY
from trunkwatch.renewal.futures import share_showing
from trunkwatch.renewal.plan import PlannedWork, Why
from trunkwatch.renewal.plan_words import why_words
from trunkwatch.renewal.strategies import STANDARD
from trunkwatch.vineyard.calendar import winter_name
from trunkwatch.vineyard.codes import WORK_KINDS
from trunkwatch.vineyard.manner import centimeters

__all__ = [
    "CAUTIONS_DECIDE",
    "HEAVY",
    "assumption_lines",
    "decision_sentences",
    "detail_sentences",
    "light_lines",
    "named_winter",
    "no_comparison_words",
    "of_this_winter",
    "shown_first",
    "what",
    "work_line",
    "worth",
]

#: With fewer vine-years between two looks what is believed of growth weighs about as much as the record.
FEW_YEARS = 20
#: Work of the winter, in the order in which it is told; all else is light and of the summer.
HEAVY = ("renew_trunk", "renew_arm", "cut_old_trunk", "replant")

CAUTIONS_DECIDE = (
    "This is a projection from your record and your prices, not advice: ask a farm-business adviser before a large decision.",
    "Symptoms are not a diagnosis: send cut wood to a laboratory before you pull a block.",
    "There is no built-in threshold. The familiar rules of 25 or 30 % come from virus diseases, which spread and cost in another way.",
    "Saws: trained people, protective gear, two of you; wires are under tension and hide in old wood, cold wood is brittle. Burning is decided by local law, wound protectants by their label.",
)  # fmt: skip


def decision_sentences(found: Decision, *, today: str | None = None) -> tuple[str, ...]:
    """Say the answer, the price at which it flips, and what is to be done this winter.

    Parameters
    ----------
    found : Decision
        The comparison and the plan.
    today : str, optional
        Day as YYYY-MM-DD, by which the winter that is meant is told; where left out it is not named.
    """
    told = _answer(found) if found.comparison is not None else _no_answer(found)
    told.append(_winter(found, today))
    left = sum(one.kind == "mark" and one.why is Why.NO_PART for one in of_this_winter(found))
    if left:
        why = (
            f"the best strategy leaves {'them' if left != 1 else 'it'} this winter"
            if found.best is not None
            else "nothing says yet what there is to cut"
        )
        told.append(
            f"{left} vine{'s' if left != 1 else ''} that show{'s' if left == 1 else ''} without a dead part on record {'is' if left == 1 else 'are'} marked, not cut: {why}."
        )
    before = cuts_before(found)
    if found.comparison is not None and before.lighter:
        told.append(lighter_words(before))
    later = max((one.winter for one in found.work), default=0)
    if later and found.best is not None and found.best.shoot_first:
        told.append(
            f"The old part is cut a winter after its shoot was trained; what does not fit into {found.crew_days:g} crew-days waits longer: the plan runs over {later + 1} winters."
        )
    elif later:
        told.append(
            f"What does not fit into {found.crew_days:g} crew-days, or would cost more than {found.costs['most_loss_pct']:g} % of a year's yield, waits: the plan runs over {later + 1} winters."
        )
    return tuple(told)


def lighter_words(before: CutsBefore) -> str:
    """Say that what is believed of cuts comes from vines that were less sick than those listed."""
    assert before.dead is not None  # noqa: S101 - asked before
    assert before.listed_dead is not None  # noqa: S101 - same
    return (
        f"How well cuts hold is learned from {before.cuts} cut{'s' if before.cuts != 1 else ''} on record, and those vines were less sick "
        f"({before.dead:.0f}% of the vine dead in the middle one, {before.listed_dead:.0f}% in the vines listed): cuts of sicker vines may hold "
        "worse. Cut some of them by lot first (`trunkwatch plan --compare`)."
    )


def of_this_winter(found: Decision) -> list[PlannedWork]:
    """Return the work of this winter and the summer after it."""
    return [one for one in found.work if one.winter == 0]


def no_comparison_words(found: Decision) -> str:
    """Say why strategies cannot be compared; empty where they can."""
    if found.why_not is NoComparison.ONE_SEASON:
        return "one counted season only: what follows on what is not known yet"
    if found.why_not is NoComparison.NO_PRICES:
        return f"no prices: costs.csv lacks {', '.join(name for name in found.costs.missing if name not in OPTIONAL)}"
    if found.why_not is NoComparison.NO_SPACING:
        return "no spacing is on record for the block: nothing can be said per hectare"
    return ""


def _no_answer(found: Decision) -> list[str]:
    told = [f"Strategies cannot be compared: {no_comparison_words(found)}."]
    if found.why_not is NoComparison.NO_PRICES:
        told.append(
            "`trunkwatch plan --example-costs REGION` shows a costs.csv to start from. What stands below for each vine follows the rules of the work alone, not money."
        )
    else:
        told.append("What stands below for each vine follows the rules of the work alone, not money.")
    return told


def _answer(found: Decision) -> list[str]:
    one = found.told
    assert one is not None  # noqa: S101 - asked before
    best = next(j for j in one.judged if j.name == one.recommended)
    measures = found.costs.measures
    areas = found.hectares / measures.hectares
    told = [LOUD_NOTE] if found.costs.examples else []
    if one.recommended == STANDARD:
        return [
            *told,
            f"Over {one.years} years no strategy compared pays more than doing nothing.",
        ]
    told.append(
        f"Best on average over {one.years} years: {best.name}. It is worth {_money(found, best.gain)} {measures.area} more than doing nothing "
        f"(90% range {best.gain_low:,.0f} to {best.gain_high:,.0f}) and takes about {best.crew_days:.1f} crew-days {measures.area} in its first winter, "
        f"{best.crew_days * areas:.1f} in this block of {areas:.2f} {measures.area_short}."
    )
    told.append(f"{_flips(found, best)} {_next(found)}")
    sound = sum(one.why in (Why.IN_TURN, Why.BESIDE) for one in of_this_winter(found))
    if sound:
        told.append(f"Of the vines that it cuts this winter {sound} {'are' if sound != 1 else 'is'} sound.")
    if found.best is not None and found.best.replant_year == 0:
        told.append("With the block pulled this winter, nothing is cut vine by vine.")
    return told


def _money(found: Decision, value: float) -> str:
    return f"{value:,.0f} {found.money}".rstrip()


def _flips(found: Decision, best: Judged) -> str:
    measures = found.costs.measures
    now = found.costs["price_per_t"] * measures.tonnes
    if math.isnan(best.flip_price):
        return f"Pays at any grape price (yours is {_money(found, now)} {measures.weight})."
    return f"Pays above {_money(found, best.flip_price)} {measures.weight}; your price is {now:,.0f}."


def _next(found: Decision) -> str:
    one = found.told
    assert one is not None  # noqa: S101 - asked before
    if one.clear:
        return f"Next best: {one.second}, {one.gap:,.0f} less (give or take {one.gap_error:,.0f})."
    return f"Next best: {one.second}, about as good ({one.gap:,.0f} less, give or take {one.gap_error:,.0f})."


def named_winter(found: Decision, today: str | None) -> str:
    """Return the winter that the work is for as people call it; empty where no day says which one is to come."""
    if today is None:
        return ""
    return winter_name(winter_of(found, today), found.season.reading.hemisphere)


def _winter(found: Decision, today: str | None) -> str:
    name = named_winter(found, today)
    now = of_this_winter(found)
    hours = sum(one.hours for one in now)

    def listed(kinds: Sequence[str]) -> str:
        counts = [(kind, sum(one.kind == kind for one in now)) for kind in kinds]
        return ", ".join(f"{WORK_KINDS[kind]} {many}" for kind, many in counts if many)

    light = sorted({one.kind for one in now} - set(HEAVY), key=list(WORK_KINDS).index)
    days = hours / found.costs["crew_day_hours"]
    return (
        f"This winter{f' ({name})' if name else ''}: {listed(HEAVY) or 'nothing to cut or replant'}. In spring and summer: {listed(light) or 'nothing'}. "
        f"Together about {days:.1f} crew-days of the {found.crew_days:g} given."
    )


def detail_sentences(found: Decision) -> tuple[str, ...]:
    """Say what lies behind the answer: how sure, other discount rates, the scale."""
    one = found.told
    if one is None:
        return ()
    best = next(j for j in one.judged if j.name == one.recommended)
    told = list(_learnt(found))
    if one.recommended != STANDARD:
        flip = found.flip_discount
        told.append(
            f"{best.name[:1].upper()}{best.name[1:]} is the best in {100 * best.best:.0f} % of the {one.futures} futures. "
            f"At 3, 5 and 7 % discount it is worth {best.at[3.0]:,.0f}, {best.at[5.0]:,.0f} and {best.at[7.0]:,.0f}; doing nothing would be as good at "
            f"{f'{flip:.0f} % discount' if not math.isnan(flip) else 'no discount rate up to 30 %'}."
        )
    if found.estimates is not None and found.estimates.near.kept:
        told.append(_spares(found.passes))
    told.append(
        f"For scale: a healthy full block is worth {_money(found, one.healthy)} {found.costs.measures.area} over the same {one.years} years, before the costs that all strategies share."
    )
    told.append(
        "The range covers what the record leaves open about symptoms, damage and how it grows, renewals that fail or fall ill again, and deaths. Prices, yields and the figures marked \u201cfrom memory\u201d are taken as written: change them in costs.csv and look again."
    )
    return tuple(told)


def _learnt(found: Decision) -> list[str]:
    """Say what the futures rest on: growth of damage and own cuts on record, and deaths that nobody wrote."""
    if found.estimates is None:
        return []
    growth, counts, told = found.estimates.growth, found.estimates.counts, []
    if growth.years.sum() >= FEW_YEARS:
        light, middle = (
            100 * grown / years if years else math.nan
            for grown, years in zip(growth.classes_grown(), growth.years, strict=True)
        )
        named = [
            f"{share:.0f} % of the vine-years with {name}"
            for share, name in ((light, "less than half dead"), (middle, "about half dead"))
            if not math.isnan(share)
        ]
        told.append(
            f"By the percents on record damage grew by a class in {' and in '.join(named)} ({growth.years.sum():.0f} vine-years)."
        )
    else:
        told.append(
            "Few vines or none have percents of two inspections on record: how fast damage grows rests mostly on decline_pct."
        )
    if counts.unwritten:
        told.append(
            f"In {counts.unwritten:,} vine-years no death, removal or gap was written: deaths are taken as not written, not as none, and death_case_pct and death_sound_pct are used."
        )
    return told


def _spares(passes: float) -> str:
    """Say in how many futures cutting a sick vine spares its neighbors, and why."""
    if passes == 0:
        return (
            "Sick vines beside a vine put it at risk, but the dates do not show that it passes from vine to vine: here cutting one spares no "
            "neighbor."
        )
    if passes == 1:
        return "The dates point to spread from vine to vine: in these futures cutting a sick vine spares its neighbors."
    return (
        f"The dates fit spread from vine to vine, or places that got sick one after another: in {100 * passes:.0f} % of the futures cutting a "
        "sick vine spares its neighbors, in the others it does not."
    )


def shown_first(found: Decision) -> tuple[Judged, ...]:
    """Return the strategies of the first picture, the best first.

    Left out are those that start at a share of vines showing which the block has reached already: this winter they are
    the same as starting at once.
    """
    if found.told is None:
        return ()
    share = share_showing(found.states)
    told = {found.told.recommended, found.told.second}  # named in the answer
    reached = {one.name for one in found.strategies if 0 < one.start_at <= share}
    kept = [one for one in found.told.judged if one.name not in reached - told]
    return tuple(sorted(kept, key=lambda one: -one.gain))


def work_line(found: Decision, one: PlannedWork) -> str:
    """Write one piece of work for people."""
    row, position = found.season.history.grid.label(*one.cell)
    told = worth(found, one)
    return f"{row}:{position} {what(one)}: {why_words(one, found.costs)}{f'; worth about {told}' if told else ''}"


def what(one: PlannedWork) -> str:
    """Name the work and the part."""
    parts = [WORK_KINDS[one.kind]]
    if one.trunk:
        parts.append(f"trunk {one.trunk}")
    if one.arm:
        parts.append(one.arm.replace("_", " "))
    if not math.isnan(one.cut_height_cm):
        parts.append(f"cut at {centimeters(one.cut_height_cm)}, look at the face")
    return ", ".join(parts)


def worth(found: Decision, one: PlannedWork) -> str:
    """Write what a piece of work is worth, a rough middle figure; empty where nothing can be said."""
    if math.isnan(one.gain) or not one.hours:
        return ""
    return _money(found, one.gain)


def light_lines(found: Decision, works: Sequence[PlannedWork]) -> list[tuple[str, int, str]]:
    """Put light work with the same reason together: what and why, how many vines, which (row:position)."""
    grouped: dict[str, list[tuple[str, str]]] = {}
    for one in works:
        row, position = found.season.history.grid.label(*one.cell)
        said = f"{what(one)}: {why_words(one, found.costs, dated=False)}"
        grouped.setdefault(said, []).append((f"{row}:{position}", one.last_seen))
    ordered = sorted(grouped.items(), key=lambda item: -len(item[1]))
    return [_seen_together(said, vines) for said, vines in ordered]


def _seen_together(said: str, vines: list[tuple[str, str]]) -> tuple[str, int, str]:
    """Say the last day on which the evidence was seen once where it is one day for all, else with each vine."""
    days = {day for _, day in vines}
    if len(days) == 1:
        day = days.pop()
        return f"{said}; last seen {day}" if day else said, len(vines), ", ".join(name for name, _ in vines)
    return (
        f"{said}; last seen in brackets",
        len(vines),
        ", ".join(f"{name} ({day})" if day else name for name, day in vines),
    )


def assumption_lines(found: Decision) -> list[tuple[str, str, str, str]]:
    """List every assumption used: name, value with unit, meaning, source; yields year by year on one line."""
    lines: list[tuple[str, str, str, str]] = []
    values = [pair for pair in found.costs.values.items() if pair[0] not in WINTER_ONLY]
    for (stem, source), group in groupby(values, key=lambda item: (_yearly(item[0]), found.costs.sources[item[0]])):
        same = list(group)
        if stem and same[0][0] == f"{stem}_1_pct" and len(same) > 1:
            listed = ", ".join(f"{value:g}" for _, value in same)
            meaning = ASSUMPTIONS[same[0][0]].meaning.replace(", year 1", ", year by year")
            lines.append((f"{stem}_1_pct to {same[-1][0]}", f"{listed} %", meaning, source))
            continue
        for name, value in same:
            unit = ASSUMPTIONS[name].unit.replace("money", found.money or "money")
            lines.append((name, f"{value:g} {unit}", ASSUMPTIONS[name].meaning, source))
    return lines


def _yearly(name: str) -> str:
    """Return the stem of a yield that is given year by year; empty for any other."""
    yearly = re.fullmatch(r"(replant|block)_\d+_pct", name)
    return yearly[1] if yearly else ""

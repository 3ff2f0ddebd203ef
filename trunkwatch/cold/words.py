"""What the winter did to a block's buds, in sentences for a grower: the answer first, what it stands on last."""

import datetime as dt
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from trunkwatch.cold.block_cold import BlockCold, Why
from trunkwatch.cold.counts import PartCount
from trunkwatch.cold.days import DAILY_TO, MOST_MISSING, day_in
from trunkwatch.vineyard.calendar import winter_name
from trunkwatch.vineyard.manner import celsius, degree_days, degrees, temperature
from trunkwatch.vineyard.plural import number_of
from trunkwatch.winter_model.bud_count import (
    ALIKE,
    PRIOR_BUDS,
    HandRule,
    KillFromCount,
    buds_to_cut,
    more_by_hand,
)
from trunkwatch.winter_model.chill_curve import CHILL_SETS
from trunkwatch.winter_model.cultivars import Basis, Group
from trunkwatch.winter_model.serves import FEWEST_WINTERS, Gate, Serves, Verdict

__all__ = [
    "CAUTIONS",
    "GROUPS",
    "cold_lines",
    "cold_title",
    "count_lines",
    "day_range",
    "day_words",
    "detail_lines",
    "of_100",
    "part_count_lines",
    "range_of_100",
]

#: Said under everything, in two lines.
CAUTIONS = (
    "Cold, ice, ladders and saws: dress for it, and never work alone.",
    "A model is no diagnosis; what your local extension says stands above it.",
)
GROUPS: Mapping[Group, str] = MappingProxyType({
    Group.TENDER: "tender", Group.MEDIUM: "medium", Group.LABRUSCA: "labrusca", Group.HYBRID: "hybrid",
})  # fmt: skip
_MODELS: Mapping[Serves, str] = MappingProxyType({
    Serves.DAILY: "the daily model", Serves.CHILL: "the model by chill portions", Serves.NONE: "no model",
})  # fmt: skip
#: Days that the weather may end before the day asked for without a word.
_BEHIND = 2
#: Buds from a cane that are proposed, and how exact the answer shall be.
_PER_CANE, _WITHIN = 4, 0.1


def day_words(day: dt.date, *, year: bool = True) -> str:
    """Return a day as people say it: 6 January 2027."""
    return f"{day.day} {day:%B}" + (f" {day.year}" if year else "")


def day_range(first: dt.date, last: dt.date) -> str:
    """Return two days as people say them: 4 to 8 January."""
    if first == last:
        return day_words(first, year=False)
    if first.month == last.month:
        return f"{first.day} to {day_words(last, year=False)}"
    return f"{day_words(first, year=False)} to {day_words(last, year=False)}"


def of_100(share: float) -> str:
    """Return a share as a number of a hundred, never more exact than it is."""
    return "fewer than 1" if share < 0.005 else "more than 99" if share > 0.995 else f"{100 * share:.0f}"


def range_of_100(killed: tuple[float, float]) -> str:
    """Return the limits of a share as numbers of a hundred."""
    low, high = killed
    if high < 0.005:
        return "fewer than 1 of 100"
    return f"between {of_100(low) if low >= 0.005 else '0'} and {of_100(high)} of 100"


def cold_title(found: BlockCold) -> str:
    """Return block, cultivar and winter."""
    cultivar = f", {found.cultivar}" if found.cultivar else ""
    return f"Block {found.block}{cultivar}, {winter_name(found.season, found.hemisphere)}"


def cold_lines(found: BlockCold) -> tuple[str, ...]:
    """Say how hardy buds stand, the coldest night, what was killed and when to look; or why nothing is said."""
    told = []
    if found.stand_in is not None:
        name = found.cultivar or "a cultivar that is not written"
        told.append(
            f'No model knows {name}: the group "{GROUPS[found.stand_in]}" stands in for it, with the range of its {len(found.of)} cultivars.'
        )
    if found.why is not None:
        told.append(_why(found))
    killed = _killed(found) if found.killed is not None else []
    told += killed[:1]
    if found.half_dies_c is not None and found.as_of is not None:
        soft, hardy = found.half_dies_c
        told.append(
            f"Half of the buds would die somewhere between {temperature(soft):.0f} and {celsius(hardy, '.0f')}, as they stand on {day_words(found.as_of)}."
        )
    if found.budbreak is not None:
        told.append(
            f"By the model buds broke about {day_words(found.budbreak)}: from then on frost counts, not winter cold."
        )
    if found.coldest is not None:
        told.append(f"Coldest night so far: {celsius(found.coldest[1])} on {day_words(found.coldest[0])}.")
    told += killed[1:]
    if found.verdict is not None and found.verdict.serves is not Serves.NONE:
        told.append(_serves(found.verdict))
    if found.as_of is not None and found.why is not Why.NO_SPRING and _ends_early(found):
        told.append(f"The weather on file ends on {day_words(found.as_of)}: colder nights since then are not in this.")
    return tuple(told)


def _ends_early(found: BlockCold) -> bool:
    """Whether nights that belong to the winter are not on file yet."""
    if found.as_of is None or found.budbreak is not None:
        return False
    last = min(found.asked, day_in(found.season, DAILY_TO, found.hemisphere))
    return (last - found.as_of).days > _BEHIND


def _killed(found: BlockCold) -> list[str]:
    assert found.killed is not None  # noqa: S101 - narrows the type
    if found.budbreak is not None:
        return [f"Primary buds killed by budbreak, likely {range_of_100(found.killed)}."]
    told = [f"Primary buds killed so far, likely {range_of_100(found.killed)}."]
    if found.look_from is not None and found.worst_night is not None:
        number = buds_to_cut(0.5, _WITHIN, buds_per_cane=_PER_CANE)
        told.append(
            f"An inspection of the buds is worth the walk from {day_words(found.look_from)} on, after the night of {day_words(found.worst_night)}: "
            f"cut about {number} buds, {_PER_CANE} from a cane, from the canes you would keep. Keep them a day or two in a warm room first."
        )
    else:
        told.append("An inspection of the buds is not worth the walk yet.")
    return told


def _why(found: BlockCold) -> str:
    """Say why nothing is said, and the way out."""
    if found.why is Why.NO_CULTIVAR:
        return "No cultivar is written of this block: write it in blocks, or let a group stand in (--stand-in medium)."
    if found.why is Why.UNKNOWN_CULTIVAR:
        groups = ", ".join(GROUPS.values())
        return f"No model knows {found.cultivar}, and none is guessed by likeness: a group can stand in for it (--stand-in, one of {groups})."
    if found.why is Why.NO_WEATHER:
        month = "March" if found.hemisphere == "south" else "September"
        return f"No temperatures of this winter are on file up to {day_words(found.asked)}: load the station's days from {month} on (`trunkwatch load`)."
    if found.why is Why.HOLES and found.gap is not None:
        return (
            f"{found.gap.days} days are missing, {day_words(found.gap.first)} to {day_words(found.gap.last)} in a row: more than ten in a row, "
            f"or {100 * MOST_MISSING:.0f} % of all, and nothing can be said. Load them, or a station's near by."
        )
    if found.why is Why.NO_SPRING:
        return "No model for cold-hardy hybrids in spring: their curve ends once buds wake, and gives no budbreak."
    assert found.verdict is not None  # noqa: S101 - refused by a verdict
    return _refused(found.verdict, found)


def _refused(verdict: Verdict, found: BlockCold) -> str:
    mild = {
        Gate.MILD_WINTER: f"cold below {celsius(10, 'g')} came to {degree_days(-verdict.cold_sum):.0f} degree-days so far, and {degree_days(-verdict.needed):.0f} are needed by the end of winter",
        Gate.MILD_PLACE: f"only {verdict.reached} of {verdict.winters} past winters on file brought the {degree_days(-verdict.needed):.0f} degree-days of cold below {celsius(10, 'g')} in time",
        Gate.UNKNOWN: (
            f"this winter has brought {degree_days(-verdict.cold_sum):.0f} of {degree_days(-verdict.needed):.0f} degree-days of cold below {celsius(10, 'g')}; on file: {number_of(verdict.winters, 'whole past winter')}, "
            f"where {FEWEST_WINTERS} are needed to say whether it will"
        ),
    }[verdict.gate]
    other = ""
    if found.stand_in is None and found.latitude is None and found.of and found.of[0].name in CHILL_SETS:
        other = " With the block's latitude the model by chill portions could serve."
    return f"No model for this winter: the daily model does not hold where winters are mild; {mild}.{other}"


def _serves(verdict: Verdict) -> str:
    """Say which model serves and why."""
    if verdict.serves is Serves.DAILY:
        why = {
            Gate.REACHED: "this winter is cold enough for this model",
            Gate.USUAL: f"{verdict.reached} of {verdict.winters} past winters on file were cold enough for this model",
            Gate.ON_PACE: (
                f"at the last month's pace this winter will be cold enough for this model; on file: {number_of(verdict.winters, 'past winter')}, too few to say so"
            ),
        }[verdict.gate]
        return f"By the daily model: {why}."
    return "By the model by chill portions: the daily model does not hold here, or not yet. This one was too soft in late winter at a cold, dry place."


def detail_lines(found: BlockCold) -> tuple[str, ...]:
    """Say what the answer stands on, each figure with its basis."""
    told = []
    if found.other is not None:
        told.append(
            f"By {_MODELS[found.other.serves]} half would die at {celsius(found.other.half_c)}, killed so far {range_of_100(found.other.killed)}; "
            f"in one winter of New York the two lay {degree_days(2):.0f} to {degrees(4, '.0f')} apart."
        )
    if found.verdict is not None:
        told.append(
            f"Cold below {celsius(10, 'g')}: {degree_days(-found.verdict.cold_sum):.0f} degree-days; the second phase begins at {degree_days(-found.verdict.needed):.0f}. "
            f"{found.verdict.reached} of {found.verdict.winters} past winters reached it by the end of winter."
        )
    if found.of and found.verdict is not None:
        first = found.of[0]
        told.append(
            "Daily model: Ferguson and others 2014 (AJEV 65:59), hybrids North and others 2021; numbers as public research code gives them."
            if found.verdict.serves is not Serves.CHILL
            else "Chill portions: Kovaleski and others 2023; numbers from the authors' repository. Kelvin is Celsius + 273 here."
        )
        if found.stand_in is None and found.verdict.serves is Serves.DAILY:
            told.append(
                f"Its error for {first.name}: {degrees(first.error.bias_c, '+.1f')} on the mean (minus: it says hardier than measured), spread {degrees(first.error.sd_c)}; "
                + (
                    "measured at one site in Washington."
                    if first.error.basis is Basis.MEASURED
                    else "our own figure, not measured for it."
                )
            )
            if first.spread is None:
                told.append(
                    f"How far 10 % and 90 % lie from half was not published for hybrids: {degrees(1.4)} either way is our own figure."
                )
        if found.stand_in is not None:
            told.append(
                f"The group: {', '.join(one.name for one in found.of)}. Groups are our own; no source makes them."
            )
    told.append(
        "Ranges hold the middle 80 % of the model's error. It is for primary buds of sound vines: overcropped or sick vines harden less."
    )
    return tuple(told)


def count_lines(counted: KillFromCount, most: float) -> tuple[str, ...]:
    """Say what a count makes of it: the share, the nodes to leave, the hand rules beside, how many buds for a better answer."""
    exact = min(1 / max(1 - counted.share, 1e-9), most)
    capped = " (all that the vine carries)" if 1 / max(1 - counted.share, 1e-9) > most else ""
    told = [
        (
            f"Counted {counted.dead} of {counted.counted} dead: likely {range_of_100((counted.low, counted.high))} primary buds are dead, "
            f"{of_100(counted.share)} in the middle."
        ),
        f"To keep your crop leave {exact:.2f} times the nodes{capped}: nodes divided by the share alive.",
        "Coarser hand rules: " + "; ".join(f"{_RULES[rule]} {_more(rule, counted.share)}" for rule in HandRule) + ".",
        (
            f"For an answer to within 5 of 100 cut {buds_to_cut(counted.share, 0.05, buds_per_cane=_PER_CANE)} buds, {_PER_CANE} from a cane; "
            f"likeness of a cane's buds {ALIKE:.1f} and the model's weight of {PRIOR_BUDS:.0f} buds at most are our own figures."
        ),
    ]
    return tuple(told)


def part_count_lines(counts: Sequence[PartCount], most: float) -> tuple[str, ...]:
    """Say what each count on record makes of it, and what it cannot have seen."""
    lines = []
    for count in counts:
        where = f"{count.part[:1].upper()}{count.part[1:]}: " if count.part else ""
        first, *rest = count_lines(count.found, most)
        lines.append(f"{where}{first} Collected {day_words(count.day)}.")
        dead, seen = count.secondary
        if seen:
            lines.append(f"Secondary buds: {dead} of {seen} dead.")
        if count.colder_since is not None:
            lines.append(
                f"That count has not seen the night of {day_words(count.colder_since)}, which counts for this winter: count again, "
                "and leave no nodes by it until then."
            )
        else:
            lines += rest[:1]
    if counts:
        lines += count_lines(counts[-1].found, most)[2:]
    return tuple(lines)


_RULES: Mapping[HandRule, str] = MappingProxyType({HandRule.CORNELL: "Cornell (2014)", HandRule.PURDUE: "Purdue"})


def _more(rule: HandRule, share: float) -> str:
    more = more_by_hand(rule, share)
    return (
        "asks for other measures"
        if more is None
        else "leaves nodes as they are"
        if not more
        else f"adds {100 * more:.0f} %"
    )

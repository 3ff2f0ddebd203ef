"""Where the cases lie, and who looked, in sentences for a grower."""

from collections.abc import Mapping
from types import MappingProxyType

from trunkwatch.grid import RowGrid
from trunkwatch.pattern.by_group import FEWEST_IN_GROUP, Groups
from trunkwatch.pattern.by_observer import ObserverTable
from trunkwatch.pattern.chance_words import p_words
from trunkwatch.pattern.gradients import BlockGradient
from trunkwatch.pattern.hot_spots import HotSpots
from trunkwatch.stats.scan_statistic import Scan, Window
from trunkwatch.vineyard.manner import meters

__all__ = [
    "gradient_sentence", "group_label", "group_sentences", "hot_spots_sentences", "observer_name", "observer_shares", "observers_sentences", "towards_words",
]  # fmt: skip

LEVEL = 0.05
_GROUPS: Mapping[str, str] = MappingProxyType({
    "cultivar": "cultivar", "rootstock": "rootstock", "planting": "planting year",
})  # fmt: skip
_NOT_WRITTEN: Mapping[str, str] = MappingProxyType({
    "cultivar": "not written", "rootstock": "not written", "planting": "with the block",
})  # fmt: skip
_FROM: Mapping[str, str] = MappingProxyType({
    "edge": "from the nearest edge", "along": "from where the first row starts", "across": "from the first row",
})  # fmt: skip


def gradient_sentence(one: BlockGradient) -> str:
    """Say where cases lie more, in metres."""
    return (
        f"Sick vines lie more {towards_words(one)}: {meters(one.found.statistic, '.1f')} {_FROM[one.name]} on average, chance would put them at "
        f"{meters(one.found.expected, '.1f')} ({p_words(one.corrected)})."
    )


def towards_words(one: BlockGradient) -> str:
    """Say towards where cases lie."""
    if one.name == "edge":
        return "away from the edges" if one.farther else "towards the edges"
    if one.name == "along":
        return "towards the far end of the rows" if one.farther else "towards the start of the rows"
    return f"towards row {one.row}"


def hot_spots_sentences(found: HotSpots) -> tuple[str, ...]:
    """Say where to look first; nothing where the scan has no answer."""
    if found.scan.reason:
        return ()
    sure = found.sure
    if not sure:
        place = _place(found.scan, found.scan.windows[0], found.grid)
        return (f"No single place stands out: {place}, is within what chance does.",)
    places = "; ".join(_place(found.scan, one, found.grid) for one in sure)
    return (f"Look first {places}. Corrected for searching the whole block; edges are approximate.",)


def _place(found: Scan, one: Window, grid: RowGrid) -> str:
    """Name one window: its middle, its rows, and how far it stands out."""
    row, position = grid.label(*one.centre)
    numbers = sorted({cell[0] for cell in one.cells})
    rows = f"rows {grid.rows[numbers[0]]} to {grid.rows[numbers[-1]]}" if len(numbers) > 1 else "that row alone"
    rest = found.n_vines - one.vines
    elsewhere = f", {100 * (found.n_cases - one.cases) / rest:.0f} % elsewhere" if rest else ""
    return (
        f"around row {row}, position {position} ({rows}): {one.cases} of {one.vines} vines, {100 * one.cases / one.vines:.0f} %"
        f"{elsewhere} ({p_words(one.pvalue)})"
    )


def group_label(name: str, label: str) -> str:
    """Name a group; what is not written is said to be so."""
    return label or _NOT_WRITTEN[name]


def group_sentences(found: Groups) -> tuple[str, ...]:
    """List cases by cultivar, rootstock and planting year, and say what is made of them."""
    told = []
    for table in found.tables:
        listed = "; ".join(
            f"{group_label(table.name, label)} {one.cases} of {one.vines} vines ({100 * one.share:.1f} %)"
            for label, one in table.shares
            if one.vines >= FEWEST_IN_GROUP
        )
        few = sum(one.vines for _, one in table.shares if one.vines < FEWEST_IN_GROUP)
        rest = f"; {few} more vines in small groups" if few else ""
        said = (
            f"they differ, {p_words(table.test.pvalue)}"
            if table.test.pvalue <= LEVEL
            else "no more than pieces of ground do"
        )
        end = f" ({said})" if not table.test.reason else ""
        told.append(f"By {_GROUPS[table.name]}: {listed}{rest}{end}.")
    if told:
        told.append("The tests of the map compare vines of the same group only, so a weaker group is no cluster.")
    return tuple(told)


def observer_name(name: str) -> str:
    """Name an observer."""
    return name or "(no name written)"


def observer_shares(found: ObserverTable) -> tuple[str, ...]:
    """List the cases of each observer; nothing where one person looked at everything."""
    if len(found.shares) < 2:
        return ()
    listed = "; ".join(
        f"{observer_name(name)} {one.cases} of {one.vines} vines{f' ({100 * one.share:.1f} %)' if one.vines else ''}"
        for name, one in found.shares
    )
    return (f"By observer: {listed}.",)


def observers_sentences(found: ObserverTable) -> tuple[str, ...]:
    """Say what a reader should know of observers who differ; empty where there is nothing."""
    told = []
    if found.strata is not None:
        why = (
            f"They scouted different vines and found different shares ({p_words(found.by_people)} with slopes over the block taken off)"
            if found.by_people <= LEVEL
            else f"They scouted different vines, and those differ ({p_words(found.pvalue)}): it can be the ground as well as the people"
        )
        told.append(
            f"{why}. The main test compares vines scouted by the same people only: a difference between people is then no pattern."
        )
    if found.both:
        told.append(
            f"On {found.disagree} of {found.both} vines scouted by two people in one inspection, one saw a case symptom "
            "that the other did not; such a vine is a case, with the larger severity."
        )
    return tuple(told)

"""Checks from season to season: damage that vanishes, is contradicted or jumps to the neighbour, findings that count nowhere."""

from collections.abc import Iterator

from trunkwatch.history import BlockReading
from trunkwatch.history.damage import Damage, EndKind
from trunkwatch.history.definitions import DEFINITIONS, SPUR_SHARE
from trunkwatch.history.looks import could_see
from trunkwatch.history.words import damage_words
from trunkwatch.history.written import Finding
from trunkwatch.intake.fault_at import fault_at
from trunkwatch.vineyard.faults import Fault

__all__ = ["check_seasons"]


def check_seasons(reading: BlockReading, *, learnt: bool = True) -> list[Fault]:
    """Check one block over its seasons; all of it is notes.

    Parameters
    ----------
    reading : BlockReading
        The block, or some of its rows.
    learnt : bool
        Whether to say of damage that it is not mentioned any more: that is learnt from the whole block.
    """
    faults = [fault for finding in reading.findings for fault in (*_casual(finding), *_few_spurs(finding))]
    for cell in sorted(reading.damages.by_cell):
        newest: dict[tuple[object, ...], Damage] = {}
        for damage in reading.damages.of(cell):
            newest[damage.finding.plant, damage.finding.symptom, damage.finding.part] = damage
        for damage in newest.values():
            faults += _contradicted(reading, damage) or _unmentioned(reading, damage, learnt=learnt)
    return faults


def _casual(finding: Finding) -> Iterator[Fault]:
    if finding.casual and finding.symptom != "wood_staining":
        yield fault_at(
            finding.read_from,
            "note",
            "no survey covers this finding: it stands in the vine's history and on the lists, and in no rate",
            "date",
            finding.date,
            "a survey of that day, if the row was scouted",
        )


def _few_spurs(finding: Finding) -> Iterator[Fault]:
    if finding.symptom == "dead_spurs" and not DEFINITIONS["any"].makes_case(finding):
        counted = finding.dead is not None and finding.total
        share = 100 * finding.spur_share
        percent = f"{share:.0f} %" if round(share) < 100 * SPUR_SHARE else f"{share:.1f} %"
        what = (
            f"{finding.dead:.0f} of {finding.total:.0f} dead spurs ({percent})" if counted else f"{percent} dead spurs"
        )
        yield fault_at(
            finding.read_from,
            "note",
            f"{what} is under {100 * SPUR_SHARE:.0f} %: it makes no case",
            "dead" if counted else "percent",
        )


def _contradicted(reading: BlockReading, damage: Damage) -> list[Fault]:
    """Ask which is right where a look saw nothing on a vine with damage on record."""
    if damage.end is None or damage.end.kind is not EndKind.CONTRADICTED:
        return []
    day = damage.end.day
    none = next(f for f in reading.vine(damage.finding.cell).findings if f.symptom == "none" and f.date == day)
    return [
        fault_at(
            none.read_from,
            "note",
            f"the records disagree: {damage_words(damage)} was seen on {damage.last_seen(day)}, and nothing on {day}; no case from then on",
            "symptom",
            "none",
            "a correction of the one that is wrong, or work that cut it out; look at the vine again",
        )
    ]


def _unmentioned(reading: BlockReading, damage: Damage, *, learnt: bool) -> list[Fault]:
    """Tell of damage that the looks of a later season no longer mention, and of one that appears next door instead."""
    finding, cell = damage.finding, damage.finding.cell
    if damage.end is not None and damage.end.kind is not EndKind.UNMENTIONED:
        return []
    silent = [
        look
        for look in reading.looks
        if look.season > finding.season
        and look.date > damage.mentions[-1]
        and cell in look.cells
        and could_see(look.kind, look.purpose, finding.symptom, finding.kind)
    ]
    if not silent:
        return []
    season = silent[0].season
    for beside in ((cell[0], cell[1] - 1), (cell[0], cell[1] + 1)):
        others = reading.damages.of(beside)
        if len(others) == 1 and others[0].finding.season == season:
            other = others[0].finding
            if other.symptom == finding.symptom and other.part == finding.part:
                return [
                    fault_at(
                        other.read_from,
                        "note",
                        f"perhaps the finding of {finding.date} at position {finding.named.position}, one vine off",
                        "position",
                        other.named.position,
                        "a correction of one of them, if so",
                    )
                ]
    if not learnt:
        return []
    after = (
        f"it is carried on; last seen {damage.mentions[-1]}"
        if damage.end is None
        else f"not in {damage.end.looks} inspections that would have recorded it again: no case from {damage.end.day} on"
    )
    return [
        fault_at(
            finding.read_from,
            "note",
            f"{finding.symptom} is not mentioned in {season} and no work cleared it: {after}",
            "symptom",
            finding.symptom,
            "work that cleared it, an inspection of the vine, or a correction",
        )
    ]

"""Checks of findings and plants against each other."""

from collections import defaultdict
from itertools import pairwise

from trunkwatch.history import BlockReading
from trunkwatch.history.places import Cell
from trunkwatch.history.written import Finding, Planting
from trunkwatch.intake.fault_at import fault_at
from trunkwatch.vineyard.faults import Fault

__all__ = ["check_findings", "check_observers"]

_LIVING = frozenset({"leaf_stripe", "berry_spots", "stunted_shoots", "crowded_shoots", "none", "bud_kill"})
_NO_PLANT_NEEDED = frozenset({"not_seen"})


def check_findings(reading: BlockReading) -> list[Fault]:
    """Check plants and findings of a block."""
    return [*_two_plants(reading), *_on_plants(reading), *_shoots(reading), *_not_done(reading)]


def _not_done(reading: BlockReading) -> list[Fault]:
    """Find reasons why work was not done on work that was: one of the two is wrong."""
    return [
        fault_at(
            work.read_from,
            "note",
            f"why work was not done, on work that is {work.status or 'done'}",
            "not_done",
            work.not_done,
            "the status dropped, or no reason",
        )
        for work in reading.work
        if work.not_done and work.status != "dropped"
    ]


def _shoots(reading: BlockReading) -> list[Fault]:
    """Find qualities of a shoot that nobody named: nothing is said of such a shoot."""
    return [
        fault_at(
            finding.read_from,
            "note",
            "the quality of a shoot, and no shoot to retrain",
            "shoot_quality",
            finding.shoot_quality,
            "where the shoot comes from as renewal_shoot, or no quality",
        )
        for finding in (*reading.findings, *reading.second_findings)
        if finding.shoot_quality and finding.shoot in ("", "none")
    ]


def _two_plants(reading: BlockReading) -> list[Fault]:
    """Find plants whose written years overlap in one position."""
    spells: defaultdict[Cell, list[Planting]] = defaultdict(list)
    removed: defaultdict[Cell, list[str]] = defaultdict(list)
    for line in reading.plantings:
        if line.planted:
            spells[line.cell].append(line)
        if line.removed:
            removed[line.cell].append(line.removed)
    faults = []
    for cell, lines in spells.items():
        lines.sort(key=lambda line: line.planted)
        for before, after in pairwise(lines):
            if not any(before.planted <= day <= after.planted for day in removed[cell]):
                faults.append(
                    fault_at(
                        after.read_from,
                        "fault",
                        f"two plants in one position: the one planted {before.planted} was never removed",
                        "planted",
                        after.planted,
                        "a removal of the earlier plant",
                    )
                )
    return faults


def _on_plants(reading: BlockReading) -> list[Fault]:
    faults = []
    dead: dict[tuple[Cell, int], str] = {}
    findings = [*reading.findings, *reading.second_findings]
    for finding in sorted(findings, key=lambda f: (f.date, f.symptom != "dead")):
        if finding.symptom in _NO_PLANT_NEEDED:
            continue
        plant = finding.cell, finding.plant
        if finding.plant < 0:
            faults.append(
                fault_at(
                    finding.read_from,
                    "note",
                    "a finding where no vine stands on that day",
                    "symptom",
                    finding.symptom,
                    "a replant in the plants table, or another position",
                )
            )
        elif plant in dead and finding.symptom in _LIVING and dead[plant] < finding.date:
            faults.append(
                fault_at(
                    finding.read_from,
                    "note",
                    f"alive after it was found dead on {dead[plant]}",
                    "symptom",
                    finding.symptom,
                    "a replant in the plants table, or a correction of the death",
                )
            )
        elif finding.symptom == "dead":
            dead.setdefault(plant, finding.date)
    return faults


def check_observers(reading: BlockReading) -> list[Fault]:
    """Tell where two observers saw different things on one vine on one day."""
    together: defaultdict[tuple[Cell, str], list[Finding]] = defaultdict(list)
    for finding in (*reading.findings, *reading.second_findings):
        together[finding.cell, finding.date].append(finding)
    faults = []
    for _, findings in sorted(together.items()):
        seen: defaultdict[str, set[str]] = defaultdict(set)
        for finding in findings:
            seen[finding.observer].add(finding.symptom)
        if (
            len(seen) > 1
            and any("none" in one for one in seen.values())
            and any(one - {"none"} for one in seen.values())
        ):
            names = ", ".join(sorted(seen))
            faults.append(
                fault_at(
                    findings[-1].read_from,
                    "note",
                    f"observers disagree ({names}): it counts as a case if either says so",
                )
            )
    return faults

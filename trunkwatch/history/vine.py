"""One vine through the seasons under one case definition: the ordered rule for its condition."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from trunkwatch.history.condition import Condition
from trunkwatch.history.damage import Damage, first_cut
from trunkwatch.history.definitions import CaseDefinition
from trunkwatch.history.looks import Look, could_see
from trunkwatch.history.places import Cell
from trunkwatch.history.plants import ORIGINAL, Plant, plant_on
from trunkwatch.history.written import Finding, Work
from trunkwatch.vineyard.codes import CLEARING

__all__ = ["YOUNG_SEASONS", "Case", "Vine", "VineSeason", "case_vine", "is_young", "vine_season"]

#: A replant counts as young for this many seasons (rates are of older vines only).
YOUNG_SEASONS = 3


class Case(NamedTuple):
    """A finding that makes a case under the definition.

    Attributes
    ----------
    finding : Finding
    damage : Damage or None
        What became of it; None for what comes and goes.
    counts_from : int
        Season from which it counts: its own where a look that the definition takes covers it; for casual damage that of
        the first look into which it is carried; 0 where it never does.
    seen : bool
        Whether it counts in its own season because it was seen at a look.
    cut : str
        Day on which work took it away; empty where none did.
    """

    finding: Finding
    damage: Damage | None
    counts_from: int
    seen: bool
    cut: str

    def was_cut(self, day: str) -> bool:
        """Tell whether work had taken it away before a day."""
        return bool(self.cut) and self.cut < day


@dataclass(frozen=True)
class Vine:
    """All that the rule needs of one position, each list in order of date."""

    cases: tuple[Case, ...] = ()
    clearings: tuple[Work, ...] = ()
    deaths: tuple[str, ...] = ()  # days on which it was found dead
    plants: tuple[Plant, ...] = (ORIGINAL,)

    @cached_property
    def of_plant(self) -> tuple[tuple[tuple[Case, ...], tuple[Work, ...]], ...]:
        """Cases and clearing work of each plant."""
        return tuple(
            (
                tuple(case for case in self.cases if case.finding.plant == number),
                tuple(work for work in self.clearings if plant.stands(work.date)),
            )
            for number, plant in enumerate(self.plants)
        )

    @cached_property
    def is_plain(self) -> bool:
        """Whether it is the first plant, alive and never worked on, with symptoms that come and go only.

        Of such a vine the ordered rule leaves three outcomes: showing in the seasons of its
        findings, hidden after the first of them, sound before.
        """
        if self.plants != (ORIGINAL,) or self.deaths or self.clearings:
            return False
        return not any(case.damage is not None for case in self.cases)


@dataclass(frozen=True, slots=True)
class VineSeason:
    """What one season says of one position."""

    condition: Condition
    plant: int
    seen: bool = False  # a case was seen at a look of the season
    carried: bool = False  # damage of before stood at a look of the season, which did not write it again
    had_case: bool = False  # a case of this plant in this season or before
    relapse_risk: bool = False
    relapse: bool = False
    damaged: bool = False  # damage that is a case stands at the season's end


def case_vine(
    cell: Cell,
    findings: Sequence[Finding],
    work: Sequence[Work],
    damages: Sequence[Damage],
    deaths: Sequence[str],
    plants: tuple[Plant, ...],
    *,
    looks: Sequence[Look],
    definition: CaseDefinition,
    without_winter: bool,
) -> Vine:
    """Gather what the rule needs of one position.

    Parameters
    ----------
    cell : (int, int)
    findings, work, damages, deaths, plants
        All of the position.
    looks : sequence of Look
        The block's looks in order of date.
    definition : CaseDefinition
    without_winter : bool
        Findings with suspected winter injury make no case.
    """
    of_finding = {id(damage.finding): damage for damage in damages}  # records made by hand may share an id
    cases = []
    for finding in findings:
        if finding.plant < 0 or not definition.makes_case(finding):
            continue
        if without_winter and finding.cause == "winter_injury":
            continue
        damage = of_finding.get(id(finding))
        seen = finding.look is not None and finding.kind in definition.looks
        since = finding.season if seen else _carried_first(cell, damage, looks, definition) if damage else 0
        cut = first_cut(work, plants[finding.plant], finding)
        cases.append(Case(finding, damage, since, seen, cut))
    clearings = tuple(one for one in work if one.done and one.kind in CLEARING)
    return Vine(tuple(cases), clearings, tuple(deaths), plants)


def _carried_into(damage: Damage, look: Look, definition: CaseDefinition) -> bool:
    """Tell whether damage of before stands at a look that could have seen it and that the definition takes."""
    finding = damage.finding
    return (
        look.kind in definition.looks
        and could_see(look.kind, look.purpose, finding.symptom, finding.kind)
        and damage.stands(look.until)
    )


def _carried_first(cell: Cell, damage: Damage, looks: Sequence[Look], definition: CaseDefinition) -> int:
    into = [look.season for look in looks if cell in look.cells and _carried_into(damage, look, definition)]
    return min(into, default=0)


def vine_season(
    vine: Vine,
    season: int,
    bounds: tuple[str, str],
    looks: Sequence[Look],
    definition: CaseDefinition,
    *,
    looked_at: bool,
    block_planted: int | None,
) -> VineSeason:
    """Apply the ordered rule to one position in one season.

    Parameters
    ----------
    vine : Vine
        The position's record.
    season : int
        Year of the harvest.
    bounds : (str, str)
        First and last day of the season.
    looks : sequence of Look
        The season's looks that cover the position.
    definition : CaseDefinition
        What makes a case.
    looked_at : bool
        Whether the looks are all that the definition needs.
    block_planted : int or None
        First season of the block's first vines; None where it is not known.
    """
    day = max((look.until for look in looks), default=bounds[1])
    plant = plant_on(vine.plants, day)
    if plant < 0:
        return VineSeason(Condition.MISSING, -1)
    spell = vine.plants[plant]
    own, work = vine.of_plant[plant]
    seen = any(case.seen and case.finding.season == season for case in own)
    carried = not seen and any(
        case.damage is not None and _carried_into(case.damage, look, definition) for look in looks for case in own
    )
    risk, relapse = _relapse(own, work, season, day)
    if any(spell.since <= found <= day for found in vine.deaths):
        condition = Condition.DEAD
    elif not looked_at:
        condition = Condition.NOT_SEEN
    elif is_young(spell, season, block_planted):
        condition = Condition.YOUNG
    elif seen or carried:
        condition = Condition.SHOWING
    else:
        condition = _after(own, work, season, day)
    return VineSeason(
        condition,
        plant,
        seen,
        carried,
        any(0 < case.counts_from <= season for case in own),
        risk and looked_at,
        relapse and looked_at,
        any(case.damage is not None and case.damage.stands(bounds[1], cut_that_day=True) for case in own),
    )


def is_young(spell: Plant, season: int, block_planted: int | None) -> bool:
    """Tell whether a replant is under age; in a block that is young itself no vine is set apart."""
    if spell.planted is None:
        return False
    if block_planted is not None and (spell.planted <= block_planted or season - block_planted < YOUNG_SEASONS):
        return False
    return season - spell.planted < YOUNG_SEASONS


def _after(own: Sequence[Case], work: Sequence[Work], season: int, day: str) -> Condition:
    """Choose between renewed, hidden and sound for a mature vine that shows nothing."""
    if any(0 < case.counts_from < season and not case.was_cut(day) for case in own):
        return Condition.HIDDEN
    return Condition.RENEWED if any(w.date < day for w in work) else Condition.SOUND


def _relapse(own: Sequence[Case], work: Sequence[Work], season: int, day: str) -> tuple[bool, bool]:
    """Tell whether a plant could relapse this season, and whether it did.

    At risk is a plant whose case was cleared by work before this season's last look, with no
    case between the work and this season.
    """
    for clearing in reversed(work):
        if clearing.date >= day:
            continue
        if not any(case.counts_from and case.cut == clearing.date for case in own):
            continue
        later = [c.finding for c in own if c.seen and clearing.date < c.finding.date <= day]
        if any(f.season < season for f in later):
            return False, False
        return True, any(f.season == season for f in later)
    return False, False

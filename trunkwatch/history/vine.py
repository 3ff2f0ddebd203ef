"""One vine through the seasons: its findings, its work, and the ordered rule for its condition."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

from trunkwatch.history.condition import Condition
from trunkwatch.history.definitions import CaseDefinition
from trunkwatch.history.looks import Look
from trunkwatch.history.plants import ORIGINAL, Plant, plant_on

__all__ = ["Clearing", "Finding", "Vine", "VineSeason", "vine_season"]

#: A replant counts as young for this many seasons (rates are of older vines only).
YOUNG_SEASONS = 3


@dataclass(frozen=True, slots=True)
class Finding:
    """A finding as the rule needs it."""

    date: str
    season: int
    symptom: str
    trunk: int  # 0 where none was named
    arm: str  # empty where none was named
    case: bool  # makes a case under the definition
    lasting: bool
    counted: bool  # covered by a look at which the definition counts


@dataclass(frozen=True, slots=True)
class Clearing:
    """Done work that takes symptomatic wood away."""

    date: str
    takes: str  # arm or trunk
    trunk: int
    arm: str

    def clears(self, finding: Finding) -> bool:
        """Tell whether the work took away what the finding saw; a part not named matches every part.

        A leaf symptom speaks of the whole trunk: renewing an arm does not clear it.
        """
        if self.trunk and finding.trunk and self.trunk != finding.trunk:
            return False
        if self.takes == "trunk":
            return True
        in_an_arm = finding.symptom in ("dead_arm", "dead_spurs", "canker", "stunted_shoots")
        return in_an_arm and (not self.arm or not finding.arm or self.arm == finding.arm)


@dataclass(frozen=True)
class Vine:
    """All that the rule needs of one position, each list in order of date."""

    findings: tuple[Finding, ...] = ()
    clearings: tuple[Clearing, ...] = ()
    deaths: tuple[str, ...] = ()  # days on which it was found dead
    plants: tuple[Plant, ...] = (ORIGINAL,)

    @cached_property
    def of_plant(self) -> tuple[tuple[tuple[Finding, ...], tuple[Clearing, ...]], ...]:
        """Case findings and clearing work of each plant."""
        numbers = [plant_on(self.plants, finding.date) for finding in self.findings]
        return tuple(
            (
                tuple(f for f, of in zip(self.findings, numbers, strict=True) if f.case and of == number),
                tuple(w for w in self.clearings if plant.stands(w.date)),
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
        return not any(finding.case and finding.lasting for finding in self.findings)


@dataclass(frozen=True, slots=True)
class VineSeason:
    """What one season says of one position."""

    condition: Condition
    plant: int
    case: bool = False  # showing by the rule, whatever the plant's age
    had_case: bool = False  # a counted case of this plant in this season or before
    relapse_risk: bool = False
    relapse: bool = False
    damaged: bool = False  # a lasting case on record by the season's end that no work cleared
    reference: str = field(default="", compare=False)


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
    showing, had_case = _showing(own, work, season, looks, definition)
    risk, relapse = _relapse(own, work, season, day)
    if any(spell.since <= found <= day for found in vine.deaths):
        condition = Condition.DEAD
    elif not looked_at:
        condition = Condition.NOT_SEEN
    elif is_young(spell, season, block_planted):
        condition = Condition.YOUNG
    elif showing:
        condition = Condition.SHOWING
    else:
        condition = _after(own, work, season, day)
    damaged = any(f.lasting and f.date <= bounds[1] and not _cleared(f, work, bounds[1], inclusive=True) for f in own)
    return VineSeason(
        condition, plant, showing, had_case or showing, risk and looked_at, relapse and looked_at, damaged, day
    )


def _showing(
    own: Sequence[Finding],
    work: Sequence[Clearing],
    season: int,
    looks: Sequence[Look],
    definition: CaseDefinition,
) -> tuple[bool, bool]:
    """Tell whether the vine is a case now, and whether it has been one at a counted look so far."""
    now = any(f.counted and f.season == season for f in own)
    had_case = any(f.counted and f.season <= season for f in own)
    if not now:
        dates = [
            look.until
            for look in looks
            for part in definition.parts
            if look.covers_part(part) and "dead_arm" in part.symptoms
        ]
        now = any(
            f.lasting and f.date <= date and not _cleared(f, work, date, inclusive=False) for date in dates for f in own
        )
    return now, had_case


def _cleared(finding: Finding, work: Sequence[Clearing], day: str, *, inclusive: bool) -> bool:
    return any(
        w.clears(finding) and finding.date <= w.date and (w.date <= day if inclusive else w.date < day) for w in work
    )


def is_young(spell: Plant, season: int, block_planted: int | None) -> bool:
    """Tell whether a replant is under age; in a block that is young itself no vine is set apart."""
    if spell.planted is None:
        return False
    if block_planted is not None and (spell.planted <= block_planted or season - block_planted < YOUNG_SEASONS):
        return False
    return season - spell.planted < YOUNG_SEASONS


def _after(own: Sequence[Finding], work: Sequence[Clearing], season: int, day: str) -> Condition:
    """Choose between renewed, hidden and sound for a mature vine that shows nothing."""
    before = [f for f in own if f.counted and f.season < season]
    uncleared = [f for f in before if not _cleared(f, work, day, inclusive=False)]
    if uncleared:
        return Condition.HIDDEN
    return Condition.RENEWED if any(w.date < day for w in work) else Condition.SOUND


def _relapse(own: Sequence[Finding], work: Sequence[Clearing], season: int, day: str) -> tuple[bool, bool]:
    """Tell whether a plant could relapse this season, and whether it did.

    At risk is a plant whose case was cleared by work before this season's last look, with no
    case between the work and this season.
    """
    for clearing in reversed(work):
        if clearing.date >= day:
            continue
        if not any(clearing.clears(f) and f.date <= clearing.date for f in own):
            continue
        later = [f for f in own if f.date > clearing.date and f.counted and f.date <= day]
        if any(f.season < season for f in later):
            return False, False
        return True, any(f.season == season for f in later)
    return False, False

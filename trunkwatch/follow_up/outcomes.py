"""What counts as bad of a vine after its winter, alike for vines that were renewed and vines that were left.

Leaf symptoms and dieback are kept apart. Leaf symptoms come and go: what counts is that they are seen again at a look. Dead
wood stays where nobody cuts it: that it still hangs there says nothing, so what counts is growth from what the vine had
before the winter, in both groups, or, as the state that bears, that half of the vine or more is dead. A vine found dead or
pulled counts in all of them.
"""

import math
from collections.abc import Iterable, Sequence
from enum import Enum

from trunkwatch.history.damage import Damage
from trunkwatch.history.definitions import DEFINITIONS, Part
from trunkwatch.history.looks import Look
from trunkwatch.history.reading import VineReading
from trunkwatch.history.vine_part import wire_share
from trunkwatch.history.written import Finding, Work
from trunkwatch.vineyard.codes import CLEARING

__all__ = ["HALF", "MORE", "Outcome", "is_case", "is_renewal", "kinds_of_look", "outcomes_of", "seen_at", "share_at"]

#: Percent of the vine by which dead wood must have grown to count, and percent from which a vine is half dead or worse.
#: A scout's percents of one vine differ by some ten points from look to look (our own conventions).
MORE, HALF = 20.0, 50.0


class Outcome(Enum):
    """What is compared."""

    LEAVES = "leaf"
    WORSE = "worse"
    HALF_DEAD = "half dead"

    @property
    def part(self) -> Part:
        """Symptoms and looks of its kind of disease."""
        return DEFINITIONS["leaf" if self is Outcome.LEAVES else "dieback"].parts[0]


def outcomes_of(definition: str) -> tuple[Outcome, ...]:
    """Return what can be compared under a case definition."""
    dieback = (Outcome.WORSE, Outcome.HALF_DEAD)
    return {"leaf": (Outcome.LEAVES,), "dieback": dieback}.get(definition, (Outcome.LEAVES, *dieback))


def kinds_of_look(outcome: Outcome, definition: str, findings: Iterable[Finding]) -> frozenset[str]:
    """Return the kinds of look at which this kind of disease is seen in a block.

    Parameters
    ----------
    outcome : Outcome
    definition : str
        Case definition of the block. Under `any` dead wood counts wherever it is found: a block whose scouts write dead arms in
        summer is followed by its summer looks as well.
    findings : iterable of Finding
        All of the block.
    """
    own = outcome.part.looks
    if outcome is Outcome.LEAVES or definition != "any":
        return own
    return own | {f.kind for f in findings if f.lasting and is_case(outcome, f, frozenset({f.kind}))}


def is_case(outcome: Outcome, finding: Finding, kinds: frozenset[str]) -> bool:
    """Tell whether a finding puts a vine on record for this kind of disease: a case, made at a look of one of the kinds."""
    definition = DEFINITIONS["leaf" if outcome is Outcome.LEAVES else "dieback"]
    return finding.look is not None and finding.kind in kinds and definition.makes_case(finding)


def is_renewal(outcome: Outcome, work: Work) -> bool:
    """Tell whether work is meant to take this kind of disease away: a new arm does not take leaf symptoms of the vine."""
    taken = CLEARING.get(work.kind)
    return work.done and taken is not None and (outcome is not Outcome.LEAVES or taken == "trunk")


def seen_at(outcome: Outcome, vine: VineReading, plant: int, look: Look) -> bool:
    """Tell whether a case was seen on a plant at a look."""
    return any(
        f.look is look and f.plant == plant and is_case(outcome, f, frozenset({look.kind})) for f in vine.findings
    )


def share_at(damages: Sequence[Damage], plant: int, day: str, training: str, *, cut_that_day: bool = False) -> float:
    """Return the percent of a plant that is dead on a day: what stands, each part as it was last written.

    Parameters
    ----------
    damages : sequence of Damage
        Of the position, oldest first.
    plant : int
    day : str
    training : str
        Of the block; it says how many arms share the wire.
    cut_that_day : bool
        Whether what is cut on the very day is gone.

    Notes
    -----
    A dead arm or trunk without a percent is all dead; a canker or dead spurs without a number add nothing. The last written
    percent holds, not the largest: the largest of many rough percents grows with the number of looks.
    """
    parts: dict[tuple[int, str], float] = {}
    standing = [d.finding for d in damages if d.finding.plant == plant and d.stands(day, cut_that_day=cut_that_day)]
    trunks = max([1, *(f.part.trunk for f in standing)])
    for f in standing:
        percent = f.percent_dead
        if percent is None:
            percent = 100.0 if f.symptom in ("dead_arm", "dead_trunk") else 0.0
        parts[f.part.trunk, f.part.arm] = percent * wire_share(f.part, training, trunks)
    return min(100.0, math.fsum(parts.values()))

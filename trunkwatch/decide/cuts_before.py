"""How much was dead of the vines whose cuts are on record, beside those that are listed: what the belief that cuts hold rests on."""

import datetime as dt
import statistics
from dataclasses import dataclass

from trunkwatch.block.opening import BlockSeason
from trunkwatch.block.vine_now import share_dead
from trunkwatch.decide.decision import Decision

__all__ = ["CutsBefore", "cuts_before"]

#: Work that takes an arm or a trunk and brings up another.
_CUTS = frozenset({"renew_arm", "renew_trunk", "train_first"})
#: Points by which the middle vine must differ for the cuts on record to count as others than those listed (our own convention).
APART = 20.0


@dataclass(frozen=True, slots=True)
class CutsBefore:
    """Vines cut before and vines listed, each with the middle percent of the vine that was dead; None where nobody wrote it."""

    cuts: int
    dead: float | None
    listed: int
    listed_dead: float | None

    @property
    def lighter(self) -> bool:
        """Whether vines cut before were plainly less sick than those listed."""
        return self.dead is not None and self.listed_dead is not None and self.listed_dead - self.dead >= APART


def cuts_before(found: Decision) -> CutsBefore:
    """Set the cuts on record beside those of the plan, all winters of it.

    Parameters
    ----------
    found : Decision
        The plan and its block.
    """
    before = _shares(found.season)
    listed = {one.cell: one.facts.share for one in found.work if one.kind in _CUTS}
    now = [share for share in listed.values() if share == share]
    known = [share for share in before if share is not None]
    return CutsBefore(
        len(before), statistics.median(known) if known else None, len(listed), statistics.median(now) if now else None
    )


def _shares(season: BlockSeason) -> list[float | None]:
    """Return the percent of the vine that was dead on the day before each cut."""
    reading, training = season.reading, str(season.block.get("training") or "")
    trunks = 2 if training == "multi_trunk" else 1
    out: list[float | None] = []
    for cell in reading.vines:
        days = sorted(
            {
                one.date
                for one in reading.vine(cell).work
                if one.done and one.kind in _CUTS and one.date <= season.known_until
            }
        )
        for day in days:
            eve = (dt.date.fromisoformat(day) - dt.timedelta(days=1)).isoformat()
            standing = [damage.finding for damage in reading.damages.standing(cell, eve)]
            out.append(share_dead(standing, training, trunks))
    return out

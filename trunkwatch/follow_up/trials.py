"""Every winter as a trial: vines on record that were renewed then, and vines on record that were left, on one clock.

A winter is told by the season of its work and by the season of the last look before it. Both groups are known by what was
on record at that look; years are counted from the middle day of the winter's cuts, so that a season without a look is a longer
interval and no shorter time. A vine enters as long as it was never renewed before; one that is left enters every winter.
"""

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import median

from trunkwatch.block.opening import BlockSeason
from trunkwatch.follow_up.outcomes import HALF, MORE, Outcome, is_case, is_renewal, kinds_of_look, seen_at, share_at
from trunkwatch.history.looks import Look
from trunkwatch.history.places import Cell
from trunkwatch.history.plants import plant_on
from trunkwatch.history.reading import VineReading
from trunkwatch.history.written import Finding
from trunkwatch.vineyard.calendar import as_date
from trunkwatch.vineyard.codes import CLEARING
from trunkwatch.vineyard.lots import Lot, lot_in

__all__ = ["Past", "Trial", "Winter", "left_trials", "lot_trials", "past_of", "renewed_before", "trials_of"]

_NEVER = "9999-99-99"
#: Days after a look from which a vine that is left is followed, where there is no winter's work to count from: far enough from
#: the look for the one a year later to fall into the first year, close enough for the season's cuts to lie after it.
_AFTER_A_LOOK = 30


@dataclass(frozen=True, slots=True, order=True)
class Winter:
    """One winter: the season of its work, the season of the last look before it, and the middle day of its cuts."""

    season: int
    base: int
    day: str


@dataclass(frozen=True, slots=True)
class Past:
    """What was on record of a vine at the last look before the winter.

    Attributes
    ----------
    seasons : int
        Seasons from the first case to that look.
    looks, showed : int
        Seasons with a look since the first case, that one included, and in how many of them a case was seen.
    last : bool
        Whether a case was seen at the last one.
    share : float
        Percent of the vine that is dead; 0 for leaf symptoms.
    replant : bool
        Whether it is a replant.
    """

    seasons: int
    looks: int
    showed: int
    last: bool
    share: float
    replant: bool


@dataclass(frozen=True, slots=True)
class Trial:
    """One vine in one winter.

    Attributes
    ----------
    cell : (int, int)
    winter : Winter
    renewed : bool
        Renewed in this winter, or left.
    past : Past
    years : tuple of int
        Years after the winter in which its position was looked at.
    ended : int
        Year in which it counted as bad, 0 for never.
    through : int
        Last year up to which it was followed without being cut.
    """

    cell: Cell
    winter: Winter
    renewed: bool
    past: Past
    years: tuple[int, ...]
    ended: int
    through: int


class _Block:
    """What the trials of one outcome need of the block, read once."""

    def __init__(self, season: BlockSeason, outcome: Outcome) -> None:
        self.reading, self.outcome, self.last = season.reading, outcome, season.season
        self.training = str(season.block.get("training") or "")
        part = outcome.part
        self.kinds = kinds_of_look(outcome, season.history.definition, self.reading.findings)
        self.looks = [
            look
            for look in self.reading.looks
            if look.season <= season.season and look.kind in self.kinds and (look.for_all or part.key in look.purpose)
        ]
        self.vines = {
            cell: vine
            for cell, vine in self.reading.vines.items()
            if any(self.is_case(f) and f.season <= season.season for f in vine.findings)
        }
        self.own = {cell: [look for look in self.looks if cell in look.cells] for cell in self.vines}

    def is_case(self, finding: Finding) -> bool:
        """Tell whether a finding puts a vine on record."""
        return is_case(self.outcome, finding, self.kinds)

    def cuts(self, vine: VineReading) -> list[str]:
        """Return the days of all work that takes wood away, whatever it took."""
        return [w.date for w in vine.work if w.done and w.kind in CLEARING and w.season <= self.last]


def _year(day: str, since: str) -> int:
    """Return the year after a winter in which a day falls, 1 for the first."""
    return max(1, math.ceil((as_date(day) - as_date(since)).days / 365.25))


def _base(looks: Sequence[Look], day: str) -> Look | None:
    return next((look for look in reversed(looks) if look.until <= day), None)


def _winters(block: _Block) -> list[Winter]:
    days: defaultdict[tuple[int, int], list[int]] = defaultdict(list)
    for cell, vine in block.vines.items():
        for work in vine.work:
            base = _base(block.own[cell], work.date)
            if is_renewal(block.outcome, work) and work.season <= block.last and base is not None:
                days[work.season, base.season].append(as_date(work.date).toordinal())
    return [
        Winter(season, base, dt.date.fromordinal(round(median(work_days))).isoformat())
        for (season, base), work_days in sorted(days.items())
    ]


def trials_of(season: BlockSeason, outcome: Outcome) -> list[Trial]:
    """Return every vine in every winter in which some vine was renewed.

    Parameters
    ----------
    season : BlockSeason
        The block up to the last season that counts.
    outcome : Outcome
        What counts as bad.
    """
    block = _Block(season, outcome)
    winters = _winters(block)
    return [
        trial
        for winter in winters
        for cell, vine in block.vines.items()
        for trial in _trial(block, winter, cell, vine, _own_cut(outcome, winter, vine))
    ]


def left_trials(season: BlockSeason, outcome: Outcome) -> list[Trial]:
    """Return every vine that nobody had renewed after every look, as long as it was left: what vines do without work.

    Parameters
    ----------
    season : BlockSeason
        The block up to the last season that counts.
    outcome : Outcome
        What counts as bad.
    """
    block = _Block(season, outcome)
    last = {look.season: look.until for look in block.looks}
    winters = [
        Winter(base + 1, base, (as_date(day) + dt.timedelta(days=_AFTER_A_LOOK)).isoformat())
        for base, day in sorted(last.items())
    ]
    return [
        trial
        for winter in winters
        for cell, vine in block.vines.items()
        for trial in _trial(block, winter, cell, vine, "")
    ]


def lot_trials(season: BlockSeason, outcome: Outcome) -> list[tuple[Trial, int]]:
    """Return the vines on which lots were drawn, as they were drawn, with the number of their group of equal vines.

    A vine counts in the group that its lot says, whether or not that was done: who does otherwise chooses. The clock starts
    with the winter's cuts, or on the day for which the lots were written where none is on record.

    Parameters
    ----------
    season : BlockSeason
        The block up to the last season that counts.
    outcome : Outcome
        What counts as bad.
    """
    block = _Block(season, outcome)
    drawn = [
        (cell, vine, lot, work.date)
        for cell, vine in block.vines.items()
        for work in vine.work
        if (lot := lot_in(work.kind, work.note)) is not None and lot.season <= block.last
    ]
    listed: list[tuple[Trial, int]] = []
    for number in sorted({lot.season for _, _, lot, _ in drawn}):
        of_winter = [line for line in drawn if line[2].season == number]
        cuts = [
            as_date(w.date).toordinal()
            for _, vine, lot, _ in of_winter
            for w in vine.work
            if lot.renew and w.season == number and is_renewal(outcome, w)
        ]
        day = dt.date.fromordinal(round(median(cuts))).isoformat() if cuts else min(line[3] for line in of_winter)
        listed += [
            (trial, lot.group) for cell, vine, lot, _ in of_winter for trial in _lot(block, cell, vine, lot, day)
        ]
    return listed


def _lot(block: _Block, cell: Cell, vine: VineReading, lot: Lot, day: str) -> Iterator[Trial]:
    base = _base(block.own[cell], day)
    if base is None:
        return
    winter, plant = Winter(lot.season, base.season, day), plant_on(vine.plants, day)
    past = _past(block, cell, vine, plant, base) if plant >= 0 else None
    if past is None or plant_on(vine.plants, base.until) != plant or _dead_by(block, cell, vine, plant, day):
        return
    after = [look for look in block.own[cell] if look.date > day]
    first = after[0].date if after else _NEVER
    cuts = [cut for cut in block.cuts(vine) if cut > first]
    yield _followed(block, winter, cell, vine, plant, past, after, cuts, lot.renew)


def past_of(season: BlockSeason, outcome: Outcome) -> dict[Cell, Past]:
    """Return what is on record by now of the living vines that were never renewed.

    Parameters
    ----------
    season : BlockSeason
        The block up to the last season that counts.
    outcome : Outcome
        Kind of disease.
    """
    block = _Block(season, outcome)
    pasts = {}
    for cell, vine in block.vines.items():
        day = max((look.until for look in block.own[cell]), default="")
        base = _base(block.own[cell], day)
        plant = plant_on(vine.plants, season.as_of)
        if base is None or plant < 0 or block.cuts(vine) or _dead_by(block, cell, vine, plant, season.as_of):
            continue
        past = _past(block, cell, vine, plant, base)
        if past is not None:
            pasts[cell] = past
    return pasts


def renewed_before(season: BlockSeason, outcome: Outcome) -> int:
    """Return how often a vine on record was renewed that had been renewed before: such vines enter no trial."""
    block = _Block(season, outcome)
    return sum(
        max(0, len({w.season for w in vine.work if is_renewal(outcome, w) and w.season <= block.last}) - 1)
        for vine in block.vines.values()
    )


def _own_cut(outcome: Outcome, winter: Winter, vine: VineReading) -> str:
    """Return the day on which a vine was renewed in a winter; empty where it was not."""
    return next((w.date for w in vine.work if is_renewal(outcome, w) and w.season == winter.season), "")


def _trial(block: _Block, winter: Winter, cell: Cell, vine: VineReading, own_cut: str) -> Iterator[Trial]:
    """Yield the vine's place in the winter, if it has one."""
    looks = block.own[cell]
    cuts = block.cuts(vine)
    day = own_cut or winter.day
    base = _base(looks, day)
    if base is None or base.season != winter.base or any(cut < base.date for cut in cuts):
        return
    after = [look for look in looks if look.date > day]
    first = after[0].date if after else _NEVER
    early = [cut for cut in cuts if cut <= first]
    plant = plant_on(vine.plants, day)
    if plant < 0 or plant_on(vine.plants, base.until) != plant or _dead_by(block, cell, vine, plant, day):
        return
    if early and not (own_cut and _took_all(block, cell, plant, early[-1], vine)):
        return  # a cut that left some of the case is in neither group
    past = _past(block, cell, vine, plant, base)
    if past is not None:
        yield _followed(
            block, winter, cell, vine, plant, past, after, [cut for cut in cuts if cut > first], bool(early)
        )


def _dead_by(block: _Block, cell: Cell, vine: VineReading, plant: int, day: str) -> bool:
    since = vine.plants[plant].since
    return any(since <= died <= day for died in block.reading.deaths.get(cell, ()))


def _took_all(block: _Block, cell: Cell, plant: int, day: str, vine: VineReading) -> bool:
    """Tell whether the cuts up to a day left nothing that they should have taken."""
    if block.outcome is Outcome.LEAVES:
        return any(is_renewal(block.outcome, w) and w.date <= day for w in vine.work)
    return not any(
        d.finding.plant == plant and d.finding.date <= day and d.stands(day, cut_that_day=True)
        for d in block.reading.damages.of(cell)
    )


def _past(block: _Block, cell: Cell, vine: VineReading, plant: int, base: Look) -> Past | None:
    seasons = {f.season for f in vine.findings if f.plant == plant and f.date <= base.until and block.is_case(f)}
    if not seasons:
        return None
    first = min(seasons)
    looked = {look.season for look in block.own[cell] if first <= look.season <= base.season}
    share = 0.0
    if block.outcome is not Outcome.LEAVES:
        share = share_at(block.reading.damages.of(cell), plant, base.until, block.training)
    return Past(base.season - first, len(looked), len(seasons), base.season in seasons, share, plant > 0)


def _followed(
    block: _Block,
    winter: Winter,
    cell: Cell,
    vine: VineReading,
    plant: int,
    past: Past,
    after: Sequence[Look],
    cuts: Sequence[str],
    renewed: bool,
) -> Trial:
    """Follow a vine from its winter on, until it counts as bad or is cut."""
    cut = min(cuts, default=_NEVER)
    ended = min(
        [
            day
            for day in (_gone(block, cell, vine, plant, winter.day), _bad(block, cell, vine, plant, past, after))
            if day
        ],
        default="",
    )
    years = tuple(sorted({_year(look.date, winter.day) for look in after}))
    if ended and ended <= cut:
        return Trial(cell, winter, renewed, past, years, _year(ended, winter.day), _year(ended, winter.day))
    free = [_year(look.date, winter.day) for look in after if look.date <= cut]
    return Trial(cell, winter, renewed, past, years, 0, max(free, default=0))


def _gone(block: _Block, cell: Cell, vine: VineReading, plant: int, day: str) -> str:
    """Return when the plant was found dead or pulled after the winter; empty for never."""
    days = [died for died in block.reading.deaths.get(cell, ()) if day < died <= vine.plants[plant].until]
    if vine.plants[plant].until < _NEVER:
        days.append(vine.plants[plant].until)
    return min((d for d in days if block.reading.season_of(d) <= block.last), default="")


def _bad(block: _Block, cell: Cell, vine: VineReading, plant: int, past: Past, after: Sequence[Look]) -> str:
    """Return the day of the first look after the winter at which the plant counted as bad."""
    if block.outcome is Outcome.LEAVES:
        return next((look.until for look in after if seen_at(block.outcome, vine, plant, look)), "")
    damages = block.reading.damages.of(cell)
    least = past.share + MORE if block.outcome is Outcome.WORSE else HALF
    return next(
        (look.until for look in after if share_at(damages, plant, look.until, block.training) >= least - 1e-9), ""
    )

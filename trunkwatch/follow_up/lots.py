"""Lots among equal vines: who is renewed this winter and who is left for comparison, and what such lots can show."""

import math
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from trunkwatch.block.opening import BlockSeason
from trunkwatch.block.vine_now import VineNow, vines_now
from trunkwatch.errors import RecordError
from trunkwatch.follow_up.matching import followed_for, outcomes_by
from trunkwatch.follow_up.outcomes import Outcome, outcomes_of
from trunkwatch.follow_up.trials import Past, left_trials, past_of
from trunkwatch.history.places import Cell
from trunkwatch.history.vine_part import PartKind
from trunkwatch.stats.two_shares import chance_to_show, needed_to_show
from trunkwatch.vineyard.calendar import season_bounds, winter_name
from trunkwatch.vineyard.codes import CLEARING
from trunkwatch.vineyard.lots import LOT_YEARS, Lot, lot_code, lot_in

__all__ = ["DrawnLots", "WouldShow", "draw_lots", "lot_records", "with_a_neighbour_worked_on", "would_show"]

#: Chance with which an effect is to show (common practice, no source).
CHANCE = 0.8
#: Work on the vine beside that may change what comes to this one.
_BESIDE = frozenset({*CLEARING, "protect_wound"})


@dataclass(frozen=True, slots=True)
class DrawnLots:
    """Lots drawn for one winter.

    Attributes
    ----------
    winter : int
        Season of the winter.
    lots : dict of cell to Lot
    dieback : frozenset of cell
        Of these, vines with dead wood on record; the others have leaf symptoms.
    alone : int
        Vines that could be renewed and have no equal.
    no_shoot : int
        Vines left out because no shoot to renew from is on record.
    beside : (int, int)
        Vines to be renewed, and to be left, beside which in the row a vine was renewed or protected in the years before, or
        is to be.
    """

    winter: int
    lots: dict[Cell, Lot]
    dieback: frozenset[Cell]
    alone: int
    no_shoot: int
    beside: tuple[int, int]

    @property
    def renew(self) -> int:
        """How many are to be renewed."""
        return sum(lot.renew for lot in self.lots.values())

    @property
    def leave(self) -> int:
        """How many are to be left."""
        return len(self.lots) - self.renew


@dataclass(frozen=True, slots=True)
class WouldShow:
    """What lots can show of an effect, on an assumed share.

    Attributes
    ----------
    outcome : Outcome
    years : int
    left, renewed : float
        Assumed shares that count as bad within the years.
    looks_back : int
        Left vines of this block that `left` rests on; 0 where it is assumed.
    chance : float
        Chance that these lots show it.
    needed : int
        Vines of both lots together for it to show with `CHANCE`.
    winters : int
        Winters with as many lots as this one that takes; 0 where there are none.
    """

    outcome: Outcome
    years: int
    left: float
    renewed: float
    looks_back: int
    chance: float
    needed: int
    winters: int


def draw_lots(season: BlockSeason, winter: int, *, share: float = 0.5, seed: int = 1) -> DrawnLots:
    """Draw lots among the vines that could be renewed, inside groups of equal ones.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season looked at last.
    winter : int
        Season of the winter that the lots are for.
    share : float
        Part of each group that is to be renewed; of every group at least one is, and at least one is left.
    seed : int
        Of the lots.

    Raises
    ------
    ValueError
        If the share lies outside 0 to 1.
    RecordError
        If lots for this winter are written already, or no two vines are equal.
    """
    if not 0 < share < 1:
        raise ValueError(f"share {share}: between 0 and 1 is needed")
    running = _running(season)
    this_winter = [lot for lot in running.values() if lot.season == winter]
    name = winter_name(winter, season.reading.hemisphere)
    if this_winter:
        raise RecordError(
            f"block {season.history.block!r}: lots of {len(this_winter)} vines are written for {name} already; "
            "take these marks back at the desk to draw anew, or draw again for the next winter"
        )
    pasts = {
        outcome: past_of(season, outcome)
        for outcome in outcomes_of(season.history.definition)
        if outcome is not Outcome.HALF_DEAD
    }
    groups: defaultdict[tuple[object, ...], list[Cell]] = defaultdict(list)
    no_shoot = 0
    for cell, now in sorted(vines_now(season).items()):
        if (
            not any(cell in known for known in pasts.values())
            or not now.open
            or cell in running
            or _ever_cut(season, cell)
        ):
            continue
        if not now.shoot_usable:
            no_shoot += 1
            continue
        groups[tuple(_equal(known.get(cell)) for known in pasts.values())].append(cell)
    equal = [cells for _, cells in sorted(groups.items(), key=lambda group: group[1][0]) if len(cells) > 1]
    alone = sum(len(cells) == 1 for cells in groups.values())
    if not equal:
        raise RecordError(
            f"block {season.history.block!r}: no two vines are equal in history, severity, last inspection and a usable shoot "
            f"({alone} without an equal, {no_shoot} without a shoot on record); write the renewal shoots at the next inspection"
        )
    rng = np.random.Generator(np.random.SFC64([seed, winter, 91]))
    lots: dict[Cell, Lot] = {}
    for number, cells in enumerate(equal, start=1):
        # What a share leaves over between whole vines is drawn as well, so that small groups keep to it on the whole.
        many = min(max(math.floor(share * len(cells) + rng.random()), 1), len(cells) - 1)
        chosen = set(rng.permutation(len(cells))[:many].tolist())
        lots |= {cell: Lot(winter, number, k in chosen) for k, cell in enumerate(cells)}
    dieback = frozenset(cell for cell in lots if cell in pasts.get(Outcome.WORSE, {}))
    planned = {
        w.cell for w in season.reading.work if w.status == "planned" and w.kind in _BESIDE and w.season == winter
    }
    planned |= {cell for cell, lot in lots.items() if lot.renew}
    beside = [
        with_a_neighbour_worked_on(
            season, [c for c, lot in lots.items() if lot.renew is renew], winter - LOT_YEARS, winter, planned
        )
        for renew in (True, False)
    ]
    return DrawnLots(winter, lots, dieback, alone, no_shoot, (beside[0], beside[1]))


def _running(season: BlockSeason) -> dict[Cell, Lot]:
    """Return the vines whose lots were drawn; also after their years, so that no vine is drawn twice."""
    lots = [(work.cell, lot_in(work.kind, work.note)) for work in season.reading.work]
    return {cell: lot for cell, lot in lots if lot is not None}


def _ever_cut(season: BlockSeason, cell: Cell) -> bool:
    return any(work.done and work.kind in CLEARING for work in season.reading.vine(cell).work)


def _equal(past: Past | None) -> tuple[object, ...]:
    """Return what equal vines have in common; coarser than where lots do not decide."""
    if past is None:
        return ()
    often = 3 * past.showed / past.looks if past.looks else 0.0
    return min(past.seasons // 2, 3), math.ceil(often), past.last, math.ceil(past.share / 25), past.replant


def with_a_neighbour_worked_on(
    season: BlockSeason, cells: Collection[Cell], first: int, last: int, planned: Collection[Cell] = ()
) -> int:
    """Count vines beside which, in the row, a vine was renewed or its wounds were protected.

    Parameters
    ----------
    season : BlockSeason
    cells : collection of cell
        The vines.
    first, last : int
        Seasons of the work.
    planned : collection of cell
        Vines that are to be worked on, too.
    """
    worked_on = {w.cell for w in season.reading.work if w.done and w.kind in _BESIDE and first <= w.season <= last} | {
        *planned
    }
    return sum((row, station - 1) in worked_on or (row, station + 1) in worked_on for row, station in cells)


def would_show(season: BlockSeason, drawn: DrawnLots, effect: float, *, years: int = LOT_YEARS) -> WouldShow:
    """Tell what the lots can show of an effect.

    Parameters
    ----------
    season : BlockSeason
    drawn : DrawnLots
    effect : float
        Share by which renewing lowers what counts as bad.
    years : int
        Years over which it is looked at.
    """
    outcome = Outcome.WORSE if 2 * len(drawn.dieback) > len(drawn.lots) else Outcome.LEAVES
    trials = [t for t in left_trials(season, outcome) if followed_for(t, years) and t.through and max(t.years) >= years]
    left = float(np.mean(outcomes_by(trials, years))) if trials else 0.5
    renewed = max(0.0, left - effect)
    needed, winters = 0, 0
    if renewed < left:
        needed = needed_to_show(renewed, left, chance=CHANCE, of_one=drawn.renew / len(drawn.lots))
        winters = math.ceil(needed / len(drawn.lots))
    return WouldShow(
        outcome,
        years,
        left,
        renewed,
        len(trials),
        chance_to_show(renewed, left, drawn.renew, drawn.leave),
        needed,
        winters,
    )


def lot_records(season: BlockSeason, drawn: DrawnLots) -> list[dict[str, object]]:
    """Return the lots as planned work: a mark on every vine, and the renewal of those that are to be renewed.

    Parameters
    ----------
    season : BlockSeason
    drawn : DrawnLots
    """
    grid, hemisphere = season.history.grid, season.reading.hemisphere
    first = season_bounds(drawn.winter, hemisphere)[0]
    # The middle of the months in which vines are pruned, not the day on which plans date their work.
    year, month = (drawn.winter, "02") if hemisphere == "north" else (int(first[:4]), "08")
    now = vines_now(season)
    there = {(w.cell, w.kind, w.arm) for w in season.reading.work if w.season == drawn.winter and w.status == "planned"}
    records: list[dict[str, object]] = []
    for cell, lot in sorted(drawn.lots.items()):
        row, position = grid.label(*cell)
        says = "retrain this vine" if lot.renew else f"leave this vine uncut for comparison, {LOT_YEARS} years"
        record: dict[str, object] = {
            "block": season.history.block,
            "row": row,
            "position": str(position),
            "date": f"{year}-{month}-15",
            "status": "planned",
            "note": f"{lot_code(lot)} {says}",
        }
        records.append({**record, "kind": "mark"})
        kind, arm = _renewal(now[cell])
        if lot.renew and (cell, kind, arm) not in there:
            records.append({**record, "kind": kind, "arm": arm})
    return records


def _renewal(now: VineNow) -> tuple[str, str]:
    """Return the work that takes all that stands: one arm where the damage is all on it, else the trunk."""
    parts = {(d.finding.part.kind, d.finding.part.arm) for d in now.damages}
    if len(parts) == 1 and not now.symptoms:
        kind, arm = parts.pop()
        if kind is PartKind.ARM and arm:
            return "renew_arm", arm
    return "renew_trunk", ""

"""The work of the winter on the lists: what a plan proposes, set against what earlier plans and people wrote."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.block.opening import laid_out
from trunkwatch.history import BlockRecords, hemisphere_of
from trunkwatch.history.places import Cell, Places
from trunkwatch.intake.add import Known, add_made
from trunkwatch.intake.correct import correction
from trunkwatch.intake.enter import settle
from trunkwatch.vineyard.block_names import Block, BlockNames
from trunkwatch.vineyard.calendar import season_bounds, season_of
from trunkwatch.vineyard.codes import CLEARING
from trunkwatch.vineyard.lots import LOT_YEARS, lot_in
from trunkwatch.vineyard.records import by_plan, family_of, now_text, plan_device, standing
from trunkwatch.vineyard.tables import frame_of, records_of

__all__ = ["LEFT_BY_LOT", "BlockPlan", "WinterWork", "layout_of", "piece_of", "write_winter_work", "written_by_plan"]

#: Why work is dropped that a later plan does not propose any more.
NO_LONGER = "no longer proposed"
#: Why a renewal is dropped, or not written, of a vine that is left for comparison.
LEFT_BY_LOT = "left for comparison by lot"
#: Cells by which work is as an earlier plan wrote it: crew and observer come with a tick that was taken back.
_SAYS = ("row", "position", "bay", "vine", "date", "kind", "status", "trunk", "arm", "cut_height_cm", "hours", "note")
#: Cells that are brought up to date where the same work is proposed again.
_CELLS = ("date", "status", "cut_height_cm", "hours", "note")

#: Work that is not written of a vine left for comparison: a cut, and the training of a shoot that comes before one.
_LEADS_TO_A_CUT = frozenset({*CLEARING, "train_first"})

#: One piece of work on one part of one vine.
Piece = tuple[Cell | tuple[str, str], str, float, str]


@dataclass(frozen=True, slots=True)
class BlockPlan:
    """What is proposed for one block.

    Attributes
    ----------
    block : str
        Its name: the label, with vineyard and slash where several have that label.
    season : int
        Of the first winter that is planned for.
    records : sequence of mappings
        Of the `work` table, status planned.
    """

    block: str
    season: int
    records: Sequence[Mapping[str, Any]]


@dataclass(slots=True)
class WinterWork:
    """What became of the proposals, in pieces of work.

    Attributes
    ----------
    written, changed, same : int
        New on the lists; there with another day, height, hours or reason, and brought up to date; there as proposed.
    dropped : int
        Written by an earlier plan and proposed no more.
    by_hand, done : int
        Proposals left out: somebody planned or dropped the same work by hand; it was done this winter.
    left_over : int
        Work of earlier plans for winters gone by, neither done nor dropped: it stays as it is.
    left_by_lot : int
        Renewals left out: the vine is left for comparison by lot.
    """

    written: int = 0
    changed: int = 0
    same: int = 0
    dropped: int = 0
    by_hand: int = 0
    done: int = 0
    left_over: int = 0
    left_by_lot: int = 0
    notes: tuple[str, ...] = field(default=())

    @property
    def sentence(self) -> str:
        """What was done, in a line."""
        told = f"{self.written} written, {self.same} as before, {self.dropped} dropped"
        return f"{told}, {self.changed} changed" if self.changed else told

    @property
    def said_something(self) -> bool:
        """Whether anything was proposed, or dropped."""
        return any((self.written, self.changed, self.same, self.dropped, self.by_hand, self.done))

    @property
    def remarks(self) -> tuple[str, ...]:
        """What else a reader should know."""
        told = []
        if self.by_hand:
            told.append(f"{self.by_hand} proposed, and left as somebody wrote it by hand")
        if self.done:
            told.append(f"{self.done} proposed, and done this winter already")
        if self.left_by_lot:
            told.append(
                f"{self.left_by_lot} renewals proposed, and not written: these vines are left for comparison by lot"
            )
        if self.left_over:
            told.append(
                f"{self.left_over} planned for winters gone by, neither done nor dropped: still on the lists; tick or drop them"
            )
        return (*told, *self.notes)


def write_winter_work(
    path: str | Path, plans: Iterable[BlockPlan], *, now: str | None = None, who: str = ""
) -> WinterWork:
    """Put proposed work on the lists in place of what earlier plans proposed; all blocks or none.

    Work that an earlier plan wrote, that is still planned for this winter or a later one and is not proposed any more,
    is dropped. What is proposed again stays, or is brought up to date. Work that was done, and work that a person
    planned or dropped by hand, is never touched, and not written a second time.

    Parameters
    ----------
    path : str or Path
        Folder or file.
    plans : iterable of BlockPlan
        What is proposed, a plan a block.
    now : str, optional
        This moment, as `recorded_at` is written; the clock's where left out.
    who : str
        Who asked for the plan, and on what, where that is known.

    Raises
    ------
    FaultyNotesError
        If a proposal cannot stand.
    """
    moment, outcome = now or now_text(), WinterWork()

    def make(known: Known) -> dict[str, pd.DataFrame]:
        work = known("work")
        out = [record for plan in plans for record in _of_block(plan, work, known, moment, outcome, plan_device(who))]
        return {"work": frame_of("work", out)} if out else {}

    added = add_made(path, make, settle=lambda table, new, there: settle(table, new, there, now=moment))
    outcome.notes = tuple(
        f"{one.problem}; expected: {one.expected}" if one.expected else one.problem for one in added.notes
    )
    return outcome


def _of_block(
    plan: BlockPlan, work: pd.DataFrame, known: Known, now: str, outcome: WinterWork, device: str
) -> list[dict[str, Any]]:
    """Return the records to add for one block, and count what became of its proposals."""
    names = BlockNames(known("blocks"))
    block = names.find(plan.block)
    places, hemisphere = layout_of(block, names, known)
    mine = records_of(names.of_block(standing(work), block))
    there: dict[Piece, list[dict[str, Any]]] = {}
    for record in mine:
        there.setdefault(piece_of(record, places), []).append(record)
    first = season_bounds(plan.season, hemisphere)[0]
    of_plans = {str(one["id"]) for one in mine if written_by_plan(one, work)}
    kept: set[str] = set()
    out: list[dict[str, Any]] = []
    once: set[Piece] = set()
    left = _left_by_lot(mine, places)
    for proposal in plan.records:
        proposed = {**proposal, "vineyard": block.first[0], "block": block.first[1], "device": device}
        piece = piece_of(proposed, places)
        if piece in once:
            continue
        once.add(piece)
        here = there.get(piece, [])
        season = season_of(str(proposal["date"]), hemisphere)
        if proposal["kind"] in _LEADS_TO_A_CUT and 0 <= season - left.get(piece[0], season + 1) < LOT_YEARS:
            outcome.left_by_lot += 1
            continue
        if any(
            one["status"] not in ("planned", "dropped") and season_of(str(one["date"]), hemisphere) == season
            for one in here
        ):
            outcome.done += 1
            continue
        if any(_by_hand(one, of_plans, first) for one in here):
            outcome.by_hand += 1
            continue
        earlier = [one for one in here if one["id"] in of_plans and str(one["date"]) >= first and one["id"] not in kept]
        earlier.sort(
            key=lambda one: (one["status"] != "planned", abs(season_of(str(one["date"]), hemisphere) - season))
        )
        if not earlier:
            outcome.written += 1
            out.append({**proposed, "recorded_at": now})
            continue
        old = earlier[0]
        kept.add(str(old["id"]))
        cells = {name: _cell(proposed.get(name), name) for name in _CELLS}
        if all(_same(old[name], cells[name]) for name in _CELLS):
            outcome.same += 1
            continue
        outcome.changed += old["status"] == "planned"
        outcome.written += old["status"] != "planned"
        out.append(correction("work", work, old, cells, now=now, device=device))
    for one in mine:
        if one["id"] not in of_plans or one["status"] != "planned" or one["id"] in kept:
            continue
        if str(one["date"]) < first:
            outcome.left_over += 1
            continue
        outcome.dropped += 1
        out.append(correction("work", work, one, {"status": "dropped", "note": NO_LONGER}, now=now, device=device))
    return out


def _left_by_lot(mine: Iterable[Mapping[str, Any]], places: Places) -> dict[object, int]:
    """Return the vines that are left for comparison, and the season of their lot; one whose mark was dropped is none."""
    drawn = [(record, lot_in(str(record["kind"]), str(record["note"]))) for record in mine]
    return {
        piece_of(record, places)[0]: lot.season
        for record, lot in drawn
        if lot is not None and not lot.renew and record["status"] != "dropped"
    }


def layout_of(block: Block, names: BlockNames, known: Known) -> tuple[Places, str]:
    """Return where the labels of a block lead, and on which side of the equator it lies."""
    tables = {name: standing(known(name)) for name in ("blocks", "rows", "plants", "surveys", "symptoms", "work")}
    own = {name: names.outwards(name, names.of_block(frame, block)) for name, frame in tables.items()}
    record = records_of(own.pop("blocks"))[-1]
    grid, _, records = laid_out(BlockRecords(block=record, **own))
    return Places(grid, records.rows, records.block), hemisphere_of(record)


def piece_of(record: Mapping[str, Any], places: Places) -> Piece:
    """Return which work it is, on which part of which vine, however the record names the vine."""
    row, position = str(record["row"]), str(record["position"])
    vine = record.get("vine", float("nan"))
    cell = places.find(row, position, str(record.get("bay") or ""), float(vine), str(record["date"]))
    trunk = record.get("trunk")
    number = 0.0 if trunk is None or trunk != trunk else float(trunk)
    return cell or (row, position), str(record["kind"]), number, str(record.get("arm") or "")


def written_by_plan(record: Mapping[str, Any], work: pd.DataFrame) -> bool:
    """Tell whether work stands as a plan wrote it; what a person changed is the person's."""
    if by_plan(str(record["device"])):
        return True
    if not record["corrects"]:
        return False
    versions = records_of(family_of(work, str(record["id"]))[1])
    return any(
        by_plan(str(one["device"])) and all(_same(one[name], record[name]) for name in _SAYS) for one in versions
    )


def _by_hand(record: Mapping[str, Any], of_plans: set[str], first: str) -> bool:
    """Tell whether somebody planned the work, or dropped it for this winter or a later one."""
    if record["id"] in of_plans:
        return False
    return record["status"] == "planned" or (record["status"] == "dropped" and str(record["date"]) >= first)


def _cell(value: Any, name: str) -> Any:
    if value is None:
        return float("nan") if name in ("cut_height_cm", "hours") else ""
    return value


def _same(one: Any, other: Any) -> bool:
    return bool(one == other or (one != one and other != other))

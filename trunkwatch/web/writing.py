"""Writing: every record goes the same road as from the command line, with the same checks."""

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from flask import Blueprint, Response, abort, current_app, g, jsonify, request

from trunkwatch.access.audit import Done
from trunkwatch.access.may import Right
from trunkwatch.errors import FaultyNotesError, FileError, HandoverError
from trunkwatch.intake import Added, Corrected, correct_record, enter_records
from trunkwatch.intake.add import Known, add_made
from trunkwatch.intake.correct import changeable, plan_again
from trunkwatch.intake.handed_over import Handover, bound_frames, phone_of, sealed
from trunkwatch.intake.handed_photos import keep_handed_photos
from trunkwatch.intake.own import is_own, is_tick, not_own
from trunkwatch.intake.ticks import settle_ticks
from trunkwatch.intake.typed import read_typed
from trunkwatch.intake.winter_work import BlockPlan, write_winter_work
from trunkwatch.store import Changed, Store
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.records import now_text
from trunkwatch.vineyard.tables import TABLES
from trunkwatch.web.allowed import done, phone_visitor, refuse, visitor
from trunkwatch.web.bodies import sent_json
from trunkwatch.web.vineyard import Vineyard, today

__all__ = ["writing"]

writing = Blueprint("writing", __name__)

#: Tables that pages write into, and how many records at once.
WRITABLE = ("symptoms", "surveys", "work", "plants", "bud_counts", "budbreak", "pruning")
#: Tables whose records pages correct and take back: a photo comes in with its picture, by an address of its own.
CORRECTABLE = (*WRITABLE, "photos")
MOST_RECORDS = 2000
MOST_CREW_DAYS = 1000


def _vineyard() -> Vineyard:
    found: Vineyard = current_app.extensions["vineyard"]
    return found


def _body() -> dict[str, Any]:
    told = sent_json()
    if not isinstance(told, dict):
        abort(400, "JSON with a table and records is needed.")
    return told


def _table(told: Mapping[str, Any], allowed: Sequence[str] = WRITABLE) -> str:
    table = told.get("table")
    if table not in allowed:
        abort(400, f"table: one of {', '.join(allowed)} is needed.")
    return str(table)


def _read(table: str, raw: Any) -> dict[str, Any]:
    """Read what was typed as a cell of a notes file is read."""
    if not isinstance(raw, dict):
        abort(400, "a record is an object of column and value.")
    known = {column.name for column in TABLES[table].columns} - {"read_from", "void", "corrects"}
    strange = sorted(set(raw) - known)
    if strange:
        abort(400, f"{table} has no column {strange[0][:40]!r} to write.")
    record = read_typed(table, raw)
    record["recorded_at"] = record["recorded_at"] or now_text()
    # What a person writes names the person, whatever the page sends.
    return record | ({"device": visitor().who} if visitor().who else {})


def _answer(added: Added, table: str, **more: Any) -> Response:
    return jsonify(
        new=added.new.get(table, 0),
        same=added.same.get(table, 0),
        ids=list(added.ids),
        notes=[_sentence(one) for one in added.notes],
        changed=[
            {"id": one.id, "values": {k: [_plain(a), _plain(b)] for k, (a, b) in one.values.items()}}
            for one in added.changed
        ],
        superseded=[_superseded(one) for one in added.superseded],
        version=_vineyard().version(),
        **more,
    )


def _superseded(one: Changed) -> dict[str, Any]:
    """Say of a record that came in and does not stand what stands in its place."""
    stands = {name: _plain(value) for name, value in one.stands.items()} if one.stands else None
    return {"id": one.id, "about": one.about, "stands": stands}


def _plain(value: Any) -> str:
    if value is None or value != value:
        return ""
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def _sentence(note: Fault) -> str:
    """Say what is odd in the words of a page, which has no columns."""
    return f"{note.problem}; expected: {note.expected}" if note.expected else note.problem


@writing.post("/api/log")
def log() -> Response:
    """Add records to one table; all of them or none."""
    told = _body()
    table, raw = _table(told), told.get("records")
    if not isinstance(raw, list) or not 1 <= len(raw) <= MOST_RECORDS:
        abort(400, f"records: a list of 1 to {MOST_RECORDS} is needed.")
    added = enter_records(_vineyard().path, table, [_read(table, one) for one in raw])
    done(Done.WROTE, table=table, new=added.new.get(table, 0))
    return _answer(added, table)


@writing.post("/api/correct")
def correct() -> Response:
    """Let a record stand corrected, or take it back; the old one stays readable."""
    told = _body()
    table, record = _table(told, CORRECTABLE), str(told.get("id", ""))
    changes = told.get("changes") or {}
    if not isinstance(changes, dict):
        abort(400, "changes: an object of column and value is needed.")
    if strange := sorted(set(changes) - set(changeable(table))):
        abort(400, f"{table} has no column {strange[0][:40]!r} to correct.")
    void, path = told.get("void") is True, _vineyard().path
    _may_correct(table, record, {} if void else changes)
    corrected = correct_record(path, table, record, changes, void=void, device=visitor().who)
    done(Done.TOOK_BACK if void else Done.CORRECTED, table=table, record=record)
    return _corrected(corrected, table)


def _may_correct(table: str, record: str, changes: Mapping[str, Any]) -> None:
    """Refuse what the person may not correct: others' records, or all; a tick of planned work is a log, no correction."""
    here, path = visitor(), _vineyard().path
    if Right.CORRECT_ALL in here.may:
        return
    own = bool(here.name) and is_own(path, table, record, here.name)
    if own and Right.CORRECT_OWN in here.may:
        return
    if Right.LOG in here.may and table == "work" and is_tick(path, record, changes):
        return
    refuse(str(request.endpoint), frozenset({Right.CORRECT_OWN if own else Right.CORRECT_ALL}))


def _corrected(done: Corrected, table: str) -> Response:
    return _answer(done.added, table, stands={"id": done.id, "values": done.values} if done.id else None)


@writing.post("/api/planned-again")
def planned_again() -> Response:
    """Take the tick of a piece of work back: it is planned as it was before."""
    record, here = str(_body().get("id", "")), visitor()
    if Right.CORRECT_ALL not in here.may and not (here.name and is_own(_vineyard().path, "work", record, here.name)):
        refuse(str(request.endpoint), frozenset({Right.CORRECT_ALL}))
    corrected = plan_again(_vineyard().path, record, device=here.who)
    done(Done.CORRECTED, table="work", record=record, status="planned")
    return _corrected(corrected, "work")


@writing.post("/api/plan")
def plan() -> Response:
    """Put the work proposed for this winter on the lists, as `plan --write` does."""
    from trunkwatch.decide.decision import planned_records, winter_of
    from trunkwatch.decide.outlook import VineyardSteps
    from trunkwatch.decide.road import decide_on

    told = _body()
    block, days = str(told.get("block", "")), told.get("crew_days", 10)
    if block not in _vineyard().labels():
        abort(404)
    if isinstance(days, bool) or not isinstance(days, (int, float)) or not 0 <= days <= MOST_CREW_DAYS:
        abort(400, f"crew-days: a number from 0 to {MOST_CREW_DAYS} is needed.")
    season = _vineyard().season(block, None)
    with Store.open(_vineyard().path) as store:
        found = decide_on(VineyardSteps(store), season, crew_days=float(days))
    day = today()
    proposed = BlockPlan(season.history.block, winter_of(found, day), planned_records(found, today=day))
    written = write_winter_work(_vineyard().path, [proposed], who=visitor().who)
    done(Done.PLANNED, block=block, new=written.written, changed=written.changed, dropped=written.dropped)
    nothing = () if written.said_something else ("nothing to do is proposed for this winter",)
    return jsonify(
        new=written.written,
        same=written.same,
        changed=written.changed,
        dropped=written.dropped,
        notes=[*nothing, *written.remarks],
        version=_vineyard().version(),
    )


def _of_block(frames: Mapping[str, pd.DataFrame], block: str) -> dict[str, pd.DataFrame]:
    """Give records that carry no vineyard the one of the block whose page handed them over."""
    with Store.open(_vineyard().path) as store:
        own = store.names().find(block)
    labels = {block, *(label for _, label in own.names)}
    return {
        table: frame.assign(
            vineyard=[
                own.vineyard if not owner and label in labels else owner
                for owner, label in zip(frame["vineyard"], frame["block"], strict=True)
            ]
        )
        for table, frame in frames.items()
    }


@writing.post("/api/field/<label:block>/sync")
def sync(block: str) -> Response:
    """Take what a phone hands over; the same twice changes nothing."""
    if block not in _vineyard().labels():
        abort(404)
    handover = _handover()
    try:
        added, refused = _taken(handover, block)
    except HandoverError as error:
        done(Done.REFUSED, block=block, why=str(error))
        raise
    known = sum(added.new.values()) + sum(added.same.values())
    return jsonify(
        known=known,
        new=sum(added.new.values()),
        changed=len(added.changed),
        notes=[str(one) for one in added.notes],
        superseded=[_superseded(one) for one in added.superseded],
        photos_refused=[str(one) for one in refused],
    )


def _handover() -> Handover:
    try:
        text = request.get_data().decode() if request.is_json else ""
    except ValueError:
        text = ""
    handover = sealed(text, "the phone's records")
    if handover.faults:
        raise FaultyNotesError(handover.faults)
    return handover


def _taken(handover: Handover, block: str) -> tuple[Added, list[Fault]]:
    """Take what a phone hands over, as the person whose phone it is; return which of its photos are refused, too."""
    path = _vineyard().path
    phone = phone_of(path, handover)
    here = visitor() if phone is None else phone_visitor(phone)
    if here is None or Right.LOG not in here.may:
        raise HandoverError(
            f"{phone.device if phone else here!r} may not log here any more: who keeps this desk can give the right"
        )
    g.visitor = here
    if not handover.frames:
        raise FileError("the phone had no record")
    with Store.open(path) as store:
        own = store.names().find(block)
    if handover.mark is not None and handover.mark.root != own.root and _is_here(handover.mark.root):
        raise HandoverError(
            f"the phone's records are of block {handover.block!r}, and were sent to {block!r}: send from the page of that block"
        )

    def make(known: Known) -> Mapping[str, pd.DataFrame]:
        frames = bound_frames(handover, known("blocks"), phone)
        if here.who and phone is None:
            frames = {table: frame.assign(device=here.who) for table, frame in frames.items()}
        return _of_block(frames, block)

    if here.name and Right.CORRECT_ALL not in here.may and (other := not_own(path, handover.frames, here.name)):
        raise HandoverError(
            f"the phone's records correct record {other!r}, which {here.name} did not write: nothing was imported; "
            "who may correct all records can load the phone's file"
        )
    handover, refused = keep_handed_photos(path, handover)
    added = add_made(path, make, settle=settle_ticks)
    done(Done.HANDED_OVER, block=block, new=sum(added.new.values()))
    return added, refused


def _is_here(root: str) -> bool:
    with Store.open(_vineyard().path) as store:
        return any(one.root == root for one in store.names().every)

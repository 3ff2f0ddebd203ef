"""Writing: every record goes the same road as from the command line, with the same checks."""

from collections.abc import Mapping
from typing import Any

import pandas as pd
from flask import Blueprint, Response, abort, current_app, jsonify, request

from trunkwatch.errors import FaultyNotesError, FileError
from trunkwatch.intake import Added, Corrected, add_frames, correct_record, enter_records
from trunkwatch.intake.correct import changeable, plan_again
from trunkwatch.intake.ticks import settle_ticks
from trunkwatch.intake.typed import read_typed
from trunkwatch.intake.winter_work import BlockPlan, write_winter_work
from trunkwatch.spreadsheets.handover import handover_frames
from trunkwatch.store import Changed, Store
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.records import now_text
from trunkwatch.vineyard.tables import TABLES
from trunkwatch.web.vineyard import Vineyard, today

__all__ = ["writing"]

writing = Blueprint("writing", __name__)

#: Tables that pages write into, and how many records at once.
WRITABLE = ("symptoms", "surveys", "work", "plants")
MOST_RECORDS = 2000
MOST_CREW_DAYS = 1000


def _vineyard() -> Vineyard:
    found: Vineyard = current_app.extensions["vineyard"]
    return found


def _body() -> dict[str, Any]:
    told = request.get_json(silent=True)
    if not isinstance(told, dict):
        abort(400, "JSON with a table and records is needed.")
    return told


def _table(told: Mapping[str, Any]) -> str:
    table = told.get("table")
    if table not in WRITABLE:
        abort(400, f"table: one of {', '.join(WRITABLE)} is needed.")
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
    return record


def _answer(added: Added, table: str, **more: Any) -> Response:
    return jsonify(
        new=added.new.get(table, 0), same=added.same.get(table, 0), ids=list(added.ids), notes=[_sentence(one) for one in added.notes],
        changed=[{"id": one.id, "values": {k: [_plain(a), _plain(b)] for k, (a, b) in one.values.items()}} for one in added.changed],
        superseded=[_superseded(one) for one in added.superseded], version=_vineyard().version(), **more,
    )  # fmt: skip


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
    return _answer(enter_records(_vineyard().path, table, [_read(table, one) for one in raw]), table)


@writing.post("/api/correct")
def correct() -> Response:
    """Let a record stand corrected, or take it back; the old one stays readable."""
    told = _body()
    table, record = _table(told), str(told.get("id", ""))
    changes = told.get("changes") or {}
    if not isinstance(changes, dict):
        abort(400, "changes: an object of column and value is needed.")
    if strange := sorted(set(changes) - set(changeable(table))):
        abort(400, f"{table} has no column {strange[0][:40]!r} to correct.")
    return _corrected(correct_record(_vineyard().path, table, record, changes, void=told.get("void") is True), table)


def _corrected(done: Corrected, table: str) -> Response:
    return _answer(done.added, table, stands={"id": done.id, "values": done.values} if done.id else None)


@writing.post("/api/planned-again")
def planned_again() -> Response:
    """Take the tick of a piece of work back: it is planned as it was before."""
    return _corrected(plan_again(_vineyard().path, str(_body().get("id", ""))), "work")


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
    written = write_winter_work(_vineyard().path, [proposed])
    nothing = () if written.said_something else ("nothing to do is proposed for this winter",)
    return jsonify(
        new=written.written, same=written.same, changed=written.changed, dropped=written.dropped,
        notes=[*nothing, *written.remarks], version=_vineyard().version(),
    )  # fmt: skip


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
    frames, faults = handover_frames(request.get_json(silent=True), "the phone's records")
    if faults:
        raise FaultyNotesError(faults)
    if not frames:
        raise FileError("the phone had no record")
    added = add_frames(_vineyard().path, _of_block(frames, block), settle=settle_ticks)
    known = sum(added.new.values()) + sum(added.same.values())
    return jsonify(
        known=known, new=sum(added.new.values()), changed=len(added.changed), notes=[str(one) for one in added.notes],
        superseded=[_superseded(one) for one in added.superseded],
    )  # fmt: skip

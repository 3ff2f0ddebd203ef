"""Three devices that write and merge, each beside its model."""

import datetime as dt
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import patch

from events.model import Act, acts_of, key_of, last_planned, moment_after, outweighed, stands

from trunkwatch.intake import add, correct_record, enter_records, merge_file, start_file
from trunkwatch.intake.correct import plan_again
from trunkwatch.intake.known import KnownStore
from trunkwatch.store import Store
from trunkwatch.store.outcome import as_correction
from trunkwatch.vineyard.tables import TABLES, records_of

__all__ = ["DifferenceError", "Shared", "in_memory", "play"]

BLOCK = {"block": "B", "vineyard": "V", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5}
NOW = 1_790_000_000_000
YEAR = 365 * 86_400_000
#: What the clocks of the devices say: (at the start, how much it goes on with every act).
CLOCKS = ((NOW, 1000), (NOW, 0), (NOW - 10 * YEAR, 1000), (NOW + 400 * YEAR, 1), (NOW - 3 * YEAR, 0), (NOW + 1, 0))
FINDING = {"block": "B", "vineyard": "V", "row": "1", "date": "2026-02-03", "symptom": "dead_arm"}
WORK = {"block": "B", "vineyard": "V", "row": "1", "date": "2026-02-03", "kind": "renew_arm"}
SAID = {
    "symptoms": ("row", "position", "date", "symptom", "percent"),
    "work": ("row", "position", "date", "kind", "status", "hours"),
}
NUMBERS = ("percent", "hours")


class DifferenceError(AssertionError):
    """A device that does not say what the model says."""


def text_of(moment):
    """Return a moment as `recorded_at` is written."""
    told = dt.datetime(1970, 1, 1, tzinfo=dt.UTC) + dt.timedelta(milliseconds=moment)
    return told.isoformat(timespec="milliseconds") if moment else ""


def cells_of(table, record):
    return tuple((name, f"{record[name]:g}" if name in NUMBERS else str(record[name])) for name in SAID[table])


def expect(holds, *told):
    if not holds:
        raise DifferenceError(told)


@contextmanager
def in_memory():
    """Let the roads of entries and corrections lead into stores in memory: without checks and layers, which read no clock."""

    def add_made(store, make, *, take_changes=False, keep_good=False, settle=None):
        made = {table: frame for table, frame in make(KnownStore(store)).items() if len(frame)}
        if not made:
            return add.Added({}, {}, (), ())
        coming = add._named(store, made, keep_good=keep_good)
        for table, frame in coming.frames.items() if settle else ():
            coming.ready[table] = one = settle(table, frame, store.stored(table))
            coming.renamed(table, frame["id"].tolist(), one.ids)
            coming.frames[table] = one.frame
        return add._added(store.append(coming.frames, take_changes=take_changes, named=True), coming)

    with patch("trunkwatch.intake.enter.add_made", add_made), patch("trunkwatch.intake.correct.add_made", add_made):
        yield


class Shared:
    """What all devices have in common: the number of the next act."""

    def __init__(self) -> None:
        self.number = self.merges = 0

    def next(self):
        self.number += 1
        return self.number


class Device:
    """A vineyard, a clock, and the acts that are known."""

    def __init__(self, shared, clock, path=None) -> None:
        self.shared, (self.now, self.step) = shared, clock
        self.acts, self.path = frozenset(), path
        if path:
            start_file(path, BLOCK, 2, 6)
        self.where = path or Store.in_memory()

    def stored(self, table):
        if not self.path:
            return self.where.stored(table)
        with Store.open(self.path) as store:
            return store.stored(table)

    def frame(self, table):
        if not self.path:
            return self.where.frame(table)
        with Store.open(self.path) as store:
            return store.frame(table)

    def tick(self):
        self.now += self.step
        return self.now

    def name_of_value(self, act):
        """Return the id of an entry's values where several are under its id."""
        columns = {column.name: float("nan") if column.is_number else "" for column in TABLES[act.table].columns}
        cells = {name: float(value) if name in NUMBERS else value for name, value in act.cells}
        owner = {"block": "B", "vineyard": "V"}
        return as_correction(act.table, {**columns, **owner, **cells, "id": act.root})["id"]

    def written(self, table, name, *, root="", cells=None, moment=None, takes_back=False, knew=()):
        """Take note of an act that was acknowledged; what was written must be what was meant."""
        kept = {str(one["id"]): one for one in records_of(self.stored(table))}
        expect(name in kept, "acknowledged, and not there", table, name)
        record = kept[name]
        expect(record["recorded_at"] == text_of(moment), "another moment", record["recorded_at"], text_of(moment))
        expect(cells_of(table, record) == cells, "other cells", record, cells)
        act = Act(
            self.shared.next(),
            table,
            root or name,
            name,
            cells,
            moment,
            takes_back,
            frozenset(one.number for one in knew),
        )
        self.acts |= {act}
        here = stands(self.acts, self.name_of_value).get((table, act.root))
        expect(here == (None if takes_back else act), "does not stand after it was acknowledged", act, here)
        self.compare()

    def enter(self, table, values, *, with_moment):
        """Enter a record; what was taken back or corrected away is entered anew."""
        moment = self.tick() if with_moment else 0
        cells = cells_of(table, values)
        before = stands(self.acts, self.name_of_value)
        key = key_of(table, cells)
        at_key = [act for act in before.values() if act.table == table and key_of(table, act.cells) == key]
        known = [
            act for act in self.acts if act.table == table and act.name == act.root and key_of(table, act.cells) == key
        ]
        told = enter_records(self.where, table, [{**values, "recorded_at": text_of(moment)}])
        if told.new.get(table):
            (name,) = told.ids
            expect(name not in {act.name for act in self.acts}, "entered under the id of another record", name)
            if not moment and known:  # entered anew, on the clock of this machine
                moment = self.moment_in_store(table, name)
            self.written(table, name, cells=cells, moment=moment)
            return
        # Nothing was written: the record is there, as it is or with other values, or the same entry was sent before.
        sent = moment and any(act.moment == moment for act in known)
        expect(at_key or sent, "an entry was not taken, and nothing stands in its place", table, cells)
        self.compare()

    def moment_in_store(self, table, name):
        (told,) = (one["recorded_at"] for one in records_of(self.stored(table)) if one["id"] == name)
        return round(dt.datetime.fromisoformat(told).timestamp() * 1000)

    def standing_records(self, table):
        return sorted(self.frame(table)["id"].tolist())

    def change(self, table, pick, **changes):
        """Correct a record that stands, take it back (no changes), or untick it (`again`)."""
        names = self.standing_records(table)
        if not names:
            return
        name = names[pick % len(names)]
        ((key, before),) = (
            (key, act) for key, act in stands(self.acts, self.name_of_value).items() if self.id_of(act) == name
        )
        family, now = acts_of(self.acts, *key), self.tick()
        again = changes.pop("again", False)
        if again:
            done = plan_again(self.where, name, now=text_of(now))
            cells = (
                before.cells
                if dict(before.cells)["status"] == "planned"
                else last_planned(family, before, self.name_of_value)
            )
        else:
            done = correct_record(self.where, table, name, changes, void=not changes, now=text_of(now))
            cells = tuple((column, changes.get(column, value)) for column, value in before.cells)
        if not done.added.new.get(table):
            expect(cells == before.cells, "not written", name, changes)
            expect(done.id == name, "another record is said to stand", done.id, name)
            self.compare()
            return
        new = done.id or (set(self.stored(table)["id"]) - {act.name for act in self.acts} - self.values_ids()).pop()
        self.written(
            table,
            new,
            root=key[1],
            cells=cells,
            moment=moment_after(family, now),
            takes_back=not changes and not again,
            knew=family,
        )

    def values_ids(self):
        return {self.name_of_value(act) for act in self.acts if act.name == act.root}

    def id_of(self, act):
        """Return the id under which an act stands."""
        entries = {one.cells for one in acts_of(self.acts, act.table, act.root) if one.name == one.root}
        return self.name_of_value(act) if act.name == act.root and len(entries) > 1 else act.name

    def merge(self, other):
        self.shared.merges += 1
        if self.path:
            merge_file(self.path, other.path)
        else:
            self.where.merge({table: other.where.stored(table) for table in SAID})
        self.acts |= other.acts
        self.compare()

    def compare(self):
        """The device says what the model says."""
        own = stands(self.acts, self.name_of_value)
        for table in SAID:
            meant = sorted((self.id_of(act), act.cells) for key, act in own.items() if key[0] == table)
            found = sorted((str(one["id"]), cells_of(table, one)) for one in records_of(self.frame(table)))
            expect(found == meant, "stands", table, found, "model", meant)

    def everything(self):
        return {
            table: self.stored(table).sort_values("id").drop(columns="read_from").reset_index(drop=True)
            for table in SAID
        }


#: Steps that change a record that stands, and the table it is in; where none stands one is entered.
CHANGES = {
    "correct": "symptoms",
    "move": "symptoms",
    "undo": "symptoms",
    "change work": "work",
    "tick": "work",
    "untick": "work",
}


def _step(devices, step):
    who, what, pick, value = step
    device, position, number = devices[who % 3], str(1 + pick % 2), 10 + 10 * (value % 3)
    if what in CHANGES and not device.standing_records(CHANGES[what]):
        what = "enter" if CHANGES[what] == "symptoms" else "plan"
    match what:
        case "enter":
            device.enter("symptoms", {**FINDING, "position": position, "percent": float(number)}, with_moment=value < 9)
        case "correct":
            device.change("symptoms", pick, percent=str(number))
        case "move":
            device.change("symptoms", pick, position=str(1 + value % 2))
        case "undo":
            device.change("symptoms", pick)
        case "plan":
            device.enter(
                "work", {**WORK, "position": position, "status": "planned", "hours": float(number)}, with_moment=True
            )
        case "change work":
            device.change("work", pick, hours=str(number))
        case "tick":
            device.change("work", pick, status="done")
        case "untick":
            device.change("work", pick, again=True)
        case _:
            device.merge(devices[(who + 1 + value % 2) % 3])


WHAT = ("enter", "correct", "move", "undo", "plan", "change work", "tick", "untick", "merge")


def play(clocks, steps, folder: Path | None = None):
    """Let three devices take some steps and merge; raise `DifferenceError` where one of them does not say what it must.

    Returns
    -------
    Shared
        How many acts and merges there were.
    """
    shared = Shared()
    devices = [
        Device(shared, CLOCKS[clock], folder / f"{number}.gpkg" if folder else None)
        for number, clock in enumerate(clocks)
    ]
    for step in steps:
        _step(devices, step)
    for who, other in ((0, 1), (2, 0), (0, 2), (1, 2)):  # everybody has heard of everybody
        devices[who].merge(devices[other])
    first = devices[0].everything()
    for device in devices:
        expect(device.acts == devices[0].acts, "acts")
        for table, frame in device.everything().items():
            expect(frame.equals(first[table]), "two devices keep different records", table, frame, first[table])
        expect(not outweighed(device.acts, device.name_of_value), "an act counts that another knew of")
    before = devices[0].everything()
    devices[0].merge(devices[2])
    for table, frame in devices[0].everything().items():
        expect(frame.equals(before[table]), "merging again changed something", table)
    return shared

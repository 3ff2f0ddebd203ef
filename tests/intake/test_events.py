"""trunkwatch.intake: add, enter, correct, ticks, rename, check_clock; trunkwatch.cli: superseded; trunkwatch.store: again.

What was written last by somebody who knew what stood stands: on every road, on every clock.
"""

import json
from concurrent.futures import ThreadPoolExecutor

import pytest
from click.testing import CliRunner

from trunkwatch.block.opening import open_vineyard
from trunkwatch.cli import main
from trunkwatch.intake import (
    add_records,
    check_vineyard,
    correct_record,
    enter_records,
    merge_file,
    start_file,
    start_folder,
)
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.correct import plan_again
from trunkwatch.intake.rename import bring_back, rename_block, take_back
from trunkwatch.intake.winter_work import BlockPlan, write_winter_work
from trunkwatch.spreadsheets.write import write_folder
from trunkwatch.store.again import said
from trunkwatch.vineyard import records
from trunkwatch.vineyard.records import later_than, new_id
from trunkwatch.web.app import create_app

HOST = "127.0.0.1:8321"
BLOCK = {"block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5}
FINDING = {"block": "B", "row": "7", "position": "3", "date": "2026-02-03", "symptom": "dead_arm", "arm": "start"}
CUT = {"block": "B", "row": "2", "position": "3", "date": "2027-02-01", "kind": "renew_arm", "status": "planned"}
BEHIND, AHEAD = "2016-11-26T10:00:00.000+00:00", "2999-01-01T10:00:00.000+00:00"


class Road:
    """One way of writing into one kind of vineyard."""

    def __init__(self, how, path) -> None:
        self.how, self.path = how, path
        self.client = create_app(path, hosts=frozenset({HOST})).test_client() if how == "desk" else None

    def run(self, *words, code=0):
        done = CliRunner().invoke(main, [str(word) for word in words])
        assert done.exit_code == code, done.output
        return done

    def post(self, where, code=200, **told):
        answer = self.client.post(where, json=told, headers={"Host": HOST, "Origin": f"http://{HOST}"})
        assert answer.status_code == code, answer.get_json()
        return answer.get_json()

    def enter(self, **cells):
        """Enter a finding, and tell how many were new."""
        record = {**FINDING, **cells}
        if self.how == "desk":
            return self.post("/api/log", table="symptoms", records=[record])["new"]
        if self.how == "calls":
            return enter_records(self.path, "symptoms", [record]).new.get("symptoms", 0)
        options = [word for name, value in record.items() for word in (f"--{name.replace('_', '-')}", value)]
        return int(self.run("log", self.path, "finding", *options).stdout.split()[0])

    def correct(self, name, *, void=False, table="symptoms", **cells):
        """Correct a record, and return the id of what stands."""
        if self.how == "desk":
            stands = self.post("/api/correct", table=table, id=name, changes=cells, void=void)["stands"]
            return stands["id"] if stands else ""
        if self.how == "calls":
            return correct_record(self.path, table, name, cells, void=void).id
        change = [word for column, value in cells.items() for word in ("--set", f"{column}={value}")]
        done = self.run("log", self.path, "correct", "--table", table, "--record", name, *change, *["--void"] * void)
        return "" if void else done.stdout.split("stands now: ")[1].split(":")[0]

    def stand(self, table="symptoms", columns=("position", "percent")):
        with open_vineyard(self.path) as store:
            return sorted(store.frame(table)[list(columns)].fillna(-1).to_numpy().tolist())

    def id(self, table="symptoms", position="3"):
        with open_vineyard(self.path) as store:
            frame = store.frame(table)
        (name,) = frame.loc[frame["position"] == position, "id"]
        return name


def vineyard(where, tmp_path):
    if where == "folder":
        start_folder(tmp_path / "v", BLOCK, 8, 10)
        return tmp_path / "v"
    return start_file(tmp_path / "v.gpkg", BLOCK, 8, 10)[0]


@pytest.fixture(params=["calls folder", "calls file", "command folder", "command file", "desk file"])
def road(request, tmp_path):
    how, where = request.param.split()
    return Road(how, vineyard(where, tmp_path))


@pytest.fixture(params=["folder", "file"])
def path(request, tmp_path):
    return vineyard(request.param, tmp_path)


@pytest.fixture
def still(monkeypatch):
    """Let every clock stand still."""

    def at(moment):
        for module in (
            "vineyard.records",
            "intake.enter",
            "intake.correct",
            "intake.winter_work",
            "intake.rename",
            "store.store",
            "web.writing",
        ):
            monkeypatch.setattr(f"trunkwatch.{module}.now_text", lambda: moment)

    return at


# ---- Entered, corrected, entered anew ----------------------------------------------------------------------------
def test_what_was_corrected_away_and_is_found_after_all_is_an_entry_of_its_own(road):
    assert road.enter(percent=60) == 1
    road.correct(road.id(), position="4")
    assert road.enter(percent=60) == 1
    assert road.stand() == [["3", 60.0], ["4", 60.0]]
    assert road.enter(percent=60) == 0
    road.correct(road.id(), void=True)
    assert road.stand() == [["4", 60.0]]
    assert road.enter(percent=60) == 1
    assert road.stand() == [["3", 60.0], ["4", 60.0]]


@pytest.mark.parametrize("moment", ["", BEHIND, AHEAD])
def test_there_and_back_by_corrections_the_last_stands(road, still, moment):
    if moment:
        still(moment)
    road.enter(percent=10)
    for percent in (20, 10, 20, 10, 20, 30, 10):
        road.correct(road.id(), percent=str(percent))
        assert road.stand() == [["3", float(percent)]]


@pytest.mark.long
@pytest.mark.parametrize("moment", ["2026-11-26T10:00:00.123+00:00", BEHIND])
def test_of_two_corrections_in_one_moment_the_later_stands_always(path, still, moment):
    still(moment)
    for vine in ("1", "2"):  # ids are as if by chance: of ties the larger would stand, in half of the cases the earlier
        (name,) = enter_records(path, "symptoms", [{**FINDING, "position": vine}]).ids
        for percent in range(10, 21):
            name = correct_record(path, "symptoms", name, {"percent": str(percent)}).id
            with open_vineyard(path) as store:
                frame = store.frame("symptoms")
            assert frame.loc[frame["position"] == vine, "percent"].tolist() == [percent]


# ---- Loaded ------------------------------------------------------------------------------------------------------
def sheet(tmp_path, percent, *, moment=""):
    notes = tmp_path / "symptoms.csv"
    notes.write_text(
        "block,row,position,date,symptom,arm,percent,recorded_at\n"
        f"B,7,3,2026-02-03,dead_arm,start,{percent},{moment}\nB,7,4,2026-02-03,dead_arm,start,50,{moment}\n"
    )
    return notes


@pytest.mark.parametrize("moment", ["", "2026-02-04", BEHIND, AHEAD])
def test_there_and_back_by_a_file_the_last_stands(path, tmp_path, moment):
    road = Road("command", path)
    for number, percent in enumerate((10, 20, 10, 20, 10)):
        told = road.run("load", path, sheet(tmp_path, percent, moment=moment), "--take-changes")
        assert road.stand() == [["3", float(percent)], ["4", 50.0]]
        if number:
            before = 30 - percent
            assert f"taken as a correction: percent: {before} -> {percent}" in told.stderr
            assert "not imported" not in told.stderr
        with open_vineyard(path) as store:
            many = len(store.stored("symptoms"))
        again = road.run("load", path, sheet(tmp_path, percent, moment=moment), "--take-changes")
        assert again.stdout == "symptoms: 0 added, 2 already recorded\n"
        assert "correct" not in again.stderr
        with open_vineyard(path) as store:
            assert len(store.stored("symptoms")) == many


def test_what_was_corrected_since_a_file_was_loaded_is_said_and_stays(path, tmp_path):
    road = Road("command", path)
    road.run("load", path, sheet(tmp_path, 10))
    road.correct(road.id(), percent="20")
    for words in (["load", path, sheet(tmp_path, 10)], ["log", path, "finding", "--file", sheet(tmp_path, 10)]):
        told = road.run(*words)
        assert "0 added, 2 already recorded" in told.stdout
        assert "corrected since; what stands now: percent 20 (came in as 10)" in told.stderr
        assert road.stand() == [["3", 20.0], ["4", 50.0]]
    told = road.run("load", path, sheet(tmp_path, 30))
    assert "different from the existing record, not imported: percent: 20 -> 30" in told.stderr
    road.correct(road.id(), void=True)
    for change in (10, 30):
        told = road.run("load", path, sheet(tmp_path, change), "--take-changes")
        assert "taken back since, and not brought back" in told.stderr
        assert road.stand() == [["4", 50.0]]


def test_a_file_with_its_own_corrections_takes_back_none_of_them(path, tmp_path):
    """An export holds the first version and what corrects it: the first one is what was said before."""
    (first,) = enter_records(path, "symptoms", [{**FINDING, "percent": 10.0}]).ids
    correct_record(path, "symptoms", first, {"percent": "20"})
    out = tmp_path / "out"
    road = Road("command", path)
    with open_vineyard(path) as store:
        write_folder(out, {"symptoms": store.frame("symptoms", all_versions=True)})
    told = road.run("load", path, out, "--take-changes")
    assert told.stdout == "symptoms: 0 added, 2 already recorded\n"
    assert road.stand() == [["3", 20.0]]


def test_a_page_that_sends_again_what_was_corrected_since_is_told_what_stands(tmp_path):
    road = Road("desk", vineyard("file", tmp_path))
    sent = {**FINDING, "percent": "60", "recorded_at": "2026-11-26T10:00:00.123Z"}
    assert road.post("/api/log", table="symptoms", records=[sent])["superseded"] == []
    name = road.correct(road.id(), position="4")
    told = road.post("/api/log", table="symptoms", records=[sent])
    assert (told["new"], told["same"]) == (0, 1)
    assert told["superseded"][0]["stands"] == {"position": "4"}
    road.correct(name, void=True)
    told = road.post("/api/log", table="symptoms", records=[sent])
    assert told["superseded"][0]["stands"] is None


# ---- Ticks -------------------------------------------------------------------------------------------------------
def planned(path):
    write_winter_work(path, [BlockPlan("B", 2027, [CUT])])
    with open_vineyard(path) as store:
        (root,) = store.frame("work")["id"]
    return root


def status(road):
    return [cells[0] for cells in road.stand("work", ("status",))]


@pytest.mark.parametrize("moment", ["", BEHIND, AHEAD])
def test_ticked_unticked_ticked_is_done(road, still, moment):
    planned(road.path)
    if moment:
        still(moment)
    for _ in range(3):
        road.correct(road.id("work"), table="work", status="done", date="2026-11-20")
        assert status(road) == ["done"]
        if road.how == "desk":
            assert road.post("/api/planned-again", id=road.id("work"))["stands"]
        else:
            plan_again(road.path, road.id("work"))
        assert status(road) == ["planned"]
    road.correct(road.id("work"), table="work", status="done", date="2026-11-20")
    assert status(road) == ["done"]


def test_a_crew_list_that_is_loaded_ticked_unticked_ticked_is_done(path, tmp_path):
    root, road = planned(path), Road("command", path)
    listed = tmp_path / "work.csv"
    for number, word in enumerate(("done", "planned", "done", "planned", "done")):
        listed.write_text(
            "block,row,position,date,kind,status,corrects\n"
            f"B,2,3,{'2026-11-20' if word == 'done' else '2027-02-01'},renew_arm,{word},{root}\n"
        )
        if number > 1:
            told = road.run("load", path, listed)
            assert "corrected since; what stands now" in told.stderr
            assert status(road) != [word]
        road.run("load", path, listed, "--take-changes")
        assert status(road) == [word]
        assert road.run("load", path, listed).stdout == "work: 0 added, 1 already recorded\n"


@pytest.mark.long
@pytest.mark.parametrize("how", ["file", "desk"])
@pytest.mark.parametrize("moment", ["2026-11-26T10:00:00.123Z", BEHIND])
def test_a_phone_that_ticks_unticks_and_ticks_with_a_clock_that_stands_still(tmp_path, how, moment):
    path = vineyard("file", tmp_path)
    root, road = planned(path), Road("desk", path)
    # Ids in falling order: of ties the larger id would stand, the first.
    tick = [
        {
            **CUT,
            "id": f"{9 - n}",
            "corrects": root,
            "device": "p1",
            "recorded_at": moment,
            "status": word,
            "date": "2026-11-20" if word == "done" else CUT["date"],
        }
        for n, word in enumerate(("done", "planned", "done"))
    ]
    for upto, word in ((1, "done"), (2, "planned"), (3, "done"), (3, "done")):
        told = {
            "trunkwatch_handover": 1,
            "vineyard": "x",
            "block": "B",
            "season": 2027,
            "device": "p1",
            "work": tick[:upto],
        }
        if how == "desk":
            assert road.post("/api/field/B/sync", **told)["superseded"] == []
        else:
            (tmp_path / "p.json").write_text(json.dumps(told))
            bring_files(path, tmp_path / "p.json")
        assert status(road) == [word]
    correct_record(path, "work", road.id("work"), {"status": "dropped"})
    if how == "desk":
        (told,) = road.post("/api/field/B/sync", **told)["superseded"]
        assert told["stands"]["status"] == "dropped"
    assert status(road) == ["dropped"]


# ---- At once -----------------------------------------------------------------------------------------------------
def test_of_twenty_corrections_at_once_each_answer_is_true(tmp_path):
    road = Road("desk", vineyard("file", tmp_path))
    road.enter(percent=99)
    first = road.id()
    # Made before: several threads that compile the routes of an app at once upset Python 3.11 now and then.
    clients = [create_app(road.path, hosts=frozenset({HOST})).test_client() for _ in range(20)]

    def ask(number):
        client = clients[number - 1]
        told = {"table": "symptoms", "id": first, "changes": {"percent": str(number)}}
        answer = client.post("/api/correct", json=told, headers={"Host": HOST, "Origin": f"http://{HOST}"})
        return number, answer.status_code, answer.get_json()

    with ThreadPoolExecutor(20) as pool:
        answers = list(pool.map(ask, range(1, 21)))
    written = [(number, told) for number, code, told in answers if code == 200]
    refused = [told for _, code, told in answers if code == 409]
    assert (len(written), len(refused)) == (1, 19)
    ((number, told),) = written
    assert road.stand() == [["3", float(number)]]
    assert told["stands"]["id"] == road.id()
    for other in refused:
        assert other["stands"] == told["stands"]
        assert f"percent {number}" in other["error"]


def test_of_twenty_at_once_who_asks_again_with_what_stands_is_written(tmp_path):
    road = Road("desk", vineyard("file", tmp_path))
    road.enter(percent=99)
    first, order = road.id(), []

    clients = [create_app(road.path, hosts=frozenset({HOST})).test_client() for _ in range(6)]

    def insist(number):
        client, name = clients[number - 1], first
        while True:
            told = {"table": "symptoms", "id": name, "changes": {"percent": str(number)}}
            answer = client.post("/api/correct", json=told, headers={"Host": HOST, "Origin": f"http://{HOST}"})
            name = answer.get_json()["stands"]["id"]
            if answer.status_code == 200:
                return name
            assert answer.status_code == 409

    with ThreadPoolExecutor(6) as pool:
        order = list(pool.map(insist, range(1, 7)))
    with open_vineyard(road.path) as store:
        frame = store.frame("symptoms", all_versions=True)
    assert set(order) <= set(frame["id"])
    assert len(frame) == 7
    moments = frame["recorded_at"].tolist()
    assert moments == sorted(set(moments))  # each knew of all before it
    assert road.id() == frame["id"].iloc[-1]


# ---- Clocks ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("written", ["2999-01-01", AHEAD, "2999-01-01T10:00Z"])
def test_a_clock_ten_years_behind_corrects_and_undoes_what_was_written_in_2999(road, still, written):
    road.enter(percent=60, recorded_at=written)
    still(BEHIND)
    name = road.correct(road.id(), percent="70")
    assert road.stand() == [["3", 70.0]]
    add_records(road.path, "symptoms", [{**FINDING, "percent": 80.0, "corrects": name, "recorded_at": "2999-06-01"}])
    assert road.stand() == [["3", 80.0]]
    road.correct(road.id(), percent="90")
    assert road.stand() == [["3", 90.0]]
    road.correct(road.id(), void=True)
    assert road.stand() == []
    assert road.enter(percent=60) == 1
    assert road.stand() == [["3", 60.0]]


def test_an_original_of_2999_does_not_outweigh_its_correction(path):
    """Also a correction by somebody whose file does not say when it was written."""
    (name,) = enter_records(path, "symptoms", [{**FINDING, "percent": 60.0, "recorded_at": AHEAD}]).ids
    for moment, percent in (("2026-11-26", 70.0), ("", 80.0)):
        add_records(path, "symptoms", [{**FINDING, "percent": percent, "corrects": name, "recorded_at": moment}])
        assert Road("calls", path).stand() == [["3", percent]]


def test_the_clock_steps_by_a_thousandth_of_a_second():
    assert later_than([AHEAD], BEHIND) == "2999-01-01T10:00:00.001+00:00"
    assert later_than(["2999-01-01T10:00:00Z"], BEHIND) == "2999-01-01T10:00:01.000+00:00"
    assert later_than(["2999-01-01T10:00Z"], BEHIND) == "2999-01-01T10:01:00.000+00:00"
    moment = AHEAD
    for _ in range(20):
        moment, last = later_than([moment], BEHIND), moment
        assert last < moment < "2999-01-01T10:00:01"
    assert new_id("symptoms", {**FINDING, "recorded_at": moment}, ()) != new_id(
        "symptoms", {**FINDING, "recorded_at": last}, ()
    )
    assert not {"id", "corrects", "recorded_at", "device", "read_from"} & set(said("symptoms"))
    assert records.now_text() < AHEAD


@pytest.mark.long
@pytest.mark.parametrize("ahead", [AHEAD, "2999-01-01"])
def test_a_clock_that_is_ahead_is_noted(tmp_path, ahead):
    road = Road("command", vineyard("file", tmp_path))
    told = road.run("load", road.path, sheet(tmp_path, 10, moment=ahead))
    assert "the clock of that device is ahead" in told.stderr
    assert road.stand() == [["3", 10.0], ["4", 50.0]]
    assert any("the clock of that device is ahead" in str(one) for one in check_vineyard(road.path))
    start_file(tmp_path / "o.gpkg", BLOCK, 8, 10)
    merged = merge_file(tmp_path / "o.gpkg", road.path)
    (note,) = merged.notes
    assert "2 records of symptoms were written down after today" in str(note)
    assert note.weight == "note"
    assert len(merge_file(road.path, tmp_path / "o.gpkg").notes) == 1
    assert merge_file(tmp_path / "o.gpkg", start_file(tmp_path / "new.gpkg", BLOCK, 8, 10)[0]).notes == ()


@pytest.mark.parametrize("moment", [BEHIND, "2026-11-26T10:00:00.123+00:00"])
def test_a_block_is_renamed_taken_back_and_brought_back_on_any_clock(path, still, moment):
    enter_records(path, "symptoms", [{**FINDING, "percent": 60.0, "recorded_at": AHEAD}])
    for label in ("Top", "Low"):
        rename_block(path, "B", label=label)
    for _ in range(2):
        rename_block(path, "Low", label="Top")
        rename_block(path, "Top", label="Low")
    still(moment)
    rename_block(path, "Low", label="Hill", vineyard="Ridge")
    with open_vineyard(path) as store:
        assert store.blocks() == ("Hill",)
    for _ in range(2):
        take_back(path, "Hill", with_records=True)
        with open_vineyard(path) as store:
            assert (store.blocks(), len(store.frame("symptoms"))) == ((), 0)
        bring_back(path, "Hill")
        with open_vineyard(path) as store:
            assert (store.blocks(), len(store.frame("symptoms", "Hill"))) == (("Hill",), 1)

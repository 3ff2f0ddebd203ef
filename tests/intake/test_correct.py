"""trunkwatch.intake: correct, enter, typed; one road for corrections and for records entered again, in a folder and in a file."""

import pandas as pd
import pytest
from click.testing import CliRunner

from trunkwatch.block.opening import open_vineyard
from trunkwatch.block.vine_records import vine_records
from trunkwatch.cli import main
from trunkwatch.errors import FaultyNotesError, RecordError
from trunkwatch.intake import add_records, correct_record, enter_records, start_file, start_folder
from trunkwatch.intake.correct import plan_again
from trunkwatch.intake.typed import read_typed
from trunkwatch.vineyard.records import family_of, later_than, new_id
from trunkwatch.web.app import create_app

FINDING = {
    "block": "B",
    "row": "3",
    "position": "7",
    "date": "2026-02-03",
    "symptom": "dead_arm",
    "arm": "start",
    "percent": 60.0,
}
HOST = "127.0.0.1:8321"


@pytest.fixture(params=["folder", "file"])
def vines(request, tmp_path):
    block = {"block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5}
    if request.param == "folder":
        start_folder(tmp_path / "v", block, 3, 10)
        return tmp_path / "v"
    return start_file(tmp_path / "v.gpkg", block, 3, 10)[0]


def standing(path, table="symptoms", columns=("position", "percent")):
    with open_vineyard(path) as store:
        return sorted(store.frame(table)[list(columns)].to_numpy().tolist())


def versions(path, table="symptoms"):
    with open_vineyard(path) as store:
        return store.frame(table, all_versions=True)


def logged(path, table="symptoms", record=FINDING):
    """Add a record and return its id."""
    return enter_records(path, table, [record]).ids[0]


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


# ---- Correcting --------------------------------------------------------------------------------------------------
def test_a_correction_says_what_stands_now_and_is_about_the_original(vines):
    first = logged(vines)
    second = correct_record(vines, "symptoms", first, {"position": "8"})
    third = correct_record(vines, "symptoms", second.id, {"percent": "80 %"}, note="looked again")
    assert third.added.new == {"symptoms": 1}
    assert third.values.startswith("block B, row 3, position 8, date 2026-02-03, symptom dead_arm")
    assert "percent 80" in third.values
    assert "note looked again" in third.values
    assert standing(vines) == [["8", 80.0]]
    frame = versions(vines)
    assert frame["corrects"].tolist() == ["", first, first]
    assert frame.loc[frame["id"] == third.id, "percent"].tolist() == [80.0]


def test_a_stale_record_is_refused_and_what_stands_is_said(vines):
    first = logged(vines)
    second = correct_record(vines, "symptoms", first, {"position": "8"})
    with pytest.raises(
        RecordError, match=f"it was corrected since. What stands now is '{second.id}' .block B, row 3, position 8"
    ):
        correct_record(vines, "symptoms", first, {"percent": "70"})
    assert correct_record(vines, "symptoms", second.id, {}, void=True).id == ""
    for name in (first, second.id):
        with pytest.raises(RecordError, match="taken back since; log it again"):
            correct_record(vines, "symptoms", name, {"percent": "70"})
    with pytest.raises(RecordError, match="no record 'nothing' in symptoms"):
        correct_record(vines, "symptoms", "nothing", {})
    assert standing(vines) == []
    assert len(versions(vines)) == 3


def test_cells_of_a_correction_have_the_faults_of_notes_and_the_others_stay_as_they_are(vines):
    first = logged(vines, record={**FINDING, "percent": 0.5})
    with pytest.raises(FaultyNotesError, match="date is not in ISO form"):
        correct_record(vines, "symptoms", first, {"date": "3.2.2026"})
    with pytest.raises(FaultyNotesError, match="symptom is empty"):
        correct_record(vines, "symptoms", first, {"symptom": ""})
    with pytest.raises(FaultyNotesError, match="no such position"):
        correct_record(vines, "symptoms", first, {"position": "11"})
    for name in ("id", "corrects", "void", "recorded_at", "nothing"):
        with pytest.raises(RecordError, match=f"no column '{name}' to correct: one of block, vineyard, row, position"):
            correct_record(vines, "symptoms", first, {name: "x"})
    # Half a percent is unclear where it is typed; written once, it is not asked about again.
    correct_record(vines, "symptoms", first, {"position": "9"})
    assert standing(vines) == [["9", 0.5]]


def test_a_correction_that_changes_nothing_writes_nothing(vines):
    first = logged(vines)
    done = correct_record(vines, "symptoms", first, {"percent": "60"})
    assert (done.added.new, done.added.same, done.id) == ({"symptoms": 0}, {"symptoms": 1}, first)
    assert len(versions(vines)) == 1


def test_there_and_back_and_there_again_each_time_stands(vines):
    name = logged(vines)
    for position in ("8", "7", "8", "7", "8"):
        name = correct_record(vines, "symptoms", name, {"position": position}, now="2026-11-26T10:00:00.000+00:00").id
        assert standing(vines) == [[position, 60.0]]
    frame = versions(vines)
    assert frame["id"].is_unique
    assert len(frame) == 6


@pytest.mark.parametrize(
    "ahead",
    ["2099-01-01", "2099-01-01T10:00:00Z", "2099-01-01T10:00:00.500Z", "2099-01-01T12:00:00+05:00", "yesterday"],
)
def test_a_clock_that_was_ahead_does_not_make_a_correction_vanish(vines, ahead):
    name = logged(vines)
    root = name
    add_records(vines, "symptoms", [{**FINDING, "percent": 70.0, "corrects": root, "recorded_at": ahead}])
    (name,) = (one for one in versions(vines)["id"] if one != root)
    correct_record(vines, "symptoms", name, {"percent": "80"})
    assert standing(vines) == [["7", 80.0]]


@pytest.mark.parametrize(
    "last",
    [
        "",
        "2026-11-26",
        "2026-11-26T10:00:00Z",
        "2026-11-26T10:00:00.123Z",
        "2026-11-26T23:00:00+05:00",
        "9999-12-31",
        "so",
    ],
)
def test_a_moment_later_is_larger_as_text(last):
    now = "2026-11-26T10:00:00.122+00:00"
    assert later_than([last, ""], now) > last
    assert later_than([last], now) >= now or last == "so"


def test_a_record_moved_to_another_block_stands_there_alone(tmp_path):
    path = tmp_path / "v.gpkg"
    for label in ("B", "C"):
        start_file(path, {"block": label, "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5}, 3, 10)
    first = logged(path)
    second = correct_record(path, "symptoms", first, {"block": "C"})
    with open_vineyard(path) as store:
        assert {line.id: line.fate for line in vine_records(store, "B", "3", "7")} == {first: "corrected"}
        assert {line.id: line.fate for line in vine_records(store, "C", "3", "7")} == {second.id: "stands"}
    with open_vineyard(path) as store:
        assert [len(store.frame("symptoms", label)) for label in ("B", "C")] == [0, 1]
    correct_record(path, "symptoms", second.id, {"block": "B"})
    with open_vineyard(path) as store:
        assert [len(store.frame("symptoms", label)) for label in ("B", "C")] == [1, 0]


PLANNED = {
    "block": "B", "row": "2", "position": "4", "date": "2027-02-01", "kind": "renew_trunk", "status": "planned", "trunk": 1.0,
    "cut_height_cm": 35.0, "hours": 0.5, "note": "the trunk affected", "device": "plan",
}  # fmt: skip
WORK = ("date", "status", "cut_height_cm", "hours", "note", "device")


def test_a_tick_and_its_taking_back_and_the_tick_again(vines):
    """Three ticks on one day say the same each time: each of them stands when it is made."""
    name = logged(vines, "work", PLANNED)
    before = standing(vines, "work", WORK)
    for _ in range(3):
        done = correct_record(vines, "work", name, {"status": "done", "date": "2026-11-20", "hours": "0.2"})
        assert standing(vines, "work", WORK) == [["2026-11-20", "done", 35.0, 0.2, "the trunk affected", ""]]
        name = plan_again(vines, done.id).id
        assert standing(vines, "work", WORK) == before
    assert plan_again(vines, name).added.new == {"work": 0}
    with pytest.raises(RecordError, match="does not stand any more"):
        plan_again(vines, done.id)


def test_done_work_that_never_was_planned_keeps_its_day_when_it_is_planned(vines):
    name = logged(vines, "work", {**PLANNED, "status": "done", "date": "2026-03-01"})
    plan_again(vines, name)
    assert standing(vines, "work", WORK)[0][:2] == ["2026-03-01", "planned"]


def test_the_family_of_a_record_is_all_that_was_written_of_it():
    frame = pd.DataFrame(
        {"id": ["a", "b", "c", "x", "y"], "corrects": ["", "a", "b", "", "x"], "recorded_at": "", "void": ""}
    )
    for name in ("a", "b", "c"):
        root, family = family_of(frame, name)
        assert (root, family["id"].tolist()) == ("a", ["a", "b", "c"])
    assert family_of(frame, "y")[0] == "x"


# ---- Entering again ----------------------------------------------------------------------------------------------
def test_what_was_taken_back_and_is_entered_again_stands(vines):
    for _ in range(3):
        told = enter_records(vines, "symptoms", [FINDING])
        assert told.new == {"symptoms": 1}
        assert enter_records(vines, "symptoms", [FINDING]).same == {"symptoms": 1}
        assert standing(vines) == [["7", 60.0]]
        correct_record(vines, "symptoms", told.ids[0], {}, void=True)
        assert standing(vines) == []
    assert versions(vines)["id"].is_unique


def test_what_was_corrected_away_and_is_entered_again_stands_beside_the_correction(vines):
    moved = correct_record(vines, "symptoms", logged(vines), {"position": "8"})
    told = enter_records(vines, "symptoms", [FINDING])
    assert (told.new, told.changed) == ({"symptoms": 1}, ())
    assert standing(vines) == [["7", 60.0], ["8", 60.0]]
    again = enter_records(vines, "symptoms", [FINDING])
    assert (again.new.get("symptoms", 0), again.same["symptoms"], again.ids) == (0, 1, told.ids)
    assert moved.id not in told.ids


def test_a_record_corrected_in_place_is_known_with_other_values(vines):
    """The vine, the day and the symptom are those of the correction: it is one finding, not two."""
    now = correct_record(vines, "symptoms", logged(vines), {"percent": "80"})
    told = enter_records(vines, "symptoms", [FINDING])
    assert [(one.id, one.values) for one in told.changed] == [(now.id, {"percent": (80.0, 60.0)})]
    assert standing(vines) == [["7", 80.0]]
    taken = enter_records(vines, "symptoms", [FINDING], take_changes=True)
    assert taken.new.get("symptoms", 0) == 0
    assert standing(vines) == [["7", 60.0]]


def test_values_taken_on_request_stand_against_a_correction_of_the_same_moment(vines):
    """Nothing says when the line of a file was written: it is taken now, after what was corrected a moment ago."""
    first = logged(vines)
    for hand, taken in (("70", 80.0), ("75", 85.0)):
        (name,) = _ids_that_stand(vines)
        correct_record(vines, "symptoms", name, {"percent": hand})
        add_records(vines, "symptoms", [{**FINDING, "percent": taken}], take_changes=True)
        assert standing(vines) == [["7", taken]]
    add_records(vines, "symptoms", [{**FINDING, "percent": 90.0, "corrects": first, "recorded_at": "2099-01-01"}])
    add_records(vines, "symptoms", [{**FINDING, "percent": 95.0}], take_changes=True)
    assert standing(vines) == [["7", 95.0]]


def _ids_that_stand(path):
    with open_vineyard(path) as store:
        return store.frame("symptoms")["id"].tolist()


def test_a_file_loaded_again_brings_nothing_back(vines, tmp_path):
    notes = tmp_path / "symptoms.csv"
    notes.write_text("block,row,position,date,symptom,arm,percent\nB,3,7,2026-02-03,dead_arm,start,60\n")
    assert run("load", vines, notes).exit_code == 0
    (name,) = versions(vines)["id"]
    correct_record(vines, "symptoms", name, {}, void=True)
    for words in (["load", vines, notes], ["log", vines, "finding", "--file", notes]):
        assert run(*words).exit_code == 0
        assert standing(vines) == []
        assert len(versions(vines)) == 2


def test_an_entry_that_a_page_sends_again_is_not_entered_again(vines):
    """The same moment is the same entry; a later one is meant anew, after it was taken back twice as after once."""
    for hour in ("10", "11", "12"):
        sent = {**FINDING, "recorded_at": f"2026-11-26T{hour}:00:00.123Z"}
        told = enter_records(vines, "symptoms", [sent])
        assert told.new == {"symptoms": 1}
        assert standing(vines) == [["7", 60.0]]
        correct_record(vines, "symptoms", told.ids[0], {}, void=True)
        again = enter_records(vines, "symptoms", [sent])
        assert (again.new.get("symptoms", 0), again.same, again.ids) == (0, {"symptoms": 1}, told.ids)
        assert standing(vines) == []


def test_an_id_of_its_own_is_made_from_key_and_moment():
    told = {**FINDING, "recorded_at": "2026-11-26T10:00:00.123+00:00"}
    first = new_id("symptoms", told, ())
    assert new_id("symptoms", {**told, "percent": 5.0}, ()) == first
    assert new_id("symptoms", {**told, "recorded_at": "2026-11-26T10:00:00.124+00:00"}, ()) != first
    assert new_id("symptoms", told, {first}) not in (first, "")


def test_through_the_command(vines):
    words = [
        "log",
        vines,
        "finding",
        "--block",
        "B",
        "--row",
        3,
        "--position",
        7,
        "--date",
        "2026-02-03",
        "--symptom",
        "dead_arm",
        "--arm",
        "start",
        "--percent",
        60,
    ]
    correct = ["log", vines, "correct", "--record"]
    assert run(*words).stdout == "1 added\n"
    assert run(*words).stdout == "0 added, 1 already recorded\n"
    (name,) = versions(vines)["id"]
    assert run(*correct, name, "--void").stdout == "1 added\ntaken back: nothing stands in its place\n"
    for output in ("1 added\n", "0 added, 1 already recorded\n"):
        assert run(*words).stdout == output
    again = run(*correct, name, "--set", "position=8")
    assert again.exit_code == 1
    assert "taken back since" in again.stderr
    assert run(*correct, name, "--set", "recorded_at=2020-01-01").exit_code == 2
    (stands,) = enter_records(vines, "symptoms", [FINDING]).ids
    told = run(*correct, stands, "--set", "position=8")
    assert told.stdout.startswith("1 added\nstands now: ")
    assert "position 8" in told.stdout
    assert standing(vines) == [["8", 60.0]]
    assert run(*words).stdout == "1 added\n"
    assert standing(vines) == [["7", 60.0], ["8", 60.0]]
    other = run(*words[:-1], 70)
    assert "different from the existing record, not imported: percent: 60.0 -> 70.0 (--take-changes" in other.stderr
    taken = run(*words[:-1], 70, "--take-changes")
    assert "different from the existing record, taken as a correction: percent: 60.0 -> 70.0" in taken.stderr
    assert standing(vines) == [["7", 70.0], ["8", 60.0]]


@pytest.fixture
def desk(tmp_path):
    path = start_file(
        tmp_path / "d.gpkg",
        {"block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5},
        3,
        10,
    )[0]
    client = create_app(path, hosts=frozenset({HOST})).test_client()

    def post(where, **told):
        answer = client.post(where, json=told, headers={"Host": HOST, "Origin": f"http://{HOST}"})
        return answer.status_code, answer.get_json()

    return path, post


def test_through_the_desk(desk):
    path, post = desk
    finding = {**FINDING, "percent": "60"}
    for count in (1, 2):
        _, told = post(
            "/api/log", table="symptoms", records=[{**finding, "recorded_at": f"2026-11-26T10:00:0{count}.000Z"}]
        )
        assert (told["new"], told["same"]) == (1, 0)
        (name,) = told["ids"]
        assert post("/api/log", table="symptoms", records=[finding])[1]["same"] == 1
        assert post("/api/correct", table="symptoms", id=name, void=True)[1]["stands"] is None
        assert standing(path) == []
        status, told = post("/api/correct", table="symptoms", id=name, changes={"position": "8"})
        assert status == 409
        assert "taken back since" in told["error"]
    _, told = post("/api/log", table="symptoms", records=[finding])
    _, moved = post("/api/correct", table="symptoms", id=told["ids"][0], changes={"position": "8"})
    assert "position 8" in moved["stands"]["values"]
    assert post("/api/log", table="symptoms", records=[finding])[1]["new"] == 1
    assert standing(path) == [["7", 60.0], ["8", 60.0]]
    status, told = post("/api/correct", table="symptoms", id=told["ids"][0], changes={"position": "9"})
    assert status == 409
    assert f"What stands now is '{moved['stands']['id']}'" in told["error"]
    assert post("/api/correct", table="symptoms", id="x", changes={"void": "yes"})[0] == 400


def test_a_tick_on_the_desk_is_taken_back_to_what_was_planned(desk):
    path, post = desk
    _, told = post("/api/log", table="work", records=[PLANNED])
    done = {"status": "done", "date": "2026-11-20", "crew": "A", "hours": ""}
    for _ in range(2):
        _, ticked = post("/api/correct", table="work", id=told["ids"][0], changes=done)
        assert standing(path, "work", WORK)[0][:3] == ["2026-11-20", "done", 35.0]
        _, told = post("/api/planned-again", id=ticked["stands"]["id"])
        told["ids"] = [told["stands"]["id"]]
        assert standing(path, "work", (*WORK, "crew")) == [
            ["2027-02-01", "planned", 35.0, 0.5, "the trunk affected", "plan", ""]
        ]
    assert post("/api/planned-again", id=ticked["stands"]["id"])[0] == 409


def test_typed_cells_are_read_as_notes_are():
    told = read_typed("work", {"kind": "renew arm", "hours": "0,5", "row": 3}, ["kind", "hours", "row"])
    assert told == {"kind": "renew_arm", "hours": 0.5, "row": "3"}
    with pytest.raises(FaultyNotesError) as caught:
        read_typed("work", {"hours": "much", "kind": "cut"}, ["kind", "hours"])
    assert [(one.column, one.value) for one in caught.value.faults] == [("kind", "cut"), ("hours", "much")]

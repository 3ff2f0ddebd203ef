"""trunkwatch.intake: check_findings, handed_over, own; why work was not done and whether a wound was protected, on every road in and out."""

import json

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.errors import FileError
from trunkwatch.intake import add_records, check_vineyard, start_file
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.handed_over import block_mark
from trunkwatch.intake.own import not_own
from trunkwatch.spreadsheets.handover import handover_frames
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of
from trunkwatch.web.app import create_app

BLOCK = {
    "block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north",
}  # fmt: skip
PLAN = {
    "id": "p", "block": "B", "row": "1", "position": "3", "date": "2026-01-15", "kind": "renew_arm", "arm": "end", "status": "planned", "device": "desk; Ida",
}  # fmt: skip
GONE = {"id": "g1", "block": "B", "row": "1", "position": "3", "removed": "2026-01-20", "note": "found gone"}


@pytest.fixture
def vines(tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 2, 12)
    add_records(path, "work", [PLAN])
    return path


def run(*words, code=0):
    done = CliRunner().invoke(main, [str(word) for word in words], catch_exceptions=False)
    assert done.exit_code == code, done.output
    return done


def work(path):
    with Store.open(path) as store:
        return store.frame("work")[["status", "not_done", "wound_protected"]].to_numpy().tolist()


def test_desk_history_export_and_load_carry_both(vines, tmp_path):
    client = create_app(vines, hosts=frozenset({"localhost"})).test_client()
    (record,) = client.get("/api/block/B/vine/1/3").get_json()["records"]
    fields = {name: (label, value, choices) for name, label, value, choices in record["fields"]}
    assert fields["wound_protected"] == ("Wound protected", "", {"yes": "yes", "no": "no"})
    assert fields["not_done"][2]["vine_gone"] == "the vine is gone"
    assert fields["cut_height_cm"][0] == "Cut above ground, cm"
    changed = {
        "table": "work",
        "id": "p",
        "changes": {"status": "done", "wound_protected": "no", "cut_height_cm": "82"},
    }
    assert client.post("/api/correct", json=changed).status_code == 200
    told = json.loads(run("history", vines, "--block", "B", "--row", "1", "--position", "3", "--json").stdout)
    assert [one["text"] for one in told if one["fate"] == "stands"] == [
        "retrain the arm (end), cut at 82 cm, wound not protected"
    ]
    run(
        "log",
        vines,
        "work",
        "--block",
        "B",
        "--row",
        1,
        "--position",
        5,
        "--date",
        "2026-01-20",
        "--kind",
        "train",
        "--status",
        "dropped",
        "--not-done",
        "looks_sound",
    )
    for again in (tmp_path / "folder", tmp_path / "book.xlsx"):
        run("export", vines, again)
        file = tmp_path / f"{again.stem}.gpkg"
        run("load", file, again)
        assert sorted(work(file)) == [["done", "", "no"], ["dropped", "looks_sound", ""]]
    told = json.loads(run("history", vines, "--block", "B", "--row", "1", "--position", "5", "--json").stdout)
    assert told[0]["text"] == "train the new arm or trunk, dropped, not done: looks sound: no symptoms"


def test_the_desks_lists_say_what_was_not_done_and_why(vines):
    client = create_app(vines, hosts=frozenset({"localhost"})).test_client()
    page = client.get("/block/B/lists").get_data(as_text=True)
    assert "Not done, and why" not in page
    changed = {
        "table": "work",
        "id": "p",
        "changes": {"status": "dropped", "not_done": "vine_gone", "date": "2026-01-20"},
    }
    assert client.post("/api/correct", json=changed).status_code == 200
    page = client.get("/block/B/lists").get_data(as_text=True)
    table = page[page.index("Not done, and why") :]
    for words in ("retrain the arm", "the vine is gone", '<td data-head="position">3</td>'):
        assert words in table
    assert "retrain the arm" not in page[: page.index("Not done, and why")]


def test_a_phone_sends_a_vine_found_gone_to_the_desk(vines):
    client = create_app(vines, hosts=frozenset({"localhost"})).test_client()
    tick = {
        **PLAN,
        "id": "t1",
        "corrects": "p",
        "status": "dropped",
        "not_done": "vine_gone",
        "date": "2026-01-20",
        "device": "p1",
    }
    told = handover(vines, 3, work=[tick], plants=[GONE])
    for new in (2, 0):
        answer = client.post("/api/field/B/sync", json=told)
        assert (answer.status_code, answer.get_json()["new"]) == (200, new)
    assert work(vines) == [["dropped", "vine_gone", ""]]


@pytest.mark.parametrize(("status", "noted"), [("planned", True), ("done", True), ("dropped", False)])
def test_a_reason_on_work_that_was_not_dropped_is_noted_with_the_way_out(vines, status, noted):
    done = run(
        "log",
        vines,
        "work",
        "--block",
        "B",
        "--row",
        1,
        "--position",
        5,
        "--date",
        "2026-01-20",
        "--kind",
        "train",
        "--status",
        status,
        "--not-done",
        "other",
    )
    said = [fault for fault in check_vineyard(vines) if fault.column == "not_done"]
    assert [(fault.weight, fault.value) for fault in said] == ([("note", "other")] if noted else [])
    assert all("the status dropped" in fault.expected for fault in said)
    assert ("why work was not done" in done.output) is noted


def handover(path, version, **tables):
    with Store.open(path) as store:
        mark = block_mark(store, "B")
    return {
        "trunkwatch_handover": version,
        "vineyard": "x",
        "block": "B",
        "vineyard_name": "",
        "block_root": mark.root,
        "block_began": mark.began,
        "season": 2026,
        "device": "p1",
        "surveys": [],
        "symptoms": [],
        "work": [],
        **tables,
    }


def test_a_vine_found_gone_is_a_line_of_plants_once_and_can_be_taken_back(vines, tmp_path):
    file = tmp_path / "h.json"
    file.write_text(json.dumps(handover(vines, 3, plants=[{**GONE, "recorded_at": "2026-01-20T10:00:00.000Z"}])))
    for _ in range(2):
        bring_files(vines, file)
    with Store.open(vines) as store:
        assert store.frame("plants")[["row", "position", "removed", "reason"]].to_numpy().tolist() == [
            ["1", "3", "2026-01-20", ""]
        ]
    back = {**GONE, "id": "g2", "corrects": "g1", "void": "yes", "recorded_at": "2026-01-20T11:00:00.000Z"}
    file.write_text(json.dumps(handover(vines, 3, plants=[{**GONE, "recorded_at": "2026-01-20T10:00:00.000Z"}, back])))
    bring_files(vines, file)
    with Store.open(vines) as store:
        assert store.frame("plants").empty


def test_a_hand_over_of_a_form_that_is_not_known_yet_is_refused_and_names_the_way_out():
    with pytest.raises(FileError, match="update trunkwatch"):
        handover_frames({"trunkwatch_handover": 5}, "h.json")
    frames, faults = handover_frames({"trunkwatch_handover": 3, "plants": [{**GONE, "date": "2026-01-20"}]}, "h.json")
    assert (frames, [fault.column for fault in faults]) == ({}, ["date"])


@pytest.mark.parametrize(
    ("cells", "others"),
    [
        ({"status": "done"}, ""),
        ({"status": "dropped", "not_done": "no_shoot"}, ""),
        ({"status": "dropped"}, "p"),  # to drop what another planned needs the right to correct it
        ({"status": "done", "void": "yes"}, "p"),
    ],
)
def test_who_may_log_may_say_that_planned_work_was_not_done_and_why(vines, cells, others):
    tick = {**PLAN, "id": "t1", "corrects": "p", "device": "phone; Ana", **cells}
    assert not_own(vines, {"work": frame_of("work", [tick])}, "Ana") == others

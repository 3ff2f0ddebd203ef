"""trunkwatch.intake: check_findings; the quality of a shoot, and a shoot trained first, on every road in and out."""

import json

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.intake import check_vineyard, start_file
from trunkwatch.spreadsheets.handover import handover_frames
from trunkwatch.store import Store
from trunkwatch.web.app import create_app

BLOCK = {
    "block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north",
}  # fmt: skip
FINDING = {
    "block": "B",
    "row": "1",
    "position": "3",
    "date": "2026-01-20",
    "symptom": "dead_arm",
    "renewal_shoot": "trunk",
}


@pytest.fixture
def vines(tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 2, 12)
    return path


def run(*words, code=0):
    done = CliRunner().invoke(main, [str(word) for word in words], catch_exceptions=False)
    assert done.exit_code == code, done.output
    return done


def log(path, *more, noun="finding", position=3):
    words = ["--block", "B", "--row", "1", "--position", position, "--date", "2026-01-20"]
    return run("log", path, noun, *words, *more)


def qualities(path):
    with Store.open(path) as store:
        frame = store.frame("symptoms")
    return dict(zip(frame["position"], frame["shoot_quality"], strict=True))


def test_command_history_export_load_and_merging_carry_the_quality(vines, tmp_path):
    log(vines, "--symptom", "dead_arm", "--renewal-shoot", "trunk", "--shoot-quality", "unripe")
    history = json.loads(run("history", vines, "--block", "B", "--row", "1", "--position", "3", "--json").stdout)
    assert history[0]["text"] == "dead arm (cordon), young shoot from the trunk, shoot unripe (pale)"
    for again in (tmp_path / "folder", tmp_path / "book.xlsx"):
        run("export", vines, again)
        file = tmp_path / f"{again.stem}.gpkg"
        run("load", file, again)
        assert qualities(file) == {"3": "unripe"}
    log(
        tmp_path / "book.gpkg",
        "--symptom",
        "dead_arm",
        "--renewal-shoot",
        "trunk",
        "--shoot-quality",
        "good",
        position=4,
    )
    run("load", vines, tmp_path / "book.gpkg")
    assert qualities(vines) == {"3": "unripe", "4": "good"}
    done = run(
        "log",
        vines,
        "finding",
        "--block",
        "B",
        "--row",
        "1",
        "--position",
        "5",
        "--date",
        "2026-01-20",
        "--symptom",
        "dead_arm",
        "--renewal-shoot",
        "trunk",
        "--shoot-quality",
        "fine",
        code=1,
    )
    for word in ("fine", "good", "too_vigorous", "unripe", "thin"):
        assert word in done.output
    assert qualities(vines) == {"3": "unripe", "4": "good"}


def test_the_desk_takes_and_corrects_the_quality_and_its_form_offers_it(vines):
    client = create_app(vines, hosts=frozenset({"localhost"})).test_client()
    told = client.post(
        "/api/log", json={"table": "symptoms", "records": [{**FINDING, "shoot_quality": "thin"}]}
    ).get_json()
    assert qualities(vines) == {"3": "thin"}
    page = client.get("/block/B").get_data(as_text=True)
    assert '<select id="shoot_quality"' in page
    assert '<option value="good">good (pencil-thick, brown)</option>' in page
    (record,) = client.get("/api/block/B/vine/1/3").get_json()["records"]
    assert ["shoot_quality", "Quality of the shoot", "thin"] in [one[:3] for one in record["fields"]]
    changed = {"table": "symptoms", "id": told["ids"][0], "changes": {"shoot_quality": "good"}}
    assert client.post("/api/correct", json=changed).status_code == 200
    assert qualities(vines) == {"3": "good"}


def test_the_hand_over_of_an_older_phone_page_says_nothing_of_quality():
    old = {"trunkwatch_handover": 1, "surveys": [], "symptoms": [{**FINDING, "id": "p1"}], "work": []}
    new = {**old, "symptoms": [{**FINDING, "id": "p1", "shoot_quality": "thin"}]}
    for told, quality in ((old, ""), (new, "thin")):
        frames, faults = handover_frames(told, "h.json")
        assert faults == []
        assert frames["symptoms"]["shoot_quality"].tolist() == [quality]


@pytest.mark.parametrize(("shoot", "noted"), [("", True), ("none", True), ("trunk", False)])
def test_a_quality_without_a_shoot_is_noted_with_the_way_out(vines, shoot, noted):
    more = ["--renewal-shoot", shoot] if shoot else []
    done = log(vines, "--symptom", "dead_arm", "--shoot-quality", "thin", *more)
    said = [fault for fault in check_vineyard(vines) if fault.column == "shoot_quality"]
    assert [(fault.weight, fault.value) for fault in said] == ([("note", "thin")] if noted else [])
    assert all("renewal_shoot" in fault.expected for fault in said)
    assert ("no shoot to retrain" in done.output) is noted


def test_a_shoot_to_be_trained_first_is_planned_by_hand_listed_and_ticked(vines, tmp_path):
    log(vines, "--kind", "train_first", "--status", "planned", "--arm", "end", "--hours", "0.15", noun="work")
    page = tmp_path / "lists.html"
    run("sheet", vines, "--block", "B", "--paper", "lists", "--season", "2026", "--out", page)
    assert "<h1>Train first: block B, season 2026</h1>" in page.read_text("utf-8")
    client = create_app(vines, hosts=frozenset({"localhost"})).test_client()
    with Store.open(vines) as store:
        (name,) = store.frame("work")["id"]
    done = {"table": "work", "id": name, "changes": {"status": "done", "date": "2026-06-10", "crew": "A"}}
    assert client.post("/api/correct", json=done).status_code == 200
    history = json.loads(run("history", vines, "--block", "B", "--row", "1", "--position", "3", "--json").stdout)
    assert history[-1]["text"] == "train a shoot first, cut the old part next winter (end)"
    run("export", vines, tmp_path / "folder")
    assert "train_first" in (tmp_path / "folder" / "work.csv").read_text("utf-8-sig")

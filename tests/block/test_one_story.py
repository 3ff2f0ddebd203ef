"""trunkwatch.block: vine_now, opening; every road tells the same vine's story: folder, file, desk, phone, export.

One vine is written down in a hard way (counted from the far end of a row that was called otherwise, its share and shoot
told, looked at again), and each road must say the same of it.
"""

import json

import pytest
from click.testing import CliRunner

from trunkwatch.block import load, open_vineyard, vine_now, winter_list
from trunkwatch.cli import main
from trunkwatch.decide.outlook import VineyardSteps
from trunkwatch.decide.road import decide_on
from trunkwatch.sheets.crew_lists import crew_lines
from trunkwatch.sheets.field_page import field_data
from trunkwatch.spreadsheets.write import write_folder
from trunkwatch.surveys.to_walk import to_walk
from trunkwatch.vineyard.tables import frame_of
from trunkwatch.web.app import create_app

BLOCK = {"block": "A", "vineyard": "Gull Rise", "planted": 2000, "training": "bilateral", "hemisphere": "north",
         "row_spacing_m": 2.5, "vine_spacing_m": 1.5}  # fmt: skip
ROWS = [
    {"block": "A", "row": "old", "row_order": 1, "last": 12, "valid_to": "2024-12-31"},
    {"block": "A", "row": "1", "row_order": 1, "last": 12, "valid_from": "2025-01-01", "bay_ends": "4; 8; 12"},
    {"block": "A", "row": "2", "row_order": 2, "last": 12},
]
#: The vine is position 3 of row 1: the tenth from the far end of the row that was called "old".
FINDING = {"block": "A", "row": "old", "position": "10", "counted_from": "end", "date": "2024-02-10", "symptom": "dead_arm", "arm": "start",
           "percent": 60, "renewal_shoot": "trunk", "observer": "Ana"}  # fmt: skip
TABLES = {
    "blocks": [BLOCK],
    "rows": ROWS,
    "surveys": [
        {"survey": f"{look} {year}", "block": "A", "date": f"{year}-{day}", "look": look, "covered": f"{'old' if year < 2025 else '1'}; 2"}
        for year in (2023, 2024, 2025) for look, day in (("dormant", "02-10"), ("summer", "08-10"))
    ],
    "symptoms": [
        FINDING,
        *({"block": "A", "row": "2", "position": str(p), "date": f"{year}-08-10", "symptom": "leaf_stripe"} for p, year in ((4, 2023), (9, 2024), (11, 2025))),
    ],
    "work": [{"block": "A", "row": "1", "position": "3", "date": "2026-02-01", "kind": "renew_arm", "arm": "start", "status": "planned", "cut_height_cm": 45}],
}  # fmt: skip


@pytest.fixture
def folder(tmp_path):
    write_folder(tmp_path / "v", {name: frame_of(name, records) for name, records in TABLES.items()})
    return tmp_path / "v"


def run(*args):
    done = CliRunner().invoke(main, [str(arg) for arg in args], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done


def story(path):
    """What is said of the vine: report, plan, list for the crew, phone, history, rates."""
    with open_vineyard(path) as store:
        season = load(store, "A")
        cell = season.history.grid.cell("1", 3)
        now = vine_now(season, cell)
        (listed,) = [vine for vine in winter_list(season) if (vine.row, vine.position) == ("1", 3)]
        proposed = [w for w in decide_on(VineyardSteps(store), season).work if w.cell == cell]
        walk = to_walk(store, "A", 2025)
        lines = [line for found in crew_lines(walk.reading).values() for line in found if line.position == "3"]
        phone = field_data(walk, identity="x", look="dormant", language="en")
    (work,) = phone["work"]
    return {
        "now": (
            [(d.finding.symptom, d.finding.part.arm) for d in now.damages],
            now.percent,
            now.share,
            now.shoot,
            now.last_seen,
        ),
        "report": (listed.what, listed.percent, listed.last_seen, listed.shoot_at_hand),
        "plan": [(w.kind, w.arm, w.facts.percent, w.last_seen) for w in proposed],
        "crew": [(line.row, line.position, line.work.arm, line.cut, line.seen) for line in lines],
        "phone": (work["row"]["row"], work["row"]["position"], work["row"]["arm"], phone["rows"][0]["found"]["3"]),
        "condition": [int(value) for value in season.history.condition[:, cell[0], cell[1]]],
        "history": json.loads(run("history", path, "--block", "A", "--row", "1", "--position", "3", "--json").stdout)[
            0
        ]["text"],
    }


EXPECTED = {
    "now": ([("dead_arm", "start")], 60, 30.0, "trunk", "2024-02-10"),
    "report": ("dead arm (start)", 60, "2024-02-10", True),
    "plan": [("keep_shoot", "", 60, "2024-02-10"), ("renew_arm", "start", 60, "2024-02-10")],
    "crew": [("1", "3", "start", "45 cm", "2024-02-10")],
    "phone": ("1", "3", "start", ["dead_arm", "2024-02-10"]),
}


def test_every_road_tells_the_same_story(folder, tmp_path):
    told = story(folder)
    assert {name: told[name] for name in EXPECTED} == EXPECTED
    assert told["history"].startswith("dead arm (cordon) (start), 60 %, young shoot from the trunk, Ana")
    file, again, book = tmp_path / "v.gpkg", tmp_path / "again", tmp_path / "v.xlsx"
    run("load", file, folder)
    assert story(file) == told
    run("export", file, again)
    assert story(again) == told
    run("export", file, book)
    from_book = tmp_path / "book.gpkg"
    run("load", from_book, book)
    assert story(from_book) == told


def test_the_desk_shows_that_story(folder, tmp_path):
    told, file = story(folder), tmp_path / "v.gpkg"
    run("load", file, folder)
    client = create_app(file, hosts=frozenset({"localhost"})).test_client()
    records = client.get("/api/block/A/vine/1/3").get_json()["records"]
    assert [record["text"] for record in records if record["table"] == "symptoms"] == [told["history"]]
    drawn = client.get("/api/block/A").get_json()
    at = next(
        k
        for k, (row, position) in enumerate(zip(drawn["row"], drawn["position"], strict=True))
        if (drawn["labels"][row], position) == ("1", 3)
    )
    assert [int(season["condition"][at]) for season in drawn["seasons"] if season["season"] <= 2025] == told[
        "condition"
    ]
    lists = client.get("/block/A/lists").get_data(as_text=True)
    assert "45 cm" in lists
    assert "2024-02-10" in lists

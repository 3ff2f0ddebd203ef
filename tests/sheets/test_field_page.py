"""trunkwatch.sheets.field_page and field_words: what the phone knows of a block; the work it hands over."""

import re

import numpy as np
import pytest

from trunkwatch.block import load
from trunkwatch.history import Condition
from trunkwatch.maps.scripts import joined
from trunkwatch.sheets.crew_lists import standing_of
from trunkwatch.sheets.field_page import SCRIPTS, SHARED, field_data, field_page, script_of
from trunkwatch.sheets.field_words import LANGUAGES, words_of
from trunkwatch.sheets.second_look import SecondLook
from trunkwatch.spreadsheets.handover import handover_frames
from trunkwatch.store import Store
from trunkwatch.surveys.to_walk import to_walk
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.tables import frame_of


def data_of(store, block="B", season=2026):
    return field_data(to_walk(store, block, season), identity="v", look="summer", language="en")


@pytest.fixture
def store():
    """Two rows of six; row 1 looked at in 2024 and to position 3 in 2025, in winter and summer."""
    kept = Store.in_memory()
    looks = [("2024-01-20", "1"), ("2024-08-20", "1"), ("2025-01-20", "1:1..3"), ("2025-08-20", "1:1..3")]
    kept.append(
        {
            "blocks": frame_of(
                "blocks",
                [{"block": "B", "planted": 2000, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": 47.0}],
            ),
            "rows": frame_of(
                "rows",
                [
                    {"block": "B", "row": "1", "first": 1, "last": 6, "bay_ends": "4"},
                    {"block": "B", "row": "2", "first": 10, "last": 15},
                ],
            ),
            "plants": frame_of("plants", [{"block": "B", "row": "1", "position": "5", "reason": "missing"}]),
            "surveys": frame_of(
                "surveys", [{"block": "B", "date": date, "covered": covered} for date, covered in looks]
            ),
            "symptoms": frame_of(
                "symptoms",
                [
                    {"block": "B", "row": "1", "position": "2", "date": "2024-08-20", "symptom": "leaf_stripe"},
                    {
                        "block": "B",
                        "row": "1",
                        "position": "4",
                        "date": "2024-08-20",
                        "symptom": "dead_arm",
                        "arm": "end",
                    },
                    {"block": "B", "row": "2", "position": "12", "date": "2023-07-02", "symptom": "collapse"},
                    {"block": "B", "row": "2", "position": "13", "date": "2023-07-02", "symptom": "not_seen"},
                ],
            ),
            "work": frame_of(
                "work",
                [
                    {
                        "id": "p1",
                        "block": "B",
                        "row": "2",
                        "position": "12",
                        "date": "2025-12-01",
                        "kind": "renew_trunk",
                        "trunk": 2,
                        "status": "planned",
                        "observer": "X",
                    },
                    {
                        "id": "p2",
                        "block": "B",
                        "row": "1",
                        "bay": "1",
                        "vine": 4,
                        "date": "2025-12-01",
                        "kind": "renew_arm",
                        "arm": "end",
                        "status": "planned",
                    },
                    {
                        "id": "p3",
                        "block": "B",
                        "row": "1",
                        "position": "1",
                        "date": "2025-12-01",
                        "kind": "watch",
                        "status": "dropped",
                    },
                    {
                        "id": "p4",
                        "block": "B",
                        "row": "1",
                        "position": "1",
                        "date": "2025-12-01",
                        "kind": "train",
                        "status": "done",
                    },
                ],
            ),
        }
    )
    yield kept
    kept.close()


def test_each_row_says_which_way_its_positions_run():
    kept = Store.in_memory()
    kept.append(
        {
            "blocks": frame_of(
                "blocks",
                [{"block": "B", "planted": 2000, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": 47.0}],
            ),
            "rows": frame_of(
                "rows",
                [
                    {"block": "B", "row": str(n), "last": 6, "numbered_from": end}
                    for n, end in ((1, ""), (2, "end"), (3, ""))
                ],
            ),
        }
    )
    assert [row["back"] for row in data_of(kept)["rows"]] == [False, True, False]
    kept.close()


def test_work_is_listed_by_position_whichever_end_a_row_is_numbered_from():
    kept = Store.in_memory()
    kept.append(
        {
            "blocks": frame_of(
                "blocks",
                [{"block": "B", "planted": 2000, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": 47.0}],
            ),
            "rows": frame_of(
                "rows",
                [
                    {"block": "B", "row": str(n), "last": 6, "numbered_from": end}
                    for n, end in ((1, ""), (2, "end"), (3, ""))
                ],
            ),
            "work": frame_of(
                "work",
                [
                    {
                        "block": "B",
                        "row": row,
                        "position": position,
                        "date": "2025-12-01",
                        "kind": "replant",
                        "status": "planned",
                    }
                    for row in "321"
                    for position in "526"
                ],
            ),
        }
    )
    planned = [(plan["row"]["row"], plan["row"]["position"]) for plan in data_of(kept)["work"]]
    assert planned == [(row, position) for row in "123" for position in "256"]
    kept.close()


def test_last_known_is_that_of_the_last_counted_look(store):
    first, second = data_of(store)["rows"]
    assert (first["first"], first["last"], first["bay_ends"], first["missing"]) == (1, 6, [4, 6], [5])
    assert (second["label"], second["first"], second["last"], second["bay_ends"]) == ("2", 10, 15, [])
    # Position 2 showed in 2024 and not in 2025; 4 was last looked at in 2024; row 2 never.
    assert first["known_in"][:4] == [2025, 2025, 2025, 2024]
    names = [Condition(one) for one in first["known"][:4]]
    assert names == [Condition.SOUND, Condition.HIDDEN, Condition.SOUND, Condition.SHOWING]
    assert second["known_in"] == [0] * 6
    # The last finding is told even where no season counts; "could not be looked at" is none.
    assert first["found"] == {"2": ["leaf_stripe", "2024-08-20"], "4": ["dead_arm", "2024-08-20"]}
    assert second["found"] == {"12": ["collapse", "2023-07-02"]}


def test_what_is_known_is_of_the_vine_that_stands_now(store):
    """Of what was found on the vine before, after the season, or at a second look nothing is told."""

    def more(table, *records):
        store.append({table: frame_of(table, [{"block": "B", "row": "1", **record} for record in records])})

    assert data_of(store)["rows"][0]["known_in"][1] == 2025
    more(
        "work",
        {"position": "2", "date": "2025-09-10", "kind": "replant"},
        {"position": "4", "date": "2025-12-10", "kind": "remove"},
    )
    second = {"block": "B", "date": "2025-08-22", "covered": "1", "purpose": "recheck", "observer": "Oskar"}
    store.append({"surveys": frame_of("surveys", [second])})
    more("symptoms", {"position": "1", "date": "2025-08-22", "symptom": "canker", "observer": "Oskar"})
    more("symptoms", {"position": "6", "date": "2027-01-10", "symptom": "canker"})
    row, _ = data_of(store)["rows"]
    assert (row["known_in"][1], row["known"][1]) == (0, Condition.NOT_SEEN)
    assert (row["found"], row["missing"]) == ({}, [4, 5])
    assert data_of(store, season=2027)["rows"][0]["found"] == {"6": ["canker", "2027-01-10"]}


def test_planned_work_in_walking_order_with_positions_for_bays(store):
    work = data_of(store)["work"]
    assert [(one["list"], sorted(one["told"])) for one in work] == [("Cut", ["en", "es"])] * 2
    assert [{name: one[name] for name in ("root", "row")} for one in work] == [
        {
            "root": "p2",
            "row": {
                "block": "B",
                "row": "1",
                "position": "4",
                "date": "2025-12-01",
                "kind": "renew_arm",
                "status": "planned",
                "arm": "end",
            },
        },
        {
            "root": "p1",
            "row": {
                "block": "B",
                "row": "2",
                "position": "12",
                "date": "2025-12-01",
                "kind": "renew_trunk",
                "status": "planned",
                "trunk": 2,
            },
        },
    ]


def test_a_plan_that_was_corrected_is_ticked_under_its_first_id(store):
    changed = {
        "id": "p9",
        "corrects": "p1",
        "block": "B",
        "row": "2",
        "position": "12",
        "date": "2025-12-02",
        "kind": "renew_trunk",
        "trunk": 1,
        "status": "planned",
        "recorded_at": "2025-12-02T08:00:00.000Z",
    }
    store.append({"work": frame_of("work", [changed])})
    plan = data_of(store)["work"][1]
    assert (plan["root"], plan["row"]["trunk"]) == ("p1", 1)
    done = {
        **plan["row"],
        "id": "d1",
        "corrects": plan["root"],
        "status": "done",
        "recorded_at": "2026-01-05T08:00:00.000Z",
    }
    frames, faults = handover_frames({"trunkwatch_handover": 1, "work": [done]}, "p.json")
    assert faults == []
    for _ in range(2):
        store.append(frames)
    standing = store.frame("work")
    assert sorted(zip(standing["position"], standing["status"], strict=True)) == [
        ("", "planned"),
        ("1", "done"),
        ("1", "dropped"),
        ("12", "done"),
    ]
    assert [plan["root"] for plan in data_of(store)["work"]] == ["p2"]


def test_work_of_a_hand_over_is_read_cell_by_cell():
    plain = {"id": "w", "block": "B", "row": "1", "position": "2", "date": "2026-01-05", "kind": "renew_arm"}
    for change, column in (
        ({"kind": "burn"}, "kind"),
        ({"cut_height_cm": "high"}, "cut_height_cm"),
        ({"date": ""}, "date"),
        ({"id": ""}, "id"),
    ):
        frames, faults = handover_frames({"trunkwatch_handover": 1, "work": [{**plain, **change}]}, "p.json")
        assert (frames, [fault.column for fault in faults]) == ({}, [column])


def test_season_bounds_are_those_of_the_hemisphere(store):
    north = data_of(store)
    assert (north["season_from"], north["season_to"]) == ("2025-11-01", "2026-10-31")
    store.append(
        {
            "blocks": frame_of(
                "blocks", [{"block": "S", "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": -34.0}]
            ),
            "rows": frame_of("rows", [{"block": "S", "row": "1", "last": 4}]),
        }
    )
    south = data_of(store, "S")
    assert (south["season_from"], south["season_to"]) == ("2025-05-01", "2026-04-30")


def test_every_word_that_the_script_asks_for_stands_in_the_table(store):
    page, words = field_page(data_of(store)), words_of()
    asked = set(re.findall(r'\bword\("([a-z_.]+)"', page)) | set(re.findall(r'(?:number|text|list)\("([a-z_]+)"', page))
    assert len(asked) > 100
    asked |= {f"why.{code}" for code in (*codes.NOT_DONE, "already_cut")} | {f"short.{code}" for code in codes.SYMPTOMS}
    asked |= {f"from.{code}" for code in codes.RENEWAL_SHOOTS} | {f"is.{code}" for code in codes.SHOOT_QUALITIES}
    assert sorted(asked - set(words["en"])) == []
    for condition in Condition:
        if condition != Condition.NO_POSITION:
            assert words["es"][f"condition.{condition:d}"] != words["en"][f"condition.{condition:d}"]
    assert [code for code, (_, checked) in LANGUAGES.items() if not checked] == ["es"]


def test_the_parts_of_the_script_stand_in_one_element_and_in_order(store):
    page = field_page(data_of(store))
    marks = (
        "const sealing = {",
        "const pure = {",
        "async function databaseDisk",
        "const photoDisk = {",
        "async function begin",
        "function startScreen",
        "function findingsScreen",
        "function vineScreen",
        "function caneScreen",
        "function recheckScreen",
        "function whereScreen",
        "async function handOver",
    )
    places = [page.index(mark) for mark in marks]
    assert (len(SCRIPTS), places) == (len(places), sorted(places))
    assert page.count("<script") == 2


def test_five_thousand_vines_with_a_record_stay_under_the_limit():
    kept = Store.in_memory()
    vines = [(str(row), str(position)) for row in range(1, 51) for position in range(1, 101)]
    picked = np.random.default_rng(5).choice(len(vines), 1500, replace=False)
    kept.append(
        {
            "blocks": frame_of(
                "blocks", [{"block": "L", "planted": 2000, "row_spacing_m": 2.5, "vine_spacing_m": 1.5}]
            ),
            "rows": frame_of(
                "rows", [{"block": "L", "row": str(row), "last": 100, "bay_ends": "every 5"} for row in range(1, 51)]
            ),
            "surveys": frame_of(
                "surveys", [{"block": "L", "date": date, "covered": "1..50"} for date in ("2025-01-20", "2025-08-20")]
            ),
            "symptoms": frame_of(
                "symptoms",
                [
                    {
                        "block": "L",
                        "row": vines[k][0],
                        "position": vines[k][1],
                        "date": "2025-08-20",
                        "symptom": "leaf_stripe",
                    }
                    for k in picked
                ],
            ),
            "work": frame_of(
                "work",
                [
                    {
                        "block": "L",
                        "row": vines[k][0],
                        "position": vines[k][1],
                        "date": "2026-01-10",
                        "kind": "renew_arm",
                        "arm": "end",
                        "status": "planned",
                    }
                    for k in picked[:500]
                ],
            ),
        }
    )
    data = data_of(kept, "L")
    kept.close()
    assert sum(len(row["found"]) for row in data["rows"]) == 1500
    assert len(data["work"]) == 500
    assert len(field_page(data, app=True).encode()) < 500_000


def test_beside_each_vine_of_the_list_stands_what_the_crews_list_says_in_both_languages(store):
    """Part by compass, what was seen and when, the shoot, the reason; vines to be looked at again that nobody planned too."""
    store.append(
        {
            "blocks": frame_of(
                "blocks",
                [
                    {
                        "block": "C",
                        "planted": 2000,
                        "row_spacing_m": 2.5,
                        "vine_spacing_m": 1.5,
                        "latitude": 47.0,
                        "row_bearing_deg": 90,
                    }
                ],
            ),
            "rows": frame_of("rows", [{"block": "C", "row": "1", "first": 1, "last": 6}]),
            "surveys": frame_of(
                "surveys",
                [
                    {"block": "C", "date": date, "covered": "1"}
                    for date in ("2024-01-20", "2024-08-20", "2025-01-20", "2025-08-20")
                ],
            ),
            "symptoms": frame_of(
                "symptoms",
                [
                    {
                        "block": "C",
                        "row": "1",
                        "position": "2",
                        "date": "2025-01-20",
                        "symptom": "dead_arm",
                        "arm": "end",
                        "percent": 80,
                        "renewal_shoot": "trunk",
                        "shoot_quality": "good",
                    },
                    {
                        "block": "C",
                        "row": "1",
                        "position": "5",
                        "date": "2024-01-20",
                        "symptom": "dead_arm",
                        "arm": "start",
                    },
                    {
                        "block": "C",
                        "row": "1",
                        "position": "5",
                        "date": "2025-01-20",
                        "symptom": "none",
                        "arm": "start",
                    },
                ],
            ),
            "work": frame_of(
                "work",
                [
                    {
                        "id": "c2",
                        "block": "C",
                        "row": "1",
                        "position": "2",
                        "date": "2026-01-15",
                        "kind": "renew_arm",
                        "arm": "end",
                        "status": "planned",
                        "note": "low cut",
                    },
                    {
                        "id": "c3",
                        "block": "C",
                        "row": "1",
                        "position": "3",
                        "date": "2026-07-15",
                        "kind": "mark",
                        "status": "planned",
                    },
                ],
            ),
        }
    )
    walk = to_walk(store, "C", 2026)
    data = field_data(walk, identity="v", look="dormant", language="en", standing=standing_of(load(store, "C")))
    cut, mark, again = data["work"]
    assert cut["told"]["en"] == [
        "east arm",
        "dead arm (east arm), 80\u00a0%",
        "2025-01-20",
        "from the trunk, good (pencil-thick, brown)",
        "low cut",
    ]
    assert cut["told"]["es"][:3] == ["brazo este", "brazo muerto (brazo este), 80\u00a0%", "2025-01-20"]
    assert [one["list"] for one in (cut, mark, again)] == ["Cut", "Mark", "Look again"]
    assert (again["root"], again["unplanned"], again["row"]["kind"], again["row"]["position"]) == (
        "again 1:5",
        True,
        "watch",
        "5",
    )
    assert "date" not in again["row"]
    assert data["arm_names"]["en"] == {"start": "west arm", "end": "east arm"}
    assert data_of(store)["arm_names"] == {}  # nobody wrote which way these rows run


def test_nothing_but_a_tap_is_asked_of_a_gloved_hand():
    scripts = joined(*SHARED, *(f"field/{name}" for name in SCRIPTS))
    heard = set(re.findall(r'addEventListener\("(\w+)"', scripts)) | set(re.findall(r"\bon(\w+) = ", scripts))
    assert "click" in heard
    gestures = ("touch", "pointer", "drag", "dblclick", "contextmenu", "wheel", "swipe", "gesture", "mouse")
    assert [name for name in heard if name.startswith(gestures)] == []
    assert all(len(script_of(name).splitlines()) < 600 for name in SCRIPTS)


def test_no_word_of_the_phone_is_left_in_english_for_who_reads_spanish():
    words = words_of()
    same = {key for key, word in words["en"].items() if words["es"][key] == word}
    assert same == {"code.pattern_central"}  # one word in both
    assert words["en"].keys() == words["es"].keys()


def test_the_page_of_a_blind_recheck_holds_nothing_of_what_is_on_record(store):
    """Not the conditions, not the findings, not the work: only vines, and who may not make it."""
    store.append(
        {"surveys": frame_of("surveys", [{"block": "B", "date": "2025-08-22", "covered": "1", "observer": "Ben"}])}
    )
    drawn = SecondLook("B", 2025, "summer", (("1", 2), ("1", 4)), "1:2..2; 1:4..4", 1, 1, 0, 0)
    walk = to_walk(store, "B", 2025)
    data = field_data(walk, identity="v", look="dormant", language="en", recheck=drawn)
    assert data["recheck"] == {"look": "summer", "vines": [["1", 2], ["1", 4]], "first": ["Ben"]}
    assert (data["look"], data["work"]) == ("summer", [])
    assert all(not row["found"] and not any(row["known_in"]) for row in data["rows"])
    assert {value for row in data["rows"] for value in row["known"]} == {int(Condition.NOT_SEEN)}
    open_page = field_data(walk, identity="v", look="dormant", language="en")
    assert "recheck" not in open_page
    assert any(row["found"] for row in open_page["rows"])
    assert any(any(row["known_in"]) for row in open_page["rows"])

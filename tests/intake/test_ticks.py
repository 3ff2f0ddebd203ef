"""trunkwatch.intake: ticks; work ticked in the row before a plan in the office knew of it."""

import json

import pytest

from trunkwatch.block.opening import open_vineyard
from trunkwatch.intake import correct_record, start_file, start_folder
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.winter_work import BlockPlan, write_winter_work
from trunkwatch.web.app import create_app

HOST = "127.0.0.1:8321"
CUT = {
    "block": "B",
    "row": "2",
    "position": "3",
    "date": "2027-02-01",
    "kind": "renew_arm",
    "status": "planned",
    "arm": "start",
}
MORNING, NOON, EVENING = (f"2026-11-20T{hour}:00:00.000+00:00" for hour in ("08", "12", "18"))


@pytest.fixture(params=["folder", "file", "desk"])
def vines(request, tmp_path):
    """A vineyard with planned work, and a way to take what a phone hands over."""
    block = {"block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5}
    path = tmp_path / ("v" if request.param == "folder" else "v.gpkg")
    (start_folder if request.param == "folder" else start_file)(path, block, 3, 10)
    write_winter_work(path, [BlockPlan("B", 2027, [CUT])], now=MORNING)
    with open_vineyard(path) as store:
        (root,) = store.frame("work")["id"]

    def take(*records):
        told = {
            "trunkwatch_handover": 1,
            "vineyard": "x",
            "block": "B",
            "season": 2027,
            "device": "p1",
            "work": [{**CUT, "corrects": root, "device": "p1", "observer": "Ana", **one} for one in records],
        }
        if request.param == "desk":
            client = create_app(path, hosts=frozenset({HOST})).test_client()
            answer = client.post("/api/field/B/sync", json=told, headers={"Host": HOST, "Origin": f"http://{HOST}"})
            assert answer.status_code == 200, answer.get_json()
            return
        (tmp_path / "one.json").write_text(json.dumps(told))
        bring_files(path, tmp_path / "one.json")

    return path, root, take


def stands(path):
    with open_vineyard(path) as store:
        return store.frame("work")[["status", "date"]].to_numpy().tolist()


TICK = {"id": "t1", "status": "done", "date": "2026-11-20", "recorded_at": NOON}


@pytest.mark.long
def test_work_done_before_a_plan_dropped_it_is_done(vines):
    path, _, take = vines
    write_winter_work(path, [BlockPlan("B", 2027, [])], now=EVENING)
    assert stands(path) == [["dropped", "2027-02-01"]]
    for _ in range(2):
        take(TICK)
        assert stands(path) == [["done", "2026-11-20"]]
    # Taken back on the phone later: told with the tick, as a phone does.
    take(TICK, {"id": "t2", "recorded_at": "2026-11-21T08:00:00.000Z"})
    assert stands(path) == [["planned", "2027-02-01"]]


def test_a_tick_that_was_taken_back_before_the_plan_dropped_the_work_leaves_it_dropped(vines):
    path, _, take = vines
    write_winter_work(path, [BlockPlan("B", 2027, [])], now=EVENING)
    take(TICK, {"id": "t2", "recorded_at": "2026-11-20T13:00:00.000Z"})
    assert stands(path) == [["dropped", "2027-02-01"]]


def test_what_a_person_wrote_after_the_tick_is_the_last_word(vines):
    path, root, take = vines
    correct_record(path, "work", root, {"status": "dropped"}, now=EVENING)
    take(TICK)
    assert stands(path) == [["dropped", "2027-02-01"]]


def test_a_plan_of_the_very_moment_of_the_tick_did_not_know_of_it(vines):
    path, _, take = vines
    write_winter_work(path, [BlockPlan("B", 2027, [])], now=NOON)
    take(TICK)
    assert stands(path) == [["done", "2026-11-20"]]


def test_what_a_person_wrote_over_a_plan_after_the_tick_is_the_last_word_too(vines):
    """Ticked at noon, dropped by a plan at one, planned again in the office in the evening."""
    path, _, take = vines
    write_winter_work(path, [BlockPlan("B", 2027, [])], now="2026-11-20T13:00:00.000+00:00")
    with open_vineyard(path) as store:
        (dropped,) = store.frame("work")["id"]
    correct_record(path, "work", dropped, {"status": "planned", "date": "2027-02-10"}, now=EVENING)
    take(TICK)
    assert stands(path) == [["planned", "2027-02-10"]]


NOT_DONE = {"id": "t1", "status": "dropped", "not_done": "no_shoot", "date": "2026-11-20", "recorded_at": NOON}


def whys(path):
    with open_vineyard(path) as store:
        return store.frame("work")[["status", "not_done", "date"]].to_numpy().tolist()


@pytest.mark.long
def test_why_work_was_not_done_outweighs_a_plan_that_did_not_know_of_it(vines):
    path, _, take = vines
    write_winter_work(path, [BlockPlan("B", 2027, [{**CUT, "date": "2027-02-20"}])], now=EVENING)
    for _ in range(2):
        take(NOT_DONE)
        assert whys(path) == [["dropped", "no_shoot", "2026-11-20"]]
    # The next plan of this winter leaves it as a person decided.
    write_winter_work(path, [BlockPlan("B", 2027, [CUT])], now="2026-11-21T08:00:00.000+00:00")
    assert whys(path) == [["dropped", "no_shoot", "2026-11-20"]]
    take(NOT_DONE, {"id": "t2", "recorded_at": "2026-11-22T08:00:00.000Z"})  # taken back on the phone
    assert whys(path) == [["planned", "", "2027-02-01"]]


def test_what_the_office_wrote_after_the_reason_is_the_last_word(vines):
    path, root, take = vines
    correct_record(path, "work", root, {"status": "done", "date": "2026-11-19"}, now=EVENING)
    take(NOT_DONE)
    assert whys(path) == [["done", "", "2026-11-19"]]


def test_work_that_was_dropped_without_a_reason_is_no_word_of_a_person_at_the_vine(vines):
    path, _, take = vines
    write_winter_work(path, [BlockPlan("B", 2027, [{**CUT, "date": "2027-02-20"}])], now=EVENING)
    take({**NOT_DONE, "not_done": ""})
    assert whys(path) == [["planned", "", "2027-02-20"]]


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_two_phones_on_one_vine_the_later_word_stands_in_either_order(vines, order):
    path, _, take = vines
    done = {**TICK, "wound_protected": "no", "hours": 0.05}
    other = {**NOT_DONE, "id": "t7", "device": "p2", "recorded_at": "2026-11-20T12:30:00.000Z"}
    for number in order:
        take((done, other)[number])
    assert whys(path) == [["dropped", "no_shoot", "2026-11-20"]]

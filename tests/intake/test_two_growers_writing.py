"""trunkwatch.intake: add, enter, correct, ticks, winter_work: two growers' blocks North; what is written in one leaves the other alone."""

import json

import pytest

from trunkwatch.block.opening import open_vineyard
from trunkwatch.errors import FaultyNotesError
from trunkwatch.intake import add_records, check_vineyard, correct_record, enter_records, start_file, start_folder
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.correct import plan_again
from trunkwatch.intake.rename import rename_block
from trunkwatch.intake.winter_work import NO_LONGER, BlockPlan, write_winter_work
from trunkwatch.sheets.field_page import field_data
from trunkwatch.surveys.to_walk import to_walk
from trunkwatch.vineyard.records import record_id
from trunkwatch.vineyard.tables import TABLES, frame_of, records_of
from trunkwatch.web.app import create_app

HOST = "127.0.0.1:8321"
HERS, HIS = "Hill/North", "Dale/North"
BLOCK = {"planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north"}
FINDING = {"row": "1", "position": "3", "date": "2026-02-03", "symptom": "dead_arm", "arm": "start", "percent": 60.0}
CUT = {"row": "2", "position": "3", "date": "2027-02-01", "kind": "renew_arm", "status": "planned", "arm": "start"}
MORNING, NOON, EVENING = (f"2026-11-20T{hour}:00:00.000+00:00" for hour in ("08", "12", "18"))


@pytest.fixture(params=["folder", "file"])
def vines(request, tmp_path):
    """Two vineyards, each with a block North and a block of its own."""
    path = tmp_path / ("v" if request.param == "folder" else "v.gpkg")
    start = start_folder if request.param == "folder" else start_file
    for vineyard, other in (("Hill", "East"), ("Dale", "West")):
        for label in ("North", other):
            start(path, {"vineyard": vineyard, "block": label, **BLOCK}, 3, 10)
    return path


def shown(path, block, table="symptoms", columns=("position", "percent")):
    with open_vineyard(path) as store:
        return sorted(store.frame(table, block)[list(columns)].to_numpy().tolist())


def everything(path, block):
    """Return every version of every record of a block, but for where it was read from."""
    with open_vineyard(path) as store:
        return {
            table: records_of(store.frame(table, block, all_versions=True).drop(columns="read_from").fillna(-1))
            for table in TABLES
        }


def stored(path, table, ids):
    with open_vineyard(path) as store:
        return records_of(store.stored(table, list(ids)))


def entered(path, block, table="symptoms", record=FINDING):
    return enter_records(path, table, [{"block": block, **record}]).ids[0]


def no_fault(path):
    return not [fault for fault in check_vineyard(path, today="2028-01-01") if fault.weight == "fault"]


def test_ids_are_told_as_the_records_were_handed_in(vines):
    records = [{"block": HIS, **FINDING}, {"block": HERS, **FINDING}, {"block": HIS, **FINDING}]
    added = enter_records(vines, "symptoms", records)
    assert added.new["symptoms"] == 2
    assert added.ids[0] == added.ids[2] != added.ids[1]
    for name, owner in zip(added.ids, ("Dale", "Hill"), strict=False):
        (record,) = stored(vines, "symptoms", [name])
        assert (record["vineyard"], record["block"]) == (owner, "North")
        assert name == record_id("symptoms", {**record, "id": ""})
    assert add_records(vines, "symptoms", records).ids == added.ids


def test_what_is_entered_again_in_one_stands_in_one(vines):
    hers, his = entered(vines, HERS), entered(vines, HIS)
    before = everything(vines, HIS)
    assert hers != his
    correct_record(vines, "symptoms", hers, {}, void=True)
    assert (shown(vines, HERS), shown(vines, HIS)) == ([], [["3", 60.0]])
    again = entered(vines, HERS)
    assert again not in (hers, his)
    assert shown(vines, HERS) == [["3", 60.0]]
    assert entered(vines, HERS) == again
    assert entered(vines, HIS) == his
    assert everything(vines, HIS) == before
    changed = enter_records(vines, "symptoms", [{"block": HERS, **FINDING, "percent": 90.0}], take_changes=True)
    assert changed.changed[0].values == {"percent": (60.0, 90.0)}
    assert (shown(vines, HERS), shown(vines, HIS)) == ([["3", 90.0]], [["3", 60.0]])
    assert everything(vines, HIS) == before
    assert no_fault(vines)


def test_what_was_taken_back_before_a_rename_is_entered_again_after_it(vines):
    hers, his = entered(vines, HERS), entered(vines, HIS)
    correct_record(vines, "symptoms", hers, {}, void=True)
    rename_block(vines, HERS, label="Top", vineyard="Ridge")
    before = everything(vines, HIS)
    again = entered(vines, "Top")
    assert again != hers
    assert shown(vines, "Top") == [["3", 60.0]]
    # The name of before is still hers: the line is the same record.
    assert entered(vines, HERS) == again
    assert entered(vines, HIS) == his
    assert everything(vines, HIS) == before
    (record,) = stored(vines, "symptoms", [again])
    assert (record["vineyard"], record["block"]) == ("Hill", "North")


def test_a_correction_in_one_leaves_the_other_alone(vines):
    hers, his = entered(vines, HERS), entered(vines, HIS)
    before = everything(vines, HIS)
    corrected = correct_record(vines, "symptoms", hers, {"position": "4"}, now=NOON)
    assert corrected.values.startswith("block Hill/North, row 1, position 4")
    assert correct_record(vines, "symptoms", corrected.id, {"block": HERS}).added.same == {"symptoms": 1}
    assert (shown(vines, HERS), shown(vines, HIS)) == ([["4", 60.0]], [["3", 60.0]])
    assert everything(vines, HIS) == before
    assert correct_record(vines, "symptoms", his, {"percent": "70"}).values.startswith("block Dale/North, row 1")
    assert shown(vines, HERS) == [["4", 60.0]]
    assert no_fault(vines)


def test_a_record_of_the_wrong_block_is_moved_by_a_correction(vines):
    hers = entered(vines, HERS)
    moved = correct_record(vines, "symptoms", hers, {"block": HIS}, now=MORNING)
    assert moved.values.startswith("block Dale/North")
    assert (shown(vines, HERS), shown(vines, HIS)) == ([], [["3", 60.0]])
    # A label alone is first of all that of the same vineyard; then that of the only vineyard that has it.
    west = correct_record(vines, "symptoms", moved.id, {"block": "West"}, now=NOON)
    assert (shown(vines, HIS), shown(vines, "West")) == ([], [["3", 60.0]])
    north = correct_record(vines, "symptoms", west.id, {"block": "North"}, now=EVENING)
    assert (shown(vines, HERS), shown(vines, HIS), shown(vines, "West")) == ([], [["3", 60.0]], [])
    east = correct_record(vines, "symptoms", north.id, {"block": "East"})
    assert (shown(vines, HIS), shown(vines, "East")) == ([], [["3", 60.0]])
    back = correct_record(vines, "symptoms", east.id, {"vineyard": "Hill", "block": "North"})
    assert (shown(vines, HERS), shown(vines, HIS), shown(vines, "East")) == ([["3", 60.0]], [], [])
    (record,) = stored(vines, "symptoms", [back.id])
    assert (record["vineyard"], record["block"], record["corrects"]) == ("Hill", "North", hers)
    with pytest.raises(FaultyNotesError, match="South"):
        correct_record(vines, "symptoms", back.id, {"block": "South"})
    with pytest.raises(FaultyNotesError, match="two vineyards have a block North"):
        correct_record(vines, "symptoms", back.id, {"vineyard": ""})
    assert no_fault(vines)


def planned(path, block, *records, now=None):
    told = write_winter_work(path, [BlockPlan(block, 2027, [{"block": block, **one} for one in records])], now=now)
    return told.written, told.same, told.dropped


def test_the_winters_work_of_one_leaves_the_other_alone(vines):
    both = [
        BlockPlan(block, 2027, [{"block": block, **CUT}, {"block": block, **CUT, "position": "5"}])
        for block in (HERS, HIS)
    ]
    assert write_winter_work(vines, both).written == 4
    before = everything(vines, HIS)
    assert planned(vines, HERS, {**CUT, "position": "5"}) == (0, 1, 1)
    assert shown(vines, HERS, "work", ("position", "status", "note"))[0] == ["3", "dropped", NO_LONGER]
    assert shown(vines, HIS, "work", ("position", "status")) == [["3", "planned"], ["5", "planned"]]
    assert everything(vines, HIS) == before
    rename_block(vines, HERS, label="Top")
    after = everything(vines, HIS)
    assert planned(vines, "Top", CUT, {**CUT, "position": "5"}) == (1, 1, 0)
    assert planned(vines, "Top") == (0, 0, 2)
    assert everything(vines, HIS) == after
    assert shown(vines, HIS, "work", ("status",)) == [["planned"], ["planned"]]
    with open_vineyard(vines) as store:
        assert set(zip(*(store.stored("work")[name] for name in ("vineyard", "block")), strict=True)) == {
            ("Hill", "North"),
            ("Dale", "North"),
        }
    assert no_fault(vines)


@pytest.mark.parametrize("road", ["handover", "desk"])
def test_a_tick_on_the_phone_is_of_the_block_of_its_page(vines, road, tmp_path):
    if road == "desk" and vines.is_dir():
        pytest.skip("the desk keeps a file")
    for block in (HERS, HIS):
        planned(vines, block, CUT, now=MORNING)
    with open_vineyard(vines) as store:
        (job,) = field_data(to_walk(store, HERS, 2027), identity="x", look="dormant", language="en")["work"]
    assert (job["row"]["block"], job["row"]["vineyard"]) == (HERS, "Hill")
    planned(vines, HERS, now=EVENING)  # dropped in the office meanwhile
    before = everything(vines, HIS)
    tick = {
        **job["row"],
        "id": "t1",
        "corrects": job["root"],
        "status": "done",
        "date": "2026-11-20",
        "recorded_at": NOON,
    }
    told = {"trunkwatch_handover": 1, "vineyard": "x", "block": HERS, "season": 2027, "device": "p1", "work": [tick]}
    for _ in range(2):
        if road == "desk":
            client = create_app(vines, hosts=frozenset({HOST})).test_client()
            there = {"Host": HOST, "Origin": f"http://{HOST}"}
            assert client.post("/api/field/Hill%252FNorth/sync", json=told, headers=there).status_code == 200
        else:
            (tmp_path / "one.json").write_text(json.dumps(told))
            bring_files(vines, tmp_path / "one.json")
        assert shown(vines, HERS, "work", ("status", "date")) == [["done", "2026-11-20"]]
    assert everything(vines, HIS) == before
    (done,) = stored(vines, "work", ["t1"])
    assert (done["vineyard"], done["block"]) == ("Hill", "North")
    plan_again(vines, "t1")
    assert shown(vines, HERS, "work", ("status", "date")) == [["planned", "2027-02-01"]]
    assert everything(vines, HIS) == before


@pytest.mark.parametrize("start", [start_folder, start_file])
def test_a_vineyard_is_named_and_corrections_stay_with_what_they_correct(tmp_path, start):
    path = tmp_path / ("v" if start is start_folder else "v.gpkg")
    start(path, {"vineyard": "", "block": "North", **BLOCK}, 3, 10)
    first = entered(path, "North")
    correct_record(path, "symptoms", first, {}, void=True)
    again = entered(path, "North")
    for percent in ("70", "60", "70"):  # the second 70 has an id of its own
        again = correct_record(path, "symptoms", again, {"percent": percent}).id
    rename_block(path, "North", vineyard="Hill")
    assert shown(path, "North") == [["3", 70.0]]
    with open_vineyard(path) as store:
        kept = store.stored("symptoms")
    assert len(kept) == 6
    root, other = kept.loc[kept["corrects"] == "", "id"]
    assert root == record_id("symptoms", {"vineyard": "Hill", "block": "North", **FINDING})
    assert kept["corrects"].tolist() == ["", root, "", other, other, other]
    changed = enter_records(path, "symptoms", [{"block": "North", **FINDING}])
    assert (changed.ids, len(changed.changed), changed.new["symptoms"]) == ((again,), 1, 0)


def test_a_file_is_not_written_to_where_nothing_is_to_be_written(vines):
    files = [vines] if vines.is_file() else sorted(vines.iterdir())
    before = [one.read_bytes() for one in files]
    assert planned(vines, HERS) == (0, 0, 0)
    assert add_records(vines, "symptoms", frame_of("symptoms", []).to_dict("records")).new == {}
    assert [one.read_bytes() for one in files] == before

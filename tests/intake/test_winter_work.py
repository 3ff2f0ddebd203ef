"""trunkwatch.intake: winter_work; what a plan writes over what earlier plans and people wrote, in a folder and in a file."""

import pytest
from click.testing import CliRunner

from trunkwatch.block.opening import open_vineyard, records_of_block
from trunkwatch.cli import main
from trunkwatch.intake import check_vineyard, correct_record, enter_records, start_file, start_folder
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.correct import plan_again
from trunkwatch.intake.winter_work import NO_LONGER, BlockPlan, write_winter_work
from trunkwatch.sheets.crew_lists import crew_lines
from trunkwatch.surveys.to_walk import to_walk
from trunkwatch.vineyard.tables import frame_of
from trunkwatch.web.app import create_app

HOST = "127.0.0.1:8321"


@pytest.fixture(params=["folder", "file"])
def vines(request, tmp_path):
    block = {"block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5}
    if request.param == "folder":
        start_folder(tmp_path / "v", block, 3, 10)
        return tmp_path / "v"
    return start_file(tmp_path / "v.gpkg", block, 3, 10)[0]


def cut(position, **more):
    return {
        "block": "B",
        "row": "2",
        "position": str(position),
        "date": "2027-02-01",
        "kind": "renew_arm",
        "status": "planned",
        "arm": "start",
        "hours": 0.3,
        "note": "the start arm affected",
        **more,
    }


def plan(path, *records, season=2027, block="B"):
    told = write_winter_work(path, [BlockPlan(block, season, records)])
    return told.written, told.same, told.dropped


def standing(path, *columns, block="B"):
    with open_vineyard(path) as store:
        return sorted(store.frame("work", block)[list(columns or ("position", "status"))].to_numpy().tolist())


def ids(path, **wanted):
    with open_vineyard(path) as store:
        frame = store.frame("work")
    for name, value in wanted.items():
        frame = frame[frame[name] == value]
    return frame["id"].tolist()


def test_what_is_proposed_no_more_is_dropped_and_what_is_proposed_again_stays(vines):
    assert plan(vines, cut(3), cut(4), cut(5)) == (3, 0, 0)
    before = ids(vines, position="4")
    assert plan(vines, cut(4), cut(5), cut(6)) == (1, 2, 1)
    assert standing(vines) == [["3", "dropped"], ["4", "planned"], ["5", "planned"], ["6", "planned"]]
    assert ids(vines, position="4") == before
    assert standing(vines, "position", "note", "device")[0] == ["3", NO_LONGER, "plan"]
    assert plan(vines, cut(4), cut(5), cut(6)) == (0, 3, 0)
    # What comes back on the list is planned again, and counted as written.
    assert plan(vines, cut(3), cut(4)) == (1, 1, 2)
    assert standing(vines) == [["3", "planned"], ["4", "planned"], ["5", "dropped"], ["6", "dropped"]]
    assert [one for one in check_vineyard(vines) if "corrections of one record" in one.problem] == []


def test_what_changed_is_brought_up_to_date(vines):
    plan(vines, cut(3), cut(4, cut_height_cm=40.0))
    told = write_winter_work(
        vines, [BlockPlan("B", 2027, [cut(3, date="2028-02-01"), cut(4, cut_height_cm=35.0, note="lower")])]
    )
    assert (told.written, told.changed, told.same, told.dropped) == (0, 2, 0, 0)
    assert told.sentence == "0 written, 0 as before, 0 dropped, 2 changed"
    assert standing(vines, "position", "date", "note") == [
        ["3", "2028-02-01", "the start arm affected"],
        ["4", "2027-02-01", "lower"],
    ]
    assert standing(vines, "position", "cut_height_cm")[1] == ["4", 35.0]


def test_another_part_or_kind_is_other_work(vines):
    plan(vines, cut(3))
    assert plan(vines, cut(3, arm="end"), cut(3, kind="renew_trunk", arm="", trunk=1.0)) == (2, 0, 1)
    assert standing(vines, "kind", "arm", "status") == [
        ["renew_arm", "end", "planned"],
        ["renew_arm", "start", "dropped"],
        ["renew_trunk", "", "planned"],
    ]


def test_what_a_person_planned_is_left_and_not_written_twice(vines):
    enter_records(vines, "work", [cut(3, date="2027-01-10", note="mine"), cut(8, note="mine too")])
    told = write_winter_work(vines, [BlockPlan("B", 2027, [cut(3), cut(4)])])
    assert (told.written, told.by_hand, told.dropped) == (1, 1, 0)
    assert "1 proposed, and left as somebody wrote it by hand" in told.remarks
    assert standing(vines, "position", "date", "note") == [
        ["3", "2027-01-10", "mine"],
        ["4", "2027-02-01", "the start arm affected"],
        ["8", "2027-02-01", "mine too"],
    ]


def test_what_a_person_changed_or_dropped_is_the_persons(vines):
    plan(vines, cut(3), cut(4))
    correct_record(vines, "work", *ids(vines, position="3"), {"date": "2027-01-10"})
    correct_record(vines, "work", *ids(vines, position="4"), {"status": "dropped"})
    assert plan(vines, cut(3), cut(4), cut(5)) == (1, 0, 0)
    assert plan(vines) == (0, 0, 1)
    assert standing(vines, "position", "status", "date") == [
        ["3", "planned", "2027-01-10"],
        ["4", "dropped", "2027-02-01"],
        ["5", "dropped", "2027-02-01"],
    ]


def test_work_done_is_never_touched_and_not_proposed_again_this_winter(vines):
    plan(vines, cut(3), cut(4))
    done = correct_record(vines, "work", *ids(vines, position="3"), {"status": "done", "date": "2026-11-20"})
    enter_records(
        vines,
        "work",
        [
            cut(5, status="done", date="2026-11-21"),
            cut(6, status="", date="2026-11-22"),
            cut(7, status="done", date="2026-03-01"),
        ],
    )
    told = write_winter_work(
        vines, [BlockPlan("B", 2027, [cut(3), cut(5), cut(6), cut(7), cut(3, date="2027-06-01", kind="train")])]
    )
    assert (told.written, told.same, told.dropped, told.done) == (2, 0, 1, 3)
    assert "3 proposed, and done this winter already" in told.remarks
    assert standing(vines, "position", "kind", "status", "date") == [
        ["3", "renew_arm", "done", "2026-11-20"],
        ["3", "train", "planned", "2027-06-01"],
        ["4", "renew_arm", "dropped", "2027-02-01"],
        ["5", "renew_arm", "done", "2026-11-21"],
        ["6", "renew_arm", "", "2026-11-22"],
        ["7", "renew_arm", "done", "2026-03-01"],
        ["7", "renew_arm", "planned", "2027-02-01"],
    ]
    # The tick is taken back: it is the plan's work again, and goes when it is proposed no more.
    plan_again(vines, done.id)
    assert plan(vines)[2] == 3
    assert ["3", "dropped"] in standing(vines)


def test_a_tick_taken_back_on_a_phone_is_the_plans_work_again(vines):
    """A phone tells a tick and its taking back as corrections of its own, with its name in `device`."""
    plan(vines, cut(3))
    (root,) = ids(vines)
    tick = cut(
        3,
        corrects=root,
        device="p1",
        observer="Ana",
        recorded_at="2099-01-01T10:00:00.000Z",
        status="done",
        date="2026-11-20",
    )
    for record in (
        tick | {"id": "one"},
        tick | {"id": "two", "status": "planned", "date": "2027-02-01", "recorded_at": "2099-01-01T11:00:00.000Z"},
    ):
        from trunkwatch.intake import add_records

        add_records(vines, "work", [record])
    assert standing(vines) == [["3", "planned"]]
    assert plan(vines) == (0, 0, 1)
    assert standing(vines) == [["3", "dropped"]]


def test_work_of_winters_gone_by_is_left_and_counted(vines):
    plan(vines, cut(3, date="2026-02-01"), cut(4, date="2026-07-15", kind="watch", arm=""), season=2026)
    told = write_winter_work(vines, [BlockPlan("B", 2027, [cut(3), cut(5)])])
    assert (told.written, told.dropped, told.left_over) == (2, 0, 2)
    assert (
        "2 planned for winters gone by, neither done nor dropped: still on the lists; tick or drop them" in told.remarks
    )
    assert standing(vines, "position", "date", "status") == [
        ["3", "2026-02-01", "planned"],
        ["3", "2027-02-01", "planned"],
        ["4", "2026-07-15", "planned"],
        ["5", "2027-02-01", "planned"],
    ]
    # On paper the vine stands once.
    with open_vineyard(vines) as store:
        walk = to_walk(store, "B", 2027)
    assert [(one.position, one.done) for one in crew_lines(walk.reading)["Cut"]] == [
        ("3", False),
        ("5", False),
    ]


def test_work_taken_back_altogether_is_written_again(vines):
    plan(vines, cut(3))
    for _ in range(2):
        correct_record(vines, "work", *ids(vines), {}, void=True)
        assert standing(vines) == []
        assert plan(vines, cut(3)) == (1, 0, 0)
        assert standing(vines) == [["3", "planned"]]


def test_the_same_vine_named_by_its_bay_is_the_same_work(tmp_path):
    path = tmp_path / "v"
    path.mkdir()
    (path / "blocks.csv").write_text("block,planted,row_spacing_m,vine_spacing_m\nB,2010,2.5,1.5\n")
    (path / "rows.csv").write_text("block,row,last,bay_ends\nB,2,10,every 5\n")
    enter_records(path, "work", [cut("", bay="2", vine=3.0)])
    told = write_winter_work(path, [BlockPlan("B", 2027, [cut(8), cut(3)])])
    assert (told.written, told.by_hand) == (1, 1)


def test_a_proposal_that_stands_twice_in_a_plan_is_written_once(vines):
    assert plan(vines, cut(3), cut(3, note="again")) == (1, 0, 0)


@pytest.mark.parametrize("form", ["folder", "file"])
def test_the_southern_winter_begins_in_may(form, tmp_path):
    """Season 2027 begins on 1 May 2026: what a plan wrote for the August before is gone by."""
    block = {"block": "B", "planted": 2010, "hemisphere": "south", "row_spacing_m": 2.5, "vine_spacing_m": 1.5}
    path = tmp_path / ("v" if form == "folder" else "v.gpkg")
    (start_folder if form == "folder" else start_file)(path, block, 3, 10)
    plan(path, cut(3, date="2025-08-01"), cut(4, date="2026-04-30"), cut(5, date="2026-05-01"), season=2026)
    told = write_winter_work(path, [BlockPlan("B", 2027, [])])
    assert (told.dropped, told.left_over) == (1, 2)


@pytest.mark.long
@pytest.mark.parametrize(("form", "blocks"), [("folder", "--all-blocks"), ("file", "--block")])
def test_through_the_command(form, blocks, pytestconfig, tmp_path, monkeypatch):
    """A plan with less time cuts no more, and the vines it lets go stand on no list of cuts; none stands twice."""
    monkeypatch.setattr("trunkwatch.cli.options.today", lambda: "2026-11-26")
    path = tmp_path / ("v" if form == "folder" else "v.gpkg")
    bring_files(path, pytestconfig.rootpath / "sample_blocks")
    words = [
        "plan",
        str(path),
        "--futures",
        "20",
        "--write",
        *([blocks] if blocks == "--all-blocks" else [blocks, "Hollow"]),
    ]

    def told(days):
        done = CliRunner().invoke(main, [*words, "--crew-days", str(days)])
        assert done.exit_code == 0, done.output
        return next(line for line in done.stderr.splitlines() if line.startswith("Planned work: "))

    def lines():
        with open_vineyard(path) as store:
            labels = store.blocks() if blocks == "--all-blocks" else ("Hollow",)
            walks = [(label, to_walk(store, label, 2027)) for label in labels]
        return [
            (label, name, one.row, one.position, one.what, one.part)
            for label, walk in walks
            for name, found in crew_lines(walk.reading).items()
            for one in found
            if not one.done
        ]

    first = told(10)
    assert first.endswith("written, 0 as before, 0 dropped")
    written = int(first.split()[2])
    assert len(lines()) == written > 0
    assert told(10) == f"Planned work: 0 written, {written} as before, 0 dropped"
    cuts = sum(name in ("Cut", "Replant") for _, name, *_ in lines())
    told(0.1)
    fewer = sum(name in ("Cut", "Replant") for _, name, *_ in lines())
    assert fewer <= cuts  # what does not fit into this winter stands in later ones
    assert len(lines()) == len(set(lines()))
    told(10)
    assert len(lines()) == written
    assert len(set(lines())) == written


@pytest.mark.long
def test_through_the_desk(pytestconfig, tmp_path, monkeypatch):
    monkeypatch.setattr("trunkwatch.web.writing.today", lambda: "2026-11-26")
    path = tmp_path / "v.gpkg"
    bring_files(path, pytestconfig.rootpath / "sample_blocks")
    client = create_app(path, hosts=frozenset({HOST})).test_client()

    def post(days):
        return client.post(
            "/api/plan", json={"block": "Hollow", "crew_days": days}, headers={"Host": HOST, "Origin": f"http://{HOST}"}
        ).get_json()

    first = post(10)
    assert first["new"] > 0
    enter_records(path, "work", [{**cut(9), "block": "Hollow", "device": "plan"}])
    again = post(10)
    assert (again["new"], again["same"], again["dropped"]) == (0, first["new"], 1)
    monkeypatch.setattr("trunkwatch.web.writing.today", lambda: "2027-06-01")
    later = post(10)
    assert later["new"] + later["changed"] > 0
    with open_vineyard(path) as store:
        work = records_of_block(store, "Hollow").work
    assert set(work.loc[work["status"] == "planned", "date"].str[:4]) >= {"2028"}


def test_nothing_to_write_leaves_the_file_alone(vines):
    before = {one.name: one.read_bytes() for one in vines.iterdir()} if vines.is_dir() else vines.read_bytes()
    told = write_winter_work(vines, [BlockPlan("B", 2027, [])])
    assert not told.said_something
    assert before == (
        {one.name: one.read_bytes() for one in vines.iterdir() if one.name in before}
        if vines.is_dir()
        else vines.read_bytes()
    )
    assert frame_of("work", []).empty


def test_the_first_day_of_the_winter_belongs_to_it(vines):
    plan(vines, cut(3, date="2026-11-01"), cut(4, date="2026-10-31"))
    told = write_winter_work(vines, [BlockPlan("B", 2027, [])])
    assert (told.dropped, told.left_over) == (1, 1)
    assert standing(vines) == [["3", "dropped"], ["4", "planned"]]


def test_what_somebody_dropped_for_a_winter_gone_by_may_be_proposed_again(vines):
    enter_records(vines, "work", [cut(3, status="dropped", date="2026-10-31")])
    enter_records(vines, "work", [cut(4, status="dropped", date="2026-11-01")])
    told = write_winter_work(vines, [BlockPlan("B", 2027, [cut(3), cut(4)])])
    assert (told.written, told.by_hand) == (1, 1)
    assert ["3", "planned"] in standing(vines)

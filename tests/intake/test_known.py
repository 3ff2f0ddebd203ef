"""trunkwatch.intake: known; what a new record is checked against lies around it, and what is far away is not read."""

import pytest

import trunkwatch.intake.add
import trunkwatch.intake.checks
from trunkwatch.errors import FaultyNotesError
from trunkwatch.intake import add_frames, add_records, correct_record, start_file
from trunkwatch.intake.known import KnownStore, frames_around
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of

BLOCK = {
    "block": "B",
    "planted": 2010,
    "training": "bilateral",
    "row_spacing_m": 2.5,
    "vine_spacing_m": 1.5,
    "hemisphere": "north",
}
ONE = {"block": "B", "row": "1", "position": "2", "date": "2026-01-05", "symptom": "canker", "observer": "A"}


@pytest.fixture
def vines(tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 4, 12)
    add_records(
        path, "surveys", [{"survey": "w", "block": "B", "date": "2026-01-05", "covered": "1..4", "look": "dormant"}]
    )
    add_records(path, "symptoms", [{**ONE, "row": str(row), "position": str(at)} for row in (1, 2, 3) for at in (2, 7)])
    return path


def around(path, **new):
    with Store.open(path) as store:
        frames = {
            table: frame_of(table, [{**one, "id": f"new{n}"} for n, one in enumerate(records)])
            for table, records in new.items()
        }
        return frames_around(store, store.names().blocks, frames)


def test_of_a_finding_its_row_is_read_and_of_the_block_what_is_not_of_a_row(vines):
    frames, near = around(vines, symptoms=[{**ONE, "position": "9"}])
    assert sorted(frames["symptoms"]["position"]) == ["2", "7"]
    assert set(frames["symptoms"]["row"]) == {"1"}
    assert (len(frames["surveys"]), len(frames["rows"]), len(frames["blocks"])) == (1, 4, 1)
    assert near.rows == {"1"}
    assert near.surveys == frozenset()


def test_a_record_that_moved_to_the_row_or_from_it_comes_with_all_its_versions(vines):
    with Store.open(vines) as store:
        frame = store.frame("symptoms")
        name = str(frame[(frame["row"] == "3") & (frame["position"] == "2")]["id"].iloc[0])
    correct_record(vines, "symptoms", name, {"row": "1", "position": "3"})
    frames, _ = around(vines, symptoms=[{**ONE, "position": "9"}])
    assert sorted(zip(frames["symptoms"]["row"], frames["symptoms"]["position"], strict=True)) == [
        ("1", "2"),
        ("1", "3"),
        ("1", "7"),
        ("3", "2"),
    ]
    frames, _ = around(vines, symptoms=[{**ONE, "row": "3", "position": "9"}])
    assert ("1", "3") in set(zip(frames["symptoms"]["row"], frames["symptoms"]["position"], strict=True))


def test_a_row_that_was_renumbered_is_one_row(tmp_path):
    path = tmp_path / "v.gpkg"
    rows = [
        {"block": "B", "row": "old", "row_order": 1, "last": 12, "valid_to": "2024-12-31"},
        {"block": "B", "row": "1", "row_order": 1, "last": 12, "valid_from": "2025-01-01"},
        {"block": "B", "row": "2", "row_order": 2, "last": 12},
    ]
    Store.create(path)
    add_frames(path, {"blocks": frame_of("blocks", [BLOCK]), "rows": frame_of("rows", rows)})
    add_records(path, "symptoms", [{**ONE, "row": "old", "date": "2024-01-05"}, {**ONE, "row": "2"}])
    frames, near = around(path, symptoms=[{**ONE, "position": "9"}])
    assert frames["symptoms"]["row"].tolist() == ["old"]
    assert near.rows == {"1", "old"}


def test_what_is_about_the_layout_or_names_no_row_is_checked_against_the_whole_block(vines):
    assert around(vines, rows=[{"block": "B", "row": "9", "last": 4}]) is None
    assert around(vines, symptoms=[{**ONE, "row": ""}]) is None


@pytest.mark.parametrize(
    ("change", "problem"),
    [({"row": "9"}, "unknown row"), ({"position": "13"}, "no such position"), ({"date": "2099-01-01"}, "in the future"),
     ({"date": "2001-01-01"}, "before the block was planted"), ({"arm": "head"}, "no such arm")],
)  # fmt: skip
def test_a_single_record_meets_the_same_faults_as_many(vines, change, problem):
    with pytest.raises(FaultyNotesError, match=problem):
        add_records(vines, "symptoms", [{**ONE, **change}])


def test_a_finding_that_is_odd_is_told_at_once_and_one_that_was_odd_before_is_not(vines):
    odd = add_records(vines, "symptoms", [{**ONE, "position": "3", "date": "2026-04-20"}])
    assert [note.problem for note in odd.notes if "no survey covers" in note.problem] != []
    assert add_records(vines, "symptoms", [{**ONE, "position": "4"}]).notes == ()


def test_known_frames_hold_what_a_correction_needs(vines):
    with Store.open(vines) as store:
        known = KnownStore(store)
        name = str(known("symptoms")["id"].iloc[0])
        assert known.family("symptoms", [name])["id"].tolist() == [name]
    second = correct_record(vines, "symptoms", name, {"percent": "20"}).id
    third = correct_record(vines, "symptoms", second, {"percent": "30"}).id
    with Store.open(vines) as store:
        for one in (name, second, third):
            assert set(KnownStore(store).family("symptoms", [one])["id"]) == {name, second, third}


def told_of_each(path, records, monkeypatch, *, less):
    """Add records one after the other; return what was told of each, where less is asked for, and where all is."""
    with monkeypatch.context() as patched:
        if not less:
            patched.setattr(trunkwatch.intake.add, "_with_fresh", lambda near, _known, _new: near)
        told = []
        for table, record in records:
            try:
                told.append(sorted(str(note) for note in add_records(path, table, [record]).notes))
            except FaultyNotesError as error:
                told.append(("fault", str(error)))
        return told


@pytest.mark.long
def test_where_less_is_asked_for_the_same_faults_and_notes_are_told(tmp_path, monkeypatch):
    """Findings of two rows in every mixture: neighbours, contradictions, deaths, work, strange places, days and clocks."""
    days = ("2025-07-20", "2025-08-01", "2026-01-05", "2026-04-20")
    marks = ("canker", "none", "dead", "leaf_stripe", "dead_arm", "canker")
    mixture = [(str(at), day, mark, who) for day in days for mark in marks for at in (2, 3, 4) for who in "AB"]
    records = [
        (
            "symptoms",
            {
                "block": "B",
                "row": str(1 + n % 7 // 6),
                "position": "99" if n % 17 == 9 else at,
                "date": "2099-01-01" if n % 31 == 7 else day,
                "symptom": mark,
                "observer": who,
                "arm": ("", "head")[n % 19 == 4],
                "recorded_at": "2098-01-01T00:00" if n % 13 == 5 else "",
            },
        )
        for n, (at, day, mark, who) in enumerate(mixture[::5] + mixture[1::3] + mixture[2::4])
    ]
    work = {"block": "B", "row": "1", "date": "2026-02-01", "kind": "cut_old_trunk"}
    records[10:10] = [("work", {**work, "position": at}) for at in ("2", "99")]
    records[20:20] = [("plants", {"block": "B", "row": "1", "position": "3", "planted": "2025-10-01"})]
    told = {}
    for less in (True, False):
        path = tmp_path / str(less) / "v.gpkg"
        path.parent.mkdir()
        start_file(path, BLOCK, 4, 12)
        for day, look in (("2025-08-01", "summer"), ("2026-01-05", "dormant")):
            add_records(path, "surveys", [{"survey": day, "block": "B", "date": day, "covered": "1..3", "look": look}])
        told[less] = told_of_each(path, records, monkeypatch, less=less)
    assert told[True] == told[False]
    kinds = str(told[True])
    assert kinds.count("fault") > 10
    for problem in (
        "no survey covers",
        "one vine off",
        "alive after",
        "observers disagree",
        "clock of",
        "no such position",
        "in the future",
        "the records disagree",
        "no such arm",
    ):
        assert problem in kinds


def test_a_fault_that_stands_already_is_not_told_again_of_a_new_record(vines):
    """As many as are entered at the desk on one day are told of once: they are of one file and line, none."""
    first = add_records(vines, "symptoms", [{**ONE, "position": "3", "date": "2026-04-20"}])
    second = add_records(vines, "symptoms", [{**ONE, "position": "4", "date": "2026-04-20"}])
    assert (len(first.notes), len(second.notes)) == (1, 0)


def test_within_a_turn_the_layout_of_a_block_is_worked_out_once_and_anew_when_its_rows_change(vines, monkeypatch):
    asked = []
    plain = trunkwatch.intake.checks.check_layout
    monkeypatch.setattr(trunkwatch.intake.checks, "check_layout", lambda *words: asked.append(1) or plain(*words))
    with Store.appending(vines) as store:
        for number in range(3):
            new = {"symptoms": frame_of("symptoms", [{**ONE, "position": "11", "observer": f"shared {number}"}])}
            coming = trunkwatch.intake.add._named(store, new, keep_good=False)
            trunkwatch.intake.add._appended(store, coming, take_changes=False, keep_good=False, settle=None)
    assert len(asked) == 1
    add_records(vines, "rows", [{"block": "B", "row": "5", "last": 12.0}])
    assert add_records(vines, "symptoms", [{**ONE, "row": "5"}]).new == {"symptoms": 1}
    with pytest.raises(FaultyNotesError):
        add_records(vines, "symptoms", [{**ONE, "row": "6"}])

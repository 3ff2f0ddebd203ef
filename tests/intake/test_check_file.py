"""trunkwatch.intake: accept, check_file, check_layers; trunkwatch.store: form, inside, refuse, seal; trunkwatch.vineyard: kept_cells: what other programs have put into a file, taken out or changed, and what is damaged."""

import shutil
import sqlite3
from contextlib import closing

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.errors import FaultyNotesError, FileError
from trunkwatch.intake import accept_file, add_records, check_vineyard, merge_file, put_into_tables, start_file
from trunkwatch.store import Store, rescue_file
from trunkwatch.store.log import append_frame, framed, read_log
from trunkwatch.store.seal import resealed, seals_of
from trunkwatch.store.whole import connect_read
from trunkwatch.vineyard.kept_cells import circle_in, first_wrong
from trunkwatch.vineyard.tables import TABLES

BLOCK = {"block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": 44.0,
         "longitude": -30.0, "row_bearing_deg": 30.0, "rows_go": "right"}  # fmt: skip
TODAY = "2026-12-01"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    path = tmp_path_factory.mktemp("made") / "v.gpkg"
    start_file(path, BLOCK, 4, 12)
    add_records(
        path, "surveys", [{"survey": "w", "block": "B", "date": "2026-01-05", "covered": "1..4", "look": "dormant"}]
    )
    add_records(
        path,
        "symptoms",
        [
            {
                "block": "B",
                "row": "1",
                "position": str(n),
                "date": "2026-01-05",
                "symptom": "canker",
                "percent": 30.0,
                "observer": "A",
            }
            for n in range(2, 8)
        ],
    )
    add_records(path, "work", [{"block": "B", "row": "1", "position": "3", "date": "2026-02-01", "kind": "remove"}])
    put_into_tables(path)
    return path


@pytest.fixture
def vines(made, tmp_path):
    return shutil.copyfile(made, tmp_path / "v.gpkg")


def edit(path, *questions):
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        for question in questions:
            db.execute(question)


def faults(path):
    return [str(fault) for fault in check_vineyard(path, today=TODAY) if fault.weight == "fault"]


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def test_a_file_of_ours_has_no_fault_whatever_road_its_records_came(vines, tmp_path):
    assert faults(vines) == []
    add_records(
        vines,
        "symptoms",
        [
            {
                "block": "B",
                "row": "2",
                "position": "2",
                "date": "2026-01-05",
                "symptom": "dead_spurs",
                "percent": 0.5,
                "observer": "A",
            }
        ],
    )
    assert faults(vines) == []
    other = shutil.copyfile(vines, tmp_path / "other.gpkg")
    add_records(
        other,
        "symptoms",
        [{"block": "B", "row": "2", "position": "9", "date": "2026-01-05", "symptom": "canker", "observer": "B"}],
    )
    merge_file(vines, other)
    merge_file(other, vines)
    assert faults(vines) == faults(other) == []


@pytest.mark.parametrize(
    ("question", "words"),
    [
        ("UPDATE symptoms SET symptom = 'leaf stripe' WHERE number = 2", ["record 2 of symptoms (vineyard v, block B, row 1, position 3, date 2026-01-05", "column symptom", "'leaf stripe'", "'leaf_stripe' perhaps"]),
        ("UPDATE symptoms SET percent = 450 WHERE number = 2", ["record 2 of symptoms", "column percent", "('450.0')", "a number of % from 0 to 100"]),
        ("UPDATE symptoms SET trunk = 1.5 WHERE number = 2", ["no whole number", "column trunk"]),
        ("UPDATE symptoms SET date = '12.3.2026' WHERE number = 2", ["2026-03-12 or 2026-12-03", "column date"]),
        ("UPDATE work SET kind = 'prune'", ["record 1 of work", "unknown kind", "'prune'"]),
        ("ALTER TABLE symptoms RENAME COLUMN percent TO share", ["column percent", "taken out, or renamed; new in it: share"]),
        ("ALTER TABLE symptoms DROP COLUMN observer", ["column observer", "undo that"]),
        ("DROP TABLE weather", ["table 'weather' is gone"]),
    ],
)  # fmt: skip
def test_what_cannot_be_is_named_and_read_by_no_command(vines, tmp_path, question, words):
    edit(vines, question)
    told = faults(vines)
    assert [line for line in told if all(word in line for word in words)], told
    for command in (
        ("incidence", vines),
        ("export", vines, tmp_path / "out"),
        ("report", vines, "--out", tmp_path / "r.html"),
    ):
        done = run(*command)
        assert done.exit_code == 1
        assert isinstance(done.exception, SystemExit)
        assert len(done.output.strip().splitlines()) == 1
        assert f"trunkwatch check {vines}" in done.output
    with pytest.raises((FaultyNotesError, FileError)):
        accept_file(vines)


def test_what_another_program_meant_is_named_until_it_is_accepted(vines):
    edit(
        vines,
        "UPDATE symptoms SET percent = 44 WHERE number = 2",
        "DELETE FROM symptoms WHERE number = 3",
        "INSERT INTO costs (name, value) VALUES ('labor_per_hour', 20)",
        "DROP INDEX work_id",
        "DELETE FROM map_vines WHERE fid = 1",
        "ALTER TABLE symptoms ADD COLUMN colour TEXT",
        "UPDATE symptoms SET colour = 'red'",
    )
    told = "\n".join(faults(vines))
    for words in (
        "record 2 of symptoms",
        "changed by another program",
        "1 record of symptoms is gone",
        "running numbers 3",
        "record 1 of costs (name labor_per_hour) was added",
        "it has no id",
        "index 'work_id'",
        "map_vines: 1 missing",
    ):
        assert words in told
    done = run("check", vines, "--accept")
    assert done.exit_code == 0
    assert "accepted: v.gpkg: record 2 of symptoms" in done.output
    assert faults(vines) == []
    with Store.open(vines) as store:
        assert store.stored("symptoms")["percent"].tolist() == [30, 44, 30, 30, 30]
        assert store.stored("costs")["id"].str.len().tolist() == [36]
    with closing(sqlite3.connect(vines)) as db:
        assert {row[0] for row in db.execute("SELECT colour FROM symptoms")} == {"red"}
        assert db.execute("SELECT count(*) FROM map_vines").fetchone()[0] == 48


def test_a_record_that_we_change_afterwards_is_named_all_the_same(vines):
    """A change of ours in the file must not cover one of another program."""
    edit(vines, "UPDATE symptoms SET percent = 44 WHERE number = 2")
    with Store.writing(vines) as store:
        store.give_vineyard([store.names().blocks[0].root], "Larch Hollow")
    told = faults(vines)
    assert len([line for line in told if "record 2 of symptoms" in line and "changed by another program" in line]) == 1
    assert not [line for line in told if "record 1 of symptoms" in line]


def test_damage_on_the_disk_is_told_from_a_change_and_is_not_accepted(vines):
    raw = vines.read_bytes()
    at = raw.index(b"2026-01-05canker")
    vines.write_bytes(raw[:at] + b"2026-01-06" + raw[at + 10 :])
    (line,) = [line for line in faults(vines) if "damaged on the disk" in line]
    assert "record" in line
    assert "--fix` puts it back" in line  # the log still holds a copy
    done = run("check", vines, "--accept")
    assert (done.exit_code, "nothing was changed" in done.output) == (1, True)
    assert vines.read_bytes() != raw


@pytest.mark.parametrize("how", ["UPDATE symptoms SET corrects = id WHERE number = 2", "UPDATE symptoms SET corrects = (SELECT id FROM symptoms s WHERE s.number = 5 - symptoms.number) WHERE number IN (2, 3)"])  # fmt: skip
def test_corrections_in_a_circle(vines, how):
    edit(vines, how)
    assert [line for line in faults(vines) if "go in a circle" in line]
    with pytest.raises(FileError, match="circle"), Store.open(vines) as store:
        store.stored("symptoms")


def test_a_correction_of_nothing_and_an_id_twice(vines):
    edit(
        vines,
        "DROP INDEX symptoms_id",
        "UPDATE symptoms SET corrects = 'nobody' WHERE number = 2",
        "UPDATE symptoms SET id = 'x' WHERE number > 4",
    )
    told = "\n".join(faults(vines))
    assert "it corrects a record that is not there" in told
    assert "its id stands 2 times" in told
    with pytest.raises(FileError, match="'x' stands twice"), Store.open(vines) as store:
        store.stored("symptoms")


def test_a_journal_beside_the_file_is_named(vines):
    vines.with_name("v.gpkg-journal").write_bytes(bytes(512))
    assert "v.gpkg-journal is used up" in "\n".join(map(str, check_vineyard(vines, today=TODAY)))


def test_a_damaged_entry_of_the_log_hides_none_behind_it(vines):
    for position in ("2", "3", "4"):
        add_records(
            vines,
            "symptoms",
            [
                {
                    "block": "B",
                    "row": "3",
                    "position": position,
                    "date": "2026-01-05",
                    "symptom": "canker",
                    "observer": "waits",
                }
            ],
        )
    raw = vines.read_bytes()
    at = raw.index(b'"position":"3"', raw.index(b'"row":"3"') + 1)
    vines.write_bytes(raw[:at] + b'"position":"9"' + raw[at + 14 :])
    with Store.open(vines) as store:
        found = store.stored("symptoms")
    assert found[found["observer"] == "waits"]["position"].tolist() == ["2", "4"]
    assert "1 entry that waited in the log was damaged" in "\n".join(faults(vines))
    put_into_tables(vines)  # the log is empty now: what was lost in it is told all the same
    assert "1 entry that waited in the log was damaged" in "\n".join(faults(vines))
    rescued = rescue_file(vines)
    assert (rescued.saved["symptoms"].read, rescued.saved["symptoms"].missing) == (8, 0)


def test_an_entry_whose_length_is_damaged_hides_none_behind_it(vines, tmp_path):
    payload = framed({"symptoms": [{"id": "a"}]})
    for _ in range(3):
        with closing(connect_read(vines)) as db:
            log = read_log(db)
        assert append_frame(vines, log, payload)
    raw = bytearray(vines.read_bytes())
    second = raw.index(payload, raw.index(payload) + 1)
    raw[second - 7] ^= 0x40  # of the length
    vines.write_bytes(bytes(raw))
    with closing(connect_read(vines)) as db:
        log = read_log(db)
    assert (len(log.payloads), log.damaged, log.half) == (2, 1, False)


def test_what_a_killed_writer_left_half_is_no_fault(vines):
    payload = framed({"symptoms": [{"id": "a", "note": "x" * 9000}]})
    with closing(connect_read(vines)) as db:
        log = read_log(db)
    assert append_frame(vines, log, payload)
    with closing(sqlite3.connect(vines, isolation_level=None)) as db, db.blobopen("trunkwatch_log", "held", 1) as blob:
        blob.seek(4096)  # the pages that it did not come to write
        blob.write(bytes(8192))
    with closing(connect_read(vines)) as db:
        log = read_log(db)
    assert (log.payloads, log.damaged, log.half, log.end) == ((), 0, True, 0)
    assert not [line for line in faults(vines) if "log" in line]
    assert [fault for fault in check_vineyard(vines, today=TODAY) if "begun and not finished" in fault.problem]


def test_rescue_says_what_is_missing_and_takes_what_waited(vines, tmp_path):
    add_records(
        vines,
        "symptoms",
        [{"block": "B", "row": "3", "position": "2", "date": "2026-01-05", "symptom": "canker", "observer": "waits"}],
    )
    edit(vines, "DELETE FROM symptoms WHERE number > 4")
    done = run("check", vines, "--rescue", tmp_path / "out")
    assert done.exit_code == 0
    assert "symptoms: 4 records read, 2 missing, 1 more from the log" in done.output
    assert "waits" in (tmp_path / "out" / "symptoms.csv").read_text()


def test_rescue_leaves_out_what_a_killed_program_never_finished(vines, tmp_path):
    """As a process leaves it that is killed in the middle of a change that has been written to the file in part."""
    live = shutil.copyfile(vines, tmp_path / "live.gpkg")
    db = sqlite3.connect(live, isolation_level=None)
    db.execute("PRAGMA cache_size = 1")
    db.execute("PRAGMA cache_spill = 1")
    db.execute("BEGIN")
    db.execute("UPDATE symptoms SET note = 'never', percent = 1")
    db.execute("UPDATE map_condition SET condition = 'never'")
    db.execute(
        "INSERT INTO trunkwatch_touched WITH RECURSIVE n(i) AS (SELECT 1 UNION SELECT i + 1 FROM n WHERE i < 4000) SELECT 'x', i, 'never', '' FROM n"
    )
    hurt = tmp_path / "hurt.gpkg"
    shutil.copyfile(live, hurt)
    shutil.copyfile(tmp_path / "live.gpkg-journal", tmp_path / "hurt.gpkg-journal")
    db.close()
    assert hurt.read_bytes() != vines.read_bytes()
    done = run("check", hurt, "--rescue", tmp_path / "out")
    assert "hurt.gpkg-journal: what another program had begun and not finished is left out" in done.output
    text = (tmp_path / "out" / "symptoms.csv").read_text()
    assert "never" not in text
    assert "hurt.gpkg-journal lies beside the file" in "\n".join(map(str, check_vineyard(hurt, today=TODAY)))


def test_seals_tell_every_cell_from_every_other():
    record = {"id": "a", "row": "1", "position": "2", "percent": 30.0, "note": ""}

    def seal(**changed):
        return int(seals_of("symptoms", {name: [cell] for name, cell in {**record, **changed}.items()}, [1])[0])

    others = [
        seal(row="2", position="1"),
        seal(percent=31.0),
        seal(percent=None),
        seal(note="x"),
        seal(observer="x"),
        seal(id="b"),
        seal(percent="30"),
        seal(row=None),
    ]
    assert len({seal(), *others}) == len(others) + 1
    assert seal() == seal(dead=None, observer="") == seal(percent=30)
    assert (
        int(seals_of("work", {"row": ["1"]}, [1])[0])
        != int(seals_of("symptoms", {"row": ["1"]}, [1])[0])
        != int(seals_of("symptoms", {"row": ["1"]}, [2])[0])
    )
    assert resealed("symptoms", seal(), {"row": "1"}, {"row": "7"}) == seal(row="7")
    assert resealed("symptoms", seal() + 1, {"row": "1"}, {"row": "7"}) == seal(row="7") + 1
    many = {"row": [str(n) for n in range(3000)], "note": ["same"] * 2999 + ["other"]}
    told = seals_of("symptoms", many, range(3000)).tolist()
    assert told == [
        int(seals_of("symptoms", {name: [cells[n]] for name, cells in many.items()}, [n])[0]) for n in range(3000)
    ]


@pytest.mark.parametrize(
    ("column", "good", "bad"),
    [
        ("percent", [None, 0, 100.0, 0.5], [-0.1, 100.1, float("inf"), "30", b"30"]), ("trunk", [1, 12.0], [1.5, 0, 13]),
        ("date", ["2026-01-05", "2024-02-29"], ["", "2026-02-29", "5.1.2026", None, 20260105]),
        ("symptom", ["none", "leaf_stripe"], ["", "leaf stripe", "LEAF_STRIPE", None]), ("note", ["", " any "], [None, b"x", 5]),
    ],
)  # fmt: skip
def test_what_a_kept_cell_may_be(column, good, bad):
    column = TABLES["symptoms"].column(column)
    assert first_wrong(column, good) is None
    for cell in bad:
        assert first_wrong(column, [*good, cell]).place == len(good)


def test_circles():
    assert circle_in(["a", "b", "c"], ["", "a", "b"]) == []
    assert sorted(circle_in(["a", "b", "c", "d"], ["", "c", "b", "a"])) == ["b", "c"]
    assert circle_in(["a"], ["a"]) == ["a"]

"""trunkwatch.store: log, lines, outcome, map_layers; new records wait inside the file, whole or not at all, whatever becomes of the process."""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest

from trunkwatch.errors import RecordError
from trunkwatch.intake import add_records, correct_record, put_into_tables, start_file
from trunkwatch.store import Store
from trunkwatch.store.log import SMALL, append_frame, framed, make_log, read_log, waiting_frames
from trunkwatch.store.whole import connect_read

BLOCK = {"block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": 44.0,
         "longitude": -30.0, "row_bearing_deg": 30.0, "rows_go": "right"}  # fmt: skip
FINDING = {
    "block": "B",
    "row": "1",
    "position": "2",
    "date": "2026-01-05",
    "symptom": "canker",
    "observer": "Ærø \U0001f347",
}


@pytest.fixture
def vines(tmp_path):
    start_file(tmp_path / "v.gpkg", BLOCK, 4, 12)
    add_records(
        tmp_path / "v.gpkg",
        "surveys",
        [{"survey": "w", "block": "B", "date": "2026-01-05", "covered": "1..4", "look": "dormant"}],
    )
    put_into_tables(tmp_path / "v.gpkg")
    return tmp_path / "v.gpkg"


def log_of(path):
    with closing(connect_read(path)) as db:
        return read_log(db)


def in_tables(path):
    with closing(sqlite3.connect(path)) as db:
        return db.execute("SELECT count(*) FROM symptoms").fetchone()[0]


def standing(path):
    with Store.open(path) as store:
        return store.frame("symptoms")


def test_a_record_waits_in_the_named_file_alone_and_every_reader_sees_it(vines, tmp_path):
    structure = vines.stat().st_size, vines.stat().st_ino
    add_records(vines, "symptoms", [FINDING])
    assert (vines.stat().st_size, vines.stat().st_ino) == structure  # written over in place
    assert in_tables(vines) == 0
    shutil.copyfile(vines, tmp_path / "alone.gpkg")
    found = standing(tmp_path / "alone.gpkg")
    assert found[["row", "position", "symptom", "observer"]].to_numpy().tolist() == [
        ["1", "2", "canker", "Ærø \U0001f347"]
    ]
    assert put_into_tables(vines)
    assert (in_tables(vines), log_of(vines).payloads, log_of(vines).epoch) == (
        1,
        (),
        log_of(tmp_path / "alone.gpkg").epoch + 1,
    )
    assert standing(vines).equals(found)


def test_the_same_record_is_known_while_it_waits_and_can_be_corrected_and_taken_back(vines):
    (name,) = add_records(vines, "symptoms", [{**FINDING, "percent": 10}]).ids
    assert add_records(vines, "symptoms", [{**FINDING, "percent": 10}]).same == {"symptoms": 1}
    second = correct_record(vines, "symptoms", name, {"percent": "20"})
    assert standing(vines)["percent"].tolist() == [20]
    with pytest.raises(RecordError, match="corrected since"):
        correct_record(vines, "symptoms", name, {"percent": "30"})
    third = correct_record(vines, "symptoms", second.id, {"row": "3"})
    put_into_tables(vines)
    assert standing(vines)[["row", "percent"]].to_numpy().tolist() == [["3", 20]]
    correct_record(vines, "symptoms", third.id, {}, void=True)
    assert len(standing(vines)) == 0
    put_into_tables(vines)
    assert len(standing(vines)) == 0
    assert in_tables(vines) == 4


@pytest.mark.parametrize("cut", [1, 3, 7, 20, -1])
def test_a_frame_that_is_not_whole_was_never_there(vines, cut):
    add_records(vines, "symptoms", [FINDING])
    before = vines.read_bytes()
    add_records(vines, "symptoms", [{**FINDING, "position": "5"}])
    after = vines.read_bytes()
    changed = [at for at, (old, new) in enumerate(zip(before, after, strict=True)) if old != new]
    half = bytearray(after)
    kept = changed[cut] if cut > 0 else changed[-1]
    for at in changed:
        if at >= kept and at > 100:  # of the header of the file the counter of changes
            half[at] = before[at]
    vines.write_bytes(half)
    assert standing(vines)["position"].tolist() == ["2"]
    with closing(sqlite3.connect(vines)) as db:
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    add_records(vines, "symptoms", [{**FINDING, "position": "7"}])
    assert standing(vines)["position"].tolist() == ["2", "7"]


def test_what_was_written_before_the_log_was_emptied_is_not_read_again(vines):
    with closing(sqlite3.connect(vines, isolation_level=None)) as db:
        held = db.execute("SELECT held FROM trunkwatch_log").fetchone()[0]
    add_records(vines, "symptoms", [FINDING])
    with closing(sqlite3.connect(vines, isolation_level=None)) as db:
        held = db.execute("SELECT held FROM trunkwatch_log").fetchone()[0]
    put_into_tables(vines)
    with closing(sqlite3.connect(vines, isolation_level=None)) as db:
        db.execute("UPDATE trunkwatch_log SET held = ?", (held,))
    assert log_of(vines).payloads == ()
    assert len(standing(vines)) == 1


def test_a_full_log_goes_into_the_tables_by_itself(vines):
    for number in range(5):
        notes = [{**FINDING, "position": str(1 + n), "note": "x" * 2500, "observer": f"o{number}"} for n in range(8)]
        add_records(vines, "symptoms", notes)
    assert len(standing(vines)) == 40
    assert 0 < in_tables(vines) < 40
    assert put_into_tables(vines)
    assert in_tables(vines) == 40


def test_a_file_whose_log_another_program_has_taken_out(vines):
    add_records(vines, "symptoms", [FINDING])
    put_into_tables(vines)
    with closing(sqlite3.connect(vines, isolation_level=None)) as db:
        db.execute("DROP TABLE trunkwatch_log")
    add_records(vines, "symptoms", [{**FINDING, "position": "5"}])
    assert len(standing(vines)) == in_tables(vines) == 2
    add_records(vines, "symptoms", [{**FINDING, "position": "6"}])
    assert (len(standing(vines)), in_tables(vines)) == (3, 2)  # it has one again


def test_a_frame_that_has_no_room_is_not_written(tmp_path):
    path = tmp_path / "l.db"
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        make_log(db)
        log = read_log(db)
    assert (log.size, log.end, log.payloads) == (SMALL, 0, ())
    assert not append_frame(path, log, b"x" * SMALL)
    assert append_frame(path, log, b"x" * (SMALL - 8))
    with closing(sqlite3.connect(path)) as db:
        full = read_log(db)
    assert (full.end, len(full.payloads)) == (SMALL, 1)
    assert not append_frame(path, full, b"")


def test_what_is_framed_comes_back_as_it_was():
    records = [
        {
            "id": "a",
            "note": 'two\nlines "and" \u2028 more',
            "percent": 12.5,
            "dead": float("nan"),
            "row": "",
            "block": "B",
        }
    ]
    payload = framed({"symptoms": records})
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as db:
        make_log(db)
        log = read_log(db)
    frame = waiting_frames(type(log)(log.epoch, log.size, log.end, (payload, payload)))["symptoms"]
    assert frame["note"].tolist() == [records[0]["note"]] * 2
    assert frame["percent"].tolist() == [12.5, 12.5]
    assert frame["dead"].isna().all()


WRITER = """
import sys
from trunkwatch.intake import add_records
for n in range(100000):
    add_records(sys.argv[1], "symptoms", [dict(block="B", row=str(1 + n % 4), position=str(1 + n % 12), date="2026-01-05",
        symptom="canker", observer=f"o{n}")])
    print(n, flush=True)
"""


@pytest.mark.long
def test_a_writer_that_is_killed_leaves_all_that_it_acknowledged(vines, tmp_path):
    for number in range(3):
        process = subprocess.Popen(
            [sys.executable, "-c", WRITER.replace('f"o{n}"', f'f"o{number}-{{n}}"'), str(vines)],
            stdout=subprocess.PIPE,
            text=True,
        )
        said = [process.stdout.readline() for _ in range(5 + number)]
        os.kill(process.pid, signal.SIGKILL)
        said += process.stdout.read().splitlines()
        process.wait()
        process.stdout.close()
        shutil.copyfile(vines, tmp_path / "alone.gpkg")
        there = standing(tmp_path / "alone.gpkg")["observer"].tolist()
        assert [name for name in (f"o{number}-{line.strip()}" for line in said) if name not in there] == []
        assert len(there) == len(set(there))
    put_into_tables(vines)
    assert standing(vines)["observer"].tolist() == there

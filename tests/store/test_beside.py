"""trunkwatch.store: beside, whole, rescue: what other programs keep beside the file, in every way that a database can."""

import contextlib
import os
import shutil
import signal
import sqlite3
import subprocess
import sys

import pytest

from trunkwatch.errors import FileError
from trunkwatch.intake import add_records, put_into_tables, start_file
from trunkwatch.store import Store, copy_whole, rescued_frames
from trunkwatch.store import beside as beside_module

BLOCK = {"block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": 44.0,
         "longitude": -30.0, "row_bearing_deg": 30.0, "rows_go": "right"}  # fmt: skip
FINDING = {"block": "B", "row": "1", "position": "2", "date": "2026-01-05", "symptom": "canker", "observer": "A"}
MODES = ("delete", "truncate", "persist", "wal", "memory", "off")

#: Another program: opens a file in a journal mode, writes as it is told, and waits or dies.
OTHER = """
import os, signal, sqlite3, sys
path, mode, do = sys.argv[1:]
db = sqlite3.connect(path, isolation_level=None)
db.execute(f"PRAGMA journal_mode = {mode}").fetchone()
db.execute("PRAGMA cache_size = 5")
db.execute("PRAGMA synchronous = OFF")
db.execute("UPDATE blocks SET note = 'done'")
if do != "idle":
    db.execute("BEGIN IMMEDIATE")
    db.execute("UPDATE blocks SET note = 'half'")
    if do == "killed":  # enough of it that pages are on the disk before the end
        db.execute("CREATE TABLE more (x)")
        db.execute("WITH RECURSIVE n(k) AS (SELECT 1 UNION ALL SELECT k + 1 FROM n WHERE k < 3000) INSERT INTO more SELECT randomblob(400) FROM n")
        db.execute("UPDATE symptoms SET note = hex(randomblob(200))")
print("ready", flush=True)
if do == "killed":
    os.kill(os.getpid(), signal.SIGKILL)
sys.stdin.readline()
if do == "idle":
    try:
        db.execute("UPDATE blocks SET note = 'later'")
        print("written", flush=True)
    except sqlite3.OperationalError as error:
        print(error, flush=True)
"""


@pytest.fixture
def vines(tmp_path, monkeypatch):
    monkeypatch.setattr(beside_module, "PATIENCE_S", 0.3)
    monkeypatch.setattr("trunkwatch.store.whole.WAIT_S", 0.3)
    start_file(tmp_path / "v.gpkg", BLOCK, 4, 12)
    survey = {"survey": "w", "block": "B", "date": "2026-01-05", "covered": "1..4", "look": "dormant"}
    add_records(tmp_path / "v.gpkg", "surveys", [survey])
    return tmp_path / "v.gpkg"


@contextlib.contextmanager
def other_program(path, mode, do):
    process = subprocess.Popen(
        [sys.executable, "-c", OTHER, str(path), mode, do], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout.readline() == "ready\n"
        if do == "killed":
            assert process.wait(30) == -signal.SIGKILL
        yield process
    finally:
        process.communicate("\n", timeout=30)


def is_sound(path):
    with contextlib.closing(sqlite3.connect(path)) as db:
        try:
            return db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        except sqlite3.DatabaseError:
            return False


def note_of(path):
    with Store.open(path) as store:
        return store.frame("blocks")["note"].tolist()


def findings(path):
    with Store.open(path) as store:
        return len(store.frame("symptoms"))


def lying_beside(path):
    return sorted(
        p.name for p in path.parent.iterdir() if p.name.startswith(path.name) and p != path and p.stat().st_size
    )


@pytest.mark.parametrize("mode", MODES)
def test_a_file_that_another_program_has_written_and_left(vines, mode):
    with other_program(vines, mode, "idle"):
        pass
    assert add_records(vines, "symptoms", [FINDING]).new == {"symptoms": 1}
    assert note_of(vines) in (["later"], ["done"])
    assert findings(vines) == 1
    assert is_sound(vines)
    assert [name for name in lying_beside(vines) if name.endswith("-wal")] == []


@pytest.mark.parametrize("mode", MODES)
def test_a_file_that_another_program_holds_open(vines, mode):
    with other_program(vines, mode, "idle") as process:
        if mode == "wal":
            before = vines.read_bytes()
            with pytest.raises(FileError, match=r"open in another program.*close the file there"):
                add_records(vines, "symptoms", [FINDING])
            assert vines.read_bytes() == before
            assert note_of(vines) == ["done"]  # it is read all the same
            process.stdin.write("\n")
            process.stdin.flush()
            assert process.stdout.readline() == "written\n"
        else:
            assert add_records(vines, "symptoms", [FINDING]).new == {"symptoms": 1}
            process.stdin.write("\n")
            process.stdin.flush()
            assert process.stdout.readline() == "written\n"  # the file is the same one still
    assert add_records(vines, "symptoms", [{**FINDING, "position": "5"}]).new == {"symptoms": 1}
    assert findings(vines) == (1 if mode == "wal" else 2)
    assert note_of(vines) == ["later"]
    assert is_sound(vines)
    assert put_into_tables(vines)
    assert findings(vines) == (1 if mode == "wal" else 2)
    assert note_of(vines) == ["later"]
    assert is_sound(vines)


@pytest.mark.parametrize("mode", [mode for mode in MODES if mode != "wal"])
def test_a_file_that_is_replaced_while_another_program_holds_it_open(vines, mode):
    with other_program(vines, mode, "idle") as process:
        assert add_records(vines, "symptoms", [FINDING]).new == {"symptoms": 1}
        assert put_into_tables(vines)
        process.stdin.write("\n")
        process.stdin.flush()
        told = process.stdout.readline()
        # With a journal the other program is told that the file is another now, and does not write into nothing.
        assert mode in ("memory", "off") or "readonly" in told
    assert findings(vines) == 1
    assert note_of(vines) == ["done"]
    assert is_sound(vines)


@pytest.mark.parametrize(
    "do", ["VACUUM", "UPDATE symptoms SET note = 'seen'", "CREATE TABLE other AS SELECT * FROM symptoms"]
)
def test_what_waits_in_the_log_outlives_the_changes_of_another_program(vines, do):
    for position in ("2", "3", "4"):
        add_records(vines, "symptoms", [{**FINDING, "position": position}])
    with contextlib.closing(sqlite3.connect(vines, isolation_level=None)) as db:
        db.execute(do)
    assert findings(vines) == 3
    add_records(vines, "symptoms", [{**FINDING, "position": "5"}])
    put_into_tables(vines)
    assert findings(vines) == 4
    assert is_sound(vines)


def test_a_record_is_logged_while_another_program_reads(vines):
    with contextlib.closing(sqlite3.connect(vines, isolation_level=None)) as db:
        db.execute("BEGIN")
        assert db.execute("SELECT count(*) FROM symptoms").fetchone() == (0,)
        assert add_records(vines, "symptoms", [FINDING]).new == {"symptoms": 1}
        assert db.execute("SELECT count(*) FROM symptoms").fetchone() == (0,)
        db.execute("COMMIT")
    assert findings(vines) == 1


@pytest.mark.parametrize("mode", MODES)
def test_a_file_in_which_another_program_is_in_the_middle_of_a_change(vines, mode):
    with other_program(vines, mode, "busy"):
        before = vines.read_bytes()
        with pytest.raises(FileError, match=r"close (it|the file) there"):
            add_records(vines, "symptoms", [FINDING])
        assert vines.read_bytes() == before
        assert note_of(vines) == ["done"]
    assert add_records(vines, "symptoms", [FINDING]).new == {"symptoms": 1}
    assert note_of(vines) == ["done"]
    assert is_sound(vines)


@pytest.mark.parametrize("mode", ["delete", "truncate", "persist", "wal"])
@pytest.mark.parametrize("first", ["read", "write", "copy"])
def test_a_program_killed_in_the_middle_of_a_change(vines, mode, first, caplog, tmp_path):
    with other_program(vines, mode, "killed"):
        pass
    assert lying_beside(vines)
    if first == "read":
        assert note_of(vines) == ["done"]
    elif first == "copy":
        copy_whole(vines, tmp_path / "copy.gpkg")
        assert note_of(tmp_path / "copy.gpkg") == ["done"]
        assert lying_beside(tmp_path / "copy.gpkg") == []
    assert add_records(vines, "symptoms", [FINDING]).new == {"symptoms": 1}
    assert note_of(vines) == ["done"]
    assert findings(vines) == 1
    assert is_sound(vines)
    assert [name for name in lying_beside(vines) if name.endswith("-wal")] == []
    assert ("taken into it" if mode == "wal" else "was taken back") in caplog.text
    with contextlib.closing(sqlite3.connect(vines)) as db:
        assert db.execute("SELECT count(*) FROM sqlite_master WHERE name = 'more'").fetchone()[0] == 0


@pytest.mark.parametrize("mode", ["memory", "off"])
def test_a_program_killed_without_any_journal_leaves_damage_that_is_told(vines, mode):
    """Nothing can take such a change back: the file is either whole, or refused with the way to rescue it."""
    with other_program(vines, mode, "killed"):
        pass
    if is_sound(vines):
        assert add_records(vines, "symptoms", [FINDING]).new == {"symptoms": 1}
        return
    before = vines.read_bytes()
    with contextlib.suppress(FileError):
        add_records(vines, "symptoms", [FINDING])
        assert findings(vines) == 1
        return
    assert vines.read_bytes() == before


def test_rescue_takes_what_lies_beside_the_file(vines, tmp_path):
    with other_program(vines, "wal", "killed"):
        pass
    before = vines.read_bytes()
    frames, _ = rescued_frames(vines)
    assert frames["blocks"]["note"].tolist() == ["done"]
    assert vines.read_bytes() == before


@pytest.mark.skipif(os.geteuid() == 0, reason="whoever may write everywhere has no read-only files")
def test_changes_beside_a_read_only_file_are_told(vines):
    with other_program(vines, "wal", "killed"):
        pass
    vines.chmod(0o400)
    with pytest.raises(FileError, match="read-only"):
        add_records(vines, "symptoms", [FINDING])


def test_no_new_file_is_made_beside_the_journal_of_one_that_is_gone(vines, tmp_path):
    with other_program(vines, "wal", "killed"):
        pass
    shutil.copy(f"{vines}-wal", tmp_path / "new.gpkg-wal")
    with pytest.raises(FileError, match=r"new\.gpkg-wal lies there.*move it away"):
        Store.create(tmp_path / "new.gpkg")
    assert not (tmp_path / "new.gpkg").exists()

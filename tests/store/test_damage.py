"""trunkwatch.store: spare, spans, raw_records, unreadable, mending, rescue, inside, seal: what a disk has damaged is named, mended where the log holds it, and counted where not."""

import sqlite3
from contextlib import closing

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.errors import FileError
from trunkwatch.intake import accept_file, add_records, correct_record, put_into_tables, start_file
from trunkwatch.store import Store, mend_file, rescue_file
from trunkwatch.store.log import LARGE, SMALL, empty_log, make_log, read_log, room_of
from trunkwatch.store.raw_records import raw_records
from trunkwatch.store.seal import columns_of
from trunkwatch.store.spans import described_by_indexes, readable_records
from trunkwatch.store.spare import spare_bytes, spare_records
from trunkwatch.store.whole import connect_read
from trunkwatch.vineyard.tables import TABLES, frame_of

BLOCK = {"block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": 44.0,
         "longitude": -30.0, "row_bearing_deg": 30.0, "rows_go": "right"}  # fmt: skip


def finding(number):
    return {
        "block": "B",
        "row": str(1 + number % 4),
        "position": str(1 + number // 4),
        "date": "2026-01-05",
        "symptom": "canker",
        "observer": "A",
        "note": f"seen with care {number:03d}",
    }


@pytest.fixture
def vines(tmp_path):
    """Forty findings taken in at once, of which no copy stands in the log; eight that went through it; two that wait in it."""
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 4, 20)
    survey = {"survey": "w", "block": "B", "date": "2026-01-05", "covered": "1..4", "look": "dormant"}
    with Store.writing(path) as store:
        store.append(
            {
                "symptoms": frame_of("symptoms", [finding(n) for n in range(40)]),
                "surveys": frame_of("surveys", [survey]),
            }
        )
    add_records(path, "symptoms", [finding(n) for n in range(40, 48)])
    put_into_tables(path)
    add_records(path, "symptoms", [finding(n) for n in range(48, 50)])
    return path


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words], catch_exceptions=False)


def spoil(path, number):
    """Change a bit of a note where the table has it, and nowhere else."""
    whole, text = path.read_bytes(), f"seen with care {number:03d}".encode()
    at = whole.find(text)
    while at >= 0:
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :])
        with closing(sqlite3.connect(path)) as db:
            if not db.execute("SELECT count(*) FROM symptoms WHERE note = ?", (text.decode(),)).fetchone()[0]:
                return
        at = whole.find(text, at + 1)
    raise AssertionError(f"{text!r} stands nowhere in the table")


def notes(path):
    with Store.open(path) as store:
        return store.frame("symptoms")["note"].tolist()


def test_a_damaged_record_of_which_the_log_holds_a_copy_is_named_and_put_back(vines):
    before = notes(vines)
    spoil(vines, 44)
    assert notes(vines) != before
    told = run("check", vines)
    (line,) = [one for one in told.output.splitlines() if "damaged on the disk" in one]
    assert told.exit_code == 1
    assert all(word in line for word in ("of symptoms", "block B", "row 1", "id ", "--fix"))
    done = run("check", vines, "--fix")
    assert (done.exit_code, done.output.count("put back as it was written: record 45 of symptoms")) == (0, 1)
    assert notes(vines) == before
    assert "damaged" not in run("check", vines).output
    assert "no record of v.gpkg is damaged" in run("check", vines, "--fix").output


def test_a_damaged_record_that_the_log_does_not_hold_is_named_left_out_and_counted(vines, tmp_path):
    spoil(vines, 7)
    told = run("check", vines)
    (line,) = [one for one in told.output.splitlines() if "damaged on the disk" in one]
    assert all(word in line for word in ("record 8 of symptoms", "block B", "id ", "paper"))
    before = vines.read_bytes()
    assert "1 damaged record is not in the log any more" in run("check", vines, "--fix").output
    assert vines.read_bytes() == before
    done = run("check", vines, "--rescue", tmp_path / "out")
    assert "symptoms: damaged and left out: record 8 of symptoms (block B, row 4, id " in done.output
    assert "missing: 1 record (symptoms 1)" in done.output
    assert "care 007" not in (tmp_path / "out" / "symptoms.csv").read_text(encoding="utf-8")
    assert "record 8 of symptoms" in (tmp_path / "out" / "damaged.txt").read_text(encoding="utf-8")
    assert run("load", tmp_path / "new.gpkg", tmp_path / "out").exit_code == 0
    assert len(notes(tmp_path / "new.gpkg")) == 49


def test_rescue_takes_the_copy_of_the_log_in_the_place_of_a_damaged_record(vines, tmp_path):
    before = sorted(notes(vines))
    spoil(vines, 41)
    done = run("check", vines, "--rescue", tmp_path / "out")
    assert "1 of them found again elsewhere in the file" in done.output
    assert "nothing is missing" in done.output
    assert sorted(rescue_file(vines).frames["symptoms"]["note"]) == before


def test_a_record_whose_seal_alone_is_damaged_is_put_back_too(vines):
    before = notes(vines)
    with closing(sqlite3.connect(vines)) as db:
        (seal,) = db.execute("SELECT seal FROM symptoms WHERE number = 46").fetchone()
    raw = bytearray(vines.read_bytes())
    place = raw.index(seal.to_bytes(8, "big", signed=True))
    raw[place] ^= 4
    vines.write_bytes(raw)
    assert len(mend_file(vines)[0]) == 1
    assert notes(vines) == before
    assert "damaged" not in run("check", vines).output


def test_what_was_changed_by_people_is_never_put_back(vines):
    """A record that was corrected stays corrected; one that another program changed and somebody accepted stays as accepted."""
    with Store.open(vines) as store:
        name = store.frame("symptoms")["id"].iloc[44]
    correct_record(vines, "symptoms", name, {"note": "corrected"})
    put_into_tables(vines)
    assert mend_file(vines) == ([], 0)
    with closing(sqlite3.connect(vines)) as db:
        db.execute("UPDATE symptoms SET note = 'of a map program' WHERE number = 44")
        db.execute("DELETE FROM symptoms WHERE number = 47")
        db.commit()
    assert mend_file(vines) == ([], 0)
    accept_file(vines)
    assert mend_file(vines) == ([], 0)
    frames = rescue_file(vines).frames["symptoms"]
    assert {"corrected", "of a map program"} <= set(frames["note"])
    assert "seen with care 046" not in set(frames["note"])
    assert len(frames) == 50


def test_zeros_over_an_entry_of_the_log_are_counted_and_the_entries_behind_it_stand(vines):
    for n in range(50, 54):
        add_records(vines, "symptoms", [finding(n)])
    raw = bytearray(vines.read_bytes())
    with closing(connect_read(vines)) as db:
        second = read_log(db).payloads[1]
    place = raw.index(second)
    raw[place - 8 : place + len(second)] = bytes(8 + len(second))
    vines.write_bytes(raw)
    assert [one[-3:] for one in notes(vines)[-4:]] == ["049", "051", "052", "053"]
    assert "1 entry that waited in the log was damaged" in run("check", vines).output
    add_records(vines, "symptoms", [finding(60)])
    assert [one[-3:] for one in notes(vines)[-2:]] == ["053", "060"]


def test_zeros_over_the_last_entry_of_the_log_are_told_as_what_they_may_be(vines):
    add_records(vines, "symptoms", [finding(50)])
    raw = bytearray(vines.read_bytes())
    with closing(connect_read(vines)) as db:
        last = read_log(db).payloads[-1]
    place = raw.index(last)
    raw[place - 8 : place + len(last)] = bytes(8 + len(last))
    vines.write_bytes(raw)
    assert "the latest entries of the log are lost" in run("check", vines).output
    assert "seen with care 050" not in notes(vines)


def test_records_come_back_when_what_says_where_they_are_is_gone(vines, tmp_path):
    """The first page, or the page above all findings: the records themselves still stand in the file."""
    whole = vines.read_bytes()
    with closing(sqlite3.connect(vines)) as db:
        root = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'symptoms'").fetchone()[0]
    for page, findings in ((1, 48), (root, 50)):  # nothing tells of a log where the first page is gone
        path = tmp_path / f"hurt{page}.gpkg"
        path.write_bytes(whole[: (page - 1) * 4096] + bytes(4096) + whole[page * 4096 :])
        rescued = rescue_file(path)
        assert len(rescued.frames["symptoms"]) == findings
        assert rescued.is_known == (page > 1)
        assert {*rescued.frames["symptoms"]["note"]} <= {f"seen with care {n:03d}" for n in range(50)}
        assert len(rescued.frames["blocks"]) == 1
        assert run("check", path).exit_code == 1
        assert "--rescue" in run("check", path).output


def test_raw_records_are_those_of_the_table_and_nothing_else(vines):
    raw = vines.read_bytes()
    with closing(sqlite3.connect(vines)) as db:
        for table in ("symptoms", "rows", "blocks", "surveys", "work"):
            names = columns_of(db, table)
            there = raw_records(raw, table, names, None)
            listed = ", ".join(f'"{name}"' for name in TABLES[table].names)
            wanted = {number: tuple(cells) for number, *cells in db.execute(f"SELECT number, {listed} FROM {table}")}
            assert {number: tuple(record.values()) for number, record in there.items()} == wanted
        assert set(raw_records(raw, "symptoms", columns_of(db, "symptoms"), {3, 9, 700})) == {3, 9}
    spoiled = raw.replace(b"seen with care 002", b"seen with cure 002")
    assert set(range(1, 49)) - set(raw_records(spoiled, "symptoms", names_of("symptoms", vines), None)) == {3}


def names_of(table, path):
    with closing(sqlite3.connect(path)) as db:
        return columns_of(db, table)


def test_records_that_cannot_be_read_are_named_by_the_indexes(vines):
    with closing(connect_read(vines)) as db:
        found = readable_records(db, "symptoms", 48, 10_000)
        assert (sorted(found.rows), found.last, found.is_known, found.failed) == (list(range(1, 49)), 48, True, set())
        told = described_by_indexes(db, "symptoms", set(found.rows) - {5}, [900])
        assert list(told) == [5, 900]
        assert told[5].startswith("record 5 of symptoms (block B, row 1, id ")
        assert told[900] == "record 900 of symptoms"


def test_copies_behind_the_log_are_the_latest_that_have_room_and_survive_a_damaged_one(tmp_path):
    with closing(sqlite3.connect(tmp_path / "l.db", isolation_level=None)) as db:
        make_log(db)
        db.execute("CREATE TABLE symptoms (number INTEGER PRIMARY KEY)")
        for first in range(1, 900, 100):
            frame = frame_of("symptoms", [{"id": f"r{n}", "note": "x" * 100} for n in range(first, first + 100)])
            held = spare_bytes(db, {"symptoms": frame})
            empty_log(db, 0, held)
            db.execute(f"INSERT INTO symptoms VALUES ({first + 99})")
            assert len(held) <= SMALL
        spares = spare_records(db)["symptoms"]
        assert max(spares) == 900
        assert sorted(spares) == list(range(901 - len(spares), 901))
        assert 300 < len(spares) < 500
        log = read_log(db)
        assert (log.size, log.end, log.payloads, log.behind) == (SMALL, 0, (), len(held))
        with db.blobopen("trunkwatch_log", "held", 1) as blob:
            blob.seek(SMALL + 4000)
            blob.write(bytes(16))
        assert len(spares) - 2 <= len(spare_records(db)["symptoms"]) < len(spares)
        empty_log(db, 0, b"x" * LARGE)
        assert db.execute("SELECT length(held) FROM trunkwatch_log").fetchone()[0] == SMALL
    assert [room_of(n) for n in (SMALL - 1, SMALL, 2 * SMALL, LARGE, LARGE + 9)] == [
        SMALL - 1,
        SMALL,
        SMALL,
        LARGE,
        LARGE,
    ]


@pytest.mark.parametrize("byte", [0x9D, 0xFF, 0xC3])
def test_a_damaged_description_that_is_quoted_with_bytes_that_are_no_text_is_told_and_rescued(vines, tmp_path, byte):
    put_into_tables(vines)
    raw = bytearray(vines.read_bytes())
    at = raw.index(b'CREATE TABLE "weather"')
    raw[at + 2] = byte
    vines.write_bytes(bytes(raw))
    with pytest.raises((UnicodeDecodeError, sqlite3.DatabaseError)), closing(sqlite3.connect(vines)) as db:
        db.execute("SELECT count(*) FROM sqlite_master").fetchone()
    with pytest.raises(FileError, match="is damaged"):
        Store.open(vines)
    checked = run("check", vines)
    assert checked.exit_code == 1
    assert "v.gpkg" in checked.output
    run("check", vines, "--rescue", tmp_path / "rescued")
    rescued = (tmp_path / "rescued" / "symptoms.csv").read_text()
    assert rescued.count("seen with care") == 50

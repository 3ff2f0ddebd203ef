"""trunkwatch.store: turns, appending; writers of one process share a turn, and each is answered when its record is on the disk."""

import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

import trunkwatch.store.appending
import trunkwatch.store.turns
from trunkwatch.errors import FaultyNotesError, FileError, SupersededError
from trunkwatch.intake import add_records, correct_record, put_into_tables, start_file
from trunkwatch.store import Store
from trunkwatch.store.log import read_log
from trunkwatch.store.turns import Turns
from trunkwatch.store.whole import connect_read, turn_to_write
from trunkwatch.vineyard.tables import frame_of

BLOCK = {"block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5,
         "latitude": 44.0, "longitude": -30.0, "row_bearing_deg": 30.0, "rows_go": "right"}  # fmt: skip
FINDING = {"block": "B", "row": "1", "position": "2", "date": "2026-01-05", "symptom": "canker", "observer": "A"}
NAME = Path("v.gpkg.lock")


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


def observers(path):
    with Store.open(path) as store:
        return store.frame("symptoms")["observer"].tolist()


def frames_waiting(path):
    db = connect_read(path)
    try:
        return len(read_log(db).payloads)
    finally:
        db.close()


def in_line(turns, many):
    """Wait until so many stand in the line."""
    until = time.monotonic() + 10
    while len(turns._lines.get(NAME, ())) < many:
        assert time.monotonic() < until
        time.sleep(0.001)


class Play:
    """Writers that are let into the line one after the other while the first one holds its turn; what they did is noted."""

    def __init__(self, turns) -> None:
        self.turns, self.noted, self.threads = turns, [], []
        self.first_may_go = threading.Event()

    def end(self, work):
        self.noted.append(("end", tuple(work)))

    def writer(self, who, purpose, *, fails=False):
        def write():
            try:
                if purpose is None:
                    with self.turns.alone(NAME):
                        self.noted.append(("alone", who))
                else:
                    with self.turns.together(
                        NAME, purpose, begin=list, end=self.end, more=lambda work: len(work) < 5
                    ) as work:
                        if not self.noted and not work:
                            self.first_may_go.wait(10)
                        if fails:
                            raise RuntimeError(who)  # noqa: TRY301
                        work.append(who)
                self.noted.append(("answered", who))
            except (RuntimeError, OSError) as error:
                self.noted.append(("failed", who, str(error)))

        self.threads.append(threading.Thread(target=write))
        self.threads[-1].start()
        in_line(self.turns, len(self.threads))

    def played(self):
        self.first_may_go.set()
        for thread in self.threads:
            thread.join(10)
            assert not thread.is_alive()
        return self.noted


def test_who_stands_behind_shares_the_turn_in_order_and_all_are_answered_after_its_end():
    play = Play(Turns(10))
    for who in "abc":
        play.writer(who, "file")
    noted = play.played()
    assert noted[0] == ("end", ("a", "b", "c"))
    assert sorted(noted[1:]) == [("answered", who) for who in "abc"]
    assert play.turns._lines == {}


def test_nobody_is_passed_over_by_those_who_could_share():
    play = Play(Turns(10))
    for who, purpose in (("a", "file"), ("b", "file"), ("copy", None), ("c", "file"), ("d", "other"), ("e", "other")):
        play.writer(who, purpose)
    noted = play.played()
    assert [one for one in noted if one[0] in ("end", "alone")] == [
        ("end", ("a", "b")),
        ("alone", "copy"),
        ("end", ("c",)),
        ("end", ("d", "e")),
    ]


def test_a_turn_is_not_shared_for_ever():
    play = Play(Turns(10))
    for who in "abcdefg":
        play.writer(who, "file")
    assert [one[1] for one in play.played() if one[0] == "end"] == [tuple("abcde"), tuple("fg")]


def test_a_turn_that_lasts_long_takes_nobody_more_in(monkeypatch):
    monkeypatch.setattr(trunkwatch.store.turns, "LONGEST_SHARED_S", 0.0)
    play = Play(Turns(10))
    for who in "abc":
        play.writer(who, "file")
    assert [one[1] for one in play.played() if one[0] == "end"] == [("a",), ("b",), ("c",)]


@pytest.mark.parametrize("failing", ["a", "b", "c"])
def test_who_fails_is_told_so_and_the_others_are_not(failing):
    play = Play(Turns(10))
    for who in "abc":
        play.writer(who, "file", fails=who == failing)
    noted = play.played()
    others = tuple(who for who in "abc" if who != failing)
    assert ("failed", failing, failing) in noted
    assert [one[1] for one in noted if one[0] == "end"] == [others]
    assert sorted(one[1] for one in noted if one[0] == "answered") == list(others)


def test_what_goes_wrong_at_the_end_every_one_is_told():
    class Full(Play):
        def end(self, work):
            raise OSError(f"no room for {len(work)}")

    play = Full(Turns(10))
    for who in "abc":
        play.writer(who, "file")
    assert sorted(play.played()) == [("failed", who, "no room for 3") for who in "abc"]
    assert play.turns._lines == {}


def test_who_has_waited_too_long_goes_on_without_the_others():
    turns, noted = Turns(0.05), []
    with turns.alone(NAME), ThreadPoolExecutor(1) as pool:

        def write():
            with turns.together(NAME, "file", begin=list, end=noted.append, more=lambda _: True) as work:
                work.append("late")

        pool.submit(write).result(10)
        assert noted == [["late"]]
    assert turns._lines == {}


def written_together(path, records):
    """Add records from a thread each, while the turn to write is taken; return what became of them."""
    with ThreadPoolExecutor(len(records)) as pool:
        with turn_to_write(path):
            told = []
            for number, record in enumerate(records):
                told.append(pool.submit(add_records, path, "symptoms", [record]))
                until = time.monotonic() + 10
                while sum(map(len, trunkwatch.store.whole.TURNS._lines.values())) < number + 2:
                    assert time.monotonic() < until
                    time.sleep(0.001)
        return [one.exception() or one.result() for one in told]


def test_records_of_several_writers_are_forced_to_disk_at_once_and_each_sees_those_before_it(vines, monkeypatch):
    monkeypatch.setattr(trunkwatch.store.turns, "LONGEST_SHARED_S", 60.0)
    records = [{**FINDING, "observer": f"o{n}"} for n in range(5)] + [{**FINDING, "observer": "o3"}]
    told = written_together(vines, records)
    assert [one.new["symptoms"] for one in told] == [1, 1, 1, 1, 1, 0]
    assert told[5].same == {"symptoms": 1}
    assert frames_waiting(vines) == 1
    assert observers(vines) == [f"o{n}" for n in range(5)]
    put_into_tables(vines)
    assert observers(vines) == [f"o{n}" for n in range(5)]


def test_a_faulty_record_among_others_is_refused_alone(vines, monkeypatch):
    monkeypatch.setattr(trunkwatch.store.turns, "LONGEST_SHARED_S", 60.0)
    records = [{**FINDING, "observer": f"o{n}", "position": "99" if n in (0, 2) else "3"} for n in range(4)]
    told = written_together(vines, records)
    assert [isinstance(one, FaultyNotesError) for one in told] == [True, False, True, False]
    assert frames_waiting(vines) == 1
    assert observers(vines) == ["o1", "o3"]


def test_what_a_writer_added_before_it_failed_is_not_kept_and_the_turn_ends_with_it(vines):
    with pytest.raises(RuntimeError), Store.appending(vines) as store:
        store.append({"symptoms": frame_of("symptoms", [{**FINDING, "observer": "gone"}])})
        raise RuntimeError
    assert observers(vines) == []

    def part(appending, who, *, fails):
        with appending.part() as store:
            store.append({"symptoms": frame_of("symptoms", [{**FINDING, "observer": who}])})
            if fails:
                raise RuntimeError

    appending = Store._to_append(vines, vines)
    part(appending, "kept", fails=False)
    assert appending.has_room()
    with pytest.raises(RuntimeError):
        part(appending, "gone", fails=True)
    assert not appending.has_room()
    appending.end()
    assert observers(vines) == ["kept"]


def test_when_the_disk_is_full_none_of_them_is_answered(vines, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(trunkwatch.store.turns, "LONGEST_SHARED_S", 60.0)
    monkeypatch.setattr(trunkwatch.store.appending, "append_frame", full)
    told = written_together(vines, [{**FINDING, "observer": f"o{n}"} for n in range(3)])
    assert [isinstance(one, FileError) and "No space left" in str(one) for one in told] == [True] * 3
    monkeypatch.undo()
    assert observers(vines) == []
    assert add_records(vines, "symptoms", [FINDING]).new == {"symptoms": 1}


def test_of_two_corrections_of_a_record_in_one_turn_the_second_knows_of_the_first(vines, monkeypatch):
    monkeypatch.setattr(trunkwatch.store.turns, "LONGEST_SHARED_S", 60.0)
    (name,) = add_records(vines, "symptoms", [FINDING]).ids
    with ThreadPoolExecutor(4) as pool:
        told = [pool.submit(correct_record, vines, "symptoms", name, {"percent": str(10 * n)}) for n in range(1, 5)]
        errors = [one.exception(30) for one in told]
    assert errors.count(None) == 1
    assert all(isinstance(one, SupersededError) for one in errors if one is not None)
    with Store.open(vines) as store:
        assert len(store.frame("symptoms", all_versions=True)) == 2
        assert store.frame("symptoms")["percent"].tolist() == [10.0 * (errors.index(None) + 1)]


WRITERS = """
import sys, threading
from trunkwatch.intake import add_records
lock = threading.Lock()
def write(who):
    for n in range(100000):
        add_records(sys.argv[1], "symptoms", [dict(block="B", row=str(1 + n % 4), position=str(1 + n % 12), date="2026-01-05",
            symptom="canker", observer=f"{sys.argv[2]}-{who}-{n}")])
        with lock:
            print(f"{sys.argv[2]}-{who}-{n}", flush=True)
for who in range(5):
    threading.Thread(target=write, args=(who,)).start()
"""


@pytest.mark.long
def test_writers_that_are_killed_together_leave_all_that_was_acknowledged(vines, tmp_path):
    for number in range(3):
        process = subprocess.Popen(
            [sys.executable, "-c", WRITERS, str(vines), str(number)], stdout=subprocess.PIPE, text=True
        )
        said = [process.stdout.readline() for _ in range(12 + 7 * number)]
        os.kill(process.pid, signal.SIGKILL)
        said += process.stdout.read().splitlines(keepends=True)
        process.wait()
        process.stdout.close()
        shutil.copyfile(vines, tmp_path / "alone.gpkg")
        there = observers(tmp_path / "alone.gpkg")
        assert {line.strip() for line in said if line.endswith("\n")} <= set(there)
        assert len(there) == len(set(there))

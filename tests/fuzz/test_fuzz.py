"""trunkwatch.spreadsheets: apart, worksheet, handover, folder; trunkwatch.intake: foreign, preview, bring: files that nobody should hand in.

Two hundred of them; `python tests/fuzz/corpus.py 5000` hands in as many as one likes.
"""

import contextlib
import os
import signal
import sys
import threading
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from corpus import BOMBS, make_vineyard, recipes
from handing_in import Desk

from trunkwatch.errors import FaultyNotesError, FileError, RecordError
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.foreign import frames_of_file
from trunkwatch.intake.preview import shown_sheets
from trunkwatch.spreadsheets import apart
from trunkwatch.vineyard.faults import Fault

FILES, HANDFUL, SEED = 200, 10, 7


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    return Desk(tmp_path_factory.mktemp("fuzz"))


@pytest.mark.parametrize(
    "first", [0, *(pytest.param(first, marks=pytest.mark.long) for first in range(HANDFUL, FILES, HANDFUL))]
)
def test_any_file_is_refused_or_read_in_time_and_nothing_is_half_written(desk, first):
    for number, recipe in list(recipes(FILES))[first : first + HANDFUL]:
        told = desk.hand_in(number, recipe, SEED, in_short=number % 10 != 0 or number >= 10 * len(BOMBS))
        assert told.wrong == [], told.name
        # A second for starting the reader and one for stopping it.
        assert told.seconds < apart.MOST_SECONDS + 2, told
        assert told.reader_bytes < apart.MOST_BYTES, told


def test_the_corpus_has_every_recipe_and_makes_the_same_file_again(tmp_path):
    from corpus import LIGHT, make

    assert {recipe for _, recipe in recipes(FILES)} == {*BOMBS, *LIGHT}
    number, recipe = next(pair for pair in recipes(FILES) if pair[1].__name__ == "flipped")
    first = make(number, recipe, SEED, tmp_path).read_bytes()
    assert make(number, recipe, SEED, tmp_path).read_bytes() == first


# ---- The process apart ------------------------------------------------------------------------------------------
# Work is named by its module, which the other process must find: functions of the standard library serve.


def test_what_is_raised_apart_is_raised_here(tmp_path):
    with pytest.raises(FileError, match="no file"):
        frames_of_file(tmp_path / "none.gpkg")
    fault = Fault("fault", "wrong", "f", 3, "c", "v")
    with pytest.raises(FaultyNotesError) as told:
        apart._answer(apart.pickle.dumps(("faults", (fault,))), tmp_path, 1.0)
    assert told.value.faults == (fault,)
    with pytest.raises(RecordError, match="said so"):
        apart._answer(apart.pickle.dumps(("error", ("RecordError", "said so"))), tmp_path, 1.0)


@pytest.mark.parametrize("fork", [True, False])
def test_too_long_too_much_broken_off_and_not_understood(tmp_path, monkeypatch, fork):
    monkeypatch.setattr(apart, "_HAS_FORK", fork)
    path = tmp_path / "f.csv"
    path.write_text("0.1")
    began = time.monotonic()
    with pytest.raises(FileError, match=r"f\.csv cannot be read within 0\.5 seconds.*save what is filled as CSV"):
        apart.apart(_endless(), path, seconds=0.5)
    assert time.monotonic() - began < 8
    if sys.platform == "linux":
        with pytest.raises(FileError, match=r"f\.csv needs more memory than a file of its size may \(1 GB"):
            apart.apart(_doubling(), path)
    with pytest.raises(FileError, match=r"damaged in a way that is not understood \(NotADirectoryError"):
        apart.apart(os.listdir, path)


def test_a_large_file_may_take_longer_and_a_folder_is_as_large_as_its_files(tmp_path):
    assert apart._size(tmp_path / "none.csv") == 0
    for name, many in (("a.csv", 1_500_000), ("b.csv", 2_000_000)):
        (tmp_path / name).write_bytes(b"x" * many)
    assert apart._size(tmp_path / "a.csv") == 1_500_000
    assert apart._size(tmp_path) == 3_500_000
    with pytest.raises(FileError, match=r"within 11.5 seconds, the limit for a file of its size"):
        raise apart._too_slow(tmp_path / "a.csv", apart.MOST_SECONDS + apart.SECONDS_A_MB * 0.5)


def _endless():
    """Return what never comes back with any path: the name of a named pipe that nobody opens would do; here a loop."""
    return _named("fuzz_work", "endless")


def _doubling():
    return _named("fuzz_work", "doubling")


def _named(module, name):
    import importlib

    folder = str(Path(__file__).parent)
    os.environ["PYTHONPATH"] = os.pathsep.join(
        dict.fromkeys([folder, *os.environ.get("PYTHONPATH", "").split(os.pathsep)])
    )
    if apart._helper is not None:  # one that was started without this folder does not find the work
        apart._helper.close()
        apart._helper = None
    return getattr(importlib.import_module(module), name)


@pytest.mark.skipif(not apart._HAS_FORK, reason="no readers are forked here")
def test_what_a_reader_needs_is_read_in_once_and_not_by_each_reader(tmp_path):
    work = _named("fuzz_work", "where_loaded")
    assert {apart.apart(work, tmp_path) for _ in range(2)} == {apart._helper.process.pid}


def test_a_path_is_read_from_where_the_program_is_now_and_not_from_where_its_helper_began(tmp_path, monkeypatch):
    for name in ("first", "second"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "symptoms.csv").write_text("block,date,symptom\n" + "B,2026-01-05,canker\n" * len(name))
    for name in ("first", "second", "first"):
        monkeypatch.chdir(tmp_path / name)
        ((_, lines),) = shown_sheets(Path("symptoms.csv"), 20)
        assert lines == len(name)


@pytest.mark.long
def test_a_reader_that_is_killed_and_a_helper_that_is_killed(tmp_path):
    path = tmp_path / "symptoms.csv"
    path.write_text("block,date,symptom\nB,2026-01-05,canker\n")
    assert len(shown_sheets(path, 5)) == 1
    os.kill(apart._helper.process.pid, signal.SIGKILL)
    apart._helper.process.wait()
    assert len(shown_sheets(path, 5)) == 1
    work = _named("fuzz_work", "ended")
    with pytest.raises(FileError, match="the reading broke off"):
        apart.apart(work, path)


@pytest.mark.long
def test_eight_readers_at_once(tmp_path):
    make_vineyard(tmp_path / "v.gpkg")
    found, failed = [], []

    def read():
        try:
            found.append(len(frames_of_file(tmp_path / "v.gpkg")["rows"]))
        except Exception as error:
            failed.append(error)

    threads = [threading.Thread(target=read) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (found, failed) == ([4] * 8, [])


@pytest.mark.long
def test_the_helper_ends_with_its_parent(tmp_path):
    import subprocess

    path = tmp_path / "symptoms.csv"
    path.write_text("block,date,symptom\n")
    program = (
        "import os, sys\nfrom pathlib import Path\nfrom trunkwatch.intake.preview import shown_sheets\n"
        "from trunkwatch.spreadsheets import apart\nshown_sheets(Path(sys.argv[1]), 1)\n"
        "print(apart._helper.process.pid, flush=True)\nos.kill(os.getpid(), 9)\n"
    )
    done = subprocess.run([sys.executable, "-c", program, path], capture_output=True, text=True, check=False)
    pid = int(done.stdout)
    for _ in range(100):
        with contextlib.suppress(OSError):
            if Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z":
                time.sleep(0.1)
                continue
        break
    else:
        pytest.fail(f"the helper {pid} is still there")


@pytest.mark.long
def test_the_desk_answers_others_while_a_bomb_is_read(tmp_path):
    from corpus import sheet_xml, workbook

    from trunkwatch.web import imports
    from trunkwatch.web.app import create_app

    vineyard = tmp_path / "v.gpkg"
    make_vineyard(vineyard)
    app = create_app(vineyard, hosts=frozenset({"localhost"}))
    slow = "".join(f'<row r="{n}"><c r="A{n}"><v>1</v></c><c r="Z{n}"><v>1</v></c></row>' for n in range(1, 190_000))
    raw = workbook(sheet_xml(slow))
    folder = tmp_path / "handed in"
    folder.mkdir()
    (folder / "sheet.xlsx").write_bytes(raw)
    imports._WAITING["slow"] = imports.Upload(folder / "sheet.xlsx", "sheet.xlsx")
    where = "/import/slow?columns=yes"
    over = threading.Event()

    def ask(address):
        answer = app.test_client().get(address)
        answer.get_data()
        answer.close()
        return answer.status_code

    reading = threading.Thread(target=lambda: (ask(where), over.set()))
    reading.start()
    waits = []
    while not over.is_set() and len(waits) < 200:
        began = time.monotonic()
        assert ask("/") == 200
        waits.append(time.monotonic() - began)
    reading.join()
    imports.drop_upload("slow")
    assert len(waits) > 3
    assert max(waits) < 2.0


def test_own_notes_of_a_vineyard_are_taken_as_before(tmp_path):
    make_vineyard(tmp_path / "v.gpkg")
    (tmp_path / "symptoms.csv").write_text("block,row,position,date,symptom\nB,1,2,2026-01-05,canker\n")
    added, faults = bring_files(tmp_path / "v.gpkg", tmp_path / "symptoms.csv")
    assert (added.new, faults) == ({"symptoms": 1}, [])

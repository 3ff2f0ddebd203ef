"""trunkwatch.block: whole_folder; every road that writes several files of a folder, ended at each thing it does."""

import itertools
import shutil

import pytest

from tests.cut_short import DONE, KILLED, REFUSED, disk_full_at, killed_at
from trunkwatch.block import open_vineyard
from trunkwatch.block.whole_folder import read_whole_folder, write_whole_folder
from trunkwatch.intake import add_frames, check_vineyard, start_folder
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.rename import rename_block
from trunkwatch.spreadsheets.folder import files_in, read_folder
from trunkwatch.vineyard.tables import TABLES, empty_frame, frame_of

BLOCK = {"block": "B", "planted": 2005, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north"}
FINDING = {"block": "B", "row": "1", "position": "2", "date": "2026-01-05", "symptom": "canker", "observer": "ann"}
SURVEY = {"block": "B", "date": "2026-01-05", "covered": "all", "observer": "ann", "look": "dormant"}
WORK = {"block": "B", "row": "1", "position": "2", "date": "2026-02-05", "kind": "replant", "status": "done"}


def new_records():
    return {
        "symptoms": frame_of("symptoms", [FINDING]),
        "surveys": frame_of("surveys", [SURVEY]),
        "work": frame_of("work", [WORK]),
    }


@pytest.fixture(scope="module")
def before(tmp_path_factory):
    """Folders of one block and a survey: with a vineyard of a name, and of none."""
    parent = tmp_path_factory.mktemp("before")
    for name in ("Hill", ""):
        start_folder(parent / f"v{name}", {**BLOCK, "vineyard": name}, 2, 4)
        add_frames(parent / f"v{name}", {"surveys": frame_of("surveys", [{**SURVEY, "date": "2025-01-05"}])})
    return parent


def add(folder):
    add_frames(folder, new_records())


def second_vineyard(folder):
    """A block of the same label in another vineyard: every line of the first needs its vineyard from now on."""
    start_folder(folder, {**BLOCK, "vineyard": "Dale"}, 2, 4)


def rename(folder):
    rename_block(folder, "B", label="C", vineyard="Dale")


def load(folder):
    bring_files(folder, folder.parent / "notes")


ROADS = {"add": add, "second vineyard": second_vineyard, "rename": rename, "load": load}


def state(folder, read=read_folder):
    """All that a folder says, apart from the moments at which it was written."""
    if not folder.is_dir() or not files_in(folder):
        return "nothing"
    frames = read(folder).frames
    names = [name for name in TABLES["blocks"].names if name not in ("recorded_at", "id", "corrects", "read_from")]
    blocks = frames["blocks"][names].astype(str).to_numpy().tolist()
    return blocks, {table: len(frames[table]) for table in TABLES}, sorted(set(frames["rows"]["vineyard"]))


def faults(folder):
    return [fault for fault in check_vineyard(folder) if fault.weight == "fault"]


def hidden(folder):
    return sorted(
        path.name for path in folder.iterdir() if path.name.startswith(".") and path.name != ".trunkwatch.lock"
    )


@pytest.fixture
def made(tmp_path, before):
    """Make the folder anew, with notes to load beside it."""
    write_whole_folder(tmp_path / "notes", new_records())

    def fresh(road="add"):
        shutil.rmtree(tmp_path / "v", ignore_errors=True)
        shutil.copytree(before / ("v" if road == "rename" else "vHill"), tmp_path / "v")
        return tmp_path / "v"

    return fresh


@pytest.mark.long
@pytest.mark.parametrize("road", ROADS)
def test_ended_anywhere_a_folder_is_all_old_or_all_new(made, road):
    folder = made(road)
    old = state(folder)
    ROADS[road](folder)
    new = state(folder)
    assert old != new
    seen = []
    for number in itertools.count(1, 3 if road == "load" else 1):  # loading takes long, and writes as adding does
        folder = made(road)
        if killed_at(number, lambda: ROADS[road](folder), folder) == DONE:  # noqa: B023 - called at once
            break
        only_read = state(folder)  # as who cannot write to the folder reads it
        assert only_read in (old, new), number
        assert state(folder, read_whole_folder) == only_read, number
        assert faults(folder) == []
        seen.append(only_read == new)
        start_folder(folder, {**BLOCK, "block": "Z", "vineyard": "Hill"}, 1, 1)
        assert hidden(folder) == [], number
    assert state(folder) == new
    assert seen == sorted(seen)  # from one moment on it counts
    assert {False, True} == set(seen)
    assert len(seen) > 5


@pytest.mark.long
@pytest.mark.parametrize("road", ["add", "second vineyard"])
def test_on_a_full_disk_nothing_is_written_and_it_is_told(made, road):
    folder = made(road)
    old = state(folder)
    ROADS[road](folder)
    new = state(folder)
    refused = 0
    for number in itertools.count(1):
        folder = made(road)
        came_to = disk_full_at(number, lambda: ROADS[road](folder), folder)  # noqa: B023 - called at once
        if came_to == DONE:
            break
        assert came_to == REFUSED
        refused += 1
        assert state(folder) in (old, new)
        assert state(folder, read_whole_folder) in (old, new)
        assert faults(folder) == []
        if state(folder) == old:
            assert hidden(folder) == [], number
    assert state(folder) == new
    assert refused > 5


@pytest.mark.long
def test_a_new_folder_ended_anywhere_is_not_there_or_whole(tmp_path):
    folder = tmp_path / "v"
    seen = set()
    for number in itertools.count(1):
        shutil.rmtree(folder, ignore_errors=True)
        came_to = killed_at(number, lambda: start_folder(folder, BLOCK, 2, 4), folder)
        there = state(folder)
        if there != "nothing":
            assert there[1] == {table: {"blocks": 1, "rows": 2}.get(table, 0) for table in TABLES}
            with open_vineyard(folder) as store:
                assert store.blocks() == ("B",)
        elif folder.is_dir():
            start_folder(folder, BLOCK, 2, 4)
            assert hidden(folder) == []
        seen.add(there == "nothing")
        if came_to == DONE:
            break
        assert came_to == KILLED
    assert seen == {True, False}


@pytest.mark.long
def test_what_waits_is_told_once_it_is_in_place(made, caplog):
    for number in itertools.count(1):
        folder = made()
        killed_at(number, lambda: add(folder), folder)  # noqa: B023 - called at once
        if (folder / ".trunkwatch.step" / "step.json").exists():
            break
    notes = [str(fault) for fault in read_folder(folder).faults]
    assert any("cannot be put in place, the folder can only be read" in note for note in notes)
    with open_vineyard(folder) as store:
        assert len(store.frame("symptoms")) == 1
    assert "what it wrote was put in place" in caplog.text
    assert (folder / "symptoms.csv").exists()
    assert hidden(folder) == []


def test_empty_tables_make_no_files(tmp_path):
    assert write_whole_folder(tmp_path / "v", {table: empty_frame(table) for table in TABLES}) == []

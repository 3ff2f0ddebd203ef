"""trunkwatch.spreadsheets: one_step; what a step does where somebody or something came between."""

import json
import os
import shutil
import stat
import tempfile
from pathlib import Path

import pytest

from tests.cut_short import KILLED, killed_at
from trunkwatch.block.whole_folder import read_whole_folder, writing_folder
from trunkwatch.errors import FileError
from trunkwatch.spreadsheets import folder as notes_of
from trunkwatch.spreadsheets.folder import files_in
from trunkwatch.spreadsheets.one_step import LIST, STEP, OneStep, finish, is_waiting, waiting

NAMES = ("blocks.csv", "rows.csv", "symptoms.csv")


def write_all(folder):
    step = OneStep(folder)
    for name in NAMES:
        step.write(folder / name, f"new {name}".encode())
    step.put_in_place()


def texts(folder):
    return [(folder / name).read_text() if (folder / name).exists() else None for name in NAMES]


@pytest.fixture
def folder(tmp_path):
    """Two files, a third is new."""
    for name in NAMES[:2]:
        (tmp_path / name).write_text(f"old {name}")
    return tmp_path


@pytest.fixture
def cut(folder):
    """The same folder after the program was ended between the first file and the second."""
    for number in range(1, 100):
        shutil.rmtree(folder / STEP, ignore_errors=True)
        if killed_at(number, lambda: write_all(folder), folder) == KILLED and texts(folder)[0].startswith("new"):
            assert texts(folder) == ["new blocks.csv", "old rows.csv", None]
            return folder
    raise AssertionError("the step was never ended between two files")


def test_a_step_reads_what_it_will_write(folder):
    step = OneStep(folder)
    assert step.read(folder / "rows.csv") == b"old rows.csv"
    step.write(folder / "rows.csv", b"1")
    step.write(folder / "work.csv", b"2")
    assert (step.read(folder / "rows.csv"), step.new(folder / "blocks.csv")) == (b"1", None)
    assert [path.name for path in files_in(folder, step)] == ["blocks.csv", "rows.csv", "work.csv"]
    assert texts(folder)[1] == "old rows.csv"
    step.put_in_place()
    assert ((folder / "rows.csv").read_bytes(), (folder / "work.csv").read_bytes()) == (b"1", b"2")
    assert not (folder / STEP).exists()


def test_one_file_needs_no_list(folder, monkeypatch):
    monkeypatch.setattr("trunkwatch.spreadsheets.one_step._prepare", None)
    step = OneStep(folder)
    step.write(folder / "rows.csv", b"1")
    step.put_in_place()
    assert (folder / "rows.csv").read_bytes() == b"1"
    assert sorted(path.name for path in folder.iterdir()) == ["blocks.csv", "rows.csv"]


def test_a_step_that_counts_is_read_before_it_is_in_place_and_finished_by_the_next(cut):
    assert is_waiting(cut)
    assert [path.read_text() for path in files_in(cut)] == [f"new {name}" for name in NAMES]
    assert texts(cut)[1] == "old rows.csv"
    OneStep(cut)
    assert texts(cut) == [f"new {name}" for name in NAMES]
    assert not (cut / STEP).exists()


def test_what_never_counted_is_thrown_away(folder):
    (folder / STEP).mkdir()
    (folder / STEP / "rows.csv").write_text("half")
    assert [path.name for path in files_in(folder)] == ["blocks.csv", "rows.csv"]
    finish(folder)
    assert texts(folder) == ["old blocks.csv", "old rows.csv", None]
    assert not (folder / STEP).exists()


@pytest.mark.parametrize(("edited", "word"), [("mine", "changed"), (None, "deleted")])
def test_a_file_that_somebody_changed_in_between_is_never_written_over(cut, edited, word):
    if edited is None:
        (cut / "rows.csv").unlink()
    else:
        (cut / "rows.csv").write_text(edited)
    for reads_or_writes in (files_in, OneStep, finish):
        with pytest.raises(FileError, match=rf"rows.csv was {word} after.*{STEP}/rows.csv: delete that one to keep"):
            reads_or_writes(cut)
    assert texts(cut) == ["new blocks.csv", edited, None]
    assert (cut / STEP / "rows.csv").read_text() == "new rows.csv"


@pytest.mark.parametrize("takes", ["theirs", "mine"])
def test_both_ways_out_lead_out(cut, takes):
    (cut / "rows.csv").write_text("mine")
    if takes == "mine":
        (cut / STEP / "rows.csv").unlink()
    else:
        (cut / STEP / "rows.csv").replace(cut / "rows.csv")
    finish(cut)
    assert texts(cut) == ["new blocks.csv", "mine" if takes == "mine" else "new rows.csv", "new symptoms.csv"]
    assert not (cut / STEP).exists()


def test_a_file_that_is_in_place_may_be_changed_before_the_rest_is(cut):
    (cut / "blocks.csv").write_text("mine")
    finish(cut)
    assert texts(cut) == ["mine", "new rows.csv", "new symptoms.csv"]


def test_damaged_versions_and_lists_are_told(cut):
    (cut / STEP / "rows.csv").write_text("half")
    with pytest.raises(FileError, match=r"rows.csv is damaged.*delete it to keep rows.csv as it is"):
        waiting(cut)
    (cut / STEP / LIST).write_text("[{")
    with pytest.raises(FileError, match=r"step.json is damaged.*compare the files"):
        files_in(cut)
    assert texts(cut) == ["new blocks.csv", "old rows.csv", None]


def test_the_list_names_files_sizes_and_sums(cut):
    first = json.loads((cut / STEP / LIST).read_text())[1]
    assert (first["name"], first["old_size"], first["size"]) == ("rows.csv", 12, 12)
    assert len(first["sha256"]) == len(first["old_sha256"]) == 64


def test_a_file_saved_by_another_program_meanwhile_is_not_lost(folder):
    for names, theirs in ((NAMES, "theirs"), (NAMES[1:2], "theirs again")):
        step = OneStep(folder)
        for name in names:
            step.write(folder / name, b"ours")
        (folder / "rows.csv").write_text(theirs)
        with pytest.raises(FileError, match=r"rows.csv was changed by another program.*nothing was changed; try again"):
            step.put_in_place()
        assert texts(folder) == ["old blocks.csv", theirs, None]
        assert not (folder / STEP).exists()


def test_rights_and_links_are_kept(folder):
    (folder / "rows.csv").chmod(0o640)
    (folder / "elsewhere").mkdir()
    (folder / "blocks.csv").replace(folder / "elsewhere" / "b.csv")
    (folder / "blocks.csv").symlink_to(Path("elsewhere") / "b.csv")
    write_all(folder)
    assert stat.S_IMODE((folder / "rows.csv").stat().st_mode) == 0o640
    assert (folder / "blocks.csv").is_symlink()
    assert (folder / "elsewhere" / "b.csv").read_text() == "new blocks.csv"


def test_a_link_to_another_disk(folder, monkeypatch):
    real = Path.replace

    def replace(self, target):
        if self.parent.name == STEP and self.suffix == ".csv":
            raise OSError(18, "Invalid cross-device link")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", replace)
    write_all(folder)
    assert texts(folder) == [f"new {name}" for name in NAMES]
    assert not (folder / STEP).exists()


def test_what_counts_and_cannot_be_put_in_place_waits(folder, monkeypatch):
    real = Path.replace

    def replace(self, target):
        if self.name == "rows.csv":
            raise PermissionError(13, "Permission denied")
        return real(self, target)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", replace)
        with pytest.raises(FileError, match=r"rows.csv cannot be put in place: Permission denied.*counts as written"):
            write_all(folder)
    assert [path.read_text() for path in files_in(folder)] == [f"new {name}" for name in NAMES]
    finish(folder)
    assert texts(folder) == [f"new {name}" for name in NAMES]


def as_nobody(work):
    """Do a piece of work as a user who owns nothing, and return what it returned as text."""
    "".encode("utf-8-sig")  # what is loaded late may be out of that user's reach
    ours, theirs = os.pipe()
    child = os.fork()
    if not child:
        os.setgid(65534)
        os.setuid(65534)
        try:
            told = str(work())
        except BaseException as error:
            told = f"{type(error).__name__}: {error}"
        os.write(theirs, told.encode())
        os._exit(0)
    os.close(theirs)
    with os.fdopen(ours) as pipe:
        told = pipe.read()
    os.waitpid(child, 0)
    return told


@pytest.mark.skipif(os.geteuid() != 0, reason="only the system's keeper becomes another user")
def test_who_may_only_read_reads_what_counts_and_is_told_that_nothing_can_be_written(cut):
    with tempfile.TemporaryDirectory() as parent:
        Path(parent).chmod(0o755)
        place = Path(parent) / "v"
        shutil.copytree(cut, place)
        place.chmod(0o755)
        (place / STEP).chmod(0o755)
        new = "|".join(f"new {name}" for name in NAMES)
        assert as_nobody(lambda: "|".join(path.read_text() for path in files_in(place))) == new
        told = as_nobody(lambda: read_whole_folder(place).faults)
        assert "cannot be put in place, the folder can only be read" in told
        assert as_nobody(lambda: writing_folder(place).__enter__()) == (
            f"FileError: {place} is read-only: change its permissions, or copy it; nothing was changed"
        )
        assert texts(place) == ["new blocks.csv", "old rows.csv", None]


@pytest.mark.skipif(os.geteuid() != 0, reason="only the system's keeper becomes another user")
def test_a_table_that_is_read_only_is_left_alone(folder):
    with tempfile.TemporaryDirectory() as parent:
        Path(parent).chmod(0o755)
        place = Path(parent) / "v"
        shutil.copytree(folder, place)
        place.chmod(0o777)
        (place / "blocks.csv").chmod(0o666)
        (place / "rows.csv").chmod(0o444)
        for work in (write_one, write_all):
            assert "rows.csv is read-only: change its permissions" in as_nobody(lambda: work(place))  # noqa: B023
        assert texts(place) == ["old blocks.csv", "old rows.csv", None]


def write_one(folder):
    step = OneStep(folder)
    step.write(folder / "rows.csv", b"ours")
    step.put_in_place()


def test_a_folder_that_is_written_while_it_is_read_is_read_again(folder, monkeypatch):
    (folder / "blocks.csv").write_text("block\nA\n")
    (folder / "rows.csv").write_text("block,row,first,last\nA,1,1,9\n")
    real, times = notes_of.read_files, []

    def read(files, **named):
        notes = real(files, **named)
        times.append(len(notes.frames["rows"]))
        if len(times) < writes:
            (folder / "rows.csv").write_text(
                "block,row,first,last\n" + "".join(f"A,{n},1,9\n" for n in range(len(times) + 1))
            )
        return notes

    monkeypatch.setattr(notes_of, "read_files", read)
    writes = 3
    assert len(notes_of.read_folder(folder).frames["rows"]) == 3
    assert times == [1, 2, 3]
    writes = 100
    with pytest.raises(FileError, match=r"is being written by another program: wait until it is done, and try again"):
        notes_of.read_folder(folder)

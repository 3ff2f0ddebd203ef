"""trunkwatch.spreadsheets: guard, write, cells, table: what goes out is no formula, is whole, and is read back as it was."""

import contextlib
import csv
import io
import os
import shutil
import subprocess
import sys

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.cells import read_cell
from trunkwatch.spreadsheets.folder import read_files
from trunkwatch.spreadsheets.guard import guarded, unguarded
from trunkwatch.spreadsheets.write import MOST_LETTERS, csv_bytes, write_xlsx
from trunkwatch.vineyard.tables import TABLES, frame_of

SIGNS = "=+-@\uff1d\uff0b\uff0d\uff20"
FINDING = {"block": "B", "row": "1", "position": "3", "date": "2026-01-02", "symptom": "canker"}


@given(st.text(st.sampled_from("'\"a1 ;,|\t\r\n" + SIGNS), max_size=12))
def test_guard_gives_back_every_text(text):
    assert unguarded(guarded(text)) == text


@given(st.text(st.sampled_from("'\"a1 ;\t\r\n" + SIGNS), max_size=12), st.sampled_from(";\t,"))
def test_no_cell_begins_a_formula_in_whatever_separator_the_file_is_opened(note, separator):
    raw = csv_bytes("symptoms", frame_of("symptoms", [{**FINDING, "note": note, "observer": "x"}])).decode("utf-8-sig")
    for cells in csv.reader(io.StringIO(raw, newline=""), delimiter=separator):
        for cell in cells:
            bare = cell.strip(" ")
            assert not bare.startswith(tuple(SIGNS)), (cells, note)


@pytest.mark.parametrize(
    "note", ["a;=1+1", "\uff1d1+1", "\uff0b1", "\uff0d1", "\uff201", "\t=1", "\r=1", " =1+1", "a\n=1+1", "a\t@x"]
)
def test_what_runs_as_a_formula_elsewhere_is_guarded(note):
    assert guarded(note) != note
    assert unguarded(guarded(note)) == note


@pytest.mark.parametrize("note", ["5, -3 degrees", "arms 1-2", "a = b", "wood; brown", "half-dead", "it's"])
def test_what_growers_write_stays_as_it_is(note):
    assert guarded(note) == note


def test_a_note_that_looks_like_an_error_of_a_spreadsheet_is_read_back(tmp_path):
    frame = frame_of("symptoms", [{**FINDING, "note": "#N/A"}])
    write_xlsx(tmp_path / "symptoms.xlsx", {"symptoms": frame})
    (tmp_path / "symptoms-2.csv").write_bytes(csv_bytes("symptoms", frame))
    for name in ("symptoms.xlsx", "symptoms-2.csv"):
        notes = read_files([tmp_path / name])
        assert notes.stopping == []
        assert notes.frames["symptoms"]["note"].tolist() == ["#N/A"]
        assert any("#N/A" in str(fault) for fault in notes.faults)


def test_a_note_too_long_for_a_workbook_is_refused_and_told(tmp_path):
    fits, too_long = "x" * MOST_LETTERS, "x" * (MOST_LETTERS + 1)
    write_xlsx(tmp_path / "fits.xlsx", {"symptoms": frame_of("symptoms", [{**FINDING, "note": fits}])})
    page = openpyxl.load_workbook(tmp_path / "fits.xlsx")["symptoms"]
    assert max(len(str(cell.value)) for cell in page[2]) == MOST_LETTERS
    with pytest.raises(FileError, match=r"note has 32,768 letters.*holds 32,767: export as CSV"):
        write_xlsx(tmp_path / "long.xlsx", {"symptoms": frame_of("symptoms", [{**FINDING, "note": too_long}])})
    assert not (tmp_path / "long.xlsx").exists()


def test_half_a_letter_is_left_out_when_read_and_stops_no_export(tmp_path):
    said = read_cell(TABLES["symptoms"].column("note"), "a\ud800b")
    assert (said.value, said.weight) == ("ab", "note")
    frame = frame_of("symptoms", [{**FINDING, "note": "a\ud800b"}])
    assert b"a?b" in csv_bytes("symptoms", frame)
    write_xlsx(tmp_path / "s.xlsx", {"symptoms": frame})


def test_a_file_that_outgrows_its_limit_is_told_and_left_as_it_was(tmp_path):
    program = (
        "import resource, sys\nfrom pathlib import Path\nfrom trunkwatch.errors import FileError\n"
        "from trunkwatch.spreadsheets.write import replace_file\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))\n"
        "try:\n    replace_file(Path(sys.argv[1]), b'x' * 5000)\nexcept FileError as error:\n    print(error)\n"
    )
    (tmp_path / "t.csv").write_text("old")
    done = subprocess.run(
        [sys.executable, "-c", program, tmp_path / "t.csv"], capture_output=True, text=True, check=True
    )
    assert "cannot be written: File too large (raise the limit for the size of a file" in done.stdout
    assert "nothing of it was changed" in done.stdout
    assert (tmp_path / "t.csv").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["t.csv"]


def test_a_workbook_that_outgrows_the_limit_is_told(tmp_path):
    program = (
        "import resource, sys\nfrom pathlib import Path\nfrom trunkwatch.errors import FileError\n"
        "from trunkwatch.spreadsheets.write import write_xlsx\nfrom trunkwatch.vineyard.tables import frame_of\n"
        "frame = frame_of('costs', [{'name': f'n{n}', 'value': 1.0} for n in range(2000)])\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))\n"
        "try:\n    write_xlsx(Path(sys.argv[1]), {'costs': frame})\nexcept FileError as error:\n    print(error)\n"
    )
    place = tmp_path / "t.xlsx"
    done = subprocess.run([sys.executable, "-c", program, place], capture_output=True, text=True, check=True)
    assert done.stdout.startswith(f"{place} cannot be written: File too large (raise the limit")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.long
@pytest.mark.skipif(os.geteuid() != 0 or shutil.which("mount") is None, reason="needs to mount a small disk")
def test_a_full_disk_under_a_folder_is_told(tmp_path):
    disk = tmp_path / "disk"
    disk.mkdir()
    if subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", disk], check=False, capture_output=True
    ).returncode:
        pytest.skip("no small disk can be mounted here")
    main = [sys.executable, "-c", "from trunkwatch.cli import main; main()"]
    try:
        (disk / "blocks.csv").write_text("block,hemisphere,planted\nB,north,2000\n")
        (disk / "rows.csv").write_text("block,row,last\nB,1,9\n")
        for ballast in (65_536, 0):
            with contextlib.suppress(OSError):
                (disk / "ballast").write_bytes(b"0" * (ballast or 45_000))
            finding = [
                "log",
                disk,
                "finding",
                "--block",
                "B",
                "--row",
                "1",
                "--position",
                "2",
                "--date",
                "2026-01-05",
                "--symptom",
                "canker",
                "--note",
                "x" * (10 if ballast else 30_000),
            ]
            done = subprocess.run([*main, *finding], capture_output=True, text=True, check=False)
            assert done.returncode == 1, done
            assert "Traceback" not in done.stderr
            assert "space" in done.stderr or "room" in done.stderr
            assert not (disk / "symptoms.csv").exists()
    finally:
        subprocess.run(["umount", disk], check=False)

"""trunkwatch.spreadsheets.folder, sheet, table, write, guard: files in and out."""

import io
import zipfile

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trunkwatch.errors import FileError, NotAVineyardError
from trunkwatch.spreadsheets.folder import read_files, read_folder, table_of_file
from trunkwatch.spreadsheets.table import read_table
from trunkwatch.spreadsheets.worksheet import read_csv, read_sheets, read_xlsx
from trunkwatch.spreadsheets.write import append_records, cell_text, csv_bytes, write_folder, write_xlsx
from trunkwatch.vineyard.tables import TABLES, frame_of

PLAIN = "block,row,position,date,symptom,percent\nB,1,2,2026-02-03,dead_arm,60\nB,1,3,2026-02-03,canker,\n"


def write(path, text, encoding="utf-8"):
    path.write_bytes(text.encode(encoding))
    return path


def symptoms(path):
    frame, faults = read_table(read_csv(path), "symptoms")
    return (
        frame,
        [fault for fault in faults if fault.weight == "fault"],
        [f for f in faults if f.weight == "note"],
    )


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_encodings_and_separators_say_the_same(tmp_path, encoding, separator):
    text = PLAIN.replace("B,", "Bé,").replace(",", separator)
    frame, faults, _ = symptoms(write(tmp_path / "symptoms.csv", text, encoding))
    assert not faults
    assert frame["block"].tolist() == ["Bé", "Bé"]
    assert frame["percent"].tolist()[0] == 60.0
    assert frame["read_from"].tolist() == ["symptoms.csv:2", "symptoms.csv:3"]


def test_decimal_commas_with_semicolons(tmp_path):
    frame, faults, notes = symptoms(write(tmp_path / "symptoms.csv", PLAIN.replace(",", ";").replace("60", "12,5")))
    assert not faults
    assert frame["percent"].tolist()[0] == 12.5
    assert any("decimal comma" in note.problem for note in notes)


def test_a_fault_names_file_line_column_value_and_the_way_out(tmp_path):
    _, (fault,), _ = symptoms(write(tmp_path / "symptoms.csv", PLAIN.replace("canker", "cancer")))
    assert str(fault) == "symptoms.csv, line 3, column symptom: unknown symptom ('cancer'); expected: canker perhaps"


@pytest.mark.parametrize(
    ("broken", "problem"),
    [
        (PLAIN.replace("symptom,", "symptom,symptom,"), "the heading stands twice"),
        (PLAIN.replace("percent", "procent"), "unknown column"),
        (PLAIN.replace("date,", "", 1), "the heading date is missing"),
        (PLAIN + "B,1,4,2026-02-03,canker,5,surplus\n", "the line has 7 cells"),
        (PLAIN + 'B,1,4,2026-02-03,"cank', "the file breaks off"),
        (PLAIN + "B,1,4,2026-02-03,can\0ker,5\n", "NUL bytes"),
    ],
)
def test_broken_files(tmp_path, broken, problem):
    _, faults, _ = symptoms(write(tmp_path / "symptoms.csv", broken))
    assert any(problem in fault.problem for fault in faults)


def test_feet_become_metres(tmp_path):
    path = write(tmp_path / "blocks.csv", "block,row_spacing_ft,vine_spacing_ft\nB,9,7\n")
    frame, faults = read_table(read_csv(path), "blocks")
    assert frame["row_spacing_m"].tolist() == [pytest.approx(9 * 0.3048)]
    assert all(fault.weight == "note" for fault in faults)


@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=400))
def test_any_bytes_give_faults_and_never_a_traceback(tmp_path, raw):
    path = tmp_path / "symptoms.csv"
    path.write_bytes(raw)
    frame, _, _ = symptoms(path)
    assert list(frame.columns) == list(TABLES["symptoms"].names)


WORDS = st.text(st.characters(blacklist_categories=("Cs", "Cc")), max_size=12).map(str.strip)


@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(WORDS, st.floats(-180, 180), st.sampled_from(["=1+1", "-5", "@x", "'", "'=", "plain"])),
        min_size=1,
        max_size=6,
    )
)
def test_csv_round_trip_is_lossless(tmp_path, rows):
    """Text that looks like a formula comes back, and a negative longitude stays a number."""
    records = [
        {
            "block": "B",
            "row": "1",
            "position": str(n),
            "date": "2026-01-01",
            "symptom": "canker",
            "note": note,
            "observer": formula,
            "longitude": longitude,
        }
        for n, (note, longitude, formula) in enumerate(rows)
    ]
    frame = frame_of("symptoms", records)
    path = tmp_path / "symptoms.csv"
    path.write_bytes(csv_bytes("symptoms", frame))
    back, faults, _ = symptoms(path)
    assert not faults
    assert back["note"].tolist() == frame["note"].tolist()
    assert back["observer"].tolist() == frame["observer"].tolist()
    assert np.array_equal(back["longitude"], frame["longitude"])


def test_xlsx_round_trip(tmp_path):
    frames = {
        "symptoms": frame_of(
            "symptoms",
            [
                {
                    "block": "B",
                    "row": "007",
                    "position": "3",
                    "date": "2026-01-02",
                    "symptom": "canker",
                    "note": "=HYPERLINK(1)",
                    "longitude": -1.25,
                    "percent": 30,
                }
            ],
        )
    }
    write_xlsx(tmp_path / "out.xlsx", frames)
    back = read_files([tmp_path / "out.xlsx"])
    assert not back.stopping
    line = back.frames["symptoms"].iloc[0]
    assert (line["row"], line["note"], line["longitude"], line["percent"]) == (
        "007",
        "=HYPERLINK(1)",
        -1.25,
        30.0,
    )


def test_a_zip_bomb_and_a_damaged_workbook_are_refused(tmp_path, monkeypatch):
    (tmp_path / "bad.xlsx").write_bytes(b"PK\x03\x04 not a workbook")
    with pytest.raises(FileError, match="no workbook"):
        read_xlsx(tmp_path / "bad.xlsx")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("xl/workbook.xml", b"0" * 2_000_000)
    (tmp_path / "bomb.xlsx").write_bytes(packed.getvalue())
    monkeypatch.setattr("trunkwatch.spreadsheets.worksheet.MAX_UNPACKED", 1_000_000)
    with pytest.raises(FileError, match="unpacks to 2 MB"):
        read_sheets(tmp_path / "bomb.xlsx")


def test_table_of_file():
    assert table_of_file("symptoms-2026") == "symptoms"
    assert table_of_file("Surveys 2") == "surveys"
    assert table_of_file("workers") is None
    assert table_of_file("plan") is None


def test_folder_without_blocks_and_no_folder(tmp_path):
    with pytest.raises(NotAVineyardError, match="trunkwatch new"):
        read_folder(tmp_path)
    with pytest.raises(NotAVineyardError, match="no folder"):
        read_folder(tmp_path / "nowhere")


def test_the_same_record_twice_is_taken_once_and_with_other_values_refused(tmp_path):
    write(tmp_path / "blocks.csv", "block\nB\n")
    write(tmp_path / "symptoms.csv", PLAIN)
    write(tmp_path / "symptoms-again.csv", PLAIN)
    notes = read_folder(tmp_path)
    assert len(notes.frames["symptoms"]) == 2
    assert sum("duplicate line" in fault.problem for fault in notes.faults) == 2
    write(tmp_path / "symptoms-again.csv", PLAIN.replace("60", "70"))
    (fault,) = read_folder(tmp_path).stopping
    assert "another percent" in fault.problem


def test_append_keeps_the_file_to_the_letter(tmp_path):
    path = write(tmp_path / "symptoms.csv", PLAIN.replace(",", ";"))
    before = path.read_bytes()
    append_records(
        tmp_path,
        "symptoms",
        [{"block": "B", "row": "1", "position": "5", "date": "2026-02-04", "symptom": "canker"}],
    )
    after = path.read_bytes()
    assert after.startswith(before)
    assert after[len(before) :] == b"B;1;5;2026-02-04;canker;\r\n"
    append_records(
        tmp_path,
        "symptoms",
        [
            {
                "block": "B",
                "row": "1",
                "position": "6",
                "date": "2026-02-04",
                "symptom": "canker",
                "arm": "start",
            }
        ],
    )
    frame, faults, _ = symptoms(path)
    assert not faults
    assert frame["position"].tolist() == ["2", "3", "5", "6"]
    assert frame["arm"].tolist() == ["", "", "", "start"]


def test_nothing_is_half_written_when_the_folder_cannot_take_it(tmp_path, monkeypatch):
    path = write(tmp_path / "symptoms.csv", PLAIN)

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("trunkwatch.spreadsheets.one_step.os.fsync", full)
    with pytest.raises(FileError, match="No space left"):
        append_records(
            tmp_path,
            "symptoms",
            [{"block": "B", "row": "1", "position": "5", "date": "2026-02-04", "symptom": "canker"}],
        )
    assert path.read_text() == PLAIN
    assert [p.name for p in tmp_path.iterdir()] == ["symptoms.csv"]


def test_write_folder_and_read_it_back(tmp_path):
    frames = {"blocks": frame_of("blocks", [{"block": "B", "planted": 2001, "latitude": 44.123456789}])}
    write_folder(tmp_path, frames)
    back = read_folder(tmp_path).frames["blocks"].drop(columns=["id", "read_from"])
    pd.testing.assert_frame_equal(back, frames["blocks"].drop(columns=["id", "read_from"]))
    assert cell_text(2001.0) == "2001"

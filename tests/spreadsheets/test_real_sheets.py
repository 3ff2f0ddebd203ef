"""trunkwatch.spreadsheets.worksheet, table, renamed, located, mapping on spreadsheets as people make them."""

import datetime as dt
import io
import zipfile
from dataclasses import replace

import openpyxl
import pytest

from trunkwatch.errors import FileError, RecordError
from trunkwatch.spreadsheets.folder import read_files
from trunkwatch.spreadsheets.located import plain_label
from trunkwatch.spreadsheets.mapping import ColumnMap, map_sheet
from trunkwatch.spreadsheets.renamed import TableMap, renamed
from trunkwatch.spreadsheets.table import read_table
from trunkwatch.spreadsheets.worksheet import read_csv, read_sheets
from trunkwatch.spreadsheets.write import append_records, write_folder, write_xlsx
from trunkwatch.vineyard.tables import frame_of

HEAD = "block,row,position,date,symptom\n"
LINE = "B,1,2,2026-02-03,canker\n"
ONE = {"block": "B", "row": "1", "position": "5", "date": "2026-02-04", "symptom": "canker"}


def csv(tmp_path, text, encoding="utf-8", name="symptoms.csv"):
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return path


def book(tmp_path, name="symptoms.xlsx", **sheets):
    made = openpyxl.Workbook()
    made.remove(made.active)
    for title, rows in sheets.items():
        page = made.create_sheet(title)
        for row in rows:
            page.append(row)
    made.save(tmp_path / name)
    return tmp_path / name


def read(path, table="symptoms"):
    frame, faults = read_table(read_sheets(path)[0], table)
    return frame, [fault for fault in faults if fault.weight == "fault"]


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        ("Scouting of B, north\n\n" + HEAD + LINE, "utf-8"),
        ("Scouting of B, north\n\n" + (HEAD + LINE).replace(",", ";"), "utf-8"),
        ("sep=;\n" + (HEAD + LINE).replace(",", ";"), "utf-8"),
        ("Block,Row #,Vine,Date,Symptom\n" + LINE, "utf-8"),
        (HEAD + LINE, "utf-16-le"),
        (HEAD + LINE, "utf-16-be"),
        (HEAD + LINE + "\n" + HEAD, "utf-8"),
        ("Block,Row,Position,Date,Symptom\nB,\xa01\xa0,2.0,2026-02-03,Canker\n", "cp1252"),
    ],
)
def test_what_is_meant_is_taken(tmp_path, text, encoding):
    frame, faults = read(csv(tmp_path, text, encoding))
    assert not faults
    assert frame[["block", "row", "position", "date", "symptom"]].to_numpy().tolist() == [
        ["B", "1", "2", "2026-02-03", "canker"]
    ]


def test_lines_are_counted_as_the_file_has_them(tmp_path):
    _, (fault,) = read(csv(tmp_path, "Title\n\n" + HEAD + LINE.replace("canker", "cancer")))
    assert fault.line == 4


def test_a_second_table_is_refused_once_and_where_it_begins(tmp_path):
    frame, (fault,) = read(
        csv(tmp_path, HEAD + LINE + "\nsurvey,block,date,look,covered\nw,B,2026-02-03,dormant,all\n")
    )
    assert (fault.line, len(frame)) == (4, 1)
    assert "a second table" in fault.problem


def test_a_merged_cell_and_an_error_are_named(tmp_path):
    path = book(
        tmp_path,
        symptoms=[
            HEAD.strip().split(","),
            ["B", 1, 2, dt.datetime(2026, 2, 3), "#REF!"],
            [None, 1, 3, "2026-02-03", "canker"],
        ],
    )
    _, faults = read(path)
    assert [(fault.line, fault.column, fault.value) for fault in faults] == [(2, "symptom", "#REF!"), (3, "block", "")]
    assert "error" in faults[0].problem
    assert "merged" in faults[1].expected


def test_a_formula_without_a_saved_result_is_no_empty_cell(tmp_path):
    path = book(
        tmp_path, symptoms=[[*HEAD.strip().split(","), "percent"], ["B", 1, 2, "2026-02-03", "canker", "=20+10"]]
    )
    frame, (fault,) = read(path)
    assert frame.empty
    assert (fault.line, fault.column) == (2, "F")


def test_a_workbook_of_one_sheet_goes_by_its_file_name(tmp_path):
    rows = [HEAD.strip().split(","), LINE.strip().split(",")]
    assert len(read_files([book(tmp_path, "symptoms-2026.xlsx", Sheet1=rows)]).frames["symptoms"]) == 1
    assert read_files([book(tmp_path, "symptoms.xlsx", Sheet1=rows, Sheet2=rows)]).frames["symptoms"].empty


@pytest.mark.parametrize(
    ("raw", "name"), [(b"PK\x03\x04rest", "a.csv"), (b"\xd0\xcf\x11\xe0rest", "a.csv"), (b"%PDF-1.4", "a.csv")]
)
def test_what_is_no_text_is_said_once(tmp_path, raw, name):
    (tmp_path / name).write_bytes(raw)
    frame, (fault,) = read(tmp_path / name)
    assert frame.empty
    assert "no CSV file" in fault.problem


def test_other_spreadsheets_and_a_bomb(tmp_path):
    (tmp_path / "a.xls").write_bytes(b"x")
    with pytest.raises(FileError, match=r"old workbook: save it as \.xlsx or CSV"):
        read_sheets(tmp_path / "a.xls")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("xl/worksheets/sheet1.xml", b"<row/>" * 5_000_000)
    (tmp_path / "bomb.xlsx").write_bytes(packed.getvalue())
    with pytest.raises(FileError, match="unpacks to far more"):
        read_sheets(tmp_path / "bomb.xlsx")


def test_a_share_under_one_percent_comes_back(tmp_path):
    frames = {"symptoms": frame_of("symptoms", [{**ONE, "percent": 0.35, "note": "a\x06b"}])}
    write_folder(tmp_path / "v", frames)
    write_xlsx(tmp_path / "symptoms.xlsx", frames)
    for path in (tmp_path / "v" / "symptoms.csv", tmp_path / "symptoms.xlsx"):
        frame, faults = read(path)
        assert not faults
        assert frame["percent"].tolist() == [0.35]


def test_unprintable_characters_are_left_out(tmp_path):
    frame, faults = read(csv(tmp_path, HEAD.strip() + ",note\n" + LINE.strip() + ",a\x0bb\n"))
    assert not faults
    assert frame["note"].tolist() == ["ab"]


@pytest.mark.parametrize("encoding", ["utf-16-be", "cp1252"])
def test_a_record_appended_to_a_file_of_an_old_encoding_can_be_read(tmp_path, encoding):
    mark = "\ufeff" if encoding == "utf-16-be" else ""
    csv(tmp_path, mark + HEAD.strip() + ",note\n" + LINE.strip() + ",é\n", encoding)
    append_records(tmp_path, "symptoms", [{**ONE, "note": "ő"}])
    frame, faults = read(tmp_path / "symptoms.csv")
    assert not faults
    assert frame["note"].tolist() == ["é", "ő"]


def test_a_record_appended_under_headings_of_ones_own_and_in_feet(tmp_path):
    csv(tmp_path, "Title\n\nBlock,Row #,Vine,Date,Symptom,Comments\n" + LINE.strip() + ",x\n")
    append_records(tmp_path, "symptoms", [{**ONE, "note": "y"}])
    frame, faults = read(tmp_path / "symptoms.csv")
    assert not faults
    assert frame[["position", "note"]].to_numpy().tolist() == [["2", "x"], ["5", "y"]]
    csv(tmp_path, "block,row_spacing_ft\nB,9\n", name="blocks.csv")
    append_records(tmp_path, "blocks", [{"block": "C", "row_spacing_m": 2.5}])
    frame, faults = read(tmp_path / "blocks.csv", "blocks")
    assert not faults
    assert frame["row_spacing_m"].tolist() == pytest.approx([9 * 0.3048, 2.5], abs=1e-6)


def test_a_sheet_with_words_of_its_own(tmp_path):
    path = csv(tmp_path, "Row #,Vine,When,What,Comments,Sky\n1,2,03/02/2026,dead cordon,x,blue\n")
    told = TableMap("symptoms", {"date": "when", "symptom": "What"}, {"Dead Cordon": "dead_arm"}, {"block": "B"}, "day")
    frame, faults = read_table(renamed(read_csv(path), told), "symptoms")
    assert not [fault for fault in faults if fault.weight == "fault"]
    assert frame.loc[0, ["block", "row", "position", "date", "symptom", "note"]].tolist() == [
        "B",
        "1",
        "2",
        "2026-02-03",
        "dead_arm",
        "x",
    ]
    with pytest.raises(RecordError, match="no column 'Day'; its columns: Row #"):
        renamed(read_csv(path), TableMap("symptoms", {"date": "Day"}))
    with pytest.raises(RecordError, match="symptoms has no column 'colour'"):
        renamed(read_csv(path), TableMap("symptoms", {"colour": "Sky"}))


def test_plain_labels():
    assert plain_label("Row 07") == plain_label("7") == "7"
    assert plain_label("A-01") == plain_label("a-1")
    assert len({plain_label(str(number)) for number in range(1, 2000)}) == 1999


TOLD = ColumnMap(row="Row", position="Vine", status="Sick", day="2026-08-01", case_when="Y", block_label="B")


def mapped(tmp_path, *lines, told=TOLD, known=None):
    return map_sheet(read_csv(csv(tmp_path, "Row,Vine,Sick\n" + "".join(f"{line}\n" for line in lines))), told, known)


@pytest.mark.parametrize(
    ("line", "column", "expected"),
    [
        (",5,Y", "Row", "merged cell"), ("1,,Y", "Vine", "position"), ("1,4b,Y", "Vine", "number of the vine"), ("1,nan,Y", "Vine", "number"),
        ("1,1000000000,Y", "Vine", "number"), ("12-Jan,4,Y", "Row", "as text"), ("01,4,Y", "Row", "1, written alike"),
        ("1,2,N", "Sick", "one line a vine"), ("Total,,9", "Vine", "position"), ("1,#N/A,Y", "Vine", "value itself"),
    ],
)  # fmt: skip
def test_a_faulty_line_of_a_plan_is_named(tmp_path, line, column, expected):
    (fault,) = mapped(tmp_path, "1,2,Y", "1,3,N", line).faults
    assert (fault.line, fault.column) == (4, column)
    assert expected in fault.expected


def test_a_file_that_breaks_off_is_not_taken_in_silence(tmp_path):
    faults = mapped(tmp_path, "1,2,Y", '1,3,"Y').faults
    assert any("breaks off" in fault.problem for fault in faults)


def test_rows_that_are_there_stay_as_they_are(tmp_path):
    """A list of cases says nothing of the vines between them."""
    found = mapped(tmp_path, "1,2,Y", "1,9,Y", known={("B", "1"): (1, 40)})
    assert all(found.frames[table].empty for table in ("blocks", "rows", "plants"))
    assert found.frames["surveys"]["covered"].tolist() == ["1:2..2; 1:9..9"]
    assert any("every vine listed is a case" in line for line in found.account)
    (fault,) = mapped(tmp_path, "1,2,Y", "1,41,N", known={("B", "1"): (1, 40)}).faults
    assert fault.expected == "1 to 40 in row 1"


def test_every_status_is_accounted_for(tmp_path):
    account = mapped(tmp_path, "1,2,Y", "1,3,N", "1,4,?", told=replace(TOLD, unseen_when="?")).account
    assert "Sick read as a case: Y (1)" in account
    assert "Sick read as scouted and sound, understood without a rule: N (1)" in account
    assert "Sick read as not scouted: ? (1)" in account
    with pytest.raises(RecordError, match=r"'n/a' \(1 line, first in line 3\)"):
        mapped(tmp_path, "1,2,3", "1,3,n/a", told=replace(TOLD, case_when=">0"))

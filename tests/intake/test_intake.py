"""trunkwatch.intake: checks, check_findings, check_layout, check_seasons, add, bring, start, where."""

import pytest

from trunkwatch.errors import FaultyNotesError, FileError, RecordError
from trunkwatch.intake import add_records, check_frames, check_vineyard, start_folder
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.fault_at import fault_at
from trunkwatch.spreadsheets.write import write_folder
from trunkwatch.vineyard.tables import TABLES, empty_frame, frame_of

TODAY = "2026-11-25"


def faults_of(tables):
    frames = {name: frame_of(name, tables.get(name, [])) for name in TABLES}
    from trunkwatch.vineyard.records import with_ids

    return check_frames({name: with_ids(name, frame) for name, frame in frames.items()}, today=TODAY)


def problems(tables, weight="fault"):
    return [fault.problem for fault in faults_of(tables) if fault.weight == weight]


def test_the_golden_example_has_no_fault(golden):
    assert problems(golden.TABLES) == []


def finding(golden, **more):
    return {**golden.SYMPTOMS[0], "date": "2024-08-15", **more}


@pytest.mark.parametrize(
    ("more", "problem"),
    [
        ({"position": "9"}, "no such position"),
        ({"row": "7"}, "unknown row"),
        ({"block": "X"}, "unknown block"),
        ({"symptom": "dead_arm", "arm": "head"}, "bilateral vines have no such arm"),
        ({"date": "2031-01-01"}, "the day lies in the future"),
        ({"date": "1999-01-01"}, "before the block was planted"),
        ({"date": "2026-02-30"}, "date is no date"),
        ({"position": ""}, "neither position nor bay and vine"),
        ({"position": "", "bay": "2", "vine": 1}, "no bay_ends"),
    ],
)
def test_faults_of_findings(golden, more, problem):
    found = problems({**golden.TABLES, "symptoms": [*golden.SYMPTOMS, finding(golden, **more)]})
    assert len(found) == 1
    assert problem in found[0]


def test_faults_of_surveys_and_plants(golden):
    survey = {**golden.SURVEYS[0], "survey": "x", "date": "2022-08-01"}
    assert (
        "not that long"
        in problems({**golden.TABLES, "surveys": [*golden.SURVEYS, {**survey, "covered": "1:1..12"}]})[0]
    )
    assert "two dots" in problems({**golden.TABLES, "surveys": [*golden.SURVEYS, {**survey, "covered": "1-8"}]})[0]
    twice = [{"block": "G", "row": "1", "position": "2", "planted": year} for year in ("2010-04-01", "2014-04-01")]
    assert "two plants in one position" in problems({**golden.TABLES, "plants": [*golden.PLANTS, *twice]})[0]
    removed = {"block": "G", "row": "1", "position": "2", "removed": "2012-01-01"}
    assert problems({**golden.TABLES, "plants": [*golden.PLANTS, *twice, removed]}) == []


@pytest.mark.parametrize(
    ("more", "problem"),
    [
        ({"position": "6"}, "where no vine stands"),
        ({"position": "5", "date": "2024-09-01"}, "alive after it was found dead on 2024-08-15"),
        ({"position": "8", "date": "2024-05-20"}, "no survey covers this finding"),
        ({"position": "8", "date": "2024-01-15", "symptom": "canker"}, "canker is not mentioned in 2026"),
        (
            {"position": "7", "symptom": "none", "date": "2026-08-15", "observer": "C.D."},
            "observers disagree",
        ),
    ],
)
def test_notes_of_findings(golden, more, problem):
    found = problems({**golden.TABLES, "symptoms": [*golden.SYMPTOMS, finding(golden, **more)]}, "note")
    assert any(problem in text for text in found), found


def test_a_finding_that_jumped_to_the_neighbour(golden):
    jumped = [
        finding(golden, position="1", date="2023-01-15", symptom="dead_arm", arm="end"),
        finding(golden, position="2", date="2024-01-15", symptom="dead_arm", arm="end"),
    ]
    found = problems({**golden.TABLES, "symptoms": [*golden.SYMPTOMS, *jumped], "work": []}, "note")
    assert any("one vine off" in text for text in found)


def test_check_vineyard_reports_lines(golden, tmp_path):
    tables = {**golden.TABLES, "symptoms": [*golden.SYMPTOMS, finding(golden, position="9")]}
    write_folder(tmp_path, {name: frame_of(name, records) for name, records in tables.items()})
    (fault,) = [f for f in check_vineyard(tmp_path, today=TODAY) if f.weight == "fault"]
    assert (fault.file, fault.line, fault.column, fault.value, fault.expected) == (
        "symptoms.csv",
        10,
        "position",
        "9",
        "1 to 8 in row 1",
    )


@pytest.fixture
def vines(tmp_path):
    start_folder(
        tmp_path / "v",
        {"block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5},
        3,
        10,
    )
    return tmp_path / "v"


RECORD = {
    "block": "B",
    "row": "3",
    "position": "7",
    "date": "2026-02-03",
    "symptom": "dead_arm",
    "arm": "start",
    "percent": 60.0,
}


def test_add_once_and_again(vines):
    assert add_records(vines, "symptoms", [RECORD]).new["symptoms"] == 1
    before = (vines / "symptoms.csv").read_bytes()
    assert add_records(vines, "symptoms", [RECORD]).same["symptoms"] == 1
    assert (vines / "symptoms.csv").read_bytes() == before


def test_a_faulty_record_takes_nothing(vines):
    add_records(vines, "symptoms", [RECORD])
    before = (vines / "symptoms.csv").read_bytes()
    with pytest.raises(FaultyNotesError):
        add_records(vines, "symptoms", [{**RECORD, "position": "8"}, {**RECORD, "position": "11"}])
    assert (vines / "symptoms.csv").read_bytes() == before


def test_two_lines_that_contradict_each_other_are_refused(vines):
    with pytest.raises(FaultyNotesError, match="another percent"):
        add_records(vines, "symptoms", [RECORD, {**RECORD, "percent": 10.0}])


def test_changes_are_told_and_taken_on_request(vines):
    add_records(vines, "symptoms", [RECORD])
    changed = {**RECORD, "percent": 80.0}
    assert add_records(vines, "symptoms", [changed]).changed[0].values == {"percent": (60.0, 80.0)}
    add_records(vines, "symptoms", [changed], take_changes=True)
    from trunkwatch.block.opening import open_vineyard

    with open_vineyard(vines) as store:
        assert store.frame("symptoms")["percent"].tolist() == [80.0]


def test_a_correction_needs_its_original(vines):
    with pytest.raises(RecordError, match="no record 'nothing'"):
        add_records(vines, "symptoms", [{**RECORD, "corrects": "nothing"}])


def test_start_twice(vines):
    with pytest.raises(FileError, match="already"):
        start_folder(vines, {"block": "B", "row_spacing_m": 2.5, "vine_spacing_m": 1.5}, 3, 10)
    start_folder(vines, {"block": "C", "row_spacing_m": 2.5, "vine_spacing_m": 1.5}, 2, 5)
    assert "C" in (vines / "blocks.csv").read_text("utf-8-sig")


def test_bring_files(vines, tmp_path):
    (tmp_path / "symptoms-2026.csv").write_text("block,row,position,date,symptom\nB,1,1,2026-02-03,canker\n")
    added, _ = bring_files(vines, tmp_path / "symptoms-2026.csv")
    assert added.new["symptoms"] == 1
    with pytest.raises(FileError, match="--map"):
        bring_files(vines, _named(tmp_path))


def test_a_folder_of_findings_alone_is_taken(vines, tmp_path):
    (tmp_path / "scout").mkdir()
    (tmp_path / "scout" / "symptoms.csv").write_text("block,row,position,date,symptom\nB,1,1,2026-02-03,canker\n")
    added, _ = bring_files(vines, tmp_path / "scout")
    assert added.new["symptoms"] == 1


def test_two_findings_known_by_their_coordinates_alone_are_two(vines):
    """Neither names a vine here; each is told by itself, not as one record with two values."""
    point = {"block": "B", "date": "2026-02-03", "symptom": "canker", "latitude": 44.0}
    with pytest.raises(FaultyNotesError) as told:
        add_records(vines, "symptoms", [{**point, "longitude": 5.0}, {**point, "longitude": 5.1}])
    assert len(told.value.faults) == 2
    assert all("not placed on the earth" in fault.problem for fault in told.value.faults)


def test_a_row_that_came_later_was_not_looked_at_before(tmp_path):
    """By hand: 20 vines until row 1b came with 10 young ones in March 2026."""
    from trunkwatch.block import load

    write_folder(
        tmp_path / "late",
        {
            "blocks": frame_of(
                "blocks", [{"block": "B", "planted": 2005, "row_spacing_m": 2.5, "vine_spacing_m": 1.5}]
            ),
            "rows": frame_of(
                "rows",
                [
                    {"block": "B", "row": row, "row_order": order, "first": 1, "last": 10, "valid_from": since}
                    for row, order, since in (("1", 1, ""), ("1b", 2, "2026-03-01"), ("2", 3, ""))
                ],
            ),
            "surveys": frame_of(
                "surveys",
                [
                    {"block": "B", "date": f"{year}-07-05", "look": "summer", "covered": covered}
                    for year, covered in ((2025, "1..2"), (2026, "all"))
                ],
            ),
        },
    )
    history = load(tmp_path / "late", definition="leaf").history
    assert [int(looked.sum()) for looked in history.looked_at > 0] == [20, 30]
    assert [fault for fault in check_vineyard(tmp_path / "late", today=TODAY) if fault.weight == "fault"] == []


def test_the_history_of_a_vine_takes_bays(tmp_path):
    """By hand: bays of 5, so bay 2 vine 3 is position 8."""
    from trunkwatch.block import open_vineyard
    from trunkwatch.block.vine_records import vine_records

    write_folder(
        tmp_path / "bays",
        {
            "blocks": frame_of("blocks", [{"block": "B", "row_spacing_m": 2.5, "vine_spacing_m": 1.5}]),
            "rows": frame_of("rows", [{"block": "B", "row": "1", "first": 1, "last": 20, "bay_ends": "every 5"}]),
            "symptoms": frame_of(
                "symptoms",
                [{"block": "B", "row": "1", "bay": "2", "vine": 3, "date": "2026-02-03", "symptom": "canker"}],
            ),
        },
    )
    with open_vineyard(tmp_path / "bays") as store:
        (told,) = vine_records(store, "B", "1", "8")
    assert "written as row 1, bay 2, vine 3" in told.text


def _named(tmp_path):
    path = tmp_path / "vines.csv"
    path.write_text("a,b\n1,2\n")
    return path


def test_fault_at_reads_the_place():
    fault = fault_at({"read_from": "symptoms.csv:12"}, "note", "odd")
    assert (fault.file, fault.line) == ("symptoms.csv", 12)
    assert empty_frame("costs").empty

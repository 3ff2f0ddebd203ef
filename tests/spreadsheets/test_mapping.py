"""trunkwatch.spreadsheets.mapping and the open maps, brought in as a user would."""

from dataclasses import replace

import numpy as np
import pytest

from trunkwatch.errors import RecordError
from trunkwatch.intake.bring import bring_sheet
from trunkwatch.pattern.one_survey import look_pattern
from trunkwatch.spreadsheets.mapping import ColumnMap, map_sheet
from trunkwatch.spreadsheets.worksheet import Worksheet


def sheet(*lines):
    return Worksheet(
        "plants.csv",
        "plants",
        ["Row", "Vine", "Sick", "Day"],
        [(n + 2, list(line)) for n, line in enumerate(lines)],
    )


def test_empty_status_is_not_looked_at_and_missing_is_no_plant():
    told = ColumnMap(row="Row", position="Vine", status="Sick", date="Day", missing_when="gone")
    mapped = map_sheet(
        sheet(
            ("1", "1", "1", "2026-08-01"),
            ("1", "2", "", "2026-08-01"),
            ("1", "3", "gone", "2026-08-01"),
            ("1", "5", "0", "2026-08-01"),
            ("", "6", "1", "2026-08-01"),
        ),
        told,
    )
    assert mapped.frames["surveys"]["covered"].tolist() == ["1:1..1; 1:5..5"]
    assert mapped.frames["symptoms"]["position"].tolist() == ["1"]
    # Position 4 may stand in the line that is left out: it is no gap.
    assert list(zip(mapped.frames["plants"]["position"], mapped.frames["plants"]["reason"], strict=True)) == [("3", "")]
    assert (
        "1 position(s) have no good line: they are taken for vines that nobody scouted, not for gaps" in mapped.account
    )
    (fault,) = mapped.faults
    assert (fault.line, fault.column, fault.problem) == (6, "Row", "row is empty")


def test_a_column_that_is_not_there():
    with pytest.raises(RecordError, match="no column 'Status'; its columns: Row, Vine, Sick, Day"):
        map_sheet(sheet(), ColumnMap(row="Row", position="Vine", status="Status", day="2026-08-01"))


def test_days_need_a_day_zero():
    told = ColumnMap(row="Row", position="Vine", status="Sick", date="Day")
    (fault,) = map_sheet(sheet(("1", "1", "1", "50")), told).faults
    assert "--day-zero" in fault.expected
    with pytest.raises(RecordError, match="--day-zero 'soon' is no date"):
        map_sheet(sheet(("1", "1", "1", "50")), replace(told, day_zero="soon"))


#: Case-case joins, expectation and z under random labelling: R spdep 1.2-7, joincount.test.
TOMATO = {
    "1929-12-18": (261, 103, 91.565, 1.451),
    "1929-12-31": (486, 342, 318.047, 1.999),
    "1930-01-22": (828, 951, 923.953, 2.019),
}


def test_tomato_1929(open_data, tmp_path):
    """Cochran 1936: 261 of 1440 diseased at the first date; joins from R spdep 1.2-7."""
    told = ColumnMap(
        date="date",
        status="diseased",
        symptom="leaf_stripe",
        look="summer",
        row_spacing_m=1,
        vine_spacing_m=0.5,
    )
    added, account = bring_sheet(tmp_path / "v", open_data / "tomato_spotted_wilt_1929.csv", told)
    assert added.new["symptoms"] == 261 + 486 + 828
    assert "4320 of 4320 lines imported, 1 block(s), 24 rows" in account
    for day, (cases, joins, expected, z) in TOMATO.items():
        found = look_pattern(tmp_path / "v", date=day, permutations=99)
        rarer = found.tested == "vines without symptoms"
        assert found.n_cases == cases
        if not rarer:
            assert found.primary.case_case == joins
            assert found.primary.expected_case_case == pytest.approx(expected, abs=5e-4)
            assert found.primary.z == pytest.approx(z, abs=5e-4)
        else:
            assert found.primary.free_free == joins
    again, _ = bring_sheet(tmp_path / "v", open_data / "tomato_spotted_wilt_1929.csv", told)
    assert sum(again.new.values()) == 0


def test_watermelon_by_days_after_planting(open_data, tmp_path):
    """Cafe-Filho et al. 2010: 4 to 62 of 192 cases; at 80 days every plant is a case and no test is possible."""
    told = ColumnMap(
        date="days_after_planting",
        day_zero="2009-01-01",
        status="severity",
        case_when=">0",
        symptom="leaf_stripe",
        scale="0 to 4",
    )
    bring_sheet(tmp_path / "v", open_data / "watermelon_gummy_stem_blight.csv", told)
    days = {
        50: ("2009-02-20", 4, 4, 11.604),
        65: ("2009-03-07", 36, 15, 0.960),
        74: ("2009-03-16", 62, 58, 5.034),
    }
    for day, cases, joins, z in days.values():
        found = look_pattern(tmp_path / "v", date=day, permutations=99)
        assert (found.n_cases, found.primary.case_case) == (cases, joins)
        assert found.primary.z == pytest.approx(z, abs=5e-4)
    last = look_pattern(tmp_path / "v", survey="import 2009-03-22", permutations=99)
    assert np.isnan(last.primary.pvalue)
    assert last.primary.reason == "every vine is a case"


def test_pepper_two_fields(open_data, tmp_path):
    """Gumpertz et al. 1997: R spdep 1.2-7 gives z 6.33367 and 13.05418."""
    told = ColumnMap(block="field", status="disease", case_when="Y", symptom="leaf_stripe", day="1995-08-01")
    bring_sheet(tmp_path / "v", open_data / "pepper_phytophthora_1997.csv", told)
    for block, joins, z in (("F1", 34, 6.33367), ("F2", 64, 13.05418)):
        found = look_pattern(tmp_path / "v", block, date="1995-08-01", permutations=99)
        assert found.primary.case_case == joins
        assert found.primary.z == pytest.approx(z, abs=5e-5)


def test_order_within_row_and_panel(open_data, tmp_path):
    """352 vines, 11 rows x 16 panels x 2: the order of lines is the position, panels become bays."""
    told = ColumnMap(row="row", bay="panel", rootstock="rootstock", order_within=("row", "panel"))
    added, _ = bring_sheet(tmp_path / "v", open_data / "vines_by_row_and_panel.csv", told)
    assert added.new["rows"] == 11
    assert "10,1,32,2; 4; 6; 8;" in (tmp_path / "v" / "rows.csv").read_text("utf-8-sig")

"""The user's own forecast, read from a file. trunkwatch.spreadsheets: days_ahead."""

import pytest

from trunkwatch.errors import FaultyNotesError, FileError, RecordError
from trunkwatch.spreadsheets.days_ahead import read_days_ahead


def _file(tmp_path, text):
    path = tmp_path / "week.csv"
    path.write_text(text)
    return path


def test_a_stations_headings_and_units_are_understood_in_any_order_of_days(tmp_path):
    path = _file(tmp_path, "Day,Low (F),High (F),Rain (in)\n2027-01-22,5,23,\n2027-01-21,-4,14,0.1\n")
    frame = read_days_ahead(path)
    assert frame["date"].tolist() == ["2027-01-21", "2027-01-22"]
    assert frame["t_min_c"].tolist() == [-20.0, -15.0]
    assert frame["t_max_c"].tolist() == [-10.0, -5.0]
    assert frame["rain_mm"].tolist()[0] == 2.54
    assert frame["rain_mm"].isna().tolist() == [False, True]


def test_headings_and_units_can_be_said(tmp_path):
    path = _file(tmp_path, "Tag;Kalt;Warm\n2027-01-21;-4;14\n")
    frame = read_days_ahead(path, {"date": "Tag", "t_min_c": "Kalt", "t_max_c": "Warm"}, "F")
    assert frame["t_min_c"].tolist() == [-20.0]


@pytest.mark.parametrize(("text", "error", "says"), [
    ("date,low (C),high (C)\n2027-01-21,-20,-9\n2027-01-21,-21,-9\n", RecordError, "2027-01-21 is there twice"),
    ("date,low (C),high (C)\n2027-01-21,-9,-20\n", RecordError, r"lowest temperature of 2027-01-21 is above its highest \(-9 above -20 C\)"),
    ("date,low (C),high (C)\n2027-01-21,-999,-9\n", RecordError, "2027-01-21 has no lowest temperature"),
    ("date,low (C),high (C)\n2027-01-21,-9,\n", RecordError, "2027-01-21 has no highest temperature"),
    ("date,low,high\n2027-01-21,-9,3\n", RecordError, "says no unit of temperature"),
    ("date,low (C),high (C)\n2027-01-21,20,80\n", RecordError, "looks like Fahrenheit"),
    ("date,low (C),high (C)\n2027-01-21,cold,3\n", FaultyNotesError, "line 2, column t_min_c"),
    ("wind\n3\n", RecordError, "no heading is understood as date"),
])  # fmt: skip
def test_what_cannot_be_is_one_clear_line(tmp_path, text, error, says):
    with pytest.raises(error, match=says):
        read_days_ahead(_file(tmp_path, text))


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(FileError, match=r"no file .*nowhere\.csv"):
        read_days_ahead(tmp_path / "nowhere.csv")

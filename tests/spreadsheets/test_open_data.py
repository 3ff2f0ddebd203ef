"""Files of a point of two public grids, and where a station lies. trunkwatch.spreadsheets: open_data; trunkwatch.intake: station_distance."""

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.intake.station_distance import FAR_KM, distance_km, distance_note
from trunkwatch.spreadsheets.open_data import open_data_sheet, place_of_station
from trunkwatch.spreadsheets.station import station_sheet
from trunkwatch.spreadsheets.worksheet import read_csv
from trunkwatch.store import Store

#: As the grid writes it, with invented figures: lines about the file, then a line a day, and semicolons in the citation.
DAYMET = """Latitude: 44.1  Longitude: -30.2
X & Y on Lambert Conformal Conic: 1.00 2.00
Tile: 1
Elevation: 243 meters
All years; all variables; Daymet Software Version 4.0
How to cite: A.; B.; C.; D.; E.; F.; G.; H. 2022. A grid; Version 4. A town; A state
year,yday,dayl (s),prcp (mm/day),srad (W/m^2),swe (kg/m^2),tmax (deg c),tmin (deg c),vp (Pa)
2024,59,39000.00,2.50,200.0,12.0,4.63,-13.47,472.61
2024,60,39100.00,0.00,200.0,12.0,5.00,-9.00,472.61
2024,365,32000.00,1.00,100.0,0.0,1.00,-2.00,472.61
2025,1,32000.00,0.00,100.0,0.0,2.00,-1.00,472.61
"""
POWER = """-BEGIN HEADER-
NASA/POWER Source Native Resolution Daily Data
Dates (month/day/year): 02/28/2024 through 03/01/2024 in LST
Location: latitude  44.1   longitude -30.2
value for missing source data that cannot be computed or is outside of the sources availability range: -999
parameter(s):
T2M_MIN         Temperature at 2 Meters Minimum (C)
-END HEADER-
YEAR,MO,DY,T2M_MAX,T2M_MIN,PRECTOTCORR
2024,2,28,4.63,-13.47,2.5
2024,2,29,-999,-9.0,0.0
2024,3,1,5.0,-8.0,-999
"""


def sheet_of(tmp_path, text, name="grid.csv"):
    path = tmp_path / name
    path.write_text(text)
    return read_csv(path)


def days_of(sheet):
    return [dict(zip(sheet.headings, cells, strict=True)) for _, cells in sheet.lines]


def test_daymet_days_are_counted_in_the_year_and_29_february_is_one(tmp_path):
    read = station_sheet(sheet_of(tmp_path, DAYMET))
    assert days_of(read) == [
        {"date": "2024-02-28", "t_min_c": -13.47, "t_max_c": 4.63, "rain_mm": 2.5},
        {"date": "2024-02-29", "t_min_c": -9.0, "t_max_c": 5.0, "rain_mm": 0.0},
        {"date": "2024-12-30", "t_min_c": -2.0, "t_max_c": 1.0, "rain_mm": 1.0},
        {"date": "2025-01-01", "t_min_c": -1.0, "t_max_c": 2.0, "rain_mm": 0.0},
    ]
    assert any("31 December of leap years" in str(fault) for fault in read.faults)


@pytest.mark.parametrize("by", ["month", "day of the year"])
def test_power_days_come_by_month_or_by_day_of_the_year_with_gaps_as_gaps(tmp_path, by):
    text = POWER
    if by != "month":
        text = text.replace("YEAR,MO,DY", "YEAR,DOY").replace("2024,2,28", "2024,59")
        text = text.replace("2024,2,29", "2024,60").replace("2024,3,1", "2024,61")
    read = station_sheet(sheet_of(tmp_path, text))
    assert days_of(read) == [
        {"date": "2024-02-28", "t_min_c": -13.47, "t_max_c": 4.63, "rain_mm": 2.5},
        {"date": "2024-02-29", "t_min_c": -9.0, "t_max_c": None, "rain_mm": 0.0},
        {"date": "2024-03-01", "t_min_c": -8.0, "t_max_c": 5.0, "rain_mm": None},
    ]
    assert any("2 cell(s) with a code for a missing value" in str(fault) for fault in read.faults)


def test_a_line_that_is_no_day_is_named_with_its_line(tmp_path):
    path = tmp_path / "grid.csv"
    path.write_text(POWER.replace("2024,3,1,", "2024,13,1,"))
    done = CliRunner().invoke(main, ["load", str(tmp_path / "v.gpkg"), str(path), "--table", "weather"])
    assert done.exit_code == 1
    assert "line 12" in done.output
    assert "2024-13-1" in done.output


def test_other_files_are_left_alone(tmp_path):
    assert open_data_sheet(sheet_of(tmp_path, "date,tmin\n2024-01-01,3\n")) is None
    assert open_data_sheet(sheet_of(tmp_path, "year,yday,yield\n2024,1,3\n")) is None


def test_where_a_station_lies_is_read_from_its_head_or_its_columns(tmp_path):
    for text in (DAYMET, POWER):
        assert place_of_station(sheet_of(tmp_path, text), text) == (44.1, -30.2)
        assert place_of_station(sheet_of(tmp_path, text)) is None
    columns = "STATION,LATITUDE,LONGITUDE,DATE,TMIN\nX,44.1,-30.2,2024-01-01,3\nX,44.1,-30.2,2024-01-02,3\n"
    assert place_of_station(sheet_of(tmp_path, columns)) == (44.1, -30.2)
    assert (
        place_of_station(sheet_of(tmp_path, columns.replace("44.1,-30.2,2024-01-02", "45.1,-30.2,2024-01-02"))) is None
    )
    assert place_of_station(sheet_of(tmp_path, columns.replace("44.1", "144.1"))) is None
    assert place_of_station(sheet_of(tmp_path, "date,tmin\n2024-01-01,3\n")) is None


def test_the_way_over_the_earth():
    """A degree of a meridian is 111.2 km on a ball of 6371 km; at 60 degrees one of a parallel is half of it."""
    assert distance_km((44.0, 10.0), (45.0, 10.0)) == pytest.approx(111.19, abs=0.01)
    assert distance_km((60.0, 10.0), (60.0, 11.0)) == pytest.approx(55.6, abs=0.1)
    assert distance_km((10.0, 179.5), (10.0, -179.5)) == pytest.approx(109.5, abs=0.1)
    assert distance_km((44.0, 10.0), (44.0, 10.0)) == 0


def test_a_far_station_is_said_to_be_too_far_and_a_near_one_how_far():
    near, far = ("Top", 44.1, -30.2), ("Mid", 46.0, -30.2)
    (told,) = distance_note((44.1, -30.2), [near], "s.csv")
    assert (told.weight, told.problem) == ("note", "the station lies 0 km from block Top")
    (told,) = distance_note((44.1, -30.2), [near, far], "s.csv")
    assert "0 km from block Top, 211 km from block Mid: too far for the nights of a block" in told.problem
    assert told.expected.startswith(f"a station within {FAR_KM:.0f} km")
    assert distance_note(None, [near], "s.csv") == distance_note((44.1, -30.2), [], "s.csv") == []


def test_loading_says_how_far_the_station_lies(tmp_path):
    hill = tmp_path / "hill"
    hill.mkdir()
    (hill / "blocks.csv").write_text("block,latitude,longitude\nTop,46,-30.2\n")
    (hill / "rows.csv").write_text("block,row,last\nTop,1,9\n")
    path = tmp_path / "grid.csv"
    path.write_text(POWER)
    done = CliRunner().invoke(main, ["load", str(hill), str(path), "--table", "weather"])
    assert done.exit_code == 0, done.output
    assert "the station lies 211 km from block Top: too far" in done.output
    assert (hill / "weather.csv").read_text().count("2024-0") == 3


@pytest.mark.parametrize(("units", "lowest"), [("F, in", -25.56), ("C, mm", -14.0), ("", None)])
def test_the_desk_takes_a_stations_file_in_its_units(tmp_path, units, lowest):
    import io

    from trunkwatch.intake import start_file
    from trunkwatch.web.app import create_app

    path = tmp_path / "v.gpkg"
    start_file(path, {"block": "B", "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north"}, 2, 9)
    client = create_app(path, hosts=frozenset({"127.0.0.1:8321"})).test_client()
    asked = {"base_url": "http://127.0.0.1:8321", "headers": {"Origin": "http://127.0.0.1:8321"}}
    file = (io.BytesIO(b"date,tmin,tmax,rain\n2024-01-10,-14,20,0.5\n"), "our station.csv")
    sent = client.post(
        "/import", data={"file": file, "weather": "yes", "units": units}, content_type="multipart/form-data", **asked
    )
    assert sent.status_code == 302
    token = sent.headers["Location"].rsplit("/", 1)[1]
    page = client.get(f"/import/{token}", **asked)
    if lowest is None:
        assert "says no unit of temperature" in page.text
        return
    assert "1 in weather" in " ".join(page.text.split())
    assert client.post(f"/import/{token}/take", data={}, **asked).status_code == 200
    with Store.open(path) as store:
        assert store.frame("weather")["t_min_c"].tolist() == [pytest.approx(lowest)]

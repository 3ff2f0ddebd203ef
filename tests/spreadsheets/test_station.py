"""Weather stations' files of all kinds. trunkwatch.spreadsheets: station."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.errors import FaultyNotesError, RecordError
from trunkwatch.intake.bring import bring_files, bring_table
from trunkwatch.spreadsheets.renamed import TableMap
from trunkwatch.spreadsheets.station import station_sheet, units_of
from trunkwatch.spreadsheets.worksheet import read_csv
from trunkwatch.store import Store

LINCOLN = Path(__file__).resolve().parent.parent / "winter_model" / "stations" / "lincoln_2016.csv"


def _read(tmp_path, text, **given):
    path = tmp_path / "station.csv"
    path.write_text(text)
    sheet = station_sheet(read_csv(path), **given)
    return [dict(zip(sheet.headings, cells, strict=True)) for _, cells in sheet.lines], [
        str(one) for one in sheet.faults
    ]


def test_one_value_a_line_in_tenths_without_headings(tmp_path):
    lines, notes = _read(
        tmp_path,
        (
            "XX000000001,20240110,TMIN,-183,,,S,0700\nXX000000001,20240110,TMAX,-22,,,S,0700\nXX000000001,20240110,PRCP,25,,,S,\n"
            "XX000000001,20240110,SNWD,120,,,S,\nXX000000001,20240111,TMIN,-9999,,,S,\nXX000000001,20240111,TMAX,31,,G,S,\n"
            "XX000000001,20240111,WT01,1,,,S,\n"
        ),
    )
    assert lines == [
        {"date": "2024-01-10", "t_min_c": -18.3, "t_max_c": -2.2, "rain_mm": 2.5, "snow_cm": 12.0},
        {"date": "2024-01-11", "t_min_c": None, "t_max_c": None, "rain_mm": None, "snow_cm": None},
    ]
    assert any("1 cell(s) with a code for a missing value" in note for note in notes)
    assert any("1 value(s) that failed a check" in note for note in notes)


def test_one_day_a_line_in_tenths_is_known_by_its_attributes(tmp_path):
    lines, notes = _read(
        tmp_path,
        (
            '"STATION","DATE","NAME","PRCP","PRCP_ATTRIBUTES","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"\n'
            '"XX000000001","2024-01-10","HILL","25",",,S,0700","-22",",,S","-183",",,S"\n'
            '"XX000000001","2024-01-11","HILL","","","31",",I,S","-99",",,S"\n'
        ),
    )
    assert lines[0] == {"date": "2024-01-10", "t_min_c": -18.3, "t_max_c": -2.2, "rain_mm": 2.5}
    assert lines[1]["t_max_c"] is None
    assert any("t_min_c from c/10" in note for note in notes)


def test_attributes_beside_degrees_are_not_taken_for_tenths(tmp_path):
    text = '"DATE","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"\n"2024-01-10","36",",,S","15",",X,S"\n'
    with pytest.raises(RecordError, match="'TMIN' says no unit of temperature"):
        _read(tmp_path, text)
    lines, _ = _read(tmp_path, text, units={"c": "f"})
    assert lines == [{"date": "2024-01-10", "t_min_c": None, "t_max_c": 2.22}]


def test_own_headings_in_fahrenheit_and_inches(tmp_path):
    lines, notes = _read(tmp_path, "Day,Low (F),High (F),Rain (in),Snow depth (in)\n2024-01-10,-13,32,0.1,-999\n")
    assert lines == [{"date": "2024-01-10", "t_min_c": -25.0, "t_max_c": 0.0, "rain_mm": 2.54, "snow_cm": None}]
    assert any("t_min_c from F" in note for note in notes)
    again, _ = _read(
        tmp_path,
        "Datum;Kalt;Warm\n2024-01-10;-13;32\n",
        columns={"t_min_c": "Kalt", "t_max_c": "Warm"},
        units={"c": "f"},
    )
    assert again[0]["t_min_c"] == -25.0


def test_columns_of_our_own_stay(tmp_path):
    lines, _ = _read(tmp_path, "vineyard,date,t_min_c,t_max_c,wind,observer\nHill,2024-01-10,-3,5,12,Ana\n")
    assert lines == [{"date": "2024-01-10", "t_min_c": -3.0, "t_max_c": 5.0, "vineyard": "Hill", "observer": "Ana"}]


def test_codes_of_ones_own_for_a_missing_value(tmp_path):
    lines, _ = _read(tmp_path, "date,tmin_c,tmax_c\n2024-01-10,-100,5\n2024-01-11,-99,-9999\n", missing=("-100",))
    assert [line["t_min_c"] for line in lines] == [None, None]
    assert lines[0]["t_max_c"] == 5.0


@pytest.mark.parametrize(("text", "given", "problem"), [
    ("date,tmin,tmax\n2024-01-10,-13,32\n", {}, "'tmin' says no unit of temperature"),
    ("when,tmin (C)\n2024-01-10,-13\n", {}, "no heading is understood as date"),
    ("date,wind\n2024-01-10,-13\n", {}, "no heading is understood as t_min_c"),
    ("date,low (C),tmin (C)\n2024-01-10,-13,2\n", {}, "could both be t_min_c"),
    ("date,low (mm)\n2024-01-10,-13\n", {}, "says no unit of temperature"),
    ("date,low (C)\n2024-01-10,-13\n", {"columns": {"t_avg": "low (C)"}}, "weather has no column 't_avg'"),
    ("XX000000001,20240110,TMIN,-183,,,S\nXX000000002,20240110,TMIN,-183,,,S\n", {}, "holds 2 stations"),
])  # fmt: skip
def test_what_cannot_be_read_is_one_clear_line(tmp_path, text, given, problem):
    with pytest.raises(RecordError, match=problem):
        _read(tmp_path, text, **given)


def test_units_as_they_are_typed():
    assert units_of("F, in") == {"c": "f", "mm": "in"}
    assert units_of("celsius") == {"c": "c"}
    assert units_of("") == {}
    with pytest.raises(RecordError, match="'furlong' is no unit"):
        units_of("furlong")
    with pytest.raises(RecordError, match="two units of one kind"):
        units_of("C, F")


@pytest.fixture
def hill(tmp_path):
    path = tmp_path / "hill"
    path.mkdir()
    (path / "blocks.csv").write_text("block,cultivar,hemisphere\nTop,Merlot,north\n")
    (path / "rows.csv").write_text("block,row,first,last\nTop,1,1,20\n")
    return path


def test_a_station_of_lincoln_comes_in_by_the_command(hill):
    done = CliRunner().invoke(main, ["load", str(hill), str(LINCOLN), "--table", "weather", "--units", "F"])
    assert done.exit_code == 0, done.output
    assert "weather: 366 added" in done.output
    with Store.open(_in_file(hill)) as store:
        frame = store.frame("weather").set_index("date")
    assert frame.loc["2016-12-18", "t_min_c"] == -25.0
    assert "units were turned" in done.output


def test_one_value_a_line_comes_in_by_the_command(hill, tmp_path):
    path = tmp_path / "XX000000001.csv"
    days = [f"202401{day:02d}" for day in range(1, 29)]
    path.write_text(
        "".join(
            f"XX000000001,{day},TMIN,-{100 + int(day[-2:])},,,S,\nXX000000001,{day},TMAX,-2,,,S,\nXX000000001,{day},SNWD,{int(day[-2:])}0,,,S,\n"
            for day in days
        )
    )
    done = CliRunner().invoke(main, ["load", str(hill), str(path), "--table", "weather"])
    assert done.exit_code == 0, done.output
    assert "weather: 28 added" in done.output
    with Store.open(_in_file(hill)) as store:
        frame = store.frame("weather")
    assert frame["t_min_c"].tolist() == [-(100 + day) / 10 for day in range(1, 29)]
    assert frame["snow_cm"].tolist() == list(range(1, 29))


def _in_file(folder):
    path = folder.parent / "v.gpkg"
    bring_files(path, folder)
    return path


def test_fahrenheit_called_celsius_is_refused(hill):
    done = CliRunner().invoke(main, ["load", str(hill), str(LINCOLN), "--table", "weather", "--units", "C"])
    assert done.exit_code == 1
    assert "temperatures are above 56.7 C" in done.output
    assert "this looks like Fahrenheit; --units F turns it" in done.output
    assert len(done.output.splitlines()) == 1
    assert not (hill / "weather.csv").exists()


def test_our_own_headings_over_fahrenheit_are_refused_as_a_whole_and_turned_when_it_is_said(hill, tmp_path):
    path = tmp_path / "weather-2016.csv"
    lines = [
        f"2016-0{month}-{day:02d},{30 + 5 * month},{50 + 5 * month}" for month in range(1, 9) for day in range(1, 29)
    ]
    path.write_text("date,t_min_c,t_max_c\n" + "\n".join(lines) + "\n")
    for given in ((), ("--keep-good",)):
        done = CliRunner().invoke(main, ["load", str(hill), str(path), *given])
        assert done.exit_code == 1
        assert "temperatures are warmer than any ever measured on earth: this looks like Fahrenheit" in done.output
        assert done.output.count("fault: ") <= 1
        assert not (hill / "weather.csv").exists()
    done = CliRunner().invoke(main, ["load", str(hill), str(path), "--units", "F"])
    assert done.exit_code == 0, done.output
    assert "weather: 224 added" in done.output
    slip = tmp_path / "weather-2.csv"
    slip.write_text("date,t_min_c,t_max_c\n2015-01-01,2,3\n2015-01-02,2,330\n")
    done = CliRunner().invoke(main, ["load", str(hill), str(slip)])
    assert "line 3, column t_max_c" in done.output


def test_units_are_for_weather_alone(hill, tmp_path):
    path = tmp_path / "symptoms.csv"
    path.write_text("block,date,symptom\n")
    done = CliRunner().invoke(main, ["load", str(hill), str(path), "--units", "F"])
    assert done.exit_code == 2
    assert "--units and --missing are for weather, not for symptoms" in done.output


def test_a_day_twice_with_other_figures_is_a_fault(hill, tmp_path):
    path = tmp_path / "s.csv"
    path.write_text("date,low (C),high (C)\n2024-01-10,-3,4\n2024-01-10,-5,4\n2024-01-11,-5,4\n2024-01-11,-5,4\n")
    with pytest.raises(FaultyNotesError, match=r"same record|2024-01-10"):
        bring_table(hill, path, TableMap("weather"))


def _load(hill, tmp_path, text, *more):
    path = tmp_path / "s.csv"
    path.write_text(text)
    return CliRunner().invoke(main, ["load", str(hill), str(path), "--table", "weather", *more])


@pytest.mark.parametrize(("lines", "says"), [
    ("2024-01-10,5,-3\n2024-01-11,-5,4\n", "line 2, column t_min_c: the lowest temperature of 2024-01-10 is above its highest ('5 above -3')"),
    ("2024-01-11,-5,4\n2024-01-10,-3,4\n2024-01-10,-5,4\n", "line 4, column t_min_c: the same record stands at s.csv:3 with another t_min_c (-3.0)"),
])  # fmt: skip
def test_one_clear_line_says_what_is_wrong_and_nothing_is_lost(hill, tmp_path, lines, says):
    before = "date,t_min_c,t_max_c\n2024-01-09,-4,3\n"
    (hill / "weather.csv").write_text(before)
    done = _load(hill, tmp_path, "date,low (C),high (C)\n" + lines)
    assert done.exit_code == 1
    (fault,) = [line for line in done.output.splitlines() if line.startswith("fault: ")]
    assert says in fault
    assert (hill / "weather.csv").read_text() == before
    kept = _load(hill, tmp_path, "date,low (C),high (C)\n" + lines, "--keep-good")
    assert kept.exit_code == 0
    text = (hill / "weather.csv").read_text()
    assert "2024-01-09" in text
    assert "2024-01-11" in text


def test_a_day_twice_alike_is_taken_once_and_told(hill, tmp_path):
    done = _load(hill, tmp_path, "date,low (C),high (C)\n2024-01-10,-3,4\n2024-01-10,-3,4\n")
    assert done.exit_code == 0
    assert "weather: 1 added" in done.output
    assert "duplicate line, imported once (first at s.csv:2)" in done.output


@pytest.mark.parametrize("code", ["-99", "-99.9", "-999", "-9999"])
def test_a_code_for_a_missing_value_is_a_gap_and_never_a_night(hill, tmp_path, code):
    done = _load(
        hill, tmp_path, f"date,low (C),high (C),rain (mm)\n2024-01-10,{code},4,{code}\n2024-01-11,-5,{code},0\n"
    )
    assert done.exit_code == 0, done.output
    assert "3 cell(s) with a code for a missing value: taken as not measured" in done.output
    with Store.open(_in_file(hill)) as store:
        frame = store.frame("weather")
    assert frame["t_min_c"].min() == -5.0
    assert frame[["t_min_c", "t_max_c", "rain_mm"]].isna().to_numpy().sum() == 3
    own = tmp_path / "weather-2024.csv"
    own.write_text(f"date,t_min_c,t_max_c\n2024-02-10,{code},4\n")
    refused = CliRunner().invoke(main, ["load", str(hill), str(own)])
    assert refused.exit_code == 1
    assert "line 2, column t_min_c" in refused.output


def test_a_day_that_ends_in_the_morning_is_said(tmp_path):
    _, notes = _read(
        tmp_path,
        (
            "XX000000001,20240110,TMIN,-183,,,S,0800\nXX000000001,20240110,TMAX,-22,,,S,0800\nXX000000001,20240111,TMAX,-22,,,S,2400\n"
        ),
    )
    assert [note for note in notes if "2 value(s) were read in the morning" in note]
    _, notes = _read(
        tmp_path,
        (
            '"STATION","DATE","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"\n"XX000000001","2024-01-10","-22",",,S,0700","-183",",,S,0700"\n'
        ),
    )
    assert [note for note in notes if "2 value(s) were read in the morning" in note and "of the day before" in note]
    _, notes = _read(tmp_path, "XX000000001,20240110,TMIN,-183,,,S,2400\nXX000000001,20240110,TMAX,-22,,,S,1700\n")
    assert not [note for note in notes if "morning" in note]

"""A forecast of one's own beside the commands cold and weeks. trunkwatch.cli: forecast_file."""

import json

import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator
from winter_model.made import made_winters

from trunkwatch.cli import main
from trunkwatch.cli.json_schema import schema_of

WEEKS = ("weeks", "--crew-hours", "6", "--minutes", "20")


@pytest.fixture(scope="module")
def hill(tmp_path_factory):
    path = tmp_path_factory.mktemp("ahead") / "hill"
    path.mkdir()
    (path / "blocks.csv").write_text("block,cultivar,hemisphere\nTop,Merlot,north\n")
    (path / "rows.csv").write_text("block,row,first,last\nTop,1,1,60\nTop,2,1,60\n")
    table = made_winters(2012, 2027, colder=5, seed=7)
    table = table[table["date"] <= "2027-01-20"]
    table[["date", "t_min_c", "t_max_c", "rain_mm"]].to_csv(path / "weather.csv", index=False)
    return path


@pytest.fixture
def week(tmp_path):
    path = tmp_path / "week.csv"
    days = "".join(
        f"2027-01-{day},{low},{low + 7}\n"
        for day, low in zip(range(21, 28), (-12, -27, -14, -9, -8, -7, -6), strict=True)
    )
    path.write_text("Day,Low (C),High (C)\n" + days)
    return path


def _run(hill, verb, *more):
    return CliRunner().invoke(main, [verb[0], str(hill), *verb[1:], "--date", "2027-01-20", *more])


def test_it_shows_marked_and_is_never_stored(hill, week, tmp_path):
    before = {path.name: path.read_bytes() for path in hill.iterdir()}
    done = _run(hill, ("cold",), "--forecast", str(week), "--details")
    assert done.exit_code == 0, done.output
    assert "By your own forecast for 21 to 27 January, not measured: coldest night -27.0 C" in " ".join(
        done.output.split()
    )
    assert max(map(len, done.output.splitlines())) <= 80
    page = tmp_path / "cold.html"
    assert _run(hill, ("cold",), "--forecast", str(week), "--out", str(page)).exit_code == 0
    text = page.read_text()
    assert "your forecast from here on</text>" in text
    assert "21 January 2027 to 27 January 2027 are forecast, not measured." in text
    assert "20 Jan*" in text
    assert {path.name: path.read_bytes() for path in hill.iterdir()} == before
    assert "forecast" not in _run(hill, ("cold",)).output


def test_weeks_are_marked_and_rain_that_is_forecast_stops_the_crew(hill, week, tmp_path):
    done = _run(hill, WEEKS, "--forecast", str(week))
    assert done.exit_code == 0, done.output
    assert "20 to 24 January* (" in done.output
    assert "* partly your own forecast, not measured." in done.output
    wet = tmp_path / "wet.csv"
    wet.write_text("date,low (C),high (C),rain (mm)\n" + "".join(f"2027-01-{day},-1,5,20\n" for day in range(21, 28)))
    plain, rained = (json.loads(_run(hill, WEEKS, *more, "--json").output) for more in ((), ("--forecast", str(wet))))
    assert rained["weeks"][0]["can_work_hours"] < plain["weeks"][0]["can_work_hours"]
    assert rained["weeks"][3]["can_work_hours"] == plain["weeks"][3]["can_work_hours"]
    assert (plain["forecast"], rained["forecast"]["days"][0]) == (None, "2027-01-21")
    page = tmp_path / "weeks.html"
    assert _run(hill, WEEKS, "--forecast", str(week), "--out", str(page)).exit_code == 0
    assert "20 to 24 January*" in page.read_text()


@pytest.mark.parametrize("verb", [("cold",), WEEKS])
def test_json_is_what_its_schema_says(hill, week, verb):
    for more in ((), ("--forecast", str(week))):
        done = _run(hill, verb, *more, "--json")
        assert done.exit_code == 0, done.output
        Draft202012Validator(schema_of(verb[0])).validate(json.loads(done.output))


@pytest.mark.parametrize(("more", "code", "says"), [
    (("--forecast", "nowhere.csv"), 1, "no file 'nowhere.csv'"),
    (("--forecast-units", "F"), 2, "give it with --forecast FILE"),
    (("--forecast", "WEEK", "--forecast-map", "Low"), 2, "NAME=COLUMN is needed"),
    (("--forecast", "WEEK", "--forecast-map", "t_avg=Low (C)"), 1, "weather has no column 't_avg'"),
    (("--forecast", "WEEK", "--date", "2027-02-20"), 1, "bring a newer file"),
])  # fmt: skip
@pytest.mark.parametrize("verb", [("cold",), WEEKS])
def test_what_cannot_be_is_one_clear_line(hill, week, verb, more, code, says):
    done = _run(hill, verb, *(str(week) if one == "WEEK" else one for one in more))
    assert (done.exit_code, says in done.output) == (code, True), done.output

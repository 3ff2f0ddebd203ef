"""The command weeks, as people call it. trunkwatch.cli: weeks_command, folding; trunkwatch.report: weeks_page."""

import json

import jsonschema
import pytest
from click.testing import CliRunner
from cold.test_crew_plan import make

from trunkwatch.cli import main


@pytest.fixture(scope="module")
def three(tmp_path_factory):
    return make(tmp_path_factory.mktemp("weeks") / "three", 3)


def weeks(path, *more, hours="16"):
    return CliRunner().invoke(main, ["weeks", str(path), "--crew-hours", hours, "--date", "2027-01-04", *more])


def test_the_weeks_come_first_in_80_columns_and_the_cautions_last(three):
    done = weeks(three, "--details")
    assert done.exit_code == 0, done.output
    lines = done.output.splitlines()
    assert lines[0].startswith("Left to do: 75 h of work")
    assert "Why these weeks: side by side, not added up" in lines
    assert lines[-2].startswith("Cold, ice, ladders and saws")
    assert max(map(len, lines)) <= 80


@pytest.mark.long
def test_json_is_what_its_schema_says(three, tmp_path):
    schema = json.loads(CliRunner().invoke(main, ["weeks", "--json-schema"]).stdout)
    for path, hours in ((three, "16"), (make(tmp_path / "one", 1, rows=1), "40")):
        told = json.loads(weeks(path, "--json", hours=hours).stdout)
        jsonschema.validate(told, schema)
        assert bool(told["weeks"]) != bool(told["days"])
    assert told["jobs"][0]["pace_from"] == "guess"


def test_the_page_lists_rows_with_a_box_week_by_week(three, tmp_path):
    out = tmp_path / "weeks.html"
    assert weeks(three, "--out", str(out)).exit_code == 0
    page = out.read_text()
    assert page.count('<section class="week">') >= 5
    assert '<i class="box"></i>row 1' in page
    assert "not added up" in page


@pytest.mark.parametrize(("more", "code", "says"), [
    (("--date", "soon"), 2, "'soon' is no day"),
    (("--until", "2027-01-01"), 1, "--until 2027-01-01 lies before 2027-01-04"),
    (("--work-days", "8"), 2, "8"),
])  # fmt: skip
def test_what_cannot_be_is_one_clear_line(three, more, code, says):
    done = weeks(three, *more)
    assert done.exit_code == code
    assert says in done.output

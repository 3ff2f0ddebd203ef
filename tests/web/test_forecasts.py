"""A forecast and measures at the desk. trunkwatch.web: forecasts, cold; trunkwatch.cold: answers."""

import datetime as dt
import io
import re
import shutil
from urllib.parse import unquote

import pytest
from click.testing import CliRunner
from cold.test_crew_plan import make

from trunkwatch.access.audit import entries_of
from trunkwatch.cli import main
from trunkwatch.web.app import create_app
from trunkwatch.web.forecasts import Forecasts, without_options

TODAY = "2026-01-05"
AT = dt.datetime(2026, 1, 5, 7, 12, tzinfo=dt.UTC)
WEEK = "Day,Low (C),High (C),Rain (mm)\n" + "".join(f"2026-01-{day:02d},-9,1,20\n" for day in range(6, 13))


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    folder = tmp_path_factory.mktemp("ahead")
    file, tables = folder / "two.gpkg", make(folder / "two", 2, rows=4, last=50)
    head, *days = (tables / "weather.csv").read_text().splitlines(keepends=True)
    (tables / "weather.csv").write_text(head + "".join(day for day in days if day[:10] <= TODAY))
    done = CliRunner().invoke(main, ["load", str(file), str(tables)])
    assert done.exit_code == 0, done.output
    return file


@pytest.fixture
def clock(monkeypatch):
    at = {"now": AT}
    for room in ("weeks", "cold", "forecasts", "views", "vineyard"):
        monkeypatch.setattr(f"trunkwatch.web.{room}.today", lambda: at["now"].date().isoformat())
    monkeypatch.setattr("trunkwatch.web.forecasts.now", lambda: at["now"])
    return at


@pytest.fixture
def desk(two, tmp_path, clock):
    path = tmp_path / "v.gpkg"
    shutil.copy(two, path)
    return create_app(path, hosts=frozenset({"localhost"})).test_client()


def page_of(client, where):
    answer = client.get(where)
    assert answer.status_code == 200
    return answer.get_data(as_text=True).replace("\u00a0", " ").replace("&#39;", "'").replace("&#34;", '"')


def bring(client, **fields):
    answer = client.post("/forecast", data={"next": "/weeks?hours=10", **fields})
    return answer, answer.get_data(as_text=True).replace("&#39;", "'")


def test_a_forecast_is_brought_once_for_all_pages_and_shows_its_age(desk, clock):
    before = page_of(desk, "/weeks?hours=10")
    assert "Bring your own forecast of the coming days" in before
    answer, _ = bring(desk, file=(io.BytesIO(WEEK.encode()), "../week.csv"))
    assert (answer.status_code, answer.location) == (302, "/weeks?hours=10")
    clock["now"] = AT + dt.timedelta(hours=3, minutes=5)
    after = page_of(desk, "/weeks?hours=10")
    assert "Your own forecast, week.csv: brought on 5 January at 07:12, 3 hours ago." in after
    worked = [
        re.search(r"<h2>5 to 11 January(\*?) <span[^>]*>\(\d+ of (\d+) hours", page).groups()
        for page in (before, after)
    ]
    assert worked[0][0] == ""
    assert worked[1][0] == "*"
    assert int(worked[1][1]) < int(worked[0][1])  # days of 20 mm are forecast
    cold = page_of(desk, "/block/B1/cold")
    assert "By your own forecast for 6 to 12 January, not measured: coldest night -9.0 C" in cold
    assert "3 hours ago." in cold
    clock["now"] = AT + dt.timedelta(days=2)
    assert "2 days ago. " not in cold
    assert "That is more than a day: bring a newer one" in page_of(desk, "/block/B1/cold")
    clock["now"] = AT + dt.timedelta(days=12)
    old = page_of(desk, "/block/B1/cold")
    assert "None of its days lies 1 to 16 days after today" in old
    assert "not measured: coldest" not in old


def test_it_is_left_out_again_and_both_are_on_the_list_of_what_was_done(desk, tmp_path):
    assert bring(desk, pasted=WEEK.replace(",", "\t"))[0].status_code == 302
    assert "Your own forecast, what was pasted:" in page_of(desk, "/weeks")
    assert desk.post("/forecast/leave", data={"next": "//elsewhere"}).location == "/"
    assert "what was pasted" not in page_of(desk, "/weeks")
    assert [one.done for one in entries_of(tmp_path / "v.gpkg")][:2] == ["left the forecast out", "brought a forecast"]


NO_FORECASTS = [
    ({}, "There is no file and nothing is pasted"),
    ({"file": (b"x", "week.gpkg")}, "'week.gpkg': a file that ends in .csv, .xlsx, .xlsm, .txt is needed"),
    ({"pasted": WEEK.replace("2026-01", "2025-01")}, "The forecast has no day from 1 to 16 days after 2026-01-05: it holds 2025-01-06 to 2025-01-12"),
    ({"pasted": WEEK.replace(" (C)", "")}, "column 'Low' says no unit of temperature: choose it under Units"),
    ({"pasted": WEEK.replace("Day", "When")}, "say which under Columns: date=its heading"),
    ({"pasted": WEEK.replace("-9,1", "-9,cold")}, "cold"),
    ({"pasted": WEEK, "columns": "t_min_c"}, "Columns: 't_min_c' cannot be read; write t_min_c=Low; t_max_c=High"),
    ({"pasted": "x" * 200_001}, "200,001 letters were pasted; at most 200,000 are taken"),
    ({"pasted": "date,low (C),high (C)\n" + "".join(f"{dt.date(2024, 1, 1) + dt.timedelta(k)},1,2\n" for k in range(800))},
     "holds 800 days, more than a forecast can (400)"),
]  # fmt: skip


def test_what_is_no_forecast_is_said_and_what_was_typed_stays(desk):
    for fields, says in NO_FORECASTS:
        sent = {
            name: (io.BytesIO(value[0]), value[1]) if isinstance(value, tuple) else value
            for name, value in fields.items()
        }
        answer, page = bring(desk, **sent)
        assert answer.status_code == 422, says
        assert says in page
        assert "--" not in page.partition('role="alert">')[2].partition("</p>")[0]
        if "pasted" in fields:
            assert fields["pasted"].strip()[:40] in page
    assert desk.application.extensions["forecast"].held is None


def test_units_and_headings_are_chosen_in_the_form(desk):
    lines = WEEK.replace(" (C)", "").replace(" (mm)", "").replace("Day", "When").replace("-9,1,20", "10,40,0.8")
    assert bring(desk, pasted=lines, units="F, in", columns="date=When")[0].status_code == 302
    assert "coldest night -12.2 C" in page_of(desk, "/block/B1/cold")


def test_a_measure_is_weighed_where_its_box_is_checked(desk):
    plain = page_of(desk, "/block/B1/cold")
    assert "With and without" not in plain
    assert 'value="long-first-cut">' in plain
    page = page_of(desk, "/block/B1/cold?with=wound-protection&with=long-first-cut")
    for name in ("Double pruning", "Wound protection"):
        assert f"<h3>With and without: {name}</h3>" in page
    assert 'value="long-first-cut" checked>' in page
    link = re.search(r'href="/forecast\?next=([^"]+)"', page)[1]
    assert unquote(link) == "/block/B1/cold?with=wound-protection&amp;with=long-first-cut".replace("&amp;", "&")
    assert "Labels and local law decide" in page
    assert ".asks { display: none; }" in page  # the form is not printed, the answer is


def test_the_page_of_a_block_takes_a_stand_in_and_says_what_is_no_day(desk):
    page = page_of(desk, "/block/B1/cold?date=soon&stand_in=tender")
    assert "Day: 'soon' is no day; write it as YYYY-MM-DD." in page
    assert '<option value="tender" selected>' in page
    assert "Block B1, Merlot, winter 2025/26" in page
    assert "as they stand on 20 December 2025" in page_of(desk, "/block/B1/cold?date=2025-12-20")
    assert desk.get("/block/Nowhere/cold").status_code == 404


def test_options_of_the_terminal_are_fields_at_the_desk():
    assert (
        without_options("a group can stand in for it (--stand-in, one of tender, medium).")
        == 'a group can stand in for it (field "Stand-in": tender, medium).'
    )
    assert without_options("are yours to give (--minutes, --work-above). Plan again") == "are yours to give. Plan again"
    assert (
        without_options("past years (`trunkwatch load --table weather`)")
        == "past years (`trunkwatch load --table weather`)"
    )
    assert (
        without_options("load the station's days of past years (`trunkwatch load --table weather`)")
        == "bring in the days of a station of past years by Import"
    )


def test_a_desk_begins_without_a_forecast():
    assert Forecasts().held is None

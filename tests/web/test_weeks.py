"""The crew's winter on the desk. trunkwatch.web: weeks."""

import re
import shutil

import pytest
from click.testing import CliRunner
from cold.test_crew_plan import make

from trunkwatch.block import open_vineyard
from trunkwatch.cli import main
from trunkwatch.web.app import create_app
from trunkwatch.web.weeks import SOON

TODAY = "2026-01-05"


@pytest.fixture(scope="module")
def three(tmp_path_factory):
    folder = tmp_path_factory.mktemp("weeks")
    file = folder / "three.gpkg"
    done = CliRunner().invoke(main, ["load", str(file), str(make(folder / "three", 3, rows=4, last=50))])
    assert done.exit_code == 0, done.output
    return file


@pytest.fixture
def desk(three, tmp_path, monkeypatch):
    for room in ("weeks", "writing", "vineyard", "views", "forecasts"):
        monkeypatch.setattr(f"trunkwatch.web.{room}.today", lambda: TODAY)
    path = tmp_path / "v.gpkg"
    shutil.copy(three, path)
    return create_app(path, hosts=frozenset({"localhost"})).test_client(), path


def boxes(client, hours=10):
    page = client.get(f"/weeks?hours={hours}").get_data(as_text=True)
    return page, re.findall(r'data-block="([^"]+)" data-row="([^"]+)"', page)


@pytest.mark.long
def test_a_tick_is_a_row_pruned_and_is_planned_no_more(desk):
    client, path = desk
    page, before = boxes(client)
    assert page.count('<details class="later">') == (page.count('<section class="week">') > SOON)
    assert len(set(before)) == len(before) > 6
    assert "Left to do: 30 h of work" in page  # 600 vines at a guess of 3 minutes
    block, row = before[0]
    done = client.post(
        "/api/log", json={"table": "pruning", "records": [{"block": block, "date": TODAY, "covered": row}]}
    )
    assert done.status_code == 200, done.get_data(as_text=True)
    page, after = boxes(client)
    assert (block, row) not in after
    assert "Left to do: 28 h of work" in page  # 50 vines less: 27.5
    assert f"<b>{block}, row {row}</b>, {TODAY}" in page
    with open_vineyard(path) as store:
        assert store.frame("pruning", block)["covered"].tolist() == [row]
    undone = client.post("/api/correct", json={"table": "pruning", "id": done.get_json()["ids"][0], "void": True})
    assert undone.status_code == 200
    assert sorted(boxes(client)[1]) == sorted(before)


def test_measures_are_counted_and_a_first_cut_is_ticked_as_one(desk):
    client, _ = desk
    page = client.get(
        "/weeks?hours=10&with=long-first-cut&with=wound-protection&protect_minutes=1&stand_in=medium"
    ).get_data(as_text=True)
    assert "Left to do: 50 h of work" in page  # 3 minutes, 1 for the first cut and 1 to protect
    assert "the long first cut takes 10 h of it, 1 minute a vine, our own guess" in page
    assert "Wound protection: 10 h of it, 1 minute a vine, as you say." in page
    assert "--" not in page.partition('class="first"')[2].partition("<section")[0]
    first = re.search(r'data-block="([^"]+)" data-row="([^"]+)" data-cut="first"', page)
    answer = client.post(
        "/api/log",
        json={"table": "pruning", "records": [{"block": first[1], "date": TODAY, "covered": first[2], "cut": "first"}]},
    )
    assert answer.status_code == 200
    after = client.get("/weeks?hours=10&with=long-first-cut").get_data(as_text=True)
    assert first[0] not in after
    assert "long first cut" in after.partition("Pruned in the last days")[2].partition("</section>")[0]
    assert f'data-block="{first[1]}" data-row="{first[2]}">' in after  # its final cut is left


def test_a_row_that_two_weeks_part_has_no_box(desk):
    client, _ = desk
    page, whole = boxes(client, hours=4)  # a row takes 2.5 hours
    parts = re.findall(r"part of row ([^ ]+) ", page)
    assert parts
    assert len(whole) + len(parts) >= 12


@pytest.mark.parametrize(("query", "says"), [
    ("hours=many", "Hours a week, all hands: &#39;many&#39; cannot be; a number from 0.5 to 10,000 is needed."),
    ("hours=20&minutes=0", "Minutes a vine: &#39;0&#39; cannot be"), ("hours=1e999", "Hours a week, all hands: &#39;1e999&#39; cannot be"),
    ("protect_minutes=-1", "Minutes to protect: &#39;-1&#39; cannot be; a number from 0 to 240"),
    ("days=9", "Working days a week: &#39;9&#39; cannot be"), ("hours=nan", "cannot be"),
])  # fmt: skip
def test_numbers_that_cannot_be_are_said_and_nothing_is_planned(desk, query, says):
    page = desk[0].get(f"/weeks?{query}").get_data(as_text=True)
    assert says in page
    assert "data-row" not in page.partition("</header>")[2]


def test_without_weather_the_page_says_what_is_missing(tmp_path, monkeypatch, pytestconfig):
    monkeypatch.setattr("trunkwatch.web.weeks.today", lambda: TODAY)
    path = tmp_path / "v.gpkg"
    notes = tmp_path / "notes"
    shutil.copytree(pytestconfig.rootpath / "sample_blocks", notes, ignore=shutil.ignore_patterns("weather*", ".*"))
    CliRunner().invoke(main, ["load", str(path), str(notes)])
    page = create_app(path, hosts=frozenset({"localhost"})).test_client().get("/weeks").get_data(as_text=True)
    assert "No whole past winter of weather is on file for block Mill" in page
    assert 'href="/import"' in page

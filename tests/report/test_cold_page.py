"""The page of a winter's cold. trunkwatch.report: cold_page."""

import datetime as dt
import re

import pytest
from click.testing import CliRunner
from winter_model.made import made_winters

from trunkwatch.cli import main
from trunkwatch.cold import Weather, cold_of_block, window_of
from trunkwatch.cold.words import CAUTIONS
from trunkwatch.report.cold_page import cold_html


@pytest.fixture(scope="module")
def page():
    weather = Weather(made_winters(2010, 2026, colder=5, seed=7))
    day = dt.date(2026, 1, 20)
    found = [
        cold_of_block(f"<{name}>", name, weather, day, hemisphere="north", latitude=44.0)
        for name in ("Riesling", "Pinot noir")
    ]
    return cold_html([(one, window_of(one, weather)) for one in found])


def test_the_answer_stands_first_with_both_pictures_in_both_forms(page):
    first, second = page.split("<section>")[1:]
    assert first.index("Half of the buds would die") < first.index("<figure>") < first.index("When to prune")
    assert [
        len(re.findall(f'<svg class="{kind} {form}"', first))
        for kind in ("cold", "strips")
        for form in ("broad", "slim")
    ] == [1, 1, 1, 1]
    assert "none is guessed by likeness" in second
    assert '<svg class="cold' not in second
    assert '<svg class="strips' in second  # wounds ask for no cultivar
    for line in CAUTIONS:
        assert line in page
    assert "South Africa" in page


def test_every_id_stands_once_and_what_users_typed_is_escaped(page):
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids)) > 8
    assert "&lt;Riesling&gt;" in page
    assert "<Riesling>" not in page
    assert not re.search(r"<(script|link|img)[^>]*(src|href)=\"http", page)


def test_the_command_writes_it(tmp_path):
    folder = tmp_path / "hill"
    folder.mkdir()
    (folder / "blocks.csv").write_text("block,cultivar\nTop,Merlot\n")
    (folder / "rows.csv").write_text("block,row,first,last\nTop,1,1,20\n")
    columns = ["date", "t_min_c", "t_max_c", "rain_mm"]
    made_winters(2014, 2026, colder=5)[columns].to_csv(folder / "weather.csv", index=False)
    done = CliRunner().invoke(main, ["cold", str(folder), "--date", "2026-01-20", "--out", str(tmp_path / "cold.html")])
    assert done.exit_code == 0, done.output
    assert "Block Top, Merlot, winter 2025/26" in (tmp_path / "cold.html").read_text()

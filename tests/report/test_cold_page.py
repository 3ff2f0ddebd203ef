"""The page of a winter's cold. trunkwatch.report: cold_page."""

import datetime as dt
import re
import shutil

import pytest
from click.testing import CliRunner
from winter_model.made import made_winters

from trunkwatch.cli import main
from trunkwatch.cold import Weather, cold_of_block, window_of
from trunkwatch.cold.answers import BlockAnswer
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
    return cold_html([BlockAnswer(one, weather, window_of(one, weather), None, ()) for one in found])


def test_the_answer_stands_first_with_both_pictures_in_both_forms(page):
    first, second = page.split("<section>")[1:]
    told = [
        first.index(words)
        for words in (
            "buds killed",
            "Half of the buds would die",
            "When to prune: cannot tell",
            "<figure>",
            "<h3>When to prune",
        )
    ]
    assert told == sorted(told)
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


@pytest.fixture(scope="module")
def hill(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page") / "hill"
    folder.mkdir()
    (folder / "blocks.csv").write_text("block,cultivar,row_spacing_m,vine_spacing_m\nTop,Merlot,2.5,1.5\n")
    (folder / "rows.csv").write_text("block,row,first,last\nTop,1,1,20\n")
    (folder / "costs.csv").write_text(
        "name,value,unit,source\nprotect_minutes,0.5,min/vine,own\nprotect_material,0.08,USD/vine,own\ncrew_hour,28,USD/h,own\n"
    )
    made_winters(2013, 2026, colder=5)[["date", "t_min_c", "t_max_c", "rain_mm"]].to_csv(
        folder / "weather.csv", index=False
    )
    return folder


def _page(hill, out, *more):
    done = CliRunner().invoke(main, ["cold", str(hill), "--date", "2026-01-20", *more, "--out", str(out)])
    assert done.exit_code == 0, done.output
    return out.read_text()


def test_strips_name_their_scale_axis_and_colors(page):
    words = re.findall(r"<text[^>]*>([^<]*)</text>", page.split("<section>")[1])
    assert {
        "more is worse",
        "more is better",
        "bold: the best",
        "% of the worst stretch",
        "cut made from this day on",
        "lowest of each night",
    } <= set(words)


def test_measures_are_drawn_beside_what_is_without_them(hill, tmp_path):
    text = _page(hill, tmp_path / "cold.html", "--with", "long-first-cut", "--with", "wound-protection")
    assert text.index("With and without: Double pruning") < text.index("With and without: Wound protection")
    part = text.split("With and without: ")
    assert "without it</text>" not in part[0]
    assert all('stroke-dasharray="3 2"' in one and "without it</text>" in one for one in part[1:])
    assert "It takes 0.5 minutes and 0.31 USD a vine more." in part[2]
    assert "write first_cut_minutes into costs.csv" in part[1]
    assert "Labels and local law decide" in part[2]
    assert len(re.findall(r'\bid="([^"]+)"', text)) == len(set(re.findall(r'\bid="([^"]+)"', text)))


def test_a_vineyard_in_us_units_has_feet_inches_and_fahrenheit_on_its_page(hill, tmp_path):
    plain = _page(hill, tmp_path / "c.html", "--with", "long-first-cut")
    us = tmp_path / "us"
    shutil.copytree(hill, us)
    assert CliRunner().invoke(main, ["settings", str(us), "--units", "us"]).exit_code == 0
    text = _page(us, tmp_path / "f.html", "--with", "long-first-cut")
    coldest = float(re.search(r"Coldest night so far: (-[\d.]+)\u00a0C", plain)[1])
    shown = float(re.search(r"Coldest night so far: (-?[\d.]+)\u00a0F", text)[1])
    assert shown == pytest.approx(coldest * 1.8 + 32, abs=0.06)
    assert "cut 12\u00a0in to 18\u00a0in above" in text
    assert "cut 30\u00a0cm to 45\u00a0cm above" in plain
    assert not re.search(r"\d[\s\u00a0](?:C|cm|mm)\b", re.sub(r"<[^>]+>", " ", text.split("<main>")[1]))


@pytest.mark.browser
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_a_block_prints_on_one_page_and_fits_a_phone(hill, tmp_path, size):
    api = pytest.importorskip("playwright.sync_api")
    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if chromium is None:
        pytest.skip("no Chromium on this machine")
    path = tmp_path / "cold.html"
    _page(hill, path)
    with api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 390, "height": 800})
        page.goto(path.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        paper = page.pdf(format=size)
        browser.close()
    assert len(re.findall(rb"/Type\s*/Page[^s]", paper)) == 1

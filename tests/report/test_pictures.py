"""trunkwatch.report: pictures, decide_page: each picture once on any screen, tables with a heading for every cell."""

import re

import pytest

from trunkwatch.block import load
from trunkwatch.charts.colours import DARK as CHART_DARK
from trunkwatch.maps.symbols import DARK as MAP_DARK
from trunkwatch.report.decide_page import decide_html
from trunkwatch.report.deciding import by_rule_alone
from trunkwatch.report.page import report_html
from trunkwatch.report.pictures import both_forms, is_tall, map_forms, picture_css
from trunkwatch.spreadsheets.write import write_folder
from trunkwatch.vineyard.tables import frame_of


@pytest.fixture
def season(golden, tmp_path):
    write_folder(tmp_path / "g", {name: frame_of(name, records) for name, records in golden.TABLES.items()})
    return load(tmp_path / "g")


@pytest.fixture(params=["report", "decide"])
def page(request, season):
    return (
        report_html(season, permutations=99)
        if request.param == "report"
        else decide_html(by_rule_alone(season).decision)
    )


def drawn(width, height):
    def draw(*, name, narrow=False):
        return (
            f'<svg class="{"slim" if narrow else "broad"}" viewBox="0 0 {width} {height}"><title id="{name}-t"/></svg>'
        )

    return draw


def test_a_page_holds_both_forms_and_of_a_tall_map_the_narrow_one():
    flat, tall = drawn(760, 400), drawn(760, 900)
    assert re.findall(r'class="(\w+)"', both_forms(flat, name="a")) == ["broad", "slim"]
    assert re.findall(r'id="([\w-]+)"', both_forms(flat, name="a")) == ["a-t", "a-slim-t"]
    assert re.findall(r'class="(\w+)"', map_forms(flat, name="a")) == ["broad", "slim"]
    assert re.findall(r'class="(\w+)"', map_forms(tall, name="a")) == ["slim"]
    assert is_tall(tall(name="a"))


def test_every_colour_of_a_picture_has_one_for_a_dark_screen(page):
    css = picture_css()
    assert css in page
    for picture in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        for kind, colour in re.findall(r'(fill|stroke)="(#\w+)"', picture):
            assert f'[{kind}="{colour}"]{{{kind}:' in css
    assert all(MAP_DARK[colour] == CHART_DARK[colour] for colour in set(MAP_DARK) & set(CHART_DARK))


def test_no_picture_is_pushed_off_a_phone(page):
    assert "<svg" in page
    assert 'figure class="scroll"' not in page
    assert not re.search(r"figure[^{}]*svg[^{}]*\{[^}]*min-width", page)


def test_tables_have_a_caption_and_say_what_their_headings_head(page):
    tables = re.findall(r"<table.*?</table>", page, re.DOTALL)
    assert tables
    for table in tables:
        assert "<caption" in table
        assert re.findall(r"<th(?![^>]*scope=)[ >][^>]*", table) == []

"""trunkwatch.maps.rules: the rules that the scripts read are the package's own, and every page holds them."""

import re
from pathlib import Path

import pytest

import trunkwatch
from trunkwatch.block import load
from trunkwatch.history import Condition
from trunkwatch.maps import block_map
from trunkwatch.maps.map_data import map_data
from trunkwatch.maps.rules import page_rules
from trunkwatch.maps.symbols import DRAWN, LEGEND, SYMBOLS
from trunkwatch.store import Store
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.calendar import look_of, season_of
from trunkwatch.vineyard.tables import TABLES, frame_of
from trunkwatch.web.drawn import bare, frame_for, laid_out
from trunkwatch.web.vineyard import Vineyard

PACKAGE = Path(trunkwatch.__file__).parent
#: Scripts that draw or judge by the rules; the phone's hold copies that its own tests hold to the package.
SCRIPTS = [PACKAGE / "static" / "block_map.js", *sorted((PACKAGE / "web" / "static").glob("*.js"))]


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "v.gpkg"
    Store.create(path)
    with Store.writing(path) as store:
        store.append({
            "blocks": frame_of("blocks", [{"block": "B", "planted": 2000, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": -33.0}]),
            "rows": frame_of("rows", [{"block": "B", "row": "1", "first": 1, "last": 6}]),
            "surveys": frame_of("surveys", [{"block": "B", "date": "2025-02-20", "covered": "1"}]),
        })  # fmt: skip
    return path


def test_every_condition_has_its_place_in_both_orders():
    assert sorted(DRAWN) == sorted(LEGEND) == sorted(SYMBOLS)
    assert DRAWN[-1] is Condition.SHOWING  # nothing lies on a case
    assert page_rules()["drawn"] == [str(int(one)) for one in DRAWN]
    assert page_rules()["legend"] == [str(int(one)) for one in LEGEND]


def test_limits_are_those_of_the_table_of_findings():
    limits = page_rules()["limits"]
    numbers = [column for column in TABLES["symptoms"].columns if column.kind in ("number", "whole")]
    assert limits == {column.name: [column.low, column.high] for column in numbers}
    assert (limits["percent"], limits["trunk"], limits["dead"]) == ([0, 100], [1, 12], [0, None])


@pytest.mark.parametrize("side", codes.HEMISPHERES)
@pytest.mark.parametrize("month", range(1, 13))
def test_the_calendar_of_the_rules_is_the_calendar(side, month):
    rules = page_rules()
    since = (month - rules["first_month"][side]) % 12
    look = "dormant" if since < rules["dormant"] else "spring" if since < rules["leaves"] else "summer"
    day = f"2025-{month:02d}-15"
    assert look == look_of(day, side)
    assert 2025 + (month >= rules["first_month"][side]) == season_of(day, side)


def test_only_symptoms_that_there_are_need_leaves():
    assert set(page_rules()["with_leaves"]) <= set(codes.SYMPTOMS)


def test_map_desk_and_a_block_that_is_typed_hold_the_rules(file):
    with Store.open(file) as store:
        season = load(store, "B", 2025)
        page = block_map(season.history)
        frame = frame_for(season.history.grid, {})
        assert map_data(season.history, frame, None, 2025)["rules"] == page_rules()
    assert '"rules":{"dormant":5,"drawn":["1","3","8","4","6","2","7","5"]' in page
    assert Vineyard(file).grid("B")["rules"] == page_rules()
    assert bare(season.history.grid, frame)["rules"] == page_rules()
    assert laid_out(season.history.grid, {}, "m")["rules"] == page_rules()


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_no_script_has_colors_or_conditions_of_its_own(path):
    text = path.read_text()
    assert re.findall(r"#[0-9a-fA-F]{6}\b", text) == []
    assert re.findall(r"(?:hidden\[|mark === |looks\[)[\"'`]\d[\"'`]", text) == []
    assert re.findall(r"\"(?:leaf_stripe|berry_spots|collapse)\"", text) == []
    assert not re.search(r"hemisphere\s*===", text)

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
from trunkwatch.sheets.crew_lists import LISTS
from trunkwatch.store import Store
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.calendar import look_of, season_of
from trunkwatch.vineyard.tables import TABLES, frame_of
from trunkwatch.web.drawn import bare, frame_for, laid_out
from trunkwatch.web.vineyard import Vineyard

PACKAGE = Path(trunkwatch.__file__).parent
#: All scripts: they draw and judge by the rules that they are given.
SCRIPTS = [path for path in sorted(PACKAGE.rglob("*.js")) if path.name != "leaflet.js"]
CODES = sorted({*codes.SYMPTOMS, *codes.WORK_KINDS, *codes.NOT_DONE, *codes.CAUSES, *LISTS} - {"none", "other", "both"})


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "v.gpkg"
    Store.create(path)
    with Store.writing(path) as store:
        store.append(
            {
                "blocks": frame_of(
                    "blocks",
                    [{"block": "B", "planted": 2000, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": -33.0}],
                ),
                "rows": frame_of("rows", [{"block": "B", "row": "1", "first": 1, "last": 6}]),
                "surveys": frame_of("surveys", [{"block": "B", "date": "2025-02-20", "covered": "1"}]),
            }
        )
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


def test_cuts_and_whole_numbers_are_those_of_codes_and_tables():
    rules = page_rules()
    assert rules["cuts"] == list(codes.CLEARING)
    assert set(rules["whole"]) == {column.name for column in TABLES["symptoms"].columns if column.kind == "whole"}
    assert set(rules["whole"]) < set(rules["limits"])


def test_only_symptoms_that_there_are_need_leaves():
    assert set(page_rules()["with_leaves"]) <= set(codes.SYMPTOMS)


def test_map_desk_and_a_block_that_is_typed_hold_the_rules(file):
    with Store.open(file) as store:
        season = load(store, "B", 2025)
        page = block_map(season.history)
        frame = frame_for(season.history.grid, {})
        assert map_data(season.history, frame, None, 2025)["rules"] == page_rules()
    assert '"dormant":5,"drawn":["1","3","8","4","6","2","7","5"]' in page
    assert Vineyard(file).grid("B")["rules"] == page_rules()
    assert bare(season.history.grid, frame)["rules"] == page_rules()
    assert laid_out(season.history.grid, {}, "m")["rules"] == page_rules()


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_no_script_has_colors_conditions_or_lists_of_its_own(path):
    text = path.read_text()
    assert re.findall(r"#[0-9a-fA-F]{6}\b", text) == []
    assert re.findall(r"(?:hidden\[|mark === |looks\[)[\"'`]\d[\"'`]", text) == []
    assert not re.search(r"hemisphere\s*===", text)
    assert own_lists(text) == []
    assert re.findall(r"\b(?:percent|trunk|stain_cm|cut_height_cm|dead|total)\b[\"']?: \[\d", text) == []


def own_lists(text):
    """Return lists in a script that hold two codes of the package, or more."""
    lists = [re.findall(r"[\"'](\w[\w ]*)[\"']", one) for one in re.findall(r"\[[^\[\]{}()]*\]", text)]
    return [one for one in lists if len(set(one) & set(CODES)) > 1]


def test_a_list_of_codes_is_seen_in_a_script():
    assert own_lists('const CUTS = ["renew_arm", "renew_trunk"]; const ends = ["first", "dead"];') == [
        ["renew_arm", "renew_trunk"]
    ]

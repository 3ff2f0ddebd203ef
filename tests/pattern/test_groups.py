"""trunkwatch.pattern: by_group, direction, rates_by."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from trunkwatch.block import load
from trunkwatch.cli.incidence_command import command as incidence_command
from trunkwatch.cli.pattern_command import command as pattern_command
from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockRecords, build_history, read_block
from trunkwatch.pattern.by_group import groups_of
from trunkwatch.pattern.direction import along_or_across
from trunkwatch.pattern.place_words import group_sentences
from trunkwatch.pattern.rates_by import rates_by
from trunkwatch.pattern.verdict import map_pattern
from trunkwatch.spreadsheets.write import write_folder
from trunkwatch.vineyard.tables import frame_of


def grid_of(rows, stations, row_m=2.5, vine_m=1.25):
    lines = frame_of("rows", [{"block": "B", "row": str(n + 1), "last": stations} for n in range(rows)])
    return RowGrid.from_tables({"block": "B", "row_spacing_m": row_m, "vine_spacing_m": vine_m}, lines)


def history_of(rows, stations, cultivar_of_row, plants=()):
    lines = [{"block": "B", "row": str(n + 1), "last": stations, "cultivar": cultivar_of_row(n)} for n in range(rows)]
    block = {"block": "B", "row_spacing_m": 2.5, "vine_spacing_m": 1.25, "planted": "2000"}
    tables = {
        "rows": lines,
        "plants": list(plants),
        "symptoms": [],
        "work": [],
        "surveys": [{"block": "B", "date": "2024-08-10", "covered": f"1..{rows}"}],
    }
    records = BlockRecords(block=block, **{name: frame_of(name, listed) for name, listed in tables.items()})
    return build_history(read_block(records, RowGrid.from_tables(block, records.rows)), "any")


@pytest.mark.long
def test_rows_of_two_cultivars_are_no_cluster_once_cultivars_are_held_apart():
    """Four rows of each, scattered inside: with groups at most 3 of 40 maps are clustered (5 % twice over), without most."""
    rng = np.random.default_rng(2)
    history = history_of(16, 50, lambda n: "Tough" if n // 4 % 2 else "Tender")
    tender = np.array([n // 4 % 2 == 0 for n in range(16)])[:, None] * np.ones((1, 50), dtype=bool)
    vines = np.ones((16, 50), dtype=bool)
    plain = held = 0
    for _ in range(40):
        cases = rng.random(vines.shape) < np.where(tender, 0.25, 0.05)
        groups = groups_of(history, 2024, cases, vines)
        plain += map_pattern("B", "", cases, vines, history.grid, permutations=99).words[0].startswith("clustered")
        held += (
            map_pattern("B", "", cases, vines, history.grid, groups=groups, permutations=99)
            .words[0]
            .startswith("clustered")
        )
    assert plain >= 20
    assert held <= 5
    assert groups.tables[0].name == "cultivar"
    assert groups.tables[0].test.pvalue < 0.01
    told = group_sentences(groups)
    shares = dict(groups.tables[0].shares)
    assert f"Tender {shares['Tender'].cases} of 400 vines" in told[0]
    assert "they differ" in told[0]
    assert told[1].startswith("The tests of the map compare vines of the same group only")


def test_single_replants_are_no_group():
    plants = [{"block": "B", "row": "1", "position": n, "planted": str(2013 + n)} for n in range(1, 8)]
    history = history_of(4, 30, lambda _: "", plants)
    vines = np.ones((4, 30), dtype=bool)
    cases = np.zeros_like(vines)
    assert groups_of(history, 2024, cases, vines).strata is None
    many = [{"block": "B", "row": "2", "position": n, "planted": "2012"} for n in range(1, 15)]
    found = groups_of(history_of(4, 30, lambda _: "", [*plants, *many]), 2024, cases, vines)
    assert np.unique(found.strata).size == 2
    assert dict(found.tables[0].shares)["2012"].vines == 14
    assert "7 more vines in small groups" in group_sentences(found)[0]


def test_more_along_is_said_of_rows_and_rarely_of_round_clusters():
    """Pairs 2.5 m apart along the row and across. Round clusters: at most 12 of 150 (5 %; more comes once in 40 runs)."""
    grid = grid_of(24, 80)
    rng = np.random.default_rng(4)
    vines = np.ones(grid.shape, dtype=bool)
    along, across = np.meshgrid(np.arange(80) * 1.25, np.arange(24) * 2.5)
    round_ = rowwise = 0
    for _ in range(150):
        chance = np.full(grid.shape, 0.02)
        for _ in range(10):
            x, y = rng.uniform(0, 100), rng.uniform(0, 60)
            chance += 0.6 * np.exp(-((along - x) ** 2 + (across - y) ** 2) / (2 * 3.0**2))
        round_ += along_or_across(rng.random(grid.shape) < chance, vines, grid).more_along(across=True)
    for _ in range(20):
        cases = rng.random(grid.shape) < 0.02
        for _ in range(14):
            r, s = rng.integers(0, 24), rng.integers(0, 72)
            cases[r, s : s + 8] |= rng.random(8) < 0.7
        rowwise += along_or_across(cases, vines, grid).more_along(across=True)
    assert round_ <= 14
    assert rowwise >= 15


def test_pairs_counted_by_hand():
    """Two rows of four, rows two vines apart: two pairs along at that distance in each row, four across."""
    grid = grid_of(2, 4)
    cases = np.array([[True, False, True, False], [True, False, False, False]])
    found = along_or_across(cases, np.ones((2, 4), dtype=bool), grid)
    share = 3 / 8
    assert found.along == pytest.approx(1 / (4 * share**2))
    assert found.across == pytest.approx(1 / (4 * share**2))
    bare = RowGrid.from_tables({"block": "B"}, frame_of("rows", [{"block": "B", "row": "1", "last": 4}]))
    assert np.isnan(along_or_across(cases[:1], np.ones((1, 4), dtype=bool), bare).pvalue)


def test_rates_and_maps_of_each_group_counted_by_hand(tmp_path):
    """Row 1 Red, row 2 Blue, five vines each: Red 1, 2, 3 of 5 over three summers, Blue none; a Blue vine is not there in 2024."""
    leaf = {"block": "B", "symptom": "leaf_stripe"}
    tables = {
        "blocks": [{"block": "B", "row_spacing_m": 2.5, "vine_spacing_m": 1.25, "planted": "2000"}],
        "rows": [
            {"block": "B", "row": "1", "last": 5, "cultivar": "Red"},
            {"block": "B", "row": "2", "last": 5, "cultivar": "Blue"},
        ],
        "surveys": [{"block": "B", "date": f"{year}-08-10", "covered": "1..2"} for year in (2022, 2023, 2024)],
        "symptoms": [
            leaf | {"row": "1", "position": p, "date": f"{year}-08-10"}
            for year, many in ((2022, 1), (2023, 2), (2024, 3))
            for p in range(1, many + 1)
        ],
        "plants": [{"block": "B", "row": "2", "position": 5, "removed": "2024-03-01"}],
    }
    write_folder(tmp_path, {name: frame_of(name, lines) for name, lines in tables.items()})
    found = {one.label: one for one in rates_by(load(tmp_path, "B"), "cultivar")}
    assert {label: [(year, n.cases, n.vines) for year, n in one.seasons] for label, one in found.items()} == {
        "Blue": [(2022, 0, 5), (2023, 0, 5), (2024, 0, 4)],
        "Red": [(2022, 1, 5), (2023, 2, 5), (2024, 3, 5)],
    }
    told = json.loads(CliRunner().invoke(incidence_command, [str(tmp_path), "--by", "cultivar", "--json"]).stdout)
    assert [(g["label"], g["seasons"][-1]["cases"]) for g in told["groups"]] == [("Blue", 0), ("Red", 3)]
    said = CliRunner().invoke(incidence_command, [str(tmp_path), "--by", "cultivar"]).output
    assert "cultivar Red" in said
    assert "2024  3/5 = 60.0 %" in said
    maps = json.loads(CliRunner().invoke(pattern_command, [str(tmp_path), "--by", "cultivar", "--json"]).stdout)
    assert [(one["cases"], one["vines"]) for one in maps] == [(0, 4), (3, 5)]
    with pytest.raises(RecordError, match="nothing is on record of it"):
        rates_by(load(tmp_path, "B"), "rootstock")
    wrong = CliRunner().invoke(pattern_command, [str(tmp_path), "--by", "cultivar", "--date", "2024-08-10"])
    assert wrong.exit_code == 2

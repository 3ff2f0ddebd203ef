"""trunkwatch.pattern.hot_spots: a planted focus is found and named; nothing is named where nothing is."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.grid import RowGrid
from trunkwatch.pattern.hot_spots import hot_spots
from trunkwatch.pattern.place_words import hot_spots_sentences
from trunkwatch.pattern.verdict import map_pattern
from trunkwatch.pattern.words import pattern_sentences
from trunkwatch.vineyard.tables import frame_of


def grid(rows=12, vines=40, **block):
    told = {"block": "B", "vine_spacing_m": 1.5, "row_spacing_m": 2.5} | block
    lines = [{"block": "B", "row": f"R{n}", "row_order": n, "last": vines} for n in range(1, rows + 1)]
    return RowGrid.from_tables(told, frame_of("rows", lines))


def test_a_planted_focus_is_named_by_row_and_position():
    """4 % everywhere, and 12 of the 15 vines in rows 5 to 7, positions 20 to 24."""
    where = grid()
    cases = np.random.default_rng(1).random(where.shape) < 0.04
    cases[4:7, 19:24] = True
    cases[4:7, [19, 23]] = [[True, False], [False, True], [True, False]]
    found = hot_spots(cases, where.exists, where)
    (sentence,) = hot_spots_sentences(found)
    top = found.scan.windows[0]
    assert top.pvalue <= 0.05
    inside = np.zeros(where.shape, dtype=bool)
    inside[tuple(np.array(top.cells).T)] = True
    planted = np.zeros(where.shape, dtype=bool)
    planted[4:7, 19:24] = True
    assert (inside & planted).sum() >= 10
    row, position = found.label(top)
    assert row in ("R5", "R6", "R7")
    assert 20 <= int(position) <= 24
    assert (
        f"Look first around row {row}, position {position} (rows R5 to R7): {top.cases} of {top.vines} vines"
        in sentence
    )


def test_scattered_cases_name_no_place():
    where = grid()
    named = 0
    for seed in range(40):
        cases = np.random.default_rng(seed).random(where.shape) < 0.06
        (sentence,) = hot_spots_sentences(hot_spots(cases, where.exists, where, permutations=99, seed=seed))
        named += sentence.startswith("Look first")
        assert sentence.startswith(("Look first", "No single place stands out: around row R"))
    assert named <= 6  # P(binomial(40, 0.05) > 6) = 0.003


def test_guessed_spacings_and_unanswerable_maps_name_nothing():
    guessed = grid(vine_spacing_m="", row_spacing_m="")
    assert guessed.assumed_spacing
    assert hot_spots(guessed.exists, guessed.exists, guessed) is None
    where = grid()
    assert hot_spots_sentences(hot_spots(np.zeros(where.shape, dtype=bool), where.exists, where)) == ()


@pytest.mark.parametrize("clustered", [True, False])
def test_the_pattern_names_places_only_where_the_block_is_clustered(clustered):
    where = grid()
    cases = np.zeros(where.shape, dtype=bool)
    if clustered:
        cases[2:5, 3:9] = True
    else:
        cases[::3, ::8] = True
    found = map_pattern("B", "now", cases, where.exists, where, permutations=99)
    assert (found.places is not None) == clustered
    assert any(one.startswith("Look first") for one in pattern_sentences(found)) == clustered


def test_places_are_in_the_data(pytestconfig):
    done = CliRunner().invoke(
        main, ["pattern", str(pytestconfig.rootpath / "sample_blocks"), "--block", "Mill", "--json"]
    )
    told = json.loads(done.stdout)[0]["places"]
    assert told[0]["centre"][0] == "1"
    assert told[0]["cases"] <= told[0]["vines"]
    assert told[0]["p"] <= 0.05

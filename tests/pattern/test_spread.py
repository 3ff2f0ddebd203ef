"""trunkwatch.pattern: spread, on_record, all_seasons, gradients, findings, words, spread_words, place_words; trunkwatch.charts.series."""

from dataclasses import replace

import numpy as np
import pytest

from trunkwatch.block import load
from trunkwatch.charts.series import SeriesPoint, series_svg
from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockRecords, build_history, read_block
from trunkwatch.pattern import pattern_of
from trunkwatch.pattern.all_seasons import pattern_series, step_of
from trunkwatch.pattern.findings import MapFinding, Word
from trunkwatch.pattern.gradients import block_gradients
from trunkwatch.pattern.on_record import on_record
from trunkwatch.pattern.place_words import towards_words
from trunkwatch.pattern.spread import Says, _says, spread_verdict
from trunkwatch.pattern.spread_words import series_sentence, spread_sentences
from trunkwatch.pattern.verdict import map_pattern
from trunkwatch.pattern.words import pattern_sentences
from trunkwatch.stats.false_positive import FalsePositive
from trunkwatch.stats.hazard import HazardTrend
from trunkwatch.stats.join_counts import join_count
from trunkwatch.vineyard.tables import frame_of
from trunkwatch.yearly.spread import SpreadTest


@pytest.fixture(scope="module")
def sample(pytestconfig):
    path = pytestconfig.rootpath / "sample_blocks"
    return {name: load(path, name) for name in ("Mill", "Orchard", "Hollow")}


def grid_of(rows, stations):
    lines = frame_of("rows", [{"block": "B", "row": str(n + 1), "last": stations} for n in range(rows)])
    return RowGrid.from_tables({"block": "B", "row_spacing_m": 2.5, "vine_spacing_m": 1.5}, lines)


def test_the_years_tell_mill_from_orchard(sample):
    mill = spread_verdict(sample["Mill"].history, 2026, permutations=499)
    orchard = spread_verdict(sample["Orchard"].history, 2026, permutations=499)
    assert (mill.says, orchard.says) == ("spread or short zones", "against")
    assert mill.telling is mill.along
    assert orchard.telling is None
    assert mill.false_positive.share > 0.9
    assert orchard.false_positive.share > 0.9
    assert orchard.new_cases.high < 1 < mill.new_cases.ratio
    assert 0 < mill.along.low < mill.along.share < mill.along.high < 0.5
    assert spread_sentences(orchard)[0].startswith("Spread from vine to vine: nothing in this record points to it.")
    told = " ".join(spread_sentences(mill))
    assert f"Of 100 new cases at least about {100 * mill.along.share:.0f} " in told
    assert "(planting year, which is on record, held apart)" in told


def test_nothing_is_concluded_with_few_surveys(sample):
    early = spread_verdict(sample["Mill"].history, 2019, permutations=99)
    assert early.seasons == 3
    assert early.says == "cannot tell"
    assert "cannot tell with 3 surveyed seasons" in spread_sentences(early)[0]


LEVELS = [("along", 0.03, 0.02), ("across", 0.005, 0.005)]


@pytest.mark.parametrize(("direction", "both", "one"), LEVELS)
def test_what_is_said_at_which_p(direction, both, one):
    """Both statistics for "spread", the more powerful one for "spread, or short zones"; across is held to more."""
    none = _test(direction, 1.0, 1.0)

    def says(spread_p, either_p):
        told = _test(direction, spread_p, either_p)
        pair = (told, none) if direction == "along" else (none, told)
        return _says(*pair, _trend(0.5, 0.9), 10)

    assert says(both, both) is Says.FOR
    assert says(both + 0.001, one) is Says.EITHER
    assert says(both, both + 0.001) is (Says.CANNOT_TELL if both + 0.001 > one else Says.EITHER)
    assert says(0.21, 0.21) is Says.AGAINST
    assert says(0.19, 0.5) is Says.CANNOT_TELL


def test_against_needs_cases_that_dry_up_for_certain_and_seasons_enough():
    none = _test("along", 1.0, 1.0)
    assert _says(none, none, _trend(0.5, 0.9), 8) is Says.AGAINST
    assert _says(none, none, _trend(0.5, 1.0), 8) is Says.CANNOT_TELL
    assert _says(none, none, _trend(0.5, 0.9, seasons=4), 8) is Says.CANNOT_TELL
    assert _says(none, none, _trend(0.5, 0.9), 7) is Says.CANNOT_TELL
    assert _says(_test("along", 0.001, 0.001), none, _trend(0.5, 0.9), 3) is Says.CANNOT_TELL


def _test(direction, spread_p, either_p):
    return SpreadTest(direction, (), 0, spread_p, 0, either_p, 0, 0, 0, 50, 40, 999, "", np.empty(0))


def _trend(ratio, high, seasons=6):
    return HazardTrend(ratio, ratio**2, high, 1.0, seasons, "")


def test_what_is_on_record_of_plants():
    """Cultivar by row, rootstock by vine, planting season by plant; one label tells nobody apart."""
    plants = [
        {"block": "B", "row": "2", "position": 2, "planted": "2020", "rootstock": "Low"},
        {"block": "B", "row": "1", "position": 1, "rootstock": "High", "cultivar": "White"},
    ]
    surveys = [{"block": "B", "date": f"{year}-08-10", "covered": "1..2"} for year in (2018, 2019, 2020, 2021)]
    lines = [
        {"block": "B", "row": "1", "last": 3, "cultivar": "Red"},
        {"block": "B", "row": "2", "last": 3, "cultivar": "Blue"},
    ]
    block = {"block": "B", "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "planted": "2000"}
    records = BlockRecords(
        block=block,
        rows=frame_of("rows", lines),
        plants=frame_of("plants", plants),
        surveys=frame_of("surveys", surveys),
        symptoms=frame_of("symptoms", []),
        work=frame_of("work", []),
    )
    history = build_history(read_block(records, RowGrid.from_tables(block, records.rows)), "any")
    found = on_record(history)
    assert found.labels == {
        "cultivar": ("Blue", "Red", "White"),
        "rootstock": ("", "High", "Low"),
        "planting": ("", "2020"),
    }
    last = {
        name: [[found.labels[name][code] for code in row] for row in codes[-1]] for name, codes in found.codes.items()
    }
    assert last["cultivar"] == [["White", "Red", "Red"], ["Blue", "Blue", "Blue"]]
    assert last["rootstock"] == [["High", "", ""], ["", "Low", ""]]
    assert last["planting"] == [["", "", ""], ["", "2020", ""]]
    assert found.codes["planting"][0].max() == 0
    apart = found.together(3)
    assert np.unique(apart).size == 4  # White High, Red, Blue, Blue Low of 2020
    assert apart[0, 1] == apart[0, 2] != apart[0, 0]


def test_series_is_the_test_of_each_season(sample):
    season = sample["Mill"]
    series = pattern_series(season.history, 2026, permutations=199)
    assert [one.season for one in series.seasons] == list(season.history.counted_seasons)
    last = series.seasons[-1]
    own = join_count(season.cases & season.vines, season.vines, permutations=0)
    assert (last.seen, last.expected) == (own.case_case, pytest.approx(own.expected_case_case))
    assert np.isnan(last.corrected)
    assert all(one.corrected >= one.pvalue for one in series.seasons[:-1] if one.pvalue == one.pvalue)
    assert series.together is not None
    assert series.together.pvalue <= 0.01
    assert "counted seasons together" in series_sentence(series)
    assert "sick vines are bunched more than by chance" in series_sentence(series)


def test_the_winter_of_hollow_stands_out(sample):
    found, year = step_of(sample["Hollow"].history, 2026)
    assert year == 2021
    assert found.new > 4 * found.expected
    assert "one-season jump (2021)" in pattern_of(sample["Hollow"], permutations=99).words


def test_a_gradient_is_named_with_its_way_and_a_corner_focus_is_none():
    grid = grid_of(16, 40)
    vines = np.ones(grid.shape, dtype=bool)
    rng = np.random.default_rng(5)
    slope = vines & (rng.random(grid.shape) < 0.3 * (np.arange(40) / 39) ** 2)
    found = {one.name: one for one in block_gradients(slope, vines, grid)}
    assert found["along"].corrected < 0.05
    assert towards_words(found["along"]) == "towards the far end of the rows"
    assert found["across"].corrected > 0.05
    rowwise = vines & (rng.random(grid.shape) < 0.3 * (np.arange(16) / 15)[:, None] ** 2)
    assert towards_words({one.name: one for one in block_gradients(rowwise, vines, grid)}["across"]) == "towards row 16"
    corner = np.zeros(grid.shape, dtype=bool)
    corner[:4, :5] = True
    assert all(one.corrected == 1 for one in block_gradients(corner, vines, grid))
    assert "gradient or edge" in map_pattern("B", "", slope, vines, grid, permutations=99).words


def test_gradients_are_rare_on_clumps_anywhere():
    grid = grid_of(16, 40)
    vines = np.ones(grid.shape, dtype=bool)
    rng = np.random.default_rng(8)
    hits = 0
    for _ in range(150):
        cases = np.zeros(grid.shape, dtype=bool)
        for _ in range(3):
            row, station = rng.integers(0, 13), rng.integers(0, 35)
            cases[row : row + 3, station : station + 4] = True
        hits += any(one.corrected <= 0.05 for one in block_gradients(cases, vines, grid))
    assert hits <= 16  # P(more of 150 at 5 %) is 0.002


def test_picture_of_the_series():
    points = [
        SeriesPoint(2025, 3, 2.0, 1.2, "p = 0.4 <corrected>"),
        SeriesPoint(2026, 19, 6.5, 2.0, "p = 0.001, the test", primary=True),
    ]
    svg = series_svg(points, title="Pairs")
    assert svg == series_svg(points, title="Pairs")
    assert "2025: 3 seen, 2.0 by chance" in svg
    assert "<corrected>" not in svg
    with pytest.raises(ValueError, match="no season"):
        series_svg([], title="Pairs")


def test_a_block_with_a_side_is_not_called_scattered_and_nothing_else():
    """Cases apart from each other but on one side, or across only: the opening sentence does not contradict the rest."""
    rng = np.random.default_rng(3)
    grid = grid_of(20, 50)
    cases = np.zeros(grid.shape, dtype=bool)
    cells = [(r, s) for r in range(0, 20, 2) for s in range(0, 24, 2)]
    for number in rng.choice(len(cells), 60, replace=False):
        cases[cells[number]] = True
    found = map_pattern("B", "", cases, np.ones_like(cases), grid, permutations=199)
    assert found.words == ("scattered as by chance", "gradient or edge")
    assert pattern_sentences(found)[0].endswith("but they are not spread evenly over the block.")
    assert "as chance would scatter them" not in " ".join(pattern_sentences(found))
    even = replace(found, findings=(MapFinding(Word.CHANCE),))
    assert pattern_sentences(even)[0] == "Sick vines are scattered, as chance would scatter them."
    beside = replace(even, findings=(MapFinding(Word.PAIRS_ACROSS),))
    assert pattern_sentences(beside)[0].startswith("Sick vines lie directly across from each other more often")


def test_nearness_is_dismissed_only_where_static_records_would_show_it(sample):
    verdict = spread_verdict(sample["Mill"].history, 2026, permutations=99)
    assert "nearness alone is no sign of spread" in " ".join(spread_sentences(verdict))
    rare = replace(verdict, false_positive=FalsePositive(0.02, 0.01, 0.05, 200, ""))
    assert "in 2 % of 200 such records." in " ".join(spread_sentences(rare))
    assert "nearness alone" not in " ".join(spread_sentences(rare))

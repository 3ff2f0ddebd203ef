"""trunkwatch.block: opening, trend, first_look, words; trunkwatch.pattern: verdict, near_old, one_survey; trunkwatch.surveys: survey_map; trunkwatch.season on notes in a folder."""

import numpy as np
import pytest
from walked_blocks import walked_block

from trunkwatch.block import load, trend_of, winter_list
from trunkwatch.block.opening import open_vineyard
from trunkwatch.block.words import note_sentences
from trunkwatch.errors import FaultyNotesError, FileError, RecordError, UnknownBlockError
from trunkwatch.grid import RowGrid
from trunkwatch.history import rate
from trunkwatch.pattern.chance_words import chance_words
from trunkwatch.pattern.findings import Direction, VinesTested, Word
from trunkwatch.pattern.near_old import near_old_pattern
from trunkwatch.pattern.one_survey import look_pattern
from trunkwatch.pattern.verdict import direction_of, map_pattern
from trunkwatch.pattern.words import pattern_sentences
from trunkwatch.spreadsheets.write import write_folder
from trunkwatch.vineyard.tables import frame_of


@pytest.fixture
def golden_folder(golden, tmp_path):
    write_folder(tmp_path / "golden", {name: frame_of(name, records) for name, records in golden.TABLES.items()})
    return tmp_path / "golden"


def test_golden_through_a_folder(golden, golden_folder):
    for name, by_season in golden.RATES.items():
        for season, expected in by_season.items():
            found = rate(load(golden_folder, "G", season).history, name, season)
            assert (found.cases, found.vines) == (expected or (0, 0))


def test_golden_trend(golden, golden_folder):
    trend = trend_of(load(golden_folder))
    assert [one.season for one in trend.counted] == list(golden.SEASONS)
    assert [(one.rates["annual"].cases, one.rates["annual"].vines) for one in trend.seasons] == list(
        golden.RATES["annual"].values()
    )
    assert trend.change.vines == 4  # P1 to P4 were looked at in 2025 and 2026
    assert (trend.change.earlier, trend.change.later) == (1, 1)
    assert "cannot tell a showy year from an increase" in trend.swing.sentence


def test_golden_masks(golden_folder):
    season = load(golden_folder, season=2026)
    assert season.cases.sum() == 2
    assert season.vines.sum() == 6
    assert not (season.cases & ~season.vines).any()


def test_a_definition_that_counts_is_taken_and_said(golden, tmp_path):
    summer = {**golden.TABLES, "surveys": [s for s in golden.SURVEYS if s["look"] == "summer"]}
    write_folder(tmp_path / "v", {name: frame_of(name, records) for name, records in summer.items()})
    found = load(tmp_path / "v")
    assert (found.history.definition, found.season) == ("any", golden.SEASONS[-1])
    assert found.history.compared_seasons == golden.SEASONS
    assert load(tmp_path / "v", definition="dieback").history.counted_seasons == ()


def test_a_season_that_has_just_begun_does_not_hide_the_others(golden, tmp_path):
    """A dormant look in January 2027, the summer yet to come: 2026 is shown, 2027 by name, compared by its dead wood."""
    begun = {"survey": "dormant 2027", "block": "G", "date": "2027-01-15", "look": "dormant", "covered": "1"}
    tables = {**golden.TABLES, "surveys": [*golden.SURVEYS, begun]}
    write_folder(tmp_path / "v", {name: frame_of(name, records) for name, records in tables.items()})
    usual = load(tmp_path / "v")
    assert (usual.season, usual.history.compared_seasons) == (2026, golden.SEASONS)
    assert any("--season 2027" in note for note in note_sentences(usual))
    named = load(tmp_path / "v", season=2027)
    assert (named.history.definition, named.history.compared_seasons) == ("dieback", (*golden.SEASONS, 2027))
    whole = load(tmp_path / "v", season=2027, definition="any")
    assert whole.history.counted_seasons == (*golden.SEASONS, 2027)
    assert whole.history.compared_seasons == (2027,)
    assert rate(whole.history, "annual", 2026).vines == 6
    assert rate(whole.history, "new", 2026).reason.startswith("other inspections")


def test_what_stands_in_the_way(golden_folder, tmp_path):
    with pytest.raises(UnknownBlockError, match="the blocks are: G"):
        load(golden_folder, "H")
    with pytest.raises(RecordError, match="no season 1999"):
        load(golden_folder, "G", 1999)
    with pytest.raises(FileError, match="trunkwatch new"):
        open_vineyard(tmp_path / "nowhere")
    (tmp_path / "x.txt").write_text("x")
    with pytest.raises(FileError, match="no vineyard"):
        open_vineyard(tmp_path / "x.txt")
    with (golden_folder / "symptoms.csv").open("a") as file:
        file.write("G,1,99999,not a date,dead_arm\n")
    with pytest.raises(FaultyNotesError):
        load(golden_folder)
    assert load(golden_folder, keep_good=True).cases.sum() == 2


def test_near_old_counts_by_hand(golden_folder):
    """2024: old P2 and P5; P3 and P4 became cases beside them, P1 did not; P7 and P8 have no old neighbour (P6 is empty)."""
    found = near_old_pattern(load(golden_folder).history, 2024)
    assert found.season.table == ((2, 1), (0, 2))
    assert found.season.statistic == 2
    assert found.season.pvalue == pytest.approx(3 / 10)  # both new of the 3 beside an old one: C(3,2)/C(5,2)


def grid(rows, vines, row_m=3.0, vine_m=1.5):
    lines = [{"block": "T", "row": str(n + 1), "first": 1, "last": vines} for n in range(rows)]
    return RowGrid.from_tables(
        {"block": "T", "row_spacing_m": row_m, "vine_spacing_m": vine_m}, frame_of("rows", lines)
    )


def test_along_is_said_only_beyond_the_same_metres_across():
    """Six stretches of four in scattered rows: along. The same square patches: both."""
    cases = np.zeros((14, 40), dtype=bool)
    for number in range(6):
        cases[2 * number + 1, 5 * number : 5 * number + 5] = True
    found = map_pattern("T", "t", cases, np.ones_like(cases), grid(14, 40), permutations=999)
    assert found.words == ("clustered (along)",)
    assert found.holm["across"] > 0.05
    across = map_pattern("T", "t", cases.T, np.ones_like(cases.T), grid(40, 14), permutations=999)
    assert across.words == ("clustered (across)",)


def test_without_spacing_nothing_is_said_of_a_direction():
    cases = np.zeros((14, 40), dtype=bool)
    for number in range(6):
        cases[2 * number + 1, 5 * number : 5 * number + 5] = True
    lines = [{"block": "T", "row": str(n + 1), "first": 1, "last": 40} for n in range(14)]
    bare = RowGrid.from_tables({"block": "T"}, frame_of("rows", lines))
    found = map_pattern("T", "t", cases, np.ones_like(cases), bare, permutations=999)
    assert found.words == ("clustered (no clear direction)",)
    assert found.nearest is None


def test_few_none_all():
    vines = np.ones((6, 9), dtype=bool)
    for cases, words in ((np.zeros_like(vines), "No case was seen"), (vines, "Every one of the 54 vines")):
        found = map_pattern("T", "t", cases, vines, grid(6, 9), permutations=99)
        assert found.words == ("too few to say",)
        assert pattern_sentences(found)[0].startswith(words)


def test_above_half_the_rarer_class_carries_the_test():
    rng = np.random.default_rng(5)
    vines = np.ones((12, 20), dtype=bool)
    cases = rng.random(vines.shape) < 0.8
    found = map_pattern("T", "t", cases, vines, grid(12, 20), permutations=199)
    assert found.tested is VinesTested.FREE
    assert found.primary.n_cases == int((~cases).sum())
    assert any("vines without carry the test" in sentence for sentence in pattern_sentences(found))


def test_a_seed_is_a_result():
    rng = np.random.default_rng(6)
    vines = np.ones((12, 20), dtype=bool)
    cases = rng.random(vines.shape) < 0.15
    one, two = (map_pattern("T", "t", cases, vines, grid(12, 20), permutations=199, seed=3) for _ in range(2))
    assert one.primary.pvalue == two.primary.pvalue
    assert one.findings[0].word in (Word.CHANCE, Word.TOO_FEW, Word.CLUSTERED)


def test_words():
    assert chance_words(0.0004) == "chance alone would do this less than once in 1,000 blocks"
    assert chance_words(0.03).endswith("3 times in 100")
    assert chance_words(0.01).endswith("1 time in 100")
    assert chance_words(0.004).endswith("4 times in 1,000")
    assert chance_words(0.001).endswith("1 time in 1,000")
    assert chance_words(0.5) == "chance alone would often do this, about 5 times in 10"
    assert direction_of(along=True, across=False, stronger_along=False) is Direction.UNCLEAR


def test_winter_list(golden_folder):
    """2025: P4's dead arm was cut in February, its leaves showed in August. 2024: all was cut since."""
    (vine,) = winter_list(load(golden_folder, season=2025))
    assert (vine.row, vine.position, vine.what, vine.percent) == ("1", 4, "striped leaves", None)
    earlier = winter_list(load(golden_folder, season=2024))
    assert {vine.position: vine.what for vine in earlier} == {
        3: "already cut",
        4: "already cut",
    }


def test_one_look(golden_folder):
    found = look_pattern(golden_folder, survey="summer 2023", permutations=99)
    assert (found.n_cases, found.n_vines) == (2, 7)
    with pytest.raises(RecordError, match="its surveys: dormant 2023"):
        look_pattern(golden_folder, survey="nothing")


def test_a_season_with_more_looks_than_the_one_before_is_the_usual_one(golden, tmp_path):
    """2025 lacks its dormant or its summer look: 2026 has both, and is not under way for that."""
    for left_out in ("dormant 2025", "summer 2025"):
        tables = {**golden.TABLES, "surveys": [one for one in golden.SURVEYS if one["survey"] != left_out]}
        write_folder(tmp_path / left_out, {name: frame_of(name, records) for name, records in tables.items()})
        assert load(tmp_path / left_out).season == 2026
    other = [one for one in golden.SURVEYS if one["survey"] not in ("summer 2025", "dormant 2026")]
    tables = {**golden.TABLES, "surveys": other}
    write_folder(tmp_path / "v", {name: frame_of(name, records) for name, records in tables.items()})
    assert load(tmp_path / "v").season == 2026  # bare wood in one, leaves in the other: none is less than the other


def test_the_change_is_of_the_plants_that_stood_in_both_seasons():
    """Row of 6 looked at in 2020 and 2024; vine 1 showed in 2020 and was replaced, 2 showed in 2020 only, 3 in 2024 only."""
    leaves = [
        {"position": str(p), "date": f"{year}-08-15", "symptom": "leaf_stripe"}
        for p, year in ((1, 2020), (2, 2020), (3, 2024))
    ]
    replanted = [{"position": "1", "date": "2020-11-20", "kind": "replant"}]
    years = (2020, 2024)
    both = trend_of(load(walked_block(years, vines=6, symptoms=leaves, work=replanted), "A")).change
    assert (both.vines, both.earlier, both.later) == (5, 1, 1)

"""trunkwatch.decide: kept_counts; trunkwatch.forecast: season_counts; trunkwatch.block: program_mark; counts in place of blocks that are not read."""

import json

import pytest
from click.testing import CliRunner
from made_cards import lent, put
from made_programme import make_vineyard

from trunkwatch.block import opening, program_mark
from trunkwatch.block.opening import Readings, open_vineyard
from trunkwatch.cards.card import card_text, read_card
from trunkwatch.cards.lend import lent_counts
from trunkwatch.cli import main
from trunkwatch.decide.kept_counts import KeptCounts
from trunkwatch.decide.outlook import LeansOn, LentCounts, VineyardSteps, outlook
from trunkwatch.decide.outlook_words import leans_on_sentence
from trunkwatch.forecast.estimate import counts_of, estimate
from trunkwatch.forecast.season_counts import SeasonCounts, season_counts, up_to
from trunkwatch.forecast.vine_years import steps_of


@pytest.fixture(scope="module")
def blocks(pytestconfig):
    with open_vineyard(pytestconfig.rootpath / "sample_blocks") as store:
        readings = Readings(store)
        found = [readings.season(label) for label in store.blocks()]
    return [steps_of(one.history, one.season) for one in found]


def test_counts_of_seasons_are_those_of_the_blocks_arrays(blocks):
    """Each chance and each season, and what is estimated of another block: the same to the last digit."""
    for steps in blocks:
        seasons = [season_counts(step) for step in steps]
        there, here = counts_of(steps), counts_of(seasons)
        assert there == here
        for name in ("years", "new", "at_risk", "again", "again_risk", "spans", "written", "written_risk"):
            assert (getattr(there, name) == getattr(here, name)).all(), name
    own, *others = blocks
    one = estimate(own, others)
    other = estimate(own, [[season_counts(step) for step in steps] for steps in others])
    assert one.alpha == other.alpha
    assert (one.first == other.first).all()
    assert one.borrowed == other.borrowed == len(others)


def test_counts_go_through_json_and_come_back(blocks):
    for step in blocks[0]:
        counts = season_counts(step)
        again = SeasonCounts.of_data(json.loads(json.dumps(counts.as_data())))
        assert again == counts
        for name in ("years", "points", "first", "again", "vines", "shares", "entry"):
            assert (getattr(again.growth, name) == getattr(counts.growth, name)).all()
    data = counts.as_data()
    with pytest.raises(ValueError, match="growth has 'years' with 3 parts"):
        SeasonCounts.of_data(data | {"growth": {"years": [1, 2, 3]}})


def test_later_seasons_were_not_known_then(blocks):
    counts = [[season_counts(step) for step in steps] for steps in blocks]
    assert max(one.season for listed in up_to(counts, 2022) for one in listed) == 2022


@pytest.fixture
def vineyard(tmp_path):
    """Four blocks in one file."""
    make_vineyard(tmp_path / "v", 6, labels=list("ABCD"), seasons=range(2020, 2027))
    path = tmp_path / "v.gpkg"
    assert CliRunner().invoke(main, ["load", str(path), str(tmp_path / "v")]).exit_code == 0
    return path


def count_readings(monkeypatch):
    names = []
    read = opening.read
    monkeypatch.setattr(opening, "read", lambda store, label=None: names.append(label) or read(store, label))
    return names


def forecast(path, *words):
    done = CliRunner().invoke(main, ["forecast", str(path), "--block", "A", "--json", *map(str, words)])
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def test_a_second_forecast_reads_its_own_block_and_says_the_same(vineyard, tmp_path, monkeypatch):
    names = count_readings(monkeypatch)
    first = forecast(vineyard, "--cache", tmp_path / "kept")
    assert sorted(names) == list("ABCD")
    names.clear()
    assert forecast(vineyard, "--cache", tmp_path / "kept") == first
    assert names == ["A"]
    assert first["leans_on"] == {"own": 3, "lent": 0, "growers": 0}
    assert first == forecast(vineyard)


def test_what_changed_is_read_again(vineyard, tmp_path, monkeypatch):
    first = forecast(vineyard, "--cache", tmp_path / "kept")
    for position in range(1, 12):
        words = ("--row", 2, "--position", position, "--symptom", "leaf_stripe", "--date", "2026-08-01")
        assert (
            CliRunner().invoke(main, ["log", str(vineyard), "finding", "--block", "C", *map(str, words)]).exit_code == 0
        )
    names = count_readings(monkeypatch)
    again = forecast(vineyard, "--cache", tmp_path / "kept")
    assert sorted(names) == ["A", "C"]
    assert again["chances"] != first["chances"]
    assert again == forecast(vineyard)


def test_what_another_program_version_or_a_damaged_file_holds_is_not_taken(vineyard, tmp_path, monkeypatch):
    first = forecast(vineyard, "--cache", tmp_path / "kept")
    for path in (tmp_path / "kept").iterdir():
        path.write_text(path.read_text()[:40])
    names = count_readings(monkeypatch)
    assert forecast(vineyard, "--cache", tmp_path / "kept") == first
    assert sorted(names) == list("ABCD")
    names.clear()
    monkeypatch.setattr("trunkwatch.decide.kept_counts.program_mark", lambda: "another")
    assert forecast(vineyard, "--cache", tmp_path / "kept") == first
    assert sorted(names) == list("ABCD")
    assert len(program_mark.program_mark()) == 32


def test_nothing_is_kept_of_a_folder_of_spreadsheets(tmp_path):
    make_vineyard(tmp_path / "v", 6, labels=list("AB"), seasons=range(2020, 2027))
    forecast(tmp_path / "v", "--cache", tmp_path / "kept")
    assert not (tmp_path / "kept").exists()
    with open_vineyard(tmp_path / "v") as store:
        assert KeptCounts(tmp_path / "kept").read(store, "A", "any") is None


def test_cards_are_leant_on_as_a_whole_and_never_before_their_last_season(vineyard, tmp_path):
    folder = put(tmp_path / "cards", lent(1, to=2026, first=(300, 900)), lent(1, "b", to=2027), lent(2, to=2025))
    found = forecast(vineyard, "--cards", folder)
    assert found["leans_on"] == {"own": 3, "lent": 2, "growers": 2}
    plain = forecast(vineyard)
    assert found["chances"]["first"] != plain["chances"]["first"]
    known = [one["season"] for one in plain["back_test"]["seasons"] if one["season"] <= 2025]
    assert known
    for one, other in zip(found["back_test"]["seasons"], plain["back_test"]["seasons"], strict=True):
        assert (one == other) is (one["season"] <= 2025)


def test_cards_under_another_definition_lend_nothing(vineyard):
    (one,) = lent_counts([read_card(card_text(lent(1)).encode())])
    with open_vineyard(vineyard) as store:
        steps = VineyardSteps(store, lent=[one, LentCounts("leaf", "g", one.seasons)])
        assert len(steps.others("A", "any")) == 4
        assert steps.leans_on("A", "any", 2026) == LeansOn(3, 1, 1)
        found = outlook(steps.readings.season("A"), steps.others("A", "any"))
        assert found.estimates.borrowed == 4


def test_it_is_said_on_how_many_a_forecast_leans():
    assert leans_on_sentence(LeansOn(0, 0, 0)) == "The forecast uses this block's own record and no other block's."
    assert (
        leans_on_sentence(LeansOn(1, 0, 0))
        == "Beside the block's own record the forecast uses 1 other block of the same vineyard."
    )
    assert leans_on_sentence(LeansOn(2, 3, 1)).endswith(
        "2 other blocks of the same vineyard and 3 cards of 1 other grower, who agreed to it."
    )

"""trunkwatch.pattern: when_told, when_told_words."""

from dataclasses import replace

import numpy as np
import pytest

from trunkwatch.block import load
from trunkwatch.pattern.spread import LEVELS
from trunkwatch.pattern.when_told import WhenTold, WhyNotTold, _after, _simulated, told_power, when_told
from trunkwatch.pattern.when_told_words import when_sentence, when_sentences
from trunkwatch.yearly.plant_records import PlantRecords
from trunkwatch.yearly.spread import grid_lags


@pytest.fixture(scope="module")
def mill(pytestconfig):
    return load(pytestconfig.rootpath / "sample_blocks", "Mill")


def test_the_levels_are_those_of_the_verdict():
    level = LEVELS["along"]
    assert told_power(level.spread, level.spread) == (True, True)
    assert told_power(level.spread + 0.001, level.either) == (False, True)
    assert told_power(level.spread + 0.001, level.either + 0.0001) == (False, False)


def test_so_many_new_cases_follow_as_were_asked_for():
    shape = (20, 60)
    rng = np.random.default_rng(4)
    start = np.where(rng.random(shape) < 0.04, 0, -1)
    plants = PlantRecords(start, start, np.zeros(shape, int), np.zeros(shape, int), np.ones(shape, dtype=bool))
    new = np.array([int((start == 0).sum()), *[20] * 7])
    lags = grid_lags(shape, "along")[1]
    for share in (0.0, 1.0):
        first = _simulated(plants, new, share, 8, lags, np.random.default_rng(1))
        assert np.bincount(first[first >= 0]).tolist() == new.tolist()
        assert (first == 0).sum() == (start == 0).sum()
        later = first[first >= 0].size - new[0]
        flat, beside = first.ravel(), 0
        for cell in np.flatnonzero(flat > 0):
            around = [c for pair in lags if cell in pair for c in pair if c != cell]
            beside += any(0 <= flat[c] < flat[cell] for c in around)
        assert beside == later if share == 1 else beside < 0.4 * later


def test_more_seasons_and_more_followers_tell_more(mill):
    calls = []
    none, many = when_told(mill, shares=(0.0, 0.8), more=(0, 8), runs=30, shuffles=99, done=lambda: calls.append(1))
    assert len(calls) == 60
    assert max(none.told) <= 0.2  # of 30 at 3 %: P(more than 6) is below 0.00001
    assert many.told[1] > 0.8
    assert many.told[1] >= many.told[0]
    assert all(hinted >= told for told, hinted in zip(many.told, many.hinted, strict=True))
    assert none.enough_after is None
    assert many.enough_after <= 8
    assert (many.cases, many.seasons) == (none.cases, len(mill.history.compared_seasons))
    assert when_told(mill, shares=(0.3,), more=(0,), runs=5, seed=3) == when_told(
        mill, shares=(0.3,), more=(0,), runs=5, seed=3
    )


def test_seasons_are_read_off_between_those_that_were_tried():
    assert _after((0, 4, 8, 12), np.array([0.2, 0.6, 1.0, 1.0])) == pytest.approx(6)
    assert _after((0, 4, 8, 12), np.array([0.9, 0.6, 1.0, 1.0])) == 0
    assert _after((0, 4, 8, 12), np.array([0.2, 0.3, 0.4, 0.79])) is None


def test_sentences_say_the_seasons_first(pytestconfig):
    found = WhenTold(0.3, 8, 120, 14.2, (0, 4, 8, 12), (0.2, 0.6, 1.0, 1.0), (0.3, 0.7, 1.0, 1.0), 6.0, 50)
    assert when_sentence(found) == (
        "If 30 of 100 new cases follow the vine next to them in the row: about 6 more seasons until spread could show here (80 times in 100)."
    )
    assert "enough to tell spread here" in when_sentence(replace(found, enough_after=0.0))
    assert "could not be told within 12 more seasons" in when_sentence(replace(found, enough_after=None))
    assert "told in 20 of 100 such blocks now, 60 after 4 more seasons, 100 after 8" in when_sentences((found,))[1]
    short = load(pytestconfig.rootpath / "sample_blocks", "Mill", 2017)
    why = when_told(short)
    assert why == WhyNotTold(1, 0)
    assert "1 surveyed season and 0 new cases" in when_sentences(why)[0]

"""trunkwatch.stats: spread_evidence, false_positive."""

import numpy as np
import pytest

from trunkwatch.stats.false_positive import _pooled_z, false_positive_share
from trunkwatch.stats.joins import joined_pairs
from trunkwatch.stats.new_near_old import new_near_old
from trunkwatch.stats.spread_evidence import Focus, _measures, spread_evidence


def row_of(text):
    """One row: a digit is a case and the season it showed first, a dot is none."""
    first = np.array([[int(c) if c != "." else -1 for c in text]])
    return first, first >= 0


def test_measures_counted_by_hand():
    first, cases = row_of("2012..13..")
    found = spread_evidence(*row_of("2012..13..3...2..10"), permutations=99, rng=1)
    assert found.n_cases == 10
    # 2012: apart 2, 1, 1; 13: apart 2. Beginnings: the 0 of the first four, the 1 of the second two.
    labels = first[cases][None]
    graph = np.array([[0, 1], [1, 2], [2, 3], [4, 5]])
    # One focus of all six (two vines between): its first vine is the 0 at place 1; rim vines at 0, 2, 3, 6, 7.
    at = np.flatnonzero(cases[0]).astype(float)
    away = np.abs(at[:, None] - at[None, :])
    cells = np.argwhere(cases)
    focus = Focus(np.arange(6), cells, (1.0, 1.0), away)
    close, beginnings, rim = _measures(labels, graph, [focus])[0]
    large = Focus(np.arange(6), cells, (1.0, 1.0), np.empty((0, 0)))
    assert _measures(labels, graph, [large])[0, 2] == pytest.approx(rim)
    assert close == pytest.approx((2 + 1 + 1 + 2) / 4)
    assert beginnings == 2
    gone, season = np.array([1, 1, 2, 5, 6.0]), np.array([2, 1, 2, 1, 3.0])
    assert rim == pytest.approx(np.polyfit(season, gone, 1)[0])


def test_one_wave_is_told_from_the_same_wave_shuffled():
    rows, stations = np.indices((15, 30))
    away = np.maximum(abs(rows - 7), abs(stations - 12))
    cases = away <= 6
    wave = spread_evidence(away, cases, permutations=499, rng=2)
    assert wave.pvalue == 1 / 500
    rim = {m.name: m for m in wave.measures}["rim"]
    assert 0.8 < rim.seen < 1.5  # a ring a season, the corners a little further
    assert rim.low < 0 < rim.high
    assert {m.name: m for m in wave.measures}["beginnings"].seen == 1


def test_size_on_static_foci_is_kept():
    """Foci from the start, seasons at random: exact by shuffling, so at most 5 % but for chance."""
    rng = np.random.default_rng(12)
    hits = 0
    for _ in range(300):
        seeds = rng.random((20, 30)) < 0.02
        cases = np.zeros_like(seeds)
        for r, c in np.argwhere(seeds):
            cases[max(r - 1, 0) : r + 2, max(c - 2, 0) : c + 3] |= (
                rng.random(cases[max(r - 1, 0) : r + 2, max(c - 2, 0) : c + 3].shape) < 0.7
            )
        hits += spread_evidence(rng.integers(0, 8, cases.shape), cases, permutations=99, rng=rng).pvalue <= 0.05
    assert hits <= 26  # P(more of 300 at 5 %) is 0.004


def test_too_little_to_tell():
    first, cases = row_of("0123...")
    assert spread_evidence(first, cases).reason == "4 cases by now, 10 are needed"
    few = np.ones((3, 6), dtype=bool)
    assert (
        spread_evidence(np.arange(18).reshape(3, 6) % 2, few).reason == "first symptoms in 2 seasons, three are needed"
    )
    lonely = np.zeros((9, 40), dtype=bool)
    lonely[::3, ::3] = True
    assert spread_evidence(np.indices((9, 40)).sum(axis=0) % 5, lonely).reason == "no two cases are neighbours"


def test_pooled_z_is_that_of_the_test_season_by_season():
    rng = np.random.default_rng(6)
    looked = rng.random((5, 8, 14)) < 0.9
    cases = rng.random((8, 14)) < 0.3
    first = np.where(cases, np.argmax(looked & (rng.random(looked.shape) < 0.4), axis=0), 9)
    first = np.where(cases & looked[np.minimum(first, 4), *np.indices((8, 14))], first, 9)
    cases = first < 9
    total = np.zeros(3)
    for t in range(1, 5):
        old = cases & (first < t)
        risk = looked[t] & looked[:t].any(axis=0) & ~old
        found = new_near_old(old, risk & (first == t), risk)
        total += [found.statistic, found.expected, found.variance]
    z = _pooled_z(
        first[cases][None], np.flatnonzero(cases), looked.reshape(5, -1), joined_pairs("queen", looked.any(axis=0), 1)
    )
    assert z[0] == pytest.approx((total[0] - total[1]) / np.sqrt(total[2]))


def test_static_foci_are_called_positive_and_scattered_cases_are_not():
    rng = np.random.default_rng(9)
    looked = np.ones((5, 20, 40), dtype=bool)
    foci = np.zeros((20, 40), dtype=bool)
    for r, c in ((3, 5), (10, 20), (15, 33), (5, 30)):
        foci[r : r + 4, c : c + 5] = True
    clumped = false_positive_share(rng.integers(0, 5, foci.shape), foci, looked, rng=1)
    scattered = rng.random((20, 40)) < 0.1
    loose = false_positive_share(rng.integers(0, 5, foci.shape), scattered, looked, rng=1)
    assert clumped.share > 0.95
    assert loose.share < 0.3
    one = false_positive_share(np.zeros(foci.shape), foci, looked)
    assert one.reason == "there are no earlier and later cases"
    with pytest.raises(ValueError, match="one grid is needed"):
        false_positive_share(np.zeros((2, 2)), foci, looked)

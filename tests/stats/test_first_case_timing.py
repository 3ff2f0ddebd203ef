"""trunkwatch.stats.first_case_timing: by hand, by enumeration, its size where nothing spreads."""

import itertools
import math

import numpy as np
import pytest

from trunkwatch.stats.first_case_timing import first_case_timing


def wave(rows=6, stations=9):
    """Every vine a case, one season later at each station: a wave along the rows."""
    return np.tile(np.arange(stations), (rows, 1)), np.ones((rows, stations), dtype=bool)


def test_a_wave_by_hand():
    """Rook: 48 pairs along with one season between, 45 across with none."""
    first, cases = wave()
    found = first_case_timing(first, cases, joins="rook", permutations=199, rng=1)
    assert found.n_pairs == 48 + 45
    assert found.statistic == pytest.approx(48 / 93)
    assert found.pvalue == pytest.approx(1 / 200)
    assert found.expected == pytest.approx(
        np.abs(np.subtract.outer(first.ravel(), first.ravel())).sum() / (54 * 53), abs=0.05
    )


def test_all_orders_of_a_small_map():
    """A 2 x 4 block, queen: the shuffled mean over all 8! orders, and the p-value."""
    first, cases = np.array([[0, 1, 1, 3], [0, 0, 2, 3]]), np.ones((2, 4), dtype=bool)
    from trunkwatch.stats.joins import joined_pairs

    left, right = joined_pairs("queen", cases).T
    orders = np.array(list(itertools.permutations(first.ravel())))
    null = np.abs(orders[:, left] - orders[:, right]).mean(axis=1)
    found = first_case_timing(first, cases, permutations=20_000, rng=2)
    exact = np.mean(null <= found.statistic + 1e-12)
    assert found.expected == pytest.approx(null.mean(), abs=0.01)
    assert abs(found.pvalue - exact) < 4 * math.sqrt(exact * (1 - exact) / 20_000) + 1e-4


def test_strata_keep_their_seasons():
    """Where every row has a season of its own, nothing can be shuffled inside rows."""
    first, cases = wave()
    rows = np.repeat(np.arange(9)[:, None], 6, axis=1)
    found = first_case_timing(first.T, cases.T, strata=rows, permutations=50, rng=1)
    assert np.ptp(found.null_distribution) == 0
    assert found.pvalue == 1.0


def test_size_on_foci_that_do_not_spread():
    """Clumped places, each showing first in a season of chance: of 200 maps at most 21 have p <= 0.05 (99.9 % limit)."""
    rng = np.random.default_rng(3)
    low = 0
    for _ in range(200):
        cases = np.zeros((12, 20), dtype=bool)
        for _focus in range(5):
            r, s = rng.integers(0, 9), rng.integers(0, 16)
            cases[r : r + 3, s : s + 4] |= rng.random((3, 4)) < 0.8
        first = np.minimum(rng.geometric(0.4, cases.shape), 8)
        low += first_case_timing(first, cases, permutations=99, rng=rng).pvalue <= 0.05
    assert low <= 21


def test_reasons_and_errors():
    first, cases = wave(2, 3)
    assert "only" in first_case_timing(first, cases & (np.arange(3) < 1)).reason
    assert "one season" in first_case_timing(first * 0, np.ones((4, 6), dtype=bool)[:2, :3]).reason
    assert first_case_timing(first, ~cases).reason == "there are fewer than two cases"
    with pytest.raises(ValueError, match="without a first season"):
        first_case_timing(np.full((2, 3), np.nan), cases)

"""trunkwatch.stats: row_sample."""

import numpy as np
import pytest
from scipy.stats import betabinom, ttest_ind

from trunkwatch.stats.row_sample import RowsAlike, rows_alike, rows_for_doubling, rows_for_margin


def block(rng, share, rho, rows=40, vines=60):
    """Cases by row of a block whose rows are alike inside."""
    total = (1 - rho) / rho
    return betabinom.rvs(vines, share * total, (1 - share) * total, size=rows, random_state=rng)


def test_the_design_effect_is_one_plus_rho_times_the_row_less_one():
    rng = np.random.default_rng(3)
    found = rows_alike(block(rng, 0.12, 0.05, rows=400), np.full(400, 60))
    assert found.rho == pytest.approx(0.05, abs=0.015)
    assert found.design_effect == pytest.approx(1 + found.rho * 59)
    even = rows_alike(np.full(30, 6), np.full(30, 60))
    assert (even.rho, even.design_effect) == (0.0, 1.0)
    with pytest.raises(ValueError, match="no more cases than these"):
        rows_alike([3], [2])


def test_rows_by_hand():
    alike = RowsAlike(0.1, 0.0, 50.0, 1.0, 20)
    # Variance of one row's share: 0.09 / 50 = 0.0018; of ten of twenty rows half of 0.00018, t(9) = 2.262: 0.0215.
    assert rows_for_margin(alike, 0.0215) == 10
    assert rows_for_margin(alike, 0.0214) == 11
    assert rows_for_margin(alike, 0.0001) == 20
    with pytest.raises(ValueError, match="margin is 0: between 0 and 1"):
        rows_for_margin(alike, 0)
    assert rows_for_doubling(RowsAlike(0.5, 0.0, 50.0, 1.0, 20), 20) is None
    assert rows_for_doubling(RowsAlike(0.01, 0.3, 50.0, 15.7, 20), 2) is None
    with pytest.raises(ValueError, match="walked_before is 21: 1 to 20 rows"):
        rows_for_doubling(alike, 21)


@pytest.mark.parametrize("rho", [0.01, 0.08])
def test_the_margin_holds_19_times_in_20(rho):
    rng = np.random.default_rng(7)
    inside = []
    for _ in range(600):
        cases = block(rng, 0.12, rho)
        walked = rows_for_margin(RowsAlike(0.12, rho, 60.0, 1 + 59 * rho, 40), 0.04)
        chosen = rng.choice(40, walked, replace=False)
        inside.append(abs(cases[chosen].mean() / 60 - cases.mean() / 60) <= 0.04)
    assert walked < 40
    assert 0.93 <= np.mean(inside) <= 0.995


def test_a_doubling_is_seen_four_times_in_five():
    rng, rho, share = np.random.default_rng(11), 0.04, 0.08
    alike = RowsAlike(share, rho, 60.0, 1 + 59 * rho, 200)  # so many rows that few are chosen
    walked = rows_for_doubling(alike, 16)
    assert 3 < walked < 60
    seen = [
        ttest_ind(block(rng, share, rho, 16), block(rng, 2 * share, rho, walked), equal_var=False).pvalue <= 0.05
        for _ in range(800)
    ]
    assert 0.72 <= np.mean(seen) <= 0.92

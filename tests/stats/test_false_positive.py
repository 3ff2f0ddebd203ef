"""trunkwatch.stats: false_positive."""

import numpy as np
import pytest

from trunkwatch.stats.false_positive import _pooled_z, false_positive_share
from trunkwatch.stats.joins import joined_pairs
from trunkwatch.stats.near_old import new_near_old


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

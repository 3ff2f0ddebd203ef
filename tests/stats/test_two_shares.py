"""trunkwatch.stats: two_shares; beside a simulation, and by hand."""

import numpy as np
import pytest

from trunkwatch.stats.two_shares import chance_to_show, needed_to_show


def simulated(share, other, many, others, tries=4000):
    """Return how often the limits of the difference of two drawn shares leave out 0."""
    rng = np.random.default_rng(5)
    one, two = rng.binomial(many, share, tries) / many, rng.binomial(others, other, tries) / others
    error = np.sqrt(one * (1 - one) / many + two * (1 - two) / others)
    return float(np.mean(np.abs(one - two) > 1.959964 * error))


@pytest.mark.parametrize(
    ("share", "other", "many", "others"),
    [(0.4, 0.6, 60, 60), (0.3, 0.6, 30, 60), (0.1, 0.2, 150, 150), (0.55, 0.6, 80, 80)],
)
def test_as_often_as_a_simulation_shows_it(share, other, many, others):
    assert chance_to_show(share, other, many, others) == pytest.approx(simulated(share, other, many, others), abs=0.04)


def test_no_difference_shows_in_5_percent():
    assert chance_to_show(0.4, 0.4, 50, 50) == pytest.approx(0.05, abs=1e-6)


def test_needed_is_the_least_number_that_shows_it_often_enough():
    needed = needed_to_show(0.4, 0.6)
    # By the textbook (1.96 + 0.84)^2 (0.24 + 0.24) / 0.04 = 94.2 in each group; a little less for shares drawn to the middle.
    assert 180 <= needed <= 192
    assert (
        chance_to_show(0.4, 0.6, needed / 2, needed / 2)
        >= 0.8
        > chance_to_show(0.4, 0.6, needed / 2 - 0.5, needed / 2 - 0.5)
    )
    assert needed_to_show(0.4, 0.6, of_one=0.2) > needed


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        (lambda: chance_to_show(1.2, 0.5, 9, 9), "share 1.2"),
        (lambda: needed_to_show(0.5, 0.5), "both shares are 0.5"),
        (lambda: needed_to_show(0.4, 0.5, of_one=0), "part 0"),
    ],
)
def test_wrong_arguments_are_named(wrong, message):
    with pytest.raises(ValueError, match=message):
        wrong()

"""trunkwatch.stats.recheck: vines drawn by what the first look saw are weighed back to the block."""

import math

import numpy as np
import pytest

from trunkwatch.stats.recheck import recheck


def pairs(both, first_only, second_only, neither):
    first = [True] * (both + first_only) + [False] * (second_only + neither)
    return first, [True] * both + [False] * first_only + [True] * second_only + [False] * neither


def test_by_hand():
    """Of 100 cases 45/50 show again: 90. Of 900 others 5/50 show now: 90. The first look saw half of these 180."""
    found = recheck(*pairs(45, 5, 5, 45), cases=100, vines=1000)
    assert found.seen_again == pytest.approx(0.5)
    assert found.corrected == pytest.approx(0.2)
    # By hand: Wilson's limits of 5/50 and 45/50 are 0.0435, 0.2136 and 0.7864, 0.9565; of the ratio of the two shares
    # 0.0483 and 0.2409 (Donner and Zou), nine times that per case, so 1 / (1 + 9 x 0.2409) and 1 / (1 + 9 x 0.0483).
    assert found.seen_again_low == pytest.approx(0.3156, abs=5e-4)
    assert found.seen_again_high == pytest.approx(0.6972, abs=5e-4)
    assert found.corrected_low < 0.2 < found.corrected_high


def test_the_whole_block_looked_at_twice_needs_no_weights():
    found = recheck(*pairs(40, 10, 20, 130), cases=50, vines=200)
    assert found.seen_again == pytest.approx(40 / 60)
    assert found.corrected == pytest.approx(50 * 60 / 40 / 200)  # Lincoln and Petersen


def test_nothing_missed_among_few_still_leaves_room_for_many():
    found = recheck(*pairs(35, 0, 0, 20), cases=100, vines=1000)
    assert found.seen_again == found.seen_again_high == 1.0
    assert found.seen_again_low < 0.5
    assert found.corrected_high > 0.2


@pytest.mark.parametrize(
    ("counts", "cases"), [((0, 10, 3, 30), 50), ((0, 0, 3, 30), 50), ((10, 3, 0, 0), 50), ((0, 0, 0, 0), 50), ((0, 0, 3, 30), 0)]
)  # fmt: skip
def test_vines_of_one_kind_only_tell_nothing(counts, cases):
    found = recheck(*pairs(*counts), cases=cases, vines=400)
    assert math.isnan(found.seen_again)
    assert math.isnan(found.corrected)
    assert "are needed" in found.reason


@pytest.mark.parametrize("drawn", ["half of them cases", "at random"])
def test_limits_hold_the_truth_however_vines_were_drawn(drawn):
    """The first look finds 60 %, the second 90 %, of symptoms on 12 % of 4000 vines; exact gate for 95 % of 200."""
    rng = np.random.default_rng(5)
    share = limits = 0
    for _ in range(200):
        sick = rng.random(4000) < 0.12
        first, second = sick & (rng.random(4000) < 0.6), sick & (rng.random(4000) < 0.9)
        order = rng.permutation(4000)
        if drawn == "at random":
            cells = order[:800]
        else:
            cells = np.concatenate([order[first[order]][:50], order[~first[order]][:50]])
        found = recheck(first[cells], second[cells], cases=int(first.sum()), vines=4000)
        share += found.seen_again_low <= 0.6 <= found.seen_again_high
        limits += found.corrected_low <= 0.12 <= found.corrected_high
    assert share >= 180  # P(binomial(200, 0.95) < 180) = 0.001
    assert limits >= 180

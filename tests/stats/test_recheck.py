"""trunkwatch.stats.recheck: vines drawn by what the first look saw are weighed back to the block; seasons together."""

import math

import numpy as np
import pytest

from trunkwatch.stats.recheck import Twice, recheck, tally, vines_to_draw


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


def test_seasons_taken_together_by_hand():
    """Each season is weighed back to its own block, then they are added up.

    Now: of 100 cases 18/20 show again: 90; of 900 others 2/20 show now: 90. Other season: of 50 cases 10/20: 25; of 450
    others 1/10: 45. The first looks saw 90 + 25 = 115 of 115 + 135 = 250: 0.46. Cases seen at second looks 20 + 11 = 31.
    """
    other = Twice(10, 10, 1, 9, cases=50, vines=500)
    found = recheck(*pairs(18, 2, 2, 18), cases=100, vines=1000, others=[other])
    assert (found.pooled, found.pooled_cases, found.reason) == (1, 31, "")
    assert found.seen_again == pytest.approx(0.46)
    assert found.corrected == pytest.approx(0.1 / 0.46)
    assert (found.both, found.first_only, found.agreement.cases) == (18, 2, 36)  # of this season alone
    assert (found.shown_again.cases, found.shown_again.vines) == (18, 20)


def test_seasons_are_taken_together_only_where_needed_and_enough():
    other = Twice(10, 10, 1, 9, cases=50, vines=500)
    alone = recheck(*pairs(45, 5, 5, 45), cases=100, vines=1000)
    assert recheck(*pairs(45, 5, 5, 45), cases=100, vines=1000, others=[other]) == alone
    short = recheck(*pairs(10, 2, 2, 18), cases=100, vines=1000, others=[other])
    assert (short.pooled, short.reason) == (0, "the recheck saw 12 cases, 30 are needed")
    blank = Twice(30, 10, 0, 0, cases=50, vines=500)  # no vine without findings was looked at again
    assert recheck(*pairs(18, 2, 2, 18), cases=100, vines=1000, others=[blank]).pooled == 0


def test_the_share_seen_again_of_one_look_does_not_depend_on_the_form():
    """Two halves of the same look taken together are the look."""
    found = recheck(*pairs(20, 4, 2, 22), cases=100, vines=1000, others=[Twice(20, 4, 2, 22, cases=100, vines=1000)])
    assert found.seen_again == pytest.approx(recheck(*pairs(40, 8, 4, 44), cases=100, vines=1000).seen_again)


def test_tally_counts_and_checks():
    assert tally(*pairs(4, 3, 2, 1), cases=20, vines=30) == Twice(4, 3, 2, 1, 20, 30)
    assert tally(*pairs(4, 3, 2, 1), cases=20, vines=30).tells
    assert not tally(*pairs(4, 3, 0, 0), cases=20, vines=30).tells
    with pytest.raises(ValueError, match="the same vines"):
        tally([True], [True, False], cases=1, vines=2)
    with pytest.raises(ValueError, match="40 cases among 30"):
        tally([True], [True], cases=40, vines=30)


def test_how_many_to_draw_by_hand():
    """30 wanted: 30 with findings and as many without; at eight in ten 37.5, so 38; 12 seen leave 18."""
    assert vines_to_draw(0, 100) == 60
    assert vines_to_draw(0, 100, again=0.8) == 76
    assert vines_to_draw(12, 18) == 36
    assert vines_to_draw(12, 17) is None
    assert vines_to_draw(31, 0) == 0
    assert vines_to_draw(0, 100, again=0.1) is None
    with pytest.raises(ValueError, match="again is 0"):
        vines_to_draw(0, 100, again=0)


def test_limits_of_three_small_seasons_together_hold_the_truth():
    """40 vines a season, half of them cases; the first look finds 60 %, the second 90 %; incidence 12, 8 and 15 %."""
    rng = np.random.default_rng(6)
    runs = share = limits = 0
    for _ in range(300):
        looks, sick_now = [], 0.0
        for incidence in (0.08, 0.15, 0.12):
            sick = rng.random(2000) < incidence
            first, second = sick & (rng.random(2000) < 0.6), sick & (rng.random(2000) < 0.9)
            order = rng.permutation(2000)
            cells = np.concatenate([order[first[order]][:20], order[~first[order]][:20]])
            looks.append((first[cells], second[cells], int(first.sum())))
            sick_now = float(sick.mean())
        others = [tally(one, two, cases=cases, vines=2000) for one, two, cases in looks[:-1]]
        one, two, cases = looks[-1]
        found = recheck(one, two, cases=cases, vines=2000, others=others)
        if found.reason:
            continue
        runs += 1
        assert found.pooled == 2
        share += found.seen_again_low <= 0.6 <= found.seen_again_high
        limits += found.corrected_low <= sick_now <= found.corrected_high
    assert runs >= 290
    assert share >= 0.9 * runs  # P(binomial(290, 0.95) < 261) < 0.001
    assert limits >= 0.9 * runs


@pytest.mark.parametrize("counts", [(18, 2, 1, 19), (30, 10, 5, 55), (7, 0, 3, 9)])
def test_kappa_is_that_of_statsmodels(counts):
    """Reference: statsmodels 0.14 cohens_kappa, run beside."""
    from statsmodels.stats.inter_rater import cohens_kappa

    both, one, two, none = counts
    found = recheck(*pairs(*counts), cases=both + one, vines=200)
    other = cohens_kappa([[both, one], [two, none]])
    assert found.kappa == pytest.approx(other.kappa, abs=1e-12)
    assert found.kappa_low == pytest.approx(other.kappa_low, abs=1e-9)
    assert found.kappa_high == pytest.approx(min(1.0, other.kappa_upp), abs=1e-9)

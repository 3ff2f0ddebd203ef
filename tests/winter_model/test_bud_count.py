"""Counted buds against the model, nodes to leave, buds to cut. trunkwatch.winter_model: bud_count, spare_buds."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trunkwatch.winter_model.bud_count import (
    HAND_RULES,
    HandRule,
    buds_to_cut,
    kill_from_count,
    likeness_factor,
    more_by_hand,
)
from trunkwatch.winter_model.cultivars import Kind
from trunkwatch.winter_model.spare_buds import crop_kept, early_cut_cost, nodes_to_leave, secondary_crop


@pytest.mark.parametrize(("share", "within", "per_cane", "alike", "wanted"), [
    (0.5, 0.1, 1, 0.1, 97), (0.5, 0.1, 8, 0.1, 164), (0.5, 0.1, 8, 0.2, 231), (0.2, 0.1, 1, 0.1, 62), (0.2, 0.1, 8, 0.1, 105),
    (0.2, 0.1, 8, 0.2, 148), (0.5, 0.05, 1, 0.1, 385), (0.2, 0.05, 1, 0.1, 246),
])  # fmt: skip
def test_buds_to_cut_for_an_answer_of_a_width(share, within, per_cane, alike, wanted):
    assert buds_to_cut(share, within, buds_per_cane=per_cane, alike=alike) == wanted


def test_few_buds_from_many_canes_say_more():
    assert likeness_factor(4) < likeness_factor(8)
    few, many = (kill_from_count(30, 100, buds_per_cane=per, alike=0.2) for per in (4, 8))
    assert few.high - few.low < many.high - many.low


def test_a_count_outweighs_the_model_and_shrinks_the_range():
    model = (0.05, 0.9)
    counted = kill_from_count(20, 100, model)
    assert counted.prior_buds <= 15
    assert 0.15 < counted.share < 0.28
    assert counted.high - counted.low < 0.2 < model[1] - model[0]
    assert kill_from_count(0, 0, model).low < counted.low < counted.share < counted.high


@given(st.integers(0, 200), st.integers(0, 200), st.tuples(st.floats(0, 1), st.floats(0, 1)).map(sorted))
@settings(max_examples=80, deadline=None)
def test_more_dead_buds_never_lower_the_share(dead, alive, model):
    one, other = (kill_from_count(dead + more, dead + alive + 1, tuple(model)) for more in (0, 1))
    assert other.share >= one.share
    assert 0 <= one.low <= one.share <= one.high <= 1


def test_more_dead_than_counted_is_refused():
    with pytest.raises(ValueError, match="11 dead of 10"):
        kill_from_count(11, 10)
    with pytest.raises(ValueError, match="within 0"):
        buds_to_cut(0.5, 0)


def test_nodes_to_leave_are_exact_and_capped():
    assert float(nodes_to_leave(50, 0.4, 200)) == pytest.approx(83.33, abs=0.005)
    assert float(nodes_to_leave(40, 0.35, 200)) * 0.65 == pytest.approx(40)
    assert float(nodes_to_leave(40, 0.9, 80)) == 80
    assert float(nodes_to_leave(40, 1.0, 80)) == 80


def test_the_hand_rules_are_coarser():
    assert pytest.approx(0.8775) == 1.35 * 0.65
    assert more_by_hand(HandRule.CORNELL, 0.35) == 0.35
    assert [more_by_hand(HandRule.CORNELL, dead) for dead in (0.1, 0.9)] == [0.0, None]
    assert [more_by_hand(HandRule.PURDUE, dead) for dead in (0.1, 0.3, 0.45, 0.6)] == [0.0, 0.35, 0.5, None]
    assert set(HAND_RULES) == set(HandRule)


def test_what_an_early_cut_gives_away():
    """Half of the buds killed after the cut, 40 nodes wanted, 80 at the most: 26.3 of 40 are left."""
    secondary = secondary_crop(Kind.LABRUSCA)
    assert float(crop_kept(40, 0.5, secondary)) == pytest.approx(26.3)
    assert float(crop_kept(80, 0.5, secondary)) == pytest.approx(52.6)
    killed = np.array([0.0, 0.0, 0.5, 0.5])
    cost = early_cut_cost(killed, most=2.0, secondary=secondary)
    np.testing.assert_allclose(cost, [0.3425, 0.3425, 0, 0], atol=1e-9)
    assert early_cut_cost(killed, most=2.0, left=2.0, secondary=secondary).max() == 0
    assert secondary_crop(Kind.VINIFERA) == secondary_crop(None) == 0


@given(st.lists(st.floats(0, 1), min_size=1, max_size=30).map(sorted), st.floats(1, 3), st.floats(1, 3))
@settings(max_examples=60, deadline=None)
def test_waiting_never_costs_more_and_a_long_cut_never_costs_more(killed, most, left):
    dead = np.array(killed)
    cost = early_cut_cost(dead, most=most)
    assert (np.diff(cost) <= 1e-12).all()
    assert (cost >= 0).all()
    assert (early_cut_cost(dead, most=3.0, left=left) <= early_cut_cost(dead, most=3.0) + 1e-12).all()

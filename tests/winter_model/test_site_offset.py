"""What past winters say of a site. trunkwatch.winter_model: site_offset."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trunkwatch.winter_model.cultivars import Basis, ModelError
from trunkwatch.winter_model.kill import winter_kill
from trunkwatch.winter_model.site_offset import OFFSETS, SITE_SD_C, kill_by_offset, learn_days, learn_offset

DAYS = 120


def _winter(rng):
    half = np.full(DAYS, -23.0)
    return rng.normal(-12, 4, DAYS), half, half + 1.4, half - 1.4


def _curve(rng):
    return kill_by_offset(*_winter(rng), until=DAYS)


def _learned(rng, truth, winters, buds=60, bias=-0.5, sd=1.8):
    """Counts of a site whose buds die `truth` warmer than a model with such an error says."""
    shares, dead = [], []
    for _ in range(winters):
        curve = _curve(rng)
        total = truth - bias + rng.normal(0, sd)
        dead.append(rng.binomial(buds, np.interp(total, OFFSETS, curve)) / buds)
        shares.append(curve)
    return learn_offset(
        np.stack(shares), np.array(dead), np.full(winters, float(buds)), np.arange(winters), bias_c=bias, sd_c=sd
    )


def test_shares_by_offset_are_those_of_the_winter_with_such_an_error():
    winter = _winter(np.random.default_rng(4))
    for offset in (-2.0, 0.0, 3.0):
        told = winter_kill(*winter, ModelError(-offset, 1e-9, Basis.OWN))
        share = np.interp(offset, OFFSETS, kill_by_offset(*winter, until=DAYS))
        assert share == pytest.approx(told.high[-1], abs=1e-6)
    assert kill_by_offset(*winter, until=0).max() == 0


def test_softer_buds_never_lose_fewer_and_a_later_day_never_lowers_the_share():
    winter = _winter(np.random.default_rng(5))
    early, late = (kill_by_offset(*winter, until=days) for days in (40, 90))
    assert (np.diff(late) >= 0).all()
    assert (late >= early).all()


def test_without_a_count_a_site_is_as_the_model_has_it():
    none = learn_offset(
        np.zeros((0, OFFSETS.size)), np.zeros(0), np.zeros(0), np.zeros(0, dtype=int), bias_c=-0.5, sd_c=1.8
    )
    assert none.mean_c == pytest.approx(0, abs=1e-9)
    assert none.sd_c == pytest.approx(SITE_SD_C, abs=0.01)


def test_the_range_holds_the_truth_as_often_as_it_says():
    """Sites drawn as the model of sites has them: 80 % ranges hold 75 to 85 % of truths, and the mean beats no offset."""
    rng = np.random.default_rng(11)
    inside, squared, bare = [], [], []
    for _ in range(400):
        truth = rng.normal(0, SITE_SD_C)
        found = _learned(rng, truth, 4)
        inside.append(found.low_c <= truth <= found.high_c)
        squared.append((found.mean_c - truth) ** 2)
        bare.append(truth**2)
    assert 0.75 <= np.mean(inside) <= 0.85
    assert np.mean(squared) < 0.6 * np.mean(bare)


def test_a_known_offset_is_found_as_winters_come_in():
    rng = np.random.default_rng(2)
    means = [np.mean([_learned(rng, 2.0, winters).mean_c for _ in range(40)]) for winters in (1, 4, 16)]
    assert means == sorted(means)
    assert 0.3 < means[0] < 1.5  # shrunken
    assert means[2] == pytest.approx(2.0, abs=0.35)
    widths = [_learned(rng, 2.0, winters).sd_c for winters in (1, 4, 16)]
    assert widths == sorted(widths, reverse=True)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 1000), st.floats(0, 0.9))
def test_more_dead_buds_never_make_a_site_hardier(seed, dead):
    curve = _curve(np.random.default_rng(seed))
    few, many = (
        learn_offset(curve[None], np.array([share]), np.array([50.0]), np.array([0]), bias_c=0.0, sd_c=1.8)
        for share in (dead, dead + 0.1)
    )
    assert many.mean_c >= few.mean_c - 1e-9


def test_two_counts_of_one_winter_say_less_than_two_winters():
    rng = np.random.default_rng(8)
    curves = np.stack([_curve(rng), _curve(rng)])
    dead = np.array([np.interp(2.0, OFFSETS, curve) for curve in curves])
    one, two = (
        learn_offset(curves, dead, np.full(2, 60.0), np.array(winter), bias_c=0.0, sd_c=1.8)
        for winter in ([0, 0], [0, 1])
    )
    assert one.sd_c > two.sd_c
    assert (one.winters, two.winters, one.counts) == (1, 2, 2)


def test_days_are_shrunken_towards_none():
    found = learn_days(np.array([10.0]))
    assert 0 < found.mean < 10
    assert found.low < found.mean < found.high
    many = learn_days(np.full(30, 10.0))
    assert many.mean == pytest.approx(10, abs=0.6)
    assert many.high - many.low < found.high - found.low

"""Which stretch is best or what it hangs on; frost, delay, workable days. trunkwatch.winter_model: best_days, spring, workable."""

import numpy as np
import pytest

from trunkwatch.winter_model.best_days import HangsOn, best_days
from trunkwatch.winter_model.spring import DELAY_DAYS, budbreak_delay, frost_after
from trunkwatch.winter_model.workable import Limits, share_workable, workable
from trunkwatch.winter_model.wounds import Flip

STRETCHES = [(0, 9), (10, 19), (20, 29), (30, 39)]
NOTHING = Flip(35, 35, None)


def _strip(values, winters=12):
    return np.repeat(np.repeat(np.array(values, dtype=float), 10)[None], winters, axis=0)


def _weighed(calendar, warmth, lost=(0, 0, 0, 0), frost=(0, 0, 0, 0), winters=12):
    none = np.full((winters, 40), np.nan)
    parts = [none if strip is None else _strip(strip, winters) for strip in (calendar, warmth, lost, lost, frost)]
    return best_days(STRETCHES, *parts, np.ones(40), NOTHING)


def test_the_best_stretch_where_both_rules_agree():
    found = _weighed((9, 8, 5, 1), (9, 9, 4, 1))
    assert [one.first for one in found.best] == [30]
    assert found.best[0].regret == 0
    assert found.stretches[0].regret == 1
    assert found.hangs_on == ()
    assert found.told


def test_it_hangs_on_aging_where_the_rules_are_against_each_other():
    found = _weighed((1, 4, 6, 9), (9, 6, 4, 1))
    assert found.hangs_on == (HangsOn.WOUND_AGING,)
    assert not found.told
    assert found.stretches[1].by_calendar == pytest.approx(3 / 8)
    assert found.stretches[1].by_warmth == pytest.approx(5 / 8)


def test_it_hangs_on_spare_buds_on_frost_on_winters_and_on_what_is_not_known():
    assert _weighed((1, 4, 6, 9), (1, 4, 6, 9), lost=(0.2, 0.1, 0, 0)).hangs_on == (HangsOn.SPARE_BUDS,)
    assert _weighed((1, 4, 6, 9), (1, 4, 6, 9), frost=(0.5, 0.5, 0.1, 0.1)).hangs_on == (HangsOn.SPRING_FROST,)
    assert _weighed((9, 4, 6, 1), (9, 4, 6, 1), winters=9).hangs_on == (HangsOn.FEW_WINTERS,)
    assert _weighed((9, 4, 6, 1), (9, 4, 6, 1), lost=None).hangs_on == (HangsOn.NO_HARDINESS,)
    assert _weighed(None, None).hangs_on == (HangsOn.NO_RAIN,)


def test_the_delay_of_budbreak_grows_to_what_was_published():
    delay = budbreak_delay(np.array([0, 86, 100, 114, 130]), 100)
    assert delay.tolist() == [0, 0, 8.75, 17.5, 17.5]
    assert DELAY_DAYS[0] <= delay[-1] <= DELAY_DAYS[1]


def test_a_late_cut_escapes_a_frost_and_no_budbreak_says_nothing():
    low = np.zeros((2, 60))
    low[0, 25] = -5
    found = frost_after(low, np.array([20, -1]), np.array([0, 34]), -2.2)
    assert found[0].tolist() == [1, 0]
    assert np.isnan(found[1]).all()


def test_days_that_can_be_worked():
    high = np.array([5, -11, 5, 5, np.nan, np.nan])
    rain = np.array([0, 0, 2, np.nan, 0, 3.0])
    snow = np.array([0, 0, 0, 39, np.nan, 0.0])
    own = workable(high, rain, snow)
    np.testing.assert_array_equal(own, [1, 0, 0, 1, np.nan, 0])
    assert workable(high, rain, snow, Limits(snow_cm=10))[3] == 0
    share = share_workable(np.array([[1, 0, np.nan], [0, 0, np.nan]]))
    np.testing.assert_array_equal(share, [0.5, 0, np.nan])

"""Of a hundred new cases, how many go with cases beside them. trunkwatch.yearly: share."""

import numpy as np
import pytest
from yearly import simulated

from trunkwatch.yearly.exposure import Exposure, before_and_later, ring_exposure, sources
from trunkwatch.yearly.fit import fit_hazard
from trunkwatch.yearly.share import shares_beside
from trunkwatch.yearly.steps import first_cases


def _world(make, seed, **given):
    rows, stations, seasons = 16, 80, 12
    world = make(np.random.default_rng(seed), seasons, rows, stations, **given)
    along, across = np.meshgrid(np.arange(stations) * 1.1, np.arange(rows) * 2.4)
    plant = np.ones(world.case.shape, dtype=int)
    steps = first_cases(world.case, world.looked_at, plant, np.arange(seasons) + 2001, along_m=along, across_m=across)
    return world, plant, steps, ring_exposure(steps, sources(world.case, plant))


def test_share_is_the_sum_over_new_cases():
    _, _, steps, rings = _world(simulated.spreading, 1)
    near = Exposure(("along", "across"), rings.values[:, [0, 2]])
    fit = fit_hazard(steps, near)
    every, along, across = shares_beside(fit, steps, near, draws=4000, rng=1)
    gamma = np.maximum(fit.gamma()[0], 0)
    by_hand = -np.expm1(-(near.values[steps.event] @ gamma)).mean()
    assert every.share == pytest.approx(by_hand, abs=0.01)
    assert every.low < every.share < every.high
    assert every.events == steps.event.sum()
    assert along.share > 0.2
    assert across.share < 0.08
    assert str(along).startswith("along: of 100 new cases about ")


@pytest.mark.long
def test_nothing_beside_explains_nothing_where_vines_are_scattered():
    low = []
    for seed in range(8):
        _, _, steps, rings = _world(simulated.scattered_static, seed)
        near = Exposure(("along",), rings.values[:, :1])
        low.append(shares_beside(fit_hazard(steps, near), steps, near, rng=1)[0].low)
    assert max(low) < 0.02


@pytest.mark.long
def test_against_cases_noted_only_later_foci_explain_little():
    """Foci that were there from the start make a share; set against neighbors noted only later it is gone."""
    plain, least = [], []
    for seed in range(6):
        world, plant, steps, rings = _world(simulated.static_foci, seed)
        near = Exposure(("along",), rings.values[:, :1])
        plain.append(shares_beside(fit_hazard(steps, near), steps, near, rng=1)[0].share)
        both = before_and_later(steps, world.case, plant)
        pair = Exposure(both.names[:2], both.values[:, :2])
        told = shares_beside(
            fit_hazard(steps, pair), steps, pair, groups={}, against={"along before": "along later"}, rng=1
        )
        least.append(told[0].low)
    assert np.mean(plain) > 0.08
    assert max(least) < 0.03


def test_no_new_case_and_wrong_arguments():
    _, _, steps, rings = _world(simulated.spreading, 1)
    fit = fit_hazard(steps, rings)
    still = steps.take(~steps.event)
    exposed = Exposure(rings.names, rings.values[~steps.event])
    told = shares_beside(fit, still, exposed, rng=1)[0]
    assert told.events == 0
    assert np.isnan(told.share)
    assert str(told) == "all: no new case"
    with pytest.raises(ValueError, match="level is 95"):
        shares_beside(fit, steps, rings, level=95)
    with pytest.raises(ValueError, match="exposures of"):
        shares_beside(fit, steps, exposed)
    with pytest.raises(ValueError, match="no exposure 'behind'"):
        shares_beside(fit, steps, rings, groups={"far": ("behind",)})
    with pytest.raises(ValueError, match="no exposure 'later'"):
        shares_beside(fit, steps, rings, against={"along": "later"})

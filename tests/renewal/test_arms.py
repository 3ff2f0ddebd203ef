"""Arms renewed while the rest of the vine bears on: trunkwatch.renewal states, yields, strategies; season.vine_states, decide."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from walked_blocks import walked_block

from trunkwatch.block import load
from trunkwatch.decide.decision import decide
from trunkwatch.decide.states import states_after
from trunkwatch.renewal.futures import run_futures
from trunkwatch.renewal.states import N_STATES, State
from trunkwatch.renewal.strategies import Strategy, act, standard_strategies, strategies_of
from trunkwatch.renewal.vine_gain import state_values
from trunkwatch.renewal.yields import yield_table

SPEC = importlib.util.spec_from_file_location("test_money", Path(__file__).with_name("test_money.py"))
MONEY = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(MONEY)
costs, rates = MONEY.costs, MONEY.rates
ARMS = Strategy("arms", renew=True, damaged_only=True, arms=True)
TRUNKS = Strategy("trunks", renew=True, damaged_only=True)


def test_half_dead_loses_an_arm_and_more_the_trunk():
    state = np.array([[State.LIGHT, State.MIDDLE, State.HEAVY, State.SOUND]], dtype=np.uint8)
    done = act(ARMS, state, 0, np.ones(1), renew_hours=0.5, order=np.arange(4), shape=(1, 4))
    assert state[0].tolist() == [State.LIGHT, State.ARM_CUT, State.CUT, State.SOUND]
    assert done.renewed.tolist() == [2]
    tight = np.array([[State.MIDDLE, State.HEAVY]], dtype=np.uint8)
    act(
        Strategy("a", renew=True, damaged_only=True, arms=True, hours=0.5),
        tight,
        0,
        np.ones(1),
        renew_hours=0.5,
        order=np.arange(2),
        shape=(1, 2),
    )
    assert tight[0].tolist() == [State.MIDDLE, State.CUT]  # the worst first


def test_yield_by_hand():
    """Half a vine bears 55.9 % (101.0 - 90.26 / 2); then the middle of that and all, 78 %; then as a renewed trunk."""
    start = np.full((1, 10), State.MIDDLE, dtype=np.uint8)
    table = yield_table(costs())
    found = run_futures(start, rates(), (Strategy("n"), ARMS, TRUNKS), table, years=4, renew_hours=0.5)
    share = found.bearing[:, 0] / 10
    assert share[1] == pytest.approx([0.559, 0.78, 0.95, 1.0])
    assert share[2] == pytest.approx([0.0, 0.5, 0.95, 1.0])
    assert found.incidence[1, 0].tolist() == [0.0] * 4


def test_an_arm_that_does_not_take_leaves_a_case():
    start = np.full((1, 10), State.MIDDLE, dtype=np.uint8)
    found = run_futures(start, rates(renewal_fails=[1.0]), (ARMS,), yield_table(costs()), years=1, renew_hours=0.5)
    assert found.incidence[0, 0, 0] == 1
    assert found.bearing[0, 0, 0] / 10 == pytest.approx(0.559 * 0.75)  # no vine is lost


@pytest.mark.parametrize("years", [2.0, 3.0, 6.0, 20.0])
@pytest.mark.parametrize("what", ["relapse", "renewal_fails"])
def test_more_trouble_makes_no_cut_arm_worth_more(what, years):
    told, again = costs(horizon_years=years), [[0.45, 0.35, 0.3, 0.25]]
    worth = [
        state_values(rates(again=again, **{what: [[p] * 4] if what == "relapse" else [p]}), told, 1000.0)[State.ARM_CUT]
        for p in (0, 0.05, 0.2, 0.45)
    ]
    assert np.diff(worth).max() < 0


def test_an_arm_cut_at_once_is_worth_what_its_yields_are():
    """Three years at 10 %, 10 money a vine: 5.59 / 1.1 + 7.8 / 1.21 + 9.5 / 1.331."""
    value = state_values(rates(), costs(), 1000.0)
    assert len(value) == N_STATES
    assert value[State.ARM_CUT] == pytest.approx(5.59 / 1.1 + 7.8 / 1.21 + 9.5 / 1.331)


def test_strategies_with_arms_are_listed_and_read():
    assert not any(one.arms for one in standard_strategies(8.0, replant=False))
    assert sum(one.arms for one in standard_strategies(8.0, replant=False, arms=True)) == 1
    told = strategies_of([{"name": "mine", "renew": "yes", "damaged_only": "yes", "arms": "yes"}], 8.0)
    assert told[1] == Strategy("mine", renew=True, damaged_only=True, arms=True)


def store_of(training, **prices):
    told = {"price_per_t": 1500.0, "yield_t_ha": 10.0, "crew_hour": 20.0, "replant_vine": 8.0, **prices}
    return walked_block(
        range(2018, 2027),
        vines=60,
        training=training,
        symptoms=[
            {"position": str(p), "date": f"{y}-01-15", "symptom": "dead_arm", "arm": "start"}
            for p, y in ((3, 2025), (9, 2024), (20, 2026), (33, 2025), (41, 2023))
        ],
        work=[
            {"position": "3", "date": "2026-02-10", "kind": "renew_arm", "arm": "start"},
            {"position": "9", "date": "2025-02-10", "kind": "renew_arm", "arm": "start"},
            {"position": "33", "date": "2026-02-10", "kind": "renew_trunk"},
        ],
        costs=[{"name": name, "value": value} for name, value in told.items()],
    )


def test_a_vine_with_a_new_arm_starts_with_its_other_arm_bearing():
    """3 got a new arm last winter, 9 the winter before, 33 a new trunk; 20 has a dead arm."""
    season = load(store_of("bilateral"), "A", 2026)
    states, _ = states_after(season)
    station = {int(p): k for k, p in enumerate(season.history.grid.position[0])}
    found = [State(int(states[0, station[p]])) for p in (3, 9, 33, 20)]
    assert found == [State.ARM_1, State.ARM_2, State.RENEWED_1, State.MIDDLE]


@pytest.mark.parametrize(
    ("training", "arms"), [("bilateral", True), ("multi_trunk", True), ("head", False), ("", True)]
)
def test_arms_are_compared_where_vines_have_more_than_one_part(training, arms):
    store = store_of(training)
    found = decide(load(store, "A", 2026), [], store.frame("costs"), futures=20)
    assert any(one.arms for one in found.strategies) == arms


def test_prevention_is_compared_where_it_is_priced():
    for prices, expected in (({}, False), ({"protect_vine": 0.3}, True)):
        store = store_of("bilateral", **prices)
        found = decide(load(store, "A", 2026), [], store.frame("costs"), futures=20)
        assert any(one.protect for one in found.strategies) == expected

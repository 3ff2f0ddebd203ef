"""What must hold of the futures whatever the figures: symptoms bring no yield, hours are kept, units are not guessed.

trunkwatch.renewal: states, futures, strategies, costs, vine_gain.
"""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from trunkwatch.errors import RecordError
from trunkwatch.renewal.costs import costs_of, example_costs
from trunkwatch.renewal.futures import run_futures
from trunkwatch.renewal.states import N_STATES, State
from trunkwatch.renewal.strategies import Strategy, act
from trunkwatch.renewal.vine_gain import state_values
from trunkwatch.vineyard.tables import frame_of

SPEC = importlib.util.spec_from_file_location("test_money", Path(__file__).with_name("test_money.py"))
MONEY = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(MONEY)
costs, rates = MONEY.costs, MONEY.rates
AGAIN = [[0.45, 0.35, 0.3, 0.25]]
NOTHING = (Strategy("do nothing"),)


def many(count, **more):
    one = rates(**more)
    return type(one)(**{name: np.repeat(getattr(one, name), count, axis=0) for name in one.__dataclass_fields__})


@pytest.mark.parametrize("years", [2.0, 3.0, 6.0, 20.0])
def test_more_relapse_makes_no_cut_vine_worth_more(years):
    told = costs(horizon_years=years)
    worth = [state_values(rates(relapse=[[p] * 4], again=AGAIN), told, 1000.0)[State.CUT] for p in (0, 0.05, 0.2, 0.45)]
    assert np.diff(worth).max() < 0


@pytest.mark.parametrize("state", [State.PLANTED, State.BLOCK_PLANTED])
@pytest.mark.parametrize("years", [6.0, 9.0, 12.0])
def test_more_symptoms_make_no_young_vine_worth_more(state, years):
    told = costs(horizon_years=years)
    worth = [state_values(rates(first=[p], again=AGAIN), told, 1000.0)[state] for p in (0, 0.02, 0.1, 0.45)]
    assert np.diff(worth).max() < 0


def test_a_cut_vine_that_relapses_at_once_by_hand():
    """Three years at 10 %, 10 money a vine: relapse in season 1 (bears 0), shows in 2 (50 % x 75 %) and in 3 (75 %)."""
    told = costs(decline_pct=0.0)
    value = state_values(rates(relapse=[[1.0] * 4], again=[[1.0] * 4]), told, 1000.0, lasting=0.0)
    assert round(value[State.CUT], 2) == round(3.75 / 1.21 + 7.5 / 1.331, 2) == 8.73


def cases_of(start, draws):
    eye = np.eye(N_STATES)
    return [
        run_futures(start, draws, NOTHING, eye[s], years=1, renew_hours=1.0).bearing.sum()
        for s in (State.LIGHT, State.SHOWING)
    ]


@pytest.mark.parametrize("near", [0.0, 1.5, 3.0])
def test_the_same_share_leaves_lasting_damage_beside_old_cases(near):
    start = np.full((40, 41), State.SOUND, dtype=np.uint8)
    start[:, ::2] = State.HIDDEN_3
    light, showing = cases_of(start, many(60, first=[0.05], near_row=[near]))
    assert light / (light + showing) == pytest.approx(0.2, abs=0.02)  # over 2,000 cases


def test_neighbours_lie_along_the_row_and_across_as_told():
    """11 rows x 13: an old case at (5, 6). Along the row (5, 5) and (5, 7) are raised, across it (4, 6) and (6, 6)."""
    start = np.full((11, 13), State.SOUND, dtype=np.uint8)
    start[5, :] = State.HIDDEN_3  # a whole row: nobody is beside it along the row, 26 vines across
    plain = sum(cases_of(start, many(200, first=[0.05])))
    assert sum(cases_of(start, many(200, first=[0.05], near_row=[2.0]))) == plain
    # odds 0.0526 x e^2 = 0.389, a chance of 0.280: 26 x (0.280 - 0.05) more cases a future
    assert (sum(cases_of(start, many(200, first=[0.05], near_across=[2.0]))) - plain) / 200 == pytest.approx(
        5.98, abs=0.5
    )


def test_hours_bound_the_sound_vines_too_and_no_vine_is_lost_to_rounding():
    state = np.full((2, 1000), State.SOUND, dtype=np.uint8)
    state[:, 1:5] = State.HEAVY
    one = Strategy("s", renew=True, hours=8.0, sound_share=0.03)
    done = act(one, state, 0, np.ones(2), renew_hours=0.5, order=np.arange(1000), shape=(10, 100))
    assert done.renewed.tolist() == [16, 16]
    assert (state[:, 1:5] == State.CUT).all()
    few = np.full((1, 10), State.HEAVY, dtype=np.uint8)
    done = act(
        Strategy("s", renew=True, hours=0.6), few, 0, np.ones(1), renew_hours=0.2, order=np.arange(10), shape=(1, 10)
    )
    assert done.renewed.tolist() == [3]


@pytest.mark.parametrize(
    ("name", "unit"),
    [("yield_t_ha", "tons/ac"), ("yield_t_ha", "tons per acre"), ("price_per_t", "USD/lb"), ("price_per_t", "USD"),
     ("crew_hour", "EUR/day"), ("discount_pct", "years"), ("horizon_years", "%")],
)  # fmt: skip
def test_another_unit_is_refused(name, unit):
    with pytest.raises(RecordError, match=f"{name} is in '{unit}'; expected:"):
        costs_of(frame_of("costs", [{"name": name, "value": 5, "unit": unit}]))


@pytest.mark.parametrize(
    ("name", "unit"),
    [("yield_t_ha", "t/ha"), ("yield_t_ha", "Tonnes per hectare"), ("price_per_t", "€ / t"), ("discount_pct", "per cent"),
     ("renew_hours", "h/vine"), ("horizon_years", ""), ("cut_below_stain_cm", "cm")],
)  # fmt: skip
def test_the_same_unit_in_other_words_is_taken(name, unit):
    assert costs_of(frame_of("costs", [{"name": name, "value": 20, "unit": unit}]))[name] == 20


def test_a_line_written_twice_is_refused():
    lines = [{"name": "crew_hour", "value": 20}, {"name": "crew_hour", "value": 25}]
    with pytest.raises(RecordError, match="crew_hour is written twice, 20 and 25"):
        costs_of(frame_of("costs", lines))


def test_every_example_says_how_it_is_known_and_of_when():
    for text in example_costs().values():
        for line in text.splitlines()[1:]:
            assert any(word in line for word in ("read", "second-hand", "from memory"))
            assert any(word in line for word in ("20", "date not seen"))

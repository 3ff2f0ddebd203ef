"""Strategies that are searched, damage that is drawn, beliefs that can be set, and sources that stop passing on.

trunkwatch.renewal: search, damage, costs, futures, states, strategies.
"""

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from trunkwatch.errors import RecordError
from trunkwatch.forecast.estimate import estimate
from trunkwatch.forecast.growth import Growth
from trunkwatch.forecast.priors import PRIORS
from trunkwatch.renewal.costs import ASSUMPTIONS, costs_of, priors_of
from trunkwatch.renewal.damage import Damage, draw_damage
from trunkwatch.renewal.futures import run_futures
from trunkwatch.renewal.search import SAMPLE, Ground, in_words, search, some_rows
from trunkwatch.renewal.states import N_STATES, State, after_symptoms, next_without_symptoms
from trunkwatch.renewal.strategies import Effort, Strategy, act, standard_strategies
from trunkwatch.renewal.yields import yield_table
from trunkwatch.vineyard.tables import frame_of

SPEC = importlib.util.spec_from_file_location("test_money", Path(__file__).with_name("test_money.py"))
MONEY = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(MONEY)
costs, rates = MONEY.costs, MONEY.rates
NOTHING = Strategy("do nothing")


def many(count, **more):
    one = rates(**more)
    return type(one)(**{name: np.repeat(getattr(one, name), count, axis=0) for name in one.__dataclass_fields__})


def ground(start, told, draws=20, damage=None, **chances):
    bearing = yield_table(told)
    train = told["train_hours"]
    effort = Effort(
        told["renew_hours"] + 2 * train,
        0.6 * told["renew_hours"] + train,
        told["replant_hours"] + 2 * train,
        train,
        told["renew_hours"] + train,
        bearing,
        1.0,
        np.ones(start.size, dtype=bool),
    )
    return Ground(start, many(draws, **chances), damage or Damage(), effort, bearing, told, 1000.0, 5)


def test_the_search_finds_a_severity_that_no_standard_strategy_has():
    """Vines with a quarter dead that get worse fast, and cheap work: cutting them early pays, and no standard strategy does."""
    start = np.full((10, 20), State.SOUND, dtype=np.uint8)
    start[:, ::4] = State.LIGHT
    told = costs(crew_hour=1.0, horizon_years=20.0, discount_pct=3.0)
    on = ground(start, told, damage=Damage(lasting=1.0, decline=0.5), first=[0.01], death=[[0.0, 0.05]])
    standard = standard_strategies(1000.0, replant=False)
    own = search(on, standard, 1000.0, parts=False)
    assert own is not None
    assert own.shoot_first
    assert not own.damaged_only or own.least == State.LIGHT  # every case is damage here: both say the same
    assert own.name.startswith("train a shoot first and cut the old part a winter later on vines")
    worth = on.worth([*standard, own])
    assert worth[-1] > worth[:-1].max()


def test_where_nothing_pays_the_search_adds_nothing():
    start = np.full((10, 20), State.SOUND, dtype=np.uint8)
    start[:, ::4] = State.LIGHT
    on = ground(start, costs(crew_hour=5000.0, replant_vine=9000.0), damage=Damage(decline=0.0))
    assert search(on, standard_strategies(100.0, replant=False), 100.0, parts=True) is None


def test_what_is_found_is_named_as_a_grower_says_it():
    base = Strategy("", renew=True, damaged_only=True, hours=80.0)
    assert in_words(base, 80.0) == "retrain the trunk of vines with half or more dead"
    assert in_words(replace(base, least=int(State.LIGHT), arms=True, fill=True, hours=40.0), 80.0) == (
        "retrain the dead part of vines with a quarter or more dead, fill gaps, with half of the crew-days"
    )
    assert in_words(replace(base, damaged_only=False, neighbours=True, start_at=0.1), 80.0) == (
        "retrain the trunk of vines that show and of the vines beside them, from 10 % showing on"
    )
    assert in_words(replace(base, damaged_only=False, arms=True), 80.0) == (
        "retrain vines that show, only the dead part where one is known"
    )
    assert in_words(Strategy("", fill=True), 80.0) == "fill gaps"
    names = [
        in_words(replace(base, least=int(s), shoot_first=f), 80.0)
        for s in (State.LIGHT, State.HEAVY)
        for f in (True, False)
    ]
    assert len(set(names)) == 4


@pytest.mark.parametrize("near", [True, False])
def test_the_search_runs_on_a_part_of_a_large_block(near):
    start = np.arange(5000, dtype=np.uint16).reshape(50, 100)
    part, whole = some_rows(start, start % 2 == 0, np.random.default_rng(1), near=near)
    assert 0 < part.size <= SAMPLE
    assert np.array_equal(whole, part % 2 == 0)
    if near:
        assert (np.diff(part, axis=0) == 100).all()  # rows side by side
    small = np.zeros((3, 4), dtype=np.uint8)
    assert some_rows(small, small > 0, np.random.default_rng(1), near=near)[0] is small


def test_a_shoot_first_bears_meanwhile_and_is_cut_a_winter_later():
    """Half dead 55.87 %, once more, then 80 % and 95 %; at once 0, 50, 95 and 100 %."""
    start = np.full((1, 10), State.MIDDLE, dtype=np.uint8)
    first = Strategy("f", renew=True, damaged_only=True, shoot_first=True)
    run = run_futures(
        start,
        rates(),
        (first, Strategy("now", renew=True, damaged_only=True)),
        yield_table(costs()),
        years=4,
        renew_hours=0.5,
        damage=Damage(decline=0.0),
    )
    assert run.bearing[0, 0] / 10 == pytest.approx([0.5587, 0.8, 0.95, 1.0], abs=1e-4)
    assert run.renewed[:, 0].tolist() == [[0, 10, 0, 0], [10, 0, 0, 0]]
    follow, after = next_without_symptoms(), after_symptoms()
    assert [follow[s] for s in (State.SHOOT_LIGHT, State.SHOOT_HEAVY)] == [State.SHOOT_LIGHT, State.SHOOT_HEAVY]
    assert [after[s] for s in (State.SHOOT_LIGHT, State.SHOOT_MIDDLE)] == [State.SHOOT_MIDDLE, State.SHOOT_HEAVY]


def test_hours_and_loss_bound_the_winter_in_the_futures_as_on_the_list():
    table = yield_table(costs())
    effort = Effort(1.0, 0.5, 2.0, bearing=table, most_loss=0.1)
    state = np.array([[State.HEAVY] * 3 + [State.MIDDLE] * 5 + [State.SOUND] * 20 + [State.DEAD] * 4], dtype=np.uint8)
    one = Strategy("s", renew=True, damaged_only=True, fill=True, hours=9.0)
    bears = float(table[state].sum())
    done = act(
        one, state, 0, np.ones(1), renew_hours=9.9, order=np.arange(32), shape=(1, 32), effort=effort, bearing=bears
    )
    room = 0.1 * bears - 3 * table[State.HEAVY]
    middle = int(room // table[State.MIDDLE])
    assert 0 < middle < 5
    assert done.renewed.tolist() == [3 + middle]
    assert done.replanted.tolist() == [(9 - 3 - middle) // 2]
    assert done.hours.tolist() == [3 + middle + 2 * ((9 - 3 - middle) // 2)]


def test_a_source_that_is_cut_or_replanted_passes_nothing_on():
    """A row of sources between two sound ones: cut at once, the next season's first symptoms are those without a source."""
    start = np.full((3, 60), State.SOUND, dtype=np.uint8)
    start[1] = State.HEAVY
    clean = start.copy()
    clean[1] = State.RENEWED_4
    eye = np.eye(N_STATES)[State.SHOWING] + np.eye(N_STATES)[State.LIGHT]
    draws = many(80, first=[0.02], near_across=[2.0])
    cut = Strategy("cut", renew=True, damaged_only=True)

    def ill(where, one):
        return run_futures(where, draws, (one,), eye, years=3, renew_hours=0.5).bearing[0].sum(axis=0)

    left, taken, without = ill(start, NOTHING), ill(start, cut), ill(clean, NOTHING)
    assert (left > 3 * taken).all()
    assert np.array_equal(taken[:1], without[:1])
    gaps = start.copy()
    gaps[1] = State.DEAD
    assert ill(gaps, NOTHING)[0] > 3 * ill(gaps, Strategy("fill", fill=True))[0]  # dead wood in the row passes on


def test_growth_is_drawn_from_the_record_and_from_the_costs_where_there_is_none():
    found, rng = estimate([]), np.random.default_rng(1)
    believed = draw_damage(found, costs(decline_pct=30.0), 4000, rng)
    assert believed.decline.shape == (4000, 2)
    assert believed.decline.mean() == pytest.approx(0.3, abs=0.01)
    assert believed.lasting.std() > 0.1
    assert believed.dead_shares == (0.25, 0.5, 0.85)
    growth = Growth(
        np.array([400.0, 100.0]),
        np.array([400 * 1.75, 100 * 15.0]),
        np.array([80.0, 20.0, 0.0]),
        np.array([0.0, 0.0, 50.0]),
        np.zeros(3),
        np.zeros(3),
        np.array([80.0, 1600.0]),
    )
    told = draw_damage(replace(found, growth=growth), costs(decline_pct=30.0), 4000, rng)
    assert told.decline.mean(axis=0) == pytest.approx([(3 + 40) / 410, (3 + 50) / 110], abs=0.01)
    assert told.decline.std(axis=0).min() > 0.01
    assert told.starts.mean(axis=0)[0] == pytest.approx(0.2, abs=0.02)
    assert told.returns.mean(axis=0)[1] > 0.9


def test_damage_that_comes_back_as_it_was_makes_the_cut_worthless():
    start = np.full((1, 200), State.HEAVY, dtype=np.uint8)
    always = np.tile([[0.0, 1.0]], (30, 1))
    draws = many(30, relapse=[[1.0] * 4], again=[[1.0] * 4])
    pair = (NOTHING, Strategy("cut", renew=True, damaged_only=True))
    run = run_futures(
        start,
        draws,
        pair,
        yield_table(costs()),
        years=10,
        renew_hours=0.5,
        damage=Damage(1.0, 0.0, starts=always, returns=always),
    )
    nothing, cut = run.bearing.sum(axis=(1, 2))
    assert cut < nothing
    light = np.zeros((30, 2))
    healed = run_futures(
        start,
        draws,
        pair,
        yield_table(costs()),
        years=10,
        renew_hours=0.5,
        damage=Damage(1.0, 0.0, starts=light, returns=light),
    )
    assert healed.bearing[1].sum() > cut


@pytest.mark.parametrize("name", sorted(PRIORS))
def test_every_belief_can_be_set_by_name_and_has_its_source(name):
    told = costs(**{f"{name}_pct": 33.0})
    assert priors_of(told)[name].mean == pytest.approx(0.33)
    assert priors_of(told)[name].weight == PRIORS[name].weight
    others = [other for other in PRIORS if other != name]
    assert all(priors_of(told)[other].mean == pytest.approx(PRIORS[other].mean) for other in others)
    assert ASSUMPTIONS[f"{name}_pct"].source == PRIORS[name].source
    with pytest.raises(RecordError, match=f"{name}_pct is 101"):
        costs(**{f"{name}_pct": 101.0})
    moved = estimate([], priors=priors_of(told))
    plain = estimate([])
    shifted = {one: moved.mean(one) - plain.mean(one) for one in PRIORS if one not in ("first", "again_1")}
    assert all((abs(value) > 1e-9) == (one == name) for one, value in shifted.items())


def test_a_belief_of_none_is_not_taken_for_certain():
    told = costs_of(frame_of("costs", [{"name": "relapse_1_pct", "value": 0.0, "source": "own cuts of ten years"}]))
    assert priors_of(told)["relapse_1"].mean == 0.001
    assert told.sources["relapse_1_pct"] == "own cuts of ten years"

"""The list of the winter and the strategy are the same thing, on random blocks and on the sample.

trunkwatch.decide: follow, decision, words; trunkwatch.renewal: strategies, futures, plan.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from trunkwatch.block import load, open_vineyard
from trunkwatch.decide.decision import decide
from trunkwatch.decide.follow import follow, steps_of_strategy
from trunkwatch.decide.words import HEAVY, decision_sentences, detail_sentences, of_this_winter, shown_first
from trunkwatch.forecast.estimate import draw, estimate
from trunkwatch.renewal.costs import costs_of
from trunkwatch.renewal.futures import run_futures
from trunkwatch.renewal.plan import VineFacts, suggest
from trunkwatch.renewal.states import State
from trunkwatch.renewal.strategies import Effort, Strategy
from trunkwatch.renewal.vine_gain import vine_gains
from trunkwatch.renewal.yields import yield_table
from trunkwatch.vineyard.tables import frame_of

KINDS = [
    State.SOUND,
    State.SHOWING,
    State.HIDDEN_1,
    State.DEAD,
    State.EMPTY,
    State.LIGHT,
    State.MIDDLE,
    State.HEAVY,
    State.RENEWED_1,
]
PRICES = {"price_per_t": 1200.0, "yield_t_ha": 10.0, "crew_hour": 22.0, "replant_vine": 9.0}


def random_block(rng):
    """States of a block, and the facts of its vines: one arm, both, or the trunk affected, with a share dead."""
    shape = int(rng.integers(3, 9)), int(rng.integers(8, 30))
    states = rng.choice(KINDS, size=shape, p=[0.5, 0.08, 0.05, 0.06, 0.04, 0.09, 0.07, 0.07, 0.04]).astype(np.uint8)
    facts = []
    for cell in np.argwhere(states != State.SOUND).tolist():
        state = int(states[tuple(cell)])
        arms = frozenset()
        if State.LIGHT <= state <= State.HEAVY:
            arms = [frozenset({"end"}), frozenset({"start", "end"})][int(rng.integers(2))]
        shoot = str(rng.choice(["", "trunk", "below_union"]))
        facts.append(VineFacts(tuple(cell), state, arms=arms, shoot=shoot, share=float(rng.uniform(5, 100))))
    return states, facts


def random_strategy(rng):
    return Strategy(
        "random",
        renew=bool(rng.random() < 0.8),
        damaged_only=bool(rng.random() < 0.7),
        hours=float(rng.choice([2.0, 8.0, 40.0])),
        start_at=float(rng.choice([0.0, 0.0, 0.2])),
        neighbours=bool(rng.random() < 0.3),
        sound_share=float(rng.choice([0.0, 0.0, 0.05])),
        fill=bool(rng.random() < 0.5),
        arms=bool(rng.random() < 0.4),
        least=int(rng.choice([State.LIGHT, State.MIDDLE, State.HEAVY])),
        shoot_first=bool(rng.random() < 0.3),
    )


@pytest.mark.parametrize("seed", range(60))
def test_the_list_holds_what_the_futures_do_in_their_first_winter(seed):
    """Counted apart: the futures by their own numbers, the list by its lines; and no cell is on the list twice."""
    rng = np.random.default_rng([seed, 3])
    states, facts = random_block(rng)
    best, costs = (
        random_strategy(rng),
        costs_of(frame_of("costs", [{"name": n, "value": v} for n, v in PRICES.items()])),
    )
    whole = np.zeros(states.shape, dtype=bool)
    for vine in facts:
        whole[vine.cell] = len(vine.arms) != 1
    table = yield_table(costs)
    effort = Effort(0.55, 0.3, 0.8, 0.15, 0.4, table, float(rng.choice([0.03, 0.1, 1.0])), whole.ravel())
    rates = draw(estimate([]), 5, rng)
    run = run_futures(states, rates, (best,), table, years=2, renew_hours=0.25, effort=effort)
    gains = vine_gains(rates, costs, 3000.0)
    works = [one for vine in facts for one in suggest(vine, costs, gains)]
    listed = follow(works, facts, states, best, steps_of_strategy(states, best, effort), effort, costs, gains)
    now = [one for one in listed if one.winter == 0]
    cut = [one for one in now if one.kind in ("renew_trunk", "renew_arm", "cut_old_trunk")]
    assert {int(n) for n in run.renewed[0, :, 0]} == {len(cut)}
    assert {int(n) for n in run.replanted[0, :, 0]} == {sum(one.kind == "replant" for one in now)}
    spent = sum(one.hours for one in cut) + sum(one.hours for one in now if one.kind == "replant")
    spent += sum(one.hours for one in now if one.kind == "train_first")
    assert run.hours is not None
    assert run.hours[0, :, 0] == pytest.approx(spent)
    assert spent <= best.hours + 1e-9
    cells = [one.cell for one in listed if one.kind in HEAVY]
    assert len(cells) == len(set(cells))
    for one in cut:
        state = int(states[one.cell])
        assert state == State.SOUND or (state >= best.least if best.damaged_only else state != State.HIDDEN_1)
        assert one.kind != "renew_arm" or best.arms
        assert math.isnan(one.gain) or one.gain > 0
    left = {vine.cell for vine in facts if State.LIGHT <= vine.state <= State.HEAVY} - {
        one.cell for one in listed if one.kind in HEAVY
    }
    left -= {one.cell for one in listed if one.kind == "train_first"}
    waiting = {one.cell for one in listed if one.kind == "mark"}
    assert left <= waiting  # nothing that is damaged falls off the list
    ranks = [one.per_hour for one in now if one.kind in HEAVY and one.gain > 0]
    assert ranks == sorted(ranks, reverse=True)


@pytest.fixture(scope="module", params=["Mill", "Chapel", "Orchard", "Hollow"])
def decided(request, pytestconfig):
    with open_vineyard(pytestconfig.rootpath / "sample_blocks") as store:
        season = load(store, request.param)
        return season, store.frame("costs"), decide(season, [], store.frame("costs"), crew_days=4.0, futures=60)


def contradictions(found):
    """Return the sentences that the comparison's own table or the list speaks against."""
    text, told = " ".join(decision_sentences(found)), found.comparison
    rows = {one.name: one for one in told.judged}
    shown = {one.name for one in shown_first(found)}
    wrong = []
    top = max(rows.values(), key=lambda one: one.gain)
    if told.recommended != "do nothing" and rows[told.recommended].gain < top.gain:
        wrong.append("another strategy is worth more than the best")
    if {told.recommended, told.second} - shown:
        wrong.append("a strategy that is named is not shown")
    if told.clear and told.gap <= 2 * told.gap_error:
        wrong.append("called clear within the error")
    heavy = [one for one in of_this_winter(found) if one.kind in HEAVY]
    if told.recommended == "do nothing" and heavy:
        wrong.append("nothing is best, and the list cuts")
    if ("nothing to cut or replant" in text) != (not heavy):
        wrong.append("what is to cut")
    sound = [one for one in heavy if found.states[one.cell] == State.SOUND]
    if ("sound." in text) != bool(sound):
        wrong.append("sound vines")
    return wrong


@pytest.mark.long
def test_no_sentence_is_spoken_against_by_its_own_table(decided):
    _, _, found = decided
    assert contradictions(found) == []
    assert any("vine-years" in said or "decline_pct" in said for said in detail_sentences(found))


def test_the_list_of_the_sample_is_the_first_winter_of_its_futures(decided):
    season, prices, found = decided
    assert found.effort is not None
    exists = season.history.grid.exists
    whole = found.effort.whole.reshape(exists.shape)
    start, whole = (found.states, whole) if exists.all() else (found.states[exists][None, :], whole[exists][None, :])
    run = run_futures(
        start,
        draw(estimate([]), 2, np.random.default_rng(1)),
        (found.best,),
        found.effort.bearing,
        years=1,
        renew_hours=0.25,
        effort=replace(found.effort, whole=whole.ravel()),
    )
    now = of_this_winter(found)
    assert run.renewed[0, 0, 0] + run.replanted[0, 0, 0] == sum(one.kind in HEAVY for one in now)
    nothing = decide(season, [], prices, crew_days=4.0, futures=20, strategies=(Strategy("do nothing"),))
    assert not [one for one in nothing.work if one.kind in HEAVY]
    assert contradictions(nothing) == []

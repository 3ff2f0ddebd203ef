"""Which job in which week. trunkwatch.winter_model: crew_weeks."""

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trunkwatch.winter_model.crew_weeks import After, crew_weeks, holds, in_weeks


def _case(seed, jobs=5, weeks=12, parts=3):
    rng = np.random.default_rng(seed)
    need = rng.uniform(1, 60, jobs)
    capacity = rng.choice([0.0, 10.0, 25.0, 40.0], weeks)
    costs = rng.uniform(0, 1, (parts, jobs, weeks))
    costs[rng.random(costs.shape) < 0.1] = np.nan
    return need, capacity, costs


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000))
def test_hours_add_up_and_no_week_holds_more_than_can_be_worked(seed):
    need, capacity, costs = _case(seed)
    plan = crew_weeks(need, capacity, costs)
    assert plan.hours.sum(axis=1) + plan.undone == pytest.approx(need, abs=1e-3)
    assert (plan.hours.sum(axis=0) <= capacity + 1e-6).all()
    assert (plan.hours[:, capacity == 0] == 0).all()
    assert plan.undone.sum() == pytest.approx(max(need.sum() - capacity.sum(), 0), abs=1e-3)
    assert ((plan.parts >= 0) & (plan.parts <= 1 + 1e-9)).all()


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.floats(1, 4))
def test_more_crew_never_worsens_the_plan(seed, times):
    need, capacity, costs = _case(seed)
    few, many = crew_weeks(need, capacity, costs), crew_weeks(need, capacity * times, costs)
    assert many.score <= few.score + 1e-6
    assert many.undone.sum() <= few.undone.sum() + 1e-3


def test_one_job_goes_where_its_worst_part_is_least():
    """Two parts pull apart, and the week between them is best for the worse of both."""
    costs = np.array([[[0.0, 0.4, 1.0]], [[1.0, 0.4, 0.0]]])
    plan = crew_weeks(np.array([10.0]), np.array([40.0, 40.0, 40.0]), costs)
    assert plan.hours.tolist() == [[0.0, 10.0, 0.0]]
    assert plan.parts == pytest.approx([0.4, 0.4])


def test_a_part_is_not_outvoted_by_others():
    """Three parts that agree do not buy out a fourth, as a sum of them would."""
    agreeing = np.array([[[0.0, 0.5]]] * 3)
    plan = crew_weeks(np.array([10.0]), np.array([40.0, 40.0]), np.concatenate([agreeing, [[[1.0, 0.5]]]]))
    assert plan.hours.tolist() == [[0.0, 10.0]]


def test_without_any_part_work_begins_at_once():
    plan = crew_weeks(np.array([10.0]), np.array([0.0, 6.0, 6.0, 6.0]), np.zeros((0, 1, 4)))
    assert plan.hours.tolist() == [[0.0, 6.0, 4.0, 0.0]]
    assert crew_weeks(np.zeros(0), np.ones(4), np.zeros((2, 0, 4))).score == 0


def test_a_job_waits_where_its_own_place_cannot_be_worked():
    most = np.array([[0.0, 40.0], [40.0, 40.0]])
    plan = crew_weeks(np.array([10.0, 10.0]), np.array([40.0, 40.0]), np.zeros((1, 2, 2)), most)
    assert plan.hours.tolist() == [[0.0, 10.0], [10.0, 0.0]]


def test_weeks_are_the_means_of_days_that_can_be_worked():
    days = np.array([1.0, 3.0, 5.0, np.nan, 9.0])
    week = np.array([0, 0, 1, 1, -1])
    assert in_weeks(days, week, 3)[:2].tolist() == [2.0, 5.0]
    assert np.isnan(in_weeks(days, week, 3)[2])
    assert in_weeks(days, week, 2, np.array([0.0, 1.0, 1.0, 1.0, 1.0])).tolist() == [3.0, 5.0]


def test_how_far_a_plan_holds():
    base = crew_weeks(np.array([10.0]), np.full(5, 40.0), np.array([[[0.0, 1, 1, 1, 1]]]))
    beside, far = (
        crew_weeks(np.array([10.0]), np.full(5, 40.0), np.array([[costs]]))
        for costs in ([1.0, 0, 1, 1, 1], [1.0, 1, 1, 1, 0])
    )
    assert holds(base, [base, beside, far, far]).tolist() == [0.5]
    assert np.isnan(holds(base, [])).all()


def test_forty_blocks_by_weeks_and_by_days_are_fast():
    spent = []
    for weeks in (26, 150):
        rng = np.random.default_rng(3)
        start = time.perf_counter()
        plan = crew_weeks(rng.uniform(5, 40, 40), np.full(weeks, 1800 / weeks), rng.uniform(0, 1, (4, 40, weeks)))
        spent.append(time.perf_counter() - start)
        assert plan.undone.sum() == pytest.approx(0, abs=1e-3)
    assert spent[0] < 1
    assert spent[1] < 5


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.floats(0, 1), st.floats(1, 3))
def test_a_later_pass_waits_for_the_first_and_more_crew_never_worsens_it(seed, ready, times):
    need, capacity, costs = _case(seed, jobs=4)
    after = [After(0, 1, ready), After(-1, 2, 1.0)]
    plan = crew_weeks(need, capacity, costs, after=after)
    first, final = (np.cumsum(plan.hours[number]) / need[number] for number in (0, 1))
    made_ready = ready + (1 - ready) * np.concatenate([[0.0], first[:-1]])
    assert (final <= made_ready + 1e-4).all()
    assert plan.hours.sum(axis=1) + plan.undone == pytest.approx(need, abs=1e-3)
    assert (plan.hours.sum(axis=0) <= capacity + 1e-6).all()
    assert crew_weeks(need, capacity * times, costs, after=after).score <= plan.score + 1e-6
    assert plan.score >= crew_weeks(need, capacity, costs, after=[After(0, 1, 1.0)]).score - 1e-6  # waiting never helps


def test_vines_are_finished_before_others_are_begun():
    """Where hours are few, half of the vines in both passes are better than all of them in the first alone."""
    need, costs = np.array([10.0, 30.0]), np.zeros((1, 2, 4))
    costs[0, 1] = 0.9  # the first pass costs nothing, the final one much
    plan = crew_weeks(need, np.full(4, 5.0), costs, after=[After(0, 1, 0.0)])
    assert plan.hours.sum(axis=1) == pytest.approx([5.0, 15.0], abs=1e-3)


def test_what_is_ready_can_be_finished_at_once_and_no_more():
    plan = crew_weeks(np.array([4.0, 8.0]), np.full(3, 20.0), np.zeros((1, 2, 3)), after=[After(0, 1, 0.25)])
    assert plan.hours.tolist() == [pytest.approx([4, 0, 0]), pytest.approx([2, 6, 0])]

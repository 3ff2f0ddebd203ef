"""Work that was dropped was not done: it changes no condition, no rate, no list and no sentence.

trunkwatch.follow_up: worked, did_it_work, cut_faces; trunkwatch.history: block_reader, plants; trunkwatch.block: trend, first_look;
trunkwatch.forecast: cuts, vine_years; trunkwatch.maps: counts; trunkwatch.intake: check_seasons; trunkwatch.decide: facts, states.
"""

import dataclasses

import numpy as np
import pytest
from walked_blocks import walked_block

from trunkwatch.block import load, trend_of, winter_list
from trunkwatch.decide.decision import decide
from trunkwatch.follow_up.did_it_work import did_it_work
from trunkwatch.follow_up.worked import worked
from trunkwatch.forecast.vine_years import steps_of
from trunkwatch.intake.checks import check_frames, frames_of
from trunkwatch.maps.counts import work_masks
from trunkwatch.surveys.progress import surveys_of

YEARS = range(2021, 2027)
FOUND = [
    {"position": str(at), "date": f"{year}-08-15", "symptom": "dead_arm", "arm": "start", "percent": 60}
    for at, first in ((3, 2021), (7, 2021), (12, 2022), (20, 2022), (25, 2023)) for year in range(first, 2024)
]  # fmt: skip
WORK = [
    {"position": "3", "date": "2024-02-01", "kind": "renew_arm", "arm": "start", "hours": 0.5, "cut_height_cm": 40},
    {"position": "7", "date": "2024-02-01", "kind": "renew_trunk", "hours": 0.5, "cut_height_cm": 40},
    {"position": "12", "date": "2024-02-01", "kind": "remove"},
    {"position": "20", "date": "2024-02-01", "kind": "replant"},
]


def told(status, season=2024):
    """Return all that is said of the block whose work has this status; with no work at all where it is None."""
    work = [] if status is None else [{**one, "status": status} for one in WORK]
    store = walked_block(YEARS, vines=30, symptoms=FOUND, work=work, training="bilateral")
    found = load(store, "A", 2026)
    before = load(store, "A", season)
    history = found.history
    done, planned = work_masks(history, season)
    decision = decide(found, [], store.frame("costs"))
    return {
        "condition": history.condition.tolist(),
        "cases": history.had_case.tolist(),
        "rates": [
            (one.season, {name: rate.share for name, rate in one.rates.items()}) for one in trend_of(found).seasons
        ],
        "first": winter_list(found),
        "first then": winter_list(before),
        "held": did_it_work(found, []),
        "renewed": [(one.renewed, one.not_yet, one.too_far, one.cannot) for one in worked(found).comparisons],
        "steps": [
            {field.name: np.asarray(getattr(one, field.name)).tolist() for field in dataclasses.fields(one)}
            for one in steps_of(history, 2026)
        ],
        "done": done.tolist(),
        "planned": planned.tolist(),
        "proposed": [(one.cell, one.kind, one.arm) for one in decision.work],
        "surveys": [(one.name, one.look, one.oddities) for one in surveys_of(store, "A")],
        "checks": [str(one) for one in check_frames(frames_of(store), today="2026-12-01")],
    }


@pytest.fixture(scope="module")
def nothing():
    return told(None)


@pytest.mark.parametrize("status", ["dropped", "planned"])
def test_work_that_was_not_done_says_nothing(nothing, status):
    found = told(status)
    changed = {name for name in nothing if repr(found[name]) != repr(nothing[name])}
    assert changed == ({"planned", "held"} if status == "planned" else set())


@pytest.mark.parametrize("status", ["done", ""])
def test_the_same_work_done_says_something_in_each_of_these(nothing, status):
    """What the test above compares moves where work was done: it can tell."""
    found = told(status)
    same = {name for name in nothing if repr(found[name]) == repr(nothing[name])}
    assert same == {"planned"}


def test_hours_of_dropped_work_are_neither_planned_nor_worked():
    store = walked_block(YEARS, vines=30, symptoms=FOUND, work=[{**one, "status": "dropped"} for one in WORK])
    assert set(worked(load(store, "A", 2026)).hours.values()) == {(0, 0.0, 0, 0.0)}

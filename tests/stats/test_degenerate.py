"""trunkwatch.stats: maps on which nothing can be told are answered with a reason, never with a warning, nan or p = 0."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from trunkwatch.stats.clark_evans import clark_evans
from trunkwatch.stats.dispersion import dispersion
from trunkwatch.stats.edge import edge
from trunkwatch.stats.false_positive import false_positive_share
from trunkwatch.stats.foci import foci
from trunkwatch.stats.gradient import focus_gradient, gradient
from trunkwatch.stats.history_shuffle import all_seasons
from trunkwatch.stats.incidence import incidence_of_rows
from trunkwatch.stats.join_count import join_count, join_orders
from trunkwatch.stats.lag_pairs import lag_pairs
from trunkwatch.stats.local_count import local_count
from trunkwatch.stats.nearest_kind import nearest_kind
from trunkwatch.stats.nearest_neighbour import nearest_neighbour
from trunkwatch.stats.new_near_old import near_old_orders, new_near_old, shifted_near_old
from trunkwatch.stats.runs import runs
from trunkwatch.stats.shift import shifted_mean
from trunkwatch.stats.survival import cumulative_incidence, kaplan_meier, log_rank
from trunkwatch.stats.trend import Change, change

METRES = {"row_spacing": 2.5, "vine_spacing": 1.2}
DRAWN = {"permutations": 19, "rng": 1}


def steps(vines):
    return np.indices(vines.shape).sum(axis=0)


TESTS: dict[str, Callable] = {
    "joins": lambda c, v: join_count(c, v, **DRAWN),
    "joins along": lambda c, v: join_count(c, v, joins="row"),
    "joins in strata": lambda c, v: join_count(c, v, strata=np.indices(v.shape)[0], **DRAWN),
    "orders": lambda c, v: join_orders(c, v, **DRAWN),
    "runs": runs,
    "lags": lambda c, v: lag_pairs(c, v, **DRAWN),
    "local": local_count,
    "near, nothing old": lambda c, v: new_near_old(v & False, c, v),
    "near, nothing new": lambda c, v: new_near_old(c, v & False, v & ~c),
    "near, orders": lambda c, v: near_old_orders(c, v & False, v & ~c)["row", 1][0],
    "near, shifted": lambda c, v: shifted_near_old(v & False, c, v),
    "bays": dispersion,
    "whole quadrats": lambda c, v: dispersion(c, v, quadrat=(2, 2), whole_only=True),
    "anywhere": lambda c, v: clark_evans(c, v, **METRES),
    "nearest": lambda c, v: nearest_neighbour(c, v, **METRES, **DRAWN),
    "nearest kind": lambda c, v: nearest_kind(c, v, **METRES, **DRAWN),
    "edge": edge,
    "gradient": lambda c, v: gradient(c, v, steps(v), **DRAWN),
    "gradient over foci": lambda c, v: focus_gradient(c, v, steps(v)),
    "foci": lambda c, v: foci(c, v, **DRAWN),
    "all seasons": lambda c, v: all_seasons(np.stack([c, c]), np.stack([v, v]), **DRAWN),
    "static": lambda c, v: false_positive_share(steps(v) % 2, c, np.stack([v, v]), runs=19, rng=1),
    "shift": lambda c, v: shifted_mean(c, v, steps(v)),
    "change": lambda c, v: change(c, ~c & v, v),
}


def maps():
    """Yield a name, cases and vines."""
    for shape in ((0, 0), (0, 3), (3, 0), (1, 1), (1, 2), (1, 12), (12, 1), (2, 2), (6, 8)):
        vines = np.ones(shape, dtype=bool)
        yield f"{shape} none", vines & False, vines
        yield f"{shape} all", vines, vines
        yield f"{shape} no vine counts", vines & False, vines & False
        if vines.size:
            one = vines & False
            one.flat[0] = True
            yield f"{shape} one case", one, vines
            yield f"{shape} all but one", ~one, vines
            yield f"{shape} one vine, a case", one, one
            ends = one.copy()
            ends.flat[-1] = True
            yield f"{shape} two ends", ends, vines
    sparse = np.zeros((9, 12), dtype=bool)
    sparse[::3, ::3] = True
    yield "every third vine of every third row", sparse & (steps(sparse) % 2 == 0), sparse
    yield "every third vine of every third row, one side", sparse & (np.indices((9, 12))[1] > 5), sparse


MAPS = list(maps())


@pytest.mark.parametrize("test", TESTS.values(), ids=TESTS)
def test_a_reason_or_an_answer(test):
    """Warnings are errors here."""
    for name, cases, vines in MAPS:
        found = test(cases, vines)
        told, pvalue, reason = str(found), found.pvalue if hasattr(found, "pvalue") else 1.0, found.reason
        assert "nan" not in told, name
        if reason:
            assert reason in told, name
            assert math.isnan(pvalue) or not hasattr(found, "pvalue"), name
        elif not isinstance(found, Change):  # of a change the p is nan where no vine differs
            assert 0 < pvalue <= 1, name


def test_reasons_in_words():
    one = np.zeros((3, 4), dtype=bool)
    one[1, 1] = True
    vines, none = np.ones_like(one), one & False
    assert local_count(one, vines).reason == "there is a single case"
    assert lag_pairs(one, vines).reason == "there is a single case"
    assert join_count(none, none, strata=np.indices(one.shape)[0]).reason == "no vine counts"
    assert runs([[1, 0, 0, 0, 0]], [[1, 1, 0, 1, 1]]).reason == "every labelling makes the same number of runs"
    assert runs([[1, 1, 0]], [[1, 1, 0]]).reason == "no stretch of row holds both cases and vines without symptoms"
    assert shifted_near_old(none, vines & (steps(vines) % 2 == 0), vines).reason.startswith("the field is the same")
    sparse = np.zeros((5, 5), dtype=bool)
    sparse[::2, ::2] = True
    apart = false_positive_share(np.indices((5, 5))[0] % 3, sparse, np.stack([sparse] * 3))
    assert apart.reason == "no case has a neighbor that was scouted"


def test_numbers_that_cannot_be_asked_for(grid_a):
    vines = np.ones_like(grid_a)
    with pytest.raises(ValueError, match="one of each at least"):
        join_orders(grid_a, vines, permutations=0)
    with pytest.raises(ValueError, match="one of each at least"):
        join_orders(grid_a, vines, orders=())
    with pytest.raises(ValueError, match="named rule"):
        join_orders(grid_a, vines, joins=[(0, 1)])
    with pytest.raises(ValueError, match="0 to 2 rows"):
        lag_pairs(grid_a, vines, max_rows=2, permutations=0).at(3, 0)
    with pytest.raises(ValueError, match="up to 1 stations"):
        lag_pairs(grid_a, vines, max_stations=1, permutations=0).at(0, -2)
    with pytest.raises(ValueError, match="0 or more"):
        lag_pairs(grid_a, vines, max_rows=-1)
    with pytest.raises(ValueError, match="permutations is 0"):
        all_seasons([grid_a], [vines], permutations=0)
    with pytest.raises(ValueError, match="runs is 0"):
        false_positive_share(steps(vines), grid_a, [vines], runs=0)
    with pytest.raises(ValueError, match="1, the edge"):
        edge(grid_a, vines, rings=np.zeros_like(grid_a, dtype=int))
    with pytest.raises(ValueError, match="covariate is missing for 96"):
        focus_gradient(grid_a, vines, np.full(grid_a.shape, np.nan))
    with pytest.raises(ValueError, match="no more cases than these"):
        incidence_of_rows([5], [4])


def test_lives_that_cannot_be():
    with pytest.raises(ValueError, match="event is"):
        kaplan_meier([1, 2], [True])
    with pytest.raises(ValueError, match="cause is"):
        cumulative_incidence([1, 2], [1])
    with pytest.raises(ValueError, match="group is"):
        log_rank([1, 2], [True, True], ["a"])
    never = log_rank([1, 2, 8, 9], [1, 1, 1, 0], ["a", "a", "b", "b"], entry=[0, 0, 5, 5])
    assert never.reason == "no two groups were at risk together when something happened"
    with pytest.raises(ValueError, match="end before they enter"):
        log_rank([1, 2], [1, 1], ["a", "b"], entry=[1, 0])
    assert cumulative_incidence([1, 2, 3], [1, 0, 0]).at(2, 3) == 0.0

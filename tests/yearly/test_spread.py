"""Spread from vine to vine: by hand, in worlds where nothing spreads, and where it does. trunkwatch.yearly: spread, rates, share."""

import numpy as np
import pytest
from yearly import simulated

from trunkwatch.yearly.rates import Followed, lag_ratios, lags_of
from trunkwatch.yearly.spread import grid_lags, meter_lags, spread_test

SEASONS = 4


def _followed(first, start=None, end=None, seasons=SEASONS):
    first = np.asarray(first)[None]
    cell = np.flatnonzero(first >= 0)
    begin = np.zeros(first.size, dtype=int) if start is None else np.asarray(start)
    last = np.full(first.size, seasons - 1) if end is None else np.asarray(end)
    ones = np.ones(cell.size, dtype=int)
    return Followed(first.shape, seasons, np.ones(first.size, dtype=bool), begin, last, cell, first.ravel()[cell], ones)


def _slowly(followed, pairs):
    """Events and expected events, walking over vines in small steps of the summed rate."""
    first = np.full(followed.standing.size, -1)
    first[followed.cell] = followed.season
    sums = np.zeros((2, 2))
    for a, b in pairs:
        for vine, beside in ((a, b), (b, a)):
            if first[beside] < 0:
                continue
            out = followed.middle[first[vine]] if first[vine] >= 0 else followed.summed[followed.end[vine] + 1]
            steps = np.linspace(0, followed.summed[-1], 200001)
            steps = (steps[1:] + steps[:-1]) / 2
            width = followed.summed[-1] / 200000
            there = (steps > followed.summed[followed.start[beside]]) & (
                steps < followed.summed[followed.end[beside] + 1]
            )
            risk = (steps > followed.summed[followed.start[vine]]) & (steps < out) & there
            noted = steps > followed.middle[first[beside]]
            sums[1] += width * np.array([(risk & noted).sum(), (risk & ~noted).sum()])
            if first[vine] >= 0 and followed.start[beside] <= first[vine] <= followed.end[beside]:
                sums[0] += [
                    np.sign(first[vine] - first[beside]) / 2 + 0.5,
                    np.sign(first[beside] - first[vine]) / 2 + 0.5,
                ]
    return sums


@pytest.mark.parametrize(
    ("first", "start", "end"),
    [
        ([0, 2, -1, 3, 3, -1], None, None),
        ([1, 2, -1, 3, 3, -1], [0, 1, 0, 2, 0, 3], [2, 3, 3, 3, 3, 3]),
        ([2, -1, 0, 1, -1, 1], [0, 0, 0, 0, 1, 0], [3, 1, 2, 3, 3, 1]),
    ],
)
def test_rates_are_those_of_a_slow_walk(first, start, end):
    followed = _followed(first, start, end)
    for lag in (1, 2):
        pairs = grid_lags((1, 6), "along")[lag]
        made = lags_of(followed, [pairs])[0]
        slow = _slowly(followed, pairs)
        events = [float(e[0]) for e in made.events(followed, followed.season[None])]
        expected = [float(e[0]) for e in made.expected(followed, followed.season[None])]
        assert events == pytest.approx(slow[0])
        assert expected == pytest.approx(slow[1], abs=1e-3)
        ratio = lag_ratios(followed, [made], followed.season[None])[0, 0]
        rates = np.log((slow[0] + 0.5) / (slow[1] + 0.5))
        assert ratio == pytest.approx(rates[0] - rates[1], abs=1e-3)


def _world(make, seed, seasons=12, rows=24, stations=100):
    world = make(np.random.default_rng(seed), seasons, rows, stations)
    return (*simulated.first_seasons(world.case), world)


def test_many_shuffles_at_once_are_each_of_them_alone():
    first, _, _ = _world(simulated.static_foci, 2, rows=6, stations=40)
    followed = _followed(first[0], seasons=12)
    made = lags_of(followed, list(grid_lags((1, 40), "along").values()))
    orders = np.array([np.random.default_rng(k).permutation(followed.season) for k in range(5)])
    together = lag_ratios(followed, made, orders)
    assert together == pytest.approx(np.vstack([lag_ratios(followed, made, one[None]) for one in orders]))


def test_spread_along_the_row_is_seen_and_not_across():
    found = np.zeros((2, 2))
    for seed in range(6):
        first, _, _ = _world(lambda *given: simulated.spreading(*given, along=0.12), seed, seasons=14)
        for k, direction in enumerate(("along", "across")):
            told = spread_test(first, 14, direction=direction, shuffles=199, rng=seed)
            found[k] += [told.spread_p <= 0.05, told.either_p <= 0.05]
    assert found[0].min() >= 5
    assert found[1].max() <= 2


@pytest.mark.parametrize("name", ["scattered static", "static foci", "smooth risk", "short zones"])
def test_nothing_spreads(name):
    """Of 60 blocks at most 8 rejections at 5 %: the binomial's 1 % point."""
    rejected = 0
    for seed in range(60):
        first, _, world = _world(simulated.STILL[name], 300 + seed, rows=16, stations=60, seasons=10)
        told = spread_test(first, 10, strata=world.stratum, shuffles=99, rng=seed)
        rejected += told.spread_p <= 0.05
    assert rejected <= 8


def test_short_zones_fool_one_vine_against_two_more_than_the_line():
    """The reason for the line: zones of three to seven vines, all of whose vines sicken together."""
    line = two = 0
    for seed in range(40):
        first, _, _ = _world(
            lambda *given: simulated.short_zones(*given, length=(3, 8), share=0.65, zones=0.25), 50 + seed, seasons=14
        )
        told = spread_test(first, 14, shuffles=99, rng=seed)
        line += told.spread_p <= 0.05
        two += told.either_p <= 0.05
    assert line <= 6
    assert two > line


def test_seasons_move_only_inside_their_class():
    """With every vine a stratum of its own nothing can move: every shuffle is the record itself."""
    first, _, _ = _world(simulated.spreading, 1)
    told = spread_test(first, 12, strata=np.arange(first.size).reshape(first.shape), shuffles=49, rng=1)
    assert told.spread_p == told.either_p == 1.0
    assert told.null_distribution == pytest.approx(told.spread)


def test_noted_as_often_is_a_class_of_its_own():
    """Where the season tells how often a vine was noted, and seasons move only among vines noted as often, nothing moves."""
    rng = np.random.default_rng(3)
    first = np.where(rng.random((10, 60)) < 0.6, rng.integers(0, 3, (10, 60)), -1)
    told = spread_test(first, 3, noted=3 - first, shuffles=49, rng=1)
    assert told.spread_p == told.either_p == 1.0
    assert spread_test(first, 3, shuffles=49, rng=1).spread_p < 1


def test_result_says_what_it_counted():
    first, _, _ = _world(simulated.spreading, 3)
    told = spread_test(first, 12, shuffles=99, rng=1)
    both = (first[:, 1:] >= 0) & (first[:, :-1] >= 0)
    assert told.lags[0].pairs == both.sum()
    assert told.lags[0].after + told.lags[0].later == pytest.approx(2 * both.sum())
    assert told.cases == (first >= 0).sum()
    assert str(told).startswith("spread along: p = ")
    assert told.lags[0].low < told.lags[0].expected < told.lags[0].high
    assert np.log([lag.ratio for lag in told.lags]) @ [1, -4 / 3, -1 / 3, 2 / 3] == pytest.approx(told.spread)


def test_the_same_seed_gives_the_same_p():
    first, _, _ = _world(simulated.spreading, 4, rows=10, stations=50)
    a, b = (spread_test(first, 12, shuffles=99, rng=5) for _ in range(2))
    assert (a.spread_p, a.either_p) == (b.spread_p, b.either_p)


def test_bands_of_meters_on_a_square_grid_hold_the_neighbors():
    along, across = np.meshgrid(np.arange(5.0), np.arange(4.0))
    bands = meter_lags(along, across, 1.0)
    assert len(bands[1]) == 4 * 4 + 3 * 5 + 2 * 3 * 4  # beside, behind, and both diagonals (1.41 m)
    points = np.column_stack([along.ravel(), across.ravel()])
    for lag, pairs in bands.items():
        apart = np.hypot(*(points[pairs[:, 0]] - points[pairs[:, 1]]).T)
        assert (np.abs(apart - lag) <= 0.5).all()
    with pytest.raises(ValueError, match="width_m is -1"):
        meter_lags(along, across, -1)


def test_bands_take_gaps_and_the_test_takes_bands():
    first, _, world = _world(lambda *given: simulated.spreading(*given, along=0.1, across=0.1), 1, rows=20, stations=60)
    along, across = np.meshgrid(np.arange(60) * 1.1, np.arange(20) * 1.3)
    along[0, 0] = np.nan
    told = spread_test(first, 12, lags=meter_lags(along, across, 1.4), direction="around", shuffles=99, rng=1)
    assert told.direction == "around"
    assert not told.reason
    assert world.case.any()


def test_no_test_is_said():
    few = np.full((4, 10), -1)
    few[0, :3] = [0, 1, 2]
    assert spread_test(few, 5).reason == "3 cases, 20 are needed"
    same = np.zeros((4, 10), dtype=int)
    assert spread_test(same, 5).reason == "first cases in 1 season, three are needed"
    apart = np.full((4, 60), -1)
    apart[:, ::6] = np.arange(40).reshape(4, 10) % 5
    told = spread_test(apart, 5)
    assert told.reason == "0 pairs of cases at one of the distances, 10 are needed"
    assert str(told) == f"spread along: no test: {told.reason}"


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"direction": "up"}, "direction is 'up'"),
        ({"shuffles": 0}, "shuffles is 0"),
        ({"noted": np.zeros((2, 2))}, "noted is"),
        ({"seasons": 3}, "season from 0 to 2"),
        ({"start": np.full((10, 50), 9)}, "season from 9"),
        ({"lags": {1: np.array([[0, 1]])}}, "lag 2"),
        ({"lags": {k: np.array([[0, 9999]]) for k in (1, 2, 3, 4)}}, "cell 9999"),
        ({"strata": np.zeros((2, 2))}, "strata is"),
    ],
)
def test_wrong_arguments_name_the_value(change, message):
    first, _, _ = _world(simulated.spreading, 1, rows=10, stations=50)
    given = {"first": first, "seasons": 12} | change
    with pytest.raises(ValueError, match=message):
        spread_test(given.pop("first"), given.pop("seasons"), **given)

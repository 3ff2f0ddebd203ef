"""Blocks of the dieback and leaf worlds carried on under a strategy, by the worlds' own vines and random numbers.

The record, and every vine's fate up to its last season, are the other hand's (`worlds/`). What is not theirs, and is written here:
the years after the record under a strategy, because the worlds carry on without work only. Infection, growth of damage, relapse
and death go on by the worlds' own functions with the world's own parameters; a winter's work changes a vine as the world's own
renewals do. What a world cannot tell, because nobody replants in it or nobody renews, is drawn for each block from the beliefs
that a plan starts from (`forecast/priors.py`): deaths of replants, in worlds without work also renewals that fail and relapse.
So it is unknown to the plan, and of the published or remembered size. Yields are those of the costs, over the true share dead. The scouts go on as in the record (nine in ten vines that show are noted, percents with an error of 7 points, in
steps of 5), and the strategy acts on what they wrote last.
"""

from copy import deepcopy
from dataclasses import dataclass, replace
from zlib import crc32

import numpy as np
from calibration.worlds import WORLDS
from calibration.worlds.course import FAR, Course, Growth, Work
from calibration.worlds.kinds import BEFORE, LAST_SEASON, NEVER, Block
from calibration.worlds.run import _State
from numpy.typing import NDArray

from trunkwatch.forecast.priors import PRIORS
from trunkwatch.renewal.costs import Costs
from trunkwatch.renewal.futures import Futures, share_showing
from trunkwatch.renewal.states import State, after_symptoms, damage_state, next_without_symptoms
from trunkwatch.renewal.strategies import Effort, Strategy, act
from trunkwatch.renewal.yields import yield_by_severity

#: Seasons ahead, as many as the costs look ahead.
AHEAD = 20
GROWN, TRUNK, ARM, REPLANT, TRAINED = range(5)


class LongBlock(Block):
    """The same block with more seasons after the record; the seasons of the record share its random numbers."""

    @property
    def years(self) -> int:
        return BEFORE + self.seasons + AHEAD


@dataclass
class AtTheEnd:
    """A block at the end of its record."""

    state: _State
    kind: NDArray[np.int64]  # what a vine grows up from: GROWN and the others
    age: NDArray[np.int64]  # its seasons since, the coming one counted
    useful: bool
    replant_dies: tuple[float, float]  # in its first season, and yearly in the next two
    fails: float  # renewed trunks that give no vine


def at_the_end(name: str, seed: int, seasons: int, shape: tuple[int, int]) -> AtTheEnd:
    """Run a world up to the end of its record, as `worlds.run.run` does, and keep its vines."""
    block, chance = LongBlock(seed, seasons, shape), np.random.default_rng([seed, crc32(name.encode())])
    drawn = {
        name: chance.beta(PRIORS[name].mean * PRIORS[name].weight, (1 - PRIORS[name].mean) * PRIORS[name].weight)
        for name in ("replant_first", "replant_later", "renewal_fails", "relapse_2")
    }
    course: Course = WORLDS[name].course(block)
    works, course = (
        course.work is not None,
        replace(course, work=course.work or Work("worst_first", useful=True, relapse=float(drawn["relapse_2"]))),
    )
    state = _State(course, block)
    kind, age = np.zeros(shape, dtype=np.int64), np.full(shape, FAR)
    ever = np.zeros((*shape, 2), dtype=bool)
    for year in range(BEFORE + seasons):
        if year:
            state.die(year)
        state.infect(year)
        severity = state.show(year)
        state.times += state.showing
        if year < BEFORE:
            continue
        t = year - BEFORE
        seen, percent = state.look(t, severity, np.zeros(shape, dtype=bool))
        state.keep(t, seen, percent)
        ever |= percent > 0
        if works:
            done = state.renew(t)
            kind[done] = np.where(ever[done].sum(axis=1) == 1, ARM, TRUNK)
            age[done] = seasons - t + (1 if isinstance(course.shows, Growth) else 0)
    truth = WORLDS[name].make(seed=seed, seasons=seasons, shape=shape).truth
    if not (np.array_equal(state.alive, truth.alive[-1]) and np.allclose(severity, truth.severity[-1])):
        raise AssertionError(f"{name}, seed {seed}: the block at the end of its record is not the world's own")
    fails = 0.0 if works else float(drawn["renewal_fails"])
    return AtTheEnd(
        state, kind, age, course.work.useful, (float(drawn["replant_first"]), float(drawn["replant_later"])), fails
    )


def carried_on(
    end: AtTheEnd,
    known: NDArray[np.uint8],
    strategies: tuple[Strategy, ...],
    costs: Costs,
    seeds: tuple[int, ...],
    effort: Effort,
) -> Futures:
    """Carry a block on under each strategy, as many times as there are seeds; the strategies share their random numbers."""
    size = (len(strategies), len(seeds), AHEAD)
    out = Futures(
        strategies,
        known.size,
        np.zeros(size),
        np.zeros(size),
        np.zeros(size, dtype=np.int64),
        np.zeros(size, dtype=np.int64),
        np.zeros(size, dtype=bool),
        np.zeros(size),
    )
    for k, strategy in enumerate(strategies):
        for n, seed in enumerate(seeds):
            _carry(end, known, strategy, costs, seed, out, (k, n), effort)
    return out


def _carry(
    end: AtTheEnd,
    known: NDArray[np.uint8],
    strategy: Strategy,
    costs: Costs,
    seed: int,
    out: Futures,
    at: tuple[int, int],
    effort: Effort,
) -> None:
    state, known = deepcopy(end.state), known.copy()
    kind, age, shape = end.kind.copy(), end.age.copy(), known.shape
    chance, first = np.random.default_rng([seed, 5]), BEFORE + state.block.seasons
    for purpose in ("infect", "source", "show", "die", "heal", "look", "relapse"):
        getattr(state.draws, purpose)[first:] = chance.random((AHEAD, *shape))
    state.draws.season[first:] = chance.normal(size=AHEAD)
    errors = chance.normal(0, 7, (AHEAD, *shape, 2))
    luck = chance.random((AHEAD, *shape))
    order = [chance.permutation(known.size) for _ in range(AHEAD)]
    assert effort.bearing is not None
    for j in range(AHEAD):
        year, bears = first + j, float(effort.bearing[known].sum())
        flat = known.reshape(1, -1).copy()
        done = act(
            strategy,
            flat,
            j,
            np.array([share_showing(known)]),
            renew_hours=costs["renew_hours"],
            order=order[j],
            shape=shape,
            effort=effort,
            bearing=bears,
        )
        known = flat.reshape(shape)
        _work(state, known, year, kind, age, useful=end.useful)
        state.die(year)
        _grow_up(state, end, year, kind, age, luck[j])
        state.infect(year)
        severity = state.show(year)
        out.bearing[(*at, j)] = _yields(state, severity, kind, age, costs).sum()
        state.times += state.showing
        known = _looked(state, severity, known, year, errors[j])
        age = age + 1
        out.renewed[(*at, j)], out.replanted[(*at, j)], out.block[(*at, j)] = (
            done.renewed[0],
            done.replanted[0],
            done.block[0],
        )
        if out.hours is not None:
            out.hours[(*at, j)] = done.hours[0]


def _work(
    state: _State, known: NDArray[np.uint8], year: int, kind: NDArray[np.int64], age: NDArray[np.int64], *, useful: bool
) -> None:
    planted = np.isin(known, (State.PLANTED, State.BLOCK_PLANTED))
    if planted.any():
        state.replant(year, planted, np.zeros_like(planted))
        kind[planted], age[planted] = REPLANT, 1
    for what, into in ((TRUNK, State.CUT), (ARM, State.ARM_CUT), (TRAINED, State.CUT_TRAINED)):
        cut = known == into
        kind[cut], age[cut] = what, 1
        if useful:  # as `worlds.run._State.renew`
            state.relapsing |= cut & (state.since != NEVER)
            state.onset[cut] = FAR


def _grow_up(
    state: _State, end: AtTheEnd, year: int, kind: NDArray[np.int64], age: NDArray[np.int64], luck: NDArray[np.float64]
) -> None:
    """Let replants die and renewals fail."""
    first, later = end.replant_dies
    chance = np.zeros(luck.shape)
    chance[(kind == REPLANT) & (age == 1)], chance[(kind == REPLANT) & ((age == 2) | (age == 3))] = first, later
    chance[(kind == TRUNK) & (age == 1)], chance[(kind == TRAINED) & (age == 1)] = end.fails, end.fails / 2
    state._end(state.alive & (luck < chance), year)


def _yields(
    state: _State, severity: NDArray[np.float64], kind: NDArray[np.int64], age: NDArray[np.int64], costs: Costs
) -> NDArray[np.float64]:
    if isinstance(state.course.shows, Growth):
        bears = yield_by_severity(severity) / 100
    else:
        bears = np.where(
            state.showing,
            costs.share("showing_pct"),
            np.where((state.times > 0) & (state.onset < FAR), costs.share("hidden_pct"), 1.0),
        )
    for what, table in (
        (TRUNK, [costs.share(f"renewed_{k}_pct") for k in range(1, 5)]),
        (ARM, [costs.share("new_arm_1_pct"), costs.share("new_arm_2_pct")]),
        (REPLANT, [costs.share(f"replant_{k}_pct") for k in range(1, 10)]),
        (TRAINED, [costs.share("shoot_first_1_pct"), costs.share("renewed_3_pct")]),
    ):
        for k, share in enumerate(table, start=1):
            bears = np.where((kind == what) & (age == k), bears * share, bears)
    return np.where(state.alive, bears, 0.0)


def _looked(
    state: _State, severity: NDArray[np.float64], known: NDArray[np.uint8], year: int, errors: NDArray[np.float64]
) -> NDArray[np.uint8]:
    noted = state.showing & (state.draws.look[year] < 0.9)
    follow, after = next_without_symptoms(), after_symptoms()
    lasting = (known >= State.LIGHT) & (known <= State.HEAVY)
    new = np.where(lasting, known, follow[known])
    if isinstance(state.course.shows, Growth):
        worse = np.minimum(1.0, 1.6 * severity)
        arms = np.stack([worse, np.clip(2 * severity - worse, 0, 1)], axis=-1)
        rough = np.where(arms >= 0.05, np.clip(5 * np.round((100 * arms + errors) / 5), 5, 100), 0.0).mean(axis=-1)
        classes = np.array([[damage_state(float(share)) for share in line] for line in rough])
        new = np.where(noted, np.where(_with_a_shoot(known), known, classes), new)
    else:
        new = np.where(noted, after[known], new)
    return np.where(state.alive, new, np.where(known == State.EMPTY, State.EMPTY, State.DEAD)).astype(np.uint8)


def _with_a_shoot(known: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Vines with a shoot in training keep what is known of them until they are cut next winter."""
    shoots = [int(one) for one in State if one.name.startswith("SHOOT")]
    return np.isin(known, shoots)


__all__ = ["AHEAD", "LAST_SEASON", "AtTheEnd", "at_the_end", "carried_on"]

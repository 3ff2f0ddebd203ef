"""A strategy of the block's own, searched setting by setting on futures that it is not judged on."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trunkwatch.forecast.rates import Rates
from trunkwatch.renewal.compare import cash_flows, present_values
from trunkwatch.renewal.costs import Costs
from trunkwatch.renewal.damage import Damage
from trunkwatch.renewal.futures import run_futures
from trunkwatch.renewal.states import State
from trunkwatch.renewal.strategies import STANDARD, Effort, Strategy

__all__ = ["MOST_TRIALS", "Ground", "in_words", "search", "some_rows"]

#: How often all settings are gone through, and how many trials that makes with the first one at most.
_ROUNDS, _SETTINGS = 2, 6
MOST_TRIALS = 1 + _ROUNDS * _SETTINGS

#: Positions that the search runs on at most, and futures.
SAMPLE, SEARCHED = 700, 40
_SEVERITY = {
    int(State.LIGHT): "a quarter or more dead", int(State.MIDDLE): "half or more dead", int(State.HEAVY): "most of the vine dead",
}  # fmt: skip
_CREW = {1.0: "", 0.5: "half of the crew-days", 0.25: "a quarter of the crew-days"}


@dataclass(frozen=True, slots=True)
class Ground:
    """What strategies are tried on: states, chances, damage, hours, yields and prices."""

    start: NDArray[np.uint8]
    rates: Rates
    damage: Damage
    effort: Effort
    bearing: NDArray[np.float64]
    costs: Costs
    vines_ha: float
    seed: int
    passes: float = 1.0
    after_each: Callable[[], None] | None = None

    def worth(self, strategies: Sequence[Strategy], share: float = 1.0) -> NDArray[np.float64]:
        """Return the mean present value a hectare of each strategy; `share` is that of the positions, for the crew."""
        scaled = [replace(one, hours=one.hours * share) for one in strategies]
        found = run_futures(
            self.start,
            self.rates,
            scaled,
            self.bearing,
            years=int(self.costs["horizon_years"]),
            renew_hours=self.costs["renew_hours"],
            damage=self.damage,
            effort=self.effort,
            passes=self.passes,
            seed=self.seed,
        )
        if self.after_each is not None:
            self.after_each()
        flows = cash_flows(found, self.costs, self.vines_ha)
        return np.asarray(present_values(flows, self.costs["discount_pct"]).mean(axis=1))


def search(
    ground: Ground, standard: Sequence[Strategy], hours: float, *, parts: bool, share: float = 1.0
) -> Strategy | None:
    """Improve the best standard strategy setting by setting; None where it is one of the standard ones.

    Parameters
    ----------
    ground : Ground
        Futures of their own: what is found must be judged on others, or luck would count as skill.
    standard : sequence of Strategy
        To start from and to set it beside; those that replant the block are left alone.
    hours : float
        Crew-hours a winter.
    parts : bool
        Whether vines have a second arm or trunk that bears on.
    share : float
        Share of the block's positions that the ground has, for the crew-hours.
    """
    starts = [one for one in standard if one.replant_year is None]
    worth = ground.worth(starts, share)
    at = int(worth.argmax())
    best, value = starts[at], float(worth[at])
    for _ in range(_ROUNDS):
        before = best
        for options in _coordinates(hours, parts=parts):
            tried = [one for one in options(best) if not _alike(one, best)]
            worth = ground.worth(tried, share)
            if worth.size and worth.max() > value:
                best, value = tried[int(worth.argmax())], float(worth.max())
        if _alike(best, before):
            break
    best = _plain(best)
    if any(_alike(best, one) for one in standard):
        return None
    return replace(best, name=in_words(best, hours))


def _plain(strategy: Strategy) -> Strategy:
    """Return the same without settings that change nothing: where most of a vine is dead the trunk is cut anyway."""
    if strategy.arms and strategy.damaged_only and strategy.least == State.HEAVY:
        return replace(strategy, arms=False)
    return strategy


def _alike(one: Strategy, other: Strategy) -> bool:
    return replace(one, name="") == replace(other, name="")


def _coordinates(hours: float, *, parts: bool) -> Iterator[Callable[[Strategy], list[Strategy]]]:
    """Yield the settings one after another: each makes the variants of a strategy."""

    def varied(*settings: dict[str, Any]) -> Callable[[Strategy], list[Strategy]]:
        return lambda best: [replace(best, **setting) for setting in settings]

    yield varied(
        *({"renew": True, "damaged_only": True, "least": least, "hours": hours} for least in _SEVERITY),
        {"renew": True, "damaged_only": False, "hours": hours},
        {"renew": False, "neighbours": False, "sound_share": 0.0, "arms": False, "shoot_first": False, "start_at": 0.0},
    )
    yield varied(
        {"arms": False, "shoot_first": False},
        {"arms": False, "shoot_first": True},
        *([{"arms": True, "shoot_first": False}] if parts else []),
    )
    yield varied({"fill": True}, {"fill": False})
    yield varied(*({"hours": part * hours} for part in _CREW))
    yield varied(
        {"neighbours": True}, {"neighbours": False}, {"sound_share": 0.0}, {"sound_share": 0.02}, {"sound_share": 0.05}
    )
    yield varied(*({"start_at": share} for share in (0.0, 0.05, 0.1, 0.2)))


def in_words(strategy: Strategy, hours: float) -> str:
    """Name a strategy by what it does, as a grower would say it."""
    listed = [_renewing(strategy)] if strategy.renew else []
    if strategy.sound_share:
        turn = f"{100 * strategy.sound_share:g} % of the sound vines in turn"
        listed.append(f"and {turn}" if listed else f"retrain {turn}")
    if strategy.fill:
        listed.append("fill gaps")
    if strategy.protect:
        listed.append("prevent")
    if strategy.start_at:
        listed.append(f"from {100 * strategy.start_at:g} % showing on")
    crew = _CREW.get(strategy.hours / hours, "") if hours and not math.isinf(strategy.hours) else ""
    if crew:
        listed.append(f"with {crew}")
    return ", ".join(listed).replace(", and", " and") or STANDARD


def _renewing(strategy: Strategy) -> str:
    sick = f"with {_SEVERITY[strategy.least]}" if strategy.damaged_only else "that show"
    if strategy.shoot_first:
        what = f"train a shoot first and cut the old part a winter later on vines {sick}"
    elif strategy.arms and not strategy.damaged_only:
        what = "retrain vines that show, only the dead part where one is known"
    elif strategy.arms:
        what = f"retrain the dead part of vines {sick}"
    else:
        what = f"retrain the trunk of vines {sick}"
    return f"{what} and of the vines beside them" if strategy.neighbours else what


def some_rows(
    start: NDArray[np.uint8], whole: NDArray[np.bool_], rng: np.random.Generator, *, near: bool
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Return the positions that the search runs on: rows side by side where neighbors matter, else some by chance.

    Parameters
    ----------
    start, whole : (rows, stations) arrays
        States, and vines of which only the whole trunk can be renewed.
    rng : Generator
        Source of chance.
    near : bool
        Whether neighbors matter.
    """
    if start.size <= SAMPLE:
        return start, whole
    if near and start.shape[0] > 1:
        rows = max(1, min(start.shape[0], round(SAMPLE / start.shape[1])))
        first = int(rng.integers(0, start.shape[0] - rows + 1))
        return start[first : first + rows], whole[first : first + rows]
    if near:
        first = int(rng.integers(0, start.size - SAMPLE + 1))
        return start[:, first : first + SAMPLE], whole[:, first : first + SAMPLE]
    some = np.sort(rng.choice(start.size, SAMPLE, replace=False))
    return start.reshape(1, -1)[:, some], whole.reshape(1, -1)[:, some]

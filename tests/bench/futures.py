"""How fast futures are. Run: python tests/bench/futures.py"""

import resource
import time

import numpy as np

from trunkwatch.forecast.estimate import draw, estimate
from trunkwatch.forecast.rates import Rates
from trunkwatch.renewal.costs import costs_of
from trunkwatch.renewal.futures import run_futures
from trunkwatch.renewal.states import N_STATES, State, after_symptoms, next_without_symptoms, thresholds
from trunkwatch.renewal.strategies import Strategy, standard_strategies
from trunkwatch.renewal.yields import yield_table
from trunkwatch.vineyard.tables import empty_frame


def plain_loop(start: np.ndarray, rates: Rates, bearing: np.ndarray, years: int) -> float:  # type: ignore[type-arg]
    """One strategy (do nothing), one future after the other, year by year, with indexing by state: the plain way."""
    follow, after = next_without_symptoms(), after_symptoms()
    total = 0.0
    for future in range(rates.draws):
        rng = np.random.default_rng(future)
        mine = Rates(**{name: getattr(rates, name)[future : future + 1] for name in rates.__dataclass_fields__})
        state = start.ravel().copy()
        for _ in range(years):
            gone, lamed, shown = (one[0] for one in thresholds(mine, rng.standard_normal(1), lasting=0.2, decline=0.15))
            luck = rng.random(state.size)
            new = np.where(luck < shown[state], np.where(luck < lamed[state], State.LIGHT, after[state]), follow[state])
            state = np.where(luck < gone[state], State.DEAD, new).astype(np.uint8)
            total += float(bearing[state].sum())
    return total


def main() -> None:
    """Print the figures."""
    start = np.full((50, 100), State.SOUND, dtype=np.uint8)
    start[np.random.default_rng(2).random(start.shape) < 0.08] = State.SHOWING
    bearing = yield_table(costs_of(empty_frame("costs")))
    assert len(bearing) == N_STATES
    rates = draw(estimate([]), 1000, np.random.default_rng(1))
    strategies = standard_strategies(80.0, replant=True)[:6]
    began = time.perf_counter()
    run_futures(start, rates, strategies, bearing, years=25, renew_hours=0.25)
    ours = time.perf_counter() - began
    print(
        f"1,000 futures x 25 years x 5,000 vines x 6 strategies: {ours:.1f} s, {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3:.0f} MB at the peak"
    )
    few = Rates(**{name: getattr(rates, name)[:40] for name in rates.__dataclass_fields__})
    began = time.perf_counter()
    run_futures(start, few, (Strategy("do nothing"),), bearing, years=25, renew_hours=0.25)
    one = time.perf_counter() - began
    began = time.perf_counter()
    plain_loop(start, few, bearing, 25)
    plain = time.perf_counter() - began
    print(
        f"one strategy, 40 futures: {one:.2f} s; a plain loop over futures and years {plain:.2f} s, ratio {plain / one:.1f}"
    )


if __name__ == "__main__":
    main()

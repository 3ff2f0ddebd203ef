"""How much is lost by following the recommendation, where the truth is known?

Run: python tests/calibration/regret.py [vineyards]

Blocks are simulated as in forecast_cover.py (12 seasons, chances of their own); prices and hours are drawn at random. The
chances are estimated from the record and the strategies compared on 200 futures of these estimates; then all strategies
are run on 400 futures of the true chances, and the recommended one is set beside the one that is truly best. Regret is
in percent of the present value of a healthy block.
"""

import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from forecast_cover import SHAPE, simulate

from trunkwatch.forecast.estimate import draw, estimate
from trunkwatch.forecast.rates import Rates
from trunkwatch.renewal.compare import compare
from trunkwatch.renewal.costs import costs_of
from trunkwatch.renewal.futures import run_futures
from trunkwatch.renewal.states import State, initial_states
from trunkwatch.renewal.strategies import standard_strategies
from trunkwatch.renewal.yields import yield_table
from trunkwatch.vineyard.tables import frame_of

VINES_HA = 2222.0
#: What the record does not tell in these blocks is taken as true in both: relapse, failures, deaths of sound vines.
SHARED = {"relapse": [0.06, 0.08, 0.10, 0.12], "renewal_fails": 0.2, "replant_fails": [0.097, 0.034], "sound": 0.0005}


def truth_of(chances: dict[str, float], many: int) -> Rates:
    """Return the true chances as draws that are all alike."""

    def rep(value: object) -> np.ndarray:  # type: ignore[type-arg]
        return np.repeat(np.array([value], dtype=float), many, axis=0)

    again = [chances["again_1"], chances["again_4"], chances["again_4"], chances["again_4"]]
    return Rates(
        rep(chances["first"]), rep(chances["season_sd"]), rep(0.7 * chances["season_sd"]), rep(again), rep([SHARED["sound"], chances["death_case"]]),
        rep(SHARED["relapse"]), rep(0.5), rep(SHARED["renewal_fails"]), rep(SHARED["replant_fails"]), rep(0.0), rep(0.0), rep(0.0),
    )  # fmt: skip


def one(seed: int) -> tuple[float, bool, str, str]:
    """Return regret in percent, whether the recommendation was clear, and what was recommended and truly best."""
    steps, chances = simulate(seed)
    rng = np.random.default_rng([seed, 7])
    costs = costs_of(frame_of("costs", [{"name": n, "value": v} for n, v in {
        "price_per_t": float(rng.choice([600, 1200, 2500])), "yield_t_ha": float(rng.uniform(6, 16)), "crew_hour": float(rng.uniform(12, 35)),
        "replant_vine": float(rng.uniform(5, 18)), "renew_hours": float(rng.uniform(0.1, 0.4)), "block_replant_ha": 35000.0,
    }.items()]))  # fmt: skip
    last = steps[-1]
    start = initial_states(last.before, np.ones(SHAPE, dtype=bool), ~last.looked)
    sick = np.argwhere(np.isin(start, (State.SHOWING, State.HIDDEN_1)))
    for cell in sick[rng.random(len(sick)) < 0.5]:  # half of the showing vines have lasting damage, of any class
        start[tuple(cell)] = rng.choice([State.LIGHT, State.MIDDLE, State.HEAVY])
    strategies = standard_strategies(80.0, replant=True, arms=True)
    table, years, hours = yield_table(costs), 20, costs["renew_hours"]
    told = compare(
        run_futures(
            start, draw(estimate(steps), 200, rng), strategies, table, years=years, renew_hours=hours, seed=seed
        ),
        costs,
        VINES_HA,
    )
    true = compare(
        run_futures(
            start, truth_of(chances, 400), strategies, table, years=years, renew_hours=hours, seed=seed + 10_000
        ),
        costs,
        VINES_HA,
    )
    gains = {one.name: one.gain for one in true.judged}
    best = max(gains, key=lambda name: gains[name])
    return 100 * (gains[best] - gains[told.recommended]) / true.healthy, told.clear, told.recommended, best


def main() -> None:
    """Print the table."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    with ProcessPoolExecutor(2) as pool:
        found = list(pool.map(one, range(many), chunksize=4))
    regret, clear = np.array([f[0] for f in found]), np.array([f[1] for f in found])
    print(
        "| vineyards | number | regret at most 2 % | regret at most 0.5 % | mean regret, % | largest, % |\n|---|---|---|---|---|---|"
    )
    for name, mask in (("all", np.ones(many, dtype=bool)), ("recommendation clear", clear), ("not clear", ~clear)):
        part = regret[mask]
        if part.size:
            print(
                f"| {name} | {part.size} | {100 * (part <= 2).mean():.1f} % | {100 * (part <= 0.5).mean():.1f} % | {part.mean():.2f} | {part.max():.2f} |"
            )
    names = sorted({f[2] for f in found})
    print("\n| recommended | times | truly best |\n|---|---|---|")
    for name in names:
        print(f"| {name} | {sum(f[2] == name for f in found)} | {sum(f[2] == name == f[3] for f in found)} |")


if __name__ == "__main__":
    main()

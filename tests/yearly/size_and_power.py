"""Size and power of the spread test in invented worlds: ``python tests/yearly/size_and_power.py 200 12 along``.

Runs, seasons and direction; prints the share of blocks (24 rows of 100 vines) called at 5 %, for "spread" and for "spread or
short zones", and seconds a test.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from yearly import simulated

from trunkwatch.yearly.spread import spread_test

ROWS, STATIONS = 24, 100


def worlds(direction):
    """Return every world by name: still ones, those whose strata are on record, and spread at three rates."""
    out = dict(simulated.STILL)
    out["patches on record"] = lambda *given: simulated.rootstock_patches(*given, known=True)
    out["batches on record"] = lambda *given: simulated.replant_batches(*given, known=True)
    out["crews on record"] = lambda *given: simulated.changing_crews(*given, known=True)
    out["zones of 3 to 7"] = lambda *given: simulated.short_zones(*given, length=(3, 8), share=0.65, zones=0.25)
    out["zones of 3"] = lambda *given: simulated.short_zones(*given, length=(3, 4), share=0.8, zones=0.15)
    if direction == "across":
        out["spread along only"] = simulated.spreading
    for rate in (0.04, 0.06, 0.1):
        along, across = (rate, 0.0) if direction == "along" else (0.0, rate)
        out[f"spread {rate:g}"] = lambda *given, a=along, b=across: simulated.spreading(*given, along=a, across=b)
    return out


def main(runs, seasons, direction):
    """Print the table."""
    print(
        f"{runs} runs, {seasons} seasons, {direction}; limits of 5 %: up to {0.05 + 2 * (0.05 * 0.95 / runs) ** 0.5:.3f}"
    )
    for name, make in worlds(direction).items():
        called, begun = np.zeros(2), time.process_time()
        for run in range(runs):
            rng = np.random.default_rng([run, seasons])
            world = make(rng, seasons, ROWS, STATIONS)
            first, _ = simulated.first_seasons(world.case)
            told = spread_test(first, seasons, strata=world.stratum, direction=direction, shuffles=199, rng=rng)
            called += [told.spread_p <= 0.05, told.either_p <= 0.05]
        spread, either = 100 * called / runs
        print(f"{name:20} {spread:5.1f} {either:5.1f}   {(time.process_time() - begun) / runs:.3f} s", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), sys.argv[3])

"""What is said about spread, on simulated blocks of five known truths.

Run: python tests/calibration/spread_truths.py [blocks of each]

20 rows x 50 vines; each sick vine shows in a season with a chance of 0.4, times a factor between 0.5 and 1.5 for the
season; the whole block is looked at every season. Truths: disease passes to next vines (mostly along the row);
foci from the planting stock; a gradient along the rows, no spread; every fourth row a weaker cultivar, no spread;
scattered from outside, no spread. About one vine in six has been a case by the end.
"""

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from numpy.typing import NDArray

from trunkwatch.pattern.spread import ENOUGH_SEASONS, _says
from trunkwatch.stats.chance import exact_pvalue
from trunkwatch.stats.false_positive import false_positive_share
from trunkwatch.stats.hazard import hazard_trend
from trunkwatch.stats.new_near_old import new_near_old
from trunkwatch.stats.spread_evidence import spread_evidence

SHAPE = (20, 50)
TRUTHS = ("spreading", "static foci", "gradient", "cultivar rows", "scattered")
Grid = NDArray[np.bool_]


def infected_in(truth: str, seasons: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """Season in which each vine was infected, a large number for never."""
    rows, stations = np.indices(SHAPE)
    never = np.full(SHAPE, 10**6)
    if truth == "spreading":
        return _spreading(seasons, rng)
    if truth == "static foci":
        chance = np.zeros(SHAPE)
        for _ in range(9):
            r, s = rng.integers(0, SHAPE[0]), rng.integers(0, SHAPE[1])
            chance += 0.8 * np.exp(-((rows - r) ** 2 / 4 + (stations - s) ** 2 / 9))
        return np.where(rng.random(SHAPE) < np.minimum(chance, 0.8), 0, never)
    if truth == "gradient":
        return np.where(rng.random(SHAPE) < 0.4 * (stations / SHAPE[1]) ** 1.5, 0, never)
    if truth == "cultivar rows":
        return np.where(rng.random(SHAPE) < np.where(rows % 4 == 0, 0.45, 0.08), 0, never)
    hazard = 0.2 / seasons
    return np.where(rng.random(SHAPE) < 0.22, (rng.geometric(hazard, SHAPE) - 1) % (seasons + 3), never)


def _spreading(seasons: int, rng: np.random.Generator) -> NDArray[np.int64]:
    found = np.full(SHAPE, 10**6)
    found[rng.random(SHAPE) < 0.02] = 0
    for season in range(1, seasons):
        sick = np.pad((found < season).astype(float), 1)
        force = 0.003 * 10 / seasons + (0.9 / seasons) * (sick[1:-1, :-2] + sick[1:-1, 2:])
        force += (0.25 / seasons) * (sick[:-2, 1:-1] + sick[2:, 1:-1])
        caught = (found > season) & (rng.random(SHAPE) < 1 - np.exp(-force))
        found[caught] = season
    return found


def record(truth: str, seasons: int, rng: np.random.Generator) -> Grid:
    """Vines showing in each season."""
    since = infected_in(truth, seasons, rng)
    factor = rng.uniform(0.5, 1.5, seasons)
    return np.stack([(since <= t) & (rng.random(SHAPE) < 0.4 * factor[t]) for t in range(seasons)])


def judge(job: tuple[str, int, int]) -> tuple[str, int, str, bool, float]:
    """Simulate one block; return what is said, whether new lie near old, and the static share."""
    truth, seasons, seed = job
    rng = np.random.default_rng([seed, seasons, TRUTHS.index(truth)])
    seen = record(truth, seasons, rng)
    ever = seen.any(axis=0)
    first = np.where(ever, seen.argmax(axis=0), -1)
    new, risk, law, total = [], [], np.ones(1), 0
    for t in range(1, seasons):
        old = seen[:t].any(axis=0)
        found = new_near_old(old, seen[t] & ~old, ~old)
        new.append(found.n_new)
        risk.append(found.n_at_risk)
        if not found.reason:
            law, total = np.convolve(law, found.null_distribution), total + found.statistic
    near = law.size > 1 and exact_pvalue(total, np.arange(law.size), law) <= 0.05
    order = spread_evidence(first, ever, row_spacing=2.5, vine_spacing=1.5, permutations=499, rng=rng)
    says = _says(order, hazard_trend(new, risk), near=near, seasons=seasons)
    share = false_positive_share(first, ever, np.ones_like(seen), runs=100, rng=rng).share
    return truth, seasons, says, near, share


def main() -> None:
    """Print the table."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    spans = (5, ENOUGH_SEASONS, 12, 16)
    jobs = [(truth, seasons, seed) for truth in TRUTHS for seasons in spans for seed in range(many)]
    said: dict[tuple[str, int], Counter[str]] = {}
    shares: dict[tuple[str, int], list[float]] = {}
    with ProcessPoolExecutor(2) as pool:
        for truth, seasons, says, near, share in pool.map(judge, jobs, chunksize=20):
            said.setdefault((truth, seasons), Counter()).update([says, *(["near"] if near else [])])
            shares.setdefault((truth, seasons), []).append(share)
    print("| truth | counted seasons | new near old | says for | says against | cannot tell | static share (mean) |")
    print("|---|---|---|---|---|---|---|")
    for (truth, seasons), counts in said.items():
        cells = [f"{100 * counts[word] / many:.1f}" for word in ("near", "for", "against", "cannot tell")]
        print(f"| {truth} | {seasons} | {' | '.join(cells)} | {100 * np.nanmean(shares[truth, seasons]):.0f} |")


if __name__ == "__main__":
    main()

"""Size of the tests on random blocks, and how often the words are said as clustering grows.

Run: python tests/calibration/sizes.py [blocks of each kind]

Random blocks: cases on vines at random, 3 % gaps. The share of p <= 0.05 may be at most 0.061 of 4,000 (exact binomial
limit, 99.9 %, of a true 0.05). Discrete tests fall below 0.05: a randomised p (a uniform number where ties are) must be
uniform, which the Kolmogorov-Smirnov p in the last column asks.
"""

import sys
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from numpy.typing import NDArray
from scipy.stats import kstest

from trunkwatch.grid import RowGrid
from trunkwatch.pattern.verdict import map_pattern
from trunkwatch.stats.chance import exact_pvalue
from trunkwatch.stats.join_counts import join_count
from trunkwatch.stats.near_old import new_near_old
from trunkwatch.stats.nearest_kinds import nearest_kind
from trunkwatch.vineyard.tables import frame_of

SHAPES = ((12, 40), (25, 24))
INCIDENCES = (0.03, 0.08, 0.2)
PERMUTATIONS = 199
Map = NDArray[np.bool_]


def grid_of(shape: tuple[int, int]) -> RowGrid:
    """A block of the shape, 2.5 x 1.5 m."""
    rows = frame_of("rows", [{"block": "B", "row": str(n + 1), "last": shape[1]} for n in range(shape[0])])
    return RowGrid.from_tables({"block": "B", "row_spacing_m": 2.5, "vine_spacing_m": 1.5}, rows)


def pick(room: Map, many: int, rng: np.random.Generator) -> Map:
    """Choose so many cells of the room."""
    out = np.zeros(room.shape, dtype=bool)
    out.ravel()[rng.choice(np.flatnonzero(room), many, replace=False)] = True
    return out


def spread_out(p_above: float, p_at: float, rng: np.random.Generator) -> float:
    """Randomised p: uniform under the null whatever the ties."""
    return p_above + rng.random() * p_at


def sizes(job: tuple[tuple[int, int], float, int]) -> dict[str, tuple[float, float]]:
    """Return p and randomised p of every test on one random block."""
    shape, share, seed = job
    rng = np.random.default_rng([seed, shape[0], int(1000 * share)])
    vines = rng.random(shape) > 0.03
    cases = pick(vines, max(5, round(share * vines.sum())), rng)
    found: dict[str, tuple[float, float]] = {}
    for rule in ("rook", "across", "queen"):
        test = join_count(cases, vines, joins=rule, permutations=PERMUTATIONS, rng=rng)
        null = test.null_distribution
        above, ties = (null > test.case_case).sum(), (null == test.case_case).sum()
        found[f"joins {rule}"] = (test.pvalue, (above + rng.random() * (ties + 1)) / (PERMUTATIONS + 1))
    row = join_count(cases, vines, joins="row")
    more = row.case_case + 1
    law_p = join_count(cases, vines, joins="row", alternative="less").pvalue
    found["joins along, exact"] = (row.pvalue, spread_out(1 - law_p, row.pvalue + law_p - 1, rng) if more else 1.0)
    old = pick(vines, max(5, round(share * vines.sum())), rng)
    risk = vines & ~old
    near = new_near_old(old, pick(risk, max(3, round(0.04 * risk.sum())), rng), risk)
    law = near.null_distribution
    if law.size:
        above_p = exact_pvalue(near.statistic + 1, np.arange(law.size), law)
        found["new near old, exact"] = (near.pvalue, spread_out(above_p, near.pvalue - above_p, rng))
    kind = nearest_kind(cases, vines, row_spacing=2.5, vine_spacing=1.5, permutations=PERMUTATIONS, rng=rng)
    null = kind.null_distribution
    above, ties = (null > kind.statistic + 1e-9).sum(), (np.abs(null - kind.statistic) <= 1e-9).sum()
    found["nearest kind"] = (kind.pvalue, (above + rng.random() * (ties + 1)) / (PERMUTATIONS + 1))
    return found


def words(job: tuple[float, int]) -> tuple[float, tuple[str, ...]]:
    """Return what is said of a block in which a share of the cases stands beside another one in its row."""
    strength, seed = job
    rng = np.random.default_rng([seed, int(1000 * strength)])
    grid = grid_of((20, 50))
    vines = rng.random(grid.shape) > 0.03
    cases = pick(vines, 25, rng)
    while cases.sum() < 50:
        if rng.random() < strength:
            row, station = rng.choice(np.argwhere(cases))
            station = station + rng.choice([-1, 1])
        else:
            row, station = rng.integers(0, grid.shape[0]), rng.integers(0, grid.shape[1])
        if 0 <= station < grid.shape[1] and vines[row, station]:
            cases[row, station] = True
    return strength, map_pattern("B", "", cases, vines, grid, permutations=499, seed=seed).words


def main() -> None:
    """Print both tables."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 4000
    with ProcessPoolExecutor(2) as pool:
        print("| test | shape | incidence | share of p <= 0.05 | uniform (randomised p) |\n|---|---|---|---|---|")
        for shape in SHAPES:
            for share in INCIDENCES:
                got: defaultdict[str, list[tuple[float, float]]] = defaultdict(list)
                for found in pool.map(sizes, [(shape, share, seed) for seed in range(many)], chunksize=50):
                    for name, pair in found.items():
                        got[name].append(pair)
                for name, pairs in got.items():
                    p = np.array(pairs)
                    print(
                        f"| {name} | {shape[0]} x {shape[1]} | {100 * share:g} % | {(p[:, 0] <= 0.05).mean():.4f} | {kstest(p[:, 1], 'uniform').pvalue:.2f} |"
                    )
        print(
            "\n| share of later cases beside another | clustered, any way | pairs along the row | scattered | gradient or edge |\n|---|---|---|---|---|"
        )
        runs = max(100, many // 10)
        for strength in (0.0, 0.2, 0.4, 0.6, 0.8):
            said = [found for _, found in pool.map(words, [(strength, seed) for seed in range(runs)], chunksize=20)]
            cells = [
                100 * np.mean([any(w.startswith(k) for w in one) for one in said])
                for k in ("clustered", "pairs along", "scattered", "gradient")
            ]
            print(f"| {strength:g} | " + " | ".join(f"{cell:.1f}" for cell in cells) + " |")


if __name__ == "__main__":
    main()

"""Size of the distance to regularity and of pairs by lag beside a risk, on blocks without clustering.

Run: python tests/calibration/beside_risk.py [blocks of each kind]
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from trunkwatch.stats.lags import lag_pairs
from trunkwatch.stats.lags_by_risk import lag_pairs_by_risk
from trunkwatch.stats.regularity import regularity_distance

PERMUTATIONS = 99
Figures = NDArray[np.float64]


def gradient(shape: tuple[int, int], share: float, steep: float) -> Figures:
    """Risk that rises over rows and stations: `steep` is the log odds from one corner to the other."""
    rows, stations = np.indices(shape)
    return expit(np.log(share / (1 - share)) + steep * (rows / shape[0] + stations / shape[1] - 1) / 2)


def fitted(cases: NDArray[np.bool_], vines: NDArray[np.bool_]) -> Figures:
    """Risk by a logistic plane over rows and stations, from the map itself: Newton's steps."""
    rows, stations = np.indices(vines.shape)
    plane = np.stack([np.ones(vines.shape), rows / vines.shape[0] - 0.5, stations / vines.shape[1] - 0.5], axis=-1)
    x, y = plane[vines], cases[vines]
    slopes = np.array([np.log(y.mean() / (1 - y.mean())), 0.0, 0.0])
    for _ in range(25):
        chance = expit(x @ slopes)
        slopes = slopes + np.linalg.solve(x.T * (chance * (1 - chance)) @ x, x.T @ (y - chance))
    return expit(plane @ slopes)


def beside_gradient(seed: int) -> dict[str, float]:
    """Return p of tests on a block of 20 x 40 whose risk rises sixfold odds and more, nothing else."""
    rng = np.random.default_rng([seed, 1])
    shape = (20, 40)
    vines = rng.random(shape) > 0.03
    risk = gradient(shape, 0.1, 4.0)
    cases = vines & (rng.random(shape) < risk)
    draw = partial(lag_pairs_by_risk, cases, vines, permutations=PERMUTATIONS, rng=rng)
    strata = np.add.outer(np.arange(shape[0]) // 5 * 100, np.arange(shape[1]) // 10)
    return {
        "gradient: pairs by lag, risk taken as even": lag_pairs(
            cases, vines, permutations=PERMUTATIONS, rng=rng
        ).pvalue,
        "gradient: beside the true risk": draw(risk=risk).pvalue,
        "gradient: beside a plane fitted to the map": draw(risk=fitted(cases, vines)).pvalue,
        "gradient: beside strata of 5 x 10 vines": draw(strata=strata).pvalue,
    }


def clustered(seed: int) -> dict[str, float]:
    """Return p of tests on the same block where each case takes a neighbor in the row along one time in three."""
    rng = np.random.default_rng([seed, 2])
    shape = (20, 40)
    vines = rng.random(shape) > 0.03
    first = rng.random(shape) < gradient(shape, 0.07, 4.0)
    second = np.zeros(shape, dtype=bool)
    second[:, 1:] = first[:, :-1] & (rng.random((shape[0], shape[1] - 1)) < 1 / 3)
    cases = vines & (first | second)
    plane = lag_pairs_by_risk(cases, vines, risk=fitted(cases, vines), permutations=PERMUTATIONS, rng=rng)
    return {"gradient and clusters: beside a plane fitted to the map": plane.pvalue}


def to_regularity(seed: int) -> dict[str, float]:
    """Return p of the distance to regularity on random blocks of 8 x 12: cases, and counts."""
    rng = np.random.default_rng([seed, 3])
    vines = rng.random((8, 12)) > 0.03
    space = {"row_spacing": 2.5, "vine_spacing": 1.2}
    labels = vines & (rng.random(vines.shape) < 0.15)
    counts = np.where(vines, rng.negative_binomial(1, 0.4, vines.shape), 0)
    done = {}
    for name, values in (("0 and 1", labels), ("counts", counts)):
        test = regularity_distance(values, vines, permutations=PERMUTATIONS, rng=rng, **space)
        done[f"distance to regularity, {name}"] = test.pvalue
        done[f"local indices of patches, {name}"] = test.patch_pvalue
        done[f"local indices of gaps, {name}"] = test.gap_pvalue
    return done


def main(blocks: int) -> None:
    """Print the share of p of 0.05 at most, test by test; of the distance, which takes long, over two blocks in five."""
    print(f"{PERMUTATIONS} maps drawn for each block\n\n| test | blocks | share of p <= 0.05 |\n|---|---|---|")
    with ProcessPoolExecutor(2) as pool:
        for work, many in ((beside_gradient, blocks), (clustered, blocks), (to_regularity, 2 * blocks // 5)):
            each = list(pool.map(work, range(many), chunksize=5))
            for name in each[0]:
                print(f"| {name} | {many:,} | {np.mean([line[name] <= 0.05 for line in each]):.4f} |", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)

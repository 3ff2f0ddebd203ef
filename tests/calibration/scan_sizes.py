"""Size of the scan on random blocks. Run: python tests/calibration/scan_sizes.py [blocks of each kind]

Random blocks as in sizes.py: cases on vines at random, 3 % gaps; and an alley of two stations that no window of the
family "segments" crosses. The randomised p (a uniform number where ties are) must be uniform.
"""

import sys

import numpy as np
from scipy.stats import binom, kstest

from trunkwatch.stats.scan_statistic import Family, scan

KINDS = (((12, 40), 0.03), ((12, 40), 0.2), ((25, 24), 0.08))
FAMILIES: tuple[Family, ...] = ("circles", "ellipses", "segments")
PERMUTATIONS = 99


def once(shape: tuple[int, int], share: float, family: Family, seed: int) -> tuple[float, float]:
    """Return p and randomised p of one random block."""
    rng = np.random.default_rng([seed, *shape, int(1000 * share)])
    vines = rng.random(shape) > 0.03
    vines[:, shape[1] // 2 : shape[1] // 2 + 2] = False
    cases = np.zeros_like(vines)
    many = max(5, round(share * vines.sum()))
    cases.ravel()[rng.choice(np.flatnonzero(vines), many, replace=False)] = True
    found = scan(cases, vines, row_spacing=2.5, vine_spacing=1.5, family=family, permutations=PERMUTATIONS, rng=rng)
    null = found.null_distribution
    above, ties = (null > found.statistic + 1e-9).sum(), (np.abs(null - found.statistic) <= 1e-9).sum()
    return found.pvalue, (above + rng.random() * (ties + 1)) / (PERMUTATIONS + 1)


def main() -> None:
    """Print the table."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    print(
        f"at most {binom.ppf(0.999, many, 0.05) / many:.3f} of {many} (exact binomial limit, 99.9 %, of a true 0.05)\n"
    )
    print("| family | shape | incidence | share of p <= 0.05 | uniform (randomised p) |\n|---|---|---|---|---|")
    for family in FAMILIES:
        for shape, share in KINDS:
            p = np.array([once(shape, share, family, seed) for seed in range(many)])
            print(
                f"| {family} | {shape[0]} x {shape[1]} | {100 * share:g} % | {(p[:, 0] <= 0.05).mean():.3f} | {kstest(p[:, 1], 'uniform').pvalue:.2f} |",
                flush=True,
            )


if __name__ == "__main__":
    main()

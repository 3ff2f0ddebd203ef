"""The beta-binomial distribution of cases in groups of vines, by maximum likelihood."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaln, chdtrc, gammaln

from trunkwatch.stats.result import Result

__all__ = ["BetaBinomial", "fit_beta_binomial"]


@dataclass(frozen=True, slots=True)
class BetaBinomial(Result):
    """A fitted beta-binomial: mean share p, aggregation theta, intra-class correlation rho.

    `statistic` is the likelihood ratio against the binomial; its p-value is that of the 50:50
    mixture of 0 and chi-square with one degree of freedom. `clumped` is False where theta lies on
    its boundary 0: no clumping can be detected.

    Attributes
    ----------
    p : float
        Mean share, 0 to 1.
    theta : float
        Aggregation; 0 is binomial.
    rho : float
        Intra-class correlation, theta / (1 + theta).
    log_likelihood, binomial_log_likelihood : float
        Of both fits.
    statistic, pvalue : float
        Likelihood ratio and its p-value.
    clumped : bool
        Whether any clumping can be detected.
    """

    p: float
    theta: float
    rho: float
    log_likelihood: float
    binomial_log_likelihood: float
    statistic: float
    pvalue: float
    clumped: bool

    def __str__(self) -> str:
        if not self.clumped:
            return f"p = {self.p:.3f}, no clumping detectable"
        return f"p = {self.p:.3f}, rho = {self.rho:.3f}, likelihood ratio {self.statistic:.2f}, p = {self.pvalue:.3g}"


def fit_beta_binomial(x: NDArray[np.int64], n: NDArray[np.int64]) -> BetaBinomial:
    """Fit a beta-binomial to counts.

    Parameters
    ----------
    x, n : (groups,) int array
        Cases and vines of each group.

    Returns
    -------
    BetaBinomial
        Mean share, theta, intra-class correlation, and the test against the binomial.

    Raises
    ------
    ValueError
        If there is no case, no free vine, or no group.

    References
    ----------
    .. [1] Hughes, G. and Madden, L.V. (1993) Phytopathology 83, 759-763.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = np.repeat([0, 1, 2, 3], [32, 103, 122, 80])
    >>> print(tw.stats.fit_beta_binomial(cases, np.full_like(cases, 3)))
    p = 0.581, rho = 0.087, likelihood ratio 7.15, p = 0.00375
    """
    from scipy.optimize import minimize

    total, found = int(n.sum()), int(x.sum())
    if not 0 < found < total:
        raise ValueError(f"{found} cases of {total} vines: both cases and free vines are needed")
    choose = float((gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1)).sum())
    mean = found / total
    plain = choose + found * math.log(mean) + (total - found) * math.log(1 - mean)

    def loss(at: NDArray[np.float64]) -> float:
        p = 1 / (1 + math.exp(-at[0]))
        theta = math.exp(at[1])
        a, b = p / theta, (1 - p) / theta
        return -float((betaln(x + a, n - x + b) - betaln(a, b)).sum())

    start = math.log(mean / (1 - mean))
    tries = [
        minimize(
            loss, [start, math.log(t)], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000}
        )
        for t in (0.02, 0.3)
    ]
    best = min(tries, key=lambda found_: float(found_.fun))
    reached = choose - float(best.fun)
    ratio = 2 * (reached - plain)
    theta = math.exp(float(best.x[1]))
    if ratio <= 1e-7 or theta < 1e-7:
        return BetaBinomial(mean, 0.0, 0.0, plain, plain, 0.0, 1.0, clumped=False)
    p = 1 / (1 + math.exp(-float(best.x[0])))
    return BetaBinomial(
        p, theta, theta / (1 + theta), reached, plain, ratio, 0.5 * float(chdtrc(1, ratio)), clumped=True
    )

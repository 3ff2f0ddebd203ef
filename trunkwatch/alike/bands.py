"""Ranges of a share, and what counts may be expected, where log-odds are uncertain and cases are counted."""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betainc, expit, gammaln, stdtrit

from trunkwatch.alike.counts import Floats, log_likelihood_at

__all__ = ["expected_range", "midp", "share_ranges"]


def share_ranges(
    cases: Floats, vines: Floats, mean: Floats, variance: Floats, *, level: float = 0.95, points: int = 401
) -> tuple[Floats, Floats, Floats]:
    """Put the count of each row together with what all else says of it.

    Parameters
    ----------
    cases, vines : (rows,) float array
        Counts.
    mean, variance : (rows,) float array
        Normal law of the log-odds of each row before its own count speaks.
    level : float
        Of the range.

    Returns
    -------
    middle, low, high : (rows,) float array
        Median and limits of the share, by quadrature. Where no case was seen the range begins at 0, for nothing rules that
        out; where there was nothing else it ends at 1.
    """
    sd = np.sqrt(variance)
    near = np.log((cases + 0.5) / (vines - cases + 0.5))
    wide = np.sqrt(1 / (cases + 0.5) + 1 / (vines - cases + 0.5))
    low, high = (
        np.maximum(mean - 7 * sd, np.minimum(near - 9 * wide, mean)),
        np.minimum(mean + 7 * sd, np.maximum(near + 9 * wide, mean)),
    )
    at = low[:, None] + (high - low)[:, None] * np.linspace(0, 1, points)
    log_density = (
        log_likelihood_at(cases[:, None], vines[:, None], at) - 0.5 * ((at - mean[:, None]) / sd[:, None]) ** 2
    )
    density = np.exp(log_density - log_density.max(axis=1, keepdims=True))
    mass = np.cumsum(0.5 * (density[:, 1:] + density[:, :-1]), axis=1)
    mass = np.hstack([np.zeros((mass.shape[0], 1)), mass]) / mass[:, -1:]
    out = np.array(
        [[np.interp(q, m, a) for q in (0.5, (1 - level) / 2, (1 + level) / 2)] for m, a in zip(mass, at, strict=True)]
    )
    shares = expit(out)
    shares[cases == 0, 1], shares[cases == vines, 2] = 0.0, 1.0
    return shares[:, 0], shares[:, 1], shares[:, 2]


def expected_range(
    mean: ArrayLike, variance: ArrayLike, freedom: ArrayLike, *, inside: float = 0.9
) -> tuple[Floats, Floats]:
    """Return the shares between which the given part of blocks of such log-odds lie, by Student's t."""
    centre, sd = np.asarray(mean, dtype=float), np.sqrt(np.asarray(variance, dtype=float))
    reach = stdtrit(np.asarray(freedom, dtype=float), 0.5 + inside / 2)
    return np.asarray(expit(centre - reach * sd)), np.asarray(expit(centre + reach * sd))


#: Standard units of t at which expectations are summed up; dense in the middle, far out in the tails.
_UNITS = np.sinh(np.linspace(-5.0, 5.0, 601))
_STRETCH = np.cosh(np.linspace(-5.0, 5.0, 601)) * (10.0 / 600)


def midp(cases: float, vines: float, mean: float, variance: float, freedom: float) -> tuple[float, float]:
    """Return the chance of more cases, and of fewer, half of that of as many counted to each.

    Parameters
    ----------
    cases, vines : float
        Count of one block.
    mean, variance : float
        Of its log-odds, from all other blocks.
    freedom : float
        Degrees of freedom of the t law of log-odds.

    Returns
    -------
    more, fewer : float
        They sum to 1.

    References
    ----------
    .. [1] Higgins, J.P.T., Thompson, S.G. & Spiegelhalter, D.J. (2009) J. R. Stat. Soc. A 172:137-159, the t law.
    .. [2] Lancaster, H.O. (1961) J. Am. Stat. Assoc. 56:223-234, mid-P.
    """
    log_t = gammaln((freedom + 1) / 2) - gammaln(freedom / 2) - 0.5 * np.log(freedom * np.pi)
    weights = np.exp(log_t - (freedom + 1) / 2 * np.log1p(_UNITS**2 / freedom)) * _STRETCH
    weights /= weights.sum()
    share = expit(mean + np.sqrt(variance) * _UNITS)
    above = betainc(cases + 1, vines - cases, share) if cases < vines else np.zeros_like(share)
    here_or_above = betainc(cases, vines - cases + 1, share) if cases > 0 else np.ones_like(share)
    more = float((weights * 0.5 * (above + here_or_above)).sum())
    fewer = float((weights * (1 - 0.5 * (above + here_or_above))).sum())
    return more, fewer

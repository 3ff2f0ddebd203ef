"""Estimates of several blocks put together: how much they truly differ, their mean with a range, and each shrunk toward it."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from trunkwatch.alike.counts import Floats

__all__ = ["Pooled", "Shrunk", "pool", "shrink"]


@dataclass(frozen=True, slots=True)
class Pooled:
    """A random-effects mean of estimates.

    Attributes
    ----------
    mean, error : float
        Of all, and its plain standard error.
    error_of_scatter : float
        Standard error from the scatter about the mean itself (Knapp and Hartung).
    between : float
        Variance of the true values.
    low, high : float
        95 % limits by `error_of_scatter`, never less than `error`, and Student's t.
    """

    mean: float
    error: float
    error_of_scatter: float
    between: float
    low: float
    high: float
    estimates: int


def pool(values: ArrayLike, variances: ArrayLike, *, method: str = "REML") -> Pooled:
    """Put estimates together.

    Parameters
    ----------
    values, variances : (k,) array_like
        Estimates and the variances of their errors; two at least.
    method : {"REML", "DL", "PM"}
        How the variance between is found: restricted likelihood, moments of DerSimonian and Laird, of Paule and Mandel.

    Raises
    ------
    ValueError
        If there are fewer than two, a variance is not above 0, or there is no such method.

    References
    ----------
    .. [1] DerSimonian, R. & Laird, N. (1986) Control. Clin. Trials 7:177-188.
    .. [2] Paule, R.C. & Mandel, J. (1982) J. Res. Natl. Bur. Stand. 87:377-385.
    .. [3] Knapp, G. & Hartung, J. (2003) Stat. Med. 22:2693-2710.
    """
    y, v = _checked(values, variances)
    between = {"REML": _reml, "DL": _laird, "PM": _mandel}.get(method)
    if between is None:
        raise ValueError(f"method is {method!r}: one of REML, DL, PM is needed")
    tau2 = between(y, v)
    w = 1 / (v + tau2)
    mean, error = float((w * y).sum() / w.sum()), 1 / math.sqrt(float(w.sum()))
    scatter = math.sqrt(float((w * (y - mean) ** 2).sum()) / ((y.size - 1) * float(w.sum())))
    reach = float(stdtrit(y.size - 1, 0.975)) * max(scatter, error)
    return Pooled(mean, error, scatter, tau2, mean - reach, mean + reach, y.size)


def _checked(values: ArrayLike, variances: ArrayLike) -> tuple[Floats, Floats]:
    y, v = np.asarray(values, dtype=float), np.asarray(variances, dtype=float)
    if y.shape != v.shape or y.size < 2:
        raise ValueError(f"{y.size} estimates and {v.size} variances: two at least, and as many of each, are needed")
    if (v <= 0).any():
        raise ValueError(f"a variance is {v.min()}: above 0 is needed")
    return y, v


def _excess(y: Floats, v: Floats, tau2: float) -> float:
    """Weighted scatter about the mean, less what is expected of it."""
    w = 1 / (v + tau2)
    mean = (w * y).sum() / w.sum()
    return float((w * (y - mean) ** 2).sum() - (y.size - 1))


def _laird(y: Floats, v: Floats) -> float:
    w = 1 / v
    return max(0.0, _excess(y, v, 0.0) / float(w.sum() - (w**2).sum() / w.sum()))


def _mandel(y: Floats, v: Floats) -> float:
    from scipy.optimize import brentq

    if _excess(y, v, 0.0) <= 0:
        return 0.0
    high = float(y.var()) + float(v.max())
    while _excess(y, v, high) > 0:
        high *= 2
    return float(brentq(lambda tau2: _excess(y, v, tau2), 0.0, high, xtol=1e-14))


def _reml(y: Floats, v: Floats) -> float:
    from scipy.optimize import minimize_scalar

    def loss(tau2: float) -> float:
        w = 1 / (v + tau2)
        mean = (w * y).sum() / w.sum()
        return float(-np.log(w).sum() + math.log(w.sum()) + (w * (y - mean) ** 2).sum())

    high = 4 * (float(y.var()) + float(v.mean()))
    best = minimize_scalar(loss, bounds=(0.0, high), method="bounded", options={"xatol": 1e-10 * high})
    return 0.0 if loss(0.0) <= float(best.fun) else float(best.x)


@dataclass(frozen=True, slots=True)
class Shrunk:
    """Estimates drawn toward their mean.

    `kept` is how much of the distance from the mean each keeps, 0 to 1; `errors` are standard errors of `values`.
    """

    values: Floats
    errors: Floats
    kept: Floats
    mean: float
    between: float


def shrink(values: ArrayLike, variances: ArrayLike) -> Shrunk:
    """Draw estimates toward their mean, each the more the less is known of it; with equal variances it is Stein's rule.

    Raises
    ------
    ValueError
        If there are fewer than four, or a variance is not above 0.

    References
    ----------
    .. [1] Efron, B. & Morris, C. (1977) Sci. Am. 236(5):119-127.
    .. [2] Morris, C.N. (1983) J. Am. Stat. Assoc. 78:47-55.
    """
    y, v = _checked(values, variances)
    if y.size < 4:
        raise ValueError(f"{y.size} estimates: four at least are needed to draw them toward their mean")
    tau2 = _mandel(y, v)
    w = 1 / (v + tau2)
    mean = float((w * y).sum() / w.sum())
    away = (y.size - 3) / (y.size - 1) * v * w
    second = 2 / (y.size - 3) * away**2 * (v.mean() + tau2) * w if y.size > 3 else np.zeros_like(y)
    errors = np.sqrt(v * (1 - away * (1 - w / w.sum())) + second * (y - mean) ** 2)
    return Shrunk(mean + (1 - away) * (y - mean), errors, 1 - away, mean, tau2)

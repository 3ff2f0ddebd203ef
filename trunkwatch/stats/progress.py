"""How fast: four classical curves of disease progress, fitted to the new cases of each season.

Cumulative counts of the same vines depend on each other, so the curves are fitted by binomial
likelihood to new cases among vines at risk, whose seasons are independent given the past. All
models are shown; with few seasons they cannot be told apart, and their forecasts differ widely.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln, xlog1py, xlogy

from trunkwatch.stats.result import Result

__all__ = ["Line", "Model", "Progress", "audpc", "fit_lines", "fit_progress"]

Model = Literal["exponential", "monomolecular", "logistic", "gompertz"]
MODELS: tuple[Model, ...] = get_args(Model)


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line through transformed incidences (least squares): the textbook fit.

    `r_squared` is that of the transformed scale, which does not compare models; `r_squared_back`
    and `sse` are on the scale of incidence.
    """

    model: Model
    rate: float
    standard_error: float
    intercept: float
    r_squared: float
    r_squared_back: float
    sse: float

    def at(self, time: float) -> float:
        """Return the incidence that the line gives at a time; an exponential line may pass 1."""
        return float(_back(self.model, self.intercept + self.rate * time))


def _forward(model: Model, y: NDArray[np.float64]) -> NDArray[np.float64]:
    if model == "exponential":
        return np.log(y)
    if model == "monomolecular":
        return -np.log1p(-y)
    if model == "logistic":
        return np.log(y / (1 - y))
    return -np.log(-np.log(y))


def _back(model: Model, line: ArrayLike) -> NDArray[np.float64]:
    z = np.asarray(line, dtype=float)
    curves: dict[Model, Callable[[], NDArray[np.float64]]] = {
        "exponential": lambda: np.exp(z),
        "monomolecular": lambda: -np.expm1(-z),
        "logistic": lambda: np.asarray(1 / (1 + np.exp(-z))),
        "gompertz": lambda: np.exp(-np.exp(-z)),
    }
    return np.asarray(curves[model](), dtype=np.float64)


def fit_lines(times: ArrayLike, incidences: ArrayLike) -> dict[Model, Line]:
    """Fit the four transformed lines.

    Parameters
    ----------
    times : (k,) array_like
        Seasons.
    incidences : (k,) array_like
        Shares, above 0 and below 1.

    Raises
    ------
    ValueError
        If there are fewer than three points or a share is not between 0 and 1.

    References
    ----------
    .. [1] Madden, L.V., Hughes, G. and van den Bosch, F. (2007) The Study of Plant Disease Epidemics,
       chapter 4. APS Press. (from memory)
    """
    t, y = np.asarray(times, dtype=float), np.asarray(incidences, dtype=float)
    if t.size < 3 or t.shape != y.shape:
        raise ValueError(f"{t.size} times and {y.size} incidences: three or more of each are needed")
    if not ((y > 0) & (y < 1)).all():
        raise ValueError("an incidence is 0 or 1: the transformations need shares between them")
    found = {}
    for model in MODELS:
        z = _forward(model, y)
        spread = float(((t - t.mean()) ** 2).sum())
        rate = float(((t - t.mean()) * (z - z.mean())).sum() / spread)
        start = float(z.mean() - rate * t.mean())
        left = z - start - rate * t
        error = math.sqrt(float((left**2).sum()) / (t.size - 2) / spread)
        r2 = 1 - float((left**2).sum() / ((z - z.mean()) ** 2).sum())
        back = _back(model, start + rate * t)
        sse = float(((y - back) ** 2).sum())
        # Squared correlation of seen and fitted incidence, as in plant-disease practice.
        r2_back = float(np.corrcoef(y, back)[0, 1] ** 2)
        found[model] = Line(model, rate, error, start, r2, r2_back, sse)
    return found


@dataclass(frozen=True, slots=True)
class Progress(Result):
    """One model fitted to new cases among vines at risk.

    Attributes
    ----------
    rate : float
        Per season, of the model's own equation.
    start : float
        Incidence at the first season (for monomolecular: rate and start alone).
    log_likelihood, aic : float
        Binomial; the smallest AIC fits best among these models on these seasons.
    fitted : tuple of float
        New cases that the model gives, season by season.
    model : {"exponential", "monomolecular", "logistic", "gompertz"}
        Which model.
    """

    model: Model
    rate: float
    start: float
    log_likelihood: float
    aic: float
    fitted: tuple[float, ...]


def fit_progress(new: Sequence[int], at_risk: Sequence[int], cumulative: Sequence[float]) -> tuple[Progress, ...]:
    """Fit the four models to new cases by binomial likelihood.

    The hazard of season t follows from the model's rate equation and the incidence y before it:
    exponential ``r y / (1 - y)``, monomolecular ``r``, logistic ``r y``, Gompertz ``r y (-ln y) / (1 - y)``,
    each turned into a chance ``1 - exp(-hazard)``.

    Parameters
    ----------
    new, at_risk : sequence of int
        Of each season, in order.
    cumulative : sequence of float
        Incidence before each season, above 0 (half a case where there was none yet).

    Returns
    -------
    tuple of Progress
        All models, best AIC first.

    Raises
    ------
    ValueError
        If lengths differ, there are fewer than three seasons, or an incidence is not between 0 and 1.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> new, at_risk, before = [4, 7, 9, 15, 18], [200, 196, 189, 180, 165], [0.01, 0.03, 0.06, 0.11, 0.18]
    >>> for found in tw.stats.fit_progress(new, at_risk, before):
    ...     print(found.model, round(found.aic, 1))
    gompertz 22.7
    logistic 26.7
    exponential 28.6
    monomolecular 39.8
    """
    k, n, y = np.asarray(new, dtype=float), np.asarray(at_risk, dtype=float), np.asarray(cumulative, dtype=float)
    if not k.shape == n.shape == y.shape or k.size < 3:
        raise ValueError(f"{k.size}, {n.size} and {y.size} values: three seasons or more of each are needed")
    if not ((y > 0) & (y < 1)).all() or (k > n).any():
        raise ValueError("incidences between 0 and 1 and no more new cases than vines at risk are needed")
    pull: dict[Model, NDArray[np.float64]] = {
        "exponential": y / (1 - y),
        "monomolecular": np.ones_like(y),
        "logistic": y,
        "gompertz": y * -np.log(y) / (1 - y),
    }
    constant = float((gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)).sum())
    found = []
    for model, x in pull.items():
        rate = _best_rate(partial(_likelihood, x=x, k=k, n=n))
        share = -np.expm1(-rate * x)
        value = _likelihood(rate, x, k, n) + constant
        found.append(Progress(model, rate, float(y[0]), value, 2 - 2 * value, tuple((n * share).tolist())))
    return tuple(sorted(found, key=lambda one: one.aic))


def _likelihood(rate: float, x: NDArray[np.float64], k: NDArray[np.float64], n: NDArray[np.float64]) -> float:
    share = -np.expm1(-rate * x)
    return float((xlogy(k, share) + xlog1py(n - k, -share)).sum())


def _best_rate(value: Callable[[float], float]) -> float:
    from scipy.optimize import minimize_scalar

    best = minimize_scalar(
        lambda log_rate: -value(math.exp(log_rate)), bounds=(-16.0, 4.0), method="bounded", options={"xatol": 1e-10}
    )
    return math.exp(float(best.x))


def audpc(times: ArrayLike, incidences: ArrayLike) -> float:
    """Area under a progress curve by trapezoids. Of annual incidences it has no useful meaning.

    Parameters
    ----------
    times : (k,) float array_like
        Days or any one unit, rising.
    incidences : (k,) float array_like
        Incidence at each time, as a share or in percent.

    Returns
    -------
    float
        Incidence times the unit of time: percent-days, say.

    Raises
    ------
    ValueError
        If there are fewer than two points or times do not rise.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> tw.stats.audpc([14, 21, 28], [40, 80, 90])
    1015.0
    """
    t, y = np.asarray(times, dtype=float), np.asarray(incidences, dtype=float)
    if t.size < 2 or t.shape != y.shape or (np.diff(t) <= 0).any():
        raise ValueError("two points or more with rising times are needed")
    return float((np.diff(t) * (y[:-1] + y[1:]) / 2).sum())

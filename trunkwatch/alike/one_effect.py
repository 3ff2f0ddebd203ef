"""Cases in groups of vines with one random effect a group: logistic-normal, by adaptive Gauss-Hermite quadrature."""

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit

from trunkwatch.alike.counts import Floats, Ints, checked_counts, log_choose, log_likelihood_at

__all__ = ["OneEffect", "fit_one_effect", "restricted_sd"]

_SMALLEST_SD = 1e-4
#: Nodes from which on moving them with the fit changes nothing that is seen.
_MANY_NODES = 10


@dataclass(frozen=True, slots=True)
class OneEffect:
    """A fitted model: log-odds of a row = its design times `fixed` + the effect of its group.

    Attributes
    ----------
    fixed : (columns,) float array
        Fixed effects.
    sd : float
        Standard deviation of the groups' effects; 0 where none can be told from counting.
    log_likelihood : float
        With the binomial constants.
    effects, errors : (groups,) float array
        Mode of each group's effect, and its standard error given all else.
    covariance : (columns + 1, columns + 1) float array
        Of `fixed` and log `sd`, from the curvature; of `fixed` alone (columns, columns) where sd is 0.
    """

    fixed: Floats
    sd: float
    log_likelihood: float
    effects: Floats = field(repr=False)
    errors: Floats = field(repr=False)
    covariance: Floats = field(repr=False)


def fit_one_effect(
    cases: ArrayLike,
    vines: ArrayLike,
    design: ArrayLike,
    groups: ArrayLike,
    *,
    nodes: int = 25,
    prior_sd: ArrayLike | None = None,
) -> OneEffect:
    """Fit by maximum likelihood, or by the most likely values where something is believed of the fixed effects before.

    Parameters
    ----------
    cases, vines : (rows,) array_like
        Counts of each row.
    design : (rows, columns) array_like
        Fixed effects, the intercept among them.
    groups : (rows,) int array_like
        Group of each row, numbered from 0.
    nodes : int
        Of the quadrature; 1 is Laplace's approximation.
    prior_sd : (columns,) array_like, optional
        Standard deviation believed of each fixed effect before; infinite (flat) where left out.

    Raises
    ------
    ValueError
        If the counts cannot be, lengths differ, or all or none are cases.

    References
    ----------
    .. [1] Pinheiro, J.C. & Bates, D.M. (1995) J. Comput. Graph. Stat. 4:12-35.
    """
    from scipy.optimize import minimize

    k, n = checked_counts(cases, vines)
    x, g = np.asarray(design, dtype=float), np.asarray(groups, dtype=np.int64)
    if x.shape[0] != k.size or g.shape != k.shape:
        raise ValueError(f"{x.shape[0]} rows of the design and {g.size} groups for {k.size} counts")
    if not 0 < k.sum() < n.sum():
        raise ValueError(f"{k.sum():.0f} cases of {n.sum():.0f} vines: both cases and free vines are needed")
    data = _Data(k, n, x, g, *np.polynomial.hermite.hermgauss(nodes))
    scale = np.maximum(np.abs(x).max(axis=0), 1e-9)
    start = np.asarray(np.linalg.lstsq(x, np.log((k + 0.5) / (n - k + 0.5)), rcond=None)[0])

    prior = np.zeros(x.shape[1]) if prior_sd is None else 1 / np.square(np.asarray(prior_sd, dtype=float))

    def loss(at: Any) -> float:
        fixed = at[:-1] / scale
        return -data.log_likelihood(fixed, _sd(at[-1])) + 0.5 * float((prior * fixed * fixed).sum())

    def slope(at: Any) -> Floats:
        fixed = at[:-1] / scale
        by_fixed, by_sd = data.slope(fixed, _sd(at[-1]))
        return np.append((prior * fixed - by_fixed) / scale, -by_sd)

    # The slope moves no nodes, which is near enough with many of them only.
    jac: Any = slope if nodes >= _MANY_NODES else None
    tries = [
        minimize(loss, np.append(start * scale, math.log(sd)), jac=jac, method="BFGS", options={"gtol": 1e-6})
        for sd in ((0.2, 0.8) if jac is None else (0.5,))
    ]
    best = min(tries, key=lambda one: float(one.fun))
    at: Floats = np.asarray(best.x)
    if jac is None:
        options: Any = {"xatol": 1e-7, "fatol": 1e-11, "maxiter": 4000, "initial_simplex": _simplex(best.x)}
        polished = minimize(loss, best.x, method="Nelder-Mead", options=options)
        at = np.asarray(polished.x) if polished.fun < best.fun else at
    sd = _sd(float(at[-1]))
    clear = sd > 20 * _SMALLEST_SD
    fixed = at[:-1] / scale
    modes, precision = data.modes(x @ fixed, sd)
    return OneEffect(
        fixed,
        sd if clear else 0.0,
        -loss(at) + float(log_choose(k, n).sum()),
        sd * modes,
        sd / np.sqrt(precision),
        _covariance(loss, jac, at, np.append(scale, 1.0), whole=clear),
    )


def restricted_sd(
    cases: ArrayLike, vines: ArrayLike, design: ArrayLike, *, nodes: int = 15, prior_sd: ArrayLike | None = None
) -> float:
    """Return the standard deviation of the effects of rows that are each a group of its own, fixed effects integrated out.

    With many columns for few rows the most likely value of all together is too small; this is the one of the rows alone.

    Parameters
    ----------
    cases, vines, design, nodes, prior_sd
        As in `fit_one_effect`.

    Raises
    ------
    ValueError
        As in `fit_one_effect`.

    References
    ----------
    .. [1] Patterson, H.D. & Thompson, R. (1971) Biometrika 58:545-554, the idea for normal errors.
    """
    from scipy.optimize import minimize_scalar

    k, n = checked_counts(cases, vines)
    x = np.asarray(design, dtype=float)
    if not 0 < k.sum() < n.sum():
        raise ValueError(f"{k.sum():.0f} cases of {n.sum():.0f} vines: both cases and free vines are needed")
    prior = np.zeros(x.shape[1]) if prior_sd is None else 1 / np.square(np.asarray(prior_sd, dtype=float))
    data = _Data(k, n, x, np.arange(k.size), *np.polynomial.hermite.hermgauss(nodes))
    last = [np.asarray(np.linalg.lstsq(x, np.log((k + 0.5) / (n - k + 0.5)), rcond=None)[0])]

    def loss(log_sd: float) -> float:
        last[0], information = _climbed(data, last[0], math.exp(log_sd), prior)
        height = data.log_likelihood(last[0], math.exp(log_sd)) - 0.5 * float((prior * last[0] ** 2).sum())
        return 0.5 * float(np.linalg.slogdet(information)[1]) - height

    best = minimize_scalar(loss, bounds=(math.log(0.02), math.log(5.0)), method="bounded", options={"xatol": 2e-3})
    return math.exp(float(best.x))


def _climbed(data: "_Data", fixed: Floats, sd: float, prior: Floats) -> tuple[Floats, Floats]:
    """Climb to the most likely fixed effects under a standard deviation; return them and the curvature there."""
    ridge = np.diag(prior + 1e-9)

    def height(at: Floats) -> float:
        return data.log_likelihood(at, sd) - 0.5 * float((prior * at * at).sum())

    here = height(fixed)
    for _ in range(50):
        pull, weight = data.of_rows(fixed, sd)
        information = data.x.T @ (weight[:, None] * data.x) + ridge
        step = np.linalg.solve(information, data.x.T @ pull - prior * fixed)
        length, there = 1.0, height(fixed + step)
        while there < here - 1e-9 and length > 1e-3:
            length /= 2
            there = height(fixed + length * step)
        fixed, climb, here = fixed + length * step, there - here, there
        if abs(climb) < 1e-7:
            break
    return fixed, np.asarray(information)


def _sd(log_sd: float) -> float:
    return math.exp(min(max(log_sd, math.log(_SMALLEST_SD)), 4.0))


def _simplex(at: Floats) -> Floats:
    return np.vstack([at, at + 0.01 * np.eye(at.size)])


@dataclass(frozen=True, slots=True)
class _Data:
    k: Floats
    n: Floats
    x: Floats
    g: Ints
    at: Floats
    weights: Floats

    def modes(self, base: Floats, sd: float) -> tuple[Floats, Floats]:
        """Return mode and curvature of each group's standardized effect by Newton steps."""
        v: Floats = np.zeros(int(self.g.max()) + 1)
        precision: Floats = np.ones_like(v)
        for _ in range(100):
            p = expit(base + sd * v[self.g])
            slope = sd * np.bincount(self.g, self.k - self.n * p, v.size) - v
            precision[:] = sd * sd * np.bincount(self.g, self.n * p * (1 - p), v.size) + 1
            step = np.clip(slope / precision, -1.0, 1.0)
            v += step
            if np.abs(step).max() < 1e-10:
                break
        return v, precision

    def log_likelihood(self, fixed: Floats, sd: float) -> float:
        _, width, terms = self._terms(fixed, sd)
        top = terms.max(axis=0)
        whole = top + np.log(np.exp(terms - top).sum(axis=0)) + np.log(width) - 0.5 * math.log(2 * math.pi)
        return float(whole.sum())

    def slope(self, fixed: Floats, sd: float) -> tuple[Floats, float]:
        """Return the slope of the log-likelihood by fixed effects and by log sd."""
        values, _, terms = self._terms(fixed, sd)
        weights = np.exp(terms - terms.max(axis=0))
        weights /= weights.sum(axis=0)
        base, by_row, by_sd = self.x @ fixed, np.zeros(self.k.size), 0.0
        for v, weight in zip(values, weights, strict=True):
            rest = weight[self.g] * (self.k - self.n * expit(base + sd * v[self.g]))
            by_row += rest
            by_sd += float((rest * sd * v[self.g]).sum())
        return np.asarray(self.x.T @ by_row), by_sd

    def of_rows(self, fixed: Floats, sd: float) -> tuple[Floats, Floats]:
        """Return slope and curvature of each row's own log-likelihood by its log-odds, each row being a group."""
        values, _, terms = self._terms(fixed, sd)
        weights = np.exp(terms - terms.max(axis=0))
        weights /= weights.sum(axis=0)
        p = expit(self.x @ fixed + sd * values)
        rest = self.k - self.n * p
        pull = (weights * rest).sum(axis=0)
        curved = (weights * (self.n * p * (1 - p) - rest**2)).sum(axis=0) + pull**2
        return pull, np.maximum(curved, 1e-9)

    def _terms(self, fixed: Floats, sd: float) -> tuple[Floats, Floats, Floats]:
        """Return the nodes of each group, their width, and the logarithm of what each node adds, (nodes, groups)."""
        base = self.x @ fixed
        modes, precision = self.modes(base, sd)
        width = np.sqrt(2.0 / precision)
        values, terms = np.empty((self.at.size, modes.size)), np.empty((self.at.size, modes.size))
        for number, (node, weight) in enumerate(zip(self.at, self.weights, strict=True)):
            v = values[number] = modes + width * node
            inside = np.bincount(self.g, log_likelihood_at(self.k, self.n, base + sd * v[self.g]), modes.size)
            terms[number] = inside - 0.5 * v * v + node * node + math.log(weight)
        return values, width, terms


def _covariance(loss: Any, slope: Any, at: Floats, scale: Floats, *, whole: bool) -> Floats:
    """Invert the curvature at the optimum, by central differences of the slope where there is one."""
    size = at.size if whole else at.size - 1
    step, curvature = 1e-3, np.empty((size, size))

    def moved(*by: tuple[int, int]) -> Floats:
        there = at.copy()
        for index, sign in by:
            there[index] += sign * step
        return there

    for a in range(size):
        if slope is not None:
            curvature[a] = (slope(moved((a, 1))) - slope(moved((a, -1))))[:size] / (2 * step)
            continue
        for b in range(a + 1):
            value = loss(moved((a, 1), (b, 1))) - loss(moved((a, 1), (b, -1)))
            value += loss(moved((a, -1), (b, -1))) - loss(moved((a, -1), (b, 1)))
            curvature[a, b] = curvature[b, a] = value / (4 * step * step)
    inverse = np.linalg.pinv((curvature + curvature.T) / 2, hermitian=True)
    return np.asarray(inverse / np.outer(scale[:size], scale[:size]))

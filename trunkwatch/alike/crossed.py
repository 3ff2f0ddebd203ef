"""Cases of rows with several crossed random effects and an effect of each row: logistic-normal, by sparse Laplace."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import sparse
from scipy.sparse.linalg import splu
from scipy.special import expit

from trunkwatch.alike.counts import Floats, Ints, checked_counts, log_choose, log_likelihood_at

__all__ = ["Crossed", "fit_crossed"]

#: Bounds of the logarithm of a standard deviation on the log-odds: 0.02 cannot be told from nothing.
_LOWEST, _HIGHEST = math.log(0.02), math.log(5.0)


@dataclass(frozen=True, slots=True)
class Crossed:
    """A fitted model: log-odds of a row = its design + the effects of its groups + an effect of its own.

    Attributes
    ----------
    fixed : (columns,) float array
        Fixed effects.
    effects : tuple of float arrays
        Of each set of groups.
    sds : (sets,) float array
        Standard deviation of each set of effects.
    row_sd : float
        Of the rows' own effects; 0 where there are none.
    log_likelihood : float
        Restricted: fixed effects are integrated out.
    covariance : (columns + groups, columns + groups) float array
        Of fixed effects and all groups, rows' own effects integrated out.
    logit, variance : (rows,) float array
        Log-odds of each row, its own effect in it, and the variance of that.
    """

    fixed: Floats
    effects: tuple[Floats, ...] = field(repr=False)
    sds: Floats
    row_sd: float
    log_likelihood: float
    covariance: Floats = field(repr=False)
    logit: Floats = field(repr=False)
    variance: Floats = field(repr=False)
    model: "Model" = field(repr=False)
    state: "State" = field(repr=False)

    @property
    def without_own(self) -> tuple[Floats, Floats]:
        """Mean and variance of each row's log-odds before its own count spoke: all other rows, and the row's groups."""
        weight = self.state.weight
        variance = 1 / np.maximum(1 / self.variance - weight, 1e-12)
        return self.logit - variance * self.state.residual, variance


@dataclass(frozen=True, slots=True)
class Model:
    """What does not change while the standard deviations are looked for."""

    k: Floats
    n: Floats
    z: Any  # (rows, columns + groups), sparse by row
    columns: int
    sizes: tuple[int, ...]
    prior: Floats  # (columns,) precision of each fixed effect
    own: bool

    def precision(self, log_sds: Floats) -> Floats:
        """Return the prior precision of fixed effects and groups."""
        parts = [self.prior]
        parts += [np.full(size, math.exp(-2 * log_sd)) for size, log_sd in zip(self.sizes, log_sds, strict=False)]
        return np.concatenate(parts)

    def own_precision(self, log_sds: Floats) -> float:
        """Return the prior precision of a row's own effect; infinite where there is none."""
        return math.exp(-2 * float(log_sds[len(self.sizes)])) if self.own else math.inf


@dataclass(frozen=True, slots=True)
class State:
    """The most likely effects under given standard deviations."""

    theta: Floats
    own: Floats
    weight: Floats  # n p (1 - p)
    residual: Floats  # cases less expected
    factor: Any
    log_determinant: float
    penalized: float


def fit_crossed(
    cases: ArrayLike,
    vines: ArrayLike,
    design: ArrayLike,
    effects: Sequence[ArrayLike],
    *,
    own: bool = True,
    prior_sd: ArrayLike | None = None,
    start: ArrayLike | None = None,
    held: ArrayLike | None = None,
) -> Crossed:
    """Fit the standard deviations by restricted likelihood, the effects given these.

    Parameters
    ----------
    cases, vines : (rows,) array_like
        Counts.
    design : (rows, columns) array_like
        Fixed effects, the intercept among them.
    effects : sequence of (rows,) int array_like
        Group of each row, for each set of random effects, numbered from 0.
    own : bool
        Whether each row has an effect of its own, for counts that scatter more than a binomial.
    prior_sd : (columns,) array_like, optional
        Standard deviation believed of each fixed effect before; infinite (flat) where left out.
    start : array_like, optional
        Standard deviations to begin with, that of the rows last.
    held : array_like, optional
        Standard deviations that are known; none is looked for then.

    Raises
    ------
    ValueError
        If the counts cannot be, lengths differ, or there is neither a set of effects nor one of the rows.

    References
    ----------
    .. [1] Breslow, N.E. & Clayton, D.G. (1993) J. Am. Stat. Assoc. 88:9-25.
    .. [2] Rue, H., Martino, S. & Chopin, N. (2009) J. R. Stat. Soc. B 71:319-392.
    """
    from scipy.optimize import minimize

    model = _model(cases, vines, design, effects, own=own, prior_sd=prior_sd)
    number = len(model.sizes) + own
    if not number:
        raise ValueError("no random effect: a set of groups, or own=True, is needed")
    last: list[State | None] = [None]
    if held is not None:
        return _fitted(model, np.clip(np.log(np.maximum(np.asarray(held, dtype=float), 1e-9)), _LOWEST, _HIGHEST), None)

    def loss(at: Floats) -> float:
        bounded = np.clip(at, _LOWEST, _HIGHEST)
        state = last[0] = _newton(model, bounded, last[0])
        return -_log_likelihood(model, bounded, state) + float(((at - bounded) ** 2).sum())

    begin = np.log(np.full(number, 0.4) if start is None else np.maximum(np.asarray(start, dtype=float), 0.05))
    simplex = np.vstack([begin, begin + 0.5 * np.eye(number)])
    found = minimize(
        loss,
        begin,
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 1e-2, "fatol": 5e-3, "maxiter": 400},
    )
    return _fitted(model, np.clip(found.x, _LOWEST, _HIGHEST), last[0])


def _model(
    cases: ArrayLike,
    vines: ArrayLike,
    design: ArrayLike,
    effects: Sequence[ArrayLike],
    *,
    own: bool,
    prior_sd: ArrayLike | None,
) -> Model:
    k, n = checked_counts(cases, vines)
    x = np.asarray(design, dtype=float)
    codes: list[Ints] = [np.asarray(one, dtype=np.int64) for one in effects]
    if x.shape[0] != k.size or any(one.shape != k.shape for one in codes):
        raise ValueError(f"{k.size} counts, {x.shape[0]} rows of the design and {[one.size for one in codes]} groups")
    rows, sizes = np.arange(k.size), tuple(int(one.max()) + 1 for one in codes)
    parts = [sparse.csr_matrix(x)]
    parts += [
        sparse.csr_matrix((np.ones(k.size), (rows, one)), (k.size, size))
        for one, size in zip(codes, sizes, strict=True)
    ]
    believed = np.full(x.shape[1], math.inf) if prior_sd is None else np.asarray(prior_sd, dtype=float)
    prior = np.where(np.isinf(believed), 1e-6, 1 / np.square(believed))
    return Model(k, n, sparse.hstack(parts).tocsr(), x.shape[1], sizes, prior, own)


def _newton(model: Model, log_sds: Floats, before: State | None) -> State:
    """Climb to the most likely effects; each row's own is taken out of the equations, for its part of them is diagonal."""
    prior, tau = model.precision(log_sds), model.own_precision(log_sds)
    theta = before.theta.copy() if before is not None else _begin(model)
    own = before.own.copy() if before is not None else np.zeros(model.k.size)
    height = _height(model, theta, own, prior, tau)
    transposed = model.z.T.tocsr()
    for _ in range(60):
        p = expit(model.z @ theta + own)
        weight, residual = np.maximum(model.n * p * (1 - p), 1e-10), model.k - model.n * p
        left, pull = _of_rows(weight, residual, own, tau)
        factor = splu(
            _information(model, transposed, left, prior),
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
        step = factor.solve(transposed @ pull - prior * theta)
        moved = model.z @ step
        own_step = (residual - weight * moved - tau * own) / (weight + tau) if model.own else np.zeros_like(own)
        length, gained = 1.0, -math.inf
        while length > 1e-4:
            gained = _height(model, theta + length * step, own + length * own_step, prior, tau)
            if gained >= height - 1e-9 * abs(height):
                break
            length /= 2
        theta, own, climb, height = theta + length * step, own + length * own_step, gained - height, gained
        if abs(climb) < 1e-7 and float(np.abs(moved + own_step).max()) < 1e-4:
            break
    p = expit(model.z @ theta + own)
    weight, residual = np.maximum(model.n * p * (1 - p), 1e-10), model.k - model.n * p
    left, _ = _of_rows(weight, residual, own, tau)
    factor = splu(
        _information(model, transposed, left, prior),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    determinant = float(np.log(np.abs(factor.U.diagonal())).sum())
    if model.own:
        determinant += float(np.log(weight + tau).sum())
    return State(theta, own, weight, residual, factor, determinant, height)


def _of_rows(weight: Floats, residual: Floats, own: Floats, tau: float) -> tuple[Floats, Floats]:
    """Return weight and pull of each row on the rest, its own effect taken out."""
    if math.isinf(tau):
        return weight, residual
    kept = tau / (weight + tau)
    return weight * kept, residual - weight / (weight + tau) * (residual - tau * own)


def _information(model: Model, transposed: Any, weight: Floats, prior: Floats) -> Any:
    return (transposed @ sparse.diags(weight) @ model.z + sparse.diags(prior)).tocsc()


def _begin(model: Model) -> Floats:
    theta = np.zeros(model.z.shape[1])
    x = model.z[:, : model.columns].toarray()
    y = np.log((model.k + 0.5) / (model.n - model.k + 0.5))
    ridge = x.T @ x + np.diag(np.maximum(model.prior, 1e-3))
    theta[: model.columns] = np.linalg.solve(ridge, x.T @ y)
    return theta


def _height(model: Model, theta: Floats, own: Floats, prior: Floats, tau: float) -> float:
    inside = float(log_likelihood_at(model.k, model.n, model.z @ theta + own).sum())
    return inside - 0.5 * float((prior * theta * theta).sum()) - (0.5 * tau * float(own @ own) if model.own else 0.0)


def _log_likelihood(model: Model, log_sds: Floats, state: State) -> float:
    prior = model.precision(log_sds)
    scale = 0.5 * float(np.log(prior[model.columns :]).sum())
    if model.own:
        scale += 0.5 * model.k.size * math.log(model.own_precision(log_sds))
    return state.penalized + scale - 0.5 * state.log_determinant


def _fitted(model: Model, log_sds: Floats, before: State | None) -> Crossed:
    state = _newton(model, log_sds, before)
    covariance = state.factor.solve(np.eye(state.theta.size))
    spread = _spread(model, covariance)
    tau = model.own_precision(log_sds)
    if model.own:
        kept = tau / (state.weight + tau)
        spread = kept**2 * spread + 1 / (state.weight + tau)
    cuts = np.cumsum(model.sizes)[:-1]
    sds = np.exp(log_sds)
    return Crossed(
        state.theta[: model.columns],
        tuple(np.split(state.theta[model.columns :], cuts)),
        sds[: len(model.sizes)],
        float(sds[-1]) if model.own else 0.0,
        _log_likelihood(model, log_sds, state)
        + float(log_choose(model.k, model.n).sum())
        + 0.5 * model.columns * math.log(2 * math.pi),
        covariance,
        model.z @ state.theta + state.own,
        spread,
        model,
        state,
    )


def _spread(model: Model, covariance: Floats) -> Floats:
    """Variance of the part of each row that it shares with others, some rows at a time."""
    out = np.empty(model.k.size)
    for begin in range(0, model.k.size, 2000):
        part = model.z[begin : begin + 2000]
        out[begin : begin + 2000] = np.asarray(part.multiply(part @ covariance).sum(axis=1)).ravel()
    return out

"""Penalized likelihood for chances between looks: complementary log-log, Newton steps, smoothing by marginal likelihood."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import cho_factor, cho_solve

__all__ = ["Block", "Design", "Solution", "log_likelihood", "solve"]

Array = NDArray[np.float64]
#: Logarithms of hazards outside these limits are rounding: a chance of 1e-26, and one of certainty.
LOWEST, HIGHEST = -60.0, 30.0
#: Precisions that are estimated stay between these: a spread of 30, and one of a thousandth.
LOOSEST, TIGHTEST = 1e-3, 1e6
MOST_ROUNDS, MOST_STEPS = 80, 60


@dataclass(frozen=True, slots=True)
class Block:
    """Columns that share one normal prior about zero.

    Attributes
    ----------
    name : str
        Of the term.
    start, stop : int
        Columns.
    precision : float
        One over the variance of the prior; 0 for none. Where it is estimated, the value to begin with.
    estimated : bool
        Whether the marginal likelihood sets the precision.
    """

    name: str
    start: int
    stop: int
    precision: float
    estimated: bool


@dataclass(frozen=True, slots=True)
class Design:
    """Columns of two kinds, so that those of a place are not written out for each of its seasons.

    Attributes
    ----------
    lines : (m, p1) float array
        Columns that differ from line to line; the first p1 of all columns.
    places : (u, p2) float array
        Columns of places; the last p2 of all columns.
    place : (m,) int array
        Place of each line.
    offset : (m,) float array
        Added to the log hazard as it is.
    """

    lines: Array
    places: Array
    place: NDArray[np.int64]
    offset: Array
    gather: sparse.csr_array = field(init=False, repr=False)

    def __post_init__(self) -> None:
        at = (self.place, np.arange(self.place.size))
        shape = (len(self.places), self.place.size)
        object.__setattr__(self, "gather", sparse.csr_array((np.ones(self.place.size), at), shape=shape))

    @property
    def columns(self) -> int:
        """Number of all columns."""
        return int(self.lines.shape[1] + self.places.shape[1])

    def log_hazard(self, beta: Array) -> Array:
        """Return offset and effects of each line."""
        own = self.lines.shape[1]
        eta = self.offset + self.lines @ beta[:own]
        if self.places.shape[1]:
            eta = eta + (self.places @ beta[own:])[self.place]
        return np.asarray(eta)

    def turned(self, values: Array) -> Array:
        """Return the transposed design times values, (columns,)."""
        return np.concatenate([self.lines.T @ values, self.places.T @ (self.gather @ values)])

    def squared(self, weight: Array) -> Array:
        """Return the weighted normal equations, (columns, columns)."""
        own = self.lines.shape[1]
        out = np.empty((self.columns, self.columns))
        weighted = self.lines * weight[:, None]
        out[:own, :own] = self.lines.T @ weighted
        if self.places.shape[1]:
            out[own:, :own] = self.places.T @ (self.gather @ weighted)
            out[:own, own:] = out[own:, :own].T
            out[own:, own:] = self.places.T @ (self.places * (self.gather @ weight)[:, None])
        return out


@dataclass(frozen=True, slots=True)
class Solution:
    """The mode, and what is known around it.

    Attributes
    ----------
    beta : (p,) float array
        Effects.
    covariance : (p, p) float array
        Of the effects: the inverse of the penalized information at the mode.
    precision : tuple of float
        Of each block, as given or as estimated.
    freedom : tuple of float
        Effective number of effects of each block.
    log_likelihood, log_marginal : float
        At the mode; Laplace's approximation of the marginal likelihood (restricted where a block has no prior).
    converged : bool
        Whether both the mode and the precisions stand still.
    """

    beta: Array
    covariance: Array
    precision: tuple[float, ...]
    freedom: tuple[float, ...]
    log_likelihood: float
    log_marginal: float
    converged: bool


def _hazard(eta: Array) -> Array:
    return np.exp(np.clip(eta, LOWEST, HIGHEST))


def _ratio(mu: Array) -> Array:
    """Return mu / (exp(mu) - 1), without overflow."""
    return np.asarray(mu * np.exp(-mu) / -np.expm1(-mu))


def log_likelihood(eta: Array, events: Array, vines: Array) -> float:
    """Return the log likelihood of events among vines, given log hazards.

    Parameters
    ----------
    eta, events, vines : (m,) float array
        Log hazard of the interval, vines with the event, vines at risk.
    """
    mu = _hazard(eta)
    part = np.where(events > 0, events * np.log(-np.expm1(-mu)), 0.0)
    return float((part - (vines - events) * mu).sum())


def _pull(eta: Array, events: Array, vines: Array) -> tuple[Array, Array]:
    """First and (negative) second derivative of the log likelihood by the log hazard; the second is never below 0."""
    mu = _hazard(eta)
    ratio = _ratio(mu)
    left = vines - events
    first = events * ratio - left * mu
    second = left * mu - events * ratio * (1 - mu - ratio)
    return first, np.maximum(second, 0.0)


def _diagonal(blocks: tuple[Block, ...], precision: Array, columns: int) -> Array:
    out = np.zeros(columns)
    for block, value in zip(blocks, precision, strict=True):
        out[block.start : block.stop] = value
    return out


def _mode(
    design: Design, events: Array, vines: Array, penalty: Array, beta: Array, steps: int
) -> tuple[Array, Array, float, bool]:
    """Climb to the penalized mode: effects, penalized information, log likelihood, and whether it stands still."""

    def height(at: Array) -> tuple[float, Array]:
        eta = design.log_hazard(at)
        return log_likelihood(eta, events, vines) - 0.5 * float(penalty @ at**2), eta

    top, eta = height(beta)
    still = False
    for _ in range(steps):
        first, second = _pull(eta, events, vines)
        information = design.squared(second) + np.diag(penalty)
        slope = design.turned(first) - penalty * beta
        step = cho_solve(_factor(information), slope)
        gain, size = float(slope @ step), 1.0
        while True:
            tried, tried_eta = height(beta + size * step)
            if tried >= top - 1e-10 * abs(top) or size < 1e-6:
                break
            size /= 2
        if size >= 1e-6:
            beta, top, eta = beta + size * step, tried, tried_eta
        if gain < 1e-10 * max(1.0, abs(top)) or size < 1e-6:
            still = True
            break
    information = design.squared(_pull(eta, events, vines)[1]) + np.diag(penalty)
    return beta, information, log_likelihood(eta, events, vines), still


def _factor(information: Array) -> tuple[Array, bool]:
    """Factor; where columns tell nothing (no prior, no event), a trace of a ridge makes it safe."""
    scale = float(np.trace(information)) / len(information) if len(information) else 1.0
    for ridge in (0.0, 1e-12, 1e-9, 1e-6):
        try:
            return cho_factor(information + ridge * scale * np.eye(len(information)), lower=True)
        except np.linalg.LinAlgError:
            continue
    return cho_factor(information + scale * np.eye(len(information)), lower=True)


@dataclass(frozen=True, slots=True)
class _Fitted:
    beta: Array
    covariance: Array
    likelihood: float
    marginal: float
    still: bool


def _fitted(
    design: Design, events: Array, vines: Array, blocks: tuple[Block, ...], precision: Array, beta: Array, steps: int
) -> _Fitted:
    penalty = _diagonal(blocks, precision, design.columns)
    beta, information, likelihood, still = _mode(design, events, vines, penalty, beta, steps)
    factor = _factor(information)
    covariance = cho_solve(factor, np.eye(design.columns))
    free = int((penalty == 0).sum())
    marginal = (
        likelihood
        - 0.5 * float(penalty @ beta**2)
        + 0.5 * float(np.log(penalty[penalty > 0]).sum())
        - float(np.log(np.diag(factor[0])).sum())
        + 0.5 * free * float(np.log(2 * np.pi))
    )
    return _Fitted(beta, covariance, likelihood, marginal, still)


def _next_precision(found: _Fitted, blocks: tuple[Block, ...], precision: Array) -> Array:
    """One Fellner-Schall step: the effective number of effects over their sum of squares."""
    out = precision.copy()
    for k, block in enumerate(blocks):
        if block.estimated:
            at = slice(block.start, block.stop)
            freedom = (block.stop - block.start) - precision[k] * float(np.trace(found.covariance[at, at]))
            square = float((found.beta[at] ** 2).sum())
            out[k] = np.clip(max(freedom, 1e-12) / max(square, 1e-300), LOOSEST, TIGHTEST)
    return out


def solve(design: Design, events: Array, vines: Array, blocks: tuple[Block, ...]) -> Solution:
    """Fit effects, and the precisions that are to be estimated.

    Parameters
    ----------
    design : Design
        Columns.
    events, vines : (m,) float array
        Vines with the event, and vines at risk, of each line.
    blocks : tuple of Block
        All columns, in order.

    Notes
    -----
    Fellner-Schall updates of the precisions, their logarithm's step tripled where the marginal likelihood allows; they climb
    Laplace's marginal likelihood but for the change of the weights with the precisions.

    References
    ----------
    .. [1] Wood, S.N. and Fasiolo, M. (2017) A generalized Fellner-Schall method for smoothing parameter optimization.
       Biometrics 73, 1071-1081.
    """
    precision = np.array([block.precision for block in blocks])
    estimated = any(block.estimated for block in blocks)
    found = _fitted(design, events, vines, blocks, precision, np.zeros(design.columns), MOST_STEPS)
    converged, boost = not estimated, 3.0
    for _ in range(MOST_ROUNDS if estimated else 0):
        change = np.log(np.maximum(_next_precision(found, blocks, precision), 1e-300) / np.maximum(precision, 1e-300))
        change = np.where([block.estimated for block in blocks], change, 0.0)
        if _stands(found, blocks, precision, change):
            converged = True
            break
        tried = np.where(
            change == 0, precision, np.clip(precision * np.exp(np.clip(boost * change, -6, 6)), LOOSEST, TIGHTEST)
        )
        next_ = _fitted(design, events, vines, blocks, tried, found.beta, 3)
        if next_.marginal < found.marginal - 1e-6 and boost > 1.0:
            boost = 1.0
            continue
        boost = 3.0 if boost >= 1.0 and next_.marginal >= found.marginal else 1.0
        precision, found = tried, next_
    found = _fitted(design, events, vines, blocks, precision, found.beta, MOST_STEPS)
    freedom = tuple(
        (b.stop - b.start) - float(value * np.trace(found.covariance[b.start : b.stop, b.start : b.stop]))
        for b, value in zip(blocks, precision, strict=True)
    )
    return Solution(
        found.beta,
        found.covariance,
        tuple(precision.tolist()),
        freedom,
        found.likelihood,
        found.marginal,
        converged and found.still,
    )


def _stands(found: _Fitted, blocks: tuple[Block, ...], precision: Array, change: Array) -> bool:
    """Tell whether the marginal likelihood has hardly anything to gain from any precision."""
    for k, block in enumerate(blocks):
        if block.estimated:
            at = slice(block.start, block.stop)
            trace = precision[k] * float(np.trace(found.covariance[at, at]))
            square = precision[k] * float((found.beta[at] ** 2).sum())
            slope = 0.5 * ((block.stop - block.start) - trace - square)
            bound = (change[k] >= 0 and precision[k] >= TIGHTEST * 0.999) or (
                change[k] <= 0 and precision[k] <= LOOSEST * 1.001
            )
            if not bound and abs(slope) > 2e-3 and abs(change[k]) > 1e-4:
                return False
    return True

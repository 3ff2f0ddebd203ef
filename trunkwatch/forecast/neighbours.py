"""Do earlier cases beside a vine help to tell which vines fall ill next? Kept only where they do, out of sample."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, xlog1py, xlogy

from trunkwatch.forecast.vine_years import SeasonStep

__all__ = ["NeighbourTerm", "away_from_cases", "neighbour_term"]

#: With fewer new cases, or fewer seasons, nothing is fitted.
FEWEST_NEW, FEWEST_SEASONS = 15, 4
#: Spread of the prior of both terms on the log-odds for each case neighbour (wide; no source).
RIDGE = 1.0


@dataclass(frozen=True, slots=True)
class NeighbourTerm:
    """Added log-odds of first symptoms for each next vine that has been a case.

    Attributes
    ----------
    row, across, row_error, across_error : float
        Along the row and across the rows, with standard errors. An estimate may fall below zero; a forecast takes it for
        zero, as old cases protect nobody.
    exposure : tuple of (along, across, vines)
        How many vine-seasons at risk had so many case neighbours along and across.
    gain, gain_error : float
        Out of sample: gain of the log score a season over a constant rate, and its standard error over the seasons.
    kept : bool
        Whether the gain is more than one standard error; otherwise the constant rate is used.
    """

    row: float
    across: float
    row_error: float
    across_error: float
    exposure: tuple[tuple[int, int, int], ...]
    gain: float
    gain_error: float
    kept: bool
    reason: str


def neighbour_term(steps: Sequence[SeasonStep]) -> NeighbourTerm:
    """Fit the term by logistic regression with a rate of its own for each season, and judge it season by season.

    Each season is predicted from the others for which of its vines at risk fell ill, given how many did.
    """
    usable = [step for step in steps if step.new.any() and step.at_risk.any()]
    total = sum(int(step.new.sum()) for step in usable)
    if total < FEWEST_NEW or len(usable) < FEWEST_SEASONS:
        return NeighbourTerm(
            0.0, 0.0, 0.0, 0.0, (), math.nan, math.nan, False,
            f"{total} new cases in {len(usable)} seasons: {FEWEST_NEW} in {FEWEST_SEASONS} are needed to fit it",
        )  # fmt: skip
    data = [_season(step) for step in usable]
    beta, errors = _fit(data)
    gains = []
    for held in range(len(data)):
        other, _ = _fit([one for k, one in enumerate(data) if k != held])
        gains.append(_gain(data[held], np.maximum(other, 0.0)))
    gain = float(np.mean(gains))
    error = float(np.std(gains, ddof=1) / math.sqrt(len(gains)))
    kept = gain > error and bool((beta > 0).any())
    return NeighbourTerm(
        float(beta[0]), float(beta[1]), float(errors[0]), float(errors[1]), _exposure(steps), gain, error, kept,
        "" if kept else "its gain out of sample is within one standard error: a constant rate is used",
    )  # fmt: skip


def _exposure(steps: Sequence[SeasonStep]) -> tuple[tuple[int, int, int], ...]:
    kinds = np.concatenate([_season(step)[0] for step in steps]).astype(int)
    found, many = np.unique(kinds, axis=0, return_counts=True)
    return tuple((int(row), int(across), int(n)) for (row, across), n in zip(found, many, strict=True))


def away_from_cases(
    mu: NDArray[np.float64],
    row: NDArray[np.float64],
    across: NDArray[np.float64],
    exposure: Sequence[tuple[int, int, int]],
) -> NDArray[np.float64]:
    """Return the log-odds of a vine away from cases, so that all vines together keep the chance they have.

    Parameters
    ----------
    mu, row, across : (draws,) arrays
        Log-odds of the mean vine, and what a case neighbour adds along and across.
    exposure : sequence of (along, across, vines)
        As in `NeighbourTerm`; the mean is taken over these vines.
    """
    table = np.array(exposure, dtype=float)
    share = table[:, 2] / table[:, 2].sum()
    added = np.outer(row, table[:, 0]) + np.outer(across, table[:, 1])
    low, high = mu - added.max(axis=1), mu.copy()
    for _ in range(40):
        middle = (low + high) / 2
        below = expit(middle[:, None] + added) @ share < expit(mu)
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray((low + high) / 2)


def _season(step: SeasonStep) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    risk = step.at_risk
    x = np.column_stack([step.before.near_row[risk], step.before.near_across[risk]]).astype(float)
    return x, step.new[risk].astype(float)


def _fit(
    data: Sequence[tuple[NDArray[np.float64], NDArray[np.float64]]],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Slopes with a ridge, an intercept a season without one; Newton steps on the few different neighbourhoods."""
    cells = []
    for number, (x, y) in enumerate(data):
        kinds, which = np.unique(x, axis=0, return_inverse=True)
        n = np.bincount(which.reshape(-1))
        k = np.bincount(which.reshape(-1), y)
        terms = np.zeros((len(kinds), 2 + len(data)))
        terms[:, :2], terms[:, 2 + number] = kinds, 1.0
        cells.append((terms, k, n))
    terms = np.vstack([one[0] for one in cells])
    k, n = np.concatenate([one[1] for one in cells]), np.concatenate([one[2] for one in cells])
    beta = np.zeros(terms.shape[1])
    for number, (_, y) in enumerate(data):
        beta[2 + number] = math.log((y.sum() + 0.5) / (y.size - y.sum() + 0.5))
    penalty = np.zeros(terms.shape[1])
    penalty[:2] = 1 / RIDGE**2
    hessian = np.eye(terms.shape[1])
    for _ in range(60):
        p = expit(terms @ beta)
        hessian = terms.T @ (terms * (n * p * (1 - p))[:, None]) + np.diag(penalty + 1e-9)
        step = np.linalg.solve(hessian, terms.T @ (k - n * p) - penalty * beta)
        beta = beta + np.clip(step, -2, 2)
        if np.abs(step).max() < 1e-9:
            break
    return beta[:2], np.sqrt(np.diag(np.linalg.inv(hessian))[:2])


def _gain(data: tuple[NDArray[np.float64], NDArray[np.float64]], beta: NDArray[np.float64]) -> float:
    """Log score with the slopes less that of a constant rate; both have the season's own number of new cases."""
    x, y = data
    low, high = -20.0, 20.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if expit(middle + x @ beta).sum() < y.sum() else (low, middle)
    p = np.clip(expit(middle + x @ beta), 1e-9, 1 - 1e-9)
    share = y.mean()
    plain = float((xlogy(y, share) + xlog1py(1 - y, -share)).sum())
    return float((xlogy(y, p) + xlog1py(1 - y, -p)).sum()) - plain

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
#: Spread of the priors on the log-odds for each case neighbour: next along, next across, farther off (wide; no source).
RIDGE = (1.0, 1.0, 0.3)


@dataclass(frozen=True, slots=True)
class NeighbourTerm:
    """Added log-odds of first symptoms for each neighbour that has been a case.

    Attributes
    ----------
    row, across, ring : float
        Along the row, across the rows, and for each other position within two rows and two positions; `ring` is zero
        unless it helps beside the other two. An estimate may fall below zero; a forecast takes it for zero, as old cases
        protect nobody.
    row_error, across_error, ring_error : float
        Standard errors.
    exposure : tuple of (along, across, ring, vines)
        How many vines at risk had so many case neighbours in the latest season.
    gain, gain_error : float
        Out of sample: gain of the log score a season over a constant rate, and its standard error over the seasons.
    ring_gain, ring_gain_error : float
        Gain of the ring over the next positions alone, and its standard error.
    kept : bool
        Whether the gain is more than one standard error; otherwise the constant rate is used.
    new, seasons : int
        New cases, and the seasons with any, that it was to be learnt from.
    """

    row: float
    across: float
    ring: float
    row_error: float
    across_error: float
    ring_error: float
    exposure: tuple[tuple[int, int, int, int], ...]
    gain: float
    gain_error: float
    ring_gain: float
    ring_gain_error: float
    kept: bool
    new: int
    seasons: int


#: A season's different neighbourhoods, and of each: the vines that fell ill, and the vines.
_Season = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]


def neighbour_term(steps: Sequence[SeasonStep]) -> NeighbourTerm:
    """Fit the term by logistic regression with a rate of its own for each season, and judge it season by season.

    Each season is predicted from the others for which of its vines at risk fell ill, given how many did. The ring is
    a fixed shape, because so few cases cannot tell how fast a risk falls with distance.
    """
    usable = [step for step in steps if step.new.any() and step.at_risk.any()]
    total = sum(int(step.new.sum()) for step in usable)
    if total < FEWEST_NEW or len(usable) < FEWEST_SEASONS:
        nan = math.nan
        return NeighbourTerm(
            0.0,
            0.0,
            0.0,
            0.0,
            0.0,
            0.0,
            (),
            nan,
            nan,
            nan,
            nan,
            False,
            total,
            len(usable),
        )
    data = [_season(step) for step in usable]
    plain = [(kinds[:, :2], new, vines) for kinds, new, vines in data]
    near = _gains(plain)
    far = _gains(data) - near
    (gain, error), (more, more_error) = _mean(near), _mean(far)
    ringed = more > more_error
    beta, errors = _fit(data if ringed else plain)
    row, across, ring = (*beta, 0.0)[:3]
    row_error, across_error, ring_error = (*errors, 0.0)[:3]
    if ringed:
        gain, error = _mean(near + far)
    kept = gain > error and bool((beta > 0).any())
    return NeighbourTerm(
        row,
        across,
        ring,
        row_error,
        across_error,
        ring_error,
        _exposure(usable[-1]),
        gain,
        error,
        more,
        more_error,
        kept,
        total,
        len(usable),
    )


def _mean(gains: NDArray[np.float64]) -> tuple[float, float]:
    """Return mean and standard error over the seasons."""
    return float(gains.mean()), float(gains.std(ddof=1) / math.sqrt(gains.size))


def _gains(data: Sequence[_Season]) -> NDArray[np.float64]:
    """Gain of every season when the slopes are learnt from the others."""
    found = []
    for held in range(len(data)):
        other, _ = _fit([one for k, one in enumerate(data) if k != held])
        found.append(_gain(data[held], np.maximum(other, 0.0)))
    return np.array(found)


def _exposure(step: SeasonStep) -> tuple[tuple[int, int, int, int], ...]:
    kinds, _, vines = _season(step)
    return tuple((*(int(one) for one in kind), int(n)) for kind, n in zip(kinds, vines, strict=True))  # type: ignore[misc]


def away_from_cases(
    mu: NDArray[np.float64], slopes: NDArray[np.float64], exposure: Sequence[tuple[int, int, int, int]]
) -> NDArray[np.float64]:
    """Return the log-odds of a vine away from cases, so that all vines together keep the chance they have.

    Parameters
    ----------
    mu : (draws,) array
        Log-odds of the mean vine.
    slopes : (draws, 3) array
        What a case neighbour adds along, across and in the ring.
    exposure : sequence of (along, across, ring, vines)
        As in `NeighbourTerm`; the mean is taken over these vines.
    """
    table = np.array(exposure, dtype=float)
    share = table[:, 3] / table[:, 3].sum()
    added = slopes @ table[:, :3].T
    low, high = mu - added.max(axis=1), mu.copy()
    for _ in range(40):
        middle = (low + high) / 2
        below = expit(middle[:, None] + added) @ share < expit(mu)
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray((low + high) / 2)


def _season(step: SeasonStep) -> _Season:
    risk, before = step.at_risk, step.before
    counts = np.column_stack([before.near_row[risk], before.near_across[risk], before.near_ring[risk]]).astype(np.int64)
    shape = tuple((counts.max(axis=0) + 1).tolist())
    place = np.ravel_multi_index(tuple(counts.T), shape)
    vines = np.bincount(place)
    new = np.bincount(place, step.new[risk])
    there = np.flatnonzero(vines)
    kinds = np.column_stack(np.unravel_index(there, shape)).astype(float)
    return kinds, new[there].astype(float), vines[there].astype(float)


def _fit(data: Sequence[_Season]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Slopes with a ridge, an intercept a season without one; Newton steps on the few different neighbourhoods."""
    slopes = data[0][0].shape[1]
    cells = []
    for number, (kinds, _, _) in enumerate(data):
        terms = np.zeros((len(kinds), slopes + len(data)))
        terms[:, :slopes], terms[:, slopes + number] = kinds, 1.0
        cells.append(terms)
    terms = np.vstack(cells)
    k, n = np.concatenate([one[1] for one in data]), np.concatenate([one[2] for one in data])
    beta = np.zeros(terms.shape[1])
    for number, (_, new, vines) in enumerate(data):
        beta[slopes + number] = math.log((new.sum() + 0.5) / (vines.sum() - new.sum() + 0.5))
    penalty = np.zeros(terms.shape[1])
    penalty[:slopes] = 1 / np.array(RIDGE[:slopes]) ** 2
    hessian = np.eye(terms.shape[1])
    for _ in range(60):
        p = expit(terms @ beta)
        hessian = terms.T @ (terms * (n * p * (1 - p))[:, None]) + np.diag(penalty + 1e-9)
        step = np.linalg.solve(hessian, terms.T @ (k - n * p) - penalty * beta)
        beta = beta + np.clip(step, -2, 2)
        if np.abs(step).max() < 1e-9:
            break
    return beta[:slopes], np.sqrt(np.diag(np.linalg.inv(hessian))[:slopes])


def _gain(data: _Season, beta: NDArray[np.float64]) -> float:
    """Log score with the slopes less that of a constant rate; both have the season's own number of new cases."""
    kinds, new, vines = data
    low, high = -20.0, 20.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if (vines * expit(middle + kinds @ beta)).sum() < new.sum() else (low, middle)
    p = np.clip(expit(middle + kinds @ beta), 1e-9, 1 - 1e-9)
    share = new.sum() / vines.sum()
    plain = float((xlogy(new, share) + xlog1py(vines - new, -share)).sum())
    return float((xlogy(new, p) + xlog1py(vines - new, -p)).sum()) - plain

"""Next season: each vine's chance to show, and how many will, with limits."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit

from trunkwatch.forecast.rates import Rates
from trunkwatch.forecast.vine_years import Before

__all__ = ["Band", "NextSeason", "next_season", "vine_chances"]


@dataclass(frozen=True, slots=True)
class Band:
    """Mean, median and limits of a count."""

    mean: float
    middle: int
    low50: int
    high50: int
    low90: int
    high90: int


@dataclass(frozen=True, slots=True)
class NextSeason:
    """A forecast of one season.

    Attributes
    ----------
    seen, carried, new : Band
        Vines that a look will see with symptoms; vines with damage on record that no look writes down again; first cases
        among those seen.
    vines : int
        Mature living vines that it is made for.
    chance : (rows, stations) float array
        Mean chance of each of them to be seen with symptoms; nan elsewhere.
    """

    seen: Band
    carried: Band
    new: Band
    vines: int
    chance: NDArray[np.float64] = field(repr=False, compare=False)


def vine_chances(
    before: Before, rates: Rates, mask: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.float64]]:
    """Sort vines into kinds of equal chance.

    Returns
    -------
    chance : (draws, kinds) array
        Log-odds of showing in a middling season.
    kind : (rows, stations) int array
        -1 for a vine that is not forecast.
    is_first : (kinds,) array
        1 where showing would be a first case.
    """
    kind = np.full(mask.shape, -1, dtype=np.int64)
    columns: list[NDArray[np.float64]] = []
    first: list[float] = []
    for k in range(1, 5):
        # What does not heal is there again; whether it is written down again is the scouts' habit.
        here = mask & before.damaged & (before.unseen == k)
        if here.any():
            kind[here] = len(columns)
            columns.append(logit(np.clip(rates.rewritten[:, k - 1], 1e-6, 1 - 1e-6)))
            first.append(0.0)
    base = logit(rates.first)
    near = np.stack([before.near_row, before.near_across, before.near_ring], axis=-1)
    near = near * rates.near.any(axis=0)  # what adds nothing tells no kinds apart
    for one in np.unique(near[mask & before.never], axis=0):
        kind[mask & before.never & (near == one).all(axis=-1)] = len(columns)
        columns.append(base + rates.near @ one)
        first.append(1.0)
    for table, chances in ((before.since, rates.again), (before.renewed, rates.relapse)):
        for k in range(1, 5):
            here = mask & (table == k)
            if here.any():
                kind[here] = len(columns)
                columns.append(logit(np.clip(chances[:, k - 1], 1e-6, 1 - 1e-6)))
                first.append(0.0)
    if not columns:
        return np.zeros((rates.draws, 0)), kind, np.zeros(0)
    return np.column_stack(columns), kind, np.array(first)


def next_season(
    before: Before, rates: Rates, rng: np.random.Generator, *, mask: NDArray[np.bool_] | None = None, span: int = 1
) -> NextSeason:
    """Forecast the season after what is known.

    Parameters
    ----------
    before : Before
        What is known of the vines.
    rates : Rates
        Draws of the chances.
    rng : Generator
        Source of chance.
    mask : (rows, stations) bool array, optional
        Vines that will be looked at; all that can be forecast where left out.
    span : int
        Years from the last counted season to the one foretold: first symptoms have as many to come in.

    Notes
    -----
    A showy or quiet season moves all vines together on the log-odds; it is what makes the limits wide.
    """
    known = before.never | before.damaged | (before.since > 0) | (before.renewed > 0)
    where = known if mask is None else known & mask
    odds, kind, first = vine_chances(before, rates, where)
    sizes = np.bincount(kind[kind >= 0], minlength=odds.shape[1])
    season = rng.normal(0.0, 1.0, rates.draws)
    spread = np.where(first > 0, rates.season_sd[:, None], rates.again_sd[:, None])
    lasting = np.array([bool(before.damaged[kind == k].any()) for k in range(odds.shape[1])], dtype=bool)
    # Showy and quiet years are of leaves; how much damage is written down swings by itself, with the scouts and the time they have.
    habit = rng.normal(0.0, 1.0, rates.draws)
    swing = np.where(lasting, habit[:, None] * rates.written_sd[:, None], season[:, None] * spread)
    # Renewed vines die as sound ones do, as in the futures.
    case = np.array(
        [bool(((before.since > 0) | before.damaged)[kind == k].any()) for k in range(odds.shape[1])], dtype=bool
    )
    alive = np.where(case, 1 - rates.death[:, 1:2], 1 - rates.death[:, :1]) ** span
    p = expit(odds + swing)
    p = np.where(first > 0, -np.expm1(span * np.log1p(-p)), p)
    # The mean over showy and quiet seasons is a little above the middling season's chance; both are in the draws.
    there = alive if mask is None else np.ones((1, 1))
    seen = rng.binomial(sizes[None, :], p * there)
    left = np.where(lasting, (1 - p) * there / np.maximum(1 - p * there, 1e-12), 0.0)
    carried = rng.binomial(np.where(lasting, sizes, 0)[None, :] - np.where(lasting, seen, 0), np.clip(left, 0.0, 1.0))
    chance = np.full(where.shape, np.nan)
    mean = p.mean(axis=0)
    chance[kind >= 0] = mean[kind[kind >= 0]]
    return NextSeason(
        _band(seen.sum(axis=1)), _band(carried.sum(axis=1)), _band((seen * first).sum(axis=1)), int(where.sum()), chance
    )


def _band(counts: NDArray[np.float64] | NDArray[np.int64]) -> Band:
    low90, low50, middle, high50, high90 = np.quantile(counts, [0.05, 0.25, 0.5, 0.75, 0.95], method="inverted_cdf")
    return Band(float(np.mean(counts)), int(middle), int(low50), int(high50), int(low90), int(high90))

"""Do cases go together beyond what the risk of the ground explains: pairs at every lag beside a risk that is not even."""

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trunkwatch.stats.chance import Rng, generator, permutation_pvalue
from trunkwatch.stats.labels import checked_labels, checked_strata, nothing_to_move
from trunkwatch.stats.lags import Correlation, LagPairs
from trunkwatch.stats.relabelling import stratified_labellings
from trunkwatch.stats.risk_labellings import risk_labellings

__all__ = ["lag_pairs_by_risk"]


def lag_pairs_by_risk(
    cases: ArrayLike,
    vines: ArrayLike,
    *,
    risk: ArrayLike | None = None,
    strata: ArrayLike | None = None,
    max_rows: int = 5,
    max_stations: int = 10,
    permutations: int = 999,
    rng: Rng = None,
) -> LagPairs:
    """Count pairs of cases at every lag beside what a risk that differs over the block lets expect.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count.
    risk : (rows, stations) float array_like, optional
        Chance of each vine to be a case, between 0 and 1: a smooth surface, from a model or from other seasons. Only odds
        beside each other matter, as the number of cases is kept. Either this, or `strata`.
    strata : (rows, stations) array_like, optional
        Groups of vines (rows, cultivars, soils) with shares of their own; every map keeps the cases of each.
    max_rows, max_stations : int
        Farthest lag across and along; cut to the size of the map.
    permutations : int
        Maps drawn by the risk, or relabelled inside the strata.
    rng : Generator, int or None
        Source of chance.

    Returns
    -------
    LagPairs
        As from `lag_pairs`; `ratio` is the pair correlation, and `limit` the global envelope of z.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the mask, a lag is negative, a risk is not between 0 and 1, or neither or
        both of risk and strata are given.

    Notes
    -----
    Expected pairs are in proportion to the product of the two risks, with the sum over all pairs that the number of
    cases gives; inside strata they are exact. With even risk, or a single stratum, they are those of `lag_pairs`.
    z is taken from the mean and the spread of the drawn maps and the one seen. A risk that was estimated from the same map
    with a fine brush takes the clusters for risk: then nothing stands out, and that says nothing.

    References
    ----------
    .. [1] Baddeley, A.J., Moller, J. and Waagepetersen, R. (2000) Non- and semi-parametric estimation of interaction in
       inhomogeneous point patterns. Stat. Neerl. 54, 329-350. (content from memory)
    .. [2] Myllymaki, M. et al. (2017) Global envelope tests for spatial processes. J. R. Stat. Soc. B 79, 381-404.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = np.array([[0, 1, 1, 0, 0, 0], [1, 1, 1, 0, 0, 0], [0, 1, 0, 0, 0, 1]])
    >>> risk = np.tile([0.6, 0.6, 0.6, 0.15, 0.15, 0.15], (3, 1))
    >>> beside = tw.stats.lag_pairs_by_risk(
    ...     cases, np.ones((3, 6)), risk=risk, max_rows=1, max_stations=1, permutations=99, rng=1
    ... )
    >>> print(beside)
    largest z 1.40 over all lags, p = 0.48
    >>> even = tw.stats.lag_pairs(cases, np.ones((3, 6)), max_rows=1, max_stations=1, permutations=0)
    >>> [round(pairs.at(0, 1)[1], 2) for pairs in (beside, even)]
    [2.56, 2.06]
    """
    if max_rows < 0 or max_stations < 0:
        raise ValueError(f"max_rows is {max_rows}, max_stations {max_stations}: 0 or more is needed")
    if (risk is None) == (strata is None):
        raise ValueError(f"{'neither' if risk is None else 'both'} of risk and strata given: one of the two is needed")
    marked, mask = checked_labels(cases, vines)
    groups = checked_strata(strata, mask)
    chances = np.zeros(mask.shape) if risk is None else _checked_risk(risk, mask)
    if not mask.size:
        marked = mask = np.zeros((1, 1), dtype=bool)
    take = Correlation(mask.shape, min(max_rows, mask.shape[0] - 1), min(max_stations, mask.shape[1] - 1))
    n_cases, n_vines = int(marked.sum()), int(mask.sum())
    observed = take.pairs(marked[None])[0]
    reason = nothing_to_move(n_cases, n_vines, fewest=2) or (_fixed(marked, groups) if groups is not None else "")
    lost = np.full(observed.shape, math.nan)
    if reason:
        return LagPairs(
            math.nan,
            math.nan,
            math.nan,
            n_cases,
            n_vines,
            take.rows,
            take.stations,
            reason,
            observed,
            lost,
            lost,
            lost,
            np.empty(0),
        )
    expected = _by_product(chances, n_cases, take) if groups is None else _inside_strata(marked, mask, groups, take)
    ratio = np.divide(observed, expected, out=lost.copy(), where=(expected > 1e-9) & take.half)
    if not permutations:
        return LagPairs(
            math.nan,
            math.nan,
            math.nan,
            n_cases,
            n_vines,
            take.rows,
            take.stations,
            "no permutations asked for",
            observed,
            expected,
            lost,
            ratio,
            np.empty(0),
        )
    chance = generator(rng)
    if groups is not None:
        drawn = stratified_labellings(marked[mask], groups[mask], permutations, chance)
    else:
        drawn = risk_labellings(chances[mask], n_cases, permutations, chance)
    pairs = [observed[None]]
    for labels in drawn:
        maps = np.zeros((len(labels), *mask.shape), dtype=bool)
        maps[:, mask] = labels
        pairs.append(take.pairs(maps))
    z = _standard(np.concatenate(pairs), take.half)
    if np.isnan(z).all():
        return LagPairs(
            math.nan,
            math.nan,
            math.nan,
            n_cases,
            n_vines,
            take.rows,
            take.stations,
            "no two vines lie at any of the lags",
            observed,
            expected,
            lost,
            ratio,
            np.empty(0),
        )
    largest = np.nanmax(z.reshape(len(z), -1), axis=1)
    null = largest[1:]
    return LagPairs(
        float(largest[0]),
        permutation_pvalue(float(largest[0]), null),
        float(np.quantile(null, 0.95)),
        n_cases,
        n_vines,
        take.rows,
        take.stations,
        "",
        observed,
        expected,
        z[0],
        ratio,
        null,
    )


def _checked_risk(risk: ArrayLike, mask: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return the risk of the vines that count, 0 elsewhere."""
    raw: np.ma.MaskedArray[Any, Any] = np.ma.asarray(risk.to_numpy() if hasattr(risk, "to_numpy") else risk)
    if raw.shape != mask.shape:
        raise ValueError(f"risk is {raw.shape} but vines is {mask.shape}: the same grid is needed")
    held = np.ma.getmaskarray(raw)
    chances = np.where(held, math.nan, np.asarray(raw.data, dtype=np.float64))
    odd = np.argwhere(mask & ~((chances > 0) & (chances < 1)))
    if odd.size:
        row, station = odd[0]
        raise ValueError(
            f"risk is {chances[row, station]:g} at row index {row}, station index {station}: above 0 and below 1 is needed"
        )
    return np.where(mask, chances, 0.0)


def _fixed(marked: NDArray[np.bool_], groups: NDArray[np.int64]) -> str:
    """Say where no label can move inside its stratum."""
    codes, cases = groups[groups >= 0], marked[groups >= 0]
    vines, sick = np.bincount(codes), np.bincount(codes, weights=cases)
    return "" if ((sick > 0) & (sick < vines)).any() else "in every stratum all vines are cases, or none"


def _by_product(chances: NDArray[np.float64], cases: int, take: Correlation) -> NDArray[np.float64]:
    """Return expected pairs by the product of risks, scaled to the number of all pairs of cases."""
    products = np.maximum(take.products(chances[None])[0], 0.0)
    # All ordered pairs of two vines: the square of the sum, less each vine with itself.
    everything = float(chances.sum()) ** 2 - float((chances**2).sum())
    return np.asarray(products * (cases * (cases - 1) / everything), dtype=np.float64)


def _inside_strata(
    marked: NDArray[np.bool_], mask: NDArray[np.bool_], groups: NDArray[np.int64], take: Correlation
) -> NDArray[np.float64]:
    """Return expected pairs where every stratum keeps its cases: exact."""
    codes = groups[mask]
    vines, cases = np.bincount(codes), np.bincount(codes, weights=marked[mask])
    share = cases / vines
    chances = np.zeros(mask.shape)
    chances[mask] = share[codes]
    products = take.products(chances[None])[0]
    # Two vines of one stratum draw without putting back.
    without = np.divide(cases * (cases - 1), vines * (vines - 1.0), out=np.zeros(vines.size), where=vines > 1)
    for code in np.flatnonzero(cases):
        products += (without[code] - share[code] ** 2) * take.products((groups == code)[None].astype(np.float64))[0]
    return np.asarray(np.maximum(products, 0.0), dtype=np.float64)


def _standard(pairs: NDArray[np.int64], half: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return z of every map from the mean and the spread over all of them, the one seen included: all maps alike."""
    mean, spread = pairs.mean(axis=0), pairs.std(axis=0, ddof=1)
    use = (spread > 1e-9) & half
    return np.where(use, (pairs - mean) / np.where(use, spread, 1.0), math.nan)

"""How many vines must be looked at, for a wanted precision or to find a disease at all."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from trunkwatch.stats.chance import Rng, generator

__all__ = [
    "NEIGHBOURS_WARNING",
    "RowPlan",
    "clusters_for_precision",
    "rows_to_walk",
    "vines_for_half_width",
    "vines_for_precision",
    "vines_to_detect",
    "zero_limit",
]

NEIGHBOURS_WARNING = (
    "An inspection of every tenth vine serves for incidence and is useless for neighbors: "
    "no two vines scouted stand side by side. Scout whole rows, two or more next to each other, to test for clustering."
)


def _share(value: float, name: str) -> None:
    if not 0 < value < 1:
        raise ValueError(f"{name} is {value}: between 0 and 1 is needed")


def vines_for_precision(incidence: float, cv: float, *, block: int | None = None) -> int:
    """Vines for a coefficient of variation of the estimated incidence: ``q / (p C^2)``.

    Parameters
    ----------
    incidence : float
        Expected share of cases.
    cv : float
        Wanted standard error over incidence.
    block : int, optional
        Vines in the block, for the finite-population correction.

    Raises
    ------
    ValueError
        If a share lies outside 0 to 1, or cv or block is not positive.
    """
    _share(incidence, "incidence")
    if cv <= 0:
        raise ValueError(f"cv is {cv}: above 0 is needed")
    return _finite((1 - incidence) / (incidence * cv**2), block)


def vines_for_half_width(incidence: float, half_width: float, *, level: float = 0.95, block: int | None = None) -> int:
    """Vines for limits of plus and minus `half_width` around the incidence (normal approximation)."""
    from scipy.special import ndtri

    _share(incidence, "incidence")
    _share(half_width, "half_width")
    _share(level, "level")
    z = float(ndtri(0.5 + level / 2))
    return _finite(z * z * incidence * (1 - incidence) / half_width**2, block)


def _finite(vines: float, block: int | None) -> int:
    if block is None:
        return math.ceil(vines - 1e-9)
    if block < 1:
        raise ValueError(f"block is {block}: 1 or more vines are needed")
    return min(block, math.ceil(vines / (1 + (vines - 1) / block) - 1e-9))


def clusters_for_precision(incidence: float, cv: float, size: int, rho: float) -> int:
    """Clusters of `size` neighboring vines for a coefficient of variation, given their likeness rho.

    ``N = q (1 + rho (n - 1)) / (n p C^2)``

    Raises
    ------
    ValueError
        If a share lies outside 0 to 1, cv or size is not positive, or rho is not from 0 to 1.

    References
    ----------
    .. [1] Hughes, G., Madden, L.V. and Munkvold, G.P. (1996) Phytopathology 86, 132-137.
    """
    _share(incidence, "incidence")
    if cv <= 0 or size < 1 or not 0 <= rho <= 1:
        raise ValueError(f"cv {cv}, size {size}, rho {rho}: above 0, 1 or more, and 0 to 1 are needed")
    exact = (1 - incidence) * (1 + rho * (size - 1)) / (size * incidence * cv**2)
    return math.ceil(exact - 1e-9)


def vines_to_detect(
    incidence: float, *, confidence: float = 0.95, block: int | None = None, sensitivity: float = 1.0
) -> int | None:
    """Vines to look at so that at least one case is found with a given confidence.

    Parameters
    ----------
    incidence : float
        Share of cases that must not be missed.
    confidence : float
        Wanted chance of finding one.
    block : int, optional
        Vines in the block: exact (hypergeometric) with floor(block * incidence) cases.
    sensitivity : float
        Chance that a case looked at is seen (for symptoms that come and go, the share that shows).

    Returns
    -------
    int or None
        None where the block holds no case at this incidence, so that none can be found.

    Raises
    ------
    ValueError
        If a share lies outside 0 to 1.

    References
    ----------
    .. [1] ISPM 31 (2008) Methodologies for sampling of consignments, appendix 2. FAO, Rome.
    """
    _share(incidence, "incidence")
    _share(confidence, "confidence")
    if not 0 < sensitivity <= 1:
        raise ValueError(f"sensitivity is {sensitivity}: above 0 and at most 1 is needed")
    if block is None:
        return math.ceil(math.log(1 - confidence) / math.log(1 - incidence * sensitivity) - 1e-9)
    cases = math.floor(block * incidence + 1e-9)
    if cases == 0:
        return None
    low, high = 1, block
    if _missed(block, cases, block, sensitivity) > 1 - confidence + 1e-12:
        return None
    while low < high:
        middle = (low + high) // 2
        if _missed(block, cases, middle, sensitivity) <= 1 - confidence + 1e-12:
            high = middle
        else:
            low = middle + 1
    return low


def _missed(block: int, cases: int, looked: int, sensitivity: float) -> float:
    """Chance that none of the cases is found among the vines looked at."""
    among = np.arange(max(0, looked - (block - cases)), min(cases, looked) + 1)
    logs = _choose(cases, among) + _choose(block - cases, looked - among) - _choose(block, looked)
    return float((np.exp(logs) * (1 - sensitivity) ** among).sum())


def _choose(n: int, k: NDArray[np.int64] | int) -> NDArray[np.float64]:
    return np.asarray(gammaln(n + 1) - gammaln(np.add(k, 1)) - gammaln(n - np.asarray(k) + 1))


def zero_limit(vines: int, *, level: float = 0.95) -> float:
    """Highest incidence that agrees with no case among `vines`: the exact one-sided limit.

    Raises
    ------
    ValueError
        If there is no vine, or the level lies outside 0 to 1.
    """
    _share(level, "level")
    if vines < 1:
        raise ValueError(f"{vines} vines: 1 or more are needed")
    return float(1 - (1 - level) ** (1 / vines))


@dataclass(frozen=True, slots=True)
class RowPlan:
    """Rows to walk, counted from 0, and what such a sample cannot be used for."""

    rows: tuple[int, ...]
    every: int
    warning: str


def rows_to_walk(rows: int, walk: int, *, rng: Rng = None) -> RowPlan:
    """Choose whole rows at even distance from a random start.

    Raises
    ------
    ValueError
        If more rows are to be walked than there are, or none.
    """
    if not 1 <= walk <= rows:
        raise ValueError(f"walk is {walk} of {rows} rows: 1 to {rows} can be scouted")
    start = generator(rng).random() * rows / walk
    chosen = tuple(int(start + number * rows / walk) for number in range(walk))
    apart = rows // walk
    warning = "" if apart < 2 else f"Rows {apart} apart are never neighbors: nothing can be said across the rows."
    return RowPlan(chosen, apart, warning)

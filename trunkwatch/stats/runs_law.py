"""The exact law of along-row joins: how many neighboring pairs m cases make in given stretches.

A stretch is an unbroken run of vines that count; a gap or a row's end divides stretches. The
number of labellings with m cases and d joined pairs is a coefficient of the product, over the
stretches, of a two-letter transfer matrix: ``free' = free + case``, ``case' = x (free + y case)``.
The coefficient of x^m is taken by Fourier inversion on a circle through the saddle point, where
the numbers neither overflow nor cancel.

References
----------
.. [1] Mood, A.M. (1940) The distribution theory of runs. Ann. Math. Stat. 11, 367-392.
.. [2] Flajolet, P. and Sedgewick, R. (2009) Analytic Combinatorics, chapter VIII. (from memory)
"""

import numpy as np
from numpy.typing import NDArray

from trunkwatch.stats.moments import random_labelling

__all__ = ["joined_pairs_law", "stretches"]

#: Probabilities below this are rounding of the inversion.
ROUNDING = 1e-13


def stretches(vines: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return the length of every unbroken run of vines along the rows, in grid order."""
    padded = np.zeros((vines.shape[0], vines.shape[1] + 2), dtype=np.int8)
    padded[:, 1:-1] = vines
    steps = np.diff(padded, axis=1)
    starts, ends = np.argwhere(steps == 1), np.argwhere(steps == -1)
    return (ends[:, 1] - starts[:, 1]).astype(np.int64)


def joined_pairs_law(lengths: NDArray[np.int64], cases: int) -> NDArray[np.float64]:
    """Return the probability of 0, 1, 2, ... joined pairs under random labelling.

    Parameters
    ----------
    lengths : (stretches,) int array
        Vines in each stretch, 1 or more.
    cases : int
        Cases among all of them.

    Returns
    -------
    (cases,) float array, at least one entry
        Sums to 1; absolute error about 1e-13.

    Raises
    ------
    ValueError
        If there are more cases than vines.
    """
    vines = int(lengths.sum())
    if not 0 <= cases <= vines:
        raise ValueError(f"{cases} cases among {vines} vines: 0 to {vines} are possible")
    if cases <= 1:
        return np.ones(1)
    if cases == vines:
        return np.asarray(np.eye(1, vines - lengths.size + 1, vines - lengths.size)[0], dtype=np.float64)
    length, times = np.unique(lengths, return_counts=True)
    share = cases / vines
    # The inversion folds counts one period apart onto each other: nine deviations of the number
    # of cases and twenty of the number of pairs keep the folded mass under the rounding.
    around = min(vines + 1, 2 * int(4.5 * np.sqrt(vines * share * (1 - share)) + 4) + 1)
    joins, shared = vines - lengths.size, int(np.maximum(lengths - 2, 0).sum())
    moments = random_labelling(joins, shared, cases, vines)
    reach = 10 * np.sqrt(moments.case_case_variance) + 16
    low = max(0, int(moments.case_case - reach))
    deep = int(min(cases, moments.case_case + reach)) - low + 1
    y = np.exp(2j * np.pi * np.arange(deep) / deep)
    radius = _saddle(length, times, cases)
    by_y = _coefficient(length, times, radius, y, cases, around)
    folded = np.real(np.fft.fft(by_y)) / deep / np.real(by_y[0])
    law = np.zeros(low + deep)
    law[low:] = np.roll(folded, -(low % deep))
    law[np.abs(law) < ROUNDING] = 0.0
    law = np.maximum(law, 0.0)
    return np.asarray(law / law.sum(), dtype=np.float64)


def _coefficient(
    length: NDArray[np.int64],
    times: NDArray[np.int64],
    radius: float,
    y: NDArray[np.complex128],
    cases: int,
    around: int,
) -> NDArray[np.complex128]:
    """Take the coefficient of x^cases for every y, from half the circle: the rest is its mirror."""
    half = np.arange(around // 2 + 1)
    x = radius * np.exp(2j * np.pi * half / around)
    turned = np.exp(_log_product(length, times, x[:, None], y[None, :], radius))
    turned *= np.exp(-2j * np.pi * half * cases / around)[:, None]
    mirrored = np.conj(np.roll(turned[:, ::-1], 1, axis=1))
    whole = turned.sum(axis=0)
    # x = radius is its own mirror; so is x = -radius, met where the circle has an even number of points.
    return np.asarray(whole + mirrored[1 : None if around % 2 else -1].sum(axis=0))


def _saddle(length: NDArray[np.int64], times: NDArray[np.int64], cases: int) -> float:
    """Return the radius at which the mean number of cases is `cases` (y = 1: each vine on its own)."""
    return cases / (int((length * times).sum()) - cases)


def _log_product(
    length: NDArray[np.int64],
    times: NDArray[np.int64],
    x: NDArray[np.complex128],
    y: NDArray[np.complex128],
    radius: float,
) -> NDArray[np.complex128]:
    """Return the logarithm of the product over stretches, scaled so that it is 0 at (radius, 1)."""
    shape = np.broadcast_shapes(x.shape, y.shape)
    free, case = np.ones(shape, dtype=complex), np.zeros(shape, dtype=complex)
    total = np.zeros(shape, dtype=complex)
    scale = 1.0 + radius
    wanted = dict(zip(length.tolist(), times.tolist(), strict=True))
    for step in range(1, int(length.max()) + 1):
        free, case = (free + case) / scale, x * (free + y * case) / scale
        if step in wanted:
            whole = free + case
            tiny = np.abs(whole) < 1e-300
            total += wanted[step] * np.log(np.where(tiny, 1e-300, whole))
    return total

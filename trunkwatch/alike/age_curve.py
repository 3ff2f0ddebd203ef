"""Age as a smooth curve: a straight line and a few bends, a natural cubic spline."""

import numpy as np
from numpy.typing import ArrayLike

from trunkwatch.alike.counts import Floats

__all__ = ["age_columns"]

#: Different ages below which a bend cannot be told, and below which not even a slope can.
_FOR_BENDS, _FOR_SLOPE = 8, 3
#: Shares of the ages that lie below the knots (Harrell's places for four knots).
_KNOTS = (0.05, 0.35, 0.65, 0.95)


def age_columns(ages: ArrayLike, *, bends: bool = True) -> Floats:
    """Return the columns of a design that stand for age.

    Parameters
    ----------
    ages : (rows,) array_like
        In years; nan where not known.
    bends : bool
        Whether there are blocks enough for more than a slope.

    Returns
    -------
    (rows, columns) float array
        A slope per ten years and two bends where there are ages enough, a slope alone, or nothing; and a column of its own for
        rows whose age is not known, where there are both kinds. An unknown age has zeros in the other columns.

    References
    ----------
    .. [1] Harrell, F.E. (2001) Regression modeling strategies, section 2.4.4. (content from memory)
    """
    age = np.asarray(ages, dtype=float)
    known = ~np.isnan(age)
    different = np.unique(age[known])
    columns = []
    if different.size >= _FOR_SLOPE:
        middle = float(age[known].mean())
        columns.append(np.where(known, (age - middle) / 10, 0.0))
    if bends and different.size >= _FOR_BENDS:
        knots = np.unique(np.quantile(different, _KNOTS))
        for bend in _bends(age, knots):
            middle, scale = float(bend[known].mean()), float(bend[known].std())
            columns.append(np.where(known, (bend - middle) / scale, 0.0))
    if known.any() and not known.all():
        columns.append((~known).astype(float))
    return np.column_stack(columns) if columns else np.empty((age.size, 0))


def _bends(age: Floats, knots: Floats) -> list[Floats]:
    """Cubic pieces that are straight beyond the outer knots, and one less than there are knots inside."""
    last, before, span = knots[-1], knots[-2], float(knots[-1] - knots[0])

    def cubed(value: Floats) -> Floats:
        return np.asarray(np.maximum(value, 0.0) ** 3)

    return [
        (
            cubed(age - knot)
            - cubed(age - before) * (last - knot) / (last - before)
            + cubed(age - last) * (before - knot) / (last - before)
        )
        / span**2
        for knot in knots[:-2]
    ]

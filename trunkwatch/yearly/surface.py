"""A smooth surface of few columns: thin plate splines on knots spread evenly over the block."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import cholesky, solve_triangular
from scipy.special import xlogy

__all__ = ["Surface", "make_surface"]

FEWEST_KNOTS = 6


@dataclass(frozen=True, slots=True)
class Surface:
    """Columns of a smooth surface, or of a smooth curve where the points have one coordinate.

    Attributes
    ----------
    middle, scale : (d,) float array, float
        Meters are counted from the middle and divided by the scale; the scale is one for all directions, so that the
        surface is equally smooth along and across.
    knots : (k, d) float array
        In scaled units.
    turn : (k, columns) float array
        From radial functions at the knots to columns whose squared sum is the bending energy.
    mean : (columns,) float array
        Taken off, so that each column sums to zero over the points that the surface was made for.
    """

    middle: NDArray[np.float64]
    scale: float
    knots: NDArray[np.float64] = field(repr=False)
    turn: NDArray[np.float64] = field(repr=False)
    mean: NDArray[np.float64] = field(repr=False)

    @property
    def columns(self) -> int:
        """Number of bending columns."""
        return int(self.turn.shape[1])

    def scaled(self, points: ArrayLike) -> NDArray[np.float64]:
        """Return points in scaled units: the columns of the tilted plane that does not bend."""
        return np.asarray((_points(points) - self.middle) / self.scale)

    def bending(self, points: ArrayLike) -> NDArray[np.float64]:
        """Return the bending columns at points, (n, columns)."""
        return np.asarray(_radial(self.scaled(points), self.knots) @ self.turn - self.mean)


def make_surface(points: ArrayLike, *, knots: int = 60) -> Surface:
    """Make a low-rank thin plate spline for points.

    Parameters
    ----------
    points : (n, d) float array_like
        Meters along and across (d 2), or one coordinate (d 1).
    knots : int
        About how many; fewer where there are fewer different points. They lie on points, evenly over the ground.

    Returns
    -------
    Surface
        With no columns where there are too few points for one to bend.

    Raises
    ------
    ValueError
        If points have another number of coordinates or are not finite.

    Notes
    -----
    The penalty on the coefficients is the identity, so one number sets how rough the surface is.

    References
    ----------
    .. [1] Wood, S.N. (2003) Thin plate regression splines. J. R. Stat. Soc. B 65, 95-114.
    """
    at = _points(points)
    if not np.isfinite(at).all():
        raise ValueError(
            f"{int((~np.isfinite(at)).any(axis=1).sum())} point(s) have no finite coordinates: leave them out"
        )
    places = np.unique(at, axis=0)
    low, high = (
        (places.min(axis=0), places.max(axis=0)) if len(places) else (np.zeros(at.shape[1]), np.ones(at.shape[1]))
    )
    middle, scale = (low + high) / 2, max(float((high - low).max()) / 2, 1e-9)
    places = (places - middle) / scale
    chosen = places[_spread_out(places, knots)]
    plane = np.column_stack([np.ones(len(chosen)), chosen])
    rank = np.linalg.matrix_rank(plane) if len(chosen) else 0
    if len(chosen) < FEWEST_KNOTS or rank < plane.shape[1]:
        return Surface(middle, scale, np.empty((0, at.shape[1])), np.empty((0, 0)), np.empty(0))
    free = np.linalg.qr(plane, mode="complete")[0][:, plane.shape[1] :]
    energy = free.T @ _radial(chosen, chosen) @ free
    energy = (energy + energy.T) / 2 + 1e-10 * np.trace(energy) / len(energy) * np.eye(len(energy))
    turn = solve_triangular(cholesky(energy, lower=True), free.T, lower=True).T
    mean = (_radial((at - middle) / scale, chosen) @ turn).mean(axis=0)
    return Surface(middle, scale, chosen, turn, mean)


def _points(points: ArrayLike) -> NDArray[np.float64]:
    at = np.asarray(points, dtype=float)
    if at.ndim == 1:
        at = at[:, None]
    if at.ndim != 2 or at.shape[1] not in {1, 2}:
        raise ValueError(f"points are {at.shape}: (n, 2) meters along and across, or one coordinate, are needed")
    return at


def _radial(points: NDArray[np.float64], knots: NDArray[np.float64]) -> NDArray[np.float64]:
    """Integrated-squared-bending kernel: r^2 log r / 8 pi on the ground, r^3 / 12 on a line (both positive definite)."""
    square = ((points[:, None, :] - knots[None, :, :]) ** 2).sum(axis=2)
    if points.shape[1] == 1:
        return np.asarray(square**1.5 / 12)
    return np.asarray(xlogy(square, square) / (16 * np.pi))


def _spread_out(places: NDArray[np.float64], knots: int) -> NDArray[np.int64]:
    """Choose places far from each other, always the one farthest from those chosen; the same for the same places."""
    many = min(knots, len(places))
    if many == len(places):
        return np.arange(many)
    chosen = np.empty(many, dtype=np.int64)
    away = ((places - places.mean(axis=0)) ** 2).sum(axis=1)
    chosen[0] = int(np.argmax(away))
    away = ((places - places[chosen[0]]) ** 2).sum(axis=1)
    for k in range(1, many):
        chosen[k] = int(np.argmax(away))
        away = np.minimum(away, ((places - places[chosen[k]]) ** 2).sum(axis=1))
    return chosen

"""Blocks of vines laid out at random with known rows and positions, and the points that a receiver would give of them.

Nothing of the package is used: the rows are drawn as curves, vines are set along them by their length.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

KINDS = ("straight", "curved", "bent", "terraced", "ragged")
#: Of points with an error of 1 m along each axis two thirds lie within so many meters.
TWO_THIRDS = 1.51


@dataclass(frozen=True, slots=True)
class TrueBlock:
    """Vines that stand, in random order.

    Attributes
    ----------
    points : (n, 2) float array
        As measured, meters east and north.
    places : (n, 2) float array
        Where they stand.
    row, position : (n,) int array
        Rows from 0 in their order; positions from 0 at the first vine that stands, missing vines counted, alleys not.
    vine_m, row_m : float
        Spacings that it was planted with.
    kind : str
        Form of its rows.
    """

    points: NDArray[np.float64] = field(repr=False)
    places: NDArray[np.float64] = field(repr=False)
    row: NDArray[np.int64] = field(repr=False)
    position: NDArray[np.int64] = field(repr=False)
    vine_m: float = 1.2
    row_m: float = 2.2
    kind: str = "straight"


def simulated(
    rng: np.random.Generator,
    kind: str,
    error_m: float,
    *,
    rows: int = 30,
    length_m: float = 110.0,
    gaps: float | None = None,
) -> TrueBlock:
    """Draw a block; two thirds of its points lie within `error_m` of their vine."""
    vine_m, row_m = float(rng.uniform(1.0, 2.0)), float(rng.uniform(2.0, 3.0))
    vine_m = min(vine_m, 0.75 * row_m * (0.9 if kind == "terraced" else 1.0))
    share = float(rng.uniform(0.01, 0.15)) if gaps is None else gaps
    # Alleys lie across all rows, at about the same place of each.
    alleys = sorted(rng.uniform(0.32, 0.68, rng.integers(0, 3)) * length_m)
    alleys = [at for n, at in enumerate(alleys) if n == 0 or at - alleys[n - 1] > 25]
    wide = rng.uniform(4.0, 8.0, len(alleys))
    slant = rng.normal(0, [0.15, 0.15, *[0.08] * len(alleys)])
    across = 0.0
    bend = _bend(rng, kind, rows * row_m)
    placed, names, counts = [], [], []
    for row in range(rows):
        low, high = slant[0] * across, length_m + slant[1] * across
        if kind in ("terraced", "ragged"):
            low, high = low + rng.uniform(0, 0.2) * length_m, high - rng.uniform(0, 0.2) * length_m
        along = _vines_along(
            rng, low, high, vine_m, [a + s * across for a, s in zip(alleys, slant[2:], strict=True)], wide
        )
        keep = _standing(rng, along.size, share)
        first = int(np.flatnonzero(keep)[0])
        placed.append(bend(along[keep], across))
        names.append(np.full(int(keep.sum()), row))
        counts.append(np.flatnonzero(keep) - first)
        across += row_m * (float(rng.uniform(0.9, 1.9)) if kind == "terraced" else float(rng.normal(1, 0.01)))
    turn = rng.uniform(0, 2 * np.pi)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    places = np.concatenate(placed) @ spin.T
    points = places + rng.normal(0, error_m / TWO_THIRDS, places.shape)
    mixed = rng.permutation(len(points))
    return TrueBlock(
        points[mixed], places[mixed], np.concatenate(names)[mixed], np.concatenate(counts)[mixed], vine_m, row_m, kind
    )


def _vines_along(rng, low, high, vine_m, alleys, wide):
    """Set vines from one end of a row to the other, each behind the one before."""
    for at, breadth in zip(alleys, wide, strict=True):  # a row that hardly reaches over an alley ends at it
        low = at + breadth if at - 6 * vine_m < low < at + breadth else low
        high = at if at < high < at + breadth + 6 * vine_m else high
    found, at = [], low + rng.uniform(0, vine_m)
    waiting = [pair for pair in zip(alleys, wide, strict=True) if low < pair[0] < high]
    while at < high:
        found.append(at + rng.normal(0, 0.02))
        step = vine_m
        if waiting and at + vine_m > waiting[0][0]:
            step = waiting.pop(0)[1]
        at += step
    return np.array(found)


def _standing(rng, count, share):
    """Tell which vines stand: half of those missing are missing by themselves, half in runs of two to seven."""
    keep = rng.random(count) > share / 2
    for start in np.flatnonzero(rng.random(count) < share / 2 / 4.5):
        keep[start : start + rng.integers(2, 8)] = False
    if keep.sum() < 3:
        keep[:3] = True
    return keep


def _bend(rng, kind, breadth):
    """Return what lays meters along and across a straight block on the ground; lengths along each row stay."""
    if kind in ("straight", "ragged"):
        return lambda along, across: np.column_stack([along, np.full(along.size, across)])
    if kind == "curved":
        radius = float(rng.uniform(60, 200)) + breadth
        side = rng.choice([-1.0, 1.0])

        def arc(along, across):
            own = radius - across
            angle = (along - 55) / own
            return np.column_stack([own * np.sin(angle), side * (radius - own * np.cos(angle))])

        return arc
    wave, high = float(rng.uniform(80, 160)), float(rng.uniform(1, 4))
    if kind == "bent":  # straight, then turned by up to 40 degrees about an arc
        turn, radius = float(rng.uniform(0.2, 0.7)), 40.0 + breadth

        def corner(along, across):
            own = radius - across
            arc_m = turn * own
            into = np.clip(along - 45, 0, None)
            angle = np.minimum(into, arc_m) / own
            rest = np.clip(into - arc_m, 0, None)
            x = np.minimum(along, 45) + own * np.sin(angle) + rest * np.cos(angle)
            y = radius - own * np.cos(angle) + rest * np.sin(angle)
            return np.column_stack([x, y])

        return corner

    def terrace(along, across):  # rows follow the slope: a wave whose curve is the same for all
        fine = np.linspace(-60, 220, 5601)
        course = high * np.sin(2 * np.pi * fine / wave)
        length = np.concatenate([[0], np.cumsum(np.hypot(np.diff(fine), np.diff(course)))])
        x = np.interp(along + np.interp(0, fine, length), length, fine)
        return np.column_stack([x, across + high * np.sin(2 * np.pi * x / wave)])

    return terrace

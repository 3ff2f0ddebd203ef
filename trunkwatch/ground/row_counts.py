"""Positions counted along rows that were found among points, missing vines between."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from trunkwatch.ground.block_frame import Points

__all__ = ["CountedRow", "counted", "openings_at", "row_step", "usual_breadth"]

#: Points on each side that tell where the vines of a stretch of row stand.
WINDOW = 8
#: Count of a point that stands where another already does.
DOUBLE = 1 << 40
#: An opening wider than this many spacings lacks a vine, or is an alley.
OPEN = 1.6
#: A point so many spacings off its place may be the vine of the next one, where that has no point.
LEANING = 0.4
#: Share of the rows, and three at least, that make a narrower opening the breadth of an alley.
ALSO = 0.15
#: Spacings that are tried, as shares of the block's, and how well gaps of so many hundredths of it fit each.
_STEPS = np.linspace(0.93, 1.07, 141)
_FITS = np.cos(2 * np.pi * ((np.arange(750) + 0.5) / 100)[None, :] / _STEPS[:, None])


@dataclass(frozen=True, slots=True)
class CountedRow:
    """A row that is counted.

    Attributes
    ----------
    position : (points,) int array
        From 0, missing vines counted, in the order of the points along the row; -1 for a second point at a vine.
    off : (points,) float array
        How far each point stands from its place along the row, in spacings.
    breaks : dict
        Metres from the position before an alley to the next one behind it.
    step_m : float
        Spacing.
    unsure : str
        What about the row is doubtful; empty where nothing.
    """

    position: NDArray[np.int64] = field(repr=False)
    off: Points = field(repr=False)
    breaks: dict[int, float]
    step_m: float
    unsure: str = ""


def row_step(along_m: Points, vine_m: float) -> float:
    """Return the spacing of a row, near that of the block, from its points in order."""
    if along_m.size < 10:
        return vine_m
    gaps = np.concatenate([along_m[lag:] - along_m[:-lag] for lag in range(1, 7)])
    gaps = gaps[(gaps >= 0) & (gaps < 7.5 * vine_m)]
    # Counted in bins of a hundredth of a vine: long rows cost no more than short ones.
    seen = np.bincount((100 * gaps / vine_m).astype(np.int64), minlength=750)[:750]
    return float(vine_m * _STEPS[(_FITS @ seen).argmax()])


def openings_at(along_m: Points, step_m: float, cuts: Sequence[int]) -> list[float]:
    """Return the metres from vine to vine of the openings behind some points, with the error of one point taken out."""
    stretches = [(piece, _stretch(along_m[piece], step_m)[1]) for piece in _pieces(along_m.size, cuts)]
    ends = [(along_m[piece[0]] - off[0] * step_m, along_m[piece[-1]] - off[-1] * step_m) for piece, off in stretches]
    return [after[0] - before[1] for before, after in pairwise(ends)]


def usual_breadth(openings: Points, step_m: float) -> tuple[float, bool]:
    """Return how broad an alley is without missing vines beside it, and whether most rows agree on that."""
    near = np.abs(openings[None, :] - openings[:, None]) < 0.3 * step_m
    votes = near.sum(axis=1) - 1e-6 * openings
    breadth = float(np.median(openings[near[votes.argmax()]]))
    # Missing vines only make it wider: the narrowest that several rows agree on is the alley, however many lack a vine beside it.
    narrower = (votes >= max(2.5, ALSO * openings.size)) & (openings < breadth - 0.7 * step_m)
    if narrower.any():
        breadth = float(np.median(openings[near[np.flatnonzero(narrower)[openings[narrower].argmin()]]]))
    spare = (openings - breadth) / step_m
    agree = (np.abs(spare - np.round(spare)) < 0.3) & (spare > -0.5)
    return breadth, bool(agree.mean() > 0.8)


def counted(along_m: Points, step_m: float, breadths: Mapping[int, float], *, agreed: bool = True) -> CountedRow:
    """Count the positions of a row.

    Parameters
    ----------
    along_m : (points,) float array
        Metres along the row, rising.
    step_m : float
        Spacing.
    breadths : mapping
        Index of the point before each alley to the alley's usual breadth, from vine to vine.
    agreed : bool
        Whether rows agree on those breadths.
    """
    cuts = sorted(breadths)
    position, off = np.zeros(along_m.size, dtype=np.int64), np.zeros(along_m.size)
    breaks: dict[int, float] = {}
    unsure, next_first = "", 0
    pieces = _pieces(along_m.size, cuts)
    wide = openings_at(along_m, step_m, cuts)
    for number, piece in enumerate(pieces):
        count, left = _stretch(along_m[piece], step_m)
        if number:
            cut = cuts[number - 1]
            spare = (wide[number - 1] - breadths[cut]) / step_m
            if spare < -0.5 and _is_a_place_early(count):
                # No alley is narrower than it is: the first vine behind it was counted a place too early.
                count[0] += 1
                left[0] -= 1
                spare += 1
            missing = max(int(np.floor(spare + 0.5)), 0)
            if abs(spare - missing) > 0.35 or not agreed or min(piece.size, pieces[number - 1].size) < 4:
                unsure = f"how many vines are missing beside the alley after position {next_first}"
            breaks[next_first - 1] = float(breadths[cut])
            next_first += missing
        single = count < DOUBLE
        position[piece] = np.where(single, next_first + count - count[single][0], -1)
        off[piece] = left
        next_first = int(position[piece].max()) + 1
    # A point this far off its place is no vine of the row, or no vine.
    strange = np.abs(off) > max(0.4, 5.5 * 1.4826 * float(np.median(np.abs(off))))
    position = np.where(strange, -1, position)
    first = int(position[position >= 0].min())
    position = np.where(position >= 0, position - first, -1)
    breaks = {at - first: wide for at, wide in breaks.items() if at >= first}
    return CountedRow(position, off, breaks, step_m, unsure or _doubt(along_m, position, off, step_m))


def _is_a_place_early(count: NDArray[np.int64]) -> bool:
    """Tell whether the place behind the first point of a stretch is free."""
    return count.size > 2 and count[0] < DOUBLE and bool(count[1] == count[0] + 2)


def _doubt(along_m: Points, position: NDArray[np.int64], off: Points, step_m: float) -> str:
    """Say what is doubtful of a row that is counted: points off their places, and few vines alone at an end of it."""
    usual = 1.4826 * float(np.median(np.abs(off)))
    far = np.abs(off) > max(0.3, min(4.5 * usual, 0.6))
    if far.sum() > 1 or (position < 0).sum() > 1:
        return "points that do not stand whole spacings apart"
    if (between := _between_places(position, off)) is not None:
        return f"a point between position {between + 1} and the empty one beside it"
    # Few vines alone at an end, a gap away from the others: nothing beyond them tells how many are missing between.
    cuts = np.flatnonzero(np.diff(along_m) > 1.25 * step_m)
    for alone in (slice(0, cuts[0] + 1), slice(cuts[-1] + 1, None)) if cuts.size else ():
        gap = float(
            along_m[alone.stop] - along_m[alone.stop - 1]
            if alone.start == 0
            else along_m[alone.start] - along_m[alone.start - 1]
        )
        far_out = off[alone].size < 3 and gap > 4.5 * step_m
        if far_out or (off[alone].size < 4 and abs(float(off[alone].mean())) > 0.2):
            where = "first" if alone.start == 0 else "last"
            return f"how many vines are missing beside its {where} ones"
    return ""


def _between_places(position: NDArray[np.int64], off: Points) -> int | None:
    """Return the position of a point that leans so far toward a place without a point that it may be that vine; None where none does."""
    taken = position[position >= 0]
    lean = np.flatnonzero((np.abs(off) > LEANING) & (position >= 0))
    beside = position[lean] + np.sign(off[lean]).astype(np.int64)
    free = ~np.isin(beside, taken) & (beside > 0) & (beside < taken.max())
    return int(position[lean[free][0]]) if free.any() else None


def _pieces(count: int, cuts: Sequence[int]) -> list[NDArray[np.int64]]:
    return np.split(np.arange(count, dtype=np.int64), [cut + 1 for cut in sorted(cuts)])


def _stretch(along_m: Points, step_m: float) -> tuple[NDArray[np.int64], Points]:
    """Count a stretch without alleys; return counts, and by how many spacings each point is off its place."""
    x = along_m / step_m
    total = np.concatenate([[0], np.cumsum(np.exp(2j * np.pi * x))])
    at = np.arange(x.size)
    low, high = np.clip(at - WINDOW, 0, None), np.clip(at + WINDOW + 1, None, x.size)
    phase = np.unwrap(np.angle(total[high] - total[low])) / (2 * np.pi)
    whole = x - phase
    count = _apart(whole, np.round(whole).astype(np.int64))
    return count, np.where(count < DOUBLE, whole - count, 0.0)


def _apart(whole: Points, count: NDArray[np.int64]) -> NDArray[np.int64]:
    """Give two points that fall on one vine a vine each where one beside is free and near; else the further is a second point."""
    taken = set(count.tolist())
    for at in np.flatnonzero(np.diff(count) < 1).tolist():
        if count[at] >= DOUBLE or count[at + 1] != count[at]:
            continue
        own = int(count[at])
        ways = [(whole[at] - (own - 1), at, own - 1), (own + 1 - whole[at + 1], at + 1, own + 1)]
        free = [way for way in ways if way[2] not in taken and way[0] < 0.85]
        if free:
            _, moved, place = min(free)
            count[moved] = place
            taken.add(place)
        else:
            count[at if abs(whole[at] - own) > abs(whole[at + 1] - own) else at + 1] = DOUBLE
    return count

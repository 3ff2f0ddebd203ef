"""From points of vines that nobody labelled to rows and positions, or to the reason why they cannot be told."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from trunkwatch.errors import RecordError
from trunkwatch.ground.block_frame import Points
from trunkwatch.ground.linked_rows import LinkedRows, linked_rows
from trunkwatch.ground.row_alleys import Openings, alleys_through
from trunkwatch.ground.row_counts import OPEN, CountedRow, counted, openings_at, row_step, usual_breadth
from trunkwatch.ground.row_sides import Sides, one_row_each, strays_put_in

__all__ = ["MOST_OFF", "TWO_THIRDS", "LaidPoints", "LaidRow", "laid_points", "needed_accuracy"]

#: Of points with an error of 1 m along each axis, two thirds lie within so many metres.
TWO_THIRDS = 1.51
#: Points off by more than this share of a spacing, as a standard deviation, cannot be told apart (tests/calibration).
MOST_OFF = 0.165
#: Share of points that may lie in no row, and of looks from row to row that may contradict the order of rows.
MOST_LOST, MOST_CONTRARY = 0.02, 0.01
#: Rows must be so much clearer than any other way through the points (see `Course`).
LEAST_CLEAR = 1.15
#: What to bring in place of points that will not do.
WHAT_WOULD_DO = (
    "two thirds of the points within a quarter of the spacing of their vine (0.30 m where vines stand 1.2 m apart), as a survey receiver or "
    "an orthophoto gives them; or lines of the rows with --vine-spacing-m; or rows and vines counted by hand"
)
#: No row is longer.
LONGEST_M = 100_000.0
#: Fewest points that rows can be told from.
FEWEST_POINTS = 12


@dataclass(frozen=True, slots=True)
class LaidRow:
    """One row: its points in order.

    Attributes
    ----------
    points : (n,) int array
        Indices of its points, the way positions grow.
    position : (n,) int array
        From 1, missing vines counted.
    along_m : (n,) float array
        Metres along the row, curves followed, from the first.
    breaks : dict
        Position before an alley to the metres to the next position.
    step_m, across_m, start_m : float
        Spacing; metres from the first row; metres from the base line to the first vine.
    unsure : str
        What is doubtful; empty where nothing.
    """

    points: NDArray[np.int64] = field(repr=False)
    position: NDArray[np.int64] = field(repr=False)
    along_m: Points = field(repr=False)
    breaks: dict[int, float]
    step_m: float
    across_m: float
    start_m: float
    unsure: str = ""

    @property
    def last(self) -> int:
        """Last position."""
        return int(self.position[-1])


@dataclass(frozen=True, slots=True)
class LaidPoints:
    """Points laid into rows, from left to right as one looks along them.

    Attributes
    ----------
    rows : tuple of LaidRow
        The rows.
    vine_m, row_m : float
        Spacings.
    accuracy_m : float
        Two thirds of the points lie within so many metres of where their row puts the vine.
    lost : (n,) int array
        Points that lie in no row.
    along : (n, 2) float array
        The way the row runs at each point.
    """

    rows: tuple[LaidRow, ...] = field(repr=False)
    vine_m: float
    row_m: float
    accuracy_m: float
    lost: NDArray[np.int64] = field(repr=False)
    along: Points = field(repr=False)

    @property
    def missing(self) -> int:
        """Positions without a point."""
        return sum(row.last - row.points.size for row in self.rows)


def needed_accuracy(vine_m: float, row_m: float) -> float:
    """Return the accuracy that points need: two thirds of them within so many metres."""
    return MOST_OFF * TWO_THIRDS * min(vine_m, row_m)


def laid_points(points: Points, name: str = "", accuracy_m: float = math.nan) -> LaidPoints:
    """Lay points, a vine each, into rows that may curve, and count their positions.

    Parameters
    ----------
    points : (n, 2) float array
        Metres east and north, in any order.
    name : str
        Label of the block, for messages.
    accuracy_m : float
        Accuracy that the receiver tells; nan for unknown.

    Raises
    ------
    RecordError
        If rows or vines cannot be told apart, with the accuracy that it would take.
    """
    if len(points) < FEWEST_POINTS:
        raise RecordError(
            f"block {name!r} has {len(points)} points; expected: {FEWEST_POINTS} or more, a vine each, or lines of rows"
        )
    _refuse_twins(points, name)
    # Points that are near on the ground lie near in memory: looking from one to the next is then several times as fast.
    order = _by_place(points)
    laid = _laid_in_order(points[order], name, accuracy_m)
    along = np.empty_like(laid.along)
    along[order] = laid.along
    rows = tuple(replace(row, points=order[row.points]) for row in laid.rows)
    return replace(laid, rows=rows, lost=np.sort(order[laid.lost]), along=along)


def _by_place(points: Points) -> NDArray[np.int64]:
    """Return an order in which points of one square of the ground follow each other, square by square."""
    low = points.min(axis=0)
    side = max(float(np.sqrt(np.prod(points.max(axis=0) - low) / max(len(points) / 32, 1))), 1e-6)
    square = np.floor((points - low) / side).astype(np.int64)
    return np.lexsort((np.arange(len(points)), square[:, 0], square[:, 1])).astype(np.int64)


def _laid_in_order(points: Points, name: str, accuracy_m: float) -> LaidPoints:
    found = linked_rows(points)
    if accuracy_m > needed_accuracy(found.vine_m, found.row_m):
        raise RecordError(_too_far_off(name, accuracy_m, "are told to", found.vine_m, found.row_m))
    if found.row.max() < 1:
        raise RecordError(
            f"block {name!r}: its {len(points)} points lie in fewer than two rows; expected: two rows or more, vines "
            "closer in the row than rows are apart; or lines of rows with their vine spacing"
        )
    found, sides = one_row_each(points, found)
    found, sides = strays_put_in(points, found, sides)
    _refuse_circles(found, name)
    laid = _counted_rows(points, found, sides)
    _refuse(points, found, sides, laid, name)
    return laid


def _counted_rows(points: Points, found: LinkedRows, sides: Sides) -> LaidPoints:
    order = [np.flatnonzero(found.row == number) for number in sides.order]
    order = [own[np.argsort(found.along_m[own], kind="stable")] for own in order]
    metres = [found.along_m[own] for own in order]
    usual = float(
        np.median([row_step(along_m, found.vine_m) for along_m in metres if along_m.size >= 10] or [found.vine_m])
    )
    steps = [row_step(along_m, usual) for along_m in metres]
    breadths, in_doubt = _alleys(points, order, metres, steps)
    rows: list[LaidRow] = []
    spread: list[Points] = []
    for place, (own, along_m, step) in enumerate(zip(order, metres, steps, strict=True)):
        told = counted(
            along_m,
            step,
            {cut: wide for cut, (wide, _) in breadths[place].items()},
            agreed=all(agreed for _, agreed in breadths[place].values()),
        )
        if place in in_doubt and not told.unsure:
            told = replace(
                told, unsure=f"an opening that may be an alley or missing vines, counted as {in_doubt[place]}"
            )
        spread.append(told.off * step)
        rows.append(_row(own, along_m, told, sides, int(sides.order[place])))
    off = np.concatenate(spread)
    across = _off_line(points, rows, found)
    both = np.sqrt((_deviation(off) ** 2 + _deviation(across) ** 2) / 2)
    vine_m = float(np.median(np.repeat(steps, [own.size for own in order])))
    lost = np.setdiff1d(np.arange(len(points)), np.concatenate([row.points for row in rows]))
    rows = _near_the_lost(points, rows, lost)
    return LaidPoints(tuple(rows), vine_m, sides.row_m, float(TWO_THIRDS * both), lost, found.along)


def _row(own: NDArray[np.int64], along_m: Points, told: CountedRow, sides: Sides, number: int) -> LaidRow:
    single = told.position >= 0
    own, along_m = own[single], along_m[single]
    first_m = float(along_m[0] - told.off[single][0] * told.step_m)
    return LaidRow(
        own,
        told.position[single] + 1,
        along_m - first_m,
        {at + 1: wide for at, wide in told.breaks.items()},
        told.step_m,
        float(sides.across_m[number] - sides.across_m.min()),
        float(sides.start_m[number]) + first_m,
        told.unsure,
    )


def _alleys(
    points: Points, order: Sequence[NDArray[np.int64]], metres: Sequence[Points], steps: Sequence[float]
) -> tuple[list[dict[int, tuple[float, bool]]], dict[int, str]]:
    """Return of each row the point before each alley, with the alley's breadth and whether rows agree on it.

    And what openings are counted as in rows in doubt: an alley, where nearly all rows of the block have one beside each other.
    """
    cuts: list[tuple[int, int]] = []
    for place, (along_m, step) in enumerate(zip(metres, steps, strict=True)):
        cuts += [(place, cut) for cut in np.flatnonzero(np.diff(along_m) > OPEN * step).tolist()]
    openings = Openings(
        np.array([place for place, _ in cuts], dtype=np.int64),
        *(points[[order[place][cut + behind] for place, cut in cuts]].reshape(-1, 2) for behind in (0, 1)),
    )
    found: list[dict[int, tuple[float, bool]]] = [{} for _ in order]
    groups, maybe = alleys_through(
        openings, [points[own] for own in order], float(sum(m[-1] - m[0] for m in metres)), float(np.median(steps))
    )
    doubt: dict[int, str] = {}
    for members in maybe:
        through = len(members) > 0.85 * len(order)
        groups += [members] if through else []
        doubt |= {cuts[number][0]: "an alley" if through else "missing vines" for number in members}
    own_cuts: list[list[int]] = [[] for _ in order]
    for members in groups:
        for number in members:
            own_cuts[cuts[number][0]].append(cuts[number][1])
    wide = [
        dict(zip(sorted(c), openings_at(m, s, sorted(c)), strict=True)) if c else {}
        for m, s, c in zip(metres, steps, own_cuts, strict=True)
    ]
    for members in groups:
        breadths = np.array([wide[cuts[number][0]][cuts[number][1]] for number in members])
        breadth, agreed = usual_breadth(breadths, float(np.median(steps)))
        for number in members:
            found[cuts[number][0]][cuts[number][1]] = breadth, agreed
    return found, doubt


def _off_line(points: Points, rows: Sequence[LaidRow], found: LinkedRows) -> Points:
    """Return how far points lie beside the line through the points before and behind them."""
    away = []
    for row in rows:
        if row.points.size < 7:
            continue
        own = points[row.points]
        # A parabola through seven points; the middle one's own share in it is 1/3.
        weights = np.array([-2, 3, 6, 7, 6, 3, -2]) / 21
        smooth = np.column_stack([np.convolve(axis, weights, mode="valid") for axis in own.T])
        step = own[3:-3] - smooth
        way = found.along[row.points][3:-3]
        away.append((way[:, 0] * step[:, 1] - way[:, 1] * step[:, 0]) / np.sqrt(1 - 1 / 3))
    return np.concatenate(away) if away else np.zeros(1)


def _deviation(values: Points) -> float:
    """Return the standard deviation that most values have; a few far ones do not count."""
    return float(max(1.4826 * np.median(np.abs(values)), 0.7 * np.sqrt(np.mean(values**2))))


def _near_the_lost(points: Points, rows: Sequence[LaidRow], lost: NDArray[np.int64]) -> list[LaidRow]:
    """Name the two rows next to each point that lies in none: one of them may lack its first vine."""
    if not lost.size:
        return list(rows)
    held = np.concatenate([row.points for row in rows])
    number = np.repeat(np.arange(len(rows)), [row.points.size for row in rows])
    near = number[cKDTree(points[held]).query(points[lost], k=min(12, held.size))[1].reshape(lost.size, -1)]
    beside = {int(row) for some in near for row in list(dict.fromkeys(some.tolist()))[:2]}
    said = "a point beside it lies in no row"
    return [replace(row, unsure=row.unsure or said) if n in beside else row for n, row in enumerate(rows)]


def _too_far_off(name: str, accuracy_m: float, how: str, vine_m: float, row_m: float) -> str:
    return (
        f"block {name!r}: its points {how} lie {accuracy_m:.2f} m or more off their vines, and rows seem {row_m:.1f} m and vines {vine_m:.1f} m "
        f"apart, so which vine a point is cannot be told; expected: {WHAT_WOULD_DO}"
    )


def _refuse_circles(found: LinkedRows, name: str) -> None:
    """Refuse rows whose metres fit no line: they run in circles, or cross each other."""
    if not (np.abs(found.along_m[found.row >= 0]) < LONGEST_M).all():
        raise RecordError(
            f"block {name!r}: its rows run in circles or cross each other, and have no length; expected: the points of one block, "
            f"its rows beside each other; {WHAT_WOULD_DO}"
        )


def _refuse_twins(points: Points, name: str) -> None:
    """Refuse points in one place: no two vines stand there."""
    _, first = np.unique(np.round(points, 2), axis=0, return_index=True)
    if first.size < len(points):
        raise RecordError(
            f"block {name!r}: {len(points) - first.size} of its {len(points)} points lie on another point; expected: each vine once"
        )


def _refuse(points: Points, found: LinkedRows, sides: Sides, laid: LaidPoints, name: str) -> None:
    off = laid.accuracy_m / TWO_THIRDS
    if off > MOST_OFF * min(laid.vine_m, laid.row_m) or found.clear < LEAST_CLEAR:
        raise RecordError(_too_far_off(name, laid.accuracy_m, "seem to", laid.vine_m, laid.row_m))
    if sides.parts > 1:
        raise RecordError(
            f"block {name!r}: its points lie in {sides.parts} groups of rows with no row beside each other; "
            "expected: the points of one block; make a block of each group from a file of its own"
        )
    lost = laid.lost.size / len(points)
    if lost > MOST_LOST:
        raise RecordError(
            f"block {name!r}: {laid.lost.size} of {len(points)} points ({100 * lost:.0f} %) lie in no row; expected: {WHAT_WOULD_DO}"
        )
    if sides.contrary > MOST_CONTRARY:
        raise RecordError(
            f"block {name!r}: its rows cannot be put in one order ({100 * sides.contrary:.1f} % of the inspections from row to row contradict it), "
            f"since rows cross or a row is put together of two; expected: {WHAT_WOULD_DO}"
        )

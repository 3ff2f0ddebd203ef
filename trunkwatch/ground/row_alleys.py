"""Alleys through several rows, told from vines that are missing by themselves."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from trunkwatch.ground.block_frame import Points

__all__ = ["Openings", "alleys_through"]

#: So many rows have an alley at least, and so large a share of the rows from the first of them to the last.
FEWEST_ROWS, LEAST_SHARE = 3, 0.8
#: An alley goes on behind so many rows that end before it.
MOST_BETWEEN = 8
#: Chance that openings of missing vines lie so beside each other in a block.
MOST_CHANCE = 1e-4
#: An opening of fewer spacings is what one missing vine leaves: it takes a thousand times more to call it an alley.
NARROW = 2.6
#: So many openings that agree so well (length of the mean of their phases) on a breadth so far off whole spacings are no missing vines;
#: those within half of it are what missing vines leave.
FEWEST_AGREEING, AGREEING, OFF_MULTIPLE = 5, 0.7, 0.2
#: What either counts for, and what an opening counts that is as narrow as one missing vine leaves it.
WEIGHT = 1e-3
#: With a greater one than that an alley and missing vines cannot be told apart; with a greater one than this there is none.
DOUBT = 1.0
#: Openings lie beside each other where this share of the shorter one is open in the other as well.
SHARED = 0.45
#: Alleys may run aslant: metres along the rows for each metre across.
SLANTS = (0.0, 0.12, -0.12, 0.25, -0.25, 0.4, -0.4, 0.6, -0.6)


@dataclass(frozen=True, eq=False)
class Openings:
    """Openings of rows: stretches without a point.

    Attributes
    ----------
    place : (openings,) int array
        Place of the row in the order of the ground; rising.
    end, start : (openings, 2) float array
        The points before and behind the opening.
    """

    place: NDArray[np.int64] = field(repr=False)
    end: Points = field(repr=False)
    start: Points = field(repr=False)

    @cached_property
    def wide(self) -> Points:
        """Metres from the point before to the point behind."""
        return np.asarray(np.hypot(*(self.start - self.end).T))


@dataclass(frozen=True, slots=True)
class _Way:
    """Openings that lie beside each other, one a row, and by what chance."""

    chosen: tuple[int, ...]
    slant: float
    chance: float


def alleys_through(
    openings: Openings, rows: Sequence[Points], total_m: float, vine_m: float
) -> tuple[list[list[int]], list[list[int]]]:
    """Group openings that lie beside each other in neighboring rows: each group is an alley.

    Vines are missing in runs as well, and openings of two rows beside each other are nothing: a group is an alley where so many
    rows one after the other have it that chance would not bring it about once in a thousand blocks.

    Parameters
    ----------
    openings : Openings
        All openings of the block.
    rows : sequence of (points, 2) float array
        The points of each row, in the order of the ground.
    total_m : float
        The length of the rows together.
    vine_m : float
        Metres between vines.

    Returns
    -------
    alleys, doubtful : list of list of int
        Openings of each alley, and of those that may be one.
    """
    if not openings.place.size:
        return [], []
    beside = _Beside(openings, rows, vine_m)
    ways = [way for slant in SLANTS for way in _ways(openings, beside, total_m, vine_m, slant)]
    used = np.zeros(openings.place.size, dtype=bool)
    found: tuple[list[list[int]], list[list[int]]] = ([], [])
    for way in sorted(ways, key=lambda way: (way.chance, way.chosen)):
        if used[list(way.chosen)].any():
            continue
        chosen = _with_rows_left_out(way, openings, used)
        used[chosen] = True
        found[way.chance >= MOST_CHANCE].append(chosen)
    return found


class _Beside:
    """What openings of two rows share, and where a row has vines beside openings of another, for any slant.

    Where things lie is worked out once for each two rows; how far an alley leans is added each time.
    """

    def __init__(self, openings: Openings, rows: Sequence[Points], vine_m: float) -> None:
        self.openings, self.rows, self.vine_m = openings, rows, vine_m
        self.cuts = np.searchsorted(openings.place, np.arange(len(rows) + 1))
        self._spans: dict[tuple[int, int], _Spans] = {}
        self._vines: dict[tuple[int, int], tuple[Points, Points]] = {}
        self._trees: dict[int, cKDTree] = {}

    def of(self, place: int) -> NDArray[np.int64]:
        """Return the openings of a row."""
        return np.arange(self.cuts[place], self.cuts[place + 1])

    def share(self, place: int, further: int, slant: float) -> NDArray[np.bool_]:
        """Tell of each opening of a row beside which of another row it lies."""
        key = (place, further)
        if key not in self._spans:
            self._spans[key] = _spans(self.openings, self.of(place)[:, None], self.of(further)[None])
        return np.asarray(self._spans[key].shared(slant)[1] > SHARED)

    def closed(self, place: int, further: int, slant: float) -> NDArray[np.bool_]:
        """Tell of each opening of a row whether another row has vines beside its middle."""
        key = (place, further)
        if key not in self._vines:
            self._vines[key] = self._near_vines(place, further)
        ahead, apart = self._vines[key]
        wide = self.openings.wide[self.of(place)]
        return np.asarray((np.abs(ahead - slant * apart) < wide[:, None] / 4).any(axis=1))

    def _near_vines(self, place: int, further: int) -> tuple[Points, Points]:
        """Return how far vines of a row lie ahead of the middles of openings of another, and how far beside: those near enough to count."""
        these, row = self.of(place), self.rows[further]
        if further not in self._trees:
            self._trees[further] = cKDTree(row)
        middle = (self.openings.end[these] + self.openings.start[these]) / 2
        away, nearest = (np.asarray(part) for part in self._trees[further].query(middle))
        wide = self.openings.wide[these]
        reach = float(wide.max()) / 4 + (max(SLANTS) + 0.5) * float(away.max()) + 4 * self.vine_m
        many = math.ceil(2 * reach / self.vine_m)
        which = nearest[:, None] + np.arange(-many, many + 1)
        outside = (which < 0) | (which >= len(row))
        step = row[np.clip(which, 0, len(row) - 1)] - middle[:, None]
        way = (self.openings.start[these] - self.openings.end[these]) / np.maximum(wide, 1e-9)[:, None]
        apart = np.abs(way[:, None, 0] * step[..., 1] - way[:, None, 1] * step[..., 0])
        ahead = way[:, None, 0] * step[..., 0] + way[:, None, 1] * step[..., 1]
        return np.where(outside, np.inf, ahead), apart


def _ways(openings: Openings, beside: _Beside, total_m: float, vine_m: float, slant: float) -> list[_Way]:
    """Return ways through openings, aslant as given, that chance does not make."""
    after, closed = _links(beside, slant)
    length, best, against = _longest(after, closed)
    wide, found = openings.wide, []
    free = np.ones(openings.place.size, dtype=bool)
    for start in np.argsort(-length, kind="stable").tolist():
        if length[start] < FEWEST_ROWS:
            break
        chosen, shut, at = [], 0, start
        while at >= 0 and free[at]:
            chosen.append(at)
            shut += against[at]
            at = best[at]
        free[chosen] = False
        if len(chosen) < FEWEST_ROWS or shut > (1 - LEAST_SHARE) * len(chosen):
            continue
        chance = len(SLANTS) * wide.size * _each(openings, chosen, slant, total_m) ** (len(chosen) - 1 - 2 * shut)
        off = _off_multiple(wide[chosen] / vine_m)
        if off > OFF_MULTIPLE:
            chance *= WEIGHT
        elif off < OFF_MULTIPLE / 2 or float(np.median(wide[chosen])) < NARROW * vine_m:
            chance /= WEIGHT
        if chance < DOUBT:
            found.append(_Way(tuple(chosen), slant, chance))
    return found


def _off_multiple(wide: Points) -> float:
    """Return how far openings are from whole numbers of spacings, as missing vines leave them; nan where they do not agree on it."""
    mean = complex(np.exp(2j * np.pi * wide).mean())
    agree = wide.size >= FEWEST_AGREEING and abs(mean) > AGREEING
    return float(abs(np.angle(mean)) / (2 * np.pi)) if agree else float("nan")


def _each(openings: Openings, chosen: Sequence[int], slant: float, total_m: float) -> float:
    """Return the chance that vines missing by themselves make a row share as much with the row before as these rows do."""
    wide = openings.wide
    shared = _spans(openings, np.array(chosen[:-1]), np.array(chosen[1:])).shared(slant)[0]
    usual, least = float(np.median(wide[list(chosen)])), float(np.quantile(shared, 0.25))
    others = np.ones(wide.size, dtype=bool)
    others[list(chosen)] = False
    broad = wide[others & (wide >= least)]
    # Where an opening that is broad enough can begin and still share so much.
    room = np.maximum(broad + usual - 2 * least, 0.0)
    return min((float(room.sum()) + usual) / max(total_m, usual), 0.9)


def _links(beside: _Beside, slant: float) -> tuple[list[list[int]], list[int]]:
    """Return of each opening those beside it in the next row that comes by, and how many rows between are closed there."""
    count = beside.openings.place.size
    after: list[list[int]] = [[] for _ in range(count)]
    shut = np.zeros(count, dtype=np.int64)
    for place in range(len(beside.rows)):
        own = beside.of(place)
        waiting = np.ones(own.size, dtype=bool)
        for further in range(place + 1, min(place + 1 + MOST_BETWEEN, len(beside.rows))):
            if not waiting.any():
                break
            others = beside.of(further)
            shares = beside.share(place, further, slant) & waiting[:, None]
            found = shares.any(axis=1)
            for at in np.flatnonzero(found).tolist():
                after[own[at]] = others[shares[at]].tolist()
            waiting &= ~found
            if waiting.any():
                shut[own[waiting & beside.closed(place, further, slant)]] += 1
                waiting &= shut[own] < 2
    return after, shut.tolist()


@dataclass(frozen=True, slots=True)
class _Spans:
    """Where openings lie seen from others: metres ahead and beside, and how long both are in the way between them."""

    ahead: Points
    apart: Points
    long: Points
    other: Points

    def shared(self, slant: float) -> tuple[Points, Points]:
        """Return how many metres each two openings share, and what share of the shorter that is."""
        low = self.ahead - slant * self.apart
        shorter = np.minimum(self.long, self.other)
        both = np.where(shorter > 0, np.minimum(self.long, low + self.other) - np.maximum(0, low), 0.0)
        return both, both / np.maximum(shorter, 1e-9)


def _spans(openings: Openings, these: NDArray[np.int64], those: NDArray[np.int64]) -> _Spans:
    """Set openings beside others; the two arrays of numbers are spread over each other."""
    x, y = (openings.start - openings.end).T
    way_x, way_y = (axis[these] / openings.wide[these] + axis[those] / openings.wide[those] for axis in (x, y))
    length = np.maximum(np.hypot(way_x, way_y), 1e-12)
    way_x, way_y = way_x / length, way_y / length
    step_x, step_y = (axis[those] - axis[these] for axis in openings.end.T)
    return _Spans(
        step_x * way_x + step_y * way_y,
        np.abs(way_x * step_y - way_y * step_x),
        x[these] * way_x + y[these] * way_y,
        x[those] * way_x + y[those] * way_y,
    )


def _longest(after: Sequence[Sequence[int]], shut: Sequence[int]) -> tuple[NDArray[np.int64], list[int], list[int]]:
    """Return of each opening how long a way goes on from it, where to, and how many closed rows lie before that."""
    length = np.ones(len(after), dtype=np.int64)
    best, against = [-1] * len(after), [0] * len(after)
    for opening in range(len(after) - 1, -1, -1):
        for other in after[opening]:
            reach = length[other] + 1 - 3 * shut[opening]
            if reach > length[opening]:
                length[opening], best[opening], against[opening] = reach, other, shut[opening]
    return length, best, against


def _with_rows_left_out(way: _Way, openings: Openings, used: NDArray[np.bool_]) -> list[int]:
    """Add the openings of rows between and beside that the alley goes through all the same."""
    at = {int(openings.place[number]): number for number in way.chosen}
    rows = int(openings.place[-1]) + 1
    broad = openings.wide > 0.6 * float(np.median(openings.wide[list(way.chosen)]))
    # From the rows that have it outward, each seen from the nearest that has it.
    first = _places(way, openings)
    for place in sorted(set(range(rows)) - set(at), key=lambda place: min(abs(place - other) for other in first)):
        near = at[min(at, key=lambda other: abs(other - place))]
        own = np.flatnonzero((openings.place == place) & ~used & broad)
        if not own.size or abs(int(openings.place[near]) - place) > MOST_BETWEEN:
            continue
        _, share = _from(way, openings, near, own)
        between = min(first) < place < max(first)
        wide = openings.wide[own] > 0.8 * float(np.median(openings.wide[list(way.chosen)]))
        if share.max() > (0.3 if between or wide[share.argmax()] else SHARED):
            at[place] = int(own[share.argmax()])
    return _settled(way, openings, used, at)


def _settled(way: _Way, openings: Openings, used: NDArray[np.bool_], at: dict[int, int]) -> list[int]:
    """Of several openings of a row beside the alley keep the one that shares most with the rows around it."""
    places = sorted(at)
    for number, place in enumerate(places):
        own = np.flatnonzero((openings.place == place) & (~used | (np.arange(used.size) == at[place])))
        if own.size < 2:
            continue
        around = places[max(number - 2, 0) : number] + places[number + 1 : number + 3]
        shared = sum(np.maximum(_from(way, openings, at[other], own)[0], 0) for other in around)
        at[place] = int(own[np.argmax(shared)])
    return [at[place] for place in places]


def _from(way: _Way, openings: Openings, near: int, own: NDArray[np.int64]) -> tuple[Points, Points]:
    """Return what openings of one row share with an opening of another; an alley that leans forward leans back from behind."""
    slant = way.slant if openings.place[own[0]] > openings.place[near] else -way.slant
    return _spans(openings, np.full(own.size, near), own).shared(slant)


def _places(way: _Way, openings: Openings) -> list[int]:
    """Return the places of the rows of a way."""
    return [int(openings.place[number]) for number in way.chosen]

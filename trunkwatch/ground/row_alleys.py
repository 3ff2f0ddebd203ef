"""Alleys through several rows, told from vines that are missing by themselves."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from trunkwatch.ground.block_frame import Points

__all__ = ["Openings", "alleys_through"]

#: So many rows have an alley at least, and so large a share of the rows from the first of them to the last.
FEWEST_ROWS, LEAST_SHARE = 3, 0.8
#: An alley goes on behind so many rows that end before it.
MOST_BETWEEN = 8
#: Chance that openings of missing vines lie so beside each other in a block.
MOST_CHANCE = 1e-3
#: An opening of fewer spacings is what one missing vine leaves: it takes a thousand times more to call it an alley.
NARROW = 2.6
#: With a greater one than that an alley and missing vines cannot be told apart; with a greater one than this there is none.
DOUBT = 1.0
#: Openings lie beside each other where this share of the shorter one is open in the other as well.
SHARED = 0.45
#: Alleys may run aslant: metres along the rows for each metre across.
SLANTS = (0.0, 0.12, -0.12, 0.25, -0.25, 0.4, -0.4, 0.6, -0.6)


@dataclass(frozen=True, slots=True)
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

    @property
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
    ways = [way for slant in SLANTS for way in _ways(openings, rows, total_m, vine_m, slant)]
    used = np.zeros(openings.place.size, dtype=bool)
    found: tuple[list[list[int]], list[list[int]]] = ([], [])
    for way in sorted(ways, key=lambda way: (way.chance, way.chosen)):
        if used[list(way.chosen)].any():
            continue
        chosen = _with_rows_left_out(way, openings, used)
        used[chosen] = True
        found[way.chance >= MOST_CHANCE].append(chosen)
    return found


def _ways(openings: Openings, rows: Sequence[Points], total_m: float, vine_m: float, slant: float) -> list[_Way]:
    """Return ways through openings, aslant as given, that chance does not make."""
    after, closed = _links(openings, rows, slant)
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
        if float(np.median(wide[chosen])) < NARROW * vine_m:
            chance /= MOST_CHANCE
        if chance < DOUBT:
            found.append(_Way(tuple(chosen), slant, chance))
    return found


def _each(openings: Openings, chosen: Sequence[int], slant: float, total_m: float) -> float:
    """Return the chance that vines missing by themselves make a row share as much with the row before as these rows do."""
    wide = openings.wide
    shared = [
        float(_shared(openings, np.array([one]), np.array([other]), slant)[0][0, 0]) for one, other in pairwise(chosen)
    ]
    usual, least = float(np.median(wide[list(chosen)])), float(np.quantile(shared, 0.25))
    others = np.ones(wide.size, dtype=bool)
    others[list(chosen)] = False
    broad = wide[others & (wide >= least)]
    # Where an opening that is broad enough can begin and still share so much.
    room = np.maximum(broad + usual - 2 * least, 0.0)
    return min((float(room.sum()) + usual) / max(total_m, usual), 0.9)


def _links(openings: Openings, rows: Sequence[Points], slant: float) -> tuple[list[list[int]], list[int]]:
    """Return of each opening those beside it in the next row that comes by, and how many rows between are closed there."""
    after: list[list[int]] = [[] for _ in openings.place]
    shut = [0] * openings.place.size
    cuts = np.searchsorted(openings.place, np.arange(len(rows) + 1))
    for place in range(len(rows)):
        waiting = np.arange(cuts[place], cuts[place + 1])
        for further in range(place + 1, min(place + 1 + MOST_BETWEEN, len(rows))):
            if not waiting.size:
                break
            others = np.arange(cuts[further], cuts[further + 1])
            beside = _shared(openings, waiting, others, slant)[1] > SHARED
            for at, opening in enumerate(waiting.tolist()):
                after[opening] = others[beside[at]].tolist()
            waiting = waiting[~beside.any(axis=1)]
            for opening in waiting[_closed(openings, waiting, rows[further], slant)].tolist():
                shut[opening] += 1
            waiting = waiting[[shut[opening] < 2 for opening in waiting.tolist()]] if waiting.size else waiting
    return after, shut


def _shared(
    openings: Openings, these: NDArray[np.int64], those: NDArray[np.int64], slant: float
) -> tuple[Points, Points]:
    """Return how many metres two openings share, and what share of the shorter that is, (these, those)."""
    span, other_span = openings.start[these] - openings.end[these], openings.start[those] - openings.end[those]
    way = span[:, None] / np.hypot(*span.T)[:, None, None] + other_span[None] / np.hypot(*other_span.T)[None, :, None]
    way = way / np.maximum(np.hypot(way[..., 0], way[..., 1]), 1e-12)[..., None]
    step = openings.end[those][None] - openings.end[these][:, None]
    apart = np.abs(way[..., 0] * step[..., 1] - way[..., 1] * step[..., 0])
    low = np.einsum("abd,abd->ab", step, way) - slant * apart
    long, other = np.einsum("ad,abd->ab", span, way), np.einsum("bd,abd->ab", other_span, way)
    shorter = np.minimum(long, other)
    both = np.where(shorter > 0, np.minimum(long, low + other) - np.maximum(0, low), 0.0)
    return both, both / np.maximum(shorter, 1e-9)


def _closed(openings: Openings, these: NDArray[np.int64], row: Points, slant: float) -> NDArray[np.bool_]:
    """Tell whether a row has vines in the middle of openings of another row."""
    span = openings.start[these] - openings.end[these]
    wide = np.hypot(*span.T)
    way = span / np.maximum(wide, 1e-9)[:, None]
    step = row[None] - ((openings.start[these] + openings.end[these]) / 2)[:, None]
    apart = np.abs(way[:, None, 0] * step[..., 1] - way[:, None, 1] * step[..., 0])
    ahead = np.einsum("abd,ad->ab", step, way) - slant * apart
    return np.asarray((np.abs(ahead) < wide[:, None] / 4).any(axis=1))


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
    both, share = _shared(openings, np.array([near]), own, slant)
    return both[0], share[0]


def _places(way: _Way, openings: Openings) -> list[int]:
    """Return the places of the rows of a way."""
    return [int(openings.place[number]) for number in way.chosen]

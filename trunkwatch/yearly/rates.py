"""Rates of new cases beside cases noted before and beside cases noted only later, for many orders of seasons at once.

A first case counts as in the middle of its season, so two of one season come neither before nor after each other.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["Followed", "Lag", "lag_ratios", "lags_of"]

Array = NDArray[np.float64]
Pairs = NDArray[np.int64]
#: Added to events and to expected events, so that a rate of few is no infinity.
HALF = 0.5


@dataclass(frozen=True, slots=True)
class Followed:
    """Plants that were followed, and which became a case.

    Attributes
    ----------
    shape : (int, int)
        Rows and stations.
    seasons : int
        Seasons on record.
    standing : (cells,) bool array
        Positions with a followed plant.
    start, end : (cells,) int array
        First and last season of each.
    cell, season, noted : (n,) int array
        Of cases: flat index, season of the first case, seasons in which it was noted.
    summed : (seasons + 1,) float array
        Rate of first cases among the plants that might have had one, summed through the season before each number.
    """

    shape: tuple[int, int]
    seasons: int
    standing: NDArray[np.bool_]
    start: NDArray[np.int64]
    end: NDArray[np.int64]
    cell: NDArray[np.int64]
    season: NDArray[np.int64]
    noted: NDArray[np.int64]
    summed: Array = field(init=False, repr=False)

    def __post_init__(self) -> None:
        time = np.arange(self.seasons)
        last = self.end.copy()
        last[self.cell] = self.season
        waiting = ((self.start[:, None] <= time) & (last[:, None] >= time) & self.standing[:, None]).sum(axis=0)
        new = np.bincount(self.season, minlength=self.seasons)
        rate = new / np.maximum(waiting, 1)
        object.__setattr__(self, "summed", np.concatenate([[0.0], np.cumsum(rate)]))

    @property
    def middle(self) -> Array:
        """Summed rate to the middle of each season, (seasons,)."""
        return np.asarray((self.summed[1:] + self.summed[:-1]) / 2)

    def opened(self, cell: NDArray[np.int64]) -> Array:
        """Summed rate when a plant came on record."""
        return np.asarray(self.summed[self.start[cell]])

    def closed(self, cell: NDArray[np.int64]) -> Array:
        """Summed rate when a plant left the record."""
        return np.asarray(self.summed[self.end[cell] + 1])


def _between(low: Array, high: Array) -> Array:
    return np.asarray(np.maximum(high - low, 0.0))


@dataclass(frozen=True, slots=True)
class Lag:
    """Pairs at one lag.

    Attributes
    ----------
    one, other : (k,) int array
        Pairs of cases, as numbers of cases.
    before, later : (n, seasons) float array
        Expected events of the vines beside each case that never became one, were the case first noted in each season.
    """

    one: NDArray[np.int64]
    other: NDArray[np.int64]
    before: Array = field(repr=False)
    later: Array = field(repr=False)

    @property
    def pairs(self) -> int:
        """Number of pairs of cases."""
        return int(self.one.size)

    def events(self, followed: Followed, season: NDArray[np.int64]) -> tuple[Array, Array]:
        """New cases beside cases noted before and only later, (shuffles,) each; one of the same season is half of each."""
        after, later = np.zeros(len(season)), np.zeros(len(season))
        start, end = followed.start[followed.cell], followed.end[followed.cell]
        for vine, beside in ((self.one, self.other), (self.other, self.one)):
            own, theirs = season[:, vine], season[:, beside]
            there = (own >= start[beside]) & (own <= end[beside])
            same = 0.5 * ((theirs == own) & there).sum(axis=1)
            after += ((theirs < own) & there).sum(axis=1) + same
            later += ((theirs > own) & there).sum(axis=1) + same
        return after, later

    def expected(self, followed: Followed, season: NDArray[np.int64]) -> tuple[Array, Array]:
        """Expected events in the same seasons at risk, (shuffles,) each."""
        n = np.arange(season.shape[1])
        before, later = self.before[n, season].sum(axis=1), self.later[n, season].sum(axis=1)
        opened, closed = followed.opened(followed.cell), followed.closed(followed.cell)
        time = followed.middle[season]
        for vine, beside in ((self.one, self.other), (self.other, self.one)):
            own, theirs = time[:, vine], time[:, beside]
            low = np.maximum(opened[vine], opened[beside])
            before += _between(np.maximum(low, theirs), np.minimum(own, closed[beside])).sum(axis=1)
            later += _between(low, np.minimum(own, theirs)).sum(axis=1)
        return before, later


def lags_of(followed: Followed, pairs: Sequence[Pairs]) -> list[Lag]:
    """Sort the pairs of each lag into pairs of cases, and cases beside vines that never became one.

    Parameters
    ----------
    followed : Followed
        Plants.
    pairs : sequence of (k, 2) int array
        Flat indices, each unordered pair once.

    Raises
    ------
    ValueError
        If a pair names a cell outside the block.
    """
    number = np.full(followed.standing.size, -1, dtype=np.int64)
    number[followed.cell] = np.arange(followed.cell.size)
    out = []
    for joined in pairs:
        if joined.size and (joined.min() < 0 or joined.max() >= number.size):
            raise ValueError(f"a pair names cell {int(joined.max())}: the block has {number.size} cells")
        kept = joined[followed.standing[joined].all(axis=1)] if joined.size else joined.reshape(0, 2)
        who = number[kept]
        both = (who >= 0).all(axis=1)
        before, later = np.zeros((2, followed.cell.size, followed.seasons))
        for case, vine in ((0, 1), (1, 0)):
            use = (who[:, case] >= 0) & (who[:, vine] < 0)
            _add_beside(followed, who[use, case], kept[use, vine], before, later)
        out.append(Lag(who[both, 0], who[both, 1], before, later))
    return out


def _add_beside(
    followed: Followed, case: NDArray[np.int64], vine: NDArray[np.int64], before: Array, later: Array
) -> None:
    """Add what vines that never became a case stand beside each case, for every season it might have been noted in."""
    cell, time = followed.cell[case], followed.middle[None, :]
    low = np.maximum(followed.opened(cell), followed.opened(vine))[:, None]
    high = np.minimum(followed.closed(cell), followed.closed(vine))[:, None]
    np.add.at(before, case, _between(np.maximum(low, time), high))
    np.add.at(later, case, _between(low, np.minimum(followed.closed(vine)[:, None], time)))


def lag_ratios(followed: Followed, lags: Sequence[Lag], season: NDArray[np.int64]) -> Array:
    """Return logarithms of the rate beside cases noted before over that beside cases noted only later.

    Parameters
    ----------
    followed : Followed
        Plants.
    lags : sequence of Lag
        As `lags_of` makes them.
    season : (shuffles, n) int array
        Seasons of the first cases, in as many orders.

    Returns
    -------
    (shuffles, lags) float array
    """
    out = np.empty((len(season), len(lags)))
    for k, lag in enumerate(lags):
        events = lag.events(followed, season)
        expected = lag.expected(followed, season)
        rates = [np.log((e + HALF) / (x + HALF)) for e, x in zip(events, expected, strict=True)]
        out[:, k] = rates[0] - rates[1]
    return out

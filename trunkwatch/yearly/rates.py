"""Rates of new cases beside cases noted before and beside cases noted only later, for many orders of seasons at once."""

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
        Rate of first cases among those to come, summed through the season before each number.
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
        begun = self.start[self.cell][:, None] <= time
        waiting = (begun & (self.season[:, None] >= time)).sum(axis=0)
        new = np.bincount(self.season, minlength=self.seasons)
        rate = new / np.maximum(waiting, 1)
        object.__setattr__(self, "summed", np.concatenate([[0.0], np.cumsum(rate)]))

    def between(self, low: NDArray[np.int64], high: NDArray[np.int64]) -> Array:
        """Summed rates of seasons low to high, both counted; 0 where there is none."""
        return np.maximum(self.summed[high + 1] - self.summed[np.minimum(low, self.seasons)], 0.0)


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

    def events(self, followed: Followed, season: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """New cases beside cases noted before and only later, (shuffles,) each."""
        after = np.zeros(len(season), dtype=np.int64)
        later = np.zeros(len(season), dtype=np.int64)
        start, end = followed.start[followed.cell], followed.end[followed.cell]
        for vine, beside in ((self.one, self.other), (self.other, self.one)):
            own, theirs = season[:, vine], season[:, beside]
            after += ((theirs < own) & (own <= end[beside])).sum(axis=1)
            later += ((theirs > own) & (own >= start[beside])).sum(axis=1)
        return after, later

    def expected(self, followed: Followed, season: NDArray[np.int64]) -> tuple[Array, Array]:
        """Expected events in the same seasons at risk, (shuffles,) each."""
        n = np.arange(season.shape[1])
        before, later = self.before[n, season].sum(axis=1), self.later[n, season].sum(axis=1)
        start, end = followed.start[followed.cell], followed.end[followed.cell]
        for vine, beside in ((self.one, self.other), (self.other, self.one)):
            own, theirs = season[:, vine], season[:, beside]
            low = np.maximum(start[vine], start[beside])
            before += followed.between(np.maximum(low, theirs + 1), np.minimum(own, end[beside])).sum(axis=1)
            later += followed.between(np.broadcast_to(low, own.shape), np.minimum(own, theirs - 1)).sum(axis=1)
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
    time = np.arange(followed.seasons)[None, :]
    cell = followed.cell[case]
    low = np.maximum(followed.start[cell], followed.start[vine])[:, None]
    high = np.minimum(followed.end[cell], followed.end[vine])[:, None]
    until = np.broadcast_to(high, (case.size, followed.seasons))
    np.add.at(before, case, followed.between(np.maximum(low, time + 1), until))
    np.add.at(later, case, followed.between(np.broadcast_to(low, until.shape), np.minimum(followed.end[vine][:, None], time - 1)))


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

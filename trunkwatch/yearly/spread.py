"""Does disease pass from vine to vine? Cases beside a vine, noted before it or only later, at one vine away and beyond.

Where nothing passes from vine to vine, a neighbor that was noted before says no more of a vine's risk than one that is
noted only later: both tell of the same bad ground, batch or crew. Where disease passes, cases follow those noted before. So the
rate of new cases beside cases noted before is set against the rate beside cases noted only later, lag by lag: one vine away,
two, three, four.

That difference alone is fooled by ground whose vines sicken at a season of their own: such ground makes neighbors alike in
season, near and a little farther off. Being in one zone falls off in a straight line with the lag for as long as zones are
longer than the lag, so the difference two, three and four vines away is carried on in a straight line to one vine away, and what is
there beyond it is what the next vine alone adds. Zones of four vines or more therefore do not tell on it.

Chances are those of shuffles: the seasons of first cases move among cases that were followed over the same
seasons, and lie in one stratum and one piece of ground.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from trunkwatch.stats.chance import Rng, generator, permutation_pvalue
from trunkwatch.stats.joins import Rule, joined_pairs
from trunkwatch.yearly.rates import Followed, Lag, lag_ratios, lags_of

__all__ = ["LAGS", "BesideCases", "SpreadTest", "grid_lags", "meter_lags", "spread_test"]

Array = NDArray[np.float64]
Pairs = NDArray[np.int64]
Direction = Literal["along", "across"]

LAGS = (1, 2, 3, 4)
#: What is left at one vine away once a line through two, three and four is carried on to it.
BEYOND_A_LINE = np.array([1.0, -4 / 3, -1 / 3, 2 / 3])
#: One vine away against two.
NEXT_AGAINST_SECOND = np.array([1.0, -1.0, 0.0, 0.0])
#: Rows and stations of the pieces of ground inside which seasons are shuffled: parts of one row, so that a zone along the
#: row keeps its seasons to itself as far as can be; wider for other directions, which need rows beside each other.
PIECE: Mapping[str, tuple[int, int]] = MappingProxyType({"along": (1, 25)})
WIDER = (3, 25)
FEWEST_CASES, FEWEST_PAIRS, MOST_NOTED = 20, 10, 3
#: Shuffles taken at once.
CHUNK = 100


@dataclass(frozen=True, slots=True)
class BesideCases:
    """The rate of new cases beside cases, at one lag.

    Attributes
    ----------
    lag : int
        Vines away, or number of the band of meters.
    pairs : int
        Pairs of cases.
    after, later : float
        New cases beside a case noted before, and beside one noted only later; one noted in the same season is half of each.
    ratio, expected : float
        Rate beside cases noted before over the rate beside cases noted only later; and its (geometric) mean over the
        shuffles.
    low, high : float
        Limits that hold 95 % of the shuffles.
    """

    lag: int
    pairs: int
    after: float
    later: float
    ratio: float
    expected: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class SpreadTest:
    """Two levels of evidence.

    Attributes
    ----------
    direction : str
        "along", "across", or the name that was handed over.
    lags : tuple of BesideCases
        Lag by lag.
    spread, spread_p : float
        What is at one vine away beyond the line through two, three and four (a difference of logarithms of ratios), and its
        one-sided p. Zones of four vines or more that sicken one after another do not make it; shorter ones may (see Notes).
    either, either_p : float
        One vine away against two, and its one-sided p: more power, but "spread, or short zones that sicken one after
        another".
    share, low, high : float
        Of the new cases, the share that follows the case beside them: those beside a case noted before, less what vines
        noted only later and the second vine lead one to expect. Spread to vines farther away is not in it. With limits that hold
        90 % of the shuffles about it.
    cases, new, shuffles : int
        Cases, those of them that came after their plant's first season on record, and shuffles taken.
    reason : str
        Why there is no test; empty where there is one.
    """

    direction: str
    lags: tuple[BesideCases, ...]
    spread: float
    spread_p: float
    either: float
    either_p: float
    share: float
    low: float
    high: float
    cases: int
    new: int
    shuffles: int
    reason: str
    null_distribution: Array = field(repr=False, compare=False)

    def __str__(self) -> str:
        if self.reason:
            return f"spread {self.direction}: no test: {self.reason}"
        return f"spread {self.direction}: p = {self.spread_p:.3g}; spread or short zones: p = {self.either_p:.3g}"


def grid_lags(shape: tuple[int, int], direction: Direction) -> dict[int, Pairs]:
    """Return pairs one to four vines apart on a grid, flat indices (pairs, 2).

    Parameters
    ----------
    shape : (int, int)
        Rows and stations.
    direction : {"along", "across"}
        In the row, or in the rows beside it at the same station.

    Raises
    ------
    ValueError
        If the direction is unknown.
    """
    if direction not in get_args(Direction):
        raise ValueError(f"direction is {direction!r}: one of {', '.join(get_args(Direction))} is needed")
    rule: Rule = "row" if direction == "along" else "across"
    every = np.ones(shape, dtype=bool)
    return {lag: joined_pairs(rule, every, lag) for lag in LAGS}


def meter_lags(along_m: ArrayLike, across_m: ArrayLike, width_m: float) -> dict[int, Pairs]:
    """Return pairs in four bands of meters in any direction, each as wide, the first from half a width on.

    For rows without common stations, or where no direction is to be preferred. Zones along the row do not fall off in a straight
    line in such bands: in 100 blocks of short zones the test called 27 spread. Along and across apart are to be preferred.

    Parameters
    ----------
    along_m, across_m : (rows, stations) float array_like
        Places; nan where there is none.
    width_m : float
        Width of a band; pairs nearer than half of it fall into the first one as well.
    """
    if not width_m > 0:
        raise ValueError(f"width_m is {width_m}: meters above 0 are needed")
    points = np.column_stack([np.asarray(one, dtype=float).ravel() for one in (along_m, across_m)])
    placed = np.flatnonzero(np.isfinite(points).all(axis=1))
    tree = cKDTree(points[placed])
    pairs = placed[tree.query_pairs((LAGS[-1] + 0.5) * width_m, output_type="ndarray").reshape(-1, 2)]
    apart = np.hypot(*(points[pairs[:, 0]] - points[pairs[:, 1]]).T)
    band = np.maximum(np.ceil(apart / width_m - 0.5), 1)
    return {lag: pairs[band == lag] for lag in LAGS}


def spread_test(
    first: ArrayLike,
    seasons: int,
    *,
    vines: ArrayLike | None = None,
    start: ArrayLike | None = None,
    end: ArrayLike | None = None,
    strata: ArrayLike | None = None,
    noted: ArrayLike | None = None,
    direction: str = "along",
    lags: Mapping[int, Pairs] | None = None,
    piece: tuple[int, int] | None = None,
    shuffles: int = 999,
    rng: Rng = None,
) -> SpreadTest:
    """Test whether new cases follow the cases beside them, beyond what ground and zones explain.

    Parameters
    ----------
    first : (rows, stations) int array_like
        Number of the season of each plant's first case, from 0; -1 where it never was one.
    seasons : int
        Seasons on record.
    vines : (rows, stations) bool array_like, optional
        Positions with a plant that was followed; all of them where left out.
    start, end : (rows, stations) int array_like, optional
        First and last season in which the plant was looked at; the whole record where left out. After its last season a
        plant is a case beside nobody.
    strata : (rows, stations) int array_like, optional
        Codes of whatever is on record that may have a season of its own: planting batch, rootstock, crew.
    noted : (rows, stations) int array_like, optional
        In how many seasons a plant was noted as a case. Handed over, seasons move only among plants noted as often (once,
        twice, more). That costs much power, for a late case was noted seldom because it was late; it is for checking that
        vines which show often do not make the result.
    direction : str
        "along" or "across"; a name of your own with `lags`.
    lags : dict of (k, 2) int array, optional
        Pairs at lags 1 to 4, flat indices, as `grid_lags` and `meter_lags` make them: for rows that drift against each
        other, and for bands of meters.
    piece : (int, int), optional
        Rows and stations of the pieces of ground inside which seasons are shuffled for `spread_p`.
    shuffles : int
        How many.
    rng : Generator, int or None
        Source of chance.

    Raises
    ------
    ValueError
        If shapes differ, a first case lies outside the plant's seasons, or a lag is missing.

    Notes
    -----
    The rate beside cases noted before is the number of new cases beside them over the seasons that vines stood beside
    them, each season weighted with its own rate of first cases; so for those noted only later. Vines that never were a case
    count as well. What was noted in one season came neither before nor after: it is half of each.

    What orders neighbors but not third neighbors in time is taken for spread, whatever it is. At 5 % along the row
    (`tests/yearly/size_and_power.py`, 200 blocks of 24 rows of 100 vines, 8, 12 and 16 seasons) zones of two to four vines nearly
    all of which sicken are called spread in 8 to 13 of 100 blocks, zones of just three in 4 to 15, and infected replants in gaps
    of one to three, whose planting is not on record, in 7 to 20. With the batch on record, as a stratum, they are called in 3 to
    6; a plant that came within the record has a start of its own, which counts as one.
    """
    followed = _followed(first, seasons, noted, vines, start, end)
    shape = followed.shape
    chosen = dict(grid_lags(shape, direction) if lags is None else lags)  # type: ignore[arg-type]
    missing = [lag for lag in LAGS if lag not in chosen]
    if missing:
        raise ValueError(f"lag {missing[0]} has no pairs: lags 1 to 4 are needed")
    if shuffles < 1:
        raise ValueError(f"shuffles is {shuffles}: 1 or more is needed")
    made = lags_of(followed, [chosen[lag] for lag in LAGS])
    alike = _classes(followed, strata)
    reason = _no_test(followed, made)
    if reason:
        nan = float("nan")
        return SpreadTest(
            direction,
            (),
            nan,
            nan,
            nan,
            nan,
            nan,
            nan,
            nan,
            followed.season.size,
            _new(followed),
            0,
            reason,
            np.empty(0),
        )
    chance = generator(rng)
    inside, around = (
        _null(followed, made, _on_ground(alike, followed, pieces), shuffles, chance)
        for pieces in (piece or PIECE.get(direction, WIDER), WIDER)
    )
    seen = lag_ratios(followed, made, followed.season[None])[0]
    null = inside @ BEYOND_A_LINE
    spread, either = float(seen @ BEYOND_A_LINE), float(seen @ NEXT_AGAINST_SECOND)
    beside = tuple(_beside(k, followed, made[k], seen[k], inside[:, k]) for k in range(len(LAGS)))
    unlike = around @ NEXT_AGAINST_SECOND
    reach = 1.645 * float(unlike.std())
    share, low, high = (
        _share(beside[0].after, either - float(unlike.mean()) + step, _new(followed)) for step in (0.0, -reach, reach)
    )
    return SpreadTest(
        direction,
        beside,
        spread,
        permutation_pvalue(spread, null),
        either,
        permutation_pvalue(either, unlike),
        share,
        low,
        high,
        followed.season.size,
        _new(followed),
        shuffles,
        "",
        null,
    )


def _new(followed: Followed) -> int:
    """Count the cases that came after their plant's first season on record."""
    return int((followed.season > followed.start[followed.cell]).sum())


def _share(after: float, difference: float, new: int) -> float:
    """Share of the new cases that come beside a case noted before beyond what the logarithm of a ratio expects."""
    return float(np.clip(after * -np.expm1(-max(difference, 0.0)) / new, 0.0, 1.0)) if new else float("nan")


def _followed(
    first: ArrayLike,
    seasons: int,
    noted: ArrayLike | None,
    vines: ArrayLike | None,
    start: ArrayLike | None,
    end: ArrayLike | None,
) -> Followed:
    season = np.asarray(first).astype(np.int64)
    times = np.ones_like(season) if noted is None else np.asarray(noted).astype(np.int64)
    if season.ndim != 2:
        raise ValueError(f"first has {season.ndim} dimensions: a (rows, stations) array is needed")
    standing = np.ones(season.shape, dtype=bool) if vines is None else np.asarray(vines, dtype=bool)
    begin = np.zeros_like(season) if start is None else np.asarray(start).astype(np.int64)
    last = np.full_like(season, seasons - 1) if end is None else np.asarray(end).astype(np.int64)
    for name, array in (("noted", times), ("vines", standing), ("start", begin), ("end", last)):
        if array.shape != season.shape:
            raise ValueError(f"{name} is {array.shape} but first is {season.shape}: the same grid is needed")
    case = (season >= 0) & standing
    outside = case & ((season < begin) | (season > last) | (season >= seasons))
    if outside.any():
        row, station = np.argwhere(outside)[0]
        raise ValueError(
            f"first is {int(season[row, station])} at row index {row}, station index {station}: "
            f"a season from {int(begin[row, station])} to {min(int(last[row, station]), seasons - 1)} is needed"
        )
    cell = np.flatnonzero(case)
    return Followed(
        season.shape,
        seasons,
        standing.ravel(),
        begin.ravel(),
        np.minimum(last, seasons - 1).ravel(),
        cell,
        season.ravel()[cell],
        times.ravel()[cell],
    )


def _no_test(followed: Followed, made: list[Lag]) -> str:
    cases, kinds = followed.season.size, np.unique(followed.season).size
    if cases < FEWEST_CASES:
        return f"{cases} cases, {FEWEST_CASES} are needed"
    if kinds < 3:
        return f"first cases in {kinds} season{'s' if kinds != 1 else ''}, three are needed"
    fewest = min(lag.pairs for lag in made)
    return (
        "" if fewest >= FEWEST_PAIRS else f"{fewest} pairs of cases at one of the distances, {FEWEST_PAIRS} are needed"
    )


def _classes(followed: Followed, strata: ArrayLike | None) -> NDArray[np.int64]:
    """Number cases that were noted as often, were followed over the same seasons, and are of one stratum."""
    columns = [np.minimum(followed.noted, MOST_NOTED), followed.start[followed.cell], followed.end[followed.cell]]
    if strata is not None:
        codes = np.asarray(strata)
        if codes.shape != followed.shape:
            raise ValueError(f"strata is {codes.shape} but first is {followed.shape}: the same grid is needed")
        columns.append(np.unique(codes.ravel()[followed.cell], return_inverse=True)[1].reshape(-1))
    return np.unique(np.column_stack(columns), axis=0, return_inverse=True)[1].reshape(-1)


def _on_ground(alike: NDArray[np.int64], followed: Followed, pieces: tuple[int, int]) -> NDArray[np.int64]:
    """Split classes of cases by the piece of ground that they lie in."""
    row, station = np.divmod(followed.cell, followed.shape[1])
    table = np.column_stack([alike, row // pieces[0], station // pieces[1]])
    return np.asarray(np.unique(table, axis=0, return_inverse=True)[1].reshape(-1))


def _null(
    followed: Followed, made: list[Lag], groups: NDArray[np.int64], shuffles: int, chance: np.random.Generator
) -> Array:
    """Logarithms of the ratios of shuffled seasons, (shuffles, lags)."""
    order = np.argsort(groups, kind="stable")
    parts = []
    for begin in range(0, shuffles, CHUNK):
        many = min(CHUNK, shuffles - begin)
        keys = groups[order] + chance.random((many, groups.size))  # sorts inside each group only
        mixed = order[np.argsort(keys, axis=1)]
        season = np.empty((many, groups.size), dtype=np.int64)
        season[:, order] = followed.season[mixed]
        parts.append(lag_ratios(followed, made, season))
    return np.concatenate(parts)


def _beside(number: int, followed: Followed, lag: Lag, seen: float, null: Array) -> BesideCases:
    after, later = lag.events(followed, followed.season[None])
    low, high = np.exp(np.quantile(null, [0.025, 0.975])).tolist()
    return BesideCases(
        LAGS[number],
        lag.pairs,
        float(after[0]),
        float(later[0]),
        float(np.exp(seen)),
        float(np.exp(null.mean())),
        low,
        high,
    )

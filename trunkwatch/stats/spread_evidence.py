"""Spread, or foci that came with the planting stock? What the order of first symptoms can tell.

If the vines that have been cases by now had all been infected from the start, each would have shown first in
whatever season its symptoms happened to come out. The seasons could then be shuffled among them and nothing
would change, however the vines lie: foci, gradients and rows of a weaker cultivar are all kept. Where disease
passes from vine to vine, neighbours fall ill close in time, foci have few beginnings, and their rim is later
than their middle. Three such measures are taken, and one p-value for all of them from the same shuffles.
"""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from trunkwatch.stats.chance import Rng, generator, permutation_pvalue
from trunkwatch.stats.joins import Joins, joined_pairs
from trunkwatch.stats.labels import checked_mask, checked_strata

__all__ = ["Measure", "SpreadEvidence", "spread_evidence"]

#: Shuffles taken at once, so that the distances in a focus fit into memory.
CHUNK = 64
#: In larger foci distances are taken by a distance transform instead of a table.
LARGE = 120
FEWEST_CASES = 10


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure of the order of first symptoms.

    Attributes
    ----------
    name : {"closeness", "beginnings", "rim"}
        Mean seasons between the first symptoms of neighbours; vines with case neighbours none of which was a
        case before them; metres that first symptoms lie further from a focus's first vine for each season later.
    seen, expected, low, high : float
        The measure, its mean over the shuffles, and the limits between which 95 % of them lie.
    pvalue, corrected : float
        One-sided, towards spread; corrected for all measures (largest deviation over the same shuffles).
    """

    name: str
    seen: float
    expected: float
    low: float
    high: float
    pvalue: float
    corrected: float


@dataclass(frozen=True, slots=True)
class SpreadEvidence:
    """Evidence in the order of first symptoms against foci that were there from the start.

    `pvalue` is one for all measures; `statistic` is the largest deviation towards spread.
    """

    statistic: float
    pvalue: float
    measures: tuple[Measure, ...]
    n_cases: int
    n_seasons: int
    reason: str
    null_distribution: NDArray[np.float64] = field(repr=False, compare=False)

    def __str__(self) -> str:
        if self.reason:
            return f"order of first symptoms: no test: {self.reason}"
        return f"order of first symptoms: p = {self.pvalue:.3g} against foci from the start"


def spread_evidence(
    first: ArrayLike,
    cases: ArrayLike,
    *,
    joins: Joins = "queen",
    row_spacing: float = 1.0,
    vine_spacing: float = 1.0,
    strata: ArrayLike | None = None,
    permutations: int = 999,
    rng: Rng = None,
) -> SpreadEvidence:
    """Test the order of first symptoms against a static pattern.

    Parameters
    ----------
    first : (rows, stations) int array_like
        Number of the season in which each case showed first; anything elsewhere.
    cases : (rows, stations) bool array_like
        Vines that have been a case by now.
    joins : as in `trunkwatch.stats.joins.half_offsets`
        Which vines are neighbours.
    row_spacing, vine_spacing : float
        Metres, for the rim.
    strata : (rows, stations) array_like, optional
        Seasons are shuffled only inside a stratum: vines looked at in the same seasons.
    permutations : int
        Shuffles.
    rng : Generator, int or None
        Source of chance.

    Raises
    ------
    ValueError
        If shapes differ, a spacing is not positive, or there is no permutation.

    Notes
    -----
    A cause that passes through the block (a crew with one saw, water that rises from a corner, plants of different
    vigour whose symptoms come out at different ages) orders the seasons as spread does.
    """
    if row_spacing <= 0 or vine_spacing <= 0:
        raise ValueError(f"row_spacing is {row_spacing} m, vine_spacing {vine_spacing} m: both must be above 0")
    if permutations < 1:
        raise ValueError(f"permutations is {permutations}: 1 or more is needed")
    mask = checked_mask(cases, "cases")
    season = np.asarray(first)
    if season.shape != mask.shape:
        raise ValueError(f"first is {season.shape} but cases is {mask.shape}: the same grid is needed")
    groups = checked_strata(strata, mask)
    pairs = joined_pairs(joins, mask, 1)
    labels = season[mask].astype(np.int64)
    seasons = int(np.unique(labels).size)
    reason = _no_test(int(mask.sum()), len(pairs), seasons)
    if reason:
        return SpreadEvidence(math.nan, math.nan, (), int(mask.sum()), seasons, reason, np.empty(0))
    place = np.full(mask.size, -1, dtype=np.int64)
    place[np.flatnonzero(mask)] = np.arange(labels.size)
    graph = place[pairs]
    foci = _foci(mask, row_spacing, vine_spacing)
    chance = generator(rng)
    group = groups[mask] if groups is not None else np.zeros(labels.size, dtype=np.int64)
    null = np.concatenate([
        _measures(shuffled, graph, foci) for shuffled in _shuffles(labels, group, permutations, chance)
    ])  # fmt: skip
    seen = _measures(labels[None], graph, foci)[0]
    return _judge(seen, null, int(mask.sum()), seasons)


def _no_test(cases: int, joins: int, seasons: int) -> str:
    if cases < FEWEST_CASES:
        return f"{cases} cases by now, {FEWEST_CASES} are needed"
    if seasons < 3:
        return f"first symptoms in {seasons} season{'s' if seasons != 1 else ''}, three are needed"
    return "" if joins else "no two cases are neighbours"


def _shuffles(
    labels: NDArray[np.int64], group: NDArray[np.int64], permutations: int, rng: np.random.Generator
) -> list[NDArray[np.int64]]:
    parts = []
    for start in range(0, permutations, CHUNK):
        many = min(CHUNK, permutations - start)
        out = np.tile(labels, (many, 1))
        for code in np.unique(group):
            at = np.flatnonzero(group == code)
            out[:, at] = rng.permuted(out[:, at], axis=1)
        parts.append(out)
    return parts


@dataclass(frozen=True, slots=True)
class Focus:
    """Cases with at most two vines between them: a vine that has not shown yet is no border.

    `away` is the table of distances in metres, empty in a large focus.
    """

    members: NDArray[np.int64]
    cells: NDArray[np.int64]
    spacing: tuple[float, float]
    away: NDArray[np.float64]

    def from_first(self, first: NDArray[np.bool_]) -> NDArray[np.float64]:
        """Metres of every member to the nearest of the first ones, (labellings, members)."""
        if self.away.size:
            return np.asarray(np.where(first[:, None, :], self.away[None], np.inf).min(axis=2))
        low = self.cells.min(axis=0)
        at = tuple((self.cells - low).T)
        out = np.empty(first.shape)
        for number, line in enumerate(first):
            field_ = np.ones(self.cells.max(axis=0) - low + 1, dtype=bool)
            field_[at] = ~line
            out[number] = np.asarray(ndimage.distance_transform_edt(field_, sampling=self.spacing))[at]
        return out


def _foci(mask: NDArray[np.bool_], row_m: float, vine_m: float) -> list[Focus]:
    """Return every focus of three or more."""
    near = ndimage.binary_dilation(mask, np.ones((3, 3), dtype=bool))
    number = ndimage.label(near, np.ones((3, 3), dtype=int))[0][mask]
    cells = np.argwhere(mask)
    at = cells * np.array([row_m, vine_m])
    found = []
    for code in np.unique(number):
        members = np.flatnonzero(number == code)
        if members.size > 2:
            away = np.empty((0, 0))
            if members.size <= LARGE:
                away = np.hypot(*(at[members][:, None, :] - at[members][None, :, :]).transpose(2, 0, 1))
            found.append(Focus(members, cells[members], (row_m, vine_m), away))
    return found


def _measures(
    labels: NDArray[np.int64],
    graph: NDArray[np.int64],
    foci: list[Focus],
) -> NDArray[np.float64]:
    """Return closeness, beginnings and rim of every labelling, (labellings, 3)."""
    apart = labels[:, graph[:, 0]] - labels[:, graph[:, 1]]
    closeness = np.abs(apart).mean(axis=1)
    has_neighbour = np.zeros(labels.shape[1], dtype=bool)
    has_neighbour[graph.ravel()] = True
    later = np.zeros(labels.shape, dtype=bool)
    line, pair = np.nonzero(apart > 0)
    later[line, graph[pair, 0]] = True
    line, pair = np.nonzero(apart < 0)
    later[line, graph[pair, 1]] = True
    beginnings = (has_neighbour & ~later).sum(axis=1)
    return np.column_stack([closeness, beginnings, _rim(labels, foci)])


def _rim(labels: NDArray[np.int64], foci: list[Focus]) -> NDArray[np.float64]:
    """Metres from a focus's first vines for each season later, pooled over the foci; 0 where nothing varies."""
    cross, square = np.zeros(len(labels)), np.zeros(len(labels))
    for focus in foci:
        season = labels[:, focus.members].astype(float)
        first = season == season.min(axis=1, keepdims=True)
        gone = focus.from_first(first)
        weight = (~first).astype(float)
        total = np.maximum(weight.sum(axis=1, keepdims=True), 1.0)
        mean_gone = (weight * gone).sum(axis=1, keepdims=True) / total
        mean_season = (weight * season).sum(axis=1, keepdims=True) / total
        cross += (weight * (gone - mean_gone) * (season - mean_season)).sum(axis=1)
        square += (weight * (season - mean_season) ** 2).sum(axis=1)
    return np.divide(cross, square, out=np.zeros_like(cross), where=square > 0)


#: Towards spread: close in time, few beginnings, a late rim.
_SIGNS = np.array([-1.0, -1.0, 1.0])
_NAMES = ("closeness", "beginnings", "rim")


def _judge(seen: NDArray[np.float64], null: NDArray[np.float64], cases: int, seasons: int) -> SpreadEvidence:
    middle, spread = null.mean(axis=0), null.std(axis=0)
    use = spread > 1e-12
    scale = np.where(use, spread, 1.0)
    towards = np.where(use, _SIGNS * (null - middle) / scale, 0.0)
    own = np.where(use, _SIGNS * (seen - middle) / scale, 0.0)
    largest = towards.max(axis=1)
    top = float(own.max())
    limits = np.quantile(null, [0.025, 0.975], axis=0)
    measures = tuple(
        Measure(
            name, float(seen[k]), float(middle[k]), float(limits[0, k]), float(limits[1, k]),
            permutation_pvalue(float(own[k]), towards[:, k]), permutation_pvalue(float(own[k]), largest),
        )
        for k, name in enumerate(_NAMES)
    )  # fmt: skip
    return SpreadEvidence(top, permutation_pvalue(top, largest), measures, cases, seasons, "", largest)

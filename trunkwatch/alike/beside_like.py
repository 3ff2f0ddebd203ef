"""Each block beside blocks of its age, cultivar and season: its share with a range, what its like show, and whether it is unusual."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from trunkwatch.alike.age_curve import age_columns
from trunkwatch.alike.bands import expected_range, midp, share_ranges
from trunkwatch.alike.counts import Floats, Ints
from trunkwatch.alike.crossed import Crossed, fit_crossed
from trunkwatch.alike.one_effect import restricted_sd
from trunkwatch.stats.chance import holm_of

__all__ = ["FEWEST_BLOCKS", "BesideLike", "Rows", "beside_like", "beside_usual"]

#: Blocks of a season below which how blocks differ is not learnt (our own convention).
FEWEST_BLOCKS = 10
#: Believed of log-odds before: how far kinds (cultivars) lie apart, seasons, and the curve of age.
_SD_OF_KINDS, _SD_OF_SEASONS, _SD_OF_AGE = 1.0, 1.5, 1.5
#: Blocks from which on age is a curve and no mere slope.
_BLOCKS_FOR_BENDS = 30
#: Growers below which a grower's own part is not told from its blocks'.
_FEWEST_GROWERS = 5
#: Degrees of freedom for blocks that show less than their like: where a share is near 0 a block that is twice as free of disease
#: is as far away as one of twice as much (calibrated on regions of known truth).
_FREEDOM_OF_LITTLE = 8.0
#: Blocks whose chance is worked out anew by a fit without them.
_FITTED_ANEW = 6
#: p-value, times the number of blocks, up to which a count is worth a fit without its block.
_WORTH_A_FIT = 1.0


@dataclass(frozen=True, slots=True)
class Rows:
    """Counts of blocks by season; a row is one block in one season.

    Attributes
    ----------
    cases, vines : (rows,) float array
    block, season, grower : (rows,) int array
        Numbered from 0.
    kinds : sequence of (rows,) int array
        What blocks are told apart by: the cultivar, for one.
    age : (rows,) float array
        Years since planting, nan where not known.
    """

    cases: Floats
    vines: Floats
    block: Ints
    season: Ints
    grower: Ints
    age: Floats
    kinds: Sequence[Ints] = ()

    def without(self, block: int) -> "Rows":
        """Return the rows of all other blocks, blocks numbered anew."""
        keep = self.block != block
        number = np.unique(self.block[keep], return_inverse=True)[1]
        return Rows(
            self.cases[keep],
            self.vines[keep],
            number,
            self.season[keep],
            self.grower[keep],
            self.age[keep],
            tuple(kind[keep] for kind in self.kinds),
        )


@dataclass(frozen=True, slots=True)
class BesideLike:
    """Blocks of one season beside their like; arrays have a place for each block that has a row in the season.

    Attributes
    ----------
    at : int array
        Its row.
    share, low, high : float array
        Shrunk share of the block with its 95 % range.
    like, like_low, like_high : float array
        Middle of blocks like it, and where nine in ten of them lie; the block itself took no part.
    more, fewer : float array
        Chance of more cases, and of fewer, than counted, were it a block like the others.
    corrected : float array
        Two-sided p-value of that, corrected for all blocks.
    sd_blocks, sd_growers, sd_seasons : float
        How far blocks lie apart in log-odds, growers, and seasons of one block; nan where it is part of the others.
    freedom : float
        Degrees of freedom of the law of blocks.
    mean, variance : float array
        Of the log-odds of a block like it.
    mean_before, variance_before : float array
        Of its own log-odds before its count of the season spoke.
    """

    at: Ints
    share: Floats
    low: Floats
    high: Floats
    like: Floats
    like_low: Floats
    like_high: Floats
    more: Floats
    fewer: Floats
    corrected: Floats
    sd_blocks: float
    sd_growers: float
    sd_seasons: float
    freedom: float
    mean: Floats = field(repr=False)
    variance: Floats = field(repr=False)
    mean_before: Floats = field(repr=False)
    variance_before: Floats = field(repr=False)

    @property
    def unusual(self) -> NDArray[np.bool_]:
        """Blocks whose count is too rare among their like, all blocks being allowed for."""
        return np.asarray(self.corrected <= 0.05)

    def unusual_from(self, place: int, vines: int) -> tuple[int | None, int | None]:
        """Return the most cases that are few enough, and the fewest that are many enough, to be called unusual by the first step of the correction."""
        rare = 0.05 / (2 * self.at.size)

        def chances(cases: int) -> tuple[float, float]:
            return _chances(cases, vines, float(self.mean[place]), float(self.variance[place]), self.freedom)

        many = _first(vines + 1, lambda cases: chances(cases)[0] <= rare)
        not_few = _first(vines + 1, lambda cases: chances(cases)[1] > rare)
        return (None if not_few == 0 else not_few - 1), (None if many > vines else many)


def _chances(cases: float, vines: float, mean: float, variance: float, freedom: float) -> tuple[float, float]:
    """Return the chance of more cases, and of fewer, each by its own law: blocks that show little lie further apart in log-odds."""
    more, fewer = midp(cases, vines, mean, variance, freedom)
    if freedom > _FREEDOM_OF_LITTLE:
        fewer = midp(cases, vines, mean, variance, _FREEDOM_OF_LITTLE)[1]
    return more, fewer


def _first(size: int, true_from: object) -> int:
    """Return the first number of 0 .. size - 1 from which on something is true, or size."""
    assert callable(true_from)  # noqa: S101 - narrows the type
    low, high = 0, size
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if true_from(middle) else (middle + 1, high)
    return low


def beside_like(rows: Rows, season: int) -> BesideLike:
    """Set every block of a season beside its like.

    Parameters
    ----------
    rows : Rows
        All seasons that are compared.
    season : int
        Number of the season.

    Raises
    ------
    ValueError
        If the season has fewer than `FEWEST_BLOCKS` blocks, or nothing or everything is a case.
    """
    at = np.flatnonzero(rows.season == season)
    if at.size < FEWEST_BLOCKS:
        raise ValueError(f"{at.size} blocks in the season: {FEWEST_BLOCKS} at least are needed")
    design, prior = _design(rows)
    several, many = parts = _several_seasons(rows), _many_growers(rows)
    fit = _fit(rows, design, prior, parts)
    mean, spread = fit.without_own
    share, low, high = share_ranges(rows.cases[at], rows.vines[at], mean[at], spread[at])
    between = _between(fit)
    known, unsure = _without_block(fit, rows, design, at)
    freedom = _freedom(rows, design)
    variance = unsure + between
    known, variance = _anew(rows, at, known, variance, freedom, fit, parts)
    more, fewer = np.array(
        [
            _chances(rows.cases[row], rows.vines[row], m, v, freedom)
            for row, m, v in zip(at, known, variance, strict=True)
        ]
    ).T
    like_low, like_high = expected_range(known, variance, freedom)
    return BesideLike(
        at,
        share,
        low,
        high,
        expit(known),
        like_low,
        like_high,
        more,
        fewer,
        holm_of(np.minimum(1.0, 2 * np.minimum(more, fewer))),
        float(fit.sds[0]) if several else fit.row_sd,
        float(fit.sds[-1]) if many else float("nan"),
        fit.row_sd if several else float("nan"),
        freedom,
        known,
        variance,
        mean[at],
        spread[at],
    )


def beside_usual(rows: Rows, season: int) -> BesideLike:
    """Do as `beside_like`; then set all other blocks beside their like once more, those that are unusual left out of it.

    A block that is far out widens what all others are told of their like, and may hide another. The second look is taken only
    where the first found one, so that it names no block in a region in which the first names none.
    """
    first = beside_like(rows, season)
    out = first.unusual
    rest = ~np.isin(rows.block, rows.block[first.at[out]])
    if not out.any() or (~out).sum() < FEWEST_BLOCKS or not 0 < rows.cases[rest].sum() < rows.vines[rest].sum():
        return first
    number = np.unique(rows.block[rest], return_inverse=True)[1]
    others = Rows(
        rows.cases[rest],
        rows.vines[rest],
        number,
        rows.season[rest],
        rows.grower[rest],
        rows.age[rest],
        tuple(kind[rest] for kind in rows.kinds),
    )
    second = beside_like(others, season)
    put = {}
    for name in (
        "share",
        "low",
        "high",
        "like",
        "like_low",
        "like_high",
        "more",
        "fewer",
        "corrected",
        "mean",
        "variance",
        "mean_before",
        "variance_before",
    ):
        put[name] = getattr(first, name).copy()
        put[name][~out] = getattr(second, name)
    return replace(second, at=first.at, **put)


def _design(rows: Rows) -> tuple[Floats, Floats]:
    """Columns of the intercept, seasons, kinds and age, and what is believed of each before."""
    parts, prior = [np.ones((rows.cases.size, 1))], [np.inf]
    for codes, sd in ((rows.season, _SD_OF_SEASONS), *((kind, _SD_OF_KINDS) for kind in rows.kinds)):
        if int(codes.max()) > 0:
            here = (codes[:, None] == np.arange(int(codes.max()) + 1)).astype(float)
            parts.append(here)
            prior += [sd] * here.shape[1]
    curve = age_columns(rows.age, bends=np.unique(rows.block).size >= _BLOCKS_FOR_BENDS)
    return np.hstack([*parts, curve]), np.array(prior + [_SD_OF_AGE] * curve.shape[1])


def _many_growers(rows: Rows) -> bool:
    """Whether a part of the growers can be told from that of the blocks."""
    growers = np.unique(rows.grower).size
    return (
        growers >= _FEWEST_GROWERS
        and np.unique(np.column_stack([rows.grower, rows.block]), axis=0).shape[0] >= 2 * growers
    )


def _several_seasons(rows: Rows) -> bool:
    """Whether a part of the block can be told from that of its season."""
    return bool((np.bincount(rows.block) > 1).sum() >= FEWEST_BLOCKS)


def _fit(rows: Rows, design: Floats, prior: Floats, parts: tuple[bool, bool], start: Floats | None = None) -> Crossed:
    """Fit with a part of blocks and one of growers where these can be told."""
    effects = ([rows.block] if parts[0] else []) + ([rows.grower] if parts[1] else [])
    if effects:
        return fit_crossed(rows.cases, rows.vines, design, effects, prior_sd=prior, start=start)
    held = restricted_sd(rows.cases, rows.vines, design, prior_sd=prior)
    return fit_crossed(rows.cases, rows.vines, design, (), prior_sd=prior, held=[held])


def _between(fit: Crossed) -> float:
    """Variance between blocks of all growers in one season."""
    return float((fit.sds**2).sum()) + fit.row_sd**2


def _freedom(rows: Rows, design: Floats) -> float:
    """Blocks less what is learnt from them beside how they differ, and less the one that is left out."""
    seasons = int(rows.season.max()) + 1 if int(rows.season.max()) else 0
    blocks = np.unique(rows.block).size
    return float(max(4, blocks - 2 - (design.shape[1] - seasons)))


def _without_block(fit: Crossed, rows: Rows, design: Floats, at: Ints) -> tuple[Floats, Floats]:
    """Mean and variance of the fixed part of each row as all other blocks have it: one step from the fit of all."""
    weight, residual, tau = fit.state.weight, fit.state.residual, fit.row_sd**-2
    left = weight * tau / (weight + tau)
    columns = design.shape[1]
    members: dict[int, list[int]] = {}
    for row, block in enumerate(rows.block):
        members.setdefault(int(block), []).append(row)
    means, variances = np.empty(at.size), np.empty(at.size)
    for place, row in enumerate(at):
        own = members[int(rows.block[row])]
        part = fit.model.z[own].toarray()
        used = np.flatnonzero(part.any(axis=0))
        part = part[:, used]
        among, across = fit.covariance[np.ix_(used, used)], fit.covariance[:columns, used]
        toward = across @ part.T
        inner = np.linalg.inv(np.diag(1 / left[own]) - part @ among @ part.T)
        x, pulled = design[row], part.T @ residual[own]
        back = (x @ toward) @ inner
        means[place] = x @ fit.fixed - x @ (across @ pulled) - back @ (part @ (among @ pulled))
        variances[place] = x @ fit.covariance[:columns, :columns] @ x + back @ (x @ toward)
    return means, np.maximum(variances, 0.0)


def _anew(
    rows: Rows, at: Ints, mean: Floats, variance: Floats, freedom: float, fit: Crossed, parts: tuple[bool, bool]
) -> tuple[Floats, Floats]:
    """Fit all others again for the blocks that stand out most: an unusual block makes all blocks look more different."""
    rare = np.array(
        [
            min(_chances(rows.cases[row], rows.vines[row], m, v, freedom))
            for row, m, v in zip(at, mean, variance, strict=True)
        ]
    )
    chosen = [
        int(place)
        for place in np.argsort(rare, kind="stable")[:_FITTED_ANEW]
        if 2 * rare[place] * at.size <= _WORTH_A_FIT
    ]
    mean, variance = mean.copy(), variance.copy()
    design, prior = _design(rows)
    for place in chosen:
        block = int(rows.block[at[place]])
        others, keep = rows.without(block), rows.block != block
        if not 0 < others.cases.sum() < others.vines.sum():
            continue
        start = np.append(fit.sds, fit.row_sd)
        again = _fit(others, design[keep], prior, parts, start)
        x, columns = design[at[place]], design.shape[1]
        mean[place] = float(x @ again.fixed)
        variance[place] = float(x @ again.covariance[:columns, :columns] @ x) + _between(again)
    return mean, variance

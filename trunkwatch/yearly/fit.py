"""One model of the chance from one look to the next: season, trend, age, strata, ground and the cases beside a vine.

For a vine at risk over an interval of so many years::

    P(event) = 1 - exp(-exp(eta))
    eta = log(years) + height + season + trend + age + strata + s(along, across) + gamma * exposure

Season and strata effects are normal about zero, each with a spread of its own; s is a thin plate spline with a roughness of
its own; all of these are estimated. Height, trend, age, the tilt of the ground and the exposures have weak normal priors of a
fixed spread, so that no effect runs off where a season or a stratum has no event. No chance is cut off above.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from trunkwatch.stats.chance import Rng, generator
from trunkwatch.yearly.exposure import Exposure
from trunkwatch.yearly.penalized import Block, Design, Solution, solve
from trunkwatch.yearly.steps import Intervals
from trunkwatch.yearly.surface import Surface, make_surface

__all__ = ["WEAK", "Effect", "HazardFit", "Weak", "fit_hazard"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Weak:
    """Spreads of the priors that are not estimated, on the log hazard (wide; no source). Infinity stands for no prior.

    Attributes
    ----------
    middle, height : float
        The log hazard of a year in a middling season, and its spread: a hazard of 2 % a year, times or through 20.
    trend, age : float
        Change of the log hazard in a year.
    tilt : float
        From the middle of the block to its farther edge.
    gamma : float
        For one neighbor, or one unit of a kernel.
    """

    middle: float = float(np.log(0.02))
    height: float = 3.0
    trend: float = 0.2
    age: float = 0.2
    tilt: float = 1.0
    gamma: float = 1.0


WEAK = Weak()
#: A spread that few seasons or strata tell of is drawn as if there had been so many: fewer would let it be anything.
FEWEST_FREE = 3


@dataclass(frozen=True, slots=True)
class Effect:
    """Effects of one term on the log hazard.

    Attributes
    ----------
    name : str
        "height", "trend", "age", "season", "tilt", "ground", a stratum or "exposure".
    labels : tuple
        Of each effect: years for seasons, codes for strata, names for exposures.
    estimate, error : (k,) float array
        Posterior mode and standard deviation.
    spread : float
        Standard deviation of the term's prior.
    estimated : bool
        Whether the spread was estimated.
    freedom : float
        Effective number of effects, between 0 and k.
    """

    name: str
    labels: tuple[int | str, ...]
    estimate: Array = field(compare=False)
    error: Array = field(compare=False)
    spread: float
    estimated: bool
    freedom: float


@dataclass(frozen=True, slots=True)
class _Recipe:
    """How to make the columns of any intervals."""

    weak: Weak
    years: NDArray[np.int64]
    middle_year: float
    middle_age: float
    has_trend: bool
    has_age: bool
    has_season: bool
    exposures: tuple[str, ...]
    strata: tuple[tuple[str, NDArray[np.int64]], ...]
    surface: Surface | None

    def lines(self, intervals: Intervals, exposure: Array) -> Array:
        """Columns that differ from line to line: height, trend, age, exposures, seasons."""
        columns: list[Array] = [np.ones(len(intervals))]
        if self.has_trend:
            columns.append(np.asarray(intervals.year - self.middle_year, dtype=np.float64))
        if self.has_age:
            columns.append(np.asarray(np.nan_to_num(intervals.age - self.middle_age), dtype=np.float64))
        parts = [np.column_stack(columns), exposure]
        if self.has_season:
            parts.append(_indicators(intervals.year, self.years))
        return np.column_stack(parts)

    def places(self, intervals: Intervals) -> tuple[Array, NDArray[np.int64]]:
        """Columns of places (strata and ground), and the place of each line."""
        keys = [intervals.strata[name] for name, _ in self.strata]
        if self.surface is not None:
            keys.append(intervals.cell)
        if not keys:
            return np.empty((1, 0)), np.zeros(len(intervals), dtype=np.int64)
        table = np.column_stack(keys)
        first, place = np.unique(table, axis=0, return_index=True, return_inverse=True)[1:]
        parts = [_indicators(intervals.strata[name][first], codes) for name, codes in self.strata]
        if self.surface is not None:
            points = np.column_stack([intervals.along_m[first], intervals.across_m[first]])
            parts += [self.surface.scaled(points), self.surface.bending(points)]
        return np.column_stack(parts), place.reshape(-1)

    def blocks(self) -> tuple[Block, ...]:
        """Blocks of all columns, in the order of `lines` and `places`."""
        sizes: list[tuple[str, int, float, bool]] = [("height", 1, self.weak.height, False)]
        sizes += [("trend", 1, self.weak.trend, False)] * self.has_trend + [
            ("age", 1, self.weak.age, False)
        ] * self.has_age
        sizes.append(("exposure", len(self.exposures), self.weak.gamma, False))
        sizes += [("season", self.years.size, 0.5, True)] * self.has_season
        sizes += [(name, codes.size, 0.5, True) for name, codes in self.strata]
        if self.surface is not None:
            sizes += [
                ("tilt", self.surface.middle.size, self.weak.tilt, False),
                ("ground", self.surface.columns, 1.0, True),
            ]
        blocks, start = [], 0
        for name, size, spread, estimated in sizes:
            if size:
                blocks.append(Block(name, start, start + size, spread**-2.0 if np.isfinite(spread) else 0.0, estimated))
            start += size
        return tuple(blocks)

    def labels(self, name: str, size: int) -> tuple[int | str, ...]:
        if name == "season":
            return tuple(self.years.tolist())
        if name == "exposure":
            return self.exposures
        if name == "tilt":
            return ("along", "across")[:size]
        for stratum, codes in self.strata:
            if stratum == name:
                return tuple(codes.tolist())
        return tuple(range(size)) if size > 1 else (name,)


@dataclass(frozen=True, slots=True)
class HazardFit:
    """The fitted model.

    Attributes
    ----------
    effects : tuple of Effect
        Term by term.
    intervals, events : int
        What it was fitted to.
    log_likelihood, log_marginal : float
        At the mode; the second, Laplace's approximation, compares models of the same intervals.
    converged : bool
        False where the fit still moved: take nothing from it then.
    solution : Solution
        Mode and covariance of all effects in one row.
    """

    effects: tuple[Effect, ...]
    intervals: int
    events: int
    log_likelihood: float
    log_marginal: float
    converged: bool
    solution: Solution = field(repr=False, compare=False)
    recipe: _Recipe = field(repr=False, compare=False)
    blocks: tuple[Block, ...] = field(repr=False, compare=False)

    def __str__(self) -> str:
        return f"{self.events} events in {self.intervals} intervals, {sum(e.freedom for e in self.effects):.1f} effects"

    def effect(self, name: str) -> Effect:
        """Return one term by its name."""
        for effect in self.effects:
            if effect.name == name:
                return effect
        raise ValueError(f"no effect {name!r}: one of {', '.join(effect.name for effect in self.effects)} is needed")

    @property
    def height(self) -> float:
        """Log hazard of a year in a middling season, with all other effects zero."""
        return self.recipe.weak.middle + float(self.solution.beta[0])

    def gamma(self) -> tuple[Array, Array]:
        """Return the effects of the exposures and their covariance; empty where there was none."""
        at = self._at("exposure")
        return self.solution.beta[at], self.solution.covariance[at, at]

    def _at(self, name: str) -> slice:
        return next((slice(b.start, b.stop) for b in self.blocks if b.name == name), slice(0, 0))

    def draws(self, many: int, rng: Rng = None) -> Array:
        """Draw effects from the normal posterior about the mode, (many, effects).

        Parameters
        ----------
        many : int
            How many.
        rng : Generator, int or None
            Source of chance.
        """
        values, vectors = np.linalg.eigh(self.solution.covariance)
        root = vectors * np.sqrt(np.maximum(values, 0.0))
        normal = generator(rng).standard_normal((many, values.size))
        return np.asarray(self.solution.beta + normal @ root.T)

    def log_hazards(self, intervals: Intervals, exposure: Exposure | None = None, draws: Array | None = None) -> Array:
        """Return log hazards of whole intervals, (m,), or (many, m) for draws; seasons and strata not met count as middling."""
        values = _exposed(exposure, len(intervals), self.recipe.exposures)
        lines = self.recipe.lines(intervals, values)
        places, place = self.recipe.places(intervals)
        beta = self.solution.beta if draws is None else draws
        own = lines.shape[1]
        offset = self.recipe.weak.middle + np.log(intervals.span)
        return np.asarray(offset + beta[..., :own] @ lines.T + (beta[..., own:] @ places.T)[..., place])

    def chances(
        self, intervals: Intervals, exposure: Exposure | None = None, *, draws: int = 400, rng: Rng = None
    ) -> Array:
        """Draw the chance of every interval from the posterior, (draws, m).

        Parameters
        ----------
        intervals : Intervals
            Intervals to come, or those of the fit.
        exposure : Exposure, optional
            Their exposures, under the names that the model was fitted with.
        draws : int
            How many.
        rng : Generator, int or None
            Source of chance.

        Notes
        -----
        A season that the model has not met, and a stratum's code that it has not met, is drawn anew from the spread of its
        kind; that spread is drawn as well, given the effects of the draw (their sum of squares over a chi-squared).
        """
        chance = generator(rng)
        drawn = self.draws(draws, chance)
        log = self.log_hazards(intervals, exposure, drawn)
        kinds = [("season", self.recipe.years, intervals.year)] if self.recipe.has_season else []
        kinds += [(name, codes, intervals.strata[name]) for name, codes in self.recipe.strata]
        for name, known, values in kinds:
            fresh = np.setdiff1d(values, known)
            if fresh.size:
                effects = drawn[:, self._at(name)]
                spread = np.sqrt((effects**2).sum(axis=1) / chance.chisquare(max(known.size, FEWEST_FREE), draws))
                new = spread[:, None] * chance.standard_normal((draws, fresh.size))
                at = np.minimum(np.searchsorted(fresh, values), fresh.size - 1)
                log += np.where(fresh[at] == values, new[:, at], 0.0)
        return np.asarray(-np.expm1(-np.exp(log)))


def fit_hazard(
    intervals: Intervals,
    exposure: Exposure | None = None,
    *,
    strata: Sequence[str] | None = None,
    season: bool = True,
    trend: bool = True,
    age: bool = True,
    surface: bool = True,
    knots: int = 60,
    nonnegative: bool = False,
    weak: Weak = WEAK,
) -> HazardFit:
    """Fit the model.

    Parameters
    ----------
    intervals : Intervals
        As a function of `trunkwatch.yearly.steps` makes them.
    exposure : Exposure, optional
        What each interval is exposed to.
    strata : sequence of str, optional
        Names of strata to take up; all that the intervals have where left out.
    season, trend, age, surface : bool
        Which terms to take up. Trend and age are the same thing in a block planted at once: the weak priors then share what
        there is between the two.
    knots : int
        Most knots of the surface.
    nonnegative : bool
        True: an exposure whose effect comes out below zero is set to zero, as old cases protect nobody.
    weak : Weak
        Priors that are not estimated.

    Returns
    -------
    HazardFit

    Raises
    ------
    ValueError
        If there is no interval, or a stratum or exposure is not of these intervals.
    """
    if not len(intervals):
        raise ValueError("there are 0 intervals: at least one vine with two inspections is needed")
    names = tuple(intervals.strata) if strata is None else tuple(strata)
    missing = [name for name in names if name not in intervals.strata]
    if missing:
        raise ValueError(f"no stratum {missing[0]!r}: one of {', '.join(intervals.strata) or '(none)'} is needed")
    recipe = _recipe(intervals, exposure, names, (season, trend, age, surface), knots, weak)
    fitted = _solve(intervals, exposure, recipe)
    if nonnegative and exposure is not None:
        while (fitted.gamma()[0] < 0).any():
            held = [name for name, value in zip(fitted.recipe.exposures, fitted.gamma()[0], strict=True) if value >= 0]
            exposure = Exposure(
                tuple(held), np.column_stack([np.empty((len(intervals), 0)), *(exposure.column(k) for k in held)])
            )
            recipe = _recipe(intervals, exposure, names, (season, trend, age, surface), knots, weak)
            fitted = _solve(intervals, exposure, recipe)
    return fitted


def _recipe(
    intervals: Intervals,
    exposure: Exposure | None,
    strata: tuple[str, ...],
    terms: tuple[bool, bool, bool, bool],
    knots: int,
    weak: Weak,
) -> _Recipe:
    season, trend, age, surface = terms
    years, first = np.unique(intervals.year), np.unique(intervals.cell, return_index=True)[1]
    known = intervals.age[np.isfinite(intervals.age)]
    made = None
    if surface:
        made = make_surface(np.column_stack([intervals.along_m[first], intervals.across_m[first]]), knots=knots)
    return _Recipe(
        weak,
        years,
        float(intervals.year.mean()),
        float(known.mean()) if known.size else 0.0,
        trend and years.size > 1,
        age and np.unique(known).size > 1,
        season and years.size > 1,
        () if exposure is None else exposure.names,
        tuple((name, np.unique(intervals.strata[name])) for name in strata),
        made,
    )


def _indicators(values: NDArray[np.int64], known: NDArray[np.int64]) -> Array:
    return np.asarray(values[:, None] == known[None, :], dtype=float)


def _exposed(exposure: Exposure | None, lines: int, names: tuple[str, ...]) -> Array:
    if exposure is None and names:
        raise ValueError(f"the model was fitted with exposures {', '.join(names)}: give the same")
    if exposure is None:
        return np.empty((lines, 0))
    if len(exposure.values) != lines:
        raise ValueError(f"exposures of {len(exposure.values)} lines for {lines} intervals: as many are needed")
    return np.column_stack([np.empty((lines, 0)), *(exposure.column(name) for name in names)])


def _solve(intervals: Intervals, exposure: Exposure | None, recipe: _Recipe) -> HazardFit:
    values = _exposed(exposure, len(intervals), recipe.exposures)
    places, place = recipe.places(intervals)
    lines = recipe.lines(intervals, values)
    # Lines that are alike in everything are taken together.
    key = np.column_stack([place, intervals.span, lines])
    packed = np.ascontiguousarray(key).view([("", key.dtype)] * key.shape[1]).ravel()
    first, which, vines = np.unique(packed, return_index=True, return_inverse=True, return_counts=True)[1:]
    events = np.bincount(which.reshape(-1), intervals.event, first.size).astype(float)
    offset = recipe.weak.middle + np.log(intervals.span[first])
    design = Design(lines[first], places, place[first], offset)
    blocks = recipe.blocks()
    solution = solve(design, events, vines.astype(float), blocks)
    error = np.sqrt(np.maximum(np.diag(solution.covariance), 0.0))
    effects = tuple(
        Effect(
            b.name,
            recipe.labels(b.name, b.stop - b.start),
            solution.beta[b.start : b.stop],
            error[b.start : b.stop],
            value**-0.5 if value > 0 else np.inf,
            b.estimated,
            freedom,
        )
        for b, value, freedom in zip(blocks, solution.precision, solution.freedom, strict=True)
    )
    return HazardFit(
        effects,
        len(intervals),
        int(intervals.event.sum()),
        solution.log_likelihood,
        solution.log_marginal,
        solution.converged,
        solution,
        recipe,
        blocks,
    )

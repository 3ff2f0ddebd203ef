"""From counts to chances: the block's own record, leaning on the vineyard's other blocks, and on weak priors."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit

from trunkwatch.forecast.growth import Growth
from trunkwatch.forecast.neighbours import NeighbourTerm, away_from_cases, neighbour_term
from trunkwatch.forecast.priors import PRIORS, SEASON_SCALE, TREND_SCALE, Prior
from trunkwatch.forecast.rates import Rates
from trunkwatch.forecast.season_counts import COUNTED, SeasonCounts, season_counts
from trunkwatch.forecast.vine_years import SeasonStep
from trunkwatch.stats.step import one_season_step

__all__ = ["Counts", "Estimates", "counts_of", "draw", "estimate", "without_neighbours"]

#: Weight in vines that all other blocks together may have beside the block's own record (our own convention).
BORROWED = 30.0
#: The same for what follows on a cut: how well renewals take is the crew's and the region's more than the block's (our own convention).
BORROWED_CUTS = 200.0
AFTER_A_CUT = frozenset({"relapse_1", "relapse_2", "relapse_3", "relapse_4", "renewal_fails"})
#: Vine-years without a death, a removal or a gap on record from which on deaths count as not written: at 0.5 % a year five were
#: to be expected (our own convention).
UNWRITTEN = 1000
NAMES = tuple(PRIORS)
#: Log-odds in a middling season, spread between seasons, change of the log-odds a season. The first and the last have one
#: mesh, so that a trend moves the likelihood of a season by whole cells. It goes from 0.01 to 99.3 %: where nearly all show
#: again they are foretold to.
_MESH = 0.05
_MUS = np.arange(-180, 101) * _MESH
_SIGMAS = np.linspace(0.02, 2.0, 34)
_TRENDS = np.arange(-12, 13) * _MESH
#: A season is left out where it stands out at this p and has so many times the new cases that the others give (our own convention).
STANDS_OUT, TIMES_EXPECTED = 0.01, 3.0
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(21)


@dataclass(frozen=True, slots=True)
class Counts:
    """Events and vines at risk by chance; first symptoms, showing again and damage written again also season by season."""

    events: dict[str, int]
    vines: dict[str, int]
    years: NDArray[np.int64] = field(compare=False)
    new: NDArray[np.int64] = field(compare=False)
    at_risk: NDArray[np.int64] = field(compare=False)
    again: NDArray[np.int64] = field(compare=False)
    again_risk: NDArray[np.int64] = field(compare=False)
    spans: NDArray[np.int64] = field(compare=False)
    written: NDArray[np.int64] = field(compare=False)
    written_risk: NDArray[np.int64] = field(compare=False)
    growth: Growth = field(compare=False, default_factory=Growth)
    unwritten: int = 0  # vine-years in which no death, removal or gap was ever written; 0 where some was, or for few

    @property
    def outlier(self) -> int:
        """Number of the season whose new cases are no part of what usual seasons bring, -1 for none."""
        step = one_season_step(self.new, self.at_risk, self.years)
        return step.season if step.pvalue <= STANDS_OUT and step.new > TIMES_EXPECTED * step.expected else -1

    @property
    def usual(self) -> NDArray[np.bool_]:
        """Seasons that first symptoms are learnt from."""
        return np.asarray(np.arange(self.years.size) != self.outlier)


@dataclass(frozen=True, slots=True)
class Estimates:
    """Posterior of the chances of one block.

    Attributes
    ----------
    alpha, beta : dict
        Of the beta distribution of each chance but the first symptoms.
    first, again, written : (mu, sigma) probability array
        Grid posterior of first symptoms, of showing again one season after, and of damage written again one season after: log-odds in a middling season, the
        coming one for first symptoms, and spread between seasons.
    trend : (trends,) probability array
        Posterior of the change of the log-odds of first symptoms a season. In a block planted at once it is the vines'
        age and the calendar in one.
    near : NeighbourTerm
        Whether earlier cases beside a vine help to tell new ones, and by how much.
    counts : Counts
        What it was learnt from.
    left_out : int
        Year whose new cases are no part of what usual seasons bring, such as that of a cold winter; 0 for none.
    borrowed : int
        Blocks that were leant on.
    growth : Growth
        What was written of how much is dead.
    """

    alpha: dict[str, float]
    beta: dict[str, float]
    first: NDArray[np.float64] = field(repr=False)
    again: NDArray[np.float64] = field(repr=False)
    written: NDArray[np.float64] = field(repr=False)
    trend: NDArray[np.float64] = field(repr=False)
    near: NeighbourTerm
    counts: Counts
    left_out: int
    borrowed: int
    growth: Growth = field(default_factory=Growth, repr=False)

    def mean(self, name: str) -> float:
        """Return the posterior mean of a chance."""
        if name == "first":
            return float((self.first * expit(_MUS)[:, None]).sum())
        return self.alpha[name] / (self.alpha[name] + self.beta[name])

    @property
    def season_sd(self) -> float:
        """Posterior mean of the spread between seasons."""
        return float((self.first * _SIGMAS[None, :]).sum())

    def trend_of_odds(self) -> tuple[float, float, float]:
        """Return the factor on the odds of first symptoms from a season to the next: middle and 90 % limits."""
        summed = np.cumsum(self.trend)
        low, high = (float(_TRENDS[np.searchsorted(summed, q)]) for q in (0.05, 0.95))
        return math.exp(float((self.trend * _TRENDS).sum())), math.exp(low), math.exp(high)


def counts_of(seasons: Sequence[SeasonStep | SeasonCounts]) -> Counts:
    """Sum events and vines at risk over seasons."""
    counted = [one if isinstance(one, SeasonCounts) else season_counts(one) for one in seasons]
    events, vines = dict.fromkeys(NAMES, 0), dict.fromkeys(NAMES, 0)
    growth = Growth()
    for one in counted:
        growth = growth.plus(one.growth)
        for name in COUNTED:
            events[name] += one.events[name]
            vines[name] += one.vines[name]
    dated, new_cases, risks, agains, again_risks, span, again_written, written_at_risk = (
        np.array([getattr(one, name) for one in counted], dtype=np.int64)
        for name in ("season", "new", "at_risk", "again", "again_risk", "span", "written", "written_risk")
    )
    watched = vines["death_case"] + vines["death_sound"]
    silent = watched >= UNWRITTEN and not any(one.gone for one in counted)
    if silent:  # nobody writes deaths here: that there were none is not known
        vines["death_case"] = vines["death_sound"] = 0
    counts = Counts(
        events,
        vines,
        dated,
        new_cases,
        risks,
        agains,
        again_risks,
        span,
        again_written,
        written_at_risk,
        growth,
        watched if silent else 0,
    )
    events["first"] = int(counts.new[counts.usual].sum())
    vines["first"] = int((counts.at_risk * counts.spans)[counts.usual].sum())
    return counts


def estimate(
    own: Sequence[SeasonStep],
    others: Sequence[Sequence[SeasonStep | SeasonCounts]] = (),
    *,
    prior_weight: float = 1.0,
    ahead: int | None = None,
    priors: Mapping[str, Prior] = PRIORS,
) -> Estimates:
    """Estimate the chances of a block.

    Parameters
    ----------
    own : sequence of SeasonStep
        The block's own seasons.
    others : sequence of sequences of SeasonCounts or SeasonStep
        Those of other blocks; together they weigh at most so many vines (partial pooling).
    prior_weight : float
        Factor on the weight of all priors: 4 and 0.25 halve and double their spread, which shows how much they matter.
    ahead : int, optional
        Season that the chances are wanted for; the one after the last where left out.
    priors : mapping of str to Prior
        What is believed before the record speaks.

    Notes
    -----
    Every chance but first symptoms is beta-binomial: prior, then the other blocks shrunk to at most 30 vines, then
    the block. First symptoms are binomial with a normal season effect and a straight trend on the log-odds; the posterior
    is taken on a grid.
    """
    counts = counts_of(own)
    rest = [counts_of(steps) for steps in others if steps]
    alpha, beta = {}, {}
    for name in NAMES:
        if name == "first":
            continue
        prior = priors[name]
        lent_events, lent_vines = _lent(rest, name)
        a = prior.mean * prior.weight * prior_weight + lent_events
        b = (1 - prior.mean) * prior.weight * prior_weight + lent_vines - lent_events
        alpha[name] = a + counts.events[name]
        beta[name] = b + counts.vines[name] - counts.events[name]
    coming = ahead if ahead is not None else (own[-1].season + 1 if own else 0)
    cube = _first(counts, rest, prior_weight, coming, priors)
    back = _again("again_1", (counts.again, counts.again_risk), rest, prior_weight, priors)
    written = _again("rewritten_1", (counts.written, counts.written_risk), rest, prior_weight, priors)
    usual = [step for step, kept in zip(own, counts.usual.tolist(), strict=True) if kept]
    left_out = int(counts.years[counts.outlier]) if counts.outlier >= 0 else 0
    return Estimates(
        alpha,
        beta,
        cube.sum(axis=0),
        back,
        written,
        cube.sum(axis=(1, 2)),
        neighbour_term(usual),
        counts,
        left_out,
        len(rest),
        _growth(counts, rest),
    )


def _lent(rest: Sequence[Counts], name: str) -> tuple[float, float]:
    events, vines = sum(one.events[name] for one in rest), sum(one.vines[name] for one in rest)
    most = BORROWED_CUTS if name in AFTER_A_CUT else BORROWED
    share = min(1.0, most / vines) if vines else 0.0
    return events * share, vines * share


def _growth(counts: Counts, rest: Sequence[Counts]) -> Growth:
    """Return what was written of growth, the other blocks with at most so many vine-years; what follows on a cut with more."""
    lent = Growth()
    for one in rest:
        lent = lent.plus(one.growth)
    years, cut = float(lent.years.sum()), float(lent.again.sum())
    found = counts.growth.plus(lent, min(1.0, BORROWED / years) if years else 0.0)
    share = min(1.0, BORROWED_CUTS / cut) if cut else 0.0
    return replace(found, again=counts.growth.again + share * lent.again)


def _again(
    name: str,
    series: tuple[NDArray[np.int64], NDArray[np.int64]],
    rest: Sequence[Counts],
    prior_weight: float,
    priors: Mapping[str, Prior] = PRIORS,
) -> NDArray[np.float64]:
    """Return the same for what comes again one season after; the other blocks sharpen its prior, never below 0.4."""
    prior, (shown, at_risk) = priors[name], series
    events, vines = _lent(rest, name)
    weight = prior.weight * prior_weight
    mean = float(logit((prior.mean * weight + events) / (weight + vines)))
    spread = max(0.4, 1.5 / math.sqrt(prior_weight * (1 + vines / 4)))
    still, ones = np.zeros(shown.size, dtype=np.int64), np.ones(shown.size, dtype=np.int64)
    return np.asarray(_by_season(shown, at_risk, (still, ones), mean, spread, np.ones(1))[0])


def _first(
    counts: Counts, rest: Sequence[Counts], prior_weight: float, coming: int, priors: Mapping[str, Prior] = PRIORS
) -> NDArray[np.float64]:
    """Grid posterior of (trend, mu, sigma) for the coming season; other blocks move and sharpen the prior of mu, never below a spread of 0.5."""
    mean, spread = float(logit(priors["first"].mean)), 1.5 / math.sqrt(prior_weight)
    rates = np.array([(one.events["first"] + 0.5) / (one.vines["first"] + 1) for one in rest if one.vines["first"]])
    if rates.size:
        z = logit(rates)
        between = float(z.var(ddof=1)) if rates.size > 1 else 1.0
        own = 1 / (between + 0.25)
        mean = (mean / spread**2 + rates.size * own * float(z.mean()) / rates.size) / (1 / spread**2 + own)
        spread = max(0.5, math.sqrt(1 / (1 / spread**2 + own)))
    believed = np.exp(-0.5 * prior_weight * (_TRENDS / TREND_SCALE) ** 2)
    kept = counts.usual
    when = (counts.years - coming)[kept], counts.spans[kept]
    return _by_season(counts.new[kept], counts.at_risk[kept], when, mean, spread, believed)


def _by_season(
    events: NDArray[np.int64],
    vines: NDArray[np.int64],
    when: tuple[NDArray[np.int64], NDArray[np.int64]],
    mean: float,
    spread: float,
    trends: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Posterior of trend, log-odds in a middling season and spread between seasons, on the grid.

    `when` is each season less the one that the log-odds are of, and the years it stands for: an event in one of these years is
    one. `trends` is the prior of the trend, about zero.
    """
    log = -0.5 * ((_MUS - mean) / spread)[:, None] ** 2 - 0.5 * (_SIGMAS / SEASON_SCALE)[None, :] ** 2
    log = log[None] + np.log(trends)[:, None, None]
    p = expit(_MUS[:, None, None] + _SIGMAS[None, :, None] * _NODES[None, None, :])
    log_q = np.log1p(-p)
    weights = _WEIGHTS / _WEIGHTS.sum()
    steps = np.arange(trends.size) - trends.size // 2
    for k, n, t, years in zip(events.tolist(), vines.tolist(), when[0].tolist(), when[1].tolist(), strict=True):
        if n:
            part = k * np.log(-np.expm1(years * log_q)) + (n - k) * years * log_q
            top = part.max(axis=2, keepdims=True)
            found = top[:, :, 0] + np.log((np.exp(part - top) * weights).sum(axis=2))
            at = np.arange(_MUS.size)[None, :] + t * steps[:, None]
            log = log + found[np.clip(at, 0, _MUS.size - 1)]
    mass = np.exp(log - log.max())
    return np.asarray(mass / mass.sum())


def draw(found: Estimates, draws: int, rng: np.random.Generator) -> Rates:
    """Draw chances from the posterior, all of them at once for each draw.

    Parameters
    ----------
    found : Estimates
        As `estimate` makes them.
    draws : int
        How many.
    rng : Generator
        Source of chance.
    """
    cell = rng.choice(found.first.size, size=draws, p=found.first.ravel())
    at, sigma = np.divmod(cell, _SIGMAS.size)
    again_at, back = np.divmod(rng.choice(found.again.size, size=draws, p=found.again.ravel()), _SIGMAS.size)
    written_at, habit = np.divmod(rng.choice(found.written.size, size=draws, p=found.written.ravel()), _SIGMAS.size)
    mu = _MUS[at] + _MESH * (rng.random(draws) - 0.5)

    def chance(name: str) -> NDArray[np.float64]:
        return rng.beta(found.alpha[name], found.beta[name], draws)

    near = np.zeros((draws, 3))
    if found.near.kept:
        term = found.near
        middle, error = (term.row, term.across, term.ring), (term.row_error, term.across_error, term.ring_error)
        near = np.maximum(0.0, rng.normal(middle, error, (draws, 3)))
        mu = away_from_cases(mu, near, term.exposure)
    return Rates(
        first=expit(mu),
        season_sd=_SIGMAS[sigma],
        again_sd=_SIGMAS[back],
        again=np.column_stack([expit(_MUS[again_at]), *(chance(f"again_{k}") for k in range(2, 5))]),
        death=np.column_stack([chance("death_sound"), chance("death_case")]),
        relapse=np.column_stack([chance(f"relapse_{k}") for k in range(1, 5)]),
        renewal_fails=chance("renewal_fails"),
        replant_fails=np.column_stack([chance("replant_first"), chance("replant_later")]),
        near_row=near[:, 0],
        near_across=near[:, 1],
        near_ring=near[:, 2],
        rewritten=np.column_stack([expit(_MUS[written_at]), *(chance(f"rewritten_{k}") for k in range(2, 5))]),
        written_sd=_SIGMAS[habit],
    )


def without_neighbours(found: Estimates) -> Estimates:
    """Return the same without the neighbour term."""
    return replace(found, near=replace(found.near, kept=False))

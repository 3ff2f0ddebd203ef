"""How good would the forecast have been? Every season foretold from those before it, beside two plain rules."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray
from scipy.special import xlog1py, xlogy

from trunkwatch.forecast.estimate import draw, estimate
from trunkwatch.forecast.next_season import NextSeason, next_season
from trunkwatch.forecast.season_counts import SeasonCounts
from trunkwatch.forecast.vine_years import SeasonStep

__all__ = ["BackTest", "CalibrationBin", "ForetoldSeason", "auc", "back_test", "brier", "calibration", "log_score"]

#: Seasons that must lie before the first that is foretold.
FIRST = 3
#: Edges of the chances that are set beside what came.
EDGES = (0.0, 0.01, 0.02, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 1.0)


class NoBackTest(Enum):
    """Why there is no back-test."""

    TOO_FEW_SEASONS = 1
    NO_VINE_AGAIN = 2


@dataclass(frozen=True, slots=True)
class ForetoldSeason:
    """One season foretold from those before: counts with limits, and what came.

    Attributes
    ----------
    seen, new : int
        Vines that a look saw with symptoms, and first cases among them; damage that is only carried on is not counted as
        seen. Of the vines that stood there at the compared season before and were not cut since: fewer than the season's
        own count.
    """

    season: int
    forecast: NextSeason
    seen: int
    new: int

    @property
    def inside90(self) -> bool:
        """Whether the vines seen with symptoms fell into the 90 % limits."""
        return self.forecast.seen.low90 <= self.seen <= self.forecast.seen.high90

    @property
    def inside50(self) -> bool:
        """The same for the 50 % limits."""
        return self.forecast.seen.low50 <= self.seen <= self.forecast.seen.high50

    @property
    def new_inside90(self) -> bool:
        """Whether the new cases fell into their 90 % limits."""
        return self.forecast.new.low90 <= self.new <= self.forecast.new.high90

    @property
    def new_inside50(self) -> bool:
        """The same for the 50 % limits."""
        return self.forecast.new.low50 <= self.new <= self.forecast.new.high50


@dataclass(frozen=True, slots=True)
class CalibrationBin:
    """Vines whose chance lay between two edges: the mean of their chances, and the share that showed."""

    low: float
    high: float
    vines: int
    foretold: float
    showed: float


@dataclass(frozen=True, slots=True)
class BackTest:
    """All seasons that could be foretold, each from the seasons before it only.

    Vines cut between two looks are left out: the forecast is of what comes if nothing is cut.

    Attributes
    ----------
    brier, brier_constant, brier_last : float
        Mean squared error of the vines' chances: of the forecast; of one rate for all vines; of two rates, one for vines
        that showed the season before and one for all others. Both plain rules learn from the same earlier seasons.
    log_score, log_constant, log_last : float
        Mean of minus the logarithm of the chance of what came, of the same three.
    auc_all, auc_new : float
        Chance that a vine that showed had a higher forecast than one that did not; of all vines, and of those never a
        case before. 0.5 is no skill.
    observed_over_expected : float
        Calibration in the large.
    calibration : tuple of CalibrationBin
        The same by chance; bins without vines are left out.
    last_rates : (float, float)
        Rates of showing that the rule by last season's status has now: of vines that showed, and of all others.
    by_last : int
        Vines that it would have seen with symptoms in the season to come.
    why_not : NoBackTest or None
        Why there is no back-test; None where there is one.
    steps : int
        Seasons after the first counted one, of which some must be learnt from before one is foretold.
    """

    seasons: tuple[ForetoldSeason, ...]
    brier: float
    brier_constant: float
    brier_last: float
    log_score: float
    log_constant: float
    log_last: float
    auc_all: float
    auc_new: float
    observed_over_expected: float
    calibration: tuple[CalibrationBin, ...]
    last_rates: tuple[float, float]
    by_last: int
    why_not: NoBackTest | None
    steps: int


def brier(p: NDArray[np.float64], y: NDArray[np.float64]) -> float:
    """Return the mean squared error of chances."""
    return float(((p - y) ** 2).mean())


def log_score(p: NDArray[np.float64], y: NDArray[np.float64]) -> float:
    """Return minus the mean logarithm of the chance of what came."""
    q = np.clip(p, 1e-9, 1 - 1e-9)
    return float(-(xlogy(y, q) + xlog1py(1 - y, -q)).mean())


def auc(p: NDArray[np.float64], y: NDArray[np.float64]) -> float:
    """Return the area under the curve as the Mann-Whitney share, ties counting half; nan with one kind only."""
    ones, zeros = int(y.sum()), int(y.size - y.sum())
    if not ones or not zeros:
        return float("nan")
    _, which, many = np.unique(p, return_inverse=True, return_counts=True)
    ranks = (np.cumsum(many) - (many - 1) / 2)[which]
    return float((ranks[y == 1].sum() - ones * (ones + 1) / 2) / (ones * zeros))


def calibration(p: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[CalibrationBin, ...]:
    """Set the chances beside what came, in the bins of `EDGES`; an edge belongs to the bin above it."""
    which = np.digitize(p, EDGES[1:-1])
    return tuple(
        CalibrationBin(EDGES[k], EDGES[k + 1], int(here.sum()), float(p[here].mean()), float(y[here].mean()))
        for k in range(len(EDGES) - 1)
        if (here := which == k).any()
    )


def back_test(
    own: Sequence[SeasonStep],
    others: Sequence[Sequence[SeasonStep | SeasonCounts]] = (),
    *,
    draws: int = 2000,
    seed: int = 1,
) -> BackTest:
    """Foretell every season from those before it.

    Parameters
    ----------
    own, others
        As in `trunkwatch.forecast.estimate.estimate`; of the other blocks too only earlier seasons are used.
    draws, seed : int
        Draws of the chances, and the seed.
    """
    if len(own) <= FIRST:
        return _none(NoBackTest.TOO_FEW_SEASONS, len(own))
    told, parts = [], []
    for at in range(FIRST, len(own)):
        season, part = _foretell(own[:at], own[at], others, draws, seed)
        if part[1].size:
            told.append(season)
            parts.append(part)
    if not parts:
        return _none(NoBackTest.NO_VINE_AGAIN, len(own))
    p, y, constant, last, never = (np.concatenate([part[k] for part in parts]) for k in range(5))
    sound = never.astype(bool)
    _, after, other = _plain_rates(own)
    latest = own[-1]
    standing = latest.looked & ~latest.died
    shown = latest.showing | latest.damaged
    by_last = round(int((standing & shown).sum()) * after + int((standing & ~shown).sum()) * other)
    return BackTest(
        tuple(told),
        brier(p, y),
        brier(constant, y),
        brier(last, y),
        log_score(p, y),
        log_score(constant, y),
        log_score(last, y),
        auc(p, y),
        auc(p[sound], y[sound]),
        float(y.sum() / p.sum()),
        calibration(p, y),
        (after, other),
        by_last,
        None,
        len(own),
    )


def _none(why_not: NoBackTest, steps: int) -> BackTest:
    nan = float("nan")
    return BackTest((), nan, nan, nan, nan, nan, nan, nan, nan, nan, (), (nan, nan), 0, why_not, steps)


def _foretell(
    past: Sequence[SeasonStep],
    step: SeasonStep,
    others: Sequence[Sequence[SeasonStep | SeasonCounts]],
    draws: int,
    seed: int,
) -> tuple[ForetoldSeason, tuple[NDArray[np.float64], ...]]:
    """Foretell one season; return it, and by vine: chance, outcome, the two plain rules, never a case."""
    earlier = [[one for one in steps if one.season < step.season] for steps in others]
    found = estimate(past, earlier, ahead=step.season)
    rng = np.random.Generator(np.random.SFC64([seed, 80, step.season]))
    forecast = next_season(step.before, draw(found, draws, rng), rng, mask=step.looked & ~step.cut, span=step.span)
    where = ~np.isnan(forecast.chance)
    y = step.seen[where].astype(float)
    constant, after, other = _plain_rates(past)
    last = np.where((step.before.since == 1)[where] | step.before.damaged[where], after, other)
    season = ForetoldSeason(step.season, forecast, int(y.sum()), int((step.new & where).sum()))
    return season, (forecast.chance[where], y, np.full(y.size, constant), last, step.before.never[where].astype(float))


def _plain_rates(past: Sequence[SeasonStep]) -> tuple[float, float, float]:
    """Return the rate of showing of all vines, of those that showed the season before, and of the others.

    Half a vine is added to both outcomes, so that no rule is certain of what it has not seen.
    """
    looked = [step.looked & ~step.cut for step in past]
    vines = sum(int(one.sum()) for one in looked)
    shown = sum(int((one & step.seen).sum()) for one, step in zip(looked, past, strict=True))
    again = [one & ((step.before.since == 1) | step.before.damaged) for one, step in zip(looked, past, strict=True)]
    vines_again = sum(int(one.sum()) for one in again)
    shown_again = sum(int((one & step.seen).sum()) for one, step in zip(again, past, strict=True))
    return (
        (shown + 0.5) / (vines + 1),
        (shown_again + 0.5) / (vines_again + 1),
        (shown - shown_again + 0.5) / (vines - vines_again + 1),
    )

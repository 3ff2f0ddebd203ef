"""How good would the forecast have been? Every season foretold from those before it, beside two plain rules."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import rankdata

from trunkwatch.forecast.estimate import draw, estimate
from trunkwatch.forecast.next_season import NextSeason, next_season
from trunkwatch.forecast.vine_years import SeasonStep

__all__ = ["BackTest", "ForetoldSeason", "auc", "back_test", "brier", "log_score"]

#: Seasons that must lie before the first that is foretold.
FIRST = 3


@dataclass(frozen=True, slots=True)
class ForetoldSeason:
    """One season foretold from those before: counts with limits, and what came."""

    season: int
    forecast: NextSeason
    showing: int
    new: int

    @property
    def inside90(self) -> bool:
        """Whether the vines showing fell into the 90 % limits."""
        return self.forecast.showing.low90 <= self.showing <= self.forecast.showing.high90

    @property
    def inside50(self) -> bool:
        """The same for the 50 % limits."""
        return self.forecast.showing.low50 <= self.showing <= self.forecast.showing.high50


@dataclass(frozen=True, slots=True)
class BackTest:
    """All seasons that could be foretold.

    Attributes
    ----------
    brier, brier_constant, brier_last : float
        Mean squared error of the vines' chances: of the forecast, of one constant rate, of last season's status.
    log_score, log_constant : float
        Mean of minus the logarithm of the chance of what came.
    auc_all, auc_new : float
        Chance that a vine that showed had a higher forecast than one that did not; of all vines, and of those never a
        case before. 0.5 is no skill.
    observed_over_expected : float
        Calibration in the large.
    """

    seasons: tuple[ForetoldSeason, ...]
    brier: float
    brier_constant: float
    brier_last: float
    log_score: float
    log_constant: float
    auc_all: float
    auc_new: float
    observed_over_expected: float
    reason: str


def brier(p: NDArray[np.float64], y: NDArray[np.float64]) -> float:
    """Return the mean squared error of chances."""
    return float(((p - y) ** 2).mean())


def log_score(p: NDArray[np.float64], y: NDArray[np.float64]) -> float:
    """Return minus the mean logarithm of the chance of what came."""
    q = np.clip(p, 1e-9, 1 - 1e-9)
    return float(-(y * np.log(q) + (1 - y) * np.log(1 - q)).mean())


def auc(p: NDArray[np.float64], y: NDArray[np.float64]) -> float:
    """Return the area under the curve as the Mann-Whitney share, ties counting half; nan with one kind only."""
    ones, zeros = int(y.sum()), int(y.size - y.sum())
    if not ones or not zeros:
        return float("nan")
    return float((rankdata(p)[y == 1].sum() - ones * (ones + 1) / 2) / (ones * zeros))


def back_test(
    own: Sequence[SeasonStep], others: Sequence[Sequence[SeasonStep]] = (), *, draws: int = 2000, seed: int = 1
) -> BackTest:
    """Foretell every season from those before it.

    Parameters
    ----------
    own, others
        As in `trunkwatch.forecast.estimate.estimate`; of the other blocks too only earlier seasons are used.
    draws, seed : int
        Draws of the chances, and the seed.
    """
    nan = float("nan")
    if len(own) <= FIRST:
        reason = (
            f"{len(own)} seasons after the first counted one: {FIRST + 1} are needed to foretell one from the others"
        )
        return BackTest((), nan, nan, nan, nan, nan, nan, nan, nan, reason)
    told, parts = [], []
    for at in range(FIRST, len(own)):
        step = own[at]
        past = [[one for one in steps if one.season < step.season] for steps in others]
        found = estimate(own[:at], past)
        rng = np.random.Generator(np.random.SFC64([seed, 80, step.season]))
        forecast = next_season(step.before, draw(found, draws, rng), rng, mask=step.looked)
        where = ~np.isnan(forecast.chance)
        y = step.showing[where].astype(float)
        told.append(ForetoldSeason(step.season, forecast, int(y.sum()), int((step.new & where).sum())))
        before = list(own[:at])
        rate = sum(int((one.showing & one.looked).sum()) for one in before) / max(
            1, sum(int(one.looked.sum()) for one in before)
        )
        last = np.clip((step.before.since[where] == 1).astype(float), 0.0, 1.0)
        parts.append((forecast.chance[where], y, np.full(y.size, rate), last, step.before.never[where]))
    p, y, constant, last, never = (np.concatenate([part[k] for part in parts]) for k in range(5))
    return BackTest(
        tuple(told), brier(p, y), brier(constant, y), brier(last, y), log_score(p, y), log_score(constant, y),
        auc(p, y), auc(p[never], y[never]), float(y.sum() / p.sum()) if p.sum() else nan, "",
    )  # fmt: skip

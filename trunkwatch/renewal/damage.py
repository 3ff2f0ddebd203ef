"""How damage starts, grows and comes back in the futures: what the record says, drawn with its uncertainty."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trunkwatch.forecast.estimate import Estimates
from trunkwatch.renewal.costs import Costs
from trunkwatch.renewal.states import DEAD_SHARE

__all__ = ["Damage", "draw_damage"]

#: Vine-years that `decline_pct` stands for beside the record (our own convention).
GROWTH_WEIGHT = 10.0
#: Classes in which damage comes to light before the record speaks, in vines: mostly light (from memory).
STARTS = (3.0, 0.3, 0.1)


@dataclass(frozen=True, slots=True)
class Damage:
    """How symptoms leave lasting damage, and what prevention does.

    Attributes
    ----------
    lasting : float or (futures,) array
        Share of new symptoms that leave lasting damage.
    decline : float or (futures, 2) array
        Yearly chance that it grows by a class, from light and from middle.
    prevents : (float, float)
        Share of new infections prevented, low and high; every future has its own between them.
    lag : int
        Years in which prevention shows no effect: vines infected before still come to show.
    starts, returns : (futures, 2) array or None
        Shares of new damage, and of damage that comes back after a cut, that are middle and heavy at once; None where
        all of it is light.
    dead_shares : tuple of float
        Share of the vine that is dead with light, middle and heavy damage.
    """

    lasting: float | NDArray[np.float64] = 0.2
    decline: float | NDArray[np.float64] = 0.15
    prevents: tuple[float, float] = (0.25, 0.75)
    lag: int = 4
    starts: NDArray[np.float64] | None = None
    returns: NDArray[np.float64] | None = None
    dead_shares: tuple[float, ...] = DEAD_SHARE

    def some(self, part: slice) -> "Damage":
        """Return the same for some of the futures."""

        def of(value: float | NDArray[np.float64]) -> float | NDArray[np.float64]:
            return value[part] if isinstance(value, np.ndarray) else value

        return Damage(
            of(self.lasting),
            of(self.decline),
            self.prevents,
            self.lag,
            None if self.starts is None else self.starts[part],
            None if self.returns is None else self.returns[part],
            self.dead_shares,
        )


def draw_damage(found: Estimates, costs: Costs, draws: int, rng: np.random.Generator) -> Damage:
    """Draw what damage does from the posterior, one draw for each future.

    Parameters
    ----------
    found : Estimates
        With what was written of growth.
    costs : Costs
        `decline_pct` is what is believed of growth before the record speaks.
    draws : int
        How many.
    rng : Generator
        Source of chance.
    """
    growth, believed = found.growth, min(max(costs.share("decline_pct"), 0.001), 0.999)
    grown = growth.classes_grown()
    alpha = believed * GROWTH_WEIGHT + grown
    beta = (1 - believed) * GROWTH_WEIGHT + growth.years - grown
    starts = np.array(STARTS) + growth.first
    # What comes back is believed to start as new damage does, with a weight of three vines.
    returns = growth.again + 3 * starts / starts.sum()
    return Damage(
        rng.beta(found.alpha["lasting"], found.beta["lasting"], draws),
        rng.beta(alpha, beta, (draws, 2)),
        (costs.share("protect_low_pct"), costs.share("protect_high_pct")),
        int(costs["protect_lag_years"]),
        rng.dirichlet(starts, draws)[:, 1:],
        rng.dirichlet(returns, draws)[:, 1:],
        growth.dead_shares(DEAD_SHARE),
    )

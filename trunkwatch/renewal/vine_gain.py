"""What a piece of work on one vine is expected to bring: the value of each state under no further work, and differences."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trunkwatch.forecast.priors import PRIORS
from trunkwatch.forecast.rates import Rates
from trunkwatch.renewal.costs import Costs
from trunkwatch.renewal.damage import Damage
from trunkwatch.renewal.states import N_STATES, State, after_symptoms, next_without_symptoms, thresholds
from trunkwatch.renewal.yields import yield_table

__all__ = ["VineGains", "state_values", "vine_gains"]


@dataclass(frozen=True, slots=True)
class VineGains:
    """What work on a vine is worth, money a vine.

    Attributes
    ----------
    value : (states,) array
        Present value of what a vine bears, nothing being done.
    lost, lost_with_shoot : float
        Present value of the yield that a renewed trunk misses until it bears fully, cut first or from a trained shoot.
    hour, plant : float
        Cost of a crew-hour and of a plant.
    """

    value: NDArray[np.float64]
    lost: float
    lost_with_shoot: float
    hour: float
    plant: float

    def renew(self, state: int, *, part: float, shoot: bool, hours: float) -> float:
        """Return the gain of renewing a part (1 the trunk, a half one arm of two): only that part's yield is missed."""
        start, missed = (State.CUT_TRAINED, self.lost_with_shoot) if shoot else (State.CUT, self.lost)
        return float(self.value[start] + (1 - part) * missed - self.value[state] - hours * self.hour)

    def replant(self, state: int, *, hours: float) -> float:
        """Return the gain of a replant."""
        return float(self.value[State.PLANTED] - self.value[state] - hours * self.hour - self.plant)


def state_values(
    rates: Rates,
    costs: Costs,
    vines_ha: float,
    *,
    lasting: float = PRIORS["lasting"].mean,
    damage: Damage | None = None,
) -> NDArray[np.float64]:
    """Return the present value of what a vine in each state will bear, nothing being done, (states,).

    Mean over the draws of the chances; middling seasons; no neighbours. `damage` goes before `lasting` where it is given.
    """
    years, rate = int(costs["horizon_years"]), costs["discount_pct"] / 100
    grows: float | NDArray[np.float64] = costs.share("decline_pct") if damage is None else damage.decline
    stays: float | NDArray[np.float64] = lasting if damage is None else damage.lasting
    bearing = yield_table(costs) if damage is None else yield_table(costs, damage.dead_shares)
    money = bearing * costs["yield_t_ha"] * (costs["price_per_t"] - costs["harvest_t"]) / vines_ha
    gone, lamed, shown = (
        one.mean(axis=0, dtype=float) for one in thresholds(rates, np.zeros(rates.draws), lasting=stays, decline=grows)
    )
    follow, after = next_without_symptoms(), after_symptoms()
    value = np.zeros(N_STATES)
    for _ in range(years):
        ahead = money + value
        value = (
            gone * ahead[State.DEAD]
            + (lamed - gone) * ahead[State.LIGHT]
            + (shown - lamed) * ahead[after]
            + (1 - shown) * ahead[follow]
        ) / (1 + rate)
    return value


def vine_gains(
    rates: Rates,
    costs: Costs,
    vines_ha: float,
    *,
    lasting: float = PRIORS["lasting"].mean,
    damage: Damage | None = None,
) -> VineGains:
    """Return what renewing or replanting a vine brings beside leaving it; `lasting` as in `thresholds`.

    Raises
    ------
    RecordError
        If a price that is needed is not written.
    """
    value = state_values(rates, costs, vines_ha, lasting=lasting, damage=damage)
    money = costs["yield_t_ha"] * (costs["price_per_t"] - costs["harvest_t"]) / vines_ha
    rate = 1 + costs["discount_pct"] / 100
    forced = sum((1 - costs.share(f"renewed_{year}_pct")) * money / rate**year for year in range(1, 5))
    trained = (1 - costs.share("shoot_first_1_pct")) * money / rate + (
        1 - costs.share("renewed_3_pct")
    ) * money / rate**2
    return VineGains(value, forced, trained, costs["crew_hour"], costs["replant_vine"])

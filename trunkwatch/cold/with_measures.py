"""Double pruning and wound protection beside the stretches of a winter, as values: wounds and spare buds with and without, time and money.

Shares prevented are published ones, or the user's own in `costs`; minutes and material are the user's own, for no source gives them.
Infections are not put into money: nobody has counted what an open day of a wound costs.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from trunkwatch.cold.window import BlockWindow
from trunkwatch.errors import RecordError
from trunkwatch.renewal.costs import Costs

__all__ = ["Measure", "StretchWith", "WithMeasure", "shares_of_worst", "with_measure"]


class Measure(Enum):
    """What is done beside, or before, one final cut."""

    LONG_FIRST = "long-first-cut"
    PROTECT = "wound-protection"


_SHARES = {
    Measure.LONG_FIRST: ("double_low_pct", "double_high_pct"),
    Measure.PROTECT: ("protect_low_pct", "protect_high_pct"),
}
#: Prices that a measure takes, in the order in which they are asked for.
PRICES = {
    Measure.LONG_FIRST: ("first_cut_minutes", "crew_hour"),
    Measure.PROTECT: ("protect_minutes", "protect_material", "crew_hour"),
}


@dataclass(frozen=True, slots=True)
class StretchWith:
    """One stretch without and with the measure.

    Attributes
    ----------
    calendar, warmth : float
        Open wounds of one cut without it, as a share of those on the worst stretch, under each rule of aging; nan without rain.
    calendar_with, warmth_with : (float, float)
        The same with it, at the high and the low share prevented.
    crop_lost, crop_lost_with : float
        Share of the crop given away; nan where no model serves.
    """

    calendar: float
    warmth: float
    calendar_with: tuple[float, float]
    warmth_with: tuple[float, float]
    crop_lost: float
    crop_lost_with: float


@dataclass(frozen=True, slots=True)
class WithMeasure:
    """What a measure changes in a block's winter.

    Attributes
    ----------
    measure : Measure
    prevented : (float, float)
        Share of new infections prevented, low and high.
    source : str
        Of the share, as `costs` has it.
    stretches : tuple of StretchWith
    good : tuple of int
        Stretches that with it, at the low share, meet no more than the best one without, under both rules.
    minutes : float or None
        More a vine; None where not written.
    money : float or None
        What it costs a vine; None without the prices.
    missing : tuple of str
        Prices that are not written.
    crop_worth : float or None
        Crop of a vine in money; None without prices or spacing.
    """

    measure: Measure
    prevented: tuple[float, float]
    source: str
    stretches: tuple[StretchWith, ...]
    good: tuple[int, ...]
    minutes: float | None
    money: float | None
    missing: tuple[str, ...]
    crop_worth: float | None = None


def with_measure(window: BlockWindow, measure: Measure, costs: Costs, vine_m2: float | None = None) -> WithMeasure:
    """Weigh a measure beside the stretches of a winter.

    Parameters
    ----------
    window : BlockWindow
    measure : Measure
    costs : Costs
    vine_m2 : float, optional
        Ground of a vine; None where no spacing is written.

    Raises
    ------
    RecordError
        If its low share is above its high one.
    """
    names = _SHARES[measure]
    low, high = (costs.share(name) for name in names)
    if low > high:
        raise RecordError(
            f"costs: {names[0]} is {100 * low:g} and {names[1]} {100 * high:g}; expected: the low share first"
        )
    calendar, warmth = (shares_of_worst(window, name) for name in ("calendar", "warmth"))
    found = []
    for k, one in enumerate(window.best.stretches):
        with_it = one.crop_lost_long if measure is Measure.LONG_FIRST else one.crop_lost
        sides = [(float(part[k] * (1 - high)), float(part[k] * (1 - low))) for part in (calendar, warmth)]
        found.append(StretchWith(float(calendar[k]), float(warmth[k]), sides[0], sides[1], one.crop_lost, with_it))
    near = 1 + 1e-9
    good = (
        tuple(
            k
            for k, one in enumerate(found)
            if one.calendar_with[1] <= np.nanmin(calendar) * near and one.warmth_with[1] <= np.nanmin(warmth) * near
        )
        if not np.isnan(calendar).all()
        else ()
    )
    minutes, money, missing = _price(measure, costs)
    worth = None
    if costs.enough and vine_m2 is not None:
        worth = vine_m2 / 10_000 * costs["yield_t_ha"] * costs["price_per_t"]
    return WithMeasure(
        measure, (low, high), costs.sources[names[0]], tuple(found), good, minutes, money, missing, worth
    )


def shares_of_worst(window: BlockWindow, name: str) -> np.ndarray:
    """Return the mean exposure of each stretch as a share of the worst one's; nan where nothing is known."""
    values = window.by_winter[name]
    parts: Sequence[np.ndarray] = [values[:, one.first : one.last + 1] for one in window.best.stretches]
    means = np.array([part[~np.isnan(part)].mean() if (~np.isnan(part)).any() else np.nan for part in parts])
    if np.isnan(means).all():
        return means
    worst = np.nanmax(means)
    return np.asarray(means / worst if worst > 0 else np.zeros_like(means))


def _price(measure: Measure, costs: Costs) -> tuple[float | None, float | None, tuple[str, ...]]:
    """Return minutes and money a vine, and the prices that are not written; of protection one price for all of it serves too."""
    missing = tuple(name for name in PRICES[measure] if name in costs.missing)
    minutes_name = PRICES[measure][0]
    minutes = None if minutes_name in costs.missing else costs[minutes_name]
    if not missing and minutes is not None:
        material = costs["protect_material"] if measure is Measure.PROTECT else 0.0
        return minutes, material + minutes / 60 * costs["crew_hour"], ()
    if measure is Measure.PROTECT and "protect_vine" not in costs.missing:
        return minutes, costs["protect_vine"], ()
    return minutes, None, missing

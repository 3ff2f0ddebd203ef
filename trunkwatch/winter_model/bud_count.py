"""Counted buds: what they say of the share killed, the model a weak voice beside them; and how many to cut.

Buds of one cane are alike, so that few buds from many canes say more than many from few.
"""

import math
from dataclasses import dataclass
from enum import Enum

from scipy.special import betaincinv, ndtri

from trunkwatch.winter_model.cultivars import Basis

__all__ = [
    "ALIKE",
    "HAND_RULES",
    "PRIOR_BUDS",
    "HandRule",
    "KillFromCount",
    "buds_to_cut",
    "kill_from_count",
    "likeness_factor",
    "more_by_hand",
]

#: Counted buds that the model is worth at the most, and likeness of the buds of a cane: our own conventions, no figure was published.
PRIOR_BUDS, ALIKE = 15.0, 0.1
_LEAST = 0.01


class HandRule(Enum):
    """Published hand rules for nodes after a kill, coarser than the exact one."""

    CORNELL = "Cornell, Northern New York, 2014: under 20 % dead no change; 20 to 80 % dead, as many per cent more; over 80 % other measures"
    PURDUE = "Purdue: to 15 % dead none; 15 to 35 % dead, 35 % more; 35 to 50 % dead, 50 % more; above, prune as little as can be"


@dataclass(frozen=True, slots=True)
class KillFromCount:
    """Share of primary buds killed, after a count.

    Attributes
    ----------
    share, low, high : float
        Middle of what is believed, and its limits.
    dead, counted : int
    counts_as : float
        Independent buds that the count is worth.
    prior_buds : float
        Buds that the model was worth beside it.
    """

    share: float
    low: float
    high: float
    dead: int
    counted: int
    counts_as: float
    prior_buds: float


def likeness_factor(buds_per_cane: float, alike: float = ALIKE) -> float:
    """Return how many buds it takes to say as much as one would if buds of a cane were not alike."""
    return 1 + max(0.0, buds_per_cane - 1) * alike


def kill_from_count(
    dead: int,
    counted: int,
    model: tuple[float, float] | None = None,
    *,
    buds_per_cane: float = 1,
    alike: float = ALIKE,
    level: float = 0.8,
) -> KillFromCount:
    """Correct the model's range by a count.

    Parameters
    ----------
    dead, counted : int
        Primary buds.
    model : tuple of float, optional
        Limits of the share by the model, at the same level; left out where no model speaks.
    buds_per_cane : float
    alike : float
        Likeness of the buds of a cane, 0 none to 1 all of a kind.
    level : float

    Raises
    ------
    ValueError
        If more are dead than were counted.
    """
    if not 0 <= dead <= counted:
        raise ValueError(f"{dead} dead of {counted} buds: count between 0 and {counted} dead")
    ahead, behind, worth = _prior(model, level)
    counts_as = counted / likeness_factor(buds_per_cane, alike)
    share = dead / counted if counted else 0.0
    a, b = ahead + counts_as * share, behind + counts_as * (1 - share)
    low, middle, high = (float(betaincinv(a, b, q)) for q in (0.5 - level / 2, 0.5, 0.5 + level / 2))
    return KillFromCount(middle, low, high, dead, counted, counts_as, worth)


def _prior(model: tuple[float, float] | None, level: float) -> tuple[float, float, float]:
    """Turn the model's range into a count; half a bud of each kind where no model speaks."""
    if model is None:
        return 0.5, 0.5, 1.0
    low, high = (min(max(end, _LEAST), 1 - _LEAST) for end in model)
    # The middle on the scale of odds: the range of a share near 0 or 1 is lopsided.
    middle = 1 / (1 + math.exp(-(math.log(low / (1 - low)) + math.log(high / (1 - high))) / 2))
    spread = max((high - low) / (2 * float(ndtri(0.5 + level / 2))), 0.01)
    worth = min(PRIOR_BUDS, max(1.0, middle * (1 - middle) / spread**2 - 1))
    return middle * worth, (1 - middle) * worth, worth


def buds_to_cut(
    share: float, within: float, *, buds_per_cane: float = 1, alike: float = ALIKE, level: float = 0.95
) -> int:
    """Return how many buds tell a share to within so much either way."""
    if not 0 < within < 1 or not 0 <= share <= 1:
        raise ValueError(f"share {share} within {within}: both are shares, between 0 and 1")
    z = float(ndtri(0.5 + level / 2))
    return math.ceil(z**2 * share * (1 - share) / within**2 * likeness_factor(buds_per_cane, alike) - 1e-9)


def more_by_hand(rule: HandRule, killed: float) -> float | None:
    """Return the share of nodes that a hand rule adds; None where it asks for other measures."""
    if rule is HandRule.CORNELL:
        return 0.0 if killed < 0.2 else killed if killed <= 0.8 else None
    return 0.0 if killed <= 0.15 else 0.35 if killed <= 0.35 else 0.5 if killed <= 0.5 else None


#: What the rules stand on.
HAND_RULES = {HandRule.CORNELL: Basis.TEXT, HandRule.PURDUE: Basis.TEXT}

"""How much a vine bears: by the share of its spurs that is dead, and by what stands in its place."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trunkwatch.renewal.costs import Costs
from trunkwatch.renewal.states import DEAD_SHARE, N_STATES, State

__all__ = ["MUNKVOLD_1991", "MUNKVOLD_1992", "yield_by_severity", "yield_table"]

#: Intercept and slope, percent of a healthy vine's yield over the share of dead spurs (Munkvold, Duthie and Marois 1994).
MUNKVOLD_1991, MUNKVOLD_1992 = (101.0, -90.26), (100.1, -98.81)


def yield_by_severity(dead_share: ArrayLike, line: tuple[float, float] = MUNKVOLD_1991) -> NDArray[np.float64]:
    """Return percent of a healthy vine's yield, between 0 and 100.

    Parameters
    ----------
    dead_share : array_like
        Share of spurs dead, 0 to 1.
    line : (float, float)
        Intercept and slope.

    Raises
    ------
    ValueError
        If a share is not between 0 and 1.

    References
    ----------
    .. [1] Munkvold, G.P., Duthie, J.A. and Marois, J.J. (1994) Phytopathology 84, 186-192.
    """
    share = np.asarray(dead_share, dtype=float)
    if ((share < 0) | (share > 1)).any():
        raise ValueError("a share of dead spurs is not between 0 and 1")
    return np.asarray(np.clip(line[0] + line[1] * share, 0.0, 100.0))


def yield_table(costs: Costs, dead_shares: Sequence[float] = DEAD_SHARE) -> NDArray[np.float64]:
    """Return the yield of each state as a share of a healthy mature vine, (states,).

    Parameters
    ----------
    costs : Costs
        Yields of vines that grow up, show or hid.
    dead_shares : sequence of float
        Share of the vine that is dead with light, middle and heavy damage.
    """
    table = np.zeros(N_STATES)
    table[State.SOUND] = 1.0
    table[State.SHOWING] = costs.share("showing_pct")
    table[State.HIDDEN_1 : State.HIDDEN_3 + 1] = costs.share("hidden_pct")
    table[State.LIGHT : State.HEAVY + 1] = table[State.SHOOT_LIGHT :] = yield_by_severity(list(dead_shares)) / 100
    for year in range(1, 5):
        table[State.RENEWED_1 + year - 1] = costs.share(f"renewed_{year}_pct")
    table[State.TRAINED_1] = costs.share("shoot_first_1_pct")
    for year in range(1, 10):
        table[State.YOUNG_1 + year - 1] = costs.share(f"replant_{year}_pct")
    for year in range(1, 6):
        table[State.BLOCK_1 + year - 1] = costs.share(f"block_{year}_pct")
    for state, grown in ((State.RELAPSED_1, "renewed_1_pct"), (State.RELAPSED_2, "renewed_2_pct")):
        table[state] = costs.share(grown) * costs.share("showing_pct")
    table[State.QUIET_2] = costs.share("renewed_2_pct") * costs.share("hidden_pct")
    for year in range(4, 10):  # a young case shows or hides: the lower of the two
        table[State.YOUNG_CASE_4 + year - 4] = costs.share(f"replant_{year}_pct") * costs.share("showing_pct")
    for arm, showed, season in (
        (State.ARM_1, State.ARM_SHOWED_1, "new_arm_1_pct"),
        (State.ARM_2, State.ARM_SHOWED_2, "new_arm_2_pct"),
    ):
        table[arm] = costs.share(season)
        table[showed] = costs.share(season) * costs.share("showing_pct")
    return table

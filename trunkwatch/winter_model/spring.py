"""Spring frost against the days by which a late cut delays budbreak."""

import numpy as np
from numpy.typing import NDArray

from trunkwatch.winter_model.cultivars import Basis, Kind

__all__ = ["DELAY_DAYS", "FROST_C", "budbreak_delay", "frost_after"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
#: Temperature that kills half of the shoots at burst, by public research code.
FROST_C = {Kind.VINIFERA: -2.2, Kind.LABRUSCA: -6.4}
#: Days of delay that cuts at two or three unfolded leaves brought (15 to 20 in a survey of 21 papers, Poni et al. 2022, abstract).
DELAY_DAYS = (15.0, 20.0)
#: The delay grows in a straight line from nothing, so many days before budbreak, to the whole, so many days after it: our own
#: convention, for no source gives the delay by day.
GROWS_FROM, GROWS_TO = -14, 14
DELAY_BASIS = (Basis.ABSTRACT, Basis.OWN)


def budbreak_delay(cut: Ints, budbreak: int) -> Floats:
    """Return by how many days a cut on each day delays a budbreak."""
    share = np.clip((np.asarray(cut, dtype=float) - budbreak - GROWS_FROM) / (GROWS_TO - GROWS_FROM), 0, 1)
    return share * sum(DELAY_DAYS) / 2


def frost_after(t_min_c: Floats, budbreak: Ints, cut: Ints, point_c: float) -> Floats:
    """Tell for each winter and day of the cut whether frost came once buds had broken.

    Parameters
    ----------
    t_min_c : array (winters, days)
        Until early summer.
    budbreak : array (winters,)
        Without a late cut; -1 where none is known.
    cut : array (cuts,)
        Days of the cut.
    point_c : float
        Temperature that kills half of the shoots.

    Returns
    -------
    array (winters, cuts)
        1 frost, 0 none, nan where budbreak is not known.
    """
    lowest = np.asarray(t_min_c, dtype=float)
    out = np.full((len(lowest), len(cut)), np.nan)
    for winter, day in enumerate(np.asarray(budbreak)):
        if day < 0:
            continue
        frost = np.flatnonzero(lowest[winter] <= point_c)
        last = frost[-1] if frost.size else -1
        out[winter] = last >= day + np.ceil(budbreak_delay(cut, int(day)))
    return out

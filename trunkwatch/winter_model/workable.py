"""Days on which a crew can prune; every limit is the user's own, for no source was found."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Limits", "share_workable", "workable"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Limits:
    """What a crew works in: warmest hour at least, rain less than, snow on the ground less than."""

    t_max_c: float = -10.0
    rain_mm: float = 2.0
    snow_cm: float = 40.0


def workable(t_max_c: Floats, rain_mm: Floats, snow_cm: Floats, limits: Limits | None = None) -> Floats:
    """Return 1 for a day that can be worked, 0 for one that cannot, nan where neither is on file.

    Rain or snow that is not written does not stand in the way where the other figures allow the day.
    """
    own = limits or Limits()
    high, rain, snow = (np.asarray(column, dtype=float) for column in (t_max_c, rain_mm, snow_cm))
    with np.errstate(invalid="ignore"):
        stops = (high < own.t_max_c) | (rain >= own.rain_mm) | (snow >= own.snow_cm)
    return np.where(stops, 0.0, np.where(np.isnan(high), np.nan, 1.0))


def share_workable(days: Floats) -> Floats:
    """Return the share of winters, (winters, days) -> (days,), in which each day could be worked; nan where none tells."""
    known = ~np.isnan(days)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.nansum(days, axis=0) / known.sum(axis=0))

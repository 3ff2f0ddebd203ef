"""Seeded winters of a place: temperatures from day to day alike, rain by wet and dry spells."""

import datetime as dt

import numpy as np

from trunkwatch.vineyard.tables import frame_of


def made_winters(first_year, last_year, *, colder=0.0, seed=1, alike=0.65, sd=4.5):
    """Lines of the weather table from 1 July of the first year to 30 June of the last."""
    rng = np.random.default_rng(seed)
    days = (dt.date(last_year, 6, 30) - dt.date(first_year, 7, 1)).days + 1
    off, wet, lines = 0.0, False, []
    for k in range(days):
        day = dt.date(first_year, 7, 1) + dt.timedelta(days=k)
        off = alike * off + np.sqrt(1 - alike**2) * rng.normal(0, sd)
        mean = 9.5 - colder + 13.5 * np.cos(2 * np.pi * (day.timetuple().tm_yday - 201) / 365.25) + off
        half = 3 + rng.gamma(4, 0.6)
        wet = rng.random() < (0.55 if wet else 0.25)
        rain = rng.gamma(0.8, 8.0) if wet else 0.0
        lines.append(
            {
                "date": day.isoformat(),
                "t_min_c": round(mean - half, 1),
                "t_max_c": round(mean + half, 1),
                "rain_mm": round(rain, 1),
            }
        )
    return frame_of("weather", lines)

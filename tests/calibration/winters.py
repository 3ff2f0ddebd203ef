"""How often the range of killed buds holds the truth, on simulated winters of known kill.

    python tests/calibration/winters.py 100

Winters are made by `winter_model.made` at three places. The truth is the daily model's curve moved by an error of the published size
(mean and spread of the cultivar): the same for the whole winter, or half of its variance anew every week. A hundred buds are then
counted, four from a cane, the canes alike by 0.1. The range should hold the truth in 80 % of the winters; where the error changes
from week to week it cannot, for the worst of many weeks counts.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np
from winter_model.made import made_winters

from trunkwatch.cold.days import Weather
from trunkwatch.cold.models import daily_course
from trunkwatch.winter_model.bud_count import kill_from_count
from trunkwatch.winter_model.cultivars import CULTIVARS, Basis
from trunkwatch.winter_model.kill import kill_share

#: Degrees that the places are colder than the one of `made_winters`.
PLACES = {"cool": 2.0, "cold": 5.0, "colder": 7.0}
MEASURED = tuple(name for name, one in CULTIVARS.items() if one.error.basis is Basis.MEASURED)
CANES, PER_CANE, ALIKE = 25, 4, 0.1


def truths(course, rng, *, weekly):
    """True shares killed of each winter, the model's error drawn anew."""
    winters, days = course.half_c.shape
    part = np.sqrt(0.5) if weekly else 1.0
    off = part * rng.normal(size=(winters, 1)) + (
        np.sqrt(0.5) * np.repeat(rng.normal(size=(winters, days // 7 + 1)), 7, axis=1)[:, :days] if weekly else 0.0
    )
    moved = off * course.error.sd_c - course.error.bias_c
    before = [
        np.concatenate([curve[:, :1], curve[:, :-1]], axis=1)
        for curve in (course.half_c, course.tenth_c, course.ninety_c)
    ]
    half, tenth, ninety = (
        np.minimum(curve + moved, cap) for curve, cap in zip(before, (-1.2, -0.82, -1.6), strict=True)
    )
    shares = kill_share(course.t_min_c, half, tenth, ninety)
    after = (np.arange(days) >= course.ends[:, None]) & (course.ends >= 0)[:, None]
    return np.nanmax(np.where(after, 0.0, np.nan_to_num(shares)), axis=1)


def count(share, rng):
    """Dead buds of a count with canes alike, as a beta-binomial draw."""
    weight = 1 / ALIKE - 1
    share = min(max(share, 1e-6), 1 - 1e-6)
    return int(rng.binomial(PER_CANE, rng.beta(share * weight, (1 - share) * weight, CANES)).sum())


def covers(years, seed=1, cultivars=MEASURED, places=PLACES):
    """Share of truths held and mean width, by column: weather alone, weekly error, and after a count; winters with a kill apart."""
    rng = np.random.default_rng(seed)
    held = {name: [] for name in ("all", "all weekly", "killed", "count", "killed count")}
    widths = {"killed": [], "killed count": []}
    for k, colder in enumerate(places.values()):
        weather = Weather(made_winters(1900, 1900 + years + 1, colder=colder, seed=seed + 10 * k))
        winters = [weather.winter(season, "north") for season in range(1901, 1901 + years)]
        for name in cultivars:
            course = daily_course(winters, CULTIVARS[name])
            killed = course.killed()
            low, high = killed.low[:, -1], killed.high[:, -1]
            true, weekly = (truths(course, rng, weekly=one) for one in (False, True))
            held["all"] += ((low <= true) & (true <= high)).tolist()
            held["all weekly"] += ((low <= weekly) & (weekly <= high)).tolist()
            for a, b, share in zip(low, high, true, strict=True):
                after = kill_from_count(
                    count(share, rng), CANES * PER_CANE, (a, b), buds_per_cane=PER_CANE, alike=ALIKE
                )
                inside = after.low <= share <= after.high
                held["count"].append(inside)
                if 0.02 < share < 0.98:
                    held["killed"].append(a <= share <= b)
                    held["killed count"].append(inside)
                    widths["killed"].append(b - a)
                    widths["killed count"].append(after.high - after.low)
    return {name: (float(np.mean(column)), len(column)) for name, column in held.items()}, {
        name: float(np.mean(column)) for name, column in widths.items()
    }


def main():
    years = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    held, widths = covers(years)
    print("| winters | truths held, % | of | mean width, points |")
    print("|---|---|---|---|")
    for name, (share, number) in held.items():
        width = f"{100 * widths[name]:.0f}" if name in widths else ""
        print(f"| {name} | {100 * share:.1f} | {number:,} | {width} |")


if __name__ == "__main__":
    main()

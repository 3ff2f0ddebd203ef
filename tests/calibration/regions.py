"""Regions of known truth for blocks beside their like: how often ranges hold the truth, false unusual blocks, and power.

Run: python tests/calibration/regions.py [regions of each kind] [name of a kind, or trend ...] [--workers 2] [--power 40]

No region is drawn from the model that is fitted. A vine gets sick by a hazard that rises from its eighth year, is highest between 15
and 30 and ebbs after; a block multiplies it (gamma, lognormal, or two stocks); a cultivar multiplies it; sick vines show in a season
by a chance of that season, times what the grower's scouts see. Shares of regions without ages are drawn from a beta law.
"""

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from trunkwatch.alike.bands import share_ranges
from trunkwatch.alike.beside_like import Rows, beside_like
from trunkwatch.alike.season_trend import season_trend


@dataclass(frozen=True)
class Kind:
    """How a region is made."""

    blocks: int
    seasons: int
    growers: int
    frailty: str = "gamma"
    vines: tuple[int, int] = (200, 600)
    sick: float = 0.012  # highest yearly hazard of a vine in a middling block
    see: float = 0.1  # spread of what scouts of a grower see
    planted: float = (
        0.0  # the block of number 0, of 20 years, has so many times the hazard of a middling one; 0: as drawn
    )


KINDS = {
    "one season": Kind(100, 1, 1),
    "one season, 20 blocks": Kind(20, 1, 1),
    "one season, 60 vines a block": Kind(60, 1, 1, vines=(40, 80)),
    "eight seasons": Kind(60, 8, 1),
    "eight seasons, lognormal": Kind(60, 8, 1, frailty="lognormal"),
    "eight seasons, two stocks": Kind(60, 8, 1, frailty="two"),
    "eight seasons, rare": Kind(60, 8, 1, sick=0.002),
    "growers whose scouts see unlike": Kind(80, 5, 16, see=0.5),
    "12 blocks, three seasons": Kind(12, 3, 3),
    "beta, one season": Kind(60, 1, 1, frailty="beta", vines=(50, 300)),
}
CULTIVARS = np.array([0.4, 0.25, 0.15, 0.1, 0.06, 0.04])
TIMES = (8.0, 24.0)


def sick_share(times, age, hazard):
    """Share of vines that are sick at an age, from the sum of yearly hazards."""
    year = np.arange(1, 61)
    by_year = hazard * np.interp(year, [0, 8, 15, 30, 45, 60], [0, 0.05, 1.0, 1.0, 0.3, 0.2])
    summed = np.concatenate([[0.0], np.cumsum(by_year)])
    return 1 - np.exp(-times * summed[np.clip(age, 0, 60)])


def frailties(rng, kind):
    if kind.frailty == "lognormal":
        return np.exp(rng.normal(-0.3, 0.8, kind.blocks))
    if kind.frailty == "two":
        return np.where(rng.random(kind.blocks) < 0.3, 2.2, 0.5) * rng.gamma(6.0, 1 / 6.0, kind.blocks)
    return rng.gamma(2.0, 0.5, kind.blocks)


def region(kind, seed):
    """Make a region: rows for the model, and the true share of each row."""
    rng = np.random.default_rng(seed)
    size = (kind.blocks, kind.seasons)
    planted = rng.integers(3, 45, kind.blocks)
    cultivar = rng.choice(CULTIVARS.size, kind.blocks, p=CULTIVARS)
    grower = np.sort(rng.integers(0, kind.growers, kind.blocks))
    age = planted[:, None] + np.arange(kind.seasons)
    times = frailties(rng, kind) * rng.gamma(8.0, 1 / 8.0, CULTIVARS.size)[cultivar]
    if kind.planted:
        planted[0], times[0] = 20, kind.planted * np.median(times)
        age = planted[:, None] + np.arange(kind.seasons)
    if kind.frailty == "beta":
        truth = np.repeat(rng.beta(1.2, 25.0, kind.blocks)[:, None], kind.seasons, axis=1)
        if kind.planted:
            odds = kind.planted * np.median(truth / (1 - truth))
            truth[0] = odds / (1 + odds)
        age, cultivar = np.full(size, np.nan), np.zeros(kind.blocks, dtype=int)
    else:
        shows = (
            rng.beta(6.0, 6.0, kind.seasons)
            * np.clip(np.exp(rng.normal(0, kind.see, kind.growers)), 0, 1.9)[grower][:, None]
        )
        local = rng.gamma(16.0, 1 / 16.0, size)
        truth = np.clip(sick_share(times[:, None], age, kind.sick) * shows * local, 0, 0.98)
    vines = np.repeat(rng.integers(*kind.vines, kind.blocks)[:, None], kind.seasons, axis=1)
    scouted = rng.random(size) < (0.85 if kind.seasons > 1 else 1.0)
    scouted[:, -1] = True
    block, season = np.nonzero(scouted)
    cases = rng.binomial(vines[scouted], truth[scouted])
    rows = Rows(
        cases.astype(float),
        vines[scouted].astype(float),
        block,
        season,
        grower[block],
        age[scouted].astype(float),
        (cultivar[block],),
    )
    return rows, truth[scouted]


def one(name, seed, for_power):
    """Judge one region, and, for some, the same with a block of more hazard."""
    kind = KINDS[name]
    rows, truth = region(kind, seed)
    if rows.cases.sum() == 0:
        return None
    fit = beside_like(rows, kind.seasons - 1)
    true = truth[fit.at]
    low, high = (share_ranges(rows.cases[fit.at], rows.vines[fit.at], fit.mean_before, fit.variance_before, level=0.9))[
        1:
    ]
    found = {
        "range 95": float(np.mean((fit.low <= true) & (true <= fit.high))),
        "range 90": float(np.mean((low <= true) & (true <= high))),
        "like": float(np.mean((fit.like_low <= true) & (true <= fit.like_high))),
        "error": float(np.sqrt(np.mean((fit.share - true) ** 2))),
        "raw error": float(np.sqrt(np.mean((rows.cases[fit.at] / rows.vines[fit.at] - true) ** 2))),
        "false": float(fit.unusual.any()),
    }
    for times in TIMES if seed <= for_power else ():
        rows, _ = region(Kind(**{**kind.__dict__, "planted": times}), seed)
        fit = beside_like(rows, kind.seasons - 1)
        found[f"power {times:g}"] = float(
            fit.unusual[fit.at == np.flatnonzero((rows.block == 0) & (rows.season == kind.seasons - 1))[0]][0]
        )
    return found


def trend(seasons, seed):
    """Whether the range of a trend of 20 blocks holds the truth: odds that grow or stay, with seasons showy for all."""
    rng = np.random.default_rng(seed)
    slope = rng.choice([0.0, 0.1])
    swing = rng.laplace(0, 0.25, seasons)
    odds = rng.gamma(2.0, 0.02, 20)[:, None] * np.exp(slope * np.arange(seasons) + swing)
    share = odds / (1 + odds)
    vines = rng.integers(200, 600, share.shape)
    cases = rng.binomial(vines, share)
    block, season = np.nonzero(rng.random(share.shape) < 0.8)
    found = season_trend(cases[block, season], vines[block, season], block, season + 2000)
    return None if np.isnan(found.statistic) else float(np.log(found.low) <= slope <= np.log(found.high))


def line_of(name, results):
    keys = {key for one in results for key in one}
    columns = {key: np.array([one[key] for one in results if key in one]) for key in keys}
    cells = []
    for key in ("range 95", "range 90", "like"):
        values = 100 * columns[key]
        cells.append(f"{values.mean():.1f} ({np.quantile(values, 0.05):.0f})")
    cells.append(f"{columns['raw error'].mean() / columns['error'].mean():.2f}")
    powers = (f"power {times:g}" for times in TIMES)
    cells += [f"{100 * columns[key].mean():.1f}" if key in columns else "-" for key in ("false", *powers)]
    return f"| {name} | {' | '.join(cells)} |"


def main():
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("regions", nargs="?", type=int, default=200)
    asked.add_argument("kinds", nargs="*")
    asked.add_argument("--workers", type=int, default=2)
    asked.add_argument("--power", type=int, default=40, help="regions of each kind on which power is measured")
    given = asked.parse_args()
    seeds, began = range(1, given.regions + 1), time.monotonic()
    powers = " | ".join(f"found, {times:g} times the hazard" for times in TIMES)
    print(
        f"{given.regions} regions of each kind, seeds from 1; shares in %, in brackets what 5 % of the regions stay under; power on {given.power} of them\n"
    )
    print(
        f"| kind of region | 95 % range of a block holds the truth | 90 % range | nine in ten like it | error, raw over shrunk | regions with a false unusual block | {powers} |"
    )
    print("|---|" + "---|" * (5 + len(TIMES)))
    means = []
    with ProcessPoolExecutor(given.workers) as pool:
        for name in [one for one in given.kinds if one in KINDS] or ([] if given.kinds else KINDS):
            results = [
                one for one in pool.map(one_of, [(name, seed, given.power) for seed in seeds], chunksize=4) if one
            ]
            means.append((name, *(np.mean([one[key] for one in results]) for key in ("range 95", "range 90", "false"))))
            print(line_of(name, results), flush=True)
        for seasons in (5, 8, 12) if not given.kinds or "trend" in given.kinds else ():
            held = [
                one for one in pool.map(trend_of, [(seasons, seed) for seed in seeds], chunksize=4) if one is not None
            ]
            print(
                f"trend of 20 blocks over {seasons} seasons: 95 % range holds the truth in {100 * np.mean(held):.1f} % of {len(held)} regions",
                flush=True,
            )
    if not means:
        return
    worst = min(means, key=lambda line: line[1]), max(means, key=lambda line: line[3])
    mean = np.mean([line[1:] for line in means], axis=0)
    print(f"mean of kinds: 95 % range {100 * mean[0]:.1f}, 90 % range {100 * mean[1]:.1f}, false {100 * mean[2]:.1f}")
    print(
        f"worst kind: 95 % range {100 * worst[0][1]:.1f} ({worst[0][0]}), false {100 * worst[1][3]:.1f} ({worst[1][0]})"
    )
    print(f"{time.monotonic() - began:.0f} s", file=sys.stderr)


def one_of(given):
    return one(*given)


def trend_of(given):
    return trend(*given)


if __name__ == "__main__":
    main()

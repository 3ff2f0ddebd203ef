"""Do the limits of next season's forecast cover what comes, and are known chances found again?

Run: python tests/calibration/forecast_cover.py [blocks]

Vines are simulated season by season from known chances (20 rows x 40 vines, 12 seasons, everything looked at); every
block has chances of its own, drawn around middling ones, and showy and quiet seasons; other sets pass the disease along
the row, rise or fall over the years, or have short records that lean on other blocks. Each season from the fifth on is foretold from those
before; the 90 % limits should hold 86 to 94 % of them, the 50 % limits about half.
"""

import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from scipy.special import expit, logit

from trunkwatch.forecast.back_test import back_test
from trunkwatch.forecast.estimate import draw, estimate
from trunkwatch.forecast.vine_years import Before, SeasonStep, cases_around

SHAPE, SEASONS = (20, 40), 12


def simulate(
    seed: int, *, near: float = 0.0, ring: float = 0.0, trend: float = 0.0
) -> tuple[list[SeasonStep], dict[str, float]]:
    """Return the steps of one block, and the chances they came from."""
    rng = np.random.default_rng(seed)
    luck = np.random.default_rng([seed, 1])
    truth = {
        "first": float(expit(rng.normal(logit(0.02), 0.5))),
        "season_sd": float(rng.uniform(0.1, 0.8)),
        "again_1": float(rng.uniform(0.3, 0.7)),
        "again_4": float(rng.uniform(0.1, 0.4)),
        "death_case": float(rng.uniform(0.01, 0.06)),
        "death_sound": 0.0005,
        "near": near,
    }
    since, had, dead = np.zeros(SHAPE, dtype=int), np.zeros(SHAPE, dtype=bool), np.zeros(SHAPE, dtype=bool)
    steps = []
    empty = np.zeros(SHAPE, dtype=int)
    for season in range(SEASONS):
        side = np.pad(had, 1)
        row = side[1:-1, :-2].astype(int) + side[1:-1, 2:]
        across = side[:-2, 1:-1].astype(int) + side[2:, 1:-1]
        died = had & ~dead & (rng.random(SHAPE) < truth["death_case"])
        died |= ~had & ~dead & (luck.random(SHAPE) < truth["death_sound"])
        before = Before(
            ~had & ~dead,
            empty.astype(bool),
            np.where(dead, 0, since),
            empty,
            empty,
            empty.astype(bool),
            row,
            across,
            cases_around(had, row + across),
        )
        risk = ~dead
        dead = dead | died
        effect = rng.normal() * truth["season_sd"]
        around = cases_around(had, row + across)
        first = expit(logit(truth["first"]) + effect + near * row + ring * around + trend * (season - SEASONS / 2))
        again = expit(logit(np.where(since == 1, truth["again_1"], truth["again_4"])) + 0.7 * effect)
        looked = ~dead
        showing = looked & (rng.random(SHAPE) < np.where(had, again, first))
        new = showing & ~had
        if season:
            none = np.zeros(SHAPE, dtype=bool)
            steps.append(
                SeasonStep(
                    season,
                    1,
                    before,
                    none,
                    looked,
                    showing,
                    showing,
                    new,
                    looked & ~had,
                    risk,
                    died,
                    empty,
                    *[none] * 7,
                )
            )
        since = np.where(showing, 1, np.where(had, np.minimum(since + 1, 4), 0))
        had = had | new
    return steps, truth


def one(
    seed: int, near: float = 0.0, trend: float = 0.0, short: bool = False
) -> tuple[list[tuple[bool, ...]], dict[str, bool]]:
    """Foretell the seasons of one block; tell which limits held, and whether the chances were found.

    A short record has five seasons and leans on three other blocks of as many.
    """
    steps, truth = simulate(seed, near=near, trend=trend)
    others = [simulate(100_000 + 3 * seed + k, near=near)[0][:5] for k in range(3)] if short else []
    steps = steps[:5] if short else steps
    coming = steps[-1].season + 1
    truth["first"] = float(expit(logit(truth["first"]) + trend * (coming - SEASONS / 2)))
    told = back_test(steps, others, draws=1000, seed=seed)
    rates = draw(estimate(steps, others), 2000, np.random.default_rng(seed))
    spans = {
        "first": rates.first,
        "season_sd": rates.season_sd,
        "again_1": rates.again[:, 0],
        "death_case": rates.death[:, 1],
        "death_sound": rates.death[:, 0],
    }
    if rates.near_row.any():
        spans["near"] = rates.near_row
    held = {name: bool(np.quantile(got, 0.05) <= truth[name] <= np.quantile(got, 0.95)) for name, got in spans.items()}
    return [(one.inside50, one.inside90, one.new_inside50, one.new_inside90) for one in told.seasons], held


def main() -> None:
    """Print the table."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    kinds = (
        ("no spread", 0.0, 0.0, False),
        ("spread along the row, added log-odds 1.2", 1.2, 0.0, False),
        ("first symptoms rising by log-odds 0.15 a season", 0.0, 0.15, False),
        ("falling by 0.25", 0.0, -0.25, False),
        ("five seasons, three other blocks", 0.0, 0.0, True),
    )
    print(f"Share inside, %; {many} blocks each; vines showing and new cases by block-season, chances by block\n")
    print("| blocks | block-seasons | showing 50 | showing 90 | new 50 | new 90 | chances that 90 % limits hold |")
    print("|---|---|---|---|---|---|---|")
    with ProcessPoolExecutor(2) as pool:
        for words, near, trend, short in kinds:
            inside: list[tuple[bool, ...]] = []
            held: dict[str, list[bool]] = {}
            for seasons, found in pool.map(
                one, range(many), [near] * many, [trend] * many, [short] * many, chunksize=4
            ):
                inside += seasons
                for name, holds in found.items():
                    held.setdefault(name, []).append(holds)
            shares = " | ".join(f"{100 * share:.1f}" for share in np.array(inside).mean(axis=0))
            chances = ", ".join(f"{name} {100 * np.mean(listed):.0f} of {len(listed)}" for name, listed in held.items())
            print(f"| {words} | {len(inside)} | {shares} | {chances} |", flush=True)


if __name__ == "__main__":
    main()

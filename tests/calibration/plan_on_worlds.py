"""What following the plan truly brings, in dieback and leaf worlds of known truth that another hand made.

Run: python tests/calibration/plan_on_worlds.py [blocks of each world] [name of a world ...]

The record is cut at its end and `decide` recommends. Then the block is carried on (`true_course.py`: the worlds' own vines and
functions; the years under a strategy are not the other hand's) under every strategy listed, three times with the same random
numbers for all. Regret: the best listed strategy's true gain less that of the recommended one, means of the three. Said too much or
too little: the true gain of the first of the three beside the 90 % limits. Prices, hours and crew-days are drawn by chance,
for each world and block anew; of several worlds with the same seed the vines are the same up to the first work.
"""

import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields, replace
from pathlib import Path
from zlib import crc32

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from calibration.true_course import at_the_end, carried_on
from calibration.worlds import WORLDS, frames_of

from trunkwatch.block import load
from trunkwatch.decide.decision import decide
from trunkwatch.renewal.compare import compare
from trunkwatch.renewal.futures import Futures
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of

SEASONS, SHAPE, TIMES = 12, (20, 40), 3
#: Seed of the first block of each world.
FIRST = 5
#: A block whose best strategy is worth less than this share of a healthy block has nothing to lose a share of.
WORTH_A_SHARE = 0.005


@dataclass(frozen=True)
class Judged:
    """What came of one block; money a hectare."""

    world: str
    recommended: str
    best: str
    said: float
    low: float
    high: float
    true: float  # gain of the recommended strategy
    first: float  # the same, of the first of the three
    most: float  # gain of the best listed strategy
    healthy: float

    @property
    def regret(self) -> float:
        return self.most - self.true

    @property
    def inside(self) -> bool:
        return self.low <= self.first <= self.high


def prices(name: str, seed: int) -> dict[str, float]:
    """Draw prices and hours."""
    rng = np.random.default_rng([seed, 7, crc32(name.encode())])
    return {
        "price_per_t": float(rng.choice([600, 1200, 2500])),
        "yield_t_ha": float(rng.uniform(6, 16)),
        "crew_hour": float(rng.uniform(12, 35)),
        "replant_vine": float(rng.uniform(5, 18)),
        "renew_hours": float(rng.uniform(0.1, 0.4)),
        "block_replant_ha": 35000.0,
    }


def judge(job: tuple[str, int]) -> Judged:
    """Judge one block."""
    name, seed = job
    simulated = WORLDS[name].make(seed=seed, seasons=SEASONS, shape=SHAPE)
    told = frame_of("costs", [{"name": n, "value": v} for n, v in prices(name, seed).items()])
    days = float(np.random.default_rng([seed, 8, crc32(name.encode())]).choice([1.0, 3.0, 10.0]))
    store = Store.in_memory()
    store.append(frames_of(simulated.tables), named=True)
    found = decide(load(store), [], told, crew_days=days, seed=seed)
    end = at_the_end(name, seed, SEASONS, SHAPE)
    after = carried_on(
        end, found.states, found.strategies, found.costs, tuple(1000 * seed + k for k in range(TIMES)), found.effort
    )
    true = compare(after, found.costs, found.vines_ha)
    first = compare(carried_first(after), found.costs, found.vines_ha)
    gains = {one.name: one.gain for one in true.judged}
    chosen = found.comparison.recommended
    said = next(one for one in found.comparison.judged if one.name == chosen)
    best = max(gains, key=lambda name: gains[name])
    once = next(one.gain for one in first.judged if one.name == chosen)
    return Judged(
        name, chosen, best, said.gain, said.gain_low, said.gain_high, gains[chosen], once, gains[best], true.healthy
    )


def carried_first(after: Futures) -> Futures:
    """Return the first of the futures alone."""
    arrays = {
        f.name: getattr(after, f.name)[:, :1] for f in fields(after) if isinstance(getattr(after, f.name), np.ndarray)
    }
    return replace(after, **arrays)


def line(name: str, blocks: list[Judged]) -> str:
    """Write one line of the table."""
    worth = [one for one in blocks if one.most > WORTH_A_SHARE * one.healthy]
    shares = np.array([100 * one.regret / one.most for one in worth])
    healthy = np.array([100 * one.regret / one.healthy for one in blocks])
    acted = [one for one in blocks if one.recommended != "do nothing"]
    ratio = np.array([one.true / one.said for one in acted])
    cells = [
        name,
        str(len(blocks)),
        f"{len(worth)}: {shares.mean():.1f}, {shares.max():.1f}; {100 * (shares <= 5).mean():.0f}" if worth else "0",
        f"{healthy.mean():.2f}, {healthy.max():.2f}; {100 * (healthy <= 2).mean():.0f}",
        f"{len(acted)}: {100 * np.mean([one.inside for one in acted]):.0f}" if acted else "0",
        f"{np.median(ratio):.2f}" if acted else "",
    ]
    return "| " + " | ".join(cells) + " |"


def main() -> None:
    """Print the table."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    names = sys.argv[2:] or [name for name in WORLDS if name.startswith(("dieback_", "leaves_"))]
    began, all_blocks = time.perf_counter(), []
    print(
        "| world | blocks | regret, % of (best - nothing): blocks with something to gain, mean, worst; at most 5 % in | regret, % of a healthy block: mean, worst; at most 2 % in | true gain inside the 90 % limits: blocks, % | true over said |\n|---|---|---|---|---|---|"
    )
    with ProcessPoolExecutor(2) as pool:
        for name in names:
            blocks = list(pool.map(judge, [(name, FIRST + seed) for seed in range(many)]))
            all_blocks += blocks
            print(line(name, blocks), flush=True)
    print(line("all", all_blocks))
    print(
        "\n| world | recommended | truly best | said, low, high | true, first | best | regret, % of healthy |\n|---|---|---|---|---|---|---|"
    )
    for one in sorted(all_blocks, key=lambda b: -b.regret / b.healthy)[:25]:
        print(
            f"| {one.world} | {one.recommended} | {one.best} | {one.said:.0f}, {one.low:.0f}, {one.high:.0f} | {one.true:.0f}, {one.first:.0f} | {one.most:.0f} | {100 * one.regret / one.healthy:.2f} |"
        )
    print(f"\n{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()

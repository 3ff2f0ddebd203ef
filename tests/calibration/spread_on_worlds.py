"""What is said of spread in worlds of known truth that another hand made, at many blocks a world.

Run: python tests/calibration/spread_on_worlds.py [blocks of each world] [seasons] [rows x vines] [name of a world ...]

Prints a line a world as it is done, and at the end the worst of each claim beside the mean. "For" is wrong where nothing passes
from vine to vine, "against" where something does; "either" (spread, or short zones that sicken one after another) is wrong where
nothing passes and there are no zones. Worlds that are the same vines with other work or other growth of damage are asked once.
"""

import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from calibration.worlds import WORLDS, frames_of

from trunkwatch.block.opening import laid_out
from trunkwatch.history import BlockHistory, BlockRecords, build_history, read_block
from trunkwatch.pattern.spread import SpreadVerdict, spread_verdict
from trunkwatch.vineyard.records import standing
from trunkwatch.vineyard.tables import records_of

TABLES = ("rows", "plants", "surveys", "symptoms", "work")
SHUFFLES = 499
#: Of the worlds with work, and with growth of damage, those whose first symptoms differ.
ONCE = {
    "leaves_worst_first_useful", "leaves_showed_least_useless", "dieback_early", "dieback_late", "dieback_slow",
    "dieback_early_relapse_15", "dieback_worst_first_useless",
}  # fmt: skip
ZONES = {"zones_on_record", "zones_unknown", "growing_spots"}
CLAIMS = ("for", "spread or short zones", "against")


def history_of(name: str, seed: int, seasons: int, shape: tuple[int, int]) -> BlockHistory:
    """Read one block of a world."""
    simulated = WORLDS[name].make(seed=seed, seasons=seasons, shape=shape)
    frames = {table: standing(frame) for table, frame in frames_of(simulated.tables).items()}
    line = records_of(frames["blocks"])[-1]
    grid, _, records = laid_out(BlockRecords(block=line, **{table: frames[table] for table in TABLES}))
    return build_history(read_block(records, grid), "any")


def judge(job: tuple[str, int, int, tuple[int, int]]) -> tuple[str, SpreadVerdict]:
    """Return what is said of one block."""
    name, seed, seasons, shape = job
    history = history_of(name, seed, seasons, shape)
    return name, spread_verdict(history, history.seasons[-1], permutations=SHUFFLES, seed=seed)


def chosen() -> list[str]:
    """Names of the worlds that are asked."""
    return [name for name in WORLDS if not name.startswith(("leaves_", "dieback_")) or name in ONCE]


def main() -> None:
    """Print the table."""
    blocks = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    seasons = int(sys.argv[2]) if len(sys.argv) > 2 else 12
    rows, vines = (int(part) for part in (sys.argv[3] if len(sys.argv) > 3 else "24x100").split("x"))
    names = sys.argv[4:] or chosen()
    began = time.perf_counter()
    print(f"{blocks} blocks of {rows} x {vines} vines, {seasons} seasons, {SHUFFLES} shuffles; shares in %\n")
    print("| world | passes | for | spread or short zones | against | of 100 new cases at least |")
    print("|---|---|---|---|---|---|")
    wrong: dict[str, list[tuple[float, str]]] = {claim: [] for claim in CLAIMS}
    jobs = [(name, 1000 + seed, seasons, (rows, vines)) for name in names for seed in range(blocks)]
    with ProcessPoolExecutor(2) as pool:
        said: Counter[str] = Counter()
        shares: list[float] = []
        for number, (name, verdict) in enumerate(pool.map(judge, jobs, chunksize=4), start=1):
            said[verdict.says.value] += 1
            shares.append(verdict.along.share)
            if number % blocks:
                continue
            passes = WORLDS[name].spreads
            cells = [100 * said[claim] / blocks for claim in CLAIMS]
            mean = 100 * float(np.nanmean(shares)) if not all(np.isnan(shares)) else float("nan")
            print(
                f"| {name} | {'yes' if passes else 'no'} | "
                + " | ".join(f"{cell:.1f}" for cell in cells)
                + f" | {mean:.0f} |",
                flush=True,
            )
            if passes:
                wrong["against"].append((cells[2], name))
            else:
                wrong["for"].append((cells[0], name))
                if name not in ZONES:
                    wrong["spread or short zones"].append((cells[1], name))
            said, shares = Counter(), []
    for claim, found in wrong.items():
        if found:
            worst = max(found)
            print(
                f"\n{claim}, wrongly: worst {worst[0]:.1f} % ({worst[1]}), mean {np.mean([share for share, _ in found]):.1f} %"
            )
    print(f"\n{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()

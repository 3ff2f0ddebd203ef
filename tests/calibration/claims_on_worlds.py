"""What is said of spread, of chance and of the next season in worlds of known truth that another hand made.

Run: python tests/calibration/claims_on_worlds.py [blocks of each world] [seasons] [name of a world ...]

Prints a line a world, and at the end the worst of each claim beside the mean. A world is wrong where spread is said "for" and
nothing passes from vine to vine, or "against" and something does; "worse" and "better" are what the trend over all seasons says.
"""

import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from calibration.worlds import WORLDS, frames_of

from trunkwatch.block.opening import laid_out, season_of_block
from trunkwatch.block.trend import trend_of
from trunkwatch.errors import RecordError
from trunkwatch.forecast.back_test import back_test
from trunkwatch.forecast.vine_years import steps_of
from trunkwatch.history import BlockRecords, read_block
from trunkwatch.pattern import pattern_of
from trunkwatch.vineyard.records import standing
from trunkwatch.vineyard.tables import records_of

TABLES = ("rows", "plants", "surveys", "symptoms", "work")


def one(name: str, seed: int, seasons: int) -> Counter[str]:
    """Return what is said of one block."""
    simulated = WORLDS[name].make(seed=seed, seasons=seasons, shape=(20, 40))
    frames = {table: standing(frame) for table, frame in frames_of(simulated.tables).items()}
    line = records_of(frames["blocks"])[-1]
    grid, placed, records = laid_out(BlockRecords(block=line, **{table: frames[table] for table in TABLES}))
    season = season_of_block(read_block(records, grid), placed)
    said: Counter[str] = Counter(blocks=1)
    found = pattern_of(season, permutations=199)
    if found.spread is not None:
        said[f"spread {found.spread.says.value}"] += 1
    for finding in found.findings:
        said[finding.word.name] += 1
    said[trend_of(season).over_years.verdict] += 1
    try:
        scores = back_test(steps_of(season.history), [], draws=400, seed=seed).seasons
    except RecordError:
        return said
    for score in scores:
        said["foretold"] += 1
        said["in 50"] += score.inside50
        said["in 90"] += score.inside90
    return said


def _job(job: tuple[str, int, int]) -> tuple[str, Counter[str]]:
    name, seed, seasons = job
    return name, one(name, seed, seasons)


def main() -> None:
    """Print the table."""
    blocks = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    seasons = int(sys.argv[2]) if len(sys.argv) > 2 else 12
    names = sys.argv[3:] or list(WORLDS)
    began = time.perf_counter()
    totals: dict[str, Counter[str]] = {name: Counter() for name in names}
    with ProcessPoolExecutor(2) as pool:
        for name, said in pool.map(
            _job, [(name, 1000 + seed, seasons) for name in names for seed in range(blocks)], chunksize=4
        ):
            totals[name] += said
    print(f"{blocks} blocks of 20 x 40 vines, {seasons} seasons; shares in %; {time.perf_counter() - began:.0f} s\n")
    print(
        "| world | passes | spread: for | against | clustered | chance | near old | worse | better | showing inside 50 | inside 90 |"
    )
    print("|---|---|---|---|---|---|---|---|---|---|---|")
    wrong: dict[str, list[tuple[float, str]]] = {"for": [], "against": [], "90": []}
    for name, said in totals.items():
        spreads = WORLDS[name].spreads

        def share(what: str, of: str = "blocks", said: Counter[str] = said) -> float:
            return 100 * said[what] / max(1, said[of])

        cells = [
            share(what)
            for what in ("spread for", "spread against", "CLUSTERED", "CHANCE", "NEAR_OLD", "worse", "better")
        ]
        inside = [share("in 50", "foretold"), share("in 90", "foretold")]
        print(
            f"| {name} | {'yes' if spreads else 'no'} | "
            + " | ".join(f"{cell:.0f}" for cell in (*cells, *inside))
            + " |"
        )
        wrong["against" if spreads else "for"].append((cells[1] if spreads else cells[0], name))
        if said["foretold"]:
            wrong["90"].append((inside[1], name))
    for claim, found in wrong.items():
        if found:
            worst = min(found) if claim == "90" else max(found)
            what = {
                "for": "said for, nothing passes",
                "against": "said against, it passes",
                "90": "inside the 90 % limits",
            }[claim]
            print(f"\n{what}: worst {worst[0]:.0f} % ({worst[1]}), mean {np.mean([share for share, _ in found]):.1f} %")


if __name__ == "__main__":
    main()

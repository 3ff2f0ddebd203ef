"""Does "did it work" hold in worlds of known truth that another hand made: bias, coverage, and how often it cannot be told.

Run: python tests/calibration/did_it_work.py [blocks of each world] [name of a world ...] [--rows 24 --vines 100] [--minutes 10]

The truth of a block is exact: every renewed vine that was matched is looked up in the record that the same scouts would have
written of the same vines had nobody ever renewed one, on the same outcome and the same looks.
"""

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from calibration.worlds import WORLDS, frames_of
from calibration.worlds.kinds import Block
from calibration.worlds.run import run
from calibration.worlds.written import written

from trunkwatch.block.opening import BlockSeason, laid_out, season_of_block
from trunkwatch.follow_up import trials as following
from trunkwatch.follow_up.outcomes import Outcome
from trunkwatch.follow_up.worked import compared
from trunkwatch.history import BlockRecords, read_block
from trunkwatch.vineyard.records import standing
from trunkwatch.vineyard.tables import records_of

TABLES = ("rows", "plants", "surveys", "symptoms", "work")
CHOSEN = ("worst_first", "longest_on_record", "at_random", "showed_least", "showing_this_year")
NAMES = [
    f"{kind}_{chosen}_{use}" for kind in ("leaves", "dieback") for chosen in CHOSEN for use in ("useless", "useful")
]


def opened(tables) -> BlockSeason:
    """Return the block of some tables."""
    frames = {table: standing(frame) for table, frame in frames_of(tables).items()}
    line = records_of(frames["blocks"])[-1]
    grid, placed, records = laid_out(BlockRecords(block=line, **{table: frames[table] for table in TABLES}))
    return season_of_block(read_block(records, grid), placed)


def without_work(name: str, seed: int, shape: tuple[int, int], seasons: int = 12) -> BlockSeason:
    """Return the block as the same scouts would have written it down had nobody ever renewed a vine."""
    block = Block(seed, seasons, shape)
    course = WORLDS[name].course(block)
    return opened(written(block, course, run(course, block, work=False)))


def truth_of(pairs, bare: BlockSeason, outcome: Outcome) -> float:
    """Return what the work changed among the matched renewed vines, weighted as they were compared."""
    effects, weights, block = [], [], following._Block(bare, outcome)
    for trial, bad, weight in zip(pairs.trials, pairs.bad, pairs.weights, strict=True):
        if trial.renewed:
            vine = block.vines[trial.cell]
            after = [look for look in block.own[trial.cell] if look.date > trial.winter.day]
            left = following._followed(block, trial.winter, trial.cell, vine, 0, trial.past, after, [], False)
            effects.append(bad - (0 < left.ended <= pairs.years))
            weights.append(weight)
    return float(np.average(effects, weights=weights))


Line = tuple[float, float, float, float]


def with_truth(name: str, seed: int, shape: tuple[int, int], outcomes: list[Outcome]) -> list[Line | None]:
    """Return (estimate, low, high, truth) of one block by outcome; None where it cannot be told."""
    season = opened(WORLDS[name].make(seed=seed, seasons=12, shape=shape).tables)
    bare, lines = None, []
    for outcome in outcomes:
        answer = compared(season, outcome)
        if answer.cannot:
            lines.append(None)
            continue
        bare = bare or without_work(name, seed, shape)
        limits = answer.difference
        lines.append((limits.middle, limits.low, limits.high, truth_of(answer.pairs, bare, outcome)))
    return lines


def measured(job: tuple[str, int, tuple[int, int]]) -> list[tuple[str, str, Line | None]]:
    """Return (world, outcome, line) of one block."""
    name, seed, shape = job
    outcomes = [Outcome.LEAVES] if name.startswith("leaves") else [Outcome.WORSE, Outcome.HALF_DEAD]
    lines = with_truth(name, seed, shape, outcomes)
    return [(name, outcome.value, line) for outcome, line in zip(outcomes, lines, strict=True)]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("blocks", type=int, nargs="?", default=100)
    parser.add_argument("worlds", nargs="*")
    parser.add_argument("--rows", type=int, default=20)
    parser.add_argument("--vines", type=int, default=40)
    parser.add_argument(
        "--minutes", type=float, default=1e6, help="stop after so long, with equally many blocks of each world"
    )
    asked = parser.parse_args()
    shape, began, names = (asked.rows, asked.vines), time.perf_counter(), asked.worlds or NAMES
    lines: dict[tuple[str, str], list[Line | None]] = {}
    blocks = 0
    with ProcessPoolExecutor(2) as pool:
        for seed in range(asked.blocks):
            if time.perf_counter() - began > 60 * asked.minutes:
                break
            for listed in pool.map(measured, [(name, 5000 + seed, shape) for name in names]):
                for name, outcome, line in listed:
                    lines.setdefault((name, outcome), []).append(line)
            blocks += 1
    print(f"{blocks} blocks a world, {shape[0]} x {shape[1]} vines, 12 seasons; {time.perf_counter() - began:.0f} s\n")
    print_table(lines)


def print_table(lines: dict[tuple[str, str], list[Line | None]]) -> None:
    """Print a line a world and outcome, and the worst beside the mean of those that are mostly answered."""
    print("| world | outcome | estimate | truth | bias | inside the limits, % | width | cannot be told, % |")
    print("|---|---|---|---|---|---|---|---|")
    summary: list[tuple[float, float, str]] = []
    for (name, outcome), of_world in lines.items():
        answers = [line for line in of_world if line is not None]
        silent = 100 * (1 - len(answers) / len(of_world))
        if not answers:
            print(f"| {name} | {outcome} | - | - | - | - | - | {silent:.0f} |")
            continue
        middle, low, high, truth = np.array(answers).T
        inside, bias = 100 * np.mean((low <= truth) & (truth <= high)), 100 * (middle - truth).mean()
        print(
            f"| {name} | {outcome} | {100 * middle.mean():+.1f} | {100 * truth.mean():+.1f} | {bias:+.1f} | {inside:.0f} | "
            f"{100 * (high - low).mean():.0f} | {silent:.0f} |"
        )
        if silent <= 75:
            summary.append((abs(bias), inside, f"{name}, {outcome}"))
    if summary:
        worst, least = max(summary), min(summary, key=lambda line: line[1])
        print(
            f"\nbias: worst {worst[0]:.1f} points ({worst[2]}), mean without sign {np.mean([s[0] for s in summary]):.1f}"
        )
        print(f"inside the limits: worst {least[1]:.0f} % ({least[2]}), mean {np.mean([s[1] for s in summary]):.1f} %")


if __name__ == "__main__":
    main()

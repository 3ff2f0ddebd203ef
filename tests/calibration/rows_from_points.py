"""How often the rows and positions found in points of vines are right, over simulated blocks of every form.

    python tests/calibration/rows_from_points.py 25 30          # blocks of each form and error, rows of each
    python tests/calibration/rows_from_points.py 25 30 2000     # the same on blocks of other seeds, from 2000 on

Prints a table: blocks refused; of those taken the share of vines in the right row and position, on the mean and of the worst block;
and of blocks with vines wrong, how many of the vines that are wrong lie in rows named as doubtful.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from simulated_rows import KINDS, TrueBlock, simulated

from trunkwatch.errors import RecordError
from trunkwatch.ground.laid_points import LaidPoints, laid_points

ERRORS = (0.02, 0.1, 0.3, 1.0, 3.0)


@dataclass(frozen=True, slots=True)
class Score:
    """One block: refused with a reason, or the shares of its vines that are right."""

    refused: str = ""
    right: float = 1.0
    silent: float = 0.0
    rows_right: float = 1.0


def scored(block: TrueBlock, found: LaidPoints) -> Score:
    """Hold rows and positions against the truth, whichever end they are numbered from."""
    best = Score(right=-1.0)
    row, position = np.full(len(block.row), -1), np.full(len(block.row), -1)
    unsure = np.zeros(len(block.row), dtype=bool)
    for number, own in enumerate(found.rows):
        row[own.points], position[own.points] = number, own.position - 1
        unsure[own.points] = bool(own.unsure)
    longest = np.zeros(int(block.row.max()) + 1, dtype=int)
    np.maximum.at(longest, block.row, block.position)
    unsure[found.lost] = True
    for rows in (row, np.where(row >= 0, row.max() - row, -1)):
        same = rows == block.row
        for places in (block.position, longest[block.row] - block.position):
            right = same & (position == places)
            if right.mean() > best.right:
                best = Score("", float(right.mean()), float((~right & ~unsure).mean()), float(same.mean()))
    return best


def measured(kind: str, error_m: float, seed: int, rows: int = 30) -> Score:
    """Draw a block and have its points laid out."""
    rng = np.random.default_rng([seed, KINDS.index(kind), round(100 * error_m)])
    block = simulated(rng, kind, error_m, rows=rows)
    try:
        found = laid_points(block.points, "A")
    except RecordError as error:
        return Score(str(error))
    return scored(block, found)


def main() -> None:
    """Print the table."""
    blocks, rows, first = (int(sys.argv[n]) if len(sys.argv) > n else usual for n, usual in ((1, 25), (2, 30), (3, 0)))
    print(
        "| rows | error, m | blocks | refused | right, mean | right, worst | rows right, worst | wrong and not named, worst |"
    )
    print("|---|---:|---:|---:|---:|---:|---:|---:|")
    for kind in KINDS:
        for error_m in ERRORS:
            scores = [measured(kind, error_m, seed, rows) for seed in range(first, first + blocks)]
            taken = [score for score in scores if not score.refused]
            shown = ["-"] * 4
            if taken:
                shown = [
                    f"{100 * np.mean([s.right for s in taken]):.2f} %",
                    f"{100 * min(s.right for s in taken):.2f} %",
                    f"{100 * min(s.rows_right for s in taken):.2f} %",
                    f"{100 * max(s.silent for s in taken):.2f} %",
                ]
            print(f"| {kind} | {error_m:g} | {blocks} | {blocks - len(taken)} | {' | '.join(shown)} |", flush=True)


if __name__ == "__main__":
    main()

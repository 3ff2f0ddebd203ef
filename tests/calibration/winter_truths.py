"""Winter or disease, on simulated blocks whose cause is known.

Run: python tests/calibration/winter_truths.py [seeds]

The blocks of `trunkwatch demo`, simulated anew for every seed: Hollow had one cold winter (2021) on top of slow disease,
the others none. The sheet is asked for 2021, with all later seasons on record, and for 2021 as it stood at the time.
"""

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np

from trunkwatch.block import load
from trunkwatch.demo.blocks import BLOCKS, SEASONS
from trunkwatch.demo.notes import block_tables, weather_records
from trunkwatch.pattern.cold_or_disease import ANSWERS, winter_sheet
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of

SEASON = 2021


def answers(job: tuple[int, int]) -> tuple[int, str, str]:
    """Simulate a block; return the answers with hindsight and at the time."""
    number, seed = job
    rng = np.random.Generator(np.random.PCG64([seed, number]))
    tables = block_tables(BLOCKS[number], SEASONS, rng)
    weather = frame_of("weather", weather_records(np.random.Generator(np.random.PCG64(seed))))
    store = Store.in_memory()
    store.append({name: frame_of(name, records) for name, records in tables.items()})
    later, then = load(store, BLOCKS[number].label), load(store, BLOCKS[number].label, SEASON)
    return number, winter_sheet(replace(later, season=SEASON), weather).answer, winter_sheet(then, weather).answer


def main() -> None:
    """Print the table."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    later: dict[int, Counter[str]] = {k: Counter() for k in range(len(BLOCKS))}
    then: dict[int, Counter[str]] = {k: Counter() for k in range(len(BLOCKS))}
    with ProcessPoolExecutor(2) as pool:
        for number, one, two in pool.map(
            answers, [(k, s) for k in range(len(BLOCKS)) for s in range(1, many + 1)], chunksize=5
        ):
            later[number][one] += 1
            then[number][two] += 1
    print("| block | truth in 2021 | asked | " + " | ".join(ANSWERS) + " |\n|---|---|---|" + "---|" * len(ANSWERS))
    for number, block in enumerate(BLOCKS):
        truth = "cold, on slow disease" if block.low_corner_kill else "disease"
        for asked, counts in (("later", later), ("at the time", then)):
            print(
                f"| {block.label} | {truth} | {asked} | "
                + " | ".join(f"{100 * counts[number][a] / many:.0f}" for a in ANSWERS)
                + " |"
            )


if __name__ == "__main__":
    main()

"""How often the words of `pattern` are right on simulated blocks of known truth.

Run: python tests/calibration/sample_truths.py [seeds] [first seed]

Prints the table that stands in tests/calibration/README.md. Right is: the block along whose rows
disease passes is called clustered and new near old, and not "clustered (across)"; the scattered one
is called scattered; the one with foci in its planting stock clustered, with the warning that
spread cannot be told from old planting stock; the winter block is shown without its winter too.
"""

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from trunkwatch.block import load
from trunkwatch.demo.blocks import BLOCKS, SEASONS
from trunkwatch.demo.notes import block_tables
from trunkwatch.pattern import pattern_of
from trunkwatch.pattern.findings import MapFinding, Word
from trunkwatch.pattern.words import CANNOT_TELL_BY_NEARNESS, CANNOT_TELL_STOCK, cautions, verdict_words
from trunkwatch.stats.incidence import clopper_pearson
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of

PERMUTATIONS = 999
CHANCE, CLUSTERED, NEAR_OLD, TOO_FEW = verdict_words(
    MapFinding(word) for word in (Word.CHANCE, Word.CLUSTERED, Word.NEAR_OLD, Word.TOO_FEW)
)
FOR, AGAINST = "spread: for", "spread: against"


def words_of(number: int, seed: int) -> list[str]:
    """Simulate one block and return the words of its last season."""
    block = BLOCKS[number]
    rng = np.random.Generator(np.random.PCG64([seed, number]))
    tables = block_tables(block, SEASONS, rng)
    store = Store.in_memory()
    store.append({name: frame_of(name, records) for name, records in tables.items()})
    season = load(store, block.label)
    found = pattern_of(season, permutations=PERMUTATIONS, seed=seed)
    words = [
        *found.words,
        *[CANNOT_TELL_STOCK for c in cautions(found) if c in (CANNOT_TELL_STOCK, CANNOT_TELL_BY_NEARNESS)],
    ]
    if season.without_winter is not None:
        words.append("shown without winter")
    if found.spread is not None and found.spread.says != "cannot tell":
        words.append(f"spread: {found.spread.says}")
    store.close()
    return words


def is_right(truth: str, words: set[str]) -> bool:
    """Tell whether the words of a block fit its truth."""
    if truth == "along":
        return CLUSTERED in words and f"{CLUSTERED} (across)" not in words and NEAR_OLD in words
    if truth == "scattered":
        return CHANCE in words
    if truth == "stock":
        return CLUSTERED in words and CANNOT_TELL_STOCK in words
    return "shown without winter" in words


def one(job: tuple[int, int]) -> tuple[int, list[str]]:
    """Run one job of the pool."""
    return job[0], words_of(*job)


def tally(seeds: range) -> dict[int, Counter[str]]:
    """Count the words of every block over the seeds."""
    jobs = [(number, seed) for number in range(len(BLOCKS)) for seed in seeds]
    counts: dict[int, Counter[str]] = {number: Counter() for number in range(len(BLOCKS))}
    with ProcessPoolExecutor(2) as pool:
        for number, words in pool.map(one, jobs, chunksize=8):
            kinds = {word.split(" (")[0] for word in words} | set(words)
            counts[number].update(kinds | ({"right"} if is_right(BLOCKS[number].truth, kinds) else set()))
    return counts


def main() -> None:
    """Print the table."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    counts = tally(range(first, first + many))
    wanted = [
        "right",
        CLUSTERED,
        f"{CLUSTERED} (along)",
        NEAR_OLD,
        CHANCE,
        TOO_FEW,
        CANNOT_TELL_STOCK,
        "shown without winter",
        FOR,
        AGAINST,
        "one-season jump",
    ]
    print(
        f"{many} seeds from {first}, {PERMUTATIONS} permutations; share of seeds in %, lower 99 % limit in brackets\n"
    )
    print("| block | truth | " + " | ".join(wanted) + " |")
    print("|---|---|" + "---|" * len(wanted))
    for number, block in enumerate(BLOCKS):
        cells = []
        for word in wanted:
            k = counts[number][word]
            cells.append(f"{100 * k / many:.1f} ({100 * clopper_pearson(k, many, 0.98)[0]:.1f})")
        print(f"| {block.label} | {block.told} | " + " | ".join(cells) + " |")
        others = {w: n for w, n in counts[number].items() if w.startswith(f"{CLUSTERED} (")}
        print(f"<!-- {block.label}: {others} -->", file=sys.stderr)


if __name__ == "__main__":
    main()

"""How often anything at all is said of blocks in which all is chance: every word of a season's map, all seasons together, spread.

Run: python tests/calibration/alarms_on_worlds.py [blocks of each world] [first seed] [name of a world ...]

The worlds are another hand's (`worlds/`). "Any" counts a block once, whatever is said of it: a word but "scattered" or "too few",
sick vines bunched over all seasons, or dates that point to spread or to short zones.
"""

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from calibration.worlds import WORLDS, frames_of

from trunkwatch.block import load
from trunkwatch.pattern import pattern_of
from trunkwatch.pattern.findings import BUNCHED_LEVEL, Word
from trunkwatch.pattern.spread import Says
from trunkwatch.pattern.years import years_verdict
from trunkwatch.store import Store

SEASONS, SHAPE, SHUFFLES = 12, (20, 40), 499
SILENT = {Word.CHANCE, Word.TOO_FEW}
COLUMNS = {
    "bunched now": {Word.CLUSTERED}, "pairs": {Word.PAIRS, Word.PAIRS_ACROSS}, "new near old": {Word.NEAR_OLD},
    "gradient": {Word.GRADIENT}, "a season stands out": {Word.STEP},
}  # fmt: skip


def judge(job: tuple[str, int]) -> set[str]:
    """Return what is said of one block."""
    name, seed = job
    store = Store.in_memory()
    store.append(frames_of(WORLDS[name].make(seed=seed, seasons=SEASONS, shape=SHAPE).tables), named=True)
    found = pattern_of(load(store), permutations=SHUFFLES, seed=seed)
    words = {one.word for one in found.findings} - SILENT
    years = years_verdict(found)
    said = {column for column, wanted in COLUMNS.items() if words & wanted}
    if years is not None and years.bunched_p is not None and years.bunched_p <= BUNCHED_LEVEL:
        said.add("bunched over all")
    if found.spread is not None and found.spread.says in (Says.FOR, Says.EITHER):
        said.add("spread or zones")
    return said


def main() -> None:
    """Print the table."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    columns = [*COLUMNS, "bunched over all", "spread or zones"]
    print(f"| world | {' | '.join(columns)} | any |\n|---|" + "---|" * (len(columns) + 1))
    for name in sys.argv[3:] or ["scattered", "from_outside"]:
        with ProcessPoolExecutor(2) as pool:
            said = list(pool.map(judge, [(name, first + k) for k in range(many)], chunksize=4))
        counts = Counter(column for one in said for column in one)
        shares = [counts[column] for column in columns] + [sum(map(bool, said))]
        print(f"| {name} | {' | '.join(f'{100 * share / many:.1f}' for share in shares)} |", flush=True)


if __name__ == "__main__":
    main()

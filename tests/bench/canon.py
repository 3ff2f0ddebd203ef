"""How fast the statistics are, in ratios of one run. Run: python tests/bench/canon.py [blocks of the estate]"""

import subprocess
import sys
import tempfile
import time
import tracemalloc
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from trunkwatch.block import load
from trunkwatch.pattern import pattern_of
from trunkwatch.stats.join_counts import join_count
from trunkwatch.stats.lags import lag_pairs
from trunkwatch.stats.relabelling import plain_labellings
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of


def seconds(work: Callable[[], Any]) -> float:
    """Time one call."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def block(rows: int, stations: int, share: float = 0.05) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Cases at random, 3 % gaps."""
    rng = np.random.default_rng(1)
    vines = rng.random((rows, stations)) > 0.03
    cases = np.zeros_like(vines)
    cases.ravel()[rng.choice(np.flatnonzero(vines), round(share * vines.sum()), replace=False)] = True
    return cases, vines


def beside_esda(rows: int, stations: int) -> tuple[float, float]:
    """Ours and esda's Join_Counts (weights made beforehand), rook, 999 permutations."""
    warnings.simplefilter("ignore")
    from esda.join_counts import Join_Counts
    from libpysal.graph import Graph

    from trunkwatch.stats.joins import joined_pairs

    cases, vines = block(rows, stations)
    place = np.full(vines.size, -1)
    place[np.flatnonzero(vines)] = np.arange(vines.sum())
    pairs = place[joined_pairs("rook", vines, 1)]
    both = np.concatenate([pairs, pairs[:, ::-1]])
    both = both[np.lexsort(both.T[::-1])]  # esda takes the pairs in order of their first vine, then the second
    graph = Graph.from_arrays(both[:, 0], both[:, 1], np.ones(len(both)))
    ours = seconds(lambda: join_count(cases, vines, permutations=999, rng=1))
    theirs = seconds(lambda: Join_Counts(cases[vines].astype(int), graph, permutations=999))
    return ours, theirs


def lags_by_tree(cases: NDArray[np.bool_], vines: NDArray[np.bool_], permutations: int) -> None:
    """Count pairs within 10 radii by KD-tree on relabelled maps: less than what lag_pairs gives."""
    at = np.argwhere(vines).astype(float)
    for drawn in plain_labellings(int(cases.sum()), len(at), permutations, np.random.default_rng(1), chunk=16):
        for labels in drawn:
            tree = cKDTree(at[labels])
            tree.count_neighbors(tree, np.arange(2.5, 26, 2.5))


def estate(path: Path, blocks: int) -> None:
    """Blocks of 5,000 vines and 10 seasons, one vine in seven sick and showing in three seasons of ten."""
    Store.create(path)
    rng = np.random.default_rng(2)
    for number in range(blocks):
        name = f"B{number}"
        sick = rng.random((50, 100)) < 0.15
        surveys, found = [], []
        for year in range(2017, 2027):
            surveys.append(
                {
                    "survey": f"s{year}",
                    "block": name,
                    "date": f"{year}-08-05",
                    "look": "summer",
                    "covered": "1..50",
                    "observer": "A",
                }
            )
            found += [
                {
                    "block": name,
                    "row": str(r + 1),
                    "position": str(s + 1),
                    "date": f"{year}-08-05",
                    "symptom": "leaf_stripe",
                    "observer": "A",
                }
                for r, s in np.argwhere(sick & (rng.random(sick.shape) < 0.3))
            ]
        with Store.writing(path) as store:
            store.append(
                {
                    "blocks": frame_of(
                        "blocks", [{"block": name, "planted": 2000, "row_spacing_m": 2.5, "vine_spacing_m": 1.5}]
                    ),
                    "rows": frame_of("rows", [{"block": name, "row": str(r + 1), "last": 100} for r in range(50)]),
                    "surveys": frame_of("surveys", surveys),
                    "symptoms": frame_of("symptoms", found),
                }
            )


def main() -> None:
    """Print the figures."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    for rows, stations in ((100, 200), (400, 500)):
        rounds = [beside_esda(rows, stations) for _ in range(3)]
        ratio = sorted(theirs / ours for ours, theirs in rounds)[1]
        print(
            f"join_count, {rows * stations:,} cells: {min(o for o, _ in rounds):.3f} s, esda {min(t for _, t in rounds):.2f} s, ratio {ratio:.0f}"
        )
    cases, vines = block(1000, 1000)
    print(
        f"join_count, 1,000,000 cells: {min(seconds(lambda: join_count(cases, vines, permutations=999, rng=1)) for _ in range(3)):.2f} s"
    )
    tracemalloc.start()
    join_count(cases, vines, permutations=999, rng=1)
    print(f"  memory at its peak: {tracemalloc.get_traced_memory()[1] / 1e6:.0f} MB")
    tracemalloc.stop()
    cases, vines = block(100, 200)
    ours = min(seconds(lambda: lag_pairs(cases, vines, permutations=999, rng=1)) for _ in range(3))
    theirs = seconds(lambda: lags_by_tree(cases, vines, 99)) * 999 / 99
    print(
        f"lag_pairs to 25 x 25, 20,000 cells, 999 permutations: {ours:.2f} s; KD-tree, ten radii only: {theirs:.1f} s, ratio {theirs / ours:.0f}"
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "estate.gpkg"
        estate(path, many)
        with Store.open(path) as store:
            season = load(store, "B0", definition="leaf")
            pattern_of(season)
            print(
                f"pattern of 5,000 vines and 10 seasons: {min(seconds(lambda: pattern_of(season)) for _ in range(3)):.2f} s"
            )
            whole = sum(
                seconds(lambda label=label: pattern_of(load(store, label, definition="leaf")))
                for label in store.blocks()
            )
        command = [sys.executable, "-m", "trunkwatch", "pattern", str(path), "--all-blocks", "--definition", "leaf"]
        all_at_once = seconds(lambda: subprocess.run(command, check=True, capture_output=True))
        print(
            f"estate of {many} blocks: {all_at_once:.1f} s, sum of its blocks {whole:.1f} s, share {all_at_once / whole:.2f}"
        )


if __name__ == "__main__":
    main()

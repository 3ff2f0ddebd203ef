"""How fast the scan is, beside the plain way in the same run. Run: python tests/bench/scan.py

Processor seconds, so that other work on the machine counts less.
"""

import time
import tracemalloc
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from trunkwatch.stats.relabelling import plain_labellings
from trunkwatch.stats.scan_statistic import Family, log_likelihood_ratio, scan

ROW_M, VINE_M = 2.5, 1.5
FAMILIES: tuple[Family, ...] = ("circles", "ellipses", "segments")
Map = NDArray[np.bool_]


def seconds(work: Callable[[], Any]) -> float:
    """Time one call on its processor."""
    began = time.process_time()
    work()
    return time.process_time() - began


def block(rows: int, stations: int, share: float = 0.05) -> tuple[Map, Map]:
    """Cases at random, 3 % gaps."""
    rng = np.random.default_rng(1)
    vines = rng.random((rows, stations)) > 0.03
    cases = np.zeros_like(vines)
    cases.ravel()[rng.choice(np.flatnonzero(vines), round(share * vines.sum()), replace=False)] = True
    return cases, vines


def growing(vines: Map, family: Family) -> list[tuple[NDArray[np.int64], NDArray[np.bool_]]]:
    """List, for every vine, the vines in the order in which its window grows, and where a window ends."""
    cells = np.argwhere(vines)
    if family == "segments":
        number = np.full((vines.shape[0], vines.shape[1] + 1), -1)
        number[:, :-1][vines] = np.arange(len(cells))
        out = []
        for row, station in cells:
            stretch = number[row, station : station + np.argmax(number[row, station:] < 0)]
            out.append((stretch, np.ones(len(stretch), dtype=bool)))
        return out
    at = cells * (ROW_M, VINE_M / (2 if family == "ellipses" else 1))
    reach = min(30.0, np.ptp(at, axis=0).max() / 2)
    out = []
    for centre, near in zip(at, cKDTree(at).query_ball_point(at, reach + 1e-9), strict=True):
        away = np.round(np.hypot(*(at[near] - centre).T), 6)
        order = np.argsort(away, kind="stable")
        out.append((np.array(near)[order], np.append(np.diff(away[order]) > 0, True)))
    return out


def plain(cases: Map, vines: Map, family: Family, permutations: int) -> NDArray[np.float64]:
    """Highest ratios of relabelled maps: running sums of the cases over the neighbours of every vine."""
    windows = growing(vines, family)
    order = np.concatenate([members for members, _ in windows])
    lengths = [len(members) for members, _ in windows]
    sizes = np.concatenate([np.arange(1, n + 1) for n in lengths])
    n_cases, n_vines = int(cases.sum()), int(vines.sum())
    use = np.concatenate([ends for _, ends in windows]) & (sizes > 1) & (sizes <= n_vines // 2)
    c, m = np.arange(min(max(lengths), n_cases) + 1), np.arange(1, max(lengths) + 1)[:, None]
    table = log_likelihood_ratio(np.minimum(c, m), m, n_cases, n_vines)
    first = np.cumsum([0, *lengths[:-1]])
    out = []
    for labels in plain_labellings(n_cases, n_vines, permutations, np.random.Generator(np.random.SFC64(1)), chunk=4):
        running = np.cumsum(labels[:, order], axis=1, dtype=np.int32)
        before = running[:, first] - labels[:, order[first]]
        inside = running - np.repeat(before, lengths, axis=1)
        out.append(np.where(use, table[sizes - 1, inside], 0.0).max(axis=1))
    return np.concatenate(out)


def peak(work: Callable[[], Any]) -> float:
    """Memory of one call at its peak, MB."""
    tracemalloc.start()
    work()
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return most / 1e6


def ours(cases: Map, vines: Map, family: Family, permutations: int) -> NDArray[np.float64]:
    """The same from the package, with the search of the map as it was seen."""
    return scan(
        cases, vines, row_spacing=ROW_M, vine_spacing=VINE_M, family=family, permutations=permutations, rng=1
    ).null_distribution


def beside(family: Family) -> str:
    """Both ways on one block of 5,000 vines, 99 relabelled maps."""
    cases, vines = block(60, 83)
    mine = min(seconds(lambda: ours(cases, vines, family, 99)) for _ in range(3))
    theirs = seconds(lambda: plain(cases, vines, family, 99))
    if not np.allclose(ours(cases, vines, family, 8), plain(cases, vines, family, 8), atol=1e-9):
        raise SystemExit(f"{family}: not the values of the plain way")
    memory = peak(lambda: ours(cases, vines, family, 99)), peak(lambda: plain(cases, vines, family, 8))
    return (
        f"{family}, {vines.sum():,} vines, 99 relabelled maps: {mine:.3f} s, plain {theirs:.2f} s, "
        f"ratio {theirs / mine:.0f}; memory {memory[0]:.0f} MB, plain {memory[1]:,.0f} MB"
    )


def alone(family: Family, rows: int, stations: int, maps: int, share: float = 0.05) -> str:
    """Ours on one block."""
    cases, vines = block(rows, stations, share)
    took = seconds(lambda: ours(cases, vines, family, maps))
    most = peak(lambda: ours(cases, vines, family, min(maps, 99)))
    return f"{family}, {vines.sum():,} vines, {100 * share:g} % cases, {maps} relabelled maps: {took:.2f} s, memory {most:.0f} MB"


def main() -> None:
    """Print the figures."""
    for family in FAMILIES:
        print(beside(family), flush=True)
        print(alone(family, 60, 83, 999), flush=True)
    for share in (0.01, 0.2, 0.5):
        print(alone("circles", 60, 83, 999, share), flush=True)
    print(alone("circles", 120, 166, 999), flush=True)
    print(alone("circles", 400, 500, 99), flush=True)


if __name__ == "__main__":
    main()

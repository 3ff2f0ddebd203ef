"""The same grids through esda and pointpats and through ours: equal numbers, and times in turn. Run: python tests/bench/beside_others.py [--write]

Prints the tables of tests/bench/beside_others.md; with --write they are put there.
"""

import statistics
import sys
import time
import warnings
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trunkwatch.stats import join_count, local_count, nearest_neighbour
from trunkwatch.stats.joins import joined_pairs

HERE = Path(__file__).resolve().parent
ROUNDS = 5
ROW_M, VINE_M = 2.5, 1.2


def block(rows: int, stations: int, share: float, seed: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return cases and vines: cases at random, half of them beside another, 3 % gaps."""
    rng = np.random.default_rng(seed)
    vines = rng.random((rows, stations)) > 0.03
    cases = np.zeros_like(vines)
    wanted = round(share * vines.sum())
    while cases.sum() < wanted:
        if cases.any() and rng.random() < 0.5:
            row, station = rng.permutation(np.argwhere(cases))[0] + (0, rng.choice((-1, 1)))
        else:
            row, station = rng.integers(rows), rng.integers(stations)
        if 0 <= station < stations and vines[row, station]:
            cases[row, station] = True
    return cases, vines


def graph_of(vines: NDArray[np.bool_], joins: str) -> Any:
    """Return the neighbors of the vines that count as a graph of libpysal."""
    from libpysal.graph import Graph

    place = np.full(vines.size, -1)
    place[np.flatnonzero(vines)] = np.arange(vines.sum())
    pairs = place[joined_pairs(joins, vines, 1)]  # type: ignore[arg-type]
    alone = np.setdiff1d(np.arange(vines.sum()), pairs)
    both = np.concatenate([pairs, pairs[:, ::-1], np.column_stack([alone, alone])])
    both = both[np.lexsort(both.T[::-1])]  # a graph takes its vines in the order in which they come
    return Graph.from_arrays(both[:, 0], both[:, 1], (both[:, 0] != both[:, 1]).astype(float))


def weights_of(vines: NDArray[np.bool_], joins: str) -> Any:
    """Return the same as weights of the older kind, which the local statistic takes."""
    from libpysal.weights import W

    place = np.full(vines.size, -1)
    place[np.flatnonzero(vines)] = np.arange(vines.sum())
    near: dict[int, list[int]] = {number: [] for number in range(int(vines.sum()))}
    for one, other in place[joined_pairs(joins, vines, 1)].tolist():  # type: ignore[arg-type]
        near[one].append(other)
        near[other].append(one)
    return W(near, silence_warnings=True)


def same_joins(rows: int, stations: int, seed: int, permutations: int = 999) -> dict[str, tuple[float, float]]:
    """Return figures of join counts, ours and esda's: joins, their mean by chance, p."""
    from esda.join_counts import Join_Counts

    cases, vines = block(rows, stations, 0.1, seed)
    np.random.seed(seed)  # noqa: NPY002 - the generator that esda takes
    theirs = Join_Counts(cases[vines].astype(int), graph_of(vines, "rook"), permutations=permutations)
    ours = join_count(cases, vines, permutations=permutations, rng=seed)
    return {
        "case-case": (ours.case_case, float(theirs.bb)),
        "mixed": (ours.case_free, float(theirs.bw)),
        "free-free": (ours.free_free, float(theirs.ww)),
        "mean by chance": (ours.expected_case_case, float(theirs.mean_bb)),
        "p": (ours.pvalue, float(theirs.p_sim_bb)),
    }


def same_local(rows: int, stations: int, seed: int, permutations: int = 999) -> tuple[int, float]:
    """Return at how many cases the local counts differ, and the largest difference of p-values below 0.4.

    esda gives the smaller side above a half, and none where no neighbor is a case.
    """
    from esda.join_counts_local import Join_Counts_Local

    cases, vines = block(rows, stations, 0.1, seed)
    theirs = Join_Counts_Local(weights_of(vines, "queen"), permutations=permutations, seed=seed).fit(
        cases[vines].astype(int), permutations=permutations
    )
    ours = local_count(cases, vines, joins="queen")
    at = cases[vines]
    counts, pvalues = ours.counts[vines][at], ours.pvalues[vines][at]
    apart = np.asarray(theirs.LJC)[at] != counts
    known = pvalues < 0.4
    return int(apart.sum()), float(np.abs(np.asarray(theirs.p_sim)[at] - pvalues)[known].max())


def same_distances(rows: int, stations: int, seed: int) -> tuple[float, float]:
    """Return the mean distance of a case to the nearest other case, ours and that of pointpats."""
    from pointpats import PointPattern

    cases, vines = block(rows, stations, 0.1, seed)
    ours = nearest_neighbour(cases, vines, row_spacing=ROW_M, vine_spacing=VINE_M, permutations=19, rng=seed)
    return ours.statistic, float(PointPattern(np.argwhere(cases) * (ROW_M, VINE_M)).mean_nnd)


def against_anywhere(blocks: int, permutations: int = 199) -> tuple[int, int]:
    """Return how many maps without any pattern are called regular at 0.05: by the G test of points anywhere, and by ours."""
    from pointpats import PointPattern

    theirs = ours = 0
    for seed in range(blocks):
        rng = np.random.default_rng(seed)
        vines = np.ones((20, 40), dtype=bool)
        cases = np.zeros_like(vines)
        cases.ravel()[rng.choice(vines.size, 160, replace=False)] = True
        seen = PointPattern(np.argwhere(cases) * (ROW_M, VINE_M)).mean_nnd
        anywhere = [
            PointPattern(rng.random((160, 2)) * (20 * ROW_M, 40 * VINE_M)).mean_nnd for _ in range(permutations)
        ]
        theirs += (1 + sum(one >= seen for one in anywhere)) / (permutations + 1) <= 0.05
        found = nearest_neighbour(
            cases,
            vines,
            row_spacing=ROW_M,
            vine_spacing=VINE_M,
            alternative="greater",
            permutations=permutations,
            rng=seed,
        )
        ours += found.pvalue <= 0.05
    return theirs, ours


def in_turn(ours: Callable[[], Any], theirs: Callable[[], Any], rounds: int = ROUNDS) -> tuple[float, float, float]:
    """Return the middle seconds of both, run turn about, and the middle of the ratios."""
    times = []
    ours()
    for _ in range(rounds):
        began = time.perf_counter()
        ours()
        between = time.perf_counter()
        theirs()
        times.append((between - began, time.perf_counter() - between))
    middle = [statistics.median(column) for column in zip(*times, strict=True)]
    return middle[0], middle[1], statistics.median(other / one for one, other in times)


def speeds() -> list[tuple[str, float, float, float]]:
    """Return the lines of the table of times."""
    from esda.join_counts import Join_Counts
    from esda.join_counts_local import Join_Counts_Local

    lines = []
    for rows, stations in ((50, 100), (100, 200)):
        cases, vines = block(rows, stations, 0.05, 1)
        graph, y = graph_of(vines, "rook"), cases[vines].astype(int)
        lines.append(
            (
                f"join count, rook, 999 relabelled maps, {rows * stations:,} cells",
                *in_turn(
                    lambda cases=cases, vines=vines: join_count(cases, vines, permutations=999, rng=1),
                    lambda y=y, graph=graph: Join_Counts(y, graph, permutations=999),
                ),
            )
        )
    cases, vines = block(50, 100, 0.05, 1)
    weights, y = weights_of(vines, "queen"), cases[vines].astype(int)
    lines.append(
        (
            "local join counts, queen, p-value of each case, 5,000 cells (theirs: 999 permutations; ours: exact)",
            *in_turn(
                lambda: local_count(cases, vines, joins="queen"),
                lambda: Join_Counts_Local(weights, permutations=999, seed=1).fit(y, permutations=999),
            ),
        )
    )
    return lines


def page() -> str:
    """Return the tables."""
    warnings.simplefilter("ignore")
    names = [f"{name} {version(name)}" for name in ("numpy", "esda", "libpysal", "pointpats")]
    text = [
        f"One run, {', '.join(names)}; weights of libpysal made beforehand; times turn about, middle of {ROUNDS}.",
        "",
    ]
    text += ["| 30 x 60 cells, 3 % gaps, 10 % cases, half of them beside another | ours | esda |", "|---|---|---|"]
    for what, (ours, theirs) in same_joins(30, 60, 1).items():
        text.append(f"| {what} | {ours:.6g} | {theirs:.6g} |")
    apart, most = same_local(30, 60, 1)
    text += [
        "",
        f"Local join counts (queen) of the same map: {apart} of the cases differ; the p-values below 0.4 differ by at most {most:.3f} (999 permutations beside an exact law).",
        "",
    ]
    ours, theirs = same_distances(30, 60, 1)
    text += [f"Mean distance of a case to the nearest other: {ours:.6f} m, pointpats {theirs:.6f} m.", ""]
    blocks = 200
    anywhere, labelled = against_anywhere(blocks)
    text.append(
        f"Of {blocks} maps of 20 x 40 vines with 160 cases at random and no pattern, the mean distance is called larger than by chance (0.05): "
        f"{anywhere} times against points anywhere, {labelled} times against relabelled vines."
    )
    text.append("")
    text += ["| seconds | ours | esda | esda to ours |", "|---|---|---|---|"]
    text += [f"| {what} | {one:.4f} | {other:.2f} | {ratio:.0f} |" for what, one, other, ratio in speeds()]
    return "\n".join(text) + "\n"


if __name__ == "__main__":
    tables = page()
    print(tables)
    if "--write" in sys.argv:
        (HERE / "beside_others.md").write_text(tables, "utf-8")

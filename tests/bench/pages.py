"""How long the main jobs take. Run: python tests/bench/pages.py [--esda]

Figures are of one run on one machine: quote ratios, not seconds.
"""

import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from trunkwatch.block import load
from trunkwatch.demo.blocks import SEASONS, DemoBlock
from trunkwatch.demo.notes import block_tables
from trunkwatch.report import report_html
from trunkwatch.report.block_page import map_html
from trunkwatch.stats.join_counts import join_count
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of


def clock(job, rounds=3):
    """Median seconds of a job."""
    times = []
    for _ in range(rounds):
        began = time.perf_counter()
        job()
        times.append(time.perf_counter() - began)
    return sorted(times)[rounds // 2]


def big_block():
    """A store with one block of about 5,000 vines and 10 seasons."""
    block = DemoBlock(
        "Big",
        "large",
        "along",
        rows=50,
        vines=102,
        slant=0.1,
        alley_after=50,
        background=0.004,
        along=0.2,
        at_planting=0.03,
        table={
            "vineyard": "Bench",
            "latitude": 44.0,
            "longitude": -30.0,
            "planted": 2003,
            "grafted": "yes",
            "cultivar": "Large",
            "training": "bilateral",
            "row_spacing_m": 2.5,
            "vine_spacing_m": 1.2,
            "row_bearing_deg": 20.0,
            "rows_go": "right",
        },
    )
    store = Store.in_memory()
    tables = block_tables(block, SEASONS, np.random.default_rng(1))
    store.append({name: frame_of(name, records) for name, records in tables.items()})
    return store


def pages():
    """Report and map of 5,000 vines and 10 seasons."""
    store = big_block()
    season = load(store, "Big")
    vines = int(season.history.grid.exists.sum())
    read = clock(lambda: load(store, "Big"))
    report, card = clock(lambda: report_html(season)), clock(lambda: map_html(season))
    size = len(report_html(season).encode()), len(map_html(season).encode())
    print(
        f"{vines} vines, {len(season.history.seasons)} seasons: read {read:.2f} s, report {report:.2f} s, map {card:.2f} s; "
        f"{size[0] / 1e3:.0f} + {size[1] / 1e3:.0f} kB"
    )
    with TemporaryDirectory() as folder:
        out = Path(folder) / "r.html"
        out.write_text(report_html(season))


def help_time():
    """The whole process of `trunkwatch --help`."""
    run = [sys.executable, "-m", "trunkwatch", "--help"]
    print(f"trunkwatch --help: {clock(lambda: subprocess.run(run, check=True, capture_output=True), 5):.3f} s")


def joins(with_esda):
    """join_count, rook, 999 permutations, 5 % cases, 3 % gaps, beside esda's Join_Counts in the same run."""
    rng = np.random.default_rng(7)
    for shape in ((100, 200), (400, 500), (1000, 1000)):
        vines = rng.random(shape) > 0.03
        cases = vines & (rng.random(shape) < 0.05)
        ours = clock(lambda vines=vines, cases=cases: join_count(cases, vines, permutations=999, rng=1))
        line = f"join_count {vines.size:>9,} cells: {ours:.4f} s"
        if with_esda and vines.size <= 20_000:
            theirs, same = esda_seconds(cases, vines)
            assert same == join_count(cases, vines, permutations=99, rng=1).case_case
            line += f"; esda {theirs:.2f} s; ratio {theirs / ours:.0f}"
        print(line)


def esda_seconds(cases, vines):
    """Seconds of esda.Join_Counts on the same graph, weights built beforehand, and its case-case count."""
    import warnings

    warnings.simplefilter("ignore")
    from esda import Join_Counts
    from libpysal.graph import Graph

    from trunkwatch.stats.joins import joined_pairs

    pairs = joined_pairs("rook", vines)
    place = np.full(vines.size, -1)
    flat = np.flatnonzero(vines)
    place[flat] = np.arange(flat.size)
    left, right = place[pairs].T
    linked = np.unique(np.concatenate([left, right]))
    alone = np.setdiff1d(np.arange(flat.size), linked)
    focal, other = np.concatenate([left, right, alone]), np.concatenate([right, left, alone])
    weight = np.concatenate([np.ones(2 * len(left)), np.zeros(alone.size)])
    order = np.lexsort([other, focal])  # the graph numbers its vines in the order in which they come
    graph = Graph.from_arrays(focal[order], other[order], weight[order])
    labels = cases.ravel()[flat].astype(int)
    began = time.perf_counter()
    found = Join_Counts(labels, graph, permutations=999)
    return time.perf_counter() - began, int(found.bb)


if __name__ == "__main__":
    help_time()
    pages()
    joins("--esda" in sys.argv)

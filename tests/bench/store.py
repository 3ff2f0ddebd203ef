"""How fast records go in and come out. Run: python tests/bench/store.py"""

import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from trunkwatch.block import load
from trunkwatch.intake import check_frames
from trunkwatch.store import Store
from trunkwatch.vineyard.records import with_ids
from trunkwatch.vineyard.tables import TABLES, empty_frame, frame_of


def many(records: int) -> pd.DataFrame:
    """Findings on blocks of 5,000 vines with ids of their own."""
    number = np.arange(records)
    frame = empty_frame("symptoms").reindex(range(records))
    for column in TABLES["symptoms"].columns:
        frame[column.name] = np.nan if column.is_number else ""
    block = number // 50_000
    frame["block"] = ("B" + pd.Series(block).astype(str)).to_numpy()
    frame["row"] = pd.Series(1 + number % 50).astype(str).to_numpy()
    frame["position"] = pd.Series(1 + number // 50 % 100).astype(str).to_numpy()
    frame["date"] = pd.Series(2011 + number // 5000 % 15).astype(str).to_numpy() + "-08-18"
    frame["symptom"], frame["percent"] = "leaf_stripe", (number % 20 * 5).astype(float)
    frame["observer"], frame["read_from"] = "A.B.", "symptoms.csv"
    frame["id"] = ("r" + pd.Series(number).astype(str)).to_numpy()
    return frame


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "big.gpkg"
        Store.create(path)
        frame = many(1_000_000)
        began = time.perf_counter()
        with Store.writing(path) as store:
            store.append({"symptoms": frame})
        seconds = time.perf_counter() - began
        print(
            f"1,000,000 findings in: {seconds:.2f} s, {1e6 / seconds:,.0f} a second, {path.stat().st_size / 1e6:.0f} bytes a record"
        )
        ids = frame.head(100_000).assign(id="")
        began = time.perf_counter()
        with_ids("symptoms", ids)
        print(f"making 100,000 ids: {time.perf_counter() - began:.2f} s")
    rows = [{"block": "B0", "row": str(n + 1), "first": 1, "last": 100} for n in range(50)]
    surveys = [
        {"survey": f"s{y}", "block": "B0", "date": f"{y}-08-18", "look": "summer", "covered": "all"}
        for y in range(2011, 2021)
    ]
    found = many(50_000)
    found = found[np.random.default_rng(1).random(len(found)) < 0.1]
    frames = {
        "blocks": with_ids(
            "blocks", frame_of("blocks", [{"block": "B0", "row_spacing_m": 2.5, "vine_spacing_m": 1.2}])
        ),
        "rows": with_ids("rows", frame_of("rows", rows)),
        "surveys": with_ids("surveys", frame_of("surveys", surveys)),
        "symptoms": found,
    }
    with Store.in_memory() as store:
        store.append(frames)
        times = []
        for _ in range(3):
            began = time.perf_counter()
            season = load(store, "B0", definition="leaf")
            times.append(time.perf_counter() - began)
        print(
            f"block of {int(season.history.grid.exists.sum())} vines, {len(season.history.seasons)} seasons, {len(found)} findings to arrays: {min(times):.2f} s"
        )
    full = {table: frames.get(table, empty_frame(table)) for table in TABLES}
    began = time.perf_counter()
    check_frames(full, today="2026-11-25")
    print(f"checks of these {len(found)} findings: {time.perf_counter() - began:.2f} s")


if __name__ == "__main__":
    main()

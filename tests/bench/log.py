"""How long one record takes, and fifteen writers at once, whatever the size of the file. Run: python tests/bench/log.py [findings]

Files of 40 blocks of 5,000 vines each; one record at a time as the desk adds it, then fifteen threads that post to a desk
in this process, and the start page after each write. Prints medians, 99th percentiles and the largest.
"""

import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
import pandas as pd

from trunkwatch.intake import add_records
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import TABLES, empty_frame, frame_of
from trunkwatch.web.app import create_app

ROWS, PER_ROW, SEASONS = 50, 100, 10
BLOCK = {"vineyard": "Gull Rise", "planted": 2000, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5,
         "latitude": 44.0, "longitude": -30.0, "row_bearing_deg": 0.0, "rows_go": "right"}  # fmt: skip


def make(path: Path, findings: int, blocks: int) -> float:
    """Write a vineyard and return the seconds that it took."""
    number = np.arange(findings)
    within = number % max(findings // blocks, 1)
    frame = empty_frame("symptoms").reindex(range(findings))
    for column in TABLES["symptoms"].columns:
        frame[column.name] = np.nan if column.is_number else ""
    frame["vineyard"] = BLOCK["vineyard"]
    frame["block"] = (
        "B" + pd.Series(np.minimum(number // max(findings // blocks, 1), blocks - 1)).astype(str)
    ).to_numpy()
    frame["row"] = pd.Series(1 + within % ROWS).astype(str).to_numpy()
    frame["position"] = pd.Series(1 + within // ROWS % PER_ROW).astype(str).to_numpy()
    frame["date"] = pd.Series(2016 + within // (ROWS * PER_ROW) % SEASONS).astype(str).to_numpy() + "-08-18"
    frame["symptom"], frame["observer"], frame["read_from"] = "leaf_stripe", "A", "symptoms.csv"
    frame["id"] = ("r" + pd.Series(number).astype(str)).to_numpy()
    names = [f"B{n}" for n in range(blocks)]
    Store.create(path)
    began = time.perf_counter()
    with Store.writing(path) as store:
        store.append(
            {
                "blocks": frame_of("blocks", [{"block": name, **BLOCK} for name in names]),
                "rows": frame_of(
                    "rows", [{"block": name, "row": str(r + 1), "last": PER_ROW} for name in names for r in range(ROWS)]
                ),
                "surveys": frame_of(
                    "surveys",
                    [
                        {
                            "block": name,
                            "survey": f"s{year}",
                            "date": f"{year}-08-18",
                            "look": "summer",
                            "covered": f"1..{ROWS}",
                            "observer": "A",
                        }
                        for name in names
                        for year in range(2016, 2016 + SEASONS)
                    ],
                ),
                "symptoms": frame,
            }
        )
    return time.perf_counter() - began


def finding(number: int, blocks: int) -> dict[str, str]:
    """Return a finding that is new."""
    return {
        "block": f"B{number % blocks}",
        "row": str(1 + number * 7 % ROWS),
        "position": str(1 + number % PER_ROW),
        "date": "2025-08-18",
        "symptom": "canker",
        "observer": f"o{number}",
    }


def told(what: str, seconds: list[float]) -> str:
    """Return median, 99th percentile and largest, in milliseconds."""
    found = np.array(seconds) * 1000
    return (
        f"{what}: median {np.median(found):.0f} ms, p99 {np.percentile(found, 99):.0f} ms, largest {found.max():.0f} ms"
    )


def one_by_one(path: Path, blocks: int, many: int) -> None:
    """Time single records; of the processor too, which other programs on the machine do not change much."""
    wall, cpu = [], []
    for number in range(many):
        began, used = time.perf_counter(), time.process_time()
        add_records(path, "symptoms", [finding(number, blocks)])
        wall.append(time.perf_counter() - began)
        cpu.append(time.process_time() - used)
    print(told(f"  one record, {many} times", wall), "|", told("processor", cpu))


def writers(path: Path, blocks: int, many: int, each: int) -> None:
    """Let threads post to one desk."""
    app = create_app(path, hosts=frozenset({"localhost"}))
    seconds: list[float] = []
    refused: list[int] = []

    def write(which: int) -> None:
        client = app.test_client()
        for number in range(each):
            record = finding(100_000 + which * 1000 + number, blocks)
            began = time.perf_counter()
            answer = client.post(
                "/api/log", json={"table": "symptoms", "records": [record]}, headers={"Origin": "http://localhost"}
            )
            seconds.append(time.perf_counter() - began)
            if answer.status_code != 200:
                refused.append(answer.status_code)

    threads = [threading.Thread(target=write, args=(n,)) for n in range(many)]
    began = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    whole = time.perf_counter() - began
    print(
        told(f"  {many} writers at once", seconds),
        f"| {len(seconds) / whole:.0f} records a second, {len(refused)} refused",
    )


def start_page(path: Path, blocks: int) -> None:
    """Time the first page cold, warm, and after a write."""
    client = create_app(path, hosts=frozenset({"localhost"})).test_client()
    for what in ("cold", "warm"):
        began = time.perf_counter()
        assert client.get("/").status_code == 200
        print(f"  start page, {what}: {time.perf_counter() - began:.2f} s")
    after = []
    for number in range(5):
        record = finding(200_000 + number, blocks)
        client.post("/api/log", json={"table": "symptoms", "records": [record]}, headers={"Origin": "http://localhost"})
        began = time.perf_counter()
        client.get("/")
        after.append(time.perf_counter() - began)
    print(told("  start page after a write", after))


def main() -> None:
    """Print the figures."""
    largest = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory() as folder:
        for findings, blocks in dict.fromkeys(((1_000, 1), (40_000, 4), (largest, 40))):
            path = Path(folder) / f"{findings}.gpkg"
            seconds = make(path, findings, blocks)
            print(
                f"{findings:,} findings, {blocks * ROWS * PER_ROW:,} vines: in {seconds:.1f} s, {path.stat().st_size / 1e6:.0f} MB"
            )
            one_by_one(path, blocks, 60)
            writers(path, blocks, 15, 10)
            if findings < 100_000:
                start_page(path, blocks)
        start_page(path, blocks)


if __name__ == "__main__":
    main()

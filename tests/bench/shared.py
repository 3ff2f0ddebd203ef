"""Fifteen writers of a shared store, each a process. Run: python tests/bench/shared.py [FINDINGS] [PAUSE_S]"""

import contextlib
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from pg_server import Server, started

from trunkwatch.intake import start_file
from trunkwatch.store import Store
from trunkwatch.store.address import shared_path
from trunkwatch.vineyard.records import with_ids
from trunkwatch.vineyard.tables import frame_of

WRITERS, EACH = 15, 20
ROWS, VINES = 50, 100
BLOCK = {"planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north"}
#: Ready when it has been answered once; then each record as soon as the one before is acknowledged, and a pause.
WRITER = """
import resource, sys, time
from pathlib import Path
from trunkwatch.intake import add_records
path, hand, each, blocks, pause = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]), float(sys.argv[5])
def record(n):
    told = dict(block=f"B{hand % blocks}", row=str(1 + (7 * hand + n) % 50), position=str(1 + n % 100), date="2026-08-20", symptom="leaf_stripe",
        observer=f"w{hand}-{n}")
    began = time.perf_counter()
    add_records(path, "symptoms", [told])
    return time.perf_counter() - began
record(10_000)
print("ready", flush=True)
sys.stdin.readline()
used = time.process_time()
for n in range(each):
    print(f"w{hand}-{n} {record(n):.6f}", flush=True)
    time.sleep(pause)
print(f"used {time.process_time() - used:.6f}", flush=True)
"""


def filled(server: Server, blocks: int, findings: int) -> Path:
    """Return the address of a vineyard with some blocks of 5,000 vines, and findings on them."""
    path = shared_path(server.address(server.database("big"), "w_big"))
    for number in range(blocks):
        start_file(path, {**BLOCK, "block": f"B{number}"}, ROWS, VINES)
    each = findings // blocks
    day = [f"{2011 + n // (ROWS * VINES) % 15}-08-{18 + n // (ROWS * VINES) // 15 % 10}" for n in range(each)]
    for number in range(blocks):
        told = [
            {
                "block": f"B{number}",
                "vineyard": "big",
                "row": str(1 + n % ROWS),
                "position": str(1 + n // ROWS % VINES),
                "date": day[n],
                "symptom": "leaf_stripe",
                "observer": "A",
            }
            for n in range(each)
        ]
        surveys = [
            {
                "survey": f"s{year}",
                "block": f"B{number}",
                "vineyard": "big",
                "date": f"{year}-08-18",
                "look": "summer",
                "covered": "all",
            }
            for year in range(2011, 2026)
        ]
        with Store.writing(path) as store:
            store.append(
                {
                    table: with_ids(table, frame_of(table, records))
                    for table, records in (("surveys", surveys), ("symptoms", told))
                }
            )
    server.sql(path.parts[2].partition("?")[0], "ANALYZE")
    return path


def measured(path: Path, blocks: int, pause: float) -> None:
    """Print what fifteen writers did, and whether all that was acknowledged is there."""
    told = [sys.executable, "-c", WRITER, str(path)]
    hands = [
        subprocess.Popen(
            [*told, str(hand), str(EACH), str(blocks), str(pause)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for hand in range(WRITERS)
    ]
    for hand in hands:
        assert hand.stdout is not None
        assert hand.stdout.readline().strip() == "ready"
    began = time.perf_counter()
    for hand in hands:
        assert hand.stdin is not None
        hand.stdin.write("\n")
        hand.stdin.flush()
    lines = [line.split() for hand in hands for line in hand.communicate()[0].splitlines()]
    wall = time.perf_counter() - began
    waits = np.array([float(seconds) for name, seconds in lines if name != "used"])
    used = sum(float(seconds) for name, seconds in lines if name == "used")
    acknowledged = {name for name, _ in lines if name != "used"}
    with Store.open(path) as store:
        there = set(store.frame("symptoms")["observer"])
    middle, late = np.quantile(waits, [0.5, 0.99])
    print(
        f"{len(acknowledged)} acknowledged, {len(acknowledged - there)} lost; {len(acknowledged) / wall:.0f} a second; "
        f"middle {middle * 1000:.0f} ms, 99th percentile {late * 1000:.0f} ms, longest {waits.max() * 1000:.0f} ms; "
        f"{used / len(acknowledged) * 1000:.0f} ms of a writer's processor each"
    )


def main() -> None:
    """Print the figures."""
    findings = int(sys.argv[1]) if len(sys.argv) > 1 else 40_000
    pause = float(sys.argv[2]) if len(sys.argv) > 2 else 0.0
    with contextlib.closing(started(durable=True)) as servers:
        server = next(servers)
        for blocks in (1, 4):
            path = filled(server, blocks, findings)
            began = time.perf_counter()
            with Store.open(path) as store:
                many = len(store.frame("symptoms"))
            print(
                f"{blocks} blocks, {many:,} findings (all of them read in {time.perf_counter() - began:.2f} s), a pause of {pause} s:"
            )
            measured(path, blocks, pause)


if __name__ == "__main__":
    main()

"""A region on one machine. Run: nice -n 10 python tests/bench/region.py [blocks ...] [--sums BLOCKS SEASONS]

Blocks of 5,000 vines by 10 seasons, five a grower, are made on the fly; then the commands are run as a user would: the pattern of all, ended
by kill -9 once and gone on with, rates of all through vine-season files, and each again, which works nothing out. Prints processor seconds of
all processes (other work on the machine changes them little), seconds by the clock, and the largest memory of all processes together (PSS).
With --sums vine-season files of a larger region are made, and summed by block and season.
"""

import json
import os
import resource
import signal
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from trunkwatch.demo.blocks import SEASONS, DemoBlock
from trunkwatch.demo.notes import block_tables
from trunkwatch.programme.catalogue import Grower, write_catalogue
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of

PER_GROWER, PERMUTATIONS = 5, 999


@dataclass(frozen=True)
class Measured:
    """What a command took."""

    processor: float
    clock: float
    megabytes: float
    out: bytes


def make(folder: Path, blocks: int) -> None:
    """Write a programme of files, one a grower."""
    for grower in range(blocks // PER_GROWER):
        tables: dict[str, list] = {}
        for number in range(PER_GROWER):
            rng = np.random.default_rng([grower, number])
            block = DemoBlock(
                f"Block {number}",
                "made",
                "along",
                rows=50,
                vines=102,
                slant=0.1,
                alley_after=50,
                at_planting=0.03,
                background=float(rng.uniform(0.001, 0.008)),
                along=float(rng.uniform(0.05, 0.25)),
                table={
                    "vineyard": f"Bench {grower}",
                    "latitude": 44.0,
                    "longitude": -30.0,
                    "planted": 1995 + grower % 20,
                    "grafted": "yes",
                    "cultivar": f"Cultivar {(grower + number) % 12}",
                    "training": "bilateral",
                    "row_spacing_m": 2.5,
                    "vine_spacing_m": 1.2,
                    "row_bearing_deg": 20.0,
                    "rows_go": "right",
                },
            )
            for name, records in block_tables(block, SEASONS, rng).items():
                tables.setdefault(name, []).extend(records)
        path = folder / f"g{grower}.gpkg"
        Store.create(path)
        with Store.writing(path) as store:
            store.append({name: frame_of(name, records) for name, records in tables.items()})
    growers = [
        Grower(f"G {number}", f"g{number}.gpkg", ("compare",), "2999-12-31", region=f"r{number % 4}")
        for number in range(blocks // PER_GROWER)
    ]
    write_catalogue(folder, growers)


def command(folder: Path, *words: str) -> list[str]:
    return [sys.executable, "-m", "trunkwatch", "programme", str(folder), *words, "--workers", "2", "--json"]


def tree(pid: int) -> list[int]:
    """Return a process and all that come of it."""
    children: dict[int, list[int]] = {}
    for entry in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = entry.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        children.setdefault(int(fields[1]), []).append(int(entry.parent.name))
    found = [pid]
    for one in found:
        found += children.get(one, [])
    return found


def pss(pid: int) -> float:
    """Megabytes of a process and all that come of it, what they share counted once."""
    total = 0
    for one in tree(pid):
        try:
            text = Path(f"/proc/{one}/smaps_rollup").read_text()
        except OSError:
            continue
        total += next(int(line.split()[1]) for line in text.splitlines() if line.startswith("Pss:"))
    return total / 1000


def run(words: list[str], *, end_when=None) -> Measured:
    """Run a command to its end, or end it with kill -9 when something is so."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    running = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    largest = [0.0]

    def watch() -> None:
        while running.poll() is None:
            largest[0] = max(largest[0], pss(running.pid))
            if end_when is not None and end_when():
                os.kill(running.pid, signal.SIGKILL)
                return
            time.sleep(0.5)

    watcher = threading.Thread(target=watch)
    watcher.start()
    out = running.communicate()[0]
    watcher.join()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Measured(used, time.perf_counter() - began, largest[0], out)


def told(what: str, found: Measured, blocks: int) -> None:
    data = json.loads(found.out) if found.out else {}
    done = f"; {data['computed']} worked out, {data['kept']} kept" if "computed" in data else ""
    print(
        f"  {what}: processor {found.processor:.1f} s ({found.processor / blocks:.2f} a block), clock {found.clock:.0f} s, "
        f"{found.megabytes:.0f} MB{done}",
        flush=True,
    )


def region(blocks: int) -> None:
    """Measure a programme of so many blocks."""
    with tempfile.TemporaryDirectory(prefix="trunkwatch_bench_") as name:
        folder = Path(name)
        began = time.process_time()
        make(folder, blocks)
        size = sum(path.stat().st_size for path in folder.glob("*.gpkg")) / 1e6
        print(f"{blocks} blocks: made in {time.process_time() - began:.0f} s of processor, {size:.0f} MB", flush=True)
        rates = command(folder, "rates")
        told("rates of all", run(rates), blocks)
        told("rates of all, again", run(rates), blocks)
        size = sum(path.stat().st_size for path in folder.rglob("*.parquet")) / 1e6
        print(f"  vine-season files: {size:.1f} MB", flush=True)
        pattern = command(folder, "pattern", "--permutations", str(PERMUTATIONS))

        def half() -> bool:
            return len(list((folder / ".results").glob("*-*.json"))) - blocks // PER_GROWER >= blocks // 2

        told("pattern of all, ended by kill -9 at half", run(pattern, end_when=half), blocks)
        told("pattern of all, the rest", run(pattern), blocks)
        told("pattern of all, again", run(pattern), blocks)


def sums(blocks: int, seasons: int) -> None:
    """Write vine-season files of a region with made-up rates, and sum them by block and season in a process of their own."""
    import pyarrow as pa
    from pyarrow import parquet

    from trunkwatch.programme.vine_files import _schema

    vines = 5000
    many = vines * seasons
    schema = _schema()
    rng = np.random.default_rng(1)
    position = pa.array(np.tile(np.tile(np.arange(1, 101), 50), seasons), pa.int32())
    row = pa.array(np.tile(np.repeat(np.arange(1, 51), 100).astype(str), seasons))
    season = pa.array(np.repeat(np.arange(2027 - seasons, 2027), vines), pa.int16())

    def same(value: object, kind: pa.DataType) -> pa.Array:
        return pa.repeat(pa.scalar(value, kind), many)

    with tempfile.TemporaryDirectory(prefix="trunkwatch_bench_") as name:
        folder = Path(name)
        began, truth = time.process_time(), 0
        for number in range(blocks):
            scouted = rng.random(many, dtype=np.float32) > 0.03
            cases = scouted & (rng.random(many, dtype=np.float32) < rng.beta(1.2, 30))
            truth += int(cases.sum())
            shown = pa.array(cases, mask=~scouted)
            told_of = {
                "grower": f"G {number // 5}",
                "block": f"Block {number % 5}",
                "vineyard": f"V {number // 5}",
                "definition": "any",
                "region": f"r{number % 40}",
                "cultivar": f"Cultivar {number % 12}",
                "planted": 1990 + number % 25,
                "counted": True,
                "compared": True,
                "inspections": "leafy",
                "ever_at_least": False,
                "plant": 1,
                "finding_count": 0,
            }
            columns = {
                "position": position,
                "row": row,
                "season": season,
                "looked_at": pa.array(scouted),
                "condition": pa.array(np.where(cases, "showing", np.where(scouted, "healthy-looking", "not seen"))),
            }
            for field in schema:
                if field.name in ("annual", "standing", "ever", "new", "relapse", "deaths"):
                    columns[field.name] = shown
                elif field.name not in columns:
                    columns[field.name] = same(told_of.get(field.name, ""), field.type)
            table = pa.table([columns[field.name] for field in schema], schema=schema)
            parquet.write_table(table, folder / f"{number}.parquet", compression="zstd")
        size = sum(path.stat().st_size for path in folder.iterdir()) / 1e6
        print(
            f"{blocks * many:,} vine-seasons of {blocks} blocks: written in {time.process_time() - began:.0f} s of processor, {size:.0f} MB",
            flush=True,
        )
        asked = (
            "import json, resource, sys; from pathlib import Path; from trunkwatch.programme.region import block_sums, group_rates; "
            "own = lambda: sum(resource.getrusage(resource.RUSAGE_SELF)[:2]); began = own(); "
            "sums = block_sums(sorted(Path(sys.argv[1]).iterdir())); used = own() - began; groups = group_rates(sums, sys.argv[2]); "
            "print(json.dumps([used, own() - began, len(sums), len(groups), sum(one.cases for one in groups), "
            "resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000]))"
        )
        for by in ("block", "cultivar"):
            found = run([sys.executable, "-c", asked, str(folder), by])
            used, all_used, lines, groups, cases, largest = json.loads(found.out)
            assert cases == truth, (cases, truth)
            print(
                f"  summed by {by} and season: query {used:.1f} s of processor, with the groups {all_used:.1f} s; whole process {found.processor:.1f} s, "
                f"clock {found.clock:.1f} s, at most {largest:.0f} MB; {lines:,} sums, {groups:,} groups",
                flush=True,
            )


if __name__ == "__main__":
    words = sys.argv[1:]
    if "--sums" in words:
        at = words.index("--sums")
        sums(int(words[at + 1]), int(words[at + 2]))
        words = words[:at]
    for many in words:
        region(int(many))

"""Kill -9 at random moments of a log, a desk, an import, a write to a folder, an upgrade, an export.

Run: python tests/calibration/kills.py [kills of each] [log] [serve] [crowd] [import] [folder] [upgrade] [export]

Writers are forked from this process, so that most of the time is spent in writing and not in starting. The desk
puts its log into the tables as often as it can, so that many kills fall into that.

After each kill the file, and a copy of it without anything beside it, are opened: every
acknowledged record must be there and nothing half there. Of a folder, every write must be there in
all of its tables or in none. An upgraded file must be the old one to the byte, or the new one with its layers.
Prints the table of tests/calibration.
"""

import contextlib
import json
import os
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
import zipfile
from collections import Counter
from pathlib import Path
from typing import NoReturn

import numpy as np

from trunkwatch.block.whole_folder import read_whole_folder
from trunkwatch.errors import FileError
from trunkwatch.intake import add_records, check_vineyard, start_file, start_folder
from trunkwatch.intake.layers import upgrade_vineyard
from trunkwatch.spreadsheets.folder import Notes, read_folder
from trunkwatch.spreadsheets.one_step import is_waiting
from trunkwatch.store import Store
from trunkwatch.store.geopackage import LAYERS

LOG = """
import sys
from trunkwatch.intake import add_records
for n in range(100000):
    add_records(sys.argv[1], "symptoms", [dict(block="B", row=str(1 + n % 4), position=str(1 + n % 12), date="2026-01-05",
        symptom="canker", observer=f"{sys.argv[2]}-{n}")])
    print(n, flush=True)
"""
IMPORT = """
import sys
from trunkwatch.intake import add_records
for batch in range(100000):
    add_records(sys.argv[1], "symptoms", [dict(block="B", row=str(1 + n // 12 % 4), position=str(1 + n % 12), date=f"20{11 + n // 48:02d}-01-05",
        symptom="canker", observer=f"{sys.argv[2]}-{batch}") for n in range(200)])
    print(batch, flush=True)
"""
FOLDER = """
import sys
from trunkwatch.intake import add_frames
from trunkwatch.vineyard.tables import frame_of
for n in range(100000):
    common = dict(block="B", date="2026-01-05", observer=f"{sys.argv[2]}-{n}")
    vine = dict(row=str(1 + n % 4), position=str(1 + n % 12))
    add_frames(sys.argv[1], {"symptoms": frame_of("symptoms", [{**common, **vine, "symptom": "canker"}]),
        "surveys": frame_of("surveys", [{**common, "covered": "all", "look": "dormant"}]),
        "work": frame_of("work", [{**common, **vine, "kind": "watch", "status": "done", "date": f"20{10 + n % 15}-02-05"}])})
    print(n, flush=True)
"""
SERVE = """
import sys
from pathlib import Path
from trunkwatch.web.app import create_app
from trunkwatch.web.tidying import Tidying
path = Path(sys.argv[1])
client = create_app(path, hosts=frozenset({"localhost"})).test_client()
with Tidying(path, quiet_s=0.0, every_s=0.005):
    for n in range(100000):
        record = dict(block="B", row=str(1 + n % 4), position=str(1 + n % 12), date="2026-01-05", symptom="canker",
            observer=f"{sys.argv[2]}-{n}")
        answer = client.post("/api/log", json={"table": "symptoms", "records": [record]}, headers={"Origin": "http://localhost"})
        assert answer.status_code == 200, answer.get_data()
        print(n, flush=True)
"""
CROWD = """
import sys
import threading
from pathlib import Path
from trunkwatch.web.app import create_app
from trunkwatch.web.tidying import Tidying
path, lock = Path(sys.argv[1]), threading.Lock()
app = create_app(path, hosts=frozenset({"localhost"}))
def write(who):
    client = app.test_client()
    for n in range(100000):
        record = dict(block="B", row=str(1 + n % 4), position=str(1 + n % 12), date="2026-01-05", symptom="canker",
            observer=f"{sys.argv[2]}-{who}.{n}")
        answer = client.post("/api/log", json={"table": "symptoms", "records": [record]}, headers={"Origin": "http://localhost"})
        assert answer.status_code == 200, answer.get_data()
        with lock:
            print(f"{who}.{n}", flush=True)
with Tidying(path, quiet_s=0.0, every_s=0.05):
    threads = [threading.Thread(target=write, args=(who,)) for who in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
"""
EXPORT = """
import sys
from pathlib import Path
from trunkwatch.cli import main
for n in range(100000):
    into = Path(sys.argv[1]).parent / f"{sys.argv[2]}-{n}.{('xlsx', 'geojson')[n % 2]}"
    main(["export", sys.argv[1], str(into)], standalone_mode=False)
    print(n, flush=True)
"""
UPGRADE = """
import sys
from trunkwatch.intake.layers import upgrade_vineyard
print("ready", flush=True)
upgrade_vineyard(__import__("pathlib").Path(sys.argv[1]))
print("done", flush=True)
"""
BLOCK = {"block": "B", "planted": 2005, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": 44.0, "longitude": -30.0,
         "row_bearing_deg": 0.0, "rows_go": "right"}  # fmt: skip


def killed(code: str, path: Path, mark: str, rng: np.random.Generator, span: float) -> list[str]:
    """Run a writer in a fork, kill it after a random time, return the lines it had acknowledged."""
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        _write(code, path, mark, into)
    os.close(into)
    with os.fdopen(out) as lines:
        first = lines.readline()
        time.sleep(float(rng.random()) * span)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return [first.strip(), *lines.read().split()]


def _write(code: str, path: Path, mark: str, into: int) -> NoReturn:
    """Be the writer: it says what it has done into a pipe, and never comes back."""
    os.dup2(into, 1)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    sys.argv = ["", str(path), mark]
    sys.stdout = os.fdopen(1, "w")
    try:
        exec(code, {"__name__": "writer"})  # noqa: S102 - its own text above
    finally:
        os._exit(0)


def intact(path: Path) -> None:
    """Raise unless the database is whole."""
    db = sqlite3.connect(path)
    assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    db.close()


def check_writer(path: Path, mark: str, said: list[str], batch: int) -> None:
    """Every acknowledged batch is there whole, and none is there in part, in the file and in a bare copy."""
    with tempfile.TemporaryDirectory() as folder:
        bare = Path(folder) / "bare.gpkg"
        shutil.copy(path, bare)
        for each in (path, bare):
            intact(each)
            with Store.open(each) as store:
                counts = store.frame("symptoms")["observer"].value_counts().to_dict()
            for number in said:
                assert counts.get(f"{mark}-{number}") == batch, (mark, number)
            assert all(count == batch for name, count in counts.items() if name.startswith(f"{mark}-"))


def writers(kills: int, name: str, code: str, batch: int, span: float) -> None:
    """Kill writers into a file, check, and print a line of the table."""
    rng, acknowledged = np.random.default_rng(11), 0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "v.gpkg"
        start_file(path, BLOCK, 4, 12)
        fresh = path.read_bytes()
        for number in range(kills):
            if number % 10 == 0:
                path.write_bytes(fresh)
            said = killed(code, path, f"k{number}", rng, span)
            check_writer(path, f"k{number}", said, batch)
            acknowledged += len(said) * batch
    print(f"| {name} | {kills} | {acknowledged} | 0 | 0 | 0 |", flush=True)


def counts_in(notes: Notes) -> dict[str, Counter[str]]:
    """Count the records of each write, table by table."""
    return {table: Counter(notes.frames[table]["observer"]) for table in ("symptoms", "surveys", "work")}


def folders(kills: int) -> None:
    """Kill writers of three tables of a folder; read it as who may not write it, then as who finishes it."""
    rng = np.random.default_rng(13)
    acknowledged = unfinished = lost = half = damaged = 0
    with tempfile.TemporaryDirectory() as parent:
        fresh, path = Path(parent) / "fresh", Path(parent) / "v"
        start_folder(fresh, BLOCK, 4, 12)
        for number in range(kills):
            if number % 10 == 0:
                shutil.rmtree(path, ignore_errors=True)
                shutil.copytree(fresh, path)
            mark = f"k{number}"
            said = [one for one in killed(FOLDER, path, mark, rng, 0.4) if one]
            acknowledged += len(said)
            unfinished += is_waiting(path)
            for read in (read_folder, read_whole_folder):
                notes = read(path)
                damaged += bool(notes.stopping)
                tables = counts_in(notes)
                lost += sum(counts[f"{mark}-{one}"] != 1 for one in said for counts in tables.values())
                half += len({tuple(sorted(counts.items())) for counts in tables.values()}) != 1
            damaged += any(fault.weight == "fault" for fault in check_vineyard(path))
    what = f"folder, three tables a write ({unfinished} times ended with a step to finish)"
    print(f"| {what} | {kills} | {acknowledged} | {lost} | {half} | {damaged} |", flush=True)


def old_file(path: Path) -> None:
    """Make a file of version 2 with blocks that can be drawn, without their layers, and 20,000 costs."""
    shutil.copyfile(Path(__file__).parents[1] / "store" / "files" / "version_2.gpkg", path)
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("UPDATE blocks SET latitude = 44, longitude = -30, row_bearing_deg = 0, rows_go = 'right'")
        for name in LAYERS:
            db.execute(f'DELETE FROM "{name}"')
        db.execute("BEGIN")
        db.executemany("INSERT INTO costs (name, id) VALUES (?, ?)", [(f"n{n}", f"i{n}") for n in range(20_000)])
        db.execute("COMMIT")


def upgrades(kills: int) -> None:
    """Kill upgrades; then each is begun again and goes through."""
    rng = np.random.default_rng(17)
    new = lost = half = damaged = in_the_way = 0
    with tempfile.TemporaryDirectory() as folder:
        old = Path(folder) / "old.gpkg"
        old_file(old)
        raw, kept = old.read_bytes(), Path(folder) / "old.version2.gpkg"
        began = time.perf_counter()
        upgrade_vineyard(old)
        span = 1.5 * (time.perf_counter() - began)
        for _ in range(kills):
            kept.unlink(missing_ok=True)
            old.write_bytes(raw)
            killed(UPGRADE, old, "", rng, span)
            intact(old)
            is_new = old.read_bytes() != raw
            new += is_new
            try:
                upgrade_vineyard(old)
            except FileError:
                in_the_way += 1
            with Store.open(old) as store:
                half += not store.mapped()
                damaged += len(store.stored("costs")) < 20_000
            lost += kept.read_bytes() != raw
    what = f"upgrade of a file of 20,000 records ({new} were new when killed, {in_the_way} could not go on)"
    print(f"| {what} | {kills} | | {lost} | {half} | {damaged} |", flush=True)


def exports(kills: int) -> None:
    """Kill exports; what is there under the name that was asked for is whole, and the vineyard is as it was."""
    rng, acknowledged, lost, half = np.random.default_rng(19), 0, 0, 0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "v.gpkg"
        start_file(path, BLOCK, 4, 12)
        findings = [
            {
                "block": "B",
                "row": str(1 + n % 4),
                "position": str(1 + n % 12),
                "date": f"20{11 + n // 48:02d}-01-05",
                "symptom": "canker",
            }
            for n in range(480)
        ]
        add_records(path, "symptoms", findings)
        add_records(
            path,
            "surveys",
            [
                {"block": "B", "date": f"{year}-01-05", "covered": "all", "look": "dormant"}
                for year in range(2011, 2021)
            ],
        )
        raw = path.read_bytes()
        for number in range(kills):
            said = [int(one) for one in killed(EXPORT, path, f"k{number}", rng, 0.4) if one.isdecimal()]
            acknowledged += len(said)
            made = sorted(Path(folder).glob(f"k{number}-*"))
            lost += sum(not (Path(folder) / f"k{number}-{n}.{('xlsx', 'geojson')[n % 2]}").exists() for n in said)
            for one in made:
                try:
                    if one.suffix == ".xlsx":
                        half += zipfile.ZipFile(one).testzip() is not None
                    else:
                        half += len(json.loads(one.read_text("utf-8"))["features"]) != 48
                except (ValueError, zipfile.BadZipFile):
                    half += 1
                one.unlink()
            assert path.read_bytes() == raw
    print(f"| export to a workbook and a map | {kills} | {acknowledged} | {lost} | {half} | 0 |", flush=True)


def main() -> None:
    """Kill and print the table."""
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    wanted = sys.argv[2:] or ["log", "serve", "crowd", "import", "folder", "upgrade", "export"]
    print("| what | kills | acknowledged | lost | half there | damaged |\n|---|---|---|---|---|---|", flush=True)
    if "log" in wanted:
        writers(kills, "log, one record at a time", LOG, 1, 0.3)
    if "serve" in wanted:
        writers(kills, "desk, one record at a time, the log put into the tables meanwhile", SERVE, 1, 0.3)
    if "crowd" in wanted:
        writers(kills, "desk, five writers at once, the log put into the tables meanwhile", CROWD, 1, 0.4)
    if "import" in wanted:
        writers(kills, "import of 200 records", IMPORT, 200, 0.5)
    if "folder" in wanted:
        folders(kills)
    if "upgrade" in wanted:
        upgrades(kills)
    if "export" in wanted:
        exports(kills)


if __name__ == "__main__":
    main()

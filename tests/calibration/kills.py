"""Kill -9 at random moments of an import, a log, an upgrade. Run: python tests/calibration/kills.py [kills]

After each kill the file, and a copy of it without anything beside it, are opened: every
acknowledged record must be there and nothing half there. Prints the table of tests/calibration.
"""

import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from trunkwatch.intake import start_file
from trunkwatch.store import Store
from trunkwatch.store.schema import take_steps

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
UPGRADE = """
import sys
from trunkwatch.store import upgrade_file
print("ready", flush=True)
upgrade_file(__import__("pathlib").Path(sys.argv[1]))
print("done", flush=True)
"""
BLOCK = {"block": "B", "planted": 2005, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": 44.0, "longitude": -30.0,
         "row_bearing_deg": 0.0, "rows_go": "right"}  # fmt: skip


def killed(code: str, path: Path, mark: str, rng: np.random.Generator, span: float) -> list[str]:
    """Run a writer, kill it after a random time, return the lines it had acknowledged."""
    run = subprocess.Popen(
        [sys.executable, "-c", code, str(path), mark], stdout=subprocess.PIPE, text=True, stderr=subprocess.DEVNULL
    )
    first = run.stdout.readline()
    time.sleep(float(rng.random()) * span)
    run.send_signal(signal.SIGKILL)
    return [first.strip(), *run.communicate()[0].split()]


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


def main() -> None:
    """Kill and print the table."""
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    rng = np.random.default_rng(11)
    print("| what | kills | acknowledged | lost | half there | damaged |\n|---|---|---|---|---|---|")
    for name, code, batch, span in (
        ("log, one record at a time", LOG, 1, 0.3),
        ("import of 200 records", IMPORT, 200, 0.5),
    ):
        acknowledged = 0
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "v.gpkg"
            start_file(path, BLOCK, 4, 12)
            fresh = path.read_bytes()
            for number in range(kills // 3):
                if number % 10 == 0:
                    path.write_bytes(fresh)
                said = killed(code, path, f"k{number}", rng, span)
                check_writer(path, f"k{number}", said, batch)
                acknowledged += len(said) * batch
        print(f"| {name} | {kills // 3} | {acknowledged} | 0 | 0 | 0 |", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        old = Path(folder) / "old.gpkg"
        db = sqlite3.connect(old, isolation_level=None)
        take_steps(db, upto=1)
        db.executemany("INSERT INTO costs (name, id) VALUES (?, ?)", [(f"n{n}", f"i{n}") for n in range(20_000)])
        db.close()
        raw = old.read_bytes()
        for _ in range(kills - 2 * (kills // 3)):
            for leftover in Path(folder).glob("*version*"):
                leftover.unlink()
            old.write_bytes(raw)
            killed(UPGRADE, old, "", rng, 0.15)
            intact(old)
            db = sqlite3.connect(old)
            assert db.execute("SELECT count(*) FROM costs").fetchone()[0] == 20_000
            db.close()
    print(f"| upgrade of a file of 20,000 records | {kills - 2 * (kills // 3)} | | 0 | 0 | 0 |")


if __name__ == "__main__":
    main()

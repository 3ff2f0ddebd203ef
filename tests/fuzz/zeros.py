"""Overwrites runs of bytes of a vineyard file with zeros: check names it, or it reads as before, and rescue counts what is missing.

What is overwritten is chosen by the bytes of the file alone. Run: python tests/fuzz/zeros.py [n] [seed]
"""

import csv
import random
import re
import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from click.testing import CliRunner
from edited import Judge, make_file

from trunkwatch.cli import main as trunkwatch
from trunkwatch.intake import add_records, put_into_tables, start_file
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import TABLES, frame_of

SIZES = (16, 512, 4096)
BLOCK = {"block": "Lark", "vineyard": "Gull Rise", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5,
         "vine_spacing_m": 1.5, "latitude": 44.0, "longitude": -30.0, "row_bearing_deg": 30.0, "rows_go": "right"}  # fmt: skip
Records = Counter[tuple[str, tuple[str, ...]]]


def finding(number: int) -> dict[str, str]:
    """Return a finding that is like no other."""
    return {
        "block": "Lark",
        "vineyard": "Gull Rise",
        "row": str(1 + number % 8),
        "position": str(1 + number // 8 % 25),
        "date": f"2026-08-{1 + number // 200:02d}",
        "symptom": "canker",
        "observer": "A",
        "note": f"note {number}",
    }


def make_small(folder: Path) -> Path:
    """Make a small vineyard file: findings taken in at once, some that were put into the tables, some that wait in the log."""
    path = folder / "small.gpkg"
    start_file(path, BLOCK, 8, 25)
    with Store.writing(path) as store:
        days = [f"2026-08-{day:02d}" for day in range(1, 7)]
        walks = [
            {
                "block": "Lark",
                "vineyard": "Gull Rise",
                "survey": day,
                "date": day,
                "look": "summer",
                "covered": "1..8",
                "observer": "A",
            }
            for day in days
        ]
        store.append({"surveys": frame_of("surveys", walks)})
        store.append({"symptoms": frame_of("symptoms", [finding(number) for number in range(1000)])})
    for first in (1000, 1040):
        add_records(path, "symptoms", [finding(number) for number in range(first, first + 30)])
        if first == 1000:
            put_into_tables(path)
    for number in range(1080, 1090):
        add_records(path, "symptoms", [finding(number)])
    return path


def zeroed(whole: bytes, size: int, number: int, seed: int) -> tuple[str, bytes]:
    """Return a file with a run of zeros in it: anywhere, where there is something, or over a page."""
    chance = random.Random(f"{seed}-{size}-{number}")
    raw = bytearray(whole)
    at = chance.randrange(len(raw) - size)
    if number % 3 == 1:
        while not any(raw[at : at + 16]):
            at = chance.randrange(len(raw) - size)
    elif number % 3 == 2:
        at -= at % 4096
    raw[at : at + size] = bytes(size)
    return f"{size} zeros at {at}", bytes(raw)


def rescued(path: Path, out: Path) -> tuple[str, Records, str]:
    """Rescue a file; return what was said, the records that came back, and a traceback where there was one."""
    shutil.rmtree(out, ignore_errors=True)
    done = CliRunner().invoke(trunkwatch, ["check", str(path), "--rescue", str(out)])
    records: Records = Counter()
    for table in TABLES:
        for file in sorted(out.glob(f"{table}.csv")):
            with file.open(newline="", encoding="utf-8-sig") as lines:
                for record in csv.DictReader(lines):
                    records[table, tuple(f"{name}={cell}" for name, cell in sorted(record.items()) if cell)] += 1
    crash = done.exception is not None and not isinstance(done.exception, SystemExit)
    return done.output, records, repr(done.exception) if crash else ""


def faults_of_rescue(before: Records, path: Path, out: Path) -> list[str]:
    """Say what is wrong with a rescue: a record that never was, or another number of missing records than is told."""
    said, after, crash = rescued(path, out)
    if crash:
        return [f"rescue: {crash}"]
    if "nothing can be read of" in said:
        return []
    strange = [f"{table} {cells}" for table, cells in after - before]
    wrong = [f"rescue gives {len(strange)} records that never were: {strange[0]}"] if strange else []
    gone = sum((before - after).values())
    told = re.search(r"^missing: (at least )?([\d,]+) record", said, flags=re.MULTILINE)
    many, at_least = (int(told[2].replace(",", "")), bool(told[1])) if told else (0, False)
    if not told and "nothing is missing" not in said:
        wrong.append("rescue does not say whether anything is missing")
    if not (many <= gone if at_least else many == gone):
        wrong.append(f"rescue says that {many} are missing, and {gone} are")
    return wrong


def run(
    judge: Judge, before: Records, folder: Path, size: int, numbers: range, seed: int
) -> list[tuple[str, str, list[str]]]:
    """Judge some places; return each with what became of it and what is wrong."""
    whole, out = judge.whole.read_bytes(), []
    for number in numbers:
        name, raw = zeroed(whole, size, number, seed)
        path = folder / "hurt.gpkg"
        path.write_bytes(raw)
        told = judge.judge(name, path)
        wrong = told.wrong + faults_of_rescue(before, path, folder / "back")
        if told.same and rescued(path, folder / "back")[1] != before:
            wrong.append("reads as before, and rescue does not give all of it")
        out.append((name, "named" if told.named else "harmless", wrong))
    return out


def main() -> None:
    """Print what became of them."""
    count, seed = (int(word) for word in (*sys.argv[1:], *("50", "1")[len(sys.argv) - 1 :]))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for path in (make_small(folder), make_file(folder)):
            judge = Judge(path)
            before = rescued(path, folder / "back")[1]
            for size in SIZES:
                told = run(judge, before, folder, size, range(count), seed)
                for place, _, wrong in told:
                    for line in wrong:
                        print(f"{place}: {line}")
                kinds = Counter("wrong" if wrong else kind for _, kind, wrong in told)
                print(f"{path.name}, {size} zeros, {count} places, seed {seed}: {dict(kinds)}")


if __name__ == "__main__":
    main()

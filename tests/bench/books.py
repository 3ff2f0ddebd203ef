"""How long a table of 200,000 lines takes by a mapping file, and 200,000 points of vines to rows.

python tests/bench/books.py            # both
python tests/bench/books.py 20000      # of so many lines and points
"""

import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import openpyxl
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from simulated_rows import simulated

from trunkwatch.cli import main as trunkwatch
from trunkwatch.ground.laid_points import laid_points

WORDS = ("ok", "dead arm", "missing", "leaf stripe", "replanted 2023")
SHARES = (0.86, 0.06, 0.03, 0.04, 0.01)
BLOCKS, POSITIONS = 10, 200


def table(lines: int) -> list[list[object]]:
    """One line a vine and year, as a grower keeps them: block, row, vine, day, what was seen, a remark now and then."""
    rng = np.random.default_rng(7)
    seen = rng.choice(len(WORDS), size=lines, p=SHARES)
    rows = -(-lines // (BLOCKS * POSITIONS))
    found: list[list[object]] = [["Block", "Row", "Vine", "Date", "Status", "Remark"]]
    for number in range(lines):
        rest, position = divmod(number, POSITIONS)
        block, row = divmod(rest, rows)
        remark = "by the post" if number % 97 == 0 else None
        found.append([f"B{block + 1}", row + 1, position + 1, "2024-08-12", WORDS[seen[number]], remark])
    return found


def write_csv(path: Path, lines: list[list[object]]) -> None:
    """Write a table as CSV."""
    path.write_text("".join(",".join("" if cell is None else str(cell) for cell in line) + "\n" for line in lines))


def write_xlsx(path: Path, lines: list[list[object]]) -> None:
    """Write a table as a workbook."""
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("List")
    for line in lines:
        sheet.append(line)
    book.save(path)


def timed(what: str, run: Callable[[], object]) -> None:
    """Print how long something takes, by the clock and of the processor."""
    clock, processor = time.perf_counter(), sum(os.times()[:4])  # of the processes that read files apart as well
    run()
    print(f"{what}: {time.perf_counter() - clock:.1f} s, {sum(os.times()[:4]) - processor:.1f} s of the processor")


def by_mapping(folder: Path, path: Path, name: str) -> None:
    """Draft a mapping, then take the table by it."""
    vineyard = folder / name

    def call(*args: object) -> None:
        told = CliRunner().invoke(trunkwatch, [str(arg) for arg in args])
        if "load" in args and told.exit_code not in (0, 1):
            raise SystemExit(told.output)
        last.append((told.exit_code, told.output))

    last: list[tuple[int, str]] = []
    timed(f"{path.name}: read, its words and its form, mapping drafted", lambda: call("load", vineyard, path))
    mapping = next(folder.glob(f"**/{path.stem}*.mapping.toml"), None) or next(folder.glob("**/*.mapping.toml"))
    timed(f"{path.name}: taken by the mapping", lambda: call("load", vineyard, path, "--mapping", mapping))
    mapping.unlink()
    if last[-1][0] != 0:
        raise SystemExit(last[-1][1])


def main() -> None:
    """Print the figures."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 200_000
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        lines = table(many)
        for name, write in (("list.csv", write_csv), ("list.xlsx", write_xlsx)):
            write(folder / name, lines)
            by_mapping(folder, folder / name, f"mine.{name[5:]}.gpkg")
    larger = (many / 159_000) ** 0.5
    rows = max(round(400 * larger), 4)
    true = simulated(np.random.default_rng(5), "curved", 0.1, rows=rows, length_m=800 * larger)
    timed(f"{len(true.points):,} points to {rows} rows", lambda: laid_points(true.points))


if __name__ == "__main__":
    main()

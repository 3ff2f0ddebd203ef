"""What a pool of the made programme of sixty growers shows, and what a reader of all its tables finds: not part of the suite.

Every table is shown one after the other, then growers join and leave, and all is shown again. A reader who reckons with
every figure that was ever shown looks for each cell that was not; another knows all growers but one. Run it from the top folder:

    .venv/bin/python tests/calibration/pool_of_programme.py 60 4
"""

import math
import re
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np
from scipy.optimize import linprog

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from made_programme import OPEN, Grower, make_vineyard, write_catalogue

from trunkwatch.cards import read_folder
from trunkwatch.cards.cells import Part, may_show
from trunkwatch.cards.ledger import Ledger
from trunkwatch.cards.pool import pool
from trunkwatch.cards.pool_words import GUARDED, pool_lines
from trunkwatch.programme.cards_run import write_cards
from trunkwatch.programme.catalogue import read_catalogue

DAY, MADE = "2026-11-20", "2026-11-20T08:00:00Z"
TABLES = (
    (),
    ("age",),
    ("region",),
    ("cultivar",),
    ("cultivar", "age"),
    ("region", "age"),
    ("cultivar", "region", "age"),
)
REGIONS = ("hills", "river", "plain")


def made(folder, growers, seed):
    """The made programme with other seeds, a region and full consent; every tenth grower has large blocks."""
    listed = []
    for number in range(growers):
        size = {"rows": 12, "vines": 60} if number % 10 == 0 else {}
        make_vineyard(
            folder / f"v{number:02}",
            number + 100 * seed,
            labels=[f"Block {n}" for n in range(1, 2 + number % 4)],
            **size,
        )
        listed.append(
            Grower(f"G {number}", f"v{number:02}", ("pool", "forecast"), OPEN, region=REGIONS[(number + seed) % 7 % 3])
        )
    write_catalogue(folder, listed)
    write_cards(folder, read_catalogue(folder), [one.name for one in listed], folder / "cards", DAY, MADE)
    return read_folder(folder / "cards", "pool", DAY)


def limits(printed, at, wanted, sure):
    rows, ends = [], []
    for names, low, high in printed:
        row = np.zeros(len(at))
        row[[at[name] for name in names]] = 1
        rows += [row, -row]
        ends += [high, -low]
    goal = np.zeros(len(at))
    goal[[at[name] for name in wanted]] = 1
    bounds = [sure.get(name, (0, None)) for name in at]
    found = [
        linprog(sign * goal, np.array(rows) if rows else None, ends or None, bounds=bounds, method="highs")
        for sign in (1, -1)
    ]
    return (found[0].fun if found[0].status == 0 else 0.0), (-found[1].fun if found[1].status == 0 else math.inf)


def play(cards, rounds, tables=TABLES):
    """Show all tables in every round; return figures and texts, and the last ledger."""
    ledger, cells, texts = Ledger(b"k" * 32), Counter(), []
    for present in rounds:
        for by in tables:
            table, ledger = pool([one for one in cards if one.grower in present], by, ledger, season=2026)
            cells["shown"] += len(table.cells)
            cells["as before"] += sum(one.earlier for one in table.cells)
            texts += [*pool_lines(table), *GUARDED]
    return ledger, cells, "\n".join(texts)


def attacked(cards, ledger):
    """Let the reader look for every cell of the last season that was not shown; count those found."""
    year = 2026
    line = {(one.grower, one.id): next(x for x in one.seasons if x.season == year) for one in cards}
    at = {name: number for number, name in enumerate(line)}
    mark = {ledger.mark(g, b, year, "showing", x.vines, x.cases): (g, b) for (g, b), x in line.items()}
    shown = [one for one in ledger.shown if (one.season, one.count) == (year, "showing")]
    printed = [
        ([mark[block] for block, _ in one.members], one.figure.cases_low, one.figure.cases_high) for one in shown
    ]
    counts = Counter(figures=len(printed))
    for _, count, blocks in (one for one in ledger.hidden if one[0] == year):
        if count != "showing":
            continue
        names = sorted(mark[block] for block in blocks)
        counts["hidden"] += 1
        low, high = limits(printed, at, names, {})
        own = sum(line[name].cases for name in names)
        assert low - 1e-6 <= own <= high + 1e-6
        counts["found by the reader"] += high - low < max(4, 0.3 * own)
        # All growers but one are known: what is in no figure stays unknown. What is in one is that figure's to protect.
        inside = {name for members, _, _ in printed for name in members}
        for target in {grower for grower, _ in names}:
            wanted = [name for name in names if name[0] == target and name not in inside]
            if wanted:
                counts["growers alone"] += 1
                sure = {name: (x.cases, x.cases) for name, x in line.items() if name[0] != target}
                counts["found by all but one"] += limits(printed, at, wanted, sure) != (0.0, math.inf)
    sums = Counter(
        may_show([Part(*name, line[name].vines, line[name].cases) for name in members]) for members, _, _ in printed
    )
    counts["figures against the rules"] = sums[False]
    return counts


def main(growers=60, programmes=4):
    print(
        "| programme | cards | shown (as before) | figures 2026 | hidden cells | found by a reader | finest table alone: growers in a hidden cell | found by all but one | against the rules | telling words | s |"
    )
    print("|---|---|---|---|---|---|---|---|---|---|---|")
    for seed in range(programmes):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            cards = made(folder, growers, seed).cards
            files = "\n".join(path.read_text("utf-8") for path in (folder / "cards").glob("*.json"))
        everybody = sorted({one.grower for one in cards})
        rounds = [everybody, everybody[3:], everybody]
        begin = time.process_time()
        ledger, cells, text = play(cards, rounds)
        took = time.process_time() - begin
        found = attacked(cards, ledger)
        single = attacked(cards, play(cards, [everybody], TABLES[-1:])[0])
        days = len(re.findall(r"20\d\d-(?!11-20|12-31)\d\d-\d\d", files)) + len(re.findall(r"\d{4}-\d\d-\d\d", text))
        words = days + sum(word in files + text for word in ("Block 1", "Block 2", "G 0", "G 1", "v00", "leaf_stripe"))
        words += len(re.findall(r"[0-9a-f]{16}", text))
        print(
            f"| {seed} | {len(cards)} | {cells['shown']} ({cells['as before']}) | {found['figures']} | {found['hidden']} | {found['found by the reader']} | "
            f"{single['growers alone']} | {single['found by all but one']} | {found['figures against the rules']} | {words} | {took:.1f} |"
        )


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))

"""trunkwatch.pattern: verdict, of a large block walked by two people, in a process of its own; trunkwatch.stats: join_count."""

import subprocess
import sys

import numpy as np
import pytest

from trunkwatch.stats.join_count import _incident
from trunkwatch.stats.joins import joined_pairs

#: What the pattern of 5,000 vines may take, everything that is loaded included.
MOST_MB = 300
WALK = """
import resource, sys
from pathlib import Path
import numpy as np
from trunkwatch.block import load
from trunkwatch.pattern import pattern_of
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of

rows, vines = 50, 100
chance = np.random.default_rng(7)
found = [
    {"block": "A", "row": str(row), "position": str(at), "date": "2026-08-03", "symptom": "leaf_stripe",
     "observer": "Ana" if row <= rows // 2 else "Ben"}
    for row in range(1, rows + 1) for at in range(1, vines + 1)
    if chance.random() < (0.2 if row <= rows // 2 else 0.05)
]
walks = [(f"1..{rows // 2}", "Ana"), (f"{rows // 2 + 1}..{rows}", "Ben")]
store = Store.in_memory()
store.append({
    "blocks": frame_of("blocks", [{"block": "A", "planted": 2000, "vine_spacing_m": 1.5, "row_spacing_m": 2.5}]),
    "rows": frame_of("rows", [{"block": "A", "row": str(n), "last": vines} for n in range(1, rows + 1)]),
    "surveys": frame_of("surveys", [
        {"survey": name, "block": "A", "date": "2026-08-03", "look": "summer", "covered": covered, "observer": name}
        for covered, name in walks
    ]),
    "symptoms": frame_of("symptoms", found),
})
pattern = pattern_of(load(store, "A", 2026, definition="leaf"), permutations=99)
assert pattern.observers.strata is not None
print(pattern.primary.expected_case_case, pattern.primary.variance_case_case, pattern.primary.pvalue)
status = Path("/proc/self/status")  # of this program alone; ru_maxrss counts what the one that started it had taken too
told = [int(line.split()[1]) for line in status.read_text().splitlines() if line.startswith("VmHWM")] if status.exists() else []
most = told[0] if told else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024 if sys.platform == "darwin" else 1)
print(most / 1024)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="this system does not say how much a process took")
def test_a_large_block_walked_by_two_people_takes_little_memory():
    done = subprocess.run([sys.executable, "-c", WALK], check=True, capture_output=True, text=True)
    assert float(done.stdout.splitlines()[-1]) < MOST_MB


def test_the_joins_of_the_cells_are_parts_of_one_array():
    """Each cell's joins are a part of one array; a copy of all joins a cell would grow with the square of the block."""
    mask = np.ones((6, 9), dtype=bool)
    parts = _incident(joined_pairs("rook", mask, 1), mask.size)
    assert len({id(part.base) for part in parts}) == 1

"""trunkwatch.pattern: verdict, of a large block walked by two people, in a process of its own; trunkwatch.stats: join_counts."""

import subprocess
import sys

import numpy as np
import pytest

from trunkwatch.stats.join_counts import _meeting
from trunkwatch.stats.joins import joined_pairs

#: What the pattern of 5,000 vines may take, everything that is loaded included.
MOST_MB = 300
WALK = """
import pathlib, re, resource, sys
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
status = pathlib.Path("/proc/self/status")
if status.exists():  # what getrusage says takes in the process that started this one
    print(int(re.search(r"VmHWM:\\s+(\\d+)", status.read_text())[1]) / 1024)
else:
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024 ** (2 if sys.platform == "darwin" else 1)))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="this system does not say how much a process took")
def test_a_large_block_walked_by_two_people_takes_little_memory():
    done = subprocess.run([sys.executable, "-c", WALK], check=True, capture_output=True, text=True)
    assert float(done.stdout.splitlines()[-1]) < MOST_MB


def test_joins_that_meet_are_held_in_parts(monkeypatch):
    """All pairs of joins of a large block at once would take gigabytes; the parts together are all of them, each once."""
    mask = np.ones((6, 9), dtype=bool)
    pairs = joined_pairs("rook", mask, 1)
    (whole,) = _meeting(pairs, mask.size)
    monkeypatch.setattr("trunkwatch.stats.join_counts._HELD", 40)
    parts = list(_meeting(pairs, mask.size))
    assert len(parts) > 5
    assert max(len(part[0]) for part in parts) <= 60
    degree = np.bincount(pairs.ravel())
    assert len(whole[0]) == (degree * (degree - 1)).sum()
    for number in range(3):
        np.testing.assert_array_equal(np.concatenate([part[number] for part in parts]), whole[number])

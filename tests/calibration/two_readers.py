"""How often two readers of the same rules agree. Run: python tests/calibration/two_readers.py [sequences] [seed]"""

import random
import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from hypothesis import HealthCheck, Phase, given, seed, settings
from reading.both import differences
from reading.worlds import vineyards

DEFINITIONS = ("any", "leaf", "dieback")


def main(many: int, start: int) -> int:
    """Read random vineyards by both and print what differs; return how many sequences did."""
    counts: Counter[str] = Counter()
    shown = 0
    began = time.perf_counter()

    @seed(start)
    @settings(
        max_examples=many,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(vineyards())
    def compare(tables: dict) -> None:  # type: ignore[type-arg]
        nonlocal shown
        for block in tables["blocks"]:
            own = {
                name: [line for line in lines if line.get("block") == block["block"]] for name, lines in tables.items()
            }
            definition = random.Random(len(own["symptoms"])).choice(DEFINITIONS)
            found = differences(own, definition, without_winter=len(own["work"]) % 3 == 0)
            counts["sequences"] += 1
            counts["records"] += sum(map(len, own.values()))
            counts["differ"] += bool(found)
            for line in found:
                counts[line.split()[0].rstrip(":")] += 1
            if found and shown < 8:
                shown += 1
                print("\n".join(found[:4]))
                print("   ", own["blocks"], own["rows"], own["plants"])
                print("   ", *own["surveys"], *own["symptoms"], *own["work"], sep="\n     ")

    compare()
    print(dict(counts), f"{time.perf_counter() - began:.0f} s")
    return counts["differ"]


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000, int(sys.argv[2]) if len(sys.argv) > 2 else 1)

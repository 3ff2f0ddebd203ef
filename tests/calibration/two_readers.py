"""How often two readers of the same rules agree. Run: python tests/calibration/two_readers.py [sequences] [seed] [--printed]

With --printed map, plan, report, lists, phone page, cases and history are printed too and held against the second reader.
"""

import random
import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from hypothesis import HealthCheck, Phase, given, seed, settings
from reading.both import differences, differences_said
from reading.printed import differences_printed
from reading.worlds import vineyards

DEFINITIONS = ("any", "leaf", "dieback")
#: Sequences made from one seed; the next go on from the next seed, for one long run grows slower and larger.
AT_ONCE = 500


def main(many: int, start: int, *, printed: bool = False) -> int:
    """Read random vineyards by both and print what differs; return how many blocks did."""
    counts: Counter[str] = Counter()
    began = time.perf_counter()
    for number in range(-(-many // AT_ONCE)):
        _run(min(AT_ONCE, many - number * AT_ONCE), start + number, counts, printed=printed)
        print(dict(counts), f"{time.perf_counter() - began:.0f} s", flush=True)
    return counts["differ"]


def _run(many: int, start: int, counts: Counter[str], *, printed: bool) -> None:
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
        for block in tables["blocks"]:
            own = {
                name: [line for line in lines if line.get("block") == block["block"]] for name, lines in tables.items()
            }
            definition = random.Random(len(own["symptoms"])).choice(DEFINITIONS)
            found = differences(own, definition, without_winter=len(own["work"]) % 3 == 0)
            season = (None, 2021)[len(own["plants"]) % 2]
            found += [f"said.{line}" for line in differences_said(own, definition, season)]
            if printed:
                # Seasons begin in 2014 to 2020: of most blocks one that is not the last.
                asked = (None, 2018, 2020)[len(own["symptoms"]) % 3]
                found += [f"printed.{line}" for line in differences_printed(own, definition, asked)]
            counts["sequences"] += 1
            counts["records"] += sum(map(len, own.values()))
            counts["differ"] += bool(found)
            for line in found:
                counts[line.split()[0].rstrip(":")] += 1
            if found and counts["differ"] < 8:
                print("\n".join(found[:4]))
                print("   ", own["blocks"], own["rows"], own["plants"])
                print("   ", *own["surveys"], *own["symptoms"], *own["work"], sep="\n     ")

    compare()


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:] if word != "--printed"]
    sequences, first_seed = [*numbers, *(20_000, 1)[len(numbers) :]]
    main(sequences, first_seed, printed="--printed" in sys.argv)

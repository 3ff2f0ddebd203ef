"""Three devices that write and merge, beside a plain model. Run: python tests/calibration/devices.py [runs] [seed]

Prints after every portion how many runs, acts and merges there were, and every run in which a device does not say what
the model says: with its seed, which plays it again.
"""

import random
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from events.devices import CLOCKS, WHAT, DifferenceError, in_memory, play

PORTION = 100
#: One run in so many is made with files.
WITH_FILES = 200


def run(seed: int) -> tuple[int, int]:
    """Play one run; return how many acts and merges there were."""
    chance = random.Random(seed)
    clocks = [chance.randrange(len(CLOCKS)) for _ in range(3)]
    steps = [
        (chance.randrange(3), chance.choice(WHAT), chance.randrange(6), chance.randrange(12))
        for _ in range(chance.randint(4, 18))
    ]
    if seed % WITH_FILES == 0:
        with tempfile.TemporaryDirectory() as folder:
            shared = play(clocks, steps, Path(folder))
    else:
        with in_memory():
            shared = play(clocks, steps)
    return shared.number, shared.merges


def main() -> None:
    """Play and count."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    acts = merges = differ = 0
    began = time.perf_counter()
    for done, seed in enumerate(range(first, first + runs), start=1):
        try:
            more = run(seed)
        except DifferenceError as error:
            differ += 1
            print(f"seed {seed}: {str(error)[:2000]}", flush=True)
        else:
            acts, merges = acts + more[0], merges + more[1]
        if done % PORTION == 0 or done == runs:
            seconds = time.perf_counter() - began
            print(f"{done} runs, {acts} acts, {merges} merges, {differ} differ; {seconds:.0f} s", flush=True)


if __name__ == "__main__":
    main()

"""Flips bits of a vineyard file at random places: check names it, or it reads as before. Run: python tests/fuzz/flips.py [n] [seed]"""

import random
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from edited import Judge, Told, make_file


def flipped(whole: bytes, number: int, seed: int) -> tuple[str, bytes]:
    """Return a file with one bit, or a run of 16 bytes, that is another one; the same for the same numbers."""
    chance = random.Random(f"{seed}-{number}")
    raw = bytearray(whole)
    if number % 3 == 2:
        at = chance.randrange(len(raw) - 16)
        raw[at : at + 16] = chance.randbytes(16)
        return f"16 bytes at {at}", bytes(raw)
    at, bit = chance.randrange(len(raw)), chance.randrange(8)
    if number % 3 == 1:  # where there is something: most of a file is empty
        while not raw[at]:
            at = chance.randrange(len(raw))
    raw[at] ^= 1 << bit
    return f"bit {bit} of byte {at}", bytes(raw)


def run(judge: Judge, folder: Path, numbers: range, seed: int) -> list[Told]:
    """Judge some flips."""
    whole, out = judge.whole.read_bytes(), []
    for number in numbers:
        name, raw = flipped(whole, number, seed)
        path = folder / "hurt.gpkg"
        path.write_bytes(raw)
        out.append(judge.judge(name, path))
    return out


def main() -> None:
    """Print what became of them."""
    count, seed = (int(word) for word in (*sys.argv[1:], *("200", "1")[len(sys.argv) - 1 :]))
    with tempfile.TemporaryDirectory() as folder:
        judge = Judge(make_file(Path(folder)))
        told = run(judge, Path(folder), range(count), seed)
    for one in told:
        for wrong in one.wrong:
            print(f"{one.name}: {wrong}")
    kinds = Counter("wrong" if one.wrong else "named" if one.named else "harmless" for one in told)
    print(
        f"{count} flips, seed {seed}: {dict(kinds)}; {sum(one.same for one in told)} read as before; the slowest command {max(one.seconds for one in told):.1f} s"
    )


if __name__ == "__main__":
    main()

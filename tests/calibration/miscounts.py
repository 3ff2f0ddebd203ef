"""A scout who miscounts: how many findings land on the right vine, with and without the phone's landmarks.

Run: python tests/calibration/miscounts.py

Rows of 60 vines in bays of six, ten findings a row at random; at every vine the scout's count slips by one with a chance
of 1 in 200 (a vine skipped or counted twice). Three ways to write positions: paper, counting on to the end; the phone
with the count at the row's end only, where the scout names the finding before which it slipped, rightly with a chance
of one half, else at random; the phone with posts as well, where a slip is noticed at the next post with a chance of 0.8
and the count put right from there.
"""

import numpy as np

ROWS, VINES, BAY, FINDINGS = 20_000, 60, 6, 10
SLIP, NOTICE, RIGHT = 1 / 200, 0.8, 0.5


def walk(rng: np.random.Generator, *, posts: bool, end: bool) -> tuple[int, int]:
    """Return findings and those on the right vine over one row."""
    found = set(rng.choice(np.arange(1, VINES + 1), FINDINGS, replace=False).tolist())
    off, slips, written = 0, [], []
    for vine in range(1, VINES + 1):
        if rng.random() < SLIP:
            off += int(rng.choice([-1, 1]))
            slips.append(vine)
        if vine in found:
            written.append([vine, vine + off])
        if posts and off and vine % BAY == 0 and rng.random() < NOTICE:
            off = 0
    if end and off:
        true = next((k for k, (vine, _) in enumerate(written) if vine >= slips[-1]), len(written))
        chosen = true if rng.random() < RIGHT else int(rng.integers(0, len(written) + 1))
        for line in written[chosen:]:
            line[1] -= off
    return len(written), sum(vine == position for vine, position in written)


def main() -> None:
    """Print the table."""
    print("| how | findings on the right vine, % |\n|---|---|")
    for name, posts, end in (
        ("paper, counting on", False, False),
        ("count at the row's end", False, True),
        ("posts and row's end", True, True),
    ):
        rng = np.random.default_rng(1)
        told = np.array([walk(rng, posts=posts, end=end) for _ in range(ROWS)]).sum(axis=0)
        print(f"| {name} | {100 * told[1] / told[0]:.1f} |")


if __name__ == "__main__":
    main()

"""Prints the tables of README.md. Run: python tests/calibration/worlds/readme_table.py [seeds]"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from calibration.worlds import NOTED, WORLDS


def _stated(truths: dict) -> str:
    """Return what a world states besides what every world states."""
    common = {"static", "clustered", "cause", "work"}
    more = {name: value for name, value in truths.items() if name not in common and value is not None}
    if truths["work"]:
        more["work"] = truths["work"]
    return ", ".join(f"{name} {value}" for name, value in more.items())


def main() -> None:
    """Print one line for each world."""
    seeds = range(1, 1 + int(sys.argv[1]) if len(sys.argv) > 1 else 21)
    print("| world | what | passes | along | static | clustered | cause | states | basis |")
    print("|---|---|---|---|---|---|---|---|---|")
    yes = {True: "yes", False: "no", None: "-"}
    for world in WORLDS.values():
        t = world.truths
        print(
            f"| {world.name} | {world.what} | {yes[world.spreads]} | {yes[world.along]} | {yes[t['static']]} | {yes[t['clustered']]} | {t['cause']} | {_stated(t)} | {world.basis} |"
        )
    print(
        "\n| world | infected | ever noted | noted, first and last season looked at | passed on | first noted in the next season | seconds |"
    )
    print("|---|---|---|---|---|---|---|")
    for world in WORLDS.values():
        lines = []
        for seed in seeds:
            began = time.perf_counter()
            simulated = world.make(seed)
            seconds = time.perf_counter() - began
            truth, spells = simulated.truth, simulated.truth.spells
            noted = truth.seen == NOTED
            shares = noted.mean(axis=(1, 2))[(truth.seen >= 0).any(axis=(1, 2))]
            new = (spells.infected_since >= simulated.block.first) & (spells.infected_since <= truth.seasons[-1])
            passed = spells.passed[new].mean() if new.any() else 0.0
            lines.append(
                (
                    truth.infected[-1].mean(),
                    noted.any(axis=0).mean(),
                    shares[0],
                    shares[-1],
                    passed,
                    truth.future.first_noted[0],
                    seconds,
                )
            )
        infected, ever, first, last, passed, after, seconds = np.mean(lines, axis=0)
        print(
            f"| {world.name} | {infected:.2f} | {ever:.2f} | {first:.3f}, {last:.3f} | {passed:.2f} | {after:.0f} | {seconds:.3f} |"
        )


if __name__ == "__main__":
    main()

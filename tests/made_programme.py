"""A made programme for tests: 60 growers, 150 small blocks, consent, gaps, odd names; nothing of it is real."""

import csv
from pathlib import Path

import numpy as np

from trunkwatch.programme.catalogue import Grower, add_grower, write_catalogue

#: Blocks of each grower in turn: 150 over 60 growers.
_BLOCKS = (1, 2, 3, 4)
CULTIVARS = tuple(f"Cultivar {letter}" for letter in "ABCDEFGHIJKL")
ROWS, VINES = 4, 12
ENDED, OPEN = "2020-12-31", "2999-12-31"


def blocks_of(number):
    """Labels of the blocks of a grower; odd names, labels that others have, and one more than the record holds."""
    if number == 0:
        return ["A 1", "A-1"]
    if number == 1:
        return ["A 1", "Bare"]  # nothing is written of Bare
    many = _BLOCKS[number % 4] - (number == 3)
    return [f"Block {one}" for one in range(1, many + 1)]


def make_vineyard(folder: Path, number: int, *, labels=None, rows=ROWS, vines=VINES, seasons=None, cases=None):
    """Write one grower's folder of notes."""
    folder.mkdir(parents=True)
    chance = np.random.default_rng([20260117, number])
    labels = blocks_of(number) if labels is None else labels
    seasons = range(2026 - number % 7, 2027) if seasons is None else seasons
    tables = {name: [] for name in ("blocks", "rows", "surveys", "symptoms")}
    for at, label in enumerate(labels):
        tables["blocks"].append(
            {
                "block": label,
                "planted": 1995 + (number + at) % 20,
                "cultivar": CULTIVARS[(number + at) % 12],
                "training": "bilateral",
                "row_spacing_m": 2.5,
                "vine_spacing_m": 1.5,
                "hemisphere": "north",
            }
        )
        tables["rows"] += [{"block": label, "row": row, "last": vines} for row in range(1, rows + 1)]
        for season in seasons if label != "Bare" else ():
            last = rows - (number % 5 == 0)  # every fifth grower leaves a row out
            tables["surveys"].append(
                {"survey": "s", "block": label, "date": f"{season}-08-01", "look": "summer", "covered": f"1..{last}"}
            )
            showing = (
                chance.random((last, vines)) < 0.02 * (1 + at)
                if cases is None
                else np.arange(last * vines).reshape(last, vines) < cases
            )
            for row, place in zip(*np.nonzero(showing), strict=True):
                tables["symptoms"].append(
                    {
                        "block": label,
                        "row": row + 1,
                        "position": place + 1,
                        "date": f"{season}-08-01",
                        "symptom": "leaf_stripe",
                    }
                )
    for name, lines in tables.items():
        if lines:
            with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
                writer = csv.DictWriter(file, list(lines[0]))
                writer.writeheader()
                writer.writerows(lines)
    return folder


def make_programme(folder: Path, growers: int = 60):
    """Write the programme; of every six growers one has no consent, of one it has ended, one has no end date."""
    for number in range(growers):
        make_vineyard(folder / f"v{number:02}", number)
    listed = []
    for number in range(growers):
        purposes = () if number % 6 == 3 else ("report", "handout", "compare")
        until = ENDED if number % 6 == 4 else "" if number % 6 == 5 else OPEN
        listed.append(
            Grower(f"G {number}", f"v{number:02}", purposes, until, call="Ida, 555 0100" if number % 2 else "")
        )
    # Two growers of like labels, as two files would be named alike.
    listed[0] = Grower("Fern 1", "v00", ("report", "handout", "compare"), OPEN, "Ida, 555 0100", "you and Ida")
    listed[1] = Grower("Fern-1", "v01", ("report", "handout", "compare"), OPEN)
    write_catalogue(folder, listed)
    return folder


__all__ = ["ENDED", "OPEN", "Grower", "add_grower", "blocks_of", "make_programme", "make_vineyard"]

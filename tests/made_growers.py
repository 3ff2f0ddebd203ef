"""Folders of invented growers for tests: small blocks, summer surveys, leaf symptoms at a given share."""

import csv

import numpy as np

CULTIVARS = ("Brannet", "Corvise", "Sallow")
ROWS, VINES = 6, 25


def write_grower(folder, name, blocks, *, seasons=(2022, 2023, 2024), observer="A. Reed", seed=1):
    """Write a folder of notes.

    Parameters
    ----------
    folder : Path
        To be made.
    name : str
        Of the vineyard; may be empty.
    blocks : dict of str to (cultivar, year of planting, share)
        Share that shows in every season; a share of None leaves the block without a survey.
    """
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True)
    tables = {"blocks": [], "rows": [], "surveys": [], "symptoms": []}
    for label, (cultivar, planted, share) in blocks.items():
        tables["blocks"].append(
            {
                "block": label,
                "vineyard": name,
                "cultivar": cultivar,
                "rootstock": "R12",
                "planted": planted,
                "training": "bilateral",
                "row_spacing_m": 2.5,
                "vine_spacing_m": 1.5,
                "hemisphere": "north",
            }
        )
        tables["rows"] += [
            {"block": label, "row": row, "row_order": row, "first": 1, "last": VINES} for row in range(1, ROWS + 1)
        ]
        for season in seasons if share is not None else ():
            day = f"{season}-08-15"
            tables["surveys"].append(
                {
                    "survey": f"summer {season}",
                    "block": label,
                    "date": day,
                    "look": "summer",
                    "covered": f"1..{ROWS}",
                    "purpose": "all",
                    "observer": observer,
                }
            )
            shows = rng.random((ROWS, VINES)) < share
            tables["symptoms"] += [
                {
                    "block": label,
                    "row": int(row) + 1,
                    "position": int(position) + 1,
                    "date": day,
                    "symptom": "leaf_stripe",
                    "percent": 50,
                    "observer": observer,
                }
                for row, position in zip(*np.nonzero(shows), strict=True)
            ]
    for table, lines in tables.items():
        if lines:
            with (folder / f"{table}.csv").open("w", newline="") as file:
                writer = csv.DictWriter(file, lines[0])
                writer.writeheader()
                writer.writerows(lines)
    return folder


def write_growers(root, *, growers=6, blocks=2, sick=None, observer=None):
    """Write several growers with ordinary blocks, all called alike; `sick` is one (grower, block) that is far from its like."""
    rng = np.random.default_rng(5)
    paths = []
    for grower in range(growers):
        made = {
            f"Field {block}": (
                CULTIVARS[(grower + block) % 3],
                2000 + grower,
                0.6 if (grower, block) == sick else float(rng.uniform(0.03, 0.07)),
            )
            for block in range(blocks)
        }
        who = observer or f"Scout {grower}"
        paths.append(write_grower(root / f"farm{grower}", f"Farm {grower}", made, observer=who, seed=grower + 1))
    return paths

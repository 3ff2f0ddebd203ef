"""How long one more finding takes in a file with the map layers of many blocks: with the indexes of the layers and without.

Run: python tests/bench/layers.py [blocks] [vines in a block]
"""

import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path
from sqlite3 import connect

from trunkwatch.intake import add_records
from trunkwatch.intake.layers import refresh_layers
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of

ROWS, SEASONS = 50, range(2017, 2026)
INDEXES = ("map_condition_vine", "map_vines_block", "map_rows_block", "map_blocks_block")


def write_file(path: Path, blocks: int, vines: int) -> None:
    """Write a file with the layers of so many blocks."""
    Store.create(path)
    place = {
        "row_spacing_m": 2.5,
        "vine_spacing_m": 1.2,
        "row_bearing_deg": 20.0,
        "rows_go": "right",
        "longitude": -30.0,
    }
    labels = [f"B{number}" for number in range(blocks)]
    with Store.writing(path) as store:
        store.append(
            {
                "blocks": frame_of(
                    "blocks",
                    [{"block": one, "latitude": 44 + number / 100, **place} for number, one in enumerate(labels)],
                ),
                "rows": frame_of(
                    "rows",
                    [
                        {"block": one, "row": str(row + 1), "first": 1, "last": vines // ROWS}
                        for one in labels
                        for row in range(ROWS)
                    ],
                ),
                "surveys": frame_of(
                    "surveys",
                    [
                        {"block": one, "date": f"{year}-08-01", "look": "summer", "covered": f"1..{ROWS}"}
                        for one in labels
                        for year in SEASONS
                    ],
                ),
            }
        )
        refresh_layers(store, store.names().blocks)


def seconds(path: Path, row: int) -> float:
    """Add one finding and return how long it took."""
    record = {"block": "B0", "row": str(row), "position": "3", "date": "2025-08-01", "symptom": "leaf_stripe"}
    began = time.perf_counter()
    add_records(path, "symptoms", [record])
    return time.perf_counter() - began


def main() -> None:
    """Print both times."""
    blocks, vines = (int(text) for text in (sys.argv[1:3] or ("16", "5000")))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "v.gpkg"
        write_file(path, blocks, vines)
        print(f"{blocks} blocks of {vines} vines, {path.stat().st_size / 1e6:.0f} MB")
        print(f"with indexes: {seconds(path, 1):.1f} s, again {seconds(path, 2):.1f} s")
        with closing(connect(path)) as db:
            for index in INDEXES:
                db.execute(f'DROP INDEX "{index}"')
        print(f"without: {seconds(path, 3):.1f} s")


if __name__ == "__main__":
    main()

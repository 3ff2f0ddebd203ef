"""Makes the example file of the version of the package that is imported: run it before a step is added to the schema.

Run: python tests/store/files/make.py FOLDER  -- writes version_N.gpkg.gz there, made by this version's own roads.

`WRITTEN` is what every version is given, as far as it has the tables and columns: the tests compare what stands after the upgrade with it.
"""

import csv
import gzip
import sys
import tempfile
from pathlib import Path

from trunkwatch.vineyard.tables import TABLES

NOW = "2026-11-20T08:00:00+00:00"
_VINE = {"block": "North", "observer": "Ana"}
#: What is loaded, by table; values as a person types them.
WRITTEN: dict[str, list[dict[str, str]]] = {
    "blocks": [{"block": "North", "vineyard": "Larch Hollow", "cultivar": "Brannet", "planted": "2008", "training": "bilateral", "row_spacing_m": "2.5", "vine_spacing_m": "1.5",
                "longitude": "-30", "latitude": "44", "row_bearing_deg": "20", "hemisphere": "north"}],
    "rows": [{"block": "North", "row": str(row), "first": "1", "last": "8"} for row in (1, 2, 3)],
    "plants": [{"block": "North", "row": "2", "position": "4", "reason": "missing"}, {"block": "North", "row": "3", "position": "5", "planted": "2019-04-02"}],
    "surveys": [{"survey": f"summer {year}", "block": "North", "date": f"{year}-08-10", "look": "summer", "covered": "1..3", "observer": "Ana"} for year in (2024, 2025)],
    "symptoms": [
        {**_VINE, "row": "1", "position": "2", "date": "2024-08-10", "symptom": "leaf_stripe", "note": "one shoot"},
        {**_VINE, "row": "1", "position": "3", "date": "2025-08-10", "symptom": "dead_arm", "arm": "end", "percent": "40", "renewal_shoot": "trunk", "shoot_quality": "good"},
        {**_VINE, "row": "2", "position": "7", "date": "2025-08-10", "symptom": "leaf_stripe"},
        {**_VINE, "row": "3", "position": "1", "date": "2025-08-10", "symptom": "wood_staining", "cut_height_cm": "60", "stain_cm": "12"},
    ],
    "work": [{"block": "North", "row": "1", "position": "3", "date": "2026-02-03", "kind": "renew_arm", "status": "done", "arm": "end", "cut_height_cm": "70", "hours": "0.3", "wound_protected": "yes"},
             {"block": "North", "row": "3", "position": "1", "date": "2026-02-03", "kind": "renew_trunk", "status": "planned", "cut_height_cm": ""}],
    "weather": [{"date": f"2026-01-{day:02d}", "t_min_c": f"{-day}", "t_max_c": "1.5", "snow_cm": "4"} for day in (5, 6, 7)],
    "costs": [{"name": "price_per_t", "value": "1900", "unit": "marks/t", "source": "invented"}],
    "bud_counts": [{"block": "North", "date": "2026-02-01", "cultivar": "Brannet", "canes_from": "arm", "canes": "10", "buds": "60", "primary_dead": "12"}],
    "budbreak": [{"block": "North", "date": "2026-04-20", "cultivar": "Brannet"}],
    "pruning": [{"block": "North", "date": "2026-02-20", "covered": "1..2", "cut": "final", "hours": "3"}],
    "settings": [{"name": "units", "value": "us"}],
}  # fmt: skip
#: Of the findings, by row and position: what is corrected afterwards, and the one that is taken back.
CORRECTED, TAKEN_BACK = ("1", "3", {"percent": "60"}), ("2", "7")


def written(folder: Path, columns: dict[str, tuple[str, ...]]) -> None:
    """Write the tables and columns that a version has, a file a table."""
    folder.mkdir()
    for table, rows in WRITTEN.items():
        if table not in columns:
            continue
        names = [name for name in columns[table] if any(name in row for row in rows)]
        with (folder / f"{table}.csv").open("w", newline="", encoding="utf-8") as file:
            out = csv.DictWriter(file, names, extrasaction="ignore")
            out.writeheader()
            out.writerows(rows)


def made(room: Path) -> Path:
    """Make the file by loading, logging, correcting and taking back."""
    from click.testing import CliRunner

    from trunkwatch.cli import main
    from trunkwatch.intake import correct_record
    from trunkwatch.store import Store

    path = room / "v.gpkg"
    written(room / "notes", {name: tuple(table.names) for name, table in TABLES.items()})
    done = CliRunner().invoke(main, ["load", str(path), str(room / "notes")])
    if done.exit_code:
        raise SystemExit(done.output)

    def id_at(row: str, position: str) -> str:
        with Store.open(path) as store:
            found = store.frame("symptoms")
        return str(found[(found["row"] == row) & (found["position"].astype(str) == position)]["id"].iloc[0])

    row, position, values = CORRECTED
    correct_record(path, "symptoms", id_at(row, position), values, now=NOW)
    correct_record(path, "symptoms", id_at(*TAKEN_BACK), {}, void=True, now=NOW)
    return path


def main_() -> None:
    """Write the packed file."""
    from trunkwatch.store.schema import VERSION

    with tempfile.TemporaryDirectory() as room:
        raw = made(Path(room)).read_bytes()
    out = Path(sys.argv[1]) / f"version_{VERSION}.gpkg.gz"
    out.write_bytes(gzip.compress(raw, mtime=0))
    print(out, len(raw), out.stat().st_size)


if __name__ == "__main__":
    main_()

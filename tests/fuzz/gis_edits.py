"""What people do to a vineyard file in map programs and database browsers. Run: python tests/fuzz/gis_edits.py [n]

Each edit is made on a copy of one file; `trunkwatch check` names it, or it reads as before; no command stumbles.
"""

import contextlib
import sqlite3
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from edited import BLOCK, Judge, Told, make_file

from trunkwatch.store.geopackage import LAYERS
from trunkwatch.vineyard.tables import TABLES

Edit = Callable[[Path], None]
PAGES = ("/", f"/block/{BLOCK}", f"/field/{BLOCK}")


def _sql(*questions: str) -> Edit:
    def edit(path: Path) -> None:
        with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
            for question in questions:
                db.execute(question)

    return edit


def _loose(table: str, *questions: str, kinds: dict[str, str] | None = None) -> Edit:
    """A table made anew, as database browsers do to change a column: it takes cells of any kind."""
    columns = ", ".join(
        f'"{column.name}" {(kinds or {}).get(column.name, "REAL" if column.is_number else "TEXT")}'
        for column in TABLES[table].columns
    )
    listed = ", ".join(f'"{name}"' for name in TABLES[table].names)
    return _sql(
        f"CREATE TABLE new (number INTEGER PRIMARY KEY, {columns}, seal INTEGER)",
        f'INSERT INTO new (number, {listed}, seal) SELECT number, {listed}, seal FROM "{table}"',
        f'DROP TABLE "{table}"',
        f'ALTER TABLE new RENAME TO "{table}"',
        *questions,
    )


def _cells() -> dict[str, Edit]:
    """Cells that cannot be, or that say something else now."""
    values = {
        "symptoms": {
            "symptom": ["leaf stripe", "Leaf_stripe", "unheard_of", ""],
            "percent": [450, -1, 1e300, 12.5],
            "date": ["2026-13-01", "12.3.2026", "", "1066-01-01", "18 Aug 2026"],
            "row": ["99", " 2", "2026-08-01"],
            "position": ["0", "999", "7.0", "x"],
            "trunk": [0, 1.5, 99],
            "arm": ["left"],
            "dead": [-2, 0.5],
            "total": [0],
            "block": ["Nowhere", "mill", ""],
            "vineyard": ["Elsewhere"],
            "void": ["yes", "maybe"],
            "observer": ["Somebody else", "", "a\x01b"],
            "note": ["changed"],
            "recorded_at": ["yesterday"],
            "id": ["new-id"],
            "corrects": ["nobody"],
        },
        "work": {"kind": ["prune", "Remove"], "status": ["perhaps"], "hours": [-1], "cost": [1e15], "date": ["soon"]},
        "surveys": {
            "covered": ["", "everything", "1-12"],
            "look": ["autumn"],
            "date": ["2026-02-30"],
            "counted_from": ["middle"],
            "minutes": [-5],
            "purpose": ["nonsense"],
        },
        "rows": {
            "last": [0, 2.5, -3],
            "first": [-1, 9999],
            "breaks": ["30"],
            "spacing_m": [0, 99],
            "valid_from": ["then"],
            "numbered_from": ["top"],
        },
        "plants": {
            "planted": ["long ago", "2030"],
            "removed": ["2020-00-00"],
            "reason": ["frost"],
            "position": ["", "x"],
        },
        "blocks": {
            "training": ["bush"],
            "planted": [1066, 2010.5],
            "latitude": [91, 45.0],
            "row_spacing_m": [0, 100],
            "block": ["Renamed", ""],
            "rows_go": ["up"],
            "hemisphere": ["west"],
        },
        "weather": {"date": ["2026-1-1"], "t_min_c": [-273], "rain_mm": [-1]},
        "costs": {"value": [1e13], "name": [""]},
    }
    out = {}
    for table, columns in values.items():
        for column, cells in columns.items():
            for cell in cells:
                told = repr(cell) if not isinstance(cell, str) else "'" + cell.replace("'", "''") + "'"
                out[f"{table}.{column} = {cell!r}"] = _sql(
                    f'UPDATE "{table}" SET "{column}" = {told} WHERE number = (SELECT max(number) FROM "{table}")'
                )
    return out


def _kinds() -> dict[str, Edit]:
    """Cells of a kind that no table of ours takes, in tables made anew."""
    return {
        "symptoms made anew, nothing changed": _loose("symptoms"),
        "no running numbers": _sql(
            "CREATE TABLE new AS SELECT * FROM symptoms",
            "DROP TABLE symptoms",
            "ALTER TABLE new RENAME TO symptoms",
            "UPDATE symptoms SET number = NULL WHERE number = 5",
        ),
        "running numbers twice": _sql(
            "CREATE TABLE new AS SELECT * FROM symptoms",
            "DROP TABLE symptoms",
            "ALTER TABLE new RENAME TO symptoms",
            "UPDATE symptoms SET number = 4 WHERE number = 5",
        ),
        "text in percent": _loose("symptoms", "UPDATE symptoms SET percent = 'half' WHERE number = 5"),
        "a blob in percent": _loose("symptoms", "UPDATE symptoms SET percent = x'00ff' WHERE number = 5"),
        "percent is text": _loose("symptoms", kinds={"percent": "TEXT"}),
        "row is a number": _loose("symptoms", kinds={"row": "INTEGER"}),
        "date is a date": _loose("symptoms", kinds={"date": "DATE"}),
        "NULL in observer": _loose("symptoms", "UPDATE symptoms SET observer = NULL WHERE number = 5"),
        "NULL in id": _loose("symptoms", "UPDATE symptoms SET id = NULL WHERE number = 5"),
        "NULL in corrects": _loose("work", "UPDATE work SET corrects = NULL"),
        "NULL in block": _loose("symptoms", "UPDATE symptoms SET block = NULL WHERE number = 5"),
        "a blob in note": _loose("symptoms", "UPDATE symptoms SET note = x'c3' WHERE number = 5"),
        "a blob in row": _loose("rows", "UPDATE rows SET row = x'ff' WHERE number = 5"),
        "no UTF-8 in note": _sql("UPDATE symptoms SET note = CAST(x'c3ff' AS TEXT) WHERE number = 5"),
        "no UTF-8 in observer of a survey": _sql("UPDATE surveys SET observer = CAST(x'ff' AS TEXT) WHERE number = 1"),
        "a number in block": _loose("blocks", "UPDATE blocks SET block = 7 WHERE number = 1", kinds={"block": "ANY"}),
        "ids twice in a table without index": _loose(
            "symptoms", "UPDATE symptoms SET id = (SELECT id FROM symptoms WHERE number = 5) WHERE number IN (6, 7)"
        ),
        "a copied record": _loose(
            "symptoms",
            "INSERT INTO symptoms SELECT 90000, "
            + ", ".join(TABLES["symptoms"].names)
            + ", seal FROM symptoms WHERE number = 9",
        ),
    }


def _forms() -> dict[str, Edit]:
    """Tables, columns and indexes that are gone or others."""
    out: dict[str, Edit] = {}
    for table in TABLES:
        out[f"no table {table}"] = _sql(f'DROP TABLE "{table}"')
        out[f"{table} has another name"] = _sql(f'ALTER TABLE "{table}" RENAME TO "{table}_old"')
        out[f"{table} is a view"] = _sql(
            f'ALTER TABLE "{table}" RENAME TO "{table}_old"', f'CREATE VIEW "{table}" AS SELECT * FROM "{table}_old"'
        )
        out[f"{table} has one more column"] = _sql(f'ALTER TABLE "{table}" ADD COLUMN colour TEXT')
        out[f"{table} has no seals"] = _sql(f'ALTER TABLE "{table}" DROP COLUMN seal')
        out[f"{table} without index of ids"] = _sql(f'DROP INDEX "{table}_id"')
        out[f"{table} emptied"] = _sql(f'DELETE FROM "{table}"')
    for table, column in (
        ("symptoms", "percent"),
        ("symptoms", "observer"),
        ("work", "kind"),
        ("surveys", "covered"),
        ("rows", "last"),
        ("blocks", "planted"),
        ("plants", "removed"),
        ("costs", "value"),
    ):
        out[f"{table}.{column} renamed"] = _sql(f'ALTER TABLE "{table}" RENAME COLUMN "{column}" TO "{column}_2"')
        out[f"{table}.{column} dropped"] = _sql(f'ALTER TABLE "{table}" DROP COLUMN "{column}"')
    for name in ("trunkwatch_log", "trunkwatch_touched", "trunkwatch_sealed", "trunkwatch_step"):
        out[f"no {name}"] = _sql(f"DROP TABLE {name}")
        out[f"{name} emptied"] = _sql(f"DELETE FROM {name}")
    out |= {
        "number has another name": _sql("ALTER TABLE symptoms RENAME COLUMN number TO fid"),
        "another index under a known name": _sql(
            "DROP INDEX symptoms_block", "CREATE INDEX symptoms_block ON symptoms (note)"
        ),
        "a trigger": _sql("CREATE TRIGGER t AFTER INSERT ON symptoms BEGIN UPDATE symptoms SET percent = 1; END"),
        "extra tables": _sql("CREATE TABLE my_notes (x)", "INSERT INTO my_notes VALUES (1)"),
        "VACUUM": _sql("VACUUM"),
        "ANALYZE": _sql("ANALYZE"),
        "REINDEX": _sql("REINDEX"),
        "another application id": _sql("PRAGMA application_id = 7"),
        "another user version": _sql("PRAGMA user_version = 7"),
        "kept in WAL": _sql("PRAGMA journal_mode = WAL", "CREATE TABLE x (y)"),
        "log of another kind": _sql(
            "DROP TABLE trunkwatch_log",
            "CREATE TABLE trunkwatch_log (number INTEGER PRIMARY KEY, epoch, counter, held)",
            "INSERT INTO trunkwatch_log VALUES (1, 'a', 'b', 'c')",
        ),
        "log cut short": _sql("UPDATE trunkwatch_log SET held = zeroblob(100)"),
    }
    return out


def _records() -> dict[str, Edit]:
    """Records that another program put in or took out, and corrections that lead nowhere."""
    names = ", ".join(f'"{name}"' for name in TABLES["symptoms"].names if name not in ("id", "position"))
    ids = "(SELECT id FROM symptoms WHERE number = {})"
    return {
        "a record without id": _sql(
            f"INSERT INTO symptoms ({names}, position) SELECT {names}, '3' FROM symptoms WHERE number = 9"
        ),
        "a record with an id of its own": _sql(
            f"INSERT INTO symptoms ({names}, position, id) SELECT {names}, '3', 'mine' FROM symptoms WHERE number = 9"
        ),
        "a record without anything": _sql("INSERT INTO symptoms DEFAULT VALUES"),
        "a survey without anything": _sql("INSERT INTO surveys DEFAULT VALUES"),
        "a block without anything": _sql("INSERT INTO blocks DEFAULT VALUES"),
        "a row without anything": _sql("INSERT INTO rows DEFAULT VALUES"),
        "a negative number": _sql("UPDATE symptoms SET number = -5 WHERE number = 9"),
        "a giant number": _sql("UPDATE symptoms SET number = 9000000000000000000 WHERE number = 9"),
        "the first deleted": _sql("DELETE FROM symptoms WHERE number = 1"),
        "the last deleted": _sql("DELETE FROM symptoms WHERE number = (SELECT max(number) FROM symptoms)"),
        "many deleted": _sql("DELETE FROM symptoms WHERE number % 4 = 0"),
        "a survey deleted": _sql("DELETE FROM surveys WHERE number = 3"),
        "a block deleted": _sql("DELETE FROM blocks WHERE number = 1"),
        "corrects itself": _sql("UPDATE symptoms SET corrects = id WHERE number = 9"),
        "corrections in a circle": _sql(
            f"UPDATE symptoms SET corrects = {ids.format(10)} WHERE number = 9",
            f"UPDATE symptoms SET corrects = {ids.format(9)} WHERE number = 10",
        ),
        "corrects one that is not there": _sql("UPDATE work SET corrects = 'nowhere' WHERE number = 3"),
        "all percents": _sql("UPDATE symptoms SET percent = 450"),
        "all percents to nothing": _sql("UPDATE symptoms SET percent = NULL"),
        "seals emptied": _sql("UPDATE symptoms SET seal = NULL"),
        "seals of nonsense": _sql("UPDATE symptoms SET seal = 1"),
    }


def _layer(*questions: str) -> Edit:
    return _sql(*questions)


def _layers() -> dict[str, Edit]:
    """Layers that do not show any more what is on record."""
    out: dict[str, Edit] = {}
    for layer in LAYERS:
        out[f"{layer}: no features"] = _sql(f"DELETE FROM {layer}")
        out[f"{layer}: one gone"] = _sql(f"DELETE FROM {layer} WHERE fid = (SELECT max(fid) FROM {layer})")
        out[f"{layer}: a broken geometry"] = _sql(
            f"UPDATE {layer} SET geom = x'4750' WHERE fid = (SELECT max(fid) FROM {layer})"
        )
        out[f"{layer}: another reference system"] = _sql(
            f"UPDATE {layer} SET geom = x'4750000111270000' || substr(geom, 9) WHERE fid = (SELECT max(fid) FROM {layer})"
        )
        out[f"{layer}: NULL for a geometry"] = _sql(
            f"UPDATE {layer} SET geom = NULL WHERE fid = (SELECT max(fid) FROM {layer})"
        )
        out[f"{layer}: another block"] = _sql(
            f"UPDATE {layer} SET block = 'Else' WHERE fid = (SELECT max(fid) FROM {layer})"
        )
        out[f"{layer}: dropped"] = _sql("PRAGMA foreign_keys = OFF", f"DROP TABLE {layer}")
        out[f"{layer}: a column renamed"] = _sql(f"ALTER TABLE {layer} RENAME COLUMN geom TO shape")
        out[f"{layer}: not registered"] = _sql(f"DELETE FROM gpkg_geometry_columns WHERE table_name = '{layer}'")
        out[f"{layer}: registered as something else"] = _sql(
            f"UPDATE gpkg_geometry_columns SET srs_id = 0 WHERE table_name = '{layer}'"
        )
    return out | {
        "conditions changed": _sql("UPDATE map_condition SET condition = 'healthy'"),
        "conditions deleted": _sql("DELETE FROM map_condition"),
        "conditions dropped": _sql("DROP TABLE map_condition"),
        "the view dropped": _sql("DROP VIEW map_condition_by_season"),
        "no reference systems": _sql("DELETE FROM gpkg_spatial_ref_sys"),
        "no contents": _sql("DROP TABLE gpkg_contents"),
        "a spatial index": _sql(
            "CREATE VIRTUAL TABLE rtree_map_vines_geom USING rtree(id, minx, maxx, miny, maxy)",
            "CREATE TRIGGER rtree_map_vines_geom_insert AFTER INSERT ON map_vines BEGIN INSERT INTO rtree_map_vines_geom VALUES (NEW.fid, ST_MinX(NEW.geom), 0, 0, 0); END",
        ),
        "a style of the map program": _sql(
            "CREATE TABLE layer_styles (id INTEGER PRIMARY KEY, qml TEXT)",
            "INSERT INTO gpkg_contents (table_name, data_type) VALUES ('layer_styles', 'attributes')",
        ),
    }


def _by_geopandas() -> dict[str, Edit]:
    """The same by the library that map programs write with; nothing where it is not installed."""
    try:
        import geopandas
        import pyogrio
    except ImportError:
        return {}

    def saved(layer: str, change: Callable[..., object]) -> Edit:
        def edit(path: Path) -> None:
            frame = geopandas.read_file(path, layer=layer)
            _sql(f'DELETE FROM "{layer}"')(path)
            pyogrio.write_dataframe(change(frame), path, layer=layer, driver="GPKG", append=True)

        return edit

    def added(path: Path) -> None:
        frame = geopandas.read_file(path, layer="map_vines")
        pyogrio.write_dataframe(frame.head(3), path, layer="my_vines", driver="GPKG")

    def table(path: Path) -> None:
        frame = pyogrio.read_dataframe(path, layer="costs", read_geometry=False)
        pyogrio.write_dataframe(
            frame.head(2).assign(id=["one", "two"], seal=None), path, layer="costs", driver="GPKG", append=True
        )

    return {
        "geopandas: vines saved as they are": saved("map_vines", lambda frame: frame),
        "geopandas: vines moved": saved("map_vines", lambda frame: frame.set_geometry(frame.translate(0.001))),
        "geopandas: vines in meters": saved("map_vines", lambda frame: frame.to_crs(3857)),
        "geopandas: blocks filled": saved("map_blocks", lambda frame: frame.set_geometry(frame.envelope)),
        "geopandas: half the rows": saved("map_rows", lambda frame: frame.head(len(frame) // 2)),
        "geopandas: a layer of one's own": added,
        "geopandas: a record table saved": table,
    }


#: Edits that change nothing a reader sees: all others must be named.
HARMLESS = {"symptoms made anew, nothing changed", "extra tables", "VACUUM", "ANALYZE", "REINDEX", "kept in WAL", "a spatial index", "a style of the map program", "geopandas: a layer of one's own",
            "trunkwatch_touched emptied", "NULL in corrects", "geopandas: vines saved as they are"}  # fmt: skip


def edits() -> dict[str, Edit]:
    """Return every edit by its name."""
    return _cells() | _kinds() | _forms() | _records() | _layers() | _by_geopandas()


def run(judge: Judge, folder: Path, names: list[str], *, pages_of: int = 4) -> list[Told]:
    """Make some edits, each on a copy of its own, and judge them; of some the pages of the desk too."""
    out, whole = [], judge.whole.read_bytes()
    made = edits()
    for number, name in enumerate(names):
        path = folder / f"hurt_{number}.gpkg"
        for ending in ("-wal", "-shm", "-journal"):
            path.with_name(path.name + ending).unlink(missing_ok=True)
        path.write_bytes(whole)
        made[name](path)
        told = judge.judge(name, path, pages=PAGES if number % pages_of == 0 else ())
        if not told.named and name not in HARMLESS:
            told.wrong.append("check says nothing of it")
        judge.accept(told, path)
        out.append(told)
    return out


def main() -> None:
    """Print what became of them."""
    names = list(edits())[: int(sys.argv[1]) if len(sys.argv) > 1 else None]
    with tempfile.TemporaryDirectory() as folder:
        judge = Judge(make_file(Path(folder)))
        told = run(judge, Path(folder), names)
    for one in told:
        for wrong in one.wrong:
            print(f"{one.name}: {wrong}")
    kinds = Counter("wrong" if one.wrong else "named" if one.named else "harmless" for one in told)
    print(
        f"{len(told)} edits: {dict(kinds)}; {sum(one.same for one in told)} read as before, {sum(one.accepted for one in told)} accepted; the slowest command {max(one.seconds for one in told):.1f} s"
    )


if __name__ == "__main__":
    main()

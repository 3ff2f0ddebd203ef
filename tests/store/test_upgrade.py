"""trunkwatch.store: upgrade, schema, statements; an earlier file brought to blocks that are known by vineyard and label."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from trunkwatch.errors import OldSchemaError
from trunkwatch.intake import add_records, check_vineyard, correct_record
from trunkwatch.intake.bring import bring_files
from trunkwatch.spreadsheets.own_vineyard import frames_to_write
from trunkwatch.spreadsheets.write import write_folder
from trunkwatch.store import Store, upgrade_file
from trunkwatch.store.schema import VERSION, create_tables, schema_version
from trunkwatch.vineyard.records import earlier_id, record_id, standing
from trunkwatch.vineyard.tables import TABLES, frame_of, records_of

#: A file of version 2: two blocks of one vineyard; corrections, one of a correction; records taken back.
OLD = Path(__file__).with_name("files") / "version_2.gpkg"
#: Tables that came later.
NEW = ("bud_counts", "budbreak", "pruning", "photos", "settings")
THERE = [table for table in TABLES if table not in NEW]


@pytest.fixture
def upgraded(tmp_path) -> Path:
    path = tmp_path / "v.gpkg"
    shutil.copyfile(OLD, path)
    kept, done = upgrade_file(path)
    assert kept is not None
    assert [step[:2] for step in done] == ["3:", "4:", "5:", "6:", "7:", "8:", "9:"]
    return path


def old_frame(table):
    with closing(sqlite3.connect(f"file:{OLD}?mode=ro", uri=True)) as db:
        there = [row[1] for row in db.execute(f'PRAGMA table_info("{table}")') if row[1] != "number"]
        rows = db.execute(f'SELECT {", ".join(there)} FROM "{table}" ORDER BY number').fetchall()
    return frame_of(table, [dict(zip(there, row, strict=True)) for row in rows])


@pytest.mark.parametrize("table", THERE)
def test_no_record_is_lost_and_the_same_ones_stand(upgraded, table):
    with Store.open(upgraded) as store:
        after, stands = store.stored(table), store.frame(table)
    before = old_frame(table)
    says = [name for name in TABLES[table].names if name not in ("id", "corrects", "vineyard")]
    assert len(before) > 0
    assert after[says].equals(before[says])
    assert stands[says].equals(standing(before)[says].reset_index(drop=True))


def test_rows_have_the_end_that_they_are_numbered_from(upgraded):
    with closing(sqlite3.connect(f"file:{OLD}?mode=ro", uri=True)) as db:
        assert "numbered_from" not in [row[1] for row in db.execute("PRAGMA table_info(rows)")]
    with closing(sqlite3.connect(f"file:{upgraded}?mode=ro", uri=True)) as db:
        (column,) = [row[2:5] for row in db.execute("PRAGMA table_info(rows)") if row[1] == "numbered_from"]
    assert column == ("TEXT", 1, "''")
    with Store.open(upgraded) as store:
        rows = store.frame("rows")
    assert len(rows)
    assert set(rows["numbered_from"]) == {""}
    (first,) = records_of(rows[(rows["block"] == "South") & (rows["row"] == "2")])
    correct_record(upgraded, "rows", first["id"], {"numbered_from": "end"})
    with Store.open(upgraded) as store:
        assert sorted(store.frame("rows")["numbered_from"]) == [*[""] * (len(rows) - 1), "end"]


def test_every_record_has_its_vineyard_and_an_id_made_with_it(upgraded):
    with Store.open(upgraded) as store:
        frames = {table: store.stored(table) for table in THERE}
    for table, frame in frames.items():
        assert set(frame["vineyard"]) == {"Larch Hollow"}
        for record, before in zip(records_of(frame), records_of(old_frame(table)), strict=True):
            if before["id"] == "phone-1":
                assert record["id"] == "phone-1"
                continue
            assert before["id"] == earlier_id(table, before)
            assert record["id"] == record_id(table, {**record, "id": ""})
            assert record["id"] != before["id"]
        ids = set(frame["id"])
        assert {target for target in frame["corrects"] if target} <= ids
    corrected = frames["symptoms"][frames["symptoms"]["corrects"] != ""]
    assert len(corrected) == 4


def test_the_notes_of_before_and_an_old_export_add_nothing(upgraded, tmp_path):
    frames = {table: old_frame(table) for table in THERE}
    write_folder(tmp_path / "export", frames)
    bare = {}
    for table, frame in frames.items():
        made = [earlier_id(table, record) == record["id"] for record in records_of(frame)]
        bare[table] = frame.assign(id=["" if own else name for own, name in zip(made, frame["id"], strict=True)])
    write_folder(tmp_path / "notes", bare)
    for folder in ("export", "notes"):
        added, _ = bring_files(upgraded, tmp_path / folder)
        assert sum(added.new.values()) == 0, folder
        assert not added.changed
        assert sum(added.same.values()) == sum(len(frame) for frame in frames.values())


def test_two_copies_upgraded_apart_merge_to_one(upgraded, tmp_path):
    other = tmp_path / "other.gpkg"
    shutil.copyfile(OLD, other)
    upgrade_file(other)
    added, _ = bring_files(upgraded, other)
    assert not sum(added.new.values())
    assert not added.changed


def test_an_upgraded_file_has_what_a_new_one_has(upgraded, tmp_path):
    Store.create(tmp_path / "new.gpkg")
    told = []
    for path in (upgraded, tmp_path / "new.gpkg"):
        with closing(sqlite3.connect(path)) as db:
            assert schema_version(db) == VERSION
            columns = {table: {row[1] for row in db.execute(f'PRAGMA table_info("{table}")')} for table in TABLES}
            told.append(
                (columns, {name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'index'")})
            )
    assert told[0] == told[1]
    assert {"map_condition_vine", "map_vines_block", "map_rows_block", "map_blocks_block"} <= told[0][1]


def test_an_unnamed_vineyard_keeps_its_ids(tmp_path):
    path = tmp_path / "v.gpkg"
    shutil.copyfile(OLD, path)
    with closing(sqlite3.connect(path)) as db:
        db.execute("UPDATE blocks SET vineyard = ''")
        db.commit()
        before = {
            table: db.execute(f'SELECT id, corrects FROM "{table}" ORDER BY number').fetchall() for table in THERE
        }
    upgrade_file(path)
    with Store.open(path) as store:
        for table in THERE:
            frame = store.stored(table)
            assert list(zip(frame["id"], frame["corrects"], strict=True)) == before[table]


def test_two_old_blocks_of_one_label_keep_all_records_with_the_last(tmp_path):
    path = tmp_path / "v.gpkg"
    shutil.copyfile(OLD, path)
    with closing(sqlite3.connect(path)) as db:
        db.execute("INSERT INTO blocks (block, vineyard, id) VALUES ('North', 'Other', 'own-1')")
        db.commit()
    upgrade_file(path)
    with Store.open(path) as store:
        assert len(store.frame("symptoms", "Other/North")) == 3
        assert store.frame("symptoms", "Larch Hollow/North").empty


def test_an_index_serves_corrections_and_layers():
    with closing(sqlite3.connect(":memory:")) as db:
        create_tables(db)
        plan = str(db.execute("EXPLAIN QUERY PLAN SELECT * FROM symptoms WHERE corrects <> ''").fetchall())
    assert "symptoms_corrects" in plan


def test_an_export_of_one_vineyard_leaves_the_column_out(upgraded, tmp_path):
    with Store.open(upgraded) as store:
        frames = frames_to_write({table: store.frame(table, all_versions=True) for table in TABLES}, store.names())
        kept = {table: store.stored(table) for table in TABLES}
    for path in write_folder(tmp_path / "out", frames):
        heading = path.read_text("utf-8-sig").splitlines()[0].split(",")
        assert ("vineyard" in heading) == (path.stem == "blocks")
    bring_files(tmp_path / "again.gpkg", tmp_path / "out")
    with Store.open(tmp_path / "again.gpkg") as store:
        for table in TABLES:
            columns = [name for name in TABLES[table].names if name != "read_from"]
            assert store.stored(table)[columns].equals(kept[table][columns]), table


def without_quality(path):
    """Make a file of the present version into one of version 4: the same without the quality of a shoot."""
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("ALTER TABLE symptoms DROP COLUMN shoot_quality")
        db.execute("DELETE FROM trunkwatch_step WHERE number >= 5")


SHOOT = {
    "block": "A",
    "row": "1",
    "position": "3",
    "date": "2026-01-20",
    "symptom": "dead_arm",
    "renewal_shoot": "trunk",
}


def test_a_file_without_the_quality_of_a_shoot_is_upgraded_and_nothing_is_said_of_its_shoots(tmp_path):
    path = tmp_path / "v.gpkg"
    Store.create(path)
    with Store.writing(path) as store:
        store.append(
            {
                "blocks": frame_of("blocks", [{"block": "A", "vine_spacing_m": 2, "row_spacing_m": 3}]),
                "rows": frame_of("rows", [{"block": "A", "row": "1", "last": 10}]),
                "symptoms": frame_of("symptoms", [SHOOT]),
            }
        )
    with Store.appending(path) as store:
        store.append({"symptoms": frame_of("symptoms", [{**SHOOT, "position": "4"}])})
    with Store.open(path) as store:
        assert store.waiting == 1  # the second waits in the log
    without_quality(path)
    with pytest.raises(OldSchemaError, match=rf"of version 4, now it is {VERSION}: `trunkwatch upgrade"):
        Store.open(path)
    kept, done = upgrade_file(path)
    assert (kept.name, [step[:2] for step in done]) == ("v.version4.gpkg", ["5:", "6:", "7:", "8:", "9:"])
    with Store.open(path) as store:
        found = store.frame("symptoms")
    assert found[["position", "renewal_shoot", "shoot_quality"]].to_numpy().tolist() == [
        ["3", "trunk", ""],
        ["4", "trunk", ""],
    ]
    assert not [fault for fault in check_vineyard(path) if fault.weight == "fault"]
    first = records_of(found)[0]
    correct_record(path, "symptoms", first["id"], {"shoot_quality": "thin"})
    with Store.open(path) as store:
        assert sorted(store.frame("symptoms")["shoot_quality"]) == ["", "thin"]


def test_a_correction_that_says_nothing_of_quality_keeps_its_id_and_one_that_does_has_its_own():
    """The first id was made before there was the column."""
    correction = {**SHOOT, "corrects": "x"}
    ids = [record_id("symptoms", {**correction, "shoot_quality": quality}) for quality in ("", "thin", "good")]
    assert ids[0] == record_id("symptoms", correction) == "a14b687f-31b6-542d-98b1-4662e566463b"
    assert len(set(ids)) == 3


def test_weather_of_version_4_gets_a_column_of_snow(tmp_path):
    path = tmp_path / "v.gpkg"
    Store.create(path)
    add_records(path, "weather", [{"date": "2026-01-02", "t_min_c": -7.5, "rain_mm": 3}])
    with closing(sqlite3.connect(path)) as db:
        db.execute("ALTER TABLE weather DROP COLUMN snow_cm")
        db.execute("DELETE FROM trunkwatch_step WHERE number >= 5")
        db.commit()
    with pytest.raises(OldSchemaError, match="trunkwatch upgrade"):
        Store.open(path)
    _, done = upgrade_file(path)
    assert [step[0] for step in done] == ["5", "6", "7", "8", "9"]
    with Store.open(path) as store:
        weather = store.frame("weather")
    assert weather["t_min_c"].tolist() == [-7.5]
    assert weather["snow_cm"].isna().all()
    snow = tmp_path / "weather-2.csv"
    snow.write_text("date,snow_cm\n2026-01-03,12\n")
    bring_files(path, snow)
    with Store.open(path) as store:
        assert store.frame("weather")["snow_cm"].tolist()[-1] == 12
    assert [str(fault) for fault in check_vineyard(path) if fault.weight == "fault"] == []


def without_buds(path):
    """Make a file of the present version into one of version 5: the same without counts of buds and budbreak."""
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        for table in NEW:
            db.execute(f"DROP TABLE {table}")
            db.execute("DELETE FROM gpkg_contents WHERE table_name = ?", (table,))
            db.execute("DELETE FROM trunkwatch_sealed WHERE name = ?", (table,))
        db.execute("DELETE FROM trunkwatch_step WHERE number >= 6")


CUT = {
    "block": "A",
    "row": "1",
    "position": "3",
    "date": "2026-01-20",
    "kind": "renew_arm",
    "arm": "end",
    "status": "planned",
}


def test_a_file_of_version_6_gets_a_place_for_the_wound_and_for_why_work_was_not_done(tmp_path):
    path = tmp_path / "v.gpkg"
    Store.create(path)
    with Store.writing(path) as store:
        store.append(
            {
                "blocks": frame_of(
                    "blocks", [{"block": "A", "vine_spacing_m": 2, "row_spacing_m": 3, "hemisphere": "north"}]
                ),
                "rows": frame_of("rows", [{"block": "A", "row": "1", "last": 10}]),
                "work": frame_of("work", [CUT]),
            }
        )
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("ALTER TABLE work DROP COLUMN wound_protected")
        db.execute("ALTER TABLE work DROP COLUMN not_done")
        db.execute("DELETE FROM trunkwatch_step WHERE number >= 7")
    with pytest.raises(OldSchemaError, match=rf"of version 6, now it is {VERSION}: `trunkwatch upgrade"):
        Store.open(path)
    kept, done = upgrade_file(path)
    assert (kept.name, [step[:2] for step in done]) == ("v.version6.gpkg", ["7:", "8:", "9:"])
    assert [str(fault) for fault in check_vineyard(path) if fault.weight == "fault"] == []
    with Store.open(path) as store:
        (work,) = records_of(store.frame("work"))
    assert (work["wound_protected"], work["not_done"]) == ("", "")
    correct_record(path, "work", work["id"], {"status": "dropped", "not_done": "no_shoot"})
    with Store.open(path) as store:
        assert store.frame("work")[["status", "not_done"]].to_numpy().tolist() == [["dropped", "no_shoot"]]


def test_a_correction_of_work_without_the_newer_columns_keeps_its_id():
    correction = {**CUT, "corrects": "x"}
    ids = [record_id("work", {**correction, "not_done": why}) for why in ("", "no_shoot", "vine_gone")]
    assert ids[0] == record_id("work", correction)
    assert len(set(ids)) == 3


def test_a_file_of_version_5_gets_tables_for_buds_and_budbreak(tmp_path):
    path = tmp_path / "v.gpkg"
    Store.create(path)
    with Store.writing(path) as store:
        store.append(
            {
                "blocks": frame_of(
                    "blocks", [{"block": "A", "vine_spacing_m": 2, "row_spacing_m": 3, "hemisphere": "north"}]
                ),
                "rows": frame_of("rows", [{"block": "A", "row": "1", "last": 10}]),
                "symptoms": frame_of("symptoms", [SHOOT]),
            }
        )
    without_buds(path)
    with pytest.raises(OldSchemaError, match=rf"of version 5, now it is {VERSION}: `trunkwatch upgrade"):
        Store.open(path)
    kept, done = upgrade_file(path)
    assert (kept.name, [step[:2] for step in done]) == ("v.version5.gpkg", ["6:", "7:", "8:", "9:"])
    with closing(sqlite3.connect(path)) as db:
        registered = {name for (name,) in db.execute("SELECT table_name FROM gpkg_contents")}
    assert set(NEW) <= registered
    assert [str(fault) for fault in check_vineyard(path) if fault.weight == "fault" or "bud" in str(fault)] == []
    add_records(path, "bud_counts", [{"block": "A", "date": "2026-01-20", "buds": 100, "primary_dead": 20}])
    add_records(path, "budbreak", [{"block": "A", "date": "2026-04-28"}])
    with Store.open(path) as store:
        assert store.frame("bud_counts", "A")["primary_dead"].tolist() == [20]
        assert store.frame("budbreak", "A")["date"].tolist() == ["2026-04-28"]
        assert len(store.frame("symptoms")) == 1
    assert [str(fault) for fault in check_vineyard(path) if fault.weight == "fault" or "bud" in str(fault)] == []

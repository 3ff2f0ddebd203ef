"""trunkwatch.store: whole, geopackage, schema, rescue; trunkwatch.intake: layers, points: the one-file form."""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trunkwatch.block import load
from trunkwatch.block.vine_records import vine_records
from trunkwatch.demo import demo_tables
from trunkwatch.errors import FaultyNotesError, FileError, NewerSchemaError, NotAVineyardError, OldSchemaError
from trunkwatch.intake import add_records, merge_file, put_into_tables, start_file
from trunkwatch.intake.bring import bring_files
from trunkwatch.spreadsheets.folder import read_folder
from trunkwatch.spreadsheets.write import write_folder
from trunkwatch.store import Store, rescued_frames, upgrade_file
from trunkwatch.store.geopackage import APPLICATION_ID, LAYERS, VIEW, geometry_blob
from trunkwatch.store.schema import STEPS, VERSION, schema_version, take_steps
from trunkwatch.store.whole import connect_read
from trunkwatch.vineyard.records import with_ids
from trunkwatch.vineyard.tables import TABLES, frame_of

BLOCK = {"block": "B", "planted": 2010, "training": "bilateral", "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": 44.0,
         "longitude": -30.0, "row_bearing_deg": 30.0, "rows_go": "right"}  # fmt: skip
ONE = {
    "block": "B",
    "row": "1",
    "position": "2",
    "date": "2026-01-05",
    "symptom": "canker",
    "percent": 30.0,
    "observer": "A",
}


@pytest.fixture
def vines(tmp_path):
    start_file(tmp_path / "v.gpkg", BLOCK, 4, 12)
    add_records(
        tmp_path / "v.gpkg",
        "surveys",
        [{"survey": "winter", "block": "B", "date": "2026-01-05", "covered": "1..4", "look": "dormant"}],
    )
    return tmp_path / "v.gpkg"


@pytest.fixture(scope="module")
def demo_file(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    write_folder(folder / "notes", demo_tables())
    bring_files(folder / "demo.gpkg", folder / "notes")
    return folder / "demo.gpkg"


def positions(path):
    with Store.open(path) as store:
        return store.frame("symptoms")["position"].tolist()


@pytest.mark.long
def test_folder_to_file_to_folder_without_loss(demo_file, tmp_path):
    with Store.open(demo_file) as store:
        write_folder(tmp_path / "back", {table: store.frame(table, all_versions=True) for table in TABLES})
    back, first = read_folder(tmp_path / "back").frames, read_folder(demo_file.parent / "notes").frames
    for table in TABLES:
        columns = [name for name in TABLES[table].names if name != "read_from"]
        assert back[table][columns].equals(first[table][columns].reset_index(drop=True)), table
    assert (
        load(demo_file, "Mill").history.condition == load(demo_file.parent / "notes", "Mill").history.condition
    ).all()


def test_ogc_rules(demo_file):
    """OGC 12-128r18: application id, user version, the required reference systems, contents and geometry columns."""
    db = sqlite3.connect(demo_file)
    assert db.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID == 0x47504B47
    assert db.execute("PRAGMA user_version").fetchone()[0] == 10300
    assert {row[0] for row in db.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")} >= {-1, 0, 4326}
    contents = dict(db.execute("SELECT table_name, data_type FROM gpkg_contents"))
    features = {name for name, kind in contents.items() if kind == "features"}
    assert features == {*LAYERS, VIEW} == {row[0] for row in db.execute("SELECT table_name FROM gpkg_geometry_columns")}
    assert {name for name, kind in contents.items() if kind == "attributes"} == {
        *TABLES,
        "map_condition",
        "photo_files",
    }
    assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    assert db.execute("PRAGMA foreign_key_check").fetchall() == []
    assert not db.execute("SELECT count(*) FROM sqlite_master WHERE name LIKE 'rtree%'").fetchone()[0]
    assert geometry_blob(b"x") == b"GP\x00\x01\xe6\x10\x00\x00x"
    db.close()


def test_a_gis_sees_the_layers(demo_file):
    geopandas = pytest.importorskip("geopandas")
    season = load(demo_file, "Mill", 2026)
    vines = geopandas.read_file(demo_file, layer="map_vines")
    assert vines.crs.to_epsg() == 4326
    assert len(vines) == sum(
        load(demo_file, b).history.grid.exists.sum() for b in ("Mill", "Chapel", "Orchard", "Hollow")
    )
    seen = geopandas.read_file(demo_file, layer="map_condition_by_season")
    mill = seen[(seen["block"] == "Mill") & (seen["season"] == 2026)]
    assert (mill["condition"] == "showing").sum() == season.cases.sum()
    point = mill[(mill["row"] == "3") & (mill["position"] == 7)].geometry.iloc[0]
    cell = season.history.grid.cell("3", 7)
    assert (point.x, point.y) == pytest.approx((season.placed.longitude[cell], season.placed.latitude[cell]), abs=1e-12)
    assert set(geopandas.read_file(demo_file, layer="map_rows").geom_type) == {"LineString"}


def test_layers_follow_a_new_record(vines):
    pyogrio = pytest.importorskip("pyogrio")
    add_records(vines, "symptoms", [ONE])
    put_into_tables(vines)
    before = pyogrio.read_dataframe(vines, layer="map_condition_by_season")
    assert len(before) == 48
    add_records(vines, "symptoms", [{**ONE, "position": "5"}])
    with Store.open(vines) as store:
        assert load(store, definition="dieback").cases.sum() == 2
    assert put_into_tables(vines)
    assert not put_into_tables(vines)  # nothing waits any more
    after = pyogrio.read_dataframe(vines, layer="map_condition_by_season")
    showing = {
        (row, position) for row, position in after[after["condition"] == "showing"][["row", "position"]].to_numpy()
    }
    assert len(showing) == 2
    assert showing > set(map(tuple, before[before["condition"] == "showing"][["row", "position"]].to_numpy()))


def test_what_is_no_vineyard(tmp_path, vines):
    (tmp_path / "text.gpkg").write_text("hello, this is no database at all")
    with pytest.raises(NotAVineyardError, match="no GeoPackage"):
        Store.open(tmp_path / "text.gpkg")
    sqlite3.connect(tmp_path / "other.gpkg").execute("CREATE TABLE t (x)").connection.close()
    with pytest.raises(NotAVineyardError, match="holds no vineyard"):
        Store.open(tmp_path / "other.gpkg")
    with pytest.raises(FileError, match="trunkwatch new"):
        Store.open(tmp_path / "nowhere.gpkg")
    with pytest.raises(FileError, match="there already"):
        Store.create(vines)


def test_a_later_version_and_an_earlier_one(tmp_path, vines):
    db = sqlite3.connect(vines)
    db.execute("INSERT INTO trunkwatch_step VALUES (99, 'later')")
    db.commit()
    db.close()
    with pytest.raises(NewerSchemaError, match="update trunkwatch"):
        Store.open(vines)
    old = tmp_path / "old.gpkg"
    db = sqlite3.connect(old, isolation_level=None)
    take_steps(db, upto=1)
    assert schema_version(db) == 1
    db.execute("INSERT INTO blocks (block, id) VALUES ('B', 'b1')")
    db.close()
    raw = old.read_bytes()
    with pytest.raises(OldSchemaError, match="trunkwatch upgrade"):
        Store.open(old)
    kept, done = upgrade_file(old)
    assert kept.read_bytes() == raw
    assert len(done) == VERSION - 1 == len(STEPS) - 1
    with Store.open(old) as store:
        assert store.blocks() == ("B",)
    assert upgrade_file(old) == (None, [])


def test_read_only_and_locked(vines, monkeypatch):
    before = vines.read_bytes()
    monkeypatch.setattr("trunkwatch.store.whole.os.access", lambda *_: False)
    with pytest.raises(FileError, match="read-only"):
        add_records(vines, "symptoms", [ONE])
    monkeypatch.undo()
    monkeypatch.setattr("trunkwatch.store.whole.WAIT_S", 0.2)
    other = sqlite3.connect(vines, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(FileError, match="locked by another program"):
        add_records(vines, "symptoms", [ONE])
    other.execute("ROLLBACK")
    other.close()
    assert vines.read_bytes() == before
    assert [p.name for p in vines.parent.iterdir() if p.name.endswith(".part")] == []


@pytest.mark.skipif(not hasattr(os, "copy_file_range"), reason="this system copies no range of a file")
@pytest.mark.parametrize("ends", ["refused", "early", "whole"])
def test_a_file_is_copied_by_the_system_and_otherwise_page_by_page(vines, monkeypatch, ends):
    asked = []
    by_system = os.copy_file_range

    def part_of_it(source, target, many):
        asked.append(many)
        if ends == "whole":
            return by_system(source, target, many)
        if len(asked) == 1:
            return by_system(source, target, 5000)  # not even whole pages
        if ends == "refused":
            raise OSError(18, "another file system")
        return 0

    before = vines.read_bytes()
    monkeypatch.setattr(os, "copy_file_range", part_of_it)
    with Store.writing(vines) as store, store.transaction():
        store.append({"symptoms": frame_of("symptoms", [{**ONE, "id": "one"}])})
    assert asked[0] == len(before)
    assert len(asked) == (1 if ends == "whole" else 2)
    with Store.open(vines) as store:
        assert store.frame("symptoms")["id"].tolist() == ["one"]
        assert len(store.frame("surveys")) == 1
    with sqlite3.connect(vines) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert [path.name for path in vines.parent.glob("*.part*")] == []


def test_a_full_disk_changes_nothing(vines, monkeypatch):
    add_records(vines, "symptoms", [ONE])
    before = vines.read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("trunkwatch.store.whole.os.fsync", full)
    with pytest.raises(FileError, match=r"No space left.*nothing was changed"):
        put_into_tables(vines)
    assert vines.read_bytes() == before


@pytest.mark.skipif(os.geteuid() != 0 or shutil.which("mount") is None, reason="needs to mount a small disk")
def test_a_disk_that_is_really_full(tmp_path):
    disk = tmp_path / "disk"
    disk.mkdir()
    if subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(disk)], check=False, capture_output=True
    ).returncode:
        pytest.skip("no small disk can be mounted here")
    try:
        start_file(disk / "v.gpkg", BLOCK, 4, 12)
        before = (disk / "v.gpkg").read_bytes()
        (disk / "ballast").write_bytes(b"0" * (900_000 - len(before)))
        many = [
            {
                **ONE,
                "position": str(1 + n % 12),
                "row": str(1 + n % 4),
                "date": f"20{10 + n // 48:02d}-01-05",
                "note": "x" * 400,
            }
            for n in range(700)
        ]
        with pytest.raises(FileError, match=r"room|space"):
            add_records(disk / "v.gpkg", "symptoms", many)
        assert (disk / "v.gpkg").read_bytes() == before
    finally:
        subprocess.run(["umount", str(disk)], check=False)


def test_rescue_of_a_damaged_file(demo_file, tmp_path):
    """Pages in the middle are overwritten: opening or reading says so, and most records are saved."""
    raw = bytearray(demo_file.read_bytes())
    with Store.open(demo_file) as store:
        whole = len(store.frame("symptoms", all_versions=True))
    db = sqlite3.connect(demo_file)
    page, root = (
        db.execute("PRAGMA page_size").fetchone()[0],
        db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'symptoms'").fetchone()[0],
    )
    db.close()
    inner = np.frombuffer(bytes(raw[(root - 1) * page + 12 : (root - 1) * page + 14]), dtype=">u2")[0]
    child = int.from_bytes(raw[(root - 1) * page + inner : (root - 1) * page + inner + 4], "big")
    raw[(child - 1) * page : child * page] = os.urandom(page)
    hurt = tmp_path / "hurt.gpkg"
    hurt.write_bytes(bytes(raw))
    with pytest.raises(FileError, match="--rescue"), Store.open(hurt) as store:
        store.frame("symptoms", all_versions=True)
    frames, lost = rescued_frames(hurt)
    assert lost["symptoms"] > 0
    assert len(frames["symptoms"]) + lost["symptoms"] == whole
    assert len(frames["symptoms"]) > 0.8 * whole
    assert lost["blocks"] == 0


def test_a_coordinate_names_a_vine_only_if_it_is_sharp(vines):
    season_placed = load(vines, "B").placed
    grid = load(vines, "B").history.grid
    cell = grid.cell("3", 7)
    there = {"longitude": float(season_placed.longitude[cell]), "latitude": float(season_placed.latitude[cell])}
    record = {"block": "B", "date": "2026-01-05", "symptom": "canker", "observer": "A", **there}
    add_records(vines, "symptoms", [{**record, "accuracy_m": 0.2}])
    with Store.open(vines) as store:
        line = store.frame("symptoms").iloc[-1]
    assert (line["row"], line["position"]) == ("3", "7")
    with pytest.raises(FaultyNotesError, match="row 3 position 7"):
        add_records(vines, "symptoms", [{**record, "observer": "B", "accuracy_m": 4.0}])
    assert positions(vines) == ["7"]


def test_history_of_a_vine(vines):
    add_records(vines, "symptoms", [{**ONE, "id": "a", "recorded_at": "2026-01-05"}])
    add_records(vines, "symptoms", [{**ONE, "id": "b", "corrects": "a", "position": "3", "recorded_at": "2026-01-06"}])
    with Store.open(vines) as store:
        told = vine_records(store, "B", "1", "2")
    assert [(one.id, one.fate, one.corrects) for one in told] == [("a", "corrected", ""), ("b", "stands", "a")]


def test_dated_labels_of_renumbered_rows(vines):
    """Row 2 was painted 1 until the end of 2025: a record of then means the row of now."""
    rows = [
        {"block": "C", "row": "1", "row_order": 2, "first": 1, "last": 9, "valid_to": "2025-12-31"},
        {"block": "C", "row": "2", "row_order": 2, "first": 1, "last": 9, "valid_from": "2026-01-01"},
        {"block": "C", "row": "1", "row_order": 1, "first": 1, "last": 9, "valid_from": "2026-01-01"},
    ]
    from trunkwatch.intake import add_frames

    frames = {
        "blocks": frame_of("blocks", [{**BLOCK, "block": "C", "latitude": None}]),
        "rows": frame_of("rows", rows),
        "surveys": frame_of(
            "surveys",
            [
                {"survey": str(y), "block": "C", "date": f"{y}-01-05", "look": "dormant", "covered": "all"}
                for y in (2025, 2026)
            ],
        ),
        "symptoms": frame_of("symptoms", [{**ONE, "block": "C", "date": "2025-01-05"}]),
    }
    add_frames(vines, frames)
    season = load(vines, "C", definition="dieback")
    assert season.history.grid.rows == ("1", "2")
    assert np.argwhere(season.cases).tolist() == [[1, 1]]


OBSERVED = st.fixed_dictionaries({
    "position": st.sampled_from(["1", "2"]), "percent": st.sampled_from([10.0, 20.0, 30.0]), "recorded_at": st.sampled_from(["", "2026-01-06"]),
})  # fmt: skip


@pytest.mark.long
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.lists(OBSERVED, max_size=4), min_size=2, max_size=4), st.randoms(use_true_random=False))
def test_merging_in_any_order_with_repetition_gives_the_same_store(hands, chance):
    """Several hands write records, the same and contradicting ones; some arrive twice or late."""
    parts = [
        with_ids("symptoms", frame_of("symptoms", [{**ONE, **told} for told in hand])).drop_duplicates("id")
        for hand in hands
    ]

    def merged(order):
        with Store.in_memory() as store:
            for number in order:
                store.merge({"symptoms": parts[number]})
            kept = store.frame("symptoms", all_versions=True).sort_values("id").reset_index(drop=True)
            stands = store.frame("symptoms").sort_values("id").reset_index(drop=True)
        return kept, stands

    first = merged(range(len(parts)))
    order = [*range(len(parts)), *chance.choices(range(len(parts)), k=3)]
    chance.shuffle(order)
    second = merged(order)
    assert first[0].equals(second[0])
    assert first[1].equals(second[1])
    assert first[1]["position"].is_unique
    for hand in parts:
        assert set(hand["id"]) <= set(first[0]["id"])


@pytest.mark.long
def test_merging_files(tmp_path, vines):
    hers, his = tmp_path / "hers.gpkg", tmp_path / "his.gpkg"
    for path, position in ((hers, "4"), (his, "6")):
        shutil.copy(vines, path)
        add_records(path, "symptoms", [{**ONE, "position": position}])
    for name, order in (("one.gpkg", (hers, his)), ("two.gpkg", (his, hers, his))):
        Store.create(tmp_path / name)
        for path in order:
            merge_file(tmp_path / name, path)
    assert sorted(positions(tmp_path / "one.gpkg")) == sorted(positions(tmp_path / "two.gpkg")) == ["4", "6"]


WRITER = """
import sys
from trunkwatch.intake import add_records
path, first, many = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
for n in range(first, first + many):
    add_records(path, "symptoms", [dict(block="B", row=str(1 + n % 4), position=str(1 + n % 12), date=f"20{11 + n // 12 % 15:02d}-01-05",
        symptom="canker", observer=f"w{n}")])
    print(n, flush=True)
"""


def writer(path, first, many):
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), str(first), str(many)], stdout=subprocess.PIPE, text=True
    )


def observers(path):
    with Store.open(path) as store:
        return {name for name in store.frame("symptoms")["observer"] if name.startswith("w")}


@pytest.mark.long
def test_two_processes_wait_their_turn(vines):
    running = [writer(vines, 100 * number, 12) for number in (1, 2)]
    said = [process.communicate(timeout=120)[0].split() for process in running]
    assert [process.returncode for process in running] == [0, 0]
    assert observers(vines) == {f"w{n}" for told in said for n in told}
    assert len(observers(vines)) == 24


@pytest.mark.long
def test_killed_at_any_moment(vines, tmp_path):
    """Ended by kill -9 at random moments: all that was acknowledged is there, nothing is half there, also in a bare copy."""
    rng = np.random.default_rng(5)
    for round_ in range(10):
        process = writer(vines, 1000 * (round_ + 1), 500)
        process.stdout.readline()
        time.sleep(float(rng.random()) * 0.25)
        process.send_signal(signal.SIGKILL)
        said = [int(n) for n in process.communicate()[0].split()]
        bare = tmp_path / "bare.gpkg"
        shutil.copy(vines, bare)
        for path in (vines, bare):
            db = connect_read(path)
            assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            db.close()
            assert {f"w{n}" for n in said} <= observers(path)
    add_records(vines, "symptoms", [{**ONE, "position": "9"}])
    assert [p.name for p in vines.parent.iterdir() if ".part" in p.name] == []

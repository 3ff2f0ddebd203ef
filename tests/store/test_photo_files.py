"""trunkwatch.store: photo_files; trunkwatch.vineyard: photo_links; photos by the standard's rules, through corrections and upgrades.

The rules are those of OGC 18-000, GeoPackage Related Tables Extension 1.0, asked by SQL; numbers as in its text.
"""

import hashlib
import sqlite3
from contextlib import closing

import made_photos
import pyogrio
import pytest

from trunkwatch.intake import add_records, check_vineyard, correct_record, start_file
from trunkwatch.store import Store, upgrade_file
from trunkwatch.store.photo_files import CONTENT_TYPE, MAPPINGS, strange_photo_files
from trunkwatch.vineyard.photo_links import photo_links
from trunkwatch.vineyard.records import record_id
from trunkwatch.vineyard.tables import empty_frame, frame_of

BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north", "training": "bilateral"}  # fmt: skip
FINDING = {"block": "North", "row": "1", "position": "2", "date": "2026-02-03", "symptom": "dead_arm", "arm": "start"}
WORK = {"block": "North", "row": "1", "position": "3", "date": "2026-02-03", "kind": "renew_arm", "arm": "start"}
EXTENSION = ("related_tables", "gpkg_related_tables")


def photo_of(record, data, **more):
    return {"block": "North", "record": record, "sha256": hashlib.sha256(data).hexdigest(), **more}


@pytest.fixture
def path(tmp_path):
    """A file with a photo of a finding, one of work, and one of both."""
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 3, 8)
    (finding,) = add_records(path, "symptoms", [FINDING]).ids
    (work,) = add_records(path, "work", [WORK]).ids
    pictures = [made_photos.jpeg(number) for number in (1, 2, 3)]
    with Store.writing(path) as store, store.transaction():
        assert store.keep_photo_files(pictures) == 3
        assert store.keep_photo_files(pictures[:1]) == 0
        told = [
            photo_of(finding, pictures[0]),
            photo_of(work, pictures[1]),
            photo_of(finding, pictures[2]),
            photo_of(work, pictures[2]),
        ]
        store.append({"photos": frame_of("photos", told)})
    return path


def asked(path, question, *values):
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
        return db.execute(question, values).fetchall()


def columns(path, table):
    return {row[1]: (row[2], row[3], row[5]) for row in asked(path, f"PRAGMA table_info({table})")}


def kind_of_thing(path, name):
    return [kind for (kind,) in asked(path, "SELECT type FROM sqlite_master WHERE name = ?", name)]


def test_requirement_1_the_extension_is_registered_and_its_table_is_there(path):
    rows = asked(
        path, "SELECT column_name, extension_name, scope FROM gpkg_extensions WHERE table_name = 'gpkgext_relations'"
    )
    assert rows == [(None, "gpkg_related_tables", "read-write")]
    assert kind_of_thing(path, "gpkgext_relations") == ["table"]


def test_requirement_2_there_is_a_relation(path):
    assert len(asked(path, "SELECT * FROM gpkgext_relations")) == 2


def test_requirement_3_every_mapping_table_is_registered(path):
    mapping = {name for (name,) in asked(path, "SELECT mapping_table_name FROM gpkgext_relations")}
    rows = asked(
        path,
        "SELECT table_name, column_name, definition, scope FROM gpkg_extensions WHERE extension_name IN (?, ?) AND table_name <> 'gpkgext_relations'",
        *EXTENSION,
    )
    assert {row[0] for row in rows} == mapping
    assert {row[1:] for row in rows} == {(None, "http://docs.opengeospatial.org/is/18-000/18-000.html", "read-write")}


def test_requirement_4_the_table_of_relations_has_its_columns(path):
    text = ("TEXT", 1, 0)
    assert columns(path, "gpkgext_relations") == {
        "id": ("INTEGER", 0, 1),
        "base_table_name": text,
        "base_primary_column": text,
        "related_table_name": text,
        "related_primary_column": text,
        "relation_name": text,
        "mapping_table_name": text,
    }


@pytest.mark.parametrize(("side", "column"), [("base", "number"), ("related", "id")])
def test_requirements_5_and_6_both_sides_are_tables_in_the_contents_with_the_key_that_is_named(path, side, column):
    for table, key in asked(path, f"SELECT {side}_table_name, {side}_primary_column FROM gpkgext_relations"):
        assert key == column
        assert columns(path, table)[key] == ("INTEGER", 0, 1)
        assert asked(path, "SELECT data_type FROM gpkg_contents WHERE table_name = ?", table) == [("attributes",)]


def test_requirement_7_every_mapping_table_is_there(path):
    for (name,) in asked(path, "SELECT mapping_table_name FROM gpkgext_relations"):
        assert kind_of_thing(path, name) == ["table"]


def test_requirement_8_the_relation_is_one_of_the_standard(path):
    assert {name for (name,) in asked(path, "SELECT relation_name FROM gpkgext_relations")} == {"media"}


@pytest.mark.parametrize("table", MAPPINGS.values())
def test_requirement_9_mapping_tables_have_their_columns(path, table):
    assert columns(path, table) == {"base_id": ("INTEGER", 1, 0), "related_id": ("INTEGER", 1, 0)}


@pytest.mark.parametrize(("base", "mapping"), MAPPINGS.items())
def test_requirements_10_and_11_what_is_related_is_there_on_both_sides(path, base, mapping):
    pairs = asked(path, f"SELECT base_id, related_id FROM {mapping}")
    assert len(pairs) == 2
    assert {one for one, _ in pairs} <= {number for (number,) in asked(path, f"SELECT number FROM {base}")}
    assert {one for _, one in pairs} <= {number for (number,) in asked(path, "SELECT id FROM photo_files")}


def test_requirements_12_and_13_media_are_an_attributes_table_with_their_columns(path):
    there = columns(path, "photo_files")
    assert there["id"] == ("INTEGER", 0, 1)
    assert there["data"] == ("BLOB", 1, 0)
    assert there["content_type"] == ("TEXT", 1, 0)
    assert asked(path, "SELECT DISTINCT content_type FROM photo_files") == [(CONTENT_TYPE,)]


def test_a_map_program_reads_pictures_and_what_they_belong_to(path):
    media = pyogrio.read_dataframe(path, layer="photo_files", fid_as_index=True)
    pairs = pyogrio.read_dataframe(path, layer="photos_of_findings")
    findings = pyogrio.read_dataframe(path, layer="symptoms", fid_as_index=True)
    assert [media.loc[one, "data"] for one in pairs["related_id"]] == [made_photos.jpeg(1), made_photos.jpeg(3)]
    assert {findings.loc[one, "symptom"] for one in pairs["base_id"]} == {"dead_arm"}


def test_relations_follow_corrections_and_a_photo_that_was_taken_back_is_related_to_nothing(path):
    with Store.open(path) as store:
        photos, (finding,) = store.frame("photos"), store.frame("symptoms")["id"]
    correct_record(path, "symptoms", finding, {"position": "4"})
    correct_record(path, "photos", photos["id"].iloc[0], {}, void=True)
    with Store.writing(path):
        pass
    rows = asked(
        path,
        "SELECT s.position, m.sha256 FROM photos_of_findings r JOIN symptoms s ON s.number = r.base_id JOIN photo_files m ON m.id = r.related_id ORDER BY s.number",
    )
    assert rows == [(place, photos["sha256"].iloc[2]) for place in ("2", "4")]


def test_bytes_that_were_changed_are_not_given_out(path):
    mark = hashlib.sha256(made_photos.jpeg(1)).hexdigest()
    with Store.open(path) as store:
        assert store.photo_file(mark) == made_photos.jpeg(1)
        assert store.photo_file("0" * 64) is None
        assert store.damaged_photos() == []
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE photo_files SET data = x'ffd8ff' WHERE sha256 = ?", (mark,))
    with Store.open(path) as store:
        assert store.photo_file(mark) is None
        assert store.damaged_photos() == [mark]


def test_tables_of_photos_that_another_program_took_out_are_named_and_made_anew(path):
    from trunkwatch.intake import accept_file

    with closing(sqlite3.connect(path)) as db:
        db.execute("DROP TABLE photos_of_work")
        db.execute("DELETE FROM gpkg_extensions WHERE table_name = 'photos_of_findings'")
        db.commit()
        assert strange_photo_files(db) == ["table 'photos_of_work' is gone"]
    assert any("photos: table 'photos_of_work' is gone" in str(fault) for fault in check_vineyard(path))
    accept_file(path)
    with closing(sqlite3.connect(path)) as db:
        assert strange_photo_files(db) == []
    assert len(asked(path, "SELECT * FROM photos_of_work")) == 2
    assert [str(fault) for fault in check_vineyard(path) if fault.weight == "fault"] == []


def test_an_earlier_file_gets_the_tables_and_keeps_its_records(path):
    with closing(sqlite3.connect(path)) as db:
        for table in ("photos", "photo_files", *MAPPINGS.values(), "gpkgext_relations", "gpkg_extensions"):
            db.execute(f"DROP TABLE {table}")
            db.execute("DELETE FROM gpkg_contents WHERE table_name = ?", (table,))
        db.execute("DELETE FROM trunkwatch_sealed WHERE name = 'photos'")
        db.execute("DELETE FROM trunkwatch_step WHERE number >= 7")
        db.commit()
    _, done = upgrade_file(path)
    assert [step[:2] for step in done] == ["7:", "8:", "9:"]
    with closing(sqlite3.connect(path)) as db:
        assert strange_photo_files(db) == []
    with Store.open(path) as store:
        assert len(store.frame("symptoms")) == len(store.frame("work")) == 1
        assert store.frame("photos").empty
        assert store.photo_marks() == []


def test_a_record_whose_vineyard_was_named_later_keeps_its_photo():
    before = frame_of("symptoms", [{**FINDING, "id": record_id("symptoms", FINDING)}])
    named = {**FINDING, "vineyard": "Hill"}
    after = frame_of("symptoms", [{**named, "id": record_id("symptoms", named)}])
    photos = frame_of("photos", [{"id": "p", **photo_of(before["id"].iloc[0], b"x")}])
    for known in (before, after):
        (link,) = photo_links(photos, {"symptoms": known, "work": empty_frame("work")})
        assert (link.table, link.root, link.versions) == ("symptoms", known["id"].iloc[0], (known["id"].iloc[0],))
    (lost,) = photo_links(photos, {"symptoms": empty_frame("symptoms"), "work": empty_frame("work")})
    assert (lost.table, lost.versions) == ("", ())

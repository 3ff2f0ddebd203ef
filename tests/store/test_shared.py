"""trunkwatch.store: address, shared, shared_lines, shared_layers, shared_schema, shared_server: rights, rows and roads of a shared store.

trunkwatch.intake: whole_file: a vineyard moved into it and back.
"""

import builtins
import re
import shutil
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pg_server import PASSWORD, shared_at

from trunkwatch.cli import main
from trunkwatch.demo import demo_tables
from trunkwatch.errors import FileError, MissingExtraError, NewerSchemaError, NotAVineyardError, OldSchemaError
from trunkwatch.intake import add_records, merge_file, put_into_tables, start_file
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.rename import rename_block, rename_vineyard
from trunkwatch.intake.whole_file import write_file
from trunkwatch.spreadsheets.write import write_folder
from trunkwatch.store import Store
from trunkwatch.store import shared_server as way_to_the_server
from trunkwatch.store.address import address_of, shared_path
from trunkwatch.store.schema import VERSION
from trunkwatch.store.shared import OvertakenError, SharedStore
from trunkwatch.store.shared_schema import FORM
from trunkwatch.vineyard.records import with_ids
from trunkwatch.vineyard.tables import TABLES, frame_of

psycopg = pytest.importorskip("psycopg", reason="a shared store needs psycopg: pip install 'trunkwatch[shared]'")
BLOCK = {"block": "B", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "latitude": 44.0, "longitude": -30.0,
         "row_bearing_deg": 30.0, "rows_go": "right", "hemisphere": "north"}  # fmt: skip
ONE = {"block": "B", "row": "1", "position": "2", "date": "2026-01-05", "symptom": "canker", "observer": "A"}
SURVEY = {"survey": "winter", "block": "B", "date": "2026-01-05", "covered": "1..4", "look": "dormant"}
#: Tables of which every row is somebody's record, or says something of one.
KEPT = (*TABLES, "replaced", "photo_files", "consents")
LAYERS = ("map_blocks", "map_rows", "map_vines", "map_condition", "touched")


@pytest.fixture(scope="module")
def two(shared_server):
    """A database with growers `a` and `b`, a vineyard of each, and educator `e` for the purpose `report`."""
    name = shared_server.database("a", "b")
    for grower in ("a", "b"):
        path = shared_path(shared_server.address(name, f"w_{grower}"))
        start_file(path, BLOCK, 4, 12)
        add_records(path, "surveys", [SURVEY])
        add_records(path, "symptoms", [ONE])
        put_into_tables(path)
        with Store.writing(path) as store:
            store.keep_photo_files([grower.encode()])
    if not shared_server.sql("postgres", "SELECT 1 FROM pg_roles WHERE rolname = 'e'"):
        shared_server.sql("postgres", "CREATE ROLE e LOGIN")
    shared_server.sql(name, "SELECT trunkwatch.add_educator('e', 'report')")
    return name


@pytest.fixture
def own(shared_server):
    """The address of an empty record of its own, for a login that writes it."""
    return shared_path(shared_server.address(shared_server.database("mill"), "w_mill"))


def run(*arguments):
    return CliRunner().invoke(main, [str(one) for one in arguments])


def growers_in(server, name, table, login):
    return {grower for (grower,) in server.sql(name, f'SELECT DISTINCT grower FROM trunkwatch."{table}"', login=login)}


@pytest.mark.parametrize("table", KEPT)
def test_records_are_only_added_by_right(shared_server, two, table):
    column = "purpose" if table == "consents" else "sha256" if table == "photo_files" else "id"
    before = shared_server.sql(two, f'SELECT count(*) FROM trunkwatch."{table}"')
    for login in ("w_a", "e"):
        for statement in (
            f"UPDATE trunkwatch.\"{table}\" SET {column} = 'x'",
            f'DELETE FROM trunkwatch."{table}"',
            f'TRUNCATE trunkwatch."{table}"',
            f'DROP TABLE trunkwatch."{table}"',
        ):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                shared_server.sql(two, statement, login=login)
    assert shared_server.sql(two, f'SELECT count(*) FROM trunkwatch."{table}"') == before


@pytest.mark.parametrize("table", [*KEPT, *LAYERS, "growers"])
def test_a_login_sees_and_writes_its_own_grower_only(shared_server, two, table):
    if table in ("blocks", "rows", "surveys", "symptoms", "photo_files", *LAYERS, "growers"):  # has rows of both
        assert growers_in(shared_server, two, table, "postgres") == {"a", "b"}
        for login in ("a", "b"):
            assert growers_in(shared_server, two, table, f"w_{login}") == {login}
    if table == "growers":
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            shared_server.sql(two, "INSERT INTO trunkwatch.growers VALUES ('c')", login="w_a")
        return
    cells = {"replaced": "kind, id, turn", "photo_files": "sha256, content_type, data", "consents": "purpose, until"}
    given_cells = {
        "replaced": "'symptoms', 'x', 0",
        "photo_files": "'x', 'image/jpeg', ''",
        "consents": "'report', '2030-01-01'",
        "map_blocks": "'B', 'POLYGON((0 0,1 0,1 1,0 0))'",
        "map_rows": "'B', '1', 'LINESTRING(0 0,1 1)'",
        "map_vines": "'B', '1', 1, 'POINT(0 0)'",
        "map_condition": "'B', '1', 1, 2026, 'sound', 1",
        "touched": "'', 'X', ''",
    }
    cells |= {
        "map_blocks": "block, wkt",
        "map_rows": 'block, "row", wkt',
        "map_vines": 'block, "row", position, wkt',
        "map_condition": 'block, "row", position, season, condition, looked_at',
        "touched": "vineyard, block, stamp",
    }
    statement = f'INSERT INTO trunkwatch."{table}" (grower, {cells.get(table, "id")}) VALUES (%s, {given_cells.get(table, repr("x"))})'
    with pytest.raises(psycopg.errors.InsufficientPrivilege, match="row-level security"):
        shared_server.sql(two, statement, "b", login="w_a")
    with pytest.raises(psycopg.errors.InsufficientPrivilege, match="permission denied"):
        shared_server.sql(two, statement, "a", login="e")


def test_every_table_has_rules_by_grower_or_no_rights(shared_server, two):
    """A table that is added without rules, or a view that asks with the rights of its owner, is found here."""
    open_to_all = shared_server.sql(
        two,
        "SELECT relname FROM pg_class WHERE relnamespace = 'trunkwatch'::regnamespace AND (relkind = 'r' AND NOT relrowsecurity "
        "OR relkind = 'v' AND NOT coalesce('security_invoker=true' = ANY (reloptions), false)) AND "
        "(has_table_privilege('w_a', oid, 'SELECT') OR has_any_column_privilege('w_a', oid, 'INSERT') OR has_table_privilege('e', oid, 'SELECT'))",
    )
    assert open_to_all == [("steps",)]
    assert {name for (name,) in shared_server.sql(two, "SELECT relname FROM pg_class WHERE relrowsecurity")} >= {
        *KEPT,
        *LAYERS,
    }


def test_an_educator_sees_who_agreed_to_the_purpose_until_it_ends(shared_server, two):
    def seen():
        return {
            table: growers_in(shared_server, two, table, "e")
            for table in ("blocks", "symptoms", "photo_files", "map_vines", "growers")
        }

    def say(text, login="w_a"):
        shared_server.sql(two, text, login=login)

    assert not any(seen().values())
    say("SELECT trunkwatch.agree('a', 'pool', '2999-01-01')")
    assert not any(seen().values())  # another purpose
    say("SELECT trunkwatch.agree('a', 'report', current_date - 1)")
    assert not any(seen().values())  # has ended
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        say("SELECT trunkwatch.agree('b', 'report', '2999-01-01')")  # not for another grower
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        say("SELECT trunkwatch.agree('a', 'report', '2999-01-01')", "e")  # nor for oneself
    say("SELECT trunkwatch.agree('a', 'report', current_date)")
    assert set(map(frozenset, seen().values())) == {frozenset("a")}
    path = shared_path(shared_server.address(two, "e"))
    assert "B" in run("incidence", path, "--definition", "dieback").output
    with pytest.raises(FileError, match="may not do that"):
        add_records(path, "symptoms", [{**ONE, "position": "9"}])
    say("SELECT trunkwatch.withdraw('a', 'report')")
    assert not any(seen().values())
    with pytest.raises(NotAVineyardError, match="sees no grower"):
        Store.open(path)


def test_who_wrote_a_row_is_said_by_the_server(shared_server, two):
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        shared_server.sql(
            two, "INSERT INTO trunkwatch.symptoms (grower, id, written_by) VALUES ('a', 'x', 'b')", login="w_a"
        )
    assert shared_server.sql(two, "SELECT DISTINCT grower, written_by FROM trunkwatch.symptoms ORDER BY 1") == [
        ("a", "w_a"),
        ("b", "w_b"),
    ]


def test_whose_record_is_meant_is_never_guessed(shared_server):
    name = shared_server.database("a", "b")
    shared_server.sql(name, "SELECT trunkwatch.add_writer('w_a', 'b')")
    with pytest.raises(NotAVineyardError, match=r"which grower is meant\? add \?grower=NAME, a name of: a, b"):
        Store.open(shared_path(shared_server.address(name, "w_a")))
    with pytest.raises(NotAVineyardError, match="sees no grower 'c'"):
        Store.open(shared_path(shared_server.address(name, "w_a", grower="c")))
    with pytest.raises(NotAVineyardError, match=r"sees no grower 'a': add .*: b$"):
        Store.open(shared_path(shared_server.address(name, "w_b", grower="a")))
    with Store.open(shared_path(shared_server.address(name, "w_a", grower="b"))) as store:
        assert store.grower == "b"


OBSERVED = st.fixed_dictionaries({
    "position": st.sampled_from(["1", "2"]), "percent": st.sampled_from([10.0, 20.0, 30.0]), "recorded_at": st.sampled_from(["", "2026-01-06"]),
})  # fmt: skip


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.lists(OBSERVED, max_size=4), min_size=2, max_size=4), st.randoms(use_true_random=False))
def test_records_in_any_order_stand_as_in_a_store_in_memory(shared_server, hands, chance):
    parts = [
        with_ids("symptoms", frame_of("symptoms", [{**ONE, **told} for told in hand])).drop_duplicates("id")
        for hand in hands
    ]
    order = [*range(len(parts)), *chance.choices(range(len(parts)), k=3)]
    chance.shuffle(order)

    def merged(store, numbers):
        for number in numbers:
            store.merge({"symptoms": parts[number]})
        return [
            store.frame("symptoms", all_versions=every).sort_values("id").reset_index(drop=True)
            for every in (True, False)
        ]

    with Store.in_memory() as store:
        wanted = merged(store, range(len(parts)))
    with Store.writing(shared_at(shared_server, "any")) as store:
        got = merged(store, order)
    for one, other in zip(wanted, got, strict=True):
        pd.testing.assert_frame_equal(one, other)


@pytest.fixture(scope="module")
def demo_file(tmp_path_factory):
    """A vineyard with corrections, a block that was renamed, one taken back, a record that moved, and a photo."""
    folder = tmp_path_factory.mktemp("demo")
    write_folder(folder / "notes", demo_tables())
    path = folder / "demo.gpkg"
    bring_files(path, folder / "notes")
    with Store.open(path) as store:
        found = store.frame("symptoms", "Mill").head(3).to_dict("records")
    corrected = [{**one, "corrects": one["id"], "id": "", "note": "seen again", "recorded_at": ""} for one in found]
    add_records(path, "symptoms", corrected)
    add_records(
        path, "symptoms", [{**found[0], "id": "", "corrects": found[0]["id"], "void": "yes", "recorded_at": ""}]
    )
    rename_block(path, "Hollow", label="Dell")
    with Store.writing(path) as store:
        store.keep_photo_files([b"a photo"])
    return path


def kept(path):
    with Store.open(path) as store:
        return {table: store.stored(table) for table in TABLES}, store.photo_marks()


@pytest.mark.long
def test_file_to_server_to_file_is_equal_cell_by_cell(demo_file, own, tmp_path):
    assert run("load", own, demo_file).exit_code == 0
    assert "0 added" in run("load", own, demo_file).output  # again: nothing is doubled
    back = tmp_path / "back.gpkg"
    assert run("export", own, back).exit_code == 0
    (before, _), (after, _) = kept(demo_file), kept(back)
    assert sum(map(len, before.values())) > 1000
    for table, frame in before.items():
        pd.testing.assert_frame_equal(frame, after[table])
    again = run("export", own, back)
    assert (again.exit_code, "is there already" in again.output) == (1, True)
    assert run("check", back).exit_code == run("check", demo_file).exit_code == 0


def test_the_bytes_of_photos_go_with_a_file(own, tmp_path):
    with Store.writing(own) as store:
        store.keep_photo_files([b"one", b"two", b"one"])
    assert write_file(own, tmp_path / "out.gpkg") == 2
    with Store.open(own) as here, Store.open(tmp_path / "out.gpkg") as there:
        assert here.photo_marks() == there.photo_marks()
        assert [there.photo_file(mark) for mark in here.photo_marks()] == [b"one", b"two"]
        assert here.photo_file("0" * 64) is None


def test_a_vineyard_named_later_keeps_all_its_records(own, tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, {**BLOCK, "vineyard": ""}, 4, 12)
    add_records(path, "symptoms", [ONE, {**ONE, "position": "3"}])
    merge_file(own, path)
    for one in (path, own):
        rename_vineyard(one, "", "Hill Farm")
    with Store.open(path) as here, Store.open(own) as there:
        assert there.frame("blocks")["vineyard"].tolist() == ["Hill Farm"]
        for table in ("rows", "symptoms"):
            pd.testing.assert_frame_equal(here.stored(table), there.stored(table))


@pytest.mark.parametrize(
    "arguments",
    [
        ("incidence",), ("history", "--row", "1", "--position", "6"), ("pattern", "--permutations", "99"), ("settings",), ("check",),
        ("winter",), ("peers",),
    ],
    ids=lambda one: one[0],
)  # fmt: skip
def test_reading_verbs_say_the_same_as_of_the_file(demo_file, loaded, arguments):
    verb, *rest = arguments
    block = () if verb in ("settings", "check", "peers") else ("--block", "Mill")
    of_file, of_server = (run(verb, path, *block, *rest) for path in (demo_file, loaded))
    assert of_server.output == of_file.output
    assert of_server.exit_code == of_file.exit_code == 0
    assert of_file.output


@pytest.fixture(scope="module")
def loaded(demo_file, shared_server):
    path = shared_path(shared_server.address(shared_server.database("mill"), "w_mill"))
    merge_file(path, demo_file)
    return path


@pytest.mark.long
def test_pages_and_plans_are_written_from_a_shared_store(loaded, demo_file, tmp_path):
    for verb, *more in (("report", "--permutations", "99"), ("map",)):
        out = tmp_path / f"{verb}.html"
        told = run(verb, loaded, "--block", "Mill", "--out", out, *more)
        assert (told.exit_code, out.stat().st_size > 10_000) == (0, True), told.output
    for verb in ("plan", "answer"):
        told = run(verb, loaded, "--block", "Chapel")
        assert told.output == run(verb, demo_file, "--block", "Chapel").output
        assert told.exit_code == 0


def test_log_writes_and_draws(own, shared_server):
    assert (
        run(
            "new",
            own,
            "--block",
            "B",
            "--rows",
            4,
            "--vines",
            12,
            "--hemisphere",
            "north",
            "--row-spacing-m",
            2.5,
            "--vine-spacing-m",
            1.5,
            "--latitude",
            44,
            "--longitude",
            -30,
            "--row-bearing-deg",
            30,
            "--rows-go",
            "right",
        ).exit_code
        == 0
    )
    assert (
        run(
            "log", own, "survey", "--block", "B", "--date", "2026-01-05", "--look", "dormant", "--covered", "all"
        ).exit_code
        == 0
    )
    told = run(
        "log",
        own,
        "finding",
        "--block",
        "B",
        "--row",
        1,
        "--position",
        2,
        "--date",
        "2026-01-05",
        "--symptom",
        "canker",
    )
    assert told.output.startswith("1 added")
    with Store.open(own) as store:
        assert store.frame("blocks")["vineyard"].tolist() == ["mill"]
        assert (store.stale(), store.waiting) == ([], 0)
        record = store.frame("symptoms")["id"].item()
    asked = "SELECT \"row\", position FROM trunkwatch.map_condition_by_season WHERE condition = 'showing'"
    name = own.parts[2].partition("?")[0]
    assert shared_server.sql(name, asked, login="w_mill") == [("1", 2)]
    assert "taken back" in run("log", own, "correct", "--record", record, "--void").output
    assert shared_server.sql(name, asked, login="w_mill") == []
    with Store.open(own) as store:
        assert len(store.frame("symptoms")) == 0
        assert len(store.frame("symptoms", all_versions=True)) == 2


def test_layers_have_a_geometry_where_the_server_has_postgis(shared_server, two):
    if not shared_server.sql("postgres", "SELECT 1 FROM pg_available_extensions WHERE name = 'postgis'"):
        pytest.skip("PostGIS is not installed beside the server")
    kinds = "SELECT f_table_name, type, srid FROM geometry_columns WHERE f_table_schema = 'trunkwatch' ORDER BY 1"
    assert shared_server.sql(two, kinds, login="w_a") == [
        ("map_blocks", "POLYGON", 4326),
        ("map_condition_by_season", "POINT", 4326),
        ("map_rows", "LINESTRING", 4326),
        ("map_vines", "POINT", 4326),
    ]
    apart = "SELECT count(*), max(ST_Distance(geom, ST_SetSRID(ST_MakePoint(-30, 44), 4326))) FROM trunkwatch.map_vines"
    many, farthest = shared_server.sql(two, apart, login="w_a")[0]
    assert many == 48
    assert farthest < 0.001


def test_layers_have_plain_columns_without_postgis_and_get_their_geometry_later(shared_server):
    name = shared_server.database("a", template="plain")
    path = shared_path(shared_server.address(name, "w_a"))
    start_file(path, BLOCK, 4, 12)
    add_records(path, "surveys", [SURVEY])
    put_into_tables(path)
    (wkt,) = shared_server.sql(name, "SELECT wkt FROM trunkwatch.map_vines WHERE \"row\" = '1' AND position = 1")[0]
    longitude, latitude = map(float, wkt.removeprefix("POINT (").rstrip(")").split())
    assert abs(longitude + 30) < 0.001 > abs(latitude - 44)
    if shared_server.sql(name, "SELECT 1 FROM pg_available_extensions WHERE name = 'postgis'"):
        told = run("upgrade", shared_server.address(name))
        assert "show in a GIS" in told.output
        assert shared_server.sql(name, "SELECT count(*) FROM trunkwatch.map_vines WHERE geom IS NOT NULL") == [(48,)]
    else:
        assert "present version" in run("upgrade", shared_server.address(name)).output


def test_versions_are_refused_in_words(shared_server):
    name = shared_server.database("a")
    path = shared_path(shared_server.address(name, "w_a"))
    for version, kind, told in (
        (
            (VERSION, FORM + 1),
            NewerSchemaError,
            rf"later trunkwatch \(version {VERSION}\.{FORM + 1}, this one knows {VERSION}\.{FORM}\)",
        ),
        (
            (VERSION - 1, FORM),
            OldSchemaError,
            rf"is of version {VERSION - 1}\.{FORM}, now it is {VERSION}\.{FORM}: its owner runs `trunkwatch upgrade",
        ),
    ):
        shared_server.sql(name, "DELETE FROM trunkwatch.steps")
        shared_server.sql(name, "INSERT INTO trunkwatch.steps (version, form, told) VALUES (%s, %s, '')", *version)
        with pytest.raises(kind, match=told):
            Store.open(path)
    refused = run("upgrade", shared_server.address(name, "w_a"))
    assert (refused.exit_code, "may not make a shared store" in refused.output) == (1, True)
    assert (
        f"from version {VERSION - 1}.{FORM} to {VERSION}.{FORM}" in run("upgrade", shared_server.address(name)).output
    )
    Store.open(path).close()
    assert "present version already" in run("upgrade", shared_server.address(name)).output


def test_an_earlier_store_gets_new_columns_and_keeps_its_records(shared_server):
    """As after a release that adds a column: the views and the right to write it come with it."""
    name = shared_server.database("a")
    path = shared_path(shared_server.address(name, "w_a"))
    start_file(path, BLOCK, 4, 12)
    add_records(path, "symptoms", [ONE])
    shared_server.sql(name, "ALTER TABLE trunkwatch.symptoms DROP COLUMN shoot_quality CASCADE")
    shared_server.sql(name, f"UPDATE trunkwatch.steps SET version = {VERSION - 1}")
    assert run("upgrade", shared_server.address(name)).exit_code == 0
    add_records(path, "symptoms", [{**ONE, "position": "3"}])
    with Store.open(path) as store:
        assert store.frame("symptoms")["position"].tolist() == ["2", "3"]


def test_what_is_no_shared_store(shared_server):
    for path, told in (
        (shared_server.address("postgres"), "a database without a shared store"),
        (shared_server.address("nowhere"), 'database "nowhere" does not exist; `createdb NAME` makes one'),
        ("postgresql:///vines?host=/nowhere", "cannot be reached"),
    ):
        refused = run("incidence", path)
        assert (refused.exit_code, told in refused.output) == (1, True), refused.output


def test_an_address_names_a_database_and_holds_no_password():
    for text in (
        f"postgresql://a:{PASSWORD}@h/db",
        f"postgresql://h/db?password={PASSWORD}",
        f"postgres://a:{PASSWORD}@h/db",
    ):
        told = run("incidence", text)
        assert told.exit_code == 2
        assert PASSWORD not in told.output
        assert "PGPASSFILE" in told.output
    with pytest.raises(FileError, match="names no database"):
        shared_path("postgresql://host")
    for text in (
        "postgresql:///vines",
        "postgresql://ana@host:5433/vines?sslmode=require",
        "postgresql://ana@/vines?host=/run/db",
    ):
        assert address_of(shared_path(text)).shown == text
    kept_address = address_of(shared_path("postgresql://host/vines?grower=Hill%20Farm&sslmode=require"))
    assert (kept_address.url, kept_address.grower) == ("postgresql://host/vines?sslmode=require", "Hill Farm")


@pytest.fixture
def with_password(shared_server):
    """A login that needs a password, and the address of a database of that name."""
    if not shared_server.sql("postgres", "SELECT 1 FROM pg_roles WHERE rolname = 'secretive'"):
        shared_server.sql("postgres", f"CREATE ROLE secretive LOGIN PASSWORD '{PASSWORD}'")
        shared_server.sql("postgres", "CREATE DATABASE with_password TEMPLATE ready")
        shared_server.sql("with_password", "SELECT trunkwatch.add_grower('a'), trunkwatch.add_writer('secretive', 'a')")
    return shared_server.address("with_password", "secretive")


def test_a_password_is_read_as_the_server_s_own_programs_do_and_never_shown(with_password, tmp_path, monkeypatch):
    file = tmp_path / "passwords"
    file.write_text("*:*:*:secretive:" + PASSWORD.replace(":", "\\:") + "\n")
    file.chmod(0o600)
    new = ("new", with_password, "--block", "B", "--rows", 4, "--vines", 12, "--hemisphere", "north")

    def tried(*arguments):
        way_to_the_server.let_go()
        told = run(*arguments)
        assert PASSWORD not in told.output
        assert PASSWORD not in repr(told.exception)
        return told

    monkeypatch.setenv("PGPASSFILE", str(tmp_path / "none"))
    assert "cannot be reached" in tried(*new).output
    monkeypatch.setenv("PGPASSWORD", "wrong " + PASSWORD)
    wrong = tried(*new)
    assert (wrong.exit_code, "password authentication failed" in wrong.output) == (1, True)
    monkeypatch.setenv("PGPASSWORD", PASSWORD)
    assert tried(*new).exit_code == 0
    monkeypatch.delenv("PGPASSWORD")
    monkeypatch.setenv("PGPASSFILE", str(file))
    assert (
        tried("log", with_password, "survey", "--block", "B", "--date", "2026-08-05", "--covered", "all").exit_code == 0
    )
    out = tmp_path / "report.html"
    assert tried("report", with_password, "--block", "B", "--out", out).exit_code == 0
    assert PASSWORD not in out.read_text()


def test_without_the_extra_one_sentence_says_how_to_get_it(monkeypatch):
    real = builtins.__import__

    def without(name, *rest):
        if name.partition(".")[0] in ("sqlalchemy", "psycopg"):
            raise ImportError(name)
        return real(name, *rest)

    way_to_the_server.let_go()
    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(MissingExtraError, match=r"pip install 'trunkwatch\[shared\]'"):
        Store.open(shared_path("postgresql:///vines"))


def test_the_command_line_does_not_import_it_for_files(tmp_path):
    program = "import sys; import trunkwatch.intake, trunkwatch.cli; sys.exit('sqlalchemy' in sys.modules or 'psycopg' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("serve", "AT"), "`trunkwatch export` writes a file to look at"), (("people", "AT"), "logins and rights are those of the server"),
        (("phones", "AT"), "logins and rights"), (("audit", "AT"), "logins and rights"), (("check", "AT", "--accept"), "correct"),
        (("check", "AT", "--rescue", "out"), "backup of the database"), (("load", "new.gpkg", "AT"), "`trunkwatch export` writes the record"),
    ],
)  # fmt: skip
def test_verbs_that_need_a_file_say_so(arguments, told):
    refused = run(*(("postgresql://ana@host/vines" if one == "AT" else one) for one in arguments))
    assert refused.exit_code == 1
    assert "not on the shared store postgresql://ana@host/vines" in refused.output
    assert told in refused.output


def test_a_text_that_the_server_cannot_keep_is_refused(own):
    start_file(own, BLOCK, 4, 12)
    with pytest.raises(FileError, match="takes no such text"), Store.writing(own) as store:
        store.append({"symptoms": frame_of("symptoms", [{**ONE, "note": "a\0b"}])})
    with Store.open(own) as store:
        assert store.frame("symptoms").empty


def test_a_reader_sees_one_moment(own):
    start_file(own, BLOCK, 4, 12)
    with Store.open(own) as store:
        assert store.frame("symptoms").empty
        add_records(own, "symptoms", [ONE])
        assert store.frame("symptoms").empty
        with pytest.raises(FileError, match="can only be read"):
            store.keep_photo_files([b"x"])
    with Store.open(own) as store:
        assert len(store.frame("symptoms")) == 1


def test_two_who_write_of_one_vine_at_once_are_told_of_each_other(own):
    """The second one waits for the first, and hears that the record is there with another value."""
    start_file(own, BLOCK, 4, 12)
    together, told = threading.Barrier(2), []

    def write(percent):
        together.wait()
        told.append(add_records(own, "symptoms", [{**ONE, "percent": percent}]))

    hands = [threading.Thread(target=write, args=(percent,)) for percent in (10.0, 20.0)]
    for one in hands:
        one.start()
    for one in hands:
        one.join()
    assert sorted(one.new["symptoms"] for one in told) == [0, 1]
    assert [len(one.changed) for one in sorted(told, key=lambda one: one.new["symptoms"])] == [1, 0]


WRITER = """
import sys
from pathlib import Path
from trunkwatch.intake import add_records
path, hand = Path(sys.argv[1]), int(sys.argv[2])
print("ready", flush=True)
for n in range(10_000):
    add_records(path, "symptoms", [dict(block="B", row=str(1 + n % 4), position=str(1 + n % 12), date=f"20{11 + n // 12 % 15:02d}-01-05",
        symptom="canker", observer=f"w{hand}-{n}")])
    print(f"w{hand}-{n}", flush=True)
"""


@pytest.mark.long
def test_writers_who_are_killed_lose_nothing_that_was_acknowledged(own):
    start_file(own, BLOCK, 4, 12)
    hands = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(own), str(hand)], stdout=subprocess.PIPE, text=True)
        for hand in range(3)
    ]
    acknowledged = []
    for hand in hands:
        while len(acknowledged) < 4 * (hands.index(hand) + 1):
            line = hand.stdout.readline().strip()
            if line != "ready":
                acknowledged.append(line)
    for hand in hands:
        hand.send_signal(signal.SIGKILL)
    for hand in hands:
        acknowledged += hand.stdout.read().split()
        hand.wait()
        hand.stdout.close()
    with Store.open(own) as store:
        there = store.frame("symptoms")["observer"].tolist()
    assert set(acknowledged) - {"ready"} <= set(there)
    assert len(set(there)) == len(there) <= len(set(acknowledged)) + len(hands)  # at most one each came in unheard
    add_records(own, "symptoms", [{**ONE, "observer": "after"}])  # no turn is left behind


@pytest.mark.long
def test_the_page_for_groups_can_be_followed(shared_server, demo_file, tmp_path):
    """Every command of docs/how_to/group.md, in its order, on the tests' own server."""
    page = (Path(__file__).resolve().parents[2] / "docs" / "how_to" / "group.md").read_text("utf-8")
    blocks = re.findall(r"^```(sh|sql)\n(.*?)^```$", page, re.MULTILINE | re.DOTALL)
    lines = [(kind, line) for kind, text in blocks for line in text.splitlines()]
    shutil.copy(demo_file, tmp_path / "my_vines.gpkg")
    done = []
    for kind, line in lines:
        done.append(line.split()[0])
        if kind == "sql":
            shared_server.sql("vines", line)
            continue
        program, *words = line.split()
        if program == "trunkwatch":
            at = [
                re.sub(
                    r"^postgresql://(\w*)@?(?:server)?/vines$",
                    lambda one: shared_server.address("vines", one[1] or "postgres"),
                    word,
                )
                for word in words
            ]
            at = [str(tmp_path / word) if word.endswith(".gpkg") else word for word in at]
            told = run(*at)
            assert told.exit_code == 0, (line, told.output)
            continue
        where = ["-h", str(shared_server.folder), "-U", "postgres"]
        words = [word.replace("vines.dump", f"{shared_server.folder}/vines.dump") for word in words]
        if program == "pg_restore":
            shared_server.let_go("vines")
            shared_server.sql("postgres", "DROP DATABASE vines")
        shared_server.run(program, *where, *words)
    assert {"createdb", "CREATE", "SELECT", "trunkwatch", "pg_dump", "pg_restore"} <= set(done)
    ana, erik = (shared_path(shared_server.address("vines", login)) for login in ("ana", "erik"))
    (before, _), (after, _), (restored, _) = kept(demo_file), kept(tmp_path / "back.gpkg"), kept(ana)
    for table, frame in before.items():
        pd.testing.assert_frame_equal(frame, after[table])
        pd.testing.assert_frame_equal(frame, restored[table])
    assert run("incidence", erik, "--block", "Mill").exit_code == 0
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        shared_server.sql("vines", "DELETE FROM trunkwatch.symptoms", login="ana")
    add_records(
        ana, "surveys", [{"block": "Mill", "date": "2026-09-20", "look": "summer", "covered": "all"}]
    )  # numbers go on


@pytest.mark.parametrize(
    ("theirs", "overtaken"),
    [
        ({"symptoms": [{**ONE, "position": "7"}]}, True),  # on the row that was looked at
        ({"symptoms": [{**ONE, "row": "2"}]}, False),
        ({"work": [{"block": "B", "row": "1", "position": "2", "date": "2026-01-06", "kind": "renew_arm"}]}, True),
        ({"surveys": [{**SURVEY, "survey": "again", "date": "2026-01-09"}]}, True),
        ({"weather": [{"date": "2026-01-05", "t_min_c": -3.0}]}, False),
        ({"symptoms": "correct"}, True),  # whatever it corrects: it may have taken a record off the row
    ],
)  # fmt: skip
def test_who_looked_before_others_wrote_looks_again(own, theirs, overtaken):
    """What is checked without the turn is held against what came since, before anything is written."""
    start_file(own, BLOCK, 4, 12)
    add_records(own, "symptoms", [{**ONE, "id": "old", "row": "3"}])
    if theirs == {"symptoms": "correct"}:
        theirs = {"symptoms": [{**ONE, "row": "4", "corrects": "old"}]}
    mine = with_ids("symptoms", frame_of("symptoms", [{**ONE, "vineyard": "mill"}]))

    def looked_then_wrote():
        with SharedStore.open_to_try(own) as store:
            for table in ("surveys", "rows"):
                store.frame(table, "B")
            for table in ("symptoms", "work", "plants"):
                assert store.around(table, {("B", "1")}).empty
            for table, records in theirs.items():
                add_records(own, table, records)
            store.append({"symptoms": mine})

    if overtaken:
        with pytest.raises(OvertakenError, match="others have written about the same vines"):
            looked_then_wrote()
    else:
        looked_then_wrote()
    with Store.open(own) as store:
        assert (mine["id"].item() in set(store.frame("symptoms")["id"])) is not overtaken

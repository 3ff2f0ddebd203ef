"""The tables of a shared store, who may do what with them, and the step to the present version.

Records are only ever added, and here that is a right: whoever writes may INSERT and SELECT, and nobody but the owner of
the database may UPDATE or DELETE. Each row carries its grower, and rules of the server (row-level security) decide by
the login which rows it sees: its own grower's, or, for an educator, those of growers who agreed to the purpose and whose
consent has not ended. A record that gives way to another, where two copies of a vineyard are merged, is not taken out: a
line in `replaced` says that it does not count any more, and the views `kept_...` leave it out.
"""

from collections.abc import Iterator
from typing import Any

from trunkwatch.store.schema import VERSION
from trunkwatch.vineyard.tables import TABLES, Table

__all__ = ["FORM", "LAYERS", "READER", "SCHEMA", "WRITER", "make_all", "make_geometry", "record_columns"]

SCHEMA = "trunkwatch"
#: Counts changes of what is here and not in the tables of a file, whose version counts first.
FORM = 1
#: Roles of the server that logins are members of.
WRITER, READER = "trunkwatch_writer", "trunkwatch_reader"
#: Layer: geometry type, columns.
LAYERS = {
    "map_blocks": ("Polygon", "block text NOT NULL, vineyard text, cultivar text, positions integer"),
    "map_rows": ("LineString", 'block text NOT NULL, "row" text NOT NULL, "first" integer, "last" integer'),
    "map_vines": ("Point", 'block text NOT NULL, "row" text NOT NULL, position integer NOT NULL'),
}
_MAP = (*LAYERS, "map_condition")
_SEEN = f"grower = ANY ((SELECT {SCHEMA}.growers_seen())::text[])"
_WRITTEN = f"grower = ANY ((SELECT {SCHEMA}.growers_written())::text[])"
_WHO = "written_by text NOT NULL DEFAULT session_user, written_at timestamptz NOT NULL DEFAULT now()"


def record_columns(table: Table) -> list[str]:
    """Return the columns of a record as the server names them."""
    return [f'"{name}"' for name in table.names]


def _kind(table: Table, name: str) -> str:
    return "double precision" if table.column(name).is_number else "text NOT NULL DEFAULT ''"


def make_all() -> Iterator[str]:
    """Hand out the statements that make what is not there yet of everything but the geometry, in their order."""
    yield f"CREATE SCHEMA IF NOT EXISTS {SCHEMA}"
    for role in (WRITER, READER):
        yield f"DO $$ BEGIN IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = '{role}') THEN CREATE ROLE {role} NOLOGIN; END IF; END $$"
    yield from _people()
    for table in TABLES.values():
        yield from _records(table)
    yield from _beside_records()
    yield from _layers()
    yield from _rights()


def _people() -> Iterator[str]:
    yield f"CREATE TABLE IF NOT EXISTS {SCHEMA}.steps (version integer, form integer, told text NOT NULL, {_WHO}, PRIMARY KEY (version, form))"
    yield f"CREATE TABLE IF NOT EXISTS {SCHEMA}.growers (grower text PRIMARY KEY CHECK (grower <> ''))"
    yield f"CREATE TABLE IF NOT EXISTS {SCHEMA}.writers (login text, grower text REFERENCES {SCHEMA}.growers, PRIMARY KEY (login, grower))"
    yield f"CREATE TABLE IF NOT EXISTS {SCHEMA}.educators (login text, purpose text, PRIMARY KEY (login, purpose))"
    yield (
        f"CREATE TABLE IF NOT EXISTS {SCHEMA}.consents (number bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY, "
        f"grower text NOT NULL REFERENCES {SCHEMA}.growers, purpose text NOT NULL, until date NOT NULL, {_WHO})"
    )
    as_owner = "STABLE SECURITY DEFINER SET search_path = pg_catalog, pg_temp"
    yield (
        f"CREATE OR REPLACE FUNCTION {SCHEMA}.growers_written() RETURNS text[] LANGUAGE sql {as_owner} AS $$ "
        f"SELECT coalesce(array_agg(grower), '{{}}') FROM {SCHEMA}.writers WHERE login = session_user $$"
    )
    # Of several consents of a grower to one purpose the last one counts: so is one withdrawn.
    yield (
        f"CREATE OR REPLACE FUNCTION {SCHEMA}.growers_seen() RETURNS text[] LANGUAGE sql {as_owner} AS $$ "
        f"SELECT coalesce(array_agg(grower), '{{}}') FROM (SELECT grower FROM {SCHEMA}.writers WHERE login = session_user UNION "
        f"SELECT c.grower FROM {SCHEMA}.consents c JOIN {SCHEMA}.educators e ON e.purpose = c.purpose AND e.login = session_user "
        f"WHERE c.until >= current_date AND NOT EXISTS (SELECT FROM {SCHEMA}.consents later WHERE later.grower = c.grower "
        "AND later.purpose = c.purpose AND later.number > c.number)) seen $$"
    )
    yield from _verbs()


def _verbs() -> Iterator[str]:
    """Hand out the functions by which the owner lets people in, and growers agree; each has the rights of its caller."""
    told = {
        "add_grower(grower text)": f"INSERT INTO {SCHEMA}.growers VALUES ($1) ON CONFLICT DO NOTHING",
        "add_writer(login text, grower text)": (
            f"INSERT INTO {SCHEMA}.writers VALUES ($1, $2) ON CONFLICT DO NOTHING; EXECUTE format('GRANT {WRITER} TO %I', $1)"
        ),
        "end_writer(login text, grower text)": f"DELETE FROM {SCHEMA}.writers w WHERE w.login = $1 AND w.grower = $2",
        "add_educator(login text, purpose text)": (
            f"INSERT INTO {SCHEMA}.educators VALUES ($1, $2) ON CONFLICT DO NOTHING; EXECUTE format('GRANT {READER} TO %I', $1)"
        ),
        "end_educator(login text, purpose text)": f"DELETE FROM {SCHEMA}.educators e WHERE e.login = $1 AND e.purpose = $2",
        "agree(grower text, purpose text, until date)": f"INSERT INTO {SCHEMA}.consents (grower, purpose, until) VALUES ($1, $2, $3)",
        "withdraw(grower text, purpose text)": (
            f"INSERT INTO {SCHEMA}.consents (grower, purpose, until) VALUES ($1, $2, current_date - 1)"
        ),
    }
    for head, body in told.items():
        yield (
            f"CREATE OR REPLACE FUNCTION {SCHEMA}.{head} RETURNS void LANGUAGE plpgsql "
            f"SET search_path = pg_catalog, pg_temp AS $$ BEGIN {body}; END $$"
        )


def _records(table: Table) -> Iterator[str]:
    name = f'{SCHEMA}."{table.name}"'
    columns = ", ".join(f'"{one}" {_kind(table, one)}' for one in table.names)
    yield (
        f"CREATE TABLE IF NOT EXISTS {name} (grower text NOT NULL REFERENCES {SCHEMA}.growers, "
        "number bigint GENERATED BY DEFAULT AS IDENTITY, turn smallint NOT NULL DEFAULT 0, "
        f"{columns}, {_WHO}, PRIMARY KEY (grower, id, turn))"
    )
    yield f'DROP VIEW IF EXISTS {SCHEMA}."kept_{table.name}"'
    for one in table.names:
        yield f'ALTER TABLE {name} ADD COLUMN IF NOT EXISTS "{one}" {_kind(table, one)}'
    yield f'CREATE INDEX IF NOT EXISTS "{table.name}_number" ON {name} (grower, number)'
    yield f"CREATE INDEX IF NOT EXISTS \"{table.name}_corrects\" ON {name} (grower, corrects) WHERE corrects <> ''"
    if "block" in table.names:
        listed = 'block, "row"' if "row" in table.names else "block"
        yield f'CREATE INDEX IF NOT EXISTS "{table.name}_block" ON {name} (grower, {listed})'


def _beside_records() -> Iterator[str]:
    grower = f"grower text NOT NULL REFERENCES {SCHEMA}.growers"
    yield (
        f"CREATE TABLE IF NOT EXISTS {SCHEMA}.replaced ({grower}, number bigint GENERATED ALWAYS AS IDENTITY, kind text, id text, "
        f"turn smallint, {_WHO}, PRIMARY KEY (grower, kind, id, turn))"
    )
    yield f"CREATE INDEX IF NOT EXISTS replaced_number ON {SCHEMA}.replaced (grower, number)"
    yield (
        f"CREATE TABLE IF NOT EXISTS {SCHEMA}.photo_files ({grower}, number bigint GENERATED ALWAYS AS IDENTITY, "
        f"sha256 text, content_type text NOT NULL, data bytea NOT NULL, {_WHO}, PRIMARY KEY (grower, sha256))"
    )
    yield (
        f"CREATE TABLE IF NOT EXISTS {SCHEMA}.touched ({grower}, vineyard text, block text, stamp text NOT NULL, "
        "drawn text NOT NULL DEFAULT '', PRIMARY KEY (grower, vineyard, block))"
    )
    for table in TABLES.values():
        yield (
            f'CREATE VIEW {SCHEMA}."kept_{table.name}" WITH (security_invoker = true) AS '
            f'SELECT number, turn, {", ".join(record_columns(table))} FROM {SCHEMA}."{table.name}" t '
            f"WHERE grower = current_setting('{SCHEMA}.grower', true) AND NOT EXISTS (SELECT FROM {SCHEMA}.replaced r "
            f"WHERE r.grower = t.grower AND r.kind = '{table.name}' AND r.id = t.id AND r.turn = t.turn)"
        )


def _layers() -> Iterator[str]:
    grower = f"grower text NOT NULL REFERENCES {SCHEMA}.growers"
    for name, (_, columns) in LAYERS.items():
        yield (
            f"CREATE TABLE IF NOT EXISTS {SCHEMA}.{name} (fid bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY, "
            f"{grower}, {columns}, wkt text NOT NULL)"
        )
        yield f"CREATE INDEX IF NOT EXISTS {name}_block ON {SCHEMA}.{name} (grower, block)"
    yield (
        f"CREATE TABLE IF NOT EXISTS {SCHEMA}.map_condition (fid bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY, "
        f'{grower}, block text NOT NULL, "row" text NOT NULL, position integer NOT NULL, season integer NOT NULL, '
        "condition text NOT NULL, looked_at integer NOT NULL)"
    )
    yield f'CREATE INDEX IF NOT EXISTS map_condition_vine ON {SCHEMA}.map_condition (grower, block, "row", position)'


def _rights() -> Iterator[str]:
    yield f"GRANT USAGE ON SCHEMA {SCHEMA} TO {WRITER}, {READER}"
    yield f"GRANT SELECT ON {SCHEMA}.steps TO {WRITER}, {READER}"
    own = {table.name: ["grower", "number", "turn", *record_columns(table)] for table in TABLES.values()}
    own |= {
        "replaced": ["grower", "kind", "id", "turn"],
        "photo_files": ["grower", "sha256", "content_type", "data"],
        "consents": ["grower", "purpose", "until"],
        "growers": [],
    }
    for name, columns in own.items():
        yield from _seen(name)
        yield f'GRANT SELECT ON {SCHEMA}."{name}" TO {WRITER}, {READER}'
        if columns:  # who wrote a row, and when, is for the server to say
            yield f'GRANT INSERT ({", ".join(columns)}) ON {SCHEMA}."{name}" TO {WRITER}'
    for name in (*_MAP, "touched"):  # made from the records, and made anew at any time
        yield from _seen(name)
        for verb, rule in (("UPDATE", "USING"), ("DELETE", "USING")):
            yield f"DROP POLICY IF EXISTS {verb.lower()}d ON {SCHEMA}.{name}"
            yield f"CREATE POLICY {verb.lower()}d ON {SCHEMA}.{name} FOR {verb} {rule} ({_WRITTEN})"
        yield f"GRANT SELECT, INSERT, UPDATE, DELETE ON {SCHEMA}.{name} TO {WRITER}"
        yield f"GRANT SELECT ON {SCHEMA}.{name} TO {READER}"
    for table in TABLES:
        yield f'GRANT SELECT ON {SCHEMA}."kept_{table}" TO {WRITER}, {READER}'


def _seen(name: str) -> Iterator[str]:
    """Hand out the rules by which a login sees rows of a table, and adds some."""
    yield f'ALTER TABLE {SCHEMA}."{name}" ENABLE ROW LEVEL SECURITY'
    yield f'DROP POLICY IF EXISTS seen ON {SCHEMA}."{name}"'
    yield f'CREATE POLICY seen ON {SCHEMA}."{name}" FOR SELECT USING ({_SEEN})'
    yield f'DROP POLICY IF EXISTS written ON {SCHEMA}."{name}"'
    yield f'CREATE POLICY written ON {SCHEMA}."{name}" FOR INSERT WITH CHECK ({_WRITTEN})'


def make_geometry(*, is_geometry_there: bool) -> Iterator[str]:
    """Hand out the statements that make the layers visible in a GIS, or the view alone where there is no geometry."""
    view = f"{SCHEMA}.map_condition_by_season"
    yield f"DROP VIEW IF EXISTS {view}"
    if is_geometry_there:
        for name, (kind, _) in LAYERS.items():
            yield (
                f"ALTER TABLE {SCHEMA}.{name} ADD COLUMN IF NOT EXISTS geom geometry({kind}, 4326) "
                "GENERATED ALWAYS AS (ST_GeomFromText(wkt, 4326)) STORED"
            )
            yield f"CREATE INDEX IF NOT EXISTS {name}_geom ON {SCHEMA}.{name} USING gist (geom)"
    place = "v.geom, v.wkt" if is_geometry_there else "v.wkt"
    yield (
        f"CREATE VIEW {view} WITH (security_invoker = true) AS SELECT c.fid, {place}, c.grower, c.block, "
        f'c."row", c.position, c.season, c.condition, c.looked_at FROM {SCHEMA}.map_condition c JOIN {SCHEMA}.map_vines v '
        'ON v.grower = c.grower AND v.block = c.block AND v."row" = c."row" AND v.position = c.position'
    )
    yield f"GRANT SELECT ON {view} TO {WRITER}, {READER}"


def present_version() -> tuple[int, int]:
    """Return version and form of a store that this program makes."""
    return VERSION, FORM


def shown_version(version: tuple[Any, Any]) -> str:
    """Return version and form as they are shown."""
    return f"{version[0]}.{version[1]}"

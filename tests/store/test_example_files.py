"""trunkwatch.store: upgrade, schema, log: files that earlier versions wrote hold after the upgrade what was written into them.

`files/make.py`, run with each version, made them from the same notes; a version that is added without its file fails here.
"""

import gzip
import importlib.util
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from trunkwatch.intake import add_records, check_vineyard
from trunkwatch.store import Store, upgrade_file
from trunkwatch.store.schema import VERSION, schema_version
from trunkwatch.vineyard.tables import TABLES, records_of

FILES = Path(__file__).with_name("files")
#: Version 2 has an example of its own making, in `test_upgrade`.
VERSIONS = range(3, VERSION + 1)


@pytest.fixture(scope="module")
def maker():
    spec = importlib.util.spec_from_file_location("make_example", FILES / "make.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(params=VERSIONS)
def example(request, tmp_path):
    """Return the columns that the version has, by table, and its file after the upgrade."""
    path = tmp_path / "v.gpkg"
    path.write_bytes(gzip.decompress((FILES / f"version_{request.param}.gpkg.gz").read_bytes()))
    with closing(sqlite3.connect(path)) as db:
        assert schema_version(db) == request.param
        columns = {table: {row[1] for row in db.execute(f'PRAGMA table_info("{table}")')} for table in TABLES}
    if request.param < VERSION:
        kept, done = upgrade_file(path)
        assert kept is not None
        assert [int(step.split(":")[0]) for step in done] == list(range(request.param + 1, VERSION + 1))
    return columns, path


def _said(record, names):
    return tuple(_text(record[name]) for name in names)


def _text(value):
    return f"{value:g}" if isinstance(value, (int, float)) and value == value else str(value) if value == value else ""


def _meant(maker, table, names):
    """Return what stands of a table by hand: what was loaded, one finding corrected, one taken back."""
    rows = maker.WRITTEN[table]
    if table == "symptoms":
        row, position, values = maker.CORRECTED
        rows = [
            {**one, **(values if (one["row"], one["position"]) == (row, position) else {})}
            for one in rows
            if (one["row"], one["position"]) != maker.TAKEN_BACK
        ]
    return sorted(_said({name: one.get(name, "") for name in names}, names) for one in rows)


@pytest.mark.parametrize("table", ["rows", "plants", "surveys", "symptoms", "work", "weather", "bud_counts", "budbreak", "pruning", "settings"])  # fmt: skip
def test_what_was_written_stands_after_the_upgrade(example, maker, table):
    columns, path = example
    with Store.open(path) as store:
        stands = records_of(store.frame(table))
    if not columns[table]:
        assert stands == []  # the table came later
        return
    names = [
        name
        for name in TABLES[table].names
        if name in columns[table] and any(name in row for row in maker.WRITTEN[table])
    ]
    assert sorted(_said(record, names) for record in stands) == _meant(maker, table, names)
    later = [name for name in TABLES[table].names if name not in columns[table]]
    assert {_text(record[name]) for record in stands for name in later} <= {""}


def test_nothing_is_at_fault_and_one_more_finding_goes_in(example):
    _, path = example
    found = check_vineyard(path)
    assert [one for one in found if one.weight == "fault"] == []
    more = {"block": "North", "row": "3", "position": "7", "date": "2026-08-01", "symptom": "leaf_stripe"}
    assert add_records(path, "symptoms", [more]).new["symptoms"] == 1
    with Store.open(path) as store:
        assert len(store.frame("symptoms")) == 4


def test_there_is_an_example_of_every_version():
    assert {path.name for path in FILES.glob("*.gz")} == {f"version_{number}.gpkg.gz" for number in VERSIONS}

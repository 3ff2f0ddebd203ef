"""trunkwatch.web: tidying; new records go into the tables while nobody writes, and at the end."""

import sqlite3
import time
from contextlib import closing

from trunkwatch.intake import add_records, put_into_tables, start_file
from trunkwatch.store import Store
from trunkwatch.web.tidying import Tidying

ONE = {"block": "B", "row": "1", "position": "2", "date": "2026-01-05", "symptom": "canker", "observer": "A"}


def in_tables(path):
    with closing(sqlite3.connect(path)) as db:
        return db.execute("SELECT count(*) FROM symptoms").fetchone()[0]


def test_a_file_is_tidied_when_it_is_left_alone_and_at_the_end(tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, {"block": "B", "planted": 2010, "hemisphere": "north"}, 4, 12)
    put_into_tables(path)
    with Tidying(path, quiet_s=0.3, every_s=0.05):
        add_records(path, "symptoms", [ONE])
        until = time.monotonic() + 20
        while not in_tables(path) and time.monotonic() < until:
            time.sleep(0.05)
        assert in_tables(path) == 1
    with Tidying(path, quiet_s=60, every_s=0.05):
        add_records(path, "symptoms", [{**ONE, "position": "3"}])
        time.sleep(0.3)
        assert in_tables(path) == 1
    assert in_tables(path) == 2
    with Store.open(path) as store:
        assert (store.waiting, len(store.frame("symptoms"))) == (0, 2)


def test_a_large_file_is_left_alone_for_longer(tmp_path, monkeypatch):
    path = tmp_path / "v.gpkg"
    start_file(path, {"block": "B", "planted": 2010, "hemisphere": "north"}, 4, 12)
    put_into_tables(path)
    monkeypatch.setattr("trunkwatch.web.tidying.LARGE", 1000)
    with Tidying(path, quiet_s=0.1, every_s=0.05):
        add_records(path, "symptoms", [ONE])
        time.sleep(1)
        assert in_tables(path) == 0
    assert in_tables(path) == 1

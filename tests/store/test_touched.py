"""trunkwatch.store: touched; the mark of a block is another one after every change of its records, whoever made it, and of no other."""

import sqlite3
from contextlib import closing

import pytest

from trunkwatch.intake import add_frames, add_records, correct_record, put_into_tables
from trunkwatch.intake.rename import rename_block
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of

FINDING = {"block": "A", "row": "1", "position": "2", "date": "2026-01-05", "symptom": "canker", "observer": "A"}


@pytest.fixture
def vines(tmp_path):
    path = tmp_path / "v.gpkg"
    Store.create(path)
    add_frames(
        path,
        {
            "blocks": frame_of(
                "blocks",
                [{"block": name, "vineyard": "Gull Rise", "planted": 2010, "hemisphere": "north"} for name in "AB"],
            ),
            "rows": frame_of("rows", [{"block": name, "row": "1", "last": 12} for name in "AB"]),
        },
    )
    return path


def marks(path):
    with Store.open(path) as store:
        return {block: mark for (_, block), mark in store.stamps().items()}


def test_the_mark_of_the_block_alone_changes(vines):
    seen = [marks(vines)]
    (name,) = add_records(vines, "symptoms", [FINDING]).ids
    seen.append(marks(vines))
    correct_record(vines, "symptoms", name, {"percent": "20"})
    seen.append(marks(vines))
    put_into_tables(vines)
    seen.append(marks(vines))
    assert len({one["A"] for one in seen}) == 4
    assert len({one["B"] for one in seen[:3]}) == 1
    assert marks(vines) == seen[-1]  # nothing was written


def test_a_record_that_moves_changes_the_marks_of_the_block_it_comes_to(vines):
    (name,) = add_records(vines, "symptoms", [FINDING]).ids
    before = marks(vines)
    correct_record(vines, "symptoms", name, {"block": "B"})
    assert marks(vines)["B"] != before["B"]


def test_another_program_changes_all_marks_and_what_it_did_is_not_forgotten(vines):
    add_records(vines, "symptoms", [FINDING])
    put_into_tables(vines)
    seen = [marks(vines)]
    for note in ("seen", "seen twice"):
        with closing(sqlite3.connect(vines, isolation_level=None)) as db:
            db.execute("UPDATE symptoms SET note = ?", (note,))
        seen.append(marks(vines))
    add_records(vines, "symptoms", [{**FINDING, "position": "5"}])
    seen.append(marks(vines))
    put_into_tables(vines)
    seen.append(marks(vines))
    for block in "AB":
        assert len({one[block] for one in seen}) == 5


def test_a_name_changes_the_marks(vines):
    before = marks(vines)
    rename_block(vines, "A", label="Low")
    assert marks(vines) != before


def test_layers_are_noted_as_drawn(vines):
    add_records(vines, "symptoms", [FINDING])
    with Store.open(vines) as store:
        assert store.stale() == []
    add_records(
        vines,
        "symptoms",
        [
            {**FINDING, "position": str(n), "note": "x" * 3000, "observer": f"o{m}"}
            for n in range(1, 13)
            for m in (1, 2)
        ],
    )
    with Store.open(vines) as store:  # too much for the log: in the tables, and not drawn yet
        assert (store.waiting, store.stale()) == (0, [("Gull Rise", "A")])
    assert put_into_tables(vines)
    with Store.open(vines) as store:
        assert store.stale() == []

"""trunkwatch.store: store, schema; trunkwatch.vineyard.records: taken once, corrected, voided, in any order."""

import itertools

import pytest

from trunkwatch.store.schema import table_sql
from trunkwatch.vineyard.records import conflicts, record_id, standing, with_ids
from trunkwatch.vineyard.tables import TABLES, frame_of

ONE = {
    "block": "B",
    "row": "1",
    "position": "2",
    "date": "2026-01-05",
    "symptom": "canker",
    "percent": 30.0,
    "observer": "A",
}


def frame(*records):
    return with_ids("symptoms", frame_of("symptoms", records))


def test_the_same_record_twice_is_taken_once(empty_store):
    with empty_store() as store:
        assert store.append({"symptoms": frame(ONE)}).new == {"symptoms": 1}
        again = store.append({"symptoms": frame({**ONE, "device": "phone", "recorded_at": "2026-01-06"})})
        assert (again.new, again.same, again.changed) == ({"symptoms": 0}, {"symptoms": 1}, [])
        assert len(store.frame("symptoms")) == 1


def test_other_values_are_reported_and_taken_only_on_request(empty_store):
    with empty_store() as store:
        store.append({"symptoms": frame(ONE)})
        changed = frame({**ONE, "percent": 50.0})
        (found,) = store.append({"symptoms": changed}).changed
        assert found.values == {"percent": (30.0, 50.0)}
        assert store.frame("symptoms")["percent"].tolist() == [30.0]
        store.append({"symptoms": changed}, take_changes=True)
        assert store.frame("symptoms")["percent"].tolist() == [50.0]
        assert len(store.frame("symptoms", all_versions=True)) == 2
        store.append({"symptoms": changed}, take_changes=True)
        assert len(store.frame("symptoms", all_versions=True)) == 2


def test_a_failed_transaction_leaves_nothing(empty_store):
    def half(store):
        with store.transaction():
            store.append({"symptoms": frame(ONE)})
            raise RuntimeError("power cut")

    with empty_store() as store:
        with pytest.raises(RuntimeError):
            half(store)
        assert store.frame("symptoms").empty


def test_a_block_is_read_alone(empty_store):
    with empty_store() as store:
        store.append({"symptoms": frame(ONE, {**ONE, "block": "C"})})
        assert store.frame("symptoms", "C")["block"].tolist() == ["C"]


CHAIN = [
    {**ONE, "id": "a"},
    {**ONE, "id": "b", "corrects": "a", "percent": 40.0, "recorded_at": "2026-02-01"},
    {**ONE, "id": "c", "corrects": "b", "percent": 50.0, "recorded_at": "2026-02-02"},
    {**ONE, "id": "d", "corrects": "a", "percent": 60.0, "recorded_at": "2026-02-02"},
]


def test_the_standing_record_does_not_depend_on_the_order_of_arrival():
    """The later recorded_at stands, ties by the larger id: d, whatever came first."""
    for order in itertools.permutations(CHAIN):
        assert standing(frame_of("symptoms", order))["id"].tolist() == ["d"]
    assert conflicts(frame_of("symptoms", CHAIN)) == [("a", ("b", "d"))]


def test_a_void_takes_the_record_away():
    void = {**ONE, "id": "z", "corrects": "a", "void": "yes", "recorded_at": "2026-03-01"}
    assert standing(frame_of("symptoms", [*CHAIN, void])).empty
    assert standing(frame_of("symptoms", [*CHAIN, {**void, "recorded_at": "2026-01-01"}]))["id"].tolist() == ["d"]


def test_ids_are_made_from_the_key_alone():
    first = record_id("symptoms", ONE)
    assert first == record_id("symptoms", {**ONE, "percent": 99.0, "note": "x"})
    assert first != record_id("symptoms", {**ONE, "observer": "B"})
    assert first != record_id("symptoms", {**ONE, "trunk": 1.0})
    assert record_id("symptoms", {**ONE, "corrects": "a"}) != record_id(
        "symptoms", {**ONE, "corrects": "a", "percent": 1.0}
    )
    assert record_id("symptoms", {**ONE, "id": "own"}) == "own"


def test_every_table_has_its_columns():
    for table in TABLES.values():
        sql = table_sql(table)
        assert all(f'"{name}"' in sql for name in table.names)
        assert set(table.key) <= set(table.names)

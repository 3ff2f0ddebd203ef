"""trunkwatch.vineyard.rows_on_day: labels that change with a date, and the order of the ground."""

import pytest

from trunkwatch.errors import RecordError
from trunkwatch.vineyard.rows_on_day import natural_key, ordered_rows, rows_valid_on
from trunkwatch.vineyard.tables import frame_of


def test_labels_sort_as_a_person_reads_them():
    assert sorted(["12A", "10", "2", "12", "B2", "1", "12B", "b10"], key=natural_key) == [
        "1",
        "2",
        "10",
        "12",
        "12A",
        "12B",
        "B2",
        "b10",
    ]


def _rows(*records):
    return frame_of("rows", [{"block": "A", "last": 3, **record} for record in records])


RENAMED = _rows(
    {"row": "1"},
    {"row": "2", "valid_to": "2023-06-30"},
    {"row": "2W", "valid_from": "2023-07-01"},
    {"row": "3", "valid_to": "2024-12-31"},
)


@pytest.mark.parametrize(
    ("day", "labels"),
    [
        ("2020-01-01", {"1", "2", "3"}),
        ("2023-06-30", {"1", "2", "3"}),
        ("2023-07-01", {"1", "2W", "3"}),
        ("2024-12-31", {"1", "2W", "3"}),
        ("2025-01-01", {"1", "2W"}),
        (None, {"1", "2W"}),
    ],
)
def test_labels_hold_on_their_days_and_the_last_state_is_taken(day, labels):
    assert {record["row"] for record in rows_valid_on("A", RENAMED, day)} == labels


def test_a_block_that_was_taken_out_keeps_its_last_rows():
    gone = _rows({"row": "1", "valid_to": "2024-11-30"}, {"row": "2", "valid_to": "2022-01-31"})
    assert [record["row"] for record in rows_valid_on("A", gone)] == ["1"]
    with pytest.raises(RecordError, match="block 'A' has no rows on 2025-01-01"):
        rows_valid_on("A", gone, "2025-01-01")


def test_rows_of_another_block_are_passed_over():
    both = frame_of("rows", [{"block": "A", "row": "1", "last": 3}, {"block": "B", "row": "2", "last": 3}])
    assert [record["row"] for record in rows_valid_on("B", both)] == ["2"]
    with pytest.raises(RecordError, match="block 'C' has no rows"):
        rows_valid_on("C", both)


@pytest.mark.parametrize(
    ("records", "message"),
    [
        ([{"row": "4"}, {"row": "4"}], "row is '4' twice"),
        ([{"row": "4"}, {"row": " 4 "}], "row is '4' twice"),
        ([{"row": " "}], "row is ''"),
        ([{"row": "4", "valid_from": "2024-02-30"}], "valid_from is '2024-02-30'; expected: YYYY-MM-DD"),
        ([{"row": "4", "valid_from": "2024-02-01", "valid_to": "2023-01-01"}], "valid_to is '2023-01-01'"),
    ],
)
def test_labels_that_cannot_stand_are_refused(records, message):
    with pytest.raises(RecordError, match=message):
        rows_valid_on("A", _rows(*records))
    with pytest.raises(RecordError, match=r"the day is '1\.2\.2024'"):
        rows_valid_on("A", RENAMED, "1.2.2024")


def _ordered(*records):
    table = rows_valid_on("A", _rows(*records))
    return [record["row"] for record in ordered_rows("A", table)]


def test_rows_lie_by_order_else_by_metres_else_by_label():
    assert _ordered({"row": "10"}, {"row": "2"}, {"row": "2A"}) == ["2", "2A", "10"]
    assert _ordered({"row": "1", "across_m": 5}, {"row": "2", "across_m": 0}) == ["2", "1"]
    assert _ordered({"row": "1", "row_order": 7}, {"row": "2", "row_order": 3}) == ["2", "1"]


@pytest.mark.parametrize(
    ("records", "message"),
    [
        ([{"row": "1", "row_order": 1}, {"row": "2"}], "row '2': row_order is ''"),
        ([{"row": "1", "across_m": 1}, {"row": "2"}], "row '2': across_m is ''"),
        ([{"row": "1", "row_order": 1}, {"row": "2", "row_order": 1}], "row_order is 1 as in row '1'"),
        (
            [{"row": "1", "row_order": 1, "across_m": 5}, {"row": "2", "row_order": 2, "across_m": 0}],
            "row '2': across_m is 0; expected: more than the 5 of row '1'",
        ),
    ],
)
def test_orders_that_contradict_are_refused(records, message):
    with pytest.raises(RecordError, match=message):
        _ordered(*records)

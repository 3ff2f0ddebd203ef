import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trunkwatch.errors import RecordError
from trunkwatch.vineyard.row_layout import (
    bay_ends_of,
    breaks_of,
    fitted_spacing,
    measured_spacing,
    natural_key,
    ordered_rows,
    positions_of,
    rows_valid_on,
    runs_other_way,
    shared_bearing,
    sorted_into_rows,
    whole,
)
from trunkwatch.vineyard.tables import frame_of


def test_labels_sort_as_a_person_reads_them():
    assert sorted(["12A", "10", "2", "12", "B2", "1", "12B", "b10"], key=natural_key) == [
        "1", "2", "10", "12", "12A", "12B", "B2", "b10",
    ]  # fmt: skip


def test_halves_are_rounded_up_and_float_noise_is_none():
    assert [whole(value) for value in (0.5, 1.5, 2.5, -0.5, 2.4999999999, 2.49)] == [1, 2, 3, 0, 3, 2]


def test_breaks_are_read():
    assert breaks_of("", "here") == {}
    assert breaks_of(" 30:6.0; 55 : 8 ;", "here") == {30: 6.0, 55: 8.0}


@pytest.mark.parametrize("text", ["30", "30:", "30:6,0", "30-6", "a:6", "30:0", "30:6; 30:7", "30:-2"])
def test_breaks_that_cannot_be_read_name_place_column_value_and_expected(text):
    with pytest.raises(RecordError, match=r"block 'A', row '7': breaks has '.*'.*; expected: "):
        breaks_of(text, "block 'A', row '7'")


def test_bay_ends_are_listed_or_counted_from_the_first_position():
    assert bay_ends_of("5; 10; 15", 1, 17, "here") == (5, 10, 15, 17)
    assert bay_ends_of("5; 10; 15", 1, 15, "here") == (5, 10, 15)
    assert bay_ends_of("every 5", 1, 15, "here") == (5, 10, 15)
    assert bay_ends_of("every 5", 3, 15, "here") == (7, 12, 15)
    assert bay_ends_of("  ", 1, 15, "here") == ()


@pytest.mark.parametrize("text", ["5; 4", "5; 5", "every 0", "each 5", "5-10", "0; 5", "5; 18", "5, 10"])
def test_bay_ends_that_cannot_be_read_are_refused(text):
    with pytest.raises(RecordError, match=r"here: bay_ends is '.*'; expected: "):
        bay_ends_of(text, 1, 17, "here")


@given(st.integers(1, 9), st.integers(0, 5), st.integers(0, 60))
def test_bays_of_a_constant_count_are_all_full_but_the_last(step, first, more):
    last = first + more
    ends = bay_ends_of(f"every {step}", first, last, "here")
    sizes = np.diff([first - 1, *ends])
    assert ends[-1] == last
    assert (sizes[:-1] == step).all()
    assert 1 <= sizes[-1] <= step


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


def test_serpentine_turns_every_other_row_and_a_row_taken_out_turns_no_other():
    by_label = [{"row": label, "row_order": math.nan} for label in "123"]
    by_order = [{"row": label, "row_order": float(label)} for label in "135"]
    assert runs_other_way(by_label, "serpentine") == [False, True, False]
    assert runs_other_way(by_order, "serpentine") == [False, False, False]
    assert runs_other_way(by_label, "same_end") == runs_other_way(by_label, "") == [False] * 3


@pytest.mark.parametrize(
    ("record", "message"),
    [
        ({"first": 4.0, "last": 3.0}, r"last is 3; expected: 4 \(first\) or more"),
        ({"first": math.nan, "last": math.nan}, "last is ''"),
        ({"first": 1.5, "last": 3.0}, "first is 1.5; expected: a whole number"),
        ({"first": -1.0, "last": 3.0}, "first is -1"),
        ({"first": 1.0, "last": 1e7}, "last is 10000000; expected: at most 100000"),
    ],
)
def test_positions_that_cannot_stand_are_refused(record, message):
    with pytest.raises(RecordError, match=message):
        positions_of(record, "here")
    assert positions_of({"first": math.nan, "last": 3.0}, "here") == (1, 3)


def test_measured_spacing_leaves_alleys_out():
    # 9 steps over 26 m, of which one is an alley of 6 m: eight of 2.5 m.
    row = {"first": 3.0, "last": 12.0, "breaks": "5:6.0", "spacing_m": math.nan}
    assert measured_spacing(row, 26.0, math.nan, "here") == pytest.approx((2.5, 26.0))
    assert measured_spacing(row, math.nan, 2.0, "here") == pytest.approx((math.nan, 22.0), nan_ok=True)
    with pytest.raises(RecordError, match=r"its ends lie 6\.8 m apart, 0\.10 m a vine; expected: 0\.2 to 8 m"):
        measured_spacing(row, 6.8, 2.0, "here")
    with pytest.raises(RecordError, match="end_longitude is ''"):
        measured_spacing(row, math.nan, math.nan, "here")


def test_the_bearing_of_rows_weighs_long_rows_more_and_reads_serpentine_rows_backwards():
    records = [{"row": "1", "row_order": 1.0}, {"row": "2", "row_order": 2.0}]
    east = np.array([[100.0, 0.0], [-100.0, -2.0]])
    assert shared_bearing({"block": "A"}, records, east) == pytest.approx(
        90 - math.degrees(math.atan2(2, 200)), abs=1e-9
    )
    long_and_short = np.array([[0.0, 300.0], [10.0, 100.0]])
    assert shared_bearing({"block": "A"}, records, long_and_short) == pytest.approx(
        math.degrees(math.atan2(10, 400)), abs=1e-9
    )


def test_spacing_and_alleys_are_fitted():
    # Positions 2 to 8 at 1.5 m with an alley of 5 m after 4; 6 was not measured; the row is 1 to 9.
    positions = np.array([2, 3, 4, 5, 7, 8])
    metres = np.array([1.5, 3.0, 4.5, 9.5, 12.5, 14.0])
    reach, breaks = fitted_spacing(positions, metres, 1, 9)
    assert reach == pytest.approx([0.0, 15.5])
    assert breaks == pytest.approx({4: 5.0})


@pytest.mark.parametrize("serpentine", [False, True])
def test_points_are_sorted_into_rows_and_counted(serpentine):
    # Rows run to bearing 40; row 0 misses its third vine; the second row lies to the left.
    along = np.array([math.sin(math.radians(40)), math.cos(math.radians(40))])
    left = np.array([-along[1], along[0]])
    spots = [(0, 0), (0, 1), (0, 3), (0, 4), (1, 2), (1, 3), (1, 4)]
    points = np.array([2.0 * vine * along + 2.5 * row * left for row, vine in spots])
    row, position = sorted_into_rows(points, 41.0, 2.0, 2.0, leftward=True, serpentine=serpentine)
    assert row.tolist() == [0, 0, 0, 0, 1, 1, 1]
    assert position.tolist() == [1, 2, 4, 5, *([3, 2, 1] if serpentine else [1, 2, 3])]


def test_points_that_lie_in_no_rows_are_refused(rng):
    with pytest.raises(ValueError, match="do not lie in rows at bearing"):
        sorted_into_rows(rng.uniform(0, 20, (300, 2)), 10.0, 2.0, 2.0, leftward=False, serpentine=False)

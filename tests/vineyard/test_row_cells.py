"""trunkwatch.vineyard.row_cells: positions, breaks and bay ends as they are written."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trunkwatch.errors import RecordError
from trunkwatch.vineyard.row_cells import bay_ends_of, breaks_of, positions_of


@pytest.mark.parametrize(
    ("record", "message"),
    [
        ({"first": 4.0, "last": 3.0}, r"last is 3; expected: 4 \(first\) or more"),
        (
            {"first": 40.0, "last": 1.0},
            "here: last is 1; .*from the far end is written first 1, last 40, numbered_from end",
        ),
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

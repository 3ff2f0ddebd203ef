"""trunkwatch.ground.near_vines: the vine that a coordinate names, and those it may mean."""

import math

import pytest
from laid_blocks import EARTH, laid, rows_of

from trunkwatch import ground


def candidates(metres_east, metres_north, accuracy):
    """Ask about a point near row 2, position 3, in rows that run due north, 2.5 m x 1.8 m."""
    grid, placed = laid(rows_of({"row": "1", "last": 5}, {"row": "2", "last": 5}), row_bearing_deg=0.0)
    cell = grid.cell("2", 3)
    lon, lat, _ = EARTH.fwd(placed.longitude[cell], placed.latitude[cell], 90, metres_east)
    lon, lat, _ = EARTH.fwd(lon, lat, 0, metres_north)
    near = ground.vines_near(grid, placed, lon, lat, accuracy)
    return near, ground.names_one_vine(grid, placed, lon, lat, accuracy)


def test_an_accurate_coordinate_names_a_vine():
    near, named = candidates(0.2, -0.1, 0.05)
    assert (named.row, named.position) == ("2", 3)
    assert named.distance_m == pytest.approx(math.hypot(0.2, 0.1), abs=0.005)
    assert near[0] == named


@pytest.mark.parametrize(("accuracy", "names"), [(0.53, True), (0.54, False), (5.0, False), (math.nan, False)])
def test_a_coordinate_names_a_vine_only_under_three_tenths_of_the_smaller_spacing(accuracy, names):
    near, named = candidates(0.0, 0.0, accuracy)  # 0.3 x 1.8 m = 0.54 m
    assert (named is not None) is names
    assert (near[0].row, near[0].position) == ("2", 3)


def test_candidates_are_those_within_twice_the_accuracy_the_nearest_first():
    near, named = candidates(0.1, 0.2, 1.0)
    # Distances: 2:3 0.22, 2:4 1.60, 2:2 2.00 m (just over: sqrt(0.01 + 4)); row 1 is 2.6 m away.
    assert [(vine.row, vine.position) for vine in near] == [("2", 3), ("2", 4)]
    assert named is None
    assert near[1].distance_m == pytest.approx(math.hypot(0.1, 1.6), abs=0.005)
    unknown, _ = candidates(0.0, 0.0, math.nan)
    assert len(unknown) == 10  # 10 m around: the whole of it
    assert [vine.distance_m for vine in unknown] == sorted(vine.distance_m for vine in unknown)


def test_a_point_between_vines_or_far_from_all_names_none():
    between, named = candidates(-1.25, 0.9, 0.1)  # in the middle of four vines
    assert {(vine.row, vine.position) for vine in between} <= {("1", 3), ("1", 4), ("2", 3), ("2", 4)}
    assert named is None
    assert candidates(50.0, 0.0, 0.1) == ((), None)


def test_coordinates_that_are_none_are_refused():
    grid, placed = laid(rows_of({"row": "1", "last": 5}))
    with pytest.raises(ValueError, match="longitude nan"):
        ground.vines_near(grid, placed, math.nan, 44, 1)
    with pytest.raises(ValueError, match="accuracy is -1 m"):
        ground.names_one_vine(grid, placed, -30, 44, -1)

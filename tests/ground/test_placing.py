"""trunkwatch.ground: block_frame, placing: a block lies on the ground as its grid says, by geodesics."""

import math

import numpy as np
import pytest
from laid_blocks import EARTH, laid, rows_of

from trunkwatch import ground


def geodesic(placed, a, b):
    """Azimuth and metres from cell a to cell b, on the ellipsoid."""
    azimuth, _, metres = EARTH.inv(placed.longitude[a], placed.latitude[a], placed.longitude[b], placed.latitude[b])
    return azimuth % 360, metres


@pytest.mark.parametrize("latitude", [-45.0, -33.0, 0.0, 44.0, 60.0])
@pytest.mark.parametrize("longitude", [-30.0, 179.9995])
@pytest.mark.parametrize("bearing", [0.0, 24.0, 98.0, 251.0])
def test_a_kilometre_block_is_true_to_a_centimetre(latitude, longitude, bearing):
    # 101 rows of 10 m x 201 vines of 5 m: a square kilometre.
    rows = rows_of(*({"row": str(n), "last": 201} for n in range(1, 102)))
    grid, placed = laid(
        rows,
        latitude=latitude,
        longitude=longitude,
        row_bearing_deg=bearing,
        row_spacing_m=10,
        vine_spacing_m=5,
    )
    cells = [(0, 0), (0, 200), (100, 0), (100, 200), (50, 100), (3, 77), (98, 14)]
    for a in cells:
        for b in cells:
            plane = math.hypot(grid.along_m[b] - grid.along_m[a], grid.across_m[b] - grid.across_m[a])
            assert geodesic(placed, a, b)[1] == pytest.approx(plane, abs=0.01)
    assert (np.abs(placed.longitude) <= 180).all()
    azimuth, metres = geodesic(placed, (0, 0), (0, 200))
    assert (azimuth - bearing + 180) % 360 - 180 == pytest.approx(0, abs=1e-4)
    assert metres == pytest.approx(1000, abs=1e-4)
    azimuth, _ = geodesic(placed, (0, 0), (100, 0))
    assert (azimuth - bearing - 90 + 180) % 360 - 180 == pytest.approx(0, abs=1e-4)


def test_rows_that_go_left_lie_to_the_left():
    rows = rows_of({"row": "1", "last": 3}, {"row": "2", "last": 3})
    _, placed = laid(rows, rows_go="left", row_bearing_deg=10.0)
    assert geodesic(placed, (0, 0), (1, 0)) == pytest.approx((280.0, 2.5), abs=1e-3)


def test_the_block_hangs_on_position_one_of_its_first_row_wherever_that_stands():
    # The first row begins 5.4 m behind the base line, the second row on it.
    rows = rows_of({"row": "1", "last": 4, "start_m": 5.4}, {"row": "2", "last": 4})
    grid, placed = laid(rows)
    first = grid.cell("1", 1)
    assert first == (0, 3)
    assert (placed.longitude[first], placed.latitude[first]) == pytest.approx((-30.0, 44.0), abs=1e-12)
    azimuth, metres = geodesic(placed, first, grid.cell("2", 1))
    assert metres == pytest.approx(math.hypot(5.4, 2.5), abs=1e-4)
    assert azimuth == pytest.approx(24 + 180 - math.degrees(math.atan2(2.5, 5.4)), abs=1e-3)
    assert np.isnan(placed.longitude[~grid.exists]).all()
    assert np.isfinite(placed.latitude[grid.exists]).all()


@pytest.mark.parametrize("missing", ["longitude", "latitude", "row_bearing_deg", "rows_go"])
def test_a_block_without_coordinates_is_not_placed_and_says_why(missing):
    grid, placed = laid(rows_of({"row": "1", "last": 3}, {"row": "2", "last": 3}), **{missing: ""})
    assert not placed
    assert placed.reason.startswith(f"block 'A' has no {missing}")
    assert np.isnan(placed.longitude).all()
    assert placed.longitude.shape == grid.shape
    assert ground.vines_near(grid, placed, -30, 44, 1) == ()
    assert ground.names_one_vine(grid, placed, -30, 44, 0.1) is None


def test_a_guessed_spacing_places_nothing_and_one_row_needs_no_side():
    _, placed = laid(rows_of({"row": "1", "last": 3}), row_spacing_m=None, vine_spacing_m=None)
    assert placed.reason == "block 'A' has no vine_spacing_m and row_spacing_m"
    assert laid(rows_of({"row": "1", "last": 3}), rows_go="")[1]

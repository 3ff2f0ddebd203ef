"""trunkwatch.ground: fitted_rows, sorted_points: rows from a point per vine, with and without labels."""

import math

import numpy as np
import pytest
from laid_blocks import EARTH, laid, rows_of

from trunkwatch import ground
from trunkwatch.errors import RecordError
from trunkwatch.ground.fitted_rows import fitted_spacing
from trunkwatch.ground.sorted_points import sorted_into_rows
from trunkwatch.vineyard.tables import frame_of


def surveyed(rng, *, labelled, noise=0.03, drop=()):
    """Survey a point a vine of a slanted block of 4 rows, as a survey brings it."""
    rows = rows_of(*({"row": str(n + 1), "last": 20 + n, "start_m": 1.8 * n, "breaks": "8:6.0"} for n in range(4)))
    grid, placed = laid(rows, row_bearing_deg=70.0, rows_go="left")
    east, north = (
        metres[grid.exists] + rng.normal(0, noise, grid.exists.sum()) for metres in (placed.east_m, placed.north_m)
    )
    longitude, latitude = placed.frame.to_degrees(east, north)
    truth = [grid.label(*cell) for cell in np.argwhere(grid.exists)]
    records = [
        {
            "block": "A",
            "row": row if labelled else "",
            "position": str(position) if labelled else "",
            "longitude": lon,
            "latitude": lat,
            "accuracy_m": noise,
        }
        for (row, position), lon, lat in zip(truth, longitude, latitude, strict=True)
        if (row, position) not in drop
    ]
    return grid, placed, [spot for spot in truth if spot not in drop], frame_of("plants", records)


def test_rows_are_fitted_to_labelled_points(rng):
    drop = {("1", 3), ("1", 4), ("3", 20)}
    grid, _, truth, plants = surveyed(rng, labelled=True, drop=drop)
    fit = ground.grid_from_points({"block": "A"}, plants)
    assert fit.grid.position.tolist() == grid.position.tolist()
    assert list(zip(fit.row, fit.position.tolist(), strict=True)) == truth
    assert fit.block["row_bearing_deg"] == pytest.approx(70, abs=0.1)
    assert fit.block["rows_go"] == "left"
    assert fit.block["vine_spacing_m"] == pytest.approx(1.8, abs=0.01)
    assert fit.block["row_spacing_m"] == pytest.approx(2.5, abs=0.03)
    assert fit.residual_m.max() < 0.03 * 4
    assert np.sqrt(np.mean(fit.residual_m**2)) == pytest.approx(0.03 * math.sqrt(2), rel=0.2)


def test_a_point_without_label_is_named_only_if_it_is_accurate(rng):
    _, _, truth, plants = surveyed(rng, labelled=True)
    plants.loc[[5, 6], ["row", "position"]] = ""
    plants.loc[6, "accuracy_m"] = 3.0
    fit = ground.grid_from_points({"block": "A"}, plants)
    assert (fit.row[5], fit.position[5]) == truth[5]
    assert (fit.row[6], fit.position[6]) == ("", -1)
    assert np.isnan(fit.residual_m[6])
    near = ground.vines_near(fit.grid, fit.placed, plants["longitude"][6], plants["latitude"][6], 3.0)
    assert truth[6] in {(vine.row, vine.position) for vine in near}


def test_a_mislabelled_point_stands_out(rng):
    _, _, truth, plants = surveyed(rng, labelled=True)
    one, two = truth.index(("2", 12)), truth.index(("2", 13))
    plants.loc[[one, two], "position"] = ["13", "12"]
    fit = ground.grid_from_points({"block": "A"}, plants)
    assert set(np.flatnonzero(fit.residual_m > 1.0)) == {one, two}


@pytest.mark.parametrize("written", [{}, {"row_bearing_deg": 72.6}, {"vine_spacing_m": 1.8, "row_spacing_m": 2.5}])
def test_points_without_labels_are_sorted_into_rows(rng, written):
    drop = {("1", 3), ("4", 15), ("4", 16)}
    grid, placed, truth, plants = surveyed(rng, labelled=False, drop=drop)
    fit = ground.grid_from_points({"block": "A", "rows_go": "left", **written}, plants)
    # The alley of 6 m counts as two missing vines: positions behind it are two more.
    assert list(zip(fit.row, fit.position.tolist(), strict=True)) == [
        (row, position + 2 * (position > 8)) for row, position in truth
    ]
    cell, other = fit.grid.cell("3", 7), grid.cell("3", 7)
    off = EARTH.inv(
        fit.placed.longitude[cell], fit.placed.latitude[cell], placed.longitude[other], placed.latitude[other]
    )[2]
    assert off < 0.4  # the alley is 0.6 m wider than three vines, shared out over the row


def test_points_that_make_no_rows_are_refused(rng):
    _, _, _, plants = surveyed(rng, labelled=False)
    with pytest.raises(RecordError, match="has 0 plants with coordinates"):
        ground.grid_from_points({"block": "A"}, plants.assign(longitude=np.nan))
    with pytest.raises(RecordError, match=r"has 0 plants with accuracy_m under 0\.5"):
        ground.grid_from_points({"block": "A"}, plants.assign(accuracy_m=3.0))
    with pytest.raises(RecordError, match="row_bearing_deg is ''; expected: degrees, since vines stand as far"):
        ground.grid_from_points({"block": "A", "vine_spacing_m": 2.5, "row_spacing_m": 2.5}, plants)
    for bearing in (100.0, 120.0):  # across the rows at 70; near 122 lie lines aslant through them
        with pytest.raises(
            RecordError, match=f"block 'A': its points do not lie in rows at bearing {bearing / 10:.0f}"
        ):
            ground.grid_from_points({"block": "A", "row_bearing_deg": bearing}, plants)
    lone = frame_of(
        "plants",
        [
            *plants.head(3).assign(row="1", position=["1", "2", "3"]).to_dict("records"),
            {**plants.iloc[9].to_dict(), "row": "2", "position": "4"},
            {"block": "A", "row": "2", "position": "7"},
        ],
    )
    with pytest.raises(RecordError, match="row '2' has 1 positions with coordinates; expected: 2 or more"):
        ground.grid_from_points({"block": "A"}, lone)


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

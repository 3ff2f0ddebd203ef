import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from trunkwatch import ground
from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockRecords, Condition, build_history
from trunkwatch.vineyard.tables import TABLES, frame_of

EARTH = Geod(ellps="WGS84")
BLOCK = {
    "block": "A", "row_spacing_m": 2.5, "vine_spacing_m": 1.8, "longitude": -30.0, "latitude": 44.0,
    "row_bearing_deg": 24.0, "rows_go": "right",
}  # fmt: skip


def rows_of(*rows):
    return frame_of("rows", [{"block": "A", **row} for row in rows])


def laid(rows, **block):
    record = {**BLOCK, **block}
    grid = RowGrid.from_tables(record, rows)
    return grid, ground.place(grid, record)


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
        rows, latitude=latitude, longitude=longitude, row_bearing_deg=bearing,
        row_spacing_m=10, vine_spacing_m=5,
    )  # fmt: skip
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


def end_coordinates(spots, *, bearing, at=(-30.0, 44.0)):
    """Coordinates of points given in metres along and to the right, by geodesics from one point."""
    found = []
    for along, right in spots:
        azimuth = bearing + math.degrees(math.atan2(right, along))
        found.append(EARTH.fwd(*at, azimuth, math.hypot(along, right))[:2])
    return found


def ended(row, start, end, **more):
    return {
        "row": row, "start_longitude": start[0], "start_latitude": start[1], "end_longitude": end[0],
        "end_latitude": end[1], **more,
    }  # fmt: skip


def slanted(*, bearing=24.0, turned=False):
    """Three rows 2.5 m apart to the left, 1.8 m a vine: 6, 4 (from 2.7 m on) and 8 vines with an alley."""
    ends = [((0, 0), (9.0, 0)), ((2.7, -2.5), (8.1, -2.5)), ((-3.6, -5.0), (13.2, -5.0))]
    found = []
    for number, (row, last) in enumerate((("1", 6), ("2", 4), ("10", 8))):
        start, end = end_coordinates(ends[number], bearing=bearing)
        if turned and number == 1:
            start, end = end, start
        found.append(ended(row, start, end, last=last))
    found[2]["breaks"] = "2:6.0"
    return rows_of(*found)


@pytest.mark.parametrize("bearing", [24.0, 200.0, 351.0])
def test_row_ends_give_starts_distances_spacings_and_bearing(bearing):
    block, rows = ground.rows_from_ends({"block": "A"}, slanted(bearing=bearing))
    assert list(rows.columns) == list(TABLES["rows"].names)
    assert rows["row"].tolist() == ["1", "2", "10"]
    assert rows["start_m"].tolist() == pytest.approx([0, 2.7, -3.6], abs=1e-3)
    assert rows["across_m"].tolist() == pytest.approx([0, 2.5, 5.0], abs=1e-3)
    assert rows["spacing_m"].tolist() == pytest.approx([1.8, 1.8, 1.8], abs=1e-3)
    assert block["row_bearing_deg"] == pytest.approx(bearing, abs=1e-3)
    assert (block["rows_go"], block["numbering"]) == ("left", "same_end")
    assert (block["vine_spacing_m"], block["row_spacing_m"]) == pytest.approx((1.8, 2.5), abs=1e-3)
    grid = RowGrid.from_tables(block, rows)
    assert [" ".join("." if p < 0 else str(p) for p in line) for line in grid.position] == [
        ". . 1 2 3 4 5 6 . .", ". . . . 1 2 3 4 . .", "1 2 . . 3 4 5 6 7 8",
    ]  # fmt: skip
    assert grid.drifting == ()


def test_placed_rows_meet_their_end_coordinates():
    given = slanted()
    block, rows = ground.rows_from_ends({"block": "A"}, given)
    grid = RowGrid.from_tables(block, rows)
    for placed in (ground.place(grid, block), ground.place(grid, block, rows)):
        for record in given.to_dict("records"):
            for end, position in (("start", 1), ("end", int(record["last"]))):
                cell = grid.cell(record["row"], position)
                off = EARTH.inv(
                    placed.longitude[cell], placed.latitude[cell],
                    record[f"{end}_longitude"], record[f"{end}_latitude"],
                )[2]  # fmt: skip
                assert off < 0.01


def test_serpentine_rows_are_known_by_their_ends():
    block, rows = ground.rows_from_ends({"block": "A"}, slanted(turned=True))
    assert block["numbering"] == "serpentine"
    assert rows["start_m"].tolist() == pytest.approx([0, 2.7, -3.6], abs=1e-3)
    grid = RowGrid.from_tables(block, rows)
    assert grid.position[1].tolist() == [-1, -1, -1, -1, 4, 3, 2, 1, -1, -1]
    placed = ground.place(grid, block)
    first = slanted(turned=True).iloc[1]
    cell = grid.cell("2", 1)
    off = EARTH.inv(placed.longitude[cell], placed.latitude[cell], first["start_longitude"], first["start_latitude"])
    assert off[2] < 0.01


def test_rows_that_fan_out_are_placed_between_their_own_ends():
    # Row 2 runs 3 degrees off row 1: 5.2 m further away at its far end.
    starts = end_coordinates([(0, 0), (0, 3.0)], bearing=90)
    far = [EARTH.fwd(*start, 90 + turn, 100.0)[:2] for start, turn in zip(starts, (0, 3), strict=True)]
    given = rows_of(*(ended(str(n + 1), starts[n], far[n], last=51) for n in (0, 1)))
    block, rows = ground.rows_from_ends({"block": "A", "row_spacing_m": 3.0}, given)
    grid = RowGrid.from_tables(block, rows)
    placed = ground.place(grid, block, rows)
    middle = EARTH.fwd(*starts[1], 93.0, 50.0)[:2]
    cell = grid.cell("2", 26)
    assert EARTH.inv(placed.longitude[cell], placed.latitude[cell], *middle)[2] < 0.01
    straight = ground.place(grid, block)
    first = grid.cell("2", 1)
    assert EARTH.inv(placed.longitude[first], placed.latitude[first], *starts[1])[2] < 0.01
    assert EARTH.inv(straight.longitude[first], straight.latitude[first], *starts[1])[2] > 1


def test_without_coordinates_rows_come_back_as_they_were():
    rows = rows_of({"row": "1", "last": 3, "start_m": 4.0})
    block, same = ground.rows_from_ends(BLOCK, rows)
    assert block == BLOCK
    assert same.equals(rows)


def test_starts_alone_do_with_the_bearing_of_the_block():
    starts = end_coordinates([(0, 0), (3.6, 2.5)], bearing=24)
    given = rows_of(
        *(
            {"row": str(n), "last": 4, "start_longitude": lon, "start_latitude": lat}
            for n, (lon, lat) in enumerate(starts)
        )
    )
    block, rows = ground.rows_from_ends({**BLOCK, "rows_go": ""}, given)
    assert block["rows_go"] == "right"
    assert rows["start_m"].tolist() == pytest.approx([0, 3.6], abs=1e-3)
    assert rows["spacing_m"].isna().all()
    assert RowGrid.from_tables(block, rows).cell("1", 1) == (1, 2)
    with pytest.raises(RecordError, match="row '0': end_longitude is ''"):
        ground.rows_from_ends({**BLOCK, "row_bearing_deg": None}, given)


def test_the_ground_and_not_the_label_gives_the_order_of_rows():
    # Row 2 was planted between 3 and 4.
    ends = {"1": 0.0, "3": 2.5, "2": 5.0, "4": 7.5}
    given = rows_of(
        *(ended(row, *end_coordinates([(0, out), (9, out)], bearing=60), last=6) for row, out in ends.items())
    )
    block, rows = ground.rows_from_ends({"block": "A"}, given)
    assert rows["row"].tolist() == ["1", "3", "2", "4"]
    assert RowGrid.from_tables(block, rows).rows == ("1", "3", "2", "4")
    assert block["rows_go"] == "right"


@pytest.mark.parametrize(
    ("block", "change", "message"),
    [
        ({}, {"start_longitude": None}, "row '2': start_longitude or start_latitude is ''"),
        ({"row_bearing_deg": 204.0}, {}, "row_bearing_deg is 204; expected: about 24"),
        ({"rows_go": "right"}, {}, "rows_go is 'right'; expected: 'left', where row '10' lies"),
        ({"numbering": "serpentine"}, {}, "row '2': from start to end it runs the other way"),
        ({}, {"end_longitude": -30.0001, "end_latitude": 44.0}, "row '2': its ends lie [0-9]+ degrees off"),
        ({}, {"last": 100}, r"row '2': its ends lie 5\.4 m apart, 0\.05 m a vine"),
        ({}, {"last": 0}, r"row '2': last is 0; expected: 1 \(first\) or more"),
    ],
)  # fmt: skip
def test_row_ends_that_contradict_are_refused(block, change, message):
    given = slanted()
    for column, value in change.items():
        given.loc[1, column] = value
    with pytest.raises(RecordError, match=message):
        ground.rows_from_ends({"block": "A", **block}, given)


def test_only_the_last_row_run_backwards_is_neither_numbering():
    given = slanted()
    given.loc[2, ["start_longitude", "start_latitude", "end_longitude", "end_latitude"]] = given.loc[
        2, ["end_longitude", "end_latitude", "start_longitude", "start_latitude"]
    ].to_numpy()
    with pytest.raises(RecordError, match="numbering 'of either kind' says"):
        ground.rows_from_ends({"block": "A"}, given)


@given(
    st.floats(-45, 60), st.floats(0, 360, exclude_max=True), st.booleans(),
    st.lists(st.tuples(st.integers(2, 40), st.floats(-20, 20)), min_size=2, max_size=5),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_placing_a_block_and_reading_its_row_ends_undo_each_other(latitude, bearing, left, rows):
    given = rows_of(*({"row": str(n), "last": last, "start_m": start} for n, (last, start) in enumerate(rows)))
    grid, placed = laid(
        given, latitude=latitude, row_bearing_deg=bearing,
        rows_go="left" if left else "right", numbering="serpentine",
    )  # fmt: skip
    ends = given.drop(columns=["start_m"]).assign(start_m=np.nan)
    for n, (last, _) in enumerate(rows):
        for end, position in (("start", 1), ("end", last)):
            cell = grid.cell(str(n), position)
            ends.loc[n, f"{end}_longitude"], ends.loc[n, f"{end}_latitude"] = (
                placed.longitude[cell],
                placed.latitude[cell],
            )
    block, found = ground.rows_from_ends({"block": "A"}, ends)
    assert block["rows_go"] == ("left" if left else "right")
    assert block["numbering"] == "serpentine"
    assert (block["row_bearing_deg"] - bearing + 180) % 360 - 180 == pytest.approx(0, abs=1e-3)
    assert found["start_m"].to_numpy() - found["start_m"][0] == pytest.approx(
        given["start_m"].to_numpy() - given["start_m"][0], abs=0.01
    )
    assert found["spacing_m"].tolist() == pytest.approx([1.8] * len(rows), abs=0.01)


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
            "block": "A", "row": row if labelled else "", "position": str(position) if labelled else "",
            "longitude": lon, "latitude": lat, "accuracy_m": noise,
        }
        for (row, position), lon, lat in zip(truth, longitude, latitude, strict=True)
        if (row, position) not in drop
    ]  # fmt: skip
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
    lone = frame_of("plants", [*plants.head(3).assign(row="1", position=["1", "2", "3"]).to_dict("records"),
                               {**plants.iloc[9].to_dict(), "row": "2", "position": "4"},
                               {"block": "A", "row": "2", "position": "7"}])  # fmt: skip
    with pytest.raises(RecordError, match="row '2' has 1 positions with coordinates; expected: 2 or more"):
        ground.grid_from_points({"block": "A"}, lone)


def test_vines_per_area():
    # 43,560 sq ft / (7 ft x 9 ft) = 691.43 by hand; 10,000 m2 / (1.5 m x 3.0 m) = 2222.22 by hand.
    assert ground.vines_per_acre(9 * 0.3048, 7 * 0.3048) == pytest.approx(691.4286, abs=1e-3)
    assert ground.vines_per_hectare(3.0, 1.5) == pytest.approx(2222.2222, abs=1e-3)
    assert ground.vines_per_hectare(3.0, 1.5) / ground.vines_per_acre(3.0, 1.5) == pytest.approx(2.4710538, abs=1e-6)
    with pytest.raises(ValueError, match="both must be above 0"):
        ground.vines_per_acre(0, 2)
    with pytest.raises(ValueError, match="both must be above 0"):
        ground.vines_per_hectare(2, math.nan)


@pytest.fixture
def golden_history(golden):
    block = {**golden.BLOCK, "longitude": -30.0, "latitude": 44.0, "row_bearing_deg": 90.0}
    tables = {name: frame_of(name, golden.TABLES[name]) for name in ("rows", "plants", "surveys", "symptoms", "work")}
    grid = RowGrid.from_tables(block, tables["rows"])
    history = build_history(BlockRecords(block=block, **tables), grid)
    return history, ground.place(grid, block)


def test_a_season_is_exported_as_one_point_a_position(golden, golden_history, tmp_path):
    history, placed = golden_history
    frame = ground.season_frame(history, placed, 2025)
    assert list(frame.columns) == [
        "block", "row", "position", "season", "condition", "looked_at", "geometry",
    ]  # fmt: skip
    assert frame.crs == "EPSG:4326"
    assert frame["condition"].tolist() == [Condition[word.upper()].word for word in golden.CONDITIONS[2025].split()]
    assert frame["looked_at"].tolist() == [True] * 4 + [False] * 4
    assert frame["position"].tolist() == list(range(1, 9))
    metres = [EARTH.inv(-30.0, 44.0, point.x, point.y)[2] for point in frame.geometry]
    assert metres == pytest.approx([2.0 * n for n in range(8)], abs=0.01)
    frame.to_file(tmp_path / "season.geojson", driver="GeoJSON")
    import geopandas

    back = geopandas.read_file(tmp_path / "season.geojson")
    assert back["condition"].tolist() == frame["condition"].tolist()
    with pytest.raises(RecordError, match="no season 1999"):
        ground.season_frame(history, placed, 1999)


def test_a_block_that_is_not_placed_is_not_exported(golden_history):
    history, _ = golden_history
    nowhere = ground.place(history.grid, {"block": "G"})
    with pytest.raises(RecordError, match="block 'G' has no longitude; expected: coordinates"):
        ground.season_frame(history, nowhere, 2025)

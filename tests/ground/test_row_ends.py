"""trunkwatch.ground.row_ends: what the coordinates of row ends say, and where they contradict."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from laid_blocks import BLOCK, EARTH, laid, rows_of

from trunkwatch import ground
from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.ground.row_ends import measured_spacing, shared_bearing
from trunkwatch.vineyard.tables import TABLES


def end_coordinates(spots, *, bearing, at=(-30.0, 44.0)):
    """Coordinates of points given in metres along and to the right, by geodesics from one point."""
    found = []
    for along, right in spots:
        azimuth = bearing + math.degrees(math.atan2(right, along))
        found.append(EARTH.fwd(*at, azimuth, math.hypot(along, right))[:2])
    return found


def ended(row, start, end, **more):
    return {
        "row": row,
        "start_longitude": start[0],
        "start_latitude": start[1],
        "end_longitude": end[0],
        "end_latitude": end[1],
        **more,
    }


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
        ". . 1 2 3 4 5 6 . .",
        ". . . . 1 2 3 4 . .",
        "1 2 . . 3 4 5 6 7 8",
    ]
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
                    placed.longitude[cell],
                    placed.latitude[cell],
                    record[f"{end}_longitude"],
                    record[f"{end}_latitude"],
                )[2]
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
    with pytest.raises(
        RecordError, match=f"row '{given.loc[2, 'row']}': .*numbering 'of either kind' says.*numbered_from end"
    ):
        ground.rows_from_ends({"block": "A"}, given)


@pytest.mark.parametrize("turned", [0, 1, 2])
def test_the_row_that_is_measured_against_the_others_is_named_and_can_be_said(turned):
    given = slanted()
    given.loc[turned, ["start_longitude", "start_latitude", "end_longitude", "end_latitude"]] = given.loc[
        turned, ["end_longitude", "end_latitude", "start_longitude", "start_latitude"]
    ].to_numpy()
    label = given.loc[turned, "row"]
    if turned != 1:  # with the middle of three rows turned, they are serpentine
        with pytest.raises(RecordError, match=f"row '{label}': from start to end it runs the other way"):
            ground.rows_from_ends({"block": "A"}, given)
    with pytest.raises(RecordError, match=f"row '{label}': .*numbering 'same_end' says; .*numbered_from end"):
        ground.rows_from_ends({"block": "A", "numbering": "same_end"}, given)
    if turned == 0:
        with pytest.raises(RecordError, match=f"row_bearing_deg is 24; .*or numbered_from for row '{label}'"):
            ground.rows_from_ends({"block": "A", "numbering": "same_end", "row_bearing_deg": 24.0}, given)
    given["numbered_from"] = ["end" if n == turned else "" for n in range(3)]
    block, rows = ground.rows_from_ends({"block": "A", "numbering": "same_end"}, given)
    assert ground.rows_from_ends({"block": "A"}, given)[0]["numbering"] == "same_end"
    bearing = {"block": "A", "numbering": "same_end", "row_bearing_deg": 24.0}
    assert ground.rows_from_ends(bearing, given)[0]["row_bearing_deg"] == pytest.approx(24.0, abs=1e-3)
    plain, same = ground.rows_from_ends({"block": "A"}, slanted())
    assert block["row_bearing_deg"] == pytest.approx(plain["row_bearing_deg"], abs=1e-3)
    straight, turned_grid = (RowGrid.from_tables(b, r) for b, r in ((plain, same), (block, rows)))
    for side in (np.nanmin, np.nanmax):  # the row lies where it lay, counted from its other end
        was, now = (side(grid.along_m, axis=1) - np.nanmin(grid.along_m) for grid in (straight, turned_grid))
        assert now == pytest.approx(was, abs=1e-3)
    assert turned_grid.position[turned].tolist() != straight.position[turned].tolist()


@given(
    st.floats(-45, 60), st.floats(0, 360, exclude_max=True), st.booleans(),
    st.lists(st.tuples(st.integers(2, 40), st.floats(-20, 20)), min_size=2, max_size=5),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_placing_a_block_and_reading_its_row_ends_undo_each_other(latitude, bearing, left, rows):
    given = rows_of(*({"row": str(n), "last": last, "start_m": start} for n, (last, start) in enumerate(rows)))
    grid, placed = laid(
        given,
        latitude=latitude,
        row_bearing_deg=bearing,
        rows_go="left" if left else "right",
        numbering="serpentine",
    )
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

"""trunkwatch.ground: row_course, linked_rows, row_sides, row_alleys, row_counts, laid_points, block_of_points, rows_of_lines; placing."""

import dataclasses

import numpy as np
import pytest
from calibration.rows_from_points import measured, scored
from simulated_rows import KINDS, simulated

from trunkwatch import ground
from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.ground.block_frame import BlockFrame
from trunkwatch.ground.laid_points import laid_points, needed_accuracy
from trunkwatch.ground.linked_rows import linked_rows
from trunkwatch.ground.row_alleys import Openings, alleys_through
from trunkwatch.ground.row_counts import counted, openings_at, row_step, usual_breadth
from trunkwatch.ground.row_course import near_points, rows_run
from trunkwatch.ground.row_sides import one_row_each
from trunkwatch.ground.rows_of_lines import laid_lines
from trunkwatch.vineyard.tables import frame_of

FRAME = BlockFrame(-30.0, 44.0)


def block(kind, error_m, seed=1, **more):
    return simulated(np.random.default_rng(seed), kind, error_m, **more)


def degrees(points):
    return np.column_stack(FRAME.to_degrees(*np.asarray(points, dtype=float).T))


def lattice(rows=6, vines=20, row_m=2.5, vine_m=1.2, left_out=()):
    return np.array([[v * vine_m, r * row_m] for r in range(rows) for v in range(vines) if (r, v) not in left_out])


def laid_out(found, label="A"):
    """Return grid and places as a vineyard makes them of what was proposed."""
    rows = frame_of("rows", [{**row, "block": label} for row in found.rows])
    record, rows = ground.rows_from_ends(found.record, rows)
    grid = RowGrid.from_tables(record, rows)
    placed = ground.place(grid, record, rows, frame_of("plants", [{**one, "block": label} for one in found.plants]))
    return ground.on_the_ground(grid, placed), placed


@pytest.mark.parametrize("kind", KINDS)
def test_rows_and_positions_are_right_at_a_tenth_of_a_meter(kind):
    score = measured(kind, 0.1, 1)
    assert not score.refused
    assert score.right >= 0.995


@pytest.mark.parametrize("kind", KINDS)
def test_points_three_meters_off_are_refused_with_what_would_do(kind):
    refused = measured(kind, 3.0, 2).refused
    assert "cannot be told" in refused or "lie in no row" in refused or "no row beside" in refused
    assert "expected:" in refused


def test_the_score_itself_can_fail():
    true = block("straight", 0.02)
    found = laid_points(true.points)
    first = found.rows[0]
    slipped = dataclasses.replace(first, position=first.position + (np.arange(first.position.size) > 5))
    assert scored(true, found).right == 1.0
    worse = scored(true, dataclasses.replace(found, rows=(slipped, *found.rows[1:])))
    assert worse.right == pytest.approx(1 - (first.position.size - 6) / len(true.row))
    assert worse.silent == pytest.approx(1 - worse.right)


def test_accuracy_that_the_receiver_tells_is_enough_to_refuse():
    with pytest.raises(
        RecordError, match=r"are told to lie 3\.00 m or more off .* lines of the rows with --vine-spacing-m"
    ):
        laid_points(lattice(), "North", 3.0)
    assert laid_points(lattice(), "North", 0.2).missing == 0
    assert needed_accuracy(1.2, 2.5) == pytest.approx(0.3, abs=0.01)


@pytest.mark.parametrize(
    ("points", "said"),
    [
        (lattice(2, 4), "has 8 points; expected: 12 or more"),
        (lattice(1, 30), "fewer than two rows"),
        (np.vstack([lattice(), lattice()[:3]]), "3 of its 123 points lie on another point"),
        (np.vstack([lattice(), lattice() + np.array([0, 300])]), "2 groups of rows with no row beside each other"),
        (np.random.default_rng(3).uniform(0, 40, (400, 2)), "cannot be told|lie in no row|one order"),
    ],
)
def test_points_of_no_rows_are_refused(points, said):
    with pytest.raises(RecordError, match=said):
        laid_points(points, "North")


def test_missing_vines_are_counted_and_an_alley_is_not():
    wide = lattice(12, 40, left_out={(3, 7), (3, 8), (5, 0), (8, 20), (2, 19)})
    wide[wide[:, 0] > 19.5 * 1.2, 0] += 5.3  # an alley of 6.5 m behind the twentieth vine of every row
    found = laid_points(wide)
    lengths = {row.last for row in found.rows}
    assert lengths == {40, 39}  # of the row whose first vine is missing nothing tells that it ever stood
    assert found.missing == 4
    assert [wide for row in found.rows for wide in row.breaks.values()] == pytest.approx([6.5] * 12, abs=0.05)
    assert [list(row.breaks) for row in found.rows].count([20]) == 10


def test_two_rows_with_a_run_of_missing_vines_beside_each_other_are_no_alley():
    points = lattice(14, 40, left_out={(r, v) for r in (6, 7) for v in range(18, 22)})
    found = laid_points(points)
    assert not any(row.breaks for row in found.rows)
    assert found.missing == 8


def test_openings_of_all_rows_are_one_alley_and_of_two_none():
    rows = [np.column_stack([np.r_[0:20:1.0, 25:45:1.0], np.full(40, 2.5 * r)]) for r in range(8)]
    all_open = Openings(
        np.arange(8), np.array([[19.0, 2.5 * r] for r in range(8)]), np.array([[25.0, 2.5 * r] for r in range(8)])
    )
    assert [sorted(group) for group in alleys_through(all_open, rows, 8 * 45.0, 1.0)[0]] == [list(range(8))]
    two = Openings(all_open.place[:2], all_open.end[:2], all_open.start[:2])
    assert alleys_through(two, rows, 8 * 45.0, 1.0) == ([], [])
    three = Openings(all_open.place[:3], all_open.end[:3], all_open.start[:3])
    assert [len(group) for group in alleys_through(three, rows[:3], 3 * 45.0, 1.0)[1]] == [3]


def test_the_way_of_rows_and_their_step_are_found():
    points = lattice(10, 30)
    pairs = near_points(points)
    course = rows_run(points, pairs, 0.36)
    assert np.abs(course.along[:, 0]) == pytest.approx(1.0, abs=1e-6)
    assert course.clear > 1.5
    found = linked_rows(points)
    assert found.row.max() == 9
    assert (found.vine_m, found.row_m) == (pytest.approx(1.2, rel=0.01), pytest.approx(2.5, rel=0.01))
    joined, sides = one_row_each(points, found)
    assert joined.row.max() == 9
    assert np.diff(np.sort(sides.across_m)) == pytest.approx(2.5, abs=1e-3)
    assert sides.contrary == 0
    assert row_step(np.arange(40) * 1.21, 1.2) == pytest.approx(1.21, abs=0.005)


def test_a_row_is_counted_over_missing_vines_and_an_alley():
    along_m = np.array([0, 1, 2, 3, 5, 6, 7, 13.5, 14.5, 15.5, 16.5, 17.5])
    assert openings_at(along_m, 1.0, [6]) == pytest.approx([6.5])
    told = counted(along_m, 1.0, {6: 5.5})
    assert told.position.tolist() == [0, 1, 2, 3, 5, 6, 7, 9, 10, 11, 12, 13]  # one vine is missing beside the alley
    assert told.breaks == {7: 5.5}
    assert usual_breadth(np.array([5.5, 5.5, 6.5, 5.5, 7.5]), 1.0) == (5.5, True)


def test_a_point_halfway_between_vines_is_left_out_and_said():
    points = np.vstack([lattice(8, 30), [[10.2, 7.5]]])
    found = laid_points(points)
    assert found.lost.tolist() == [240]
    assert sum(bool(row.unsure) for row in found.rows) >= 1
    assert all(row.last == 30 for row in found.rows)


@pytest.mark.parametrize("side", ["north", "south"])
@pytest.mark.parametrize("end", ["west", "east"])
@pytest.mark.parametrize("numbering", ["same_end", "serpentine"])
@pytest.mark.parametrize("keep_points", [False, True])
def test_numbering_begins_where_it_is_wanted_and_each_vine_stands_on_its_point(side, end, numbering, keep_points):
    points = lattice(6, 20, left_out={(2, 5)})
    found = ground.block_of_points(
        {"block": "A", "numbering": numbering},
        degrees(points),
        first_row_at=side,
        first_vine_at=end,
        keep_points=keep_points,
    )
    assert not found.curved
    assert [row for row, _ in found.missing] == ["3" if side == "south" else "4"]
    grid, placed = laid_out(found)
    east, north = FRAME.to_metres(placed.longitude, placed.latitude)
    cell = grid.cell("1", 1)
    assert north[cell] == pytest.approx(0 if side == "south" else 12.5, abs=0.02)
    assert east[cell] == pytest.approx(0 if end == "west" else 22.8, abs=0.02)
    second = grid.cell("2", 1)
    assert (abs(east[second] - east[cell]) < 1) == (numbering == "same_end")
    row, position = found.missing[0]
    assert east[grid.cell(row, position)] == pytest.approx(6.0, abs=0.02)


def test_a_side_at_which_neither_end_lies_is_refused_with_those_that_do():
    with pytest.raises(RecordError, match=r"--first-vine-at (east or west|west or east)"):
        ground.block_of_points({"block": "A"}, degrees(lattice()), first_vine_at="north")


def across_right(found, true):
    """Return the share of pairs across, where the other row has a vine beside, that join the two that are nearest on the ground."""
    grid, placed = laid_out(found)
    east, north = FRAME.to_metres(placed.longitude, placed.latitude)
    at = np.column_stack([east.ravel(), north.ravel()])
    pairs, width = grid.pairs("across"), grid.shape[1]
    good = []
    for a, b in pairs:
        others = np.flatnonzero(grid.exists[b // width]) + (b // width) * width
        backs = np.flatnonzero(grid.exists[a // width]) + (a // width) * width
        best = np.hypot(*(at[others] - at[a]).T).min()
        back = np.hypot(*(at[backs] - at[b]).T).min()
        own = float(np.hypot(*(at[b] - at[a])))
        good.append(own <= min(max(best, back), own) + 0.15 or own <= max(best, back) + 0.15)
    return float(np.mean(good)), len(pairs)


@pytest.mark.parametrize("kind", ["curved", "bent", "ragged"])
def test_neighbors_across_are_the_vines_beside(kind):
    true = block(kind, 0.02, 7, rows=12, length_m=80.0, gaps=0.05)
    found = ground.block_of_points({"block": "A"}, degrees(true.points))
    share, pairs = across_right(found, true)
    assert found.curved == (kind != "ragged")
    assert pairs > 0.7 * len(true.points)
    assert share >= 0.97


def test_a_curved_row_goes_through_its_points_and_has_meters_along_it():
    true = block("curved", 0.02, 5, rows=8, length_m=90.0, gaps=0.03)
    found = ground.block_of_points({"block": "A"}, degrees(true.points))
    assert found.curved
    assert not any("start_longitude" in row for row in found.rows)
    grid, placed = laid_out(found)
    assert placed.surveyed == grid.labels
    assert isinstance(grid.joins("across"), np.ndarray)  # pairs, not the name of a rule
    east, north = FRAME.to_metres(placed.longitude, placed.latitude)
    for plant in found.plants[::7]:
        cell = grid.cell(plant["row"], int(plant["position"]))
        assert placed.longitude[cell] == pytest.approx(plant["longitude"], abs=1e-8)
        assert placed.latitude[cell] == pytest.approx(plant["latitude"], abs=1e-8)
    row = np.flatnonzero(grid.exists[0])
    walked = np.hypot(np.diff(east[0, row]), np.diff(north[0, row])).sum()
    assert grid.along_m[0, row[-1]] - grid.along_m[0, row[0]] == pytest.approx(walked, rel=0.01)


def test_points_that_cannot_name_a_vine_move_no_row():
    true = block("curved", 0.02, 5, rows=8, length_m=90.0, gaps=0.03)
    found = ground.block_of_points({"block": "A"}, degrees(true.points))
    vague = dataclasses.replace(found, plants=[{**one, "accuracy_m": 3.0} for one in found.plants])
    grid, placed = laid_out(vague)
    assert placed.surveyed == ()
    assert grid.ground_m is None


def test_lines_are_rows_with_vines_set_along_them():
    bow = [np.array([[x, 2.5 * r + 0.02 * x * (40 - x) / 10] for x in np.arange(0, 40.1, 2)]) for r in range(5)]
    bow[2] = bow[2][::-1]  # drawn the other way
    found = ground.block_of_lines(
        {"block": "A"}, [[degrees(line)] for line in bow], 1.25, first_row_at="south", first_vine_at="west"
    )
    assert found.curved
    assert [row["last"] for row in found.rows] == [33] * 5
    assert found.record["row_spacing_m"] == pytest.approx(2.5, abs=0.02)
    two = [[line[:8], line[11:]] for line in bow]
    points, laid = laid_lines(two, 1.25)
    assert all(len(row.breaks) == 1 for row in laid.rows)
    assert len(points) == sum(row.points.size for row in laid.rows)
    with pytest.raises(RecordError, match="1 line; expected: two or more"):
        laid_lines([[bow[0]]], 1.25, "A")
    with pytest.raises(RecordError, match="line 1 is shorter than 60 m"):
        laid_lines([[line] for line in bow], 60.0, "A")


def test_positions_without_a_point_hold_no_vine_only_where_that_is_said():
    points = lattice(6, 20, left_out={(2, 5), (4, 9)})
    silent = ground.block_of_points({"block": "A"}, degrees(points))
    assert silent.plants == []
    assert len(silent.missing) == 2
    told = ground.block_of_points({"block": "A"}, degrees(points), missing_are_gaps=True)
    assert [one["reason"] for one in told.plants] == ["missing", "missing"]


def test_rows_that_run_in_circles_are_refused():
    true = simulated(np.random.default_rng(5), "curved", 0.1, rows=32, length_m=1600.0)
    with pytest.raises(RecordError, match=r"rows run in circles|cannot be told|one order|no row"):
        laid_points(true.points, "North")

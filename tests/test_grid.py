import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from trunkwatch.errors import RecordError, UnknownVineError
from trunkwatch.grid import RowGrid
from trunkwatch.stats.joins import joined_pairs
from trunkwatch.vineyard.tables import frame_of

ONE = {"row": "1", "last": 3}
RULES = ("row", "across", "rook", "queen", "diagonal")


def grid_of(*rows, block=None, on=None):
    record = {"block": "A", "row_spacing_m": 3.0, "vine_spacing_m": 2.0, **(block or {})}
    return RowGrid.from_tables(record, frame_of("rows", [{"block": "A", **row} for row in rows]), on)


def drawn(grid):
    """Show the positions, a row a line, a dot where there is none."""
    return [" ".join("." if p < 0 else str(p) for p in line) for line in grid.position]


def named(grid, pairs):
    """Pairs of cells as pairs of 'row:position'."""
    labels = ["{}:{}".format(*grid.label(*divmod(int(cell), grid.shape[1]))) for cell in pairs.ravel()]
    return {frozenset(two) for two in np.reshape(labels, (-1, 2)).tolist()}


def test_a_slanted_headland_and_rows_of_odd_length():
    # Row 1 begins on the base line, row 2 one and a half vines on (up to 2), row 3 3.1 m before.
    grid = grid_of(
        {"row": "1", "last": 4},
        {"row": "2", "last": 2, "start_m": 3.0},
        {"row": "3", "first": 5, "last": 9, "start_m": -3.1},
    )
    assert drawn(grid) == [". . 1 2 3 4", ". . . . 1 2", "5 6 7 8 9 ."]
    assert grid.along_m[1, 4:].tolist() == [3.0, 5.0]
    assert grid.along_m[2, 0] == pytest.approx(-3.1)
    assert np.isnan(grid.along_m[1, 0])
    assert grid.across_m[:, 4].tolist() == [0.0, 3.0, 6.0]
    assert [(row.first, row.last) for row in grid.named] == [(1, 4), (1, 2), (5, 9)]
    assert grid.exists.sum() == 11
    assert grid.drifting == ()
    assert not grid.assumed_spacing


def test_a_headland_that_gains_half_a_vine_a_row_gives_even_steps():
    grid = grid_of(*({"row": str(n), "last": 2, "start_m": n * 1.0} for n in range(6)))
    assert [int(np.flatnonzero(line)[0]) for line in grid.exists] == [0, 1, 1, 2, 2, 3]


def test_missing_first_positions_keep_their_numbers():
    grid = grid_of({"row": "1", "last": 4}, {"row": "2", "first": 3, "last": 4, "start_m": 4.0})
    assert drawn(grid) == ["1 2 3 4", ". . 3 4"]
    assert grid.cell("2", 3) == (1, 2)


def test_an_alley_in_a_row():
    # 6 m is three vines of 2 m, so two stations are empty; 2.2 m is an alley all the same.
    grid = grid_of({"row": "1", "last": 4, "breaks": "2:6.0"}, {"row": "2", "last": 4, "breaks": "3:2.2"})
    assert drawn(grid) == ["1 2 . . 3 4", "1 2 3 . 4 ."]
    assert grid.along_m[0, [0, 1, 4, 5]].tolist() == [0, 2, 8, 10]
    assert grid.along_m[1, 4] == pytest.approx(6.2)
    assert named(grid, grid.pairs("row")) == {
        frozenset(two) for two in (("1:1", "1:2"), ("1:3", "1:4"), ("2:1", "2:2"), ("2:2", "2:3"))
    }


def test_a_wide_alley_between_rows_is_bridged_by_no_join():
    # Rows 1 and 2 are neighbours; 4.5 m is one and a half, 9 m three row spacings.
    grid = grid_of(*({"row": str(n + 1), "last": 2, "across_m": m} for n, m in enumerate([10, 13, 17.5, 26.5])))
    assert grid.rows == ("1", "2", "", "3", "", "", "4")
    assert grid.labels == ("1", "2", "3", "4")
    assert grid.across_m[[0, 1, 3, 6], 0].tolist() == [0, 3, 7.5, 16.5]
    assert grid.rows_on(2) == ()
    across = {frozenset(two) for two in (("1:1", "2:1"), ("1:2", "2:2"))}
    assert named(grid, joined_pairs("across", grid.exists)) == named(grid, grid.pairs("across")) == across
    just_under = grid_of({"row": "1", "last": 2, "across_m": 0}, {"row": "2", "last": 2, "across_m": 4.4})
    assert just_under.rows == ("1", "2")


def test_a_row_order_with_a_hole_leaves_the_place_of_the_row_empty():
    grid = grid_of({"row": "a", "last": 1, "row_order": 4}, {"row": "b", "last": 1, "row_order": 2})
    assert grid.rows == ("b", "", "a")
    assert grid.across_m[2, 0] == 6.0


def test_serpentine_rows_run_back_and_their_alleys_lie_on_the_ground():
    # One alley crosses all rows, 4 m behind the first vine from the base line.
    grid = grid_of(
        {"row": "1", "last": 4, "breaks": "1:4"},
        {"row": "2", "last": 5, "breaks": "4:4"},
        {"row": "3", "last": 3, "breaks": "1:4"},
        block={"numbering": "serpentine"},
    )
    assert drawn(grid) == ["1 . 2 3 4 .", "5 . 4 3 2 1", "1 . 2 3 . ."]
    assert grid.along_m[1, [5, 4, 3, 2, 0]].tolist() == [10, 8, 6, 4, 0]
    assert grid.cell("2", 1) == (1, 5)
    assert frozenset(("1:2", "2:4")) in named(grid, grid.pairs("across"))


def test_serpentine_start_is_where_the_row_begins_seen_from_the_base_line():
    grid = grid_of({"row": "1", "last": 3}, {"row": "2", "last": 2, "start_m": 2.0}, block={"numbering": "serpentine"})
    assert drawn(grid) == ["1 2 3", ". 2 1"]
    assert grid.along_m[1, 1:].tolist() == [2, 4]


def test_one_row_numbered_against_the_others_lies_as_it_is_numbered():
    # The alley 4 m behind the first vine from the base line crosses all rows; row 2 begins 2 m on.
    grid = grid_of(
        {"row": "1", "last": 4, "breaks": "1:4"},
        {"row": "2", "last": 5, "breaks": "4:4", "bay_ends": "every 2", "numbered_from": "end"},
        {"row": "3", "last": 3, "start_m": 4.0},
    )
    assert drawn(grid) == ["1 . 2 3 4 .", "5 . 4 3 2 1", ". . 1 2 3 ."]
    assert grid.position_of_bay("2", 1, 1) == 1
    assert grid.bay_of("2", 4) == (2, 2)
    assert frozenset(("1:2", "2:4")) in named(grid, grid.pairs("across"))
    turned = grid_of(
        {"row": "1", "last": 4},
        {"row": "2", "last": 4, "numbered_from": "start"},
        {"row": "3", "last": 4},
        block={"numbering": "serpentine"},
    )
    assert drawn(turned) == ["1 2 3 4", "1 2 3 4", "1 2 3 4"]


def test_a_first_row_numbered_from_the_far_end_leaves_the_base_line_where_it_is():
    grid = grid_of({"row": "1", "last": 3, "numbered_from": "end"}, {"row": "2", "last": 4}, {"row": "3", "last": 4})
    assert drawn(grid) == ["3 2 1 .", "1 2 3 4", "1 2 3 4"]
    assert grid.along_m[0, :3].tolist() == [0, 2, 4]


def test_spacing_that_is_one_percent_off_neither_collides_nor_skips():
    # 200 vines of 2.02 m in a block written down as 2 m: 2 vines of drift, were each rounded alone.
    grid = grid_of(*({"row": str(n), "last": 200, "spacing_m": 2.02} for n in range(1, 4)))
    assert grid.shape == (3, 200)
    assert (grid.position == np.arange(1, 201)).all()
    assert grid.along_m[0, -1] == pytest.approx(199 * 2.02)
    # All rows are alike, so they keep step, and a row that begins 101 m on begins at vine 51.
    assert grid.drifting == ()
    late = grid_of(
        {"row": "1", "last": 99, "spacing_m": 2.02},
        {"row": "2", "last": 9, "spacing_m": 2.02, "start_m": 101},
    )
    assert late.cell("2", 1) == (1, 50)


@given(st.floats(0.985, 1.015), st.integers(1, 120), st.floats(-40, 40))
def test_no_spacing_error_puts_two_vines_on_a_station_or_skips_one(share, last, start):
    grid = grid_of({"row": "1", "last": last, "spacing_m": 2.0 * share, "start_m": start})
    assert grid.shape == (1, last)
    assert grid.position[0].tolist() == list(range(1, last + 1))


def test_a_row_that_drifts_is_named_and_its_neighbours_are_those_on_the_ground():
    # Row 2 stands at 2.5 m: 0, 2.5, 5, 7.5, 10; the others at 2 m: 0, 2, 4, 6, 8, 10.
    others = {"last": 6}
    grid = grid_of({"row": "1", **others}, {"row": "2", "last": 5, "spacing_m": 2.5}, {"row": "3", **others})
    assert grid.drifting == ("2",)
    assert grid.along_m[1, 4] == 10.0
    ground = {("1:1", "2:1"), ("1:2", "2:2"), ("1:3", "2:3"), ("1:4", "2:3"), ("1:5", "2:4"), ("1:6", "2:5")}
    mirrored = {(f"3:{a[2:]}", b) for a, b in ground}
    assert named(grid, grid.joins("across")) == {frozenset(two) for two in ground | mirrored}
    assert frozenset(("1:5", "2:5")) in named(grid, joined_pairs("across", grid.exists))
    keeps_step = grid_of({"row": "1", **others}, {"row": "2", "last": 6, "spacing_m": 2.19})
    assert keeps_step.drifting == ()  # 5 x 0.19 m = 0.95 m: under half a vine
    assert keeps_step.joins("rook") == "rook"
    assert grid_of({"row": "1", **others}, {"row": "2", "last": 6, "spacing_m": 2.21}).drifting == ("2",)


def test_rows_that_drift_apart_over_an_alley_are_nobodys_neighbours():
    grid = grid_of({"row": "1", "last": 9, "across_m": 0}, {"row": "2", "last": 9, "across_m": 9, "spacing_m": 3})
    assert grid.drifting == ()


def test_vines_set_halfway_have_two_neighbours_in_the_next_row():
    # 0, 2, 4 beside 1, 3: each of row 2 has two across; no corner is left.
    grid = grid_of({"row": "1", "last": 3}, {"row": "2", "last": 2, "start_m": 1.0})
    across = {frozenset(two) for two in (("1:1", "2:1"), ("1:2", "2:1"), ("1:2", "2:2"), ("1:3", "2:2"))}
    assert named(grid, grid.pairs("across")) == across
    assert len(grid.pairs("diagonal")) == 0
    assert len(grid.pairs("queen")) == 7


def test_no_corner_reaches_over_an_alley():
    # An alley of 2.2 m crosses both rows after position 2: 1:2 and 2:3 stand about a vine apart.
    grid = grid_of({"row": "1", "last": 4, "breaks": "2:2.2"}, {"row": "2", "last": 4, "breaks": "2:2.2"})
    corners = {("1:1", "2:2"), ("1:2", "2:1"), ("1:3", "2:4"), ("1:4", "2:3")}
    assert named(grid, grid.pairs("diagonal")) == {frozenset(two) for two in corners}


def test_no_corner_reaches_over_a_narrow_alley_that_runs_aslant():
    # One empty station a row, one further on in each row: the grid sees 1:3 and 2:3 at a corner.
    grid = grid_of({"row": "1", "last": 4, "breaks": "2:4"}, {"row": "2", "last": 4, "breaks": "3:4"})
    assert drawn(grid) == ["1 2 . 3 4", "1 2 3 . 4"]
    bridge = frozenset(("1:3", "2:3"))
    assert bridge in named(grid, joined_pairs("queen", grid.exists))
    assert bridge not in named(grid, grid.joins("queen"))
    assert named(grid, joined_pairs("queen", grid.exists)) - named(grid, grid.joins("queen")) == {bridge}
    back = grid_of({"row": "1", "last": 4, "breaks": "3:4"}, {"row": "2", "last": 4, "breaks": "2:4"})
    bridge = frozenset(("1:3", "2:3"))
    assert named(back, joined_pairs("diagonal", back.exists)) - named(back, back.joins("diagonal")) == {bridge}
    assert grid.joins("rook") == "rook"
    assert grid.joins("queen", 2) == "queen"
    straight = grid_of({"row": "1", "last": 4, "breaks": "2:4"}, {"row": "2", "last": 4, "breaks": "2:4"})
    assert straight.joins("queen") == "queen"


ROW = st.fixed_dictionaries(
    {
        "first": st.integers(0, 4),
        "more": st.integers(0, 7),
        "start": st.integers(-3, 4),
        "alley": st.one_of(st.none(), st.tuples(st.integers(0, 6), st.integers(2, 5))),
    }
)
BLOCK = st.tuples(
    st.lists(ROW, min_size=1, max_size=5), st.lists(st.integers(1, 3), min_size=4, max_size=4), st.booleans()
)


def _block(drawn_block, *, mirrored=False):
    """Make a block on whole stations; mirrored: its rows in the opposite order."""
    rows, gaps, serpentine = drawn_block
    across = np.concatenate([[0], np.cumsum(gaps)])[: len(rows)] * 3.0
    records = []
    for number, row in enumerate(rows):
        record = {"row": f"r{number}", "first": row["first"], "last": row["first"] + row["more"]}
        record |= {
            "start_m": row["start"] * 2.0,
            "across_m": across[-1] - across[number] if mirrored else across[number],
        }
        if row["alley"] and row["alley"][0] < row["more"]:
            record["breaks"] = f"{row['first'] + row['alley'][0]}:{row['alley'][1] * 2.0}"
        records.append(record)
    return grid_of(*records, block={"numbering": "serpentine" if serpentine and not mirrored else "same_end"})


@given(BLOCK)
def test_cell_and_label_undo_each_other(drawn_block):
    grid = _block(drawn_block)
    assert grid.exists.sum() == sum(row["more"] + 1 for row in drawn_block[0])
    for row, station in np.argwhere(grid.exists):
        assert grid.cell(*grid.label(row, station)) == (row, station)
    assert np.isnan(grid.along_m[~grid.exists]).all()
    assert np.isnan(grid.across_m[~grid.exists]).all()
    assert grid.exists.any(axis=0)[[0, -1]].all()  # no empty margin


def _over_an_alley(grid, one, other):
    """Tell whether two cells at a corner have an alley each on the side of the other."""
    (r, s), (q, t) = divmod(one, grid.shape[1]), divmod(other, grid.shape[1])

    def alley(row, station, way):
        line = np.flatnonzero(grid.exists[row]).tolist()
        beyond = line.index(station) + way
        return 0 <= beyond < len(line) and abs(line[beyond] - station) > 1

    return r != q and s != t and alley(r, s, np.sign(t - s)) and alley(q, t, np.sign(s - t))


@given(BLOCK, st.sampled_from(RULES), st.integers(1, 3))
@settings(max_examples=300)
@example(
    ([{"first": 0, "more": 1, "start": 0, "alley": (0, 2)},
      {"first": 0, "more": 2, "start": 0, "alley": (1, 2)}],
     [1, 1, 1, 1], False), "queen", 1,
)  # fmt: skip
def test_where_rows_keep_step_the_neighbours_on_the_ground_are_those_of_the_rule(drawn_block, rule, order):
    grid = _block(drawn_block)
    assert grid.drifting == ()
    of_the_rule = np.unique(np.sort(joined_pairs(rule, grid.exists, order), axis=1), axis=0).tolist()
    expected = [pair for pair in of_the_rule if order > 1 or not _over_an_alley(grid, *pair)]
    assert grid.pairs(rule, order).tolist() == expected
    if expected == of_the_rule:
        assert isinstance(grid.joins(rule, order), str) or rule in ("queen", "diagonal")
    else:
        assert grid.joins(rule, order).tolist() == expected


@given(st.lists(st.tuples(st.integers(1, 7), st.floats(1.5, 3.0), st.floats(-4, 4)), min_size=2, max_size=4))
def test_neighbours_do_not_depend_on_which_row_is_the_first(rows):
    def laid(sign):
        return grid_of(
            *(
                {
                    "row": f"r{n}",
                    "last": last,
                    "spacing_m": spacing,
                    "start_m": start,
                    "across_m": sign * 3.0 * n,
                }
                for n, (last, spacing, start) in enumerate(rows)
            )
        )

    there, back = laid(1), laid(-1)
    assert set(there.drifting) == set(back.drifting)
    for rule in RULES:
        assert named(there, there.pairs(rule)) == named(back, back.pairs(rule))


def test_pairs_refuse_what_is_no_rule_or_order():
    grid = grid_of({"row": "1", "last": 3})
    with pytest.raises(ValueError, match="rule is 'knight': one of row"):
        grid.pairs("knight")
    with pytest.raises(ValueError, match="order is 0"):
        grid.pairs("row", 0)
    assert grid.pairs("queen", 5).shape == (0, 2)


def test_bays_count_from_the_start_of_the_row_in_serpentine_rows_too():
    grid = grid_of(
        {"row": "1", "first": 2, "last": 9, "bay_ends": "4; 8"},
        {"row": "2", "last": 7, "bay_ends": "every 3"},
        {"row": "3", "last": 7},
        block={"numbering": "serpentine"},
    )
    assert [row.bay_ends for row in grid.named] == [(4, 8, 9), (3, 6, 7), ()]
    assert [grid.bay_of("1", p) for p in range(2, 10)] == [
        (1, 1),
        (1, 2),
        (1, 3),
        (2, 1),
        (2, 2),
        (2, 3),
        (2, 4),
        (3, 1),
    ]
    for row in ("1", "2"):
        for position in range(grid.row(row).first, grid.row(row).last + 1):
            assert grid.position_of_bay(row, *grid.bay_of(row, position)) == position
    assert grid.bay_of("3", 4) == (0, 0)
    with pytest.raises(UnknownVineError, match="row '3' of block 'A' has no bay_ends"):
        grid.position_of_bay("3", 1, 1)
    with pytest.raises(UnknownVineError, match="no bay 4; it has 3"):
        grid.position_of_bay("1", 4, 1)
    with pytest.raises(UnknownVineError, match="bay 3 of row '1' has no vine 2; it has 1"):
        grid.position_of_bay("1", 3, 2)
    with pytest.raises(UnknownVineError, match="no row '8'"):
        grid.position_of_bay("8", 1, 1)


def test_unknown_vines_name_what_there_is():
    grid = grid_of({"row": "1", "first": 3, "last": 7}, {"row": "12A", "last": 2, "across_m": 9} | {"across_m": None})
    with pytest.raises(UnknownVineError, match="block 'A' has no row '2'; its rows: 1 to 12A"):
        grid.cell("2", 1)
    for position in (2, 8, -1):
        with pytest.raises(UnknownVineError, match=f"no position {position}; its positions: 3 to 7"):
            grid.cell("1", position)
    with pytest.raises(UnknownVineError, match="no row ''"):
        grid.cell("", 1)
    with pytest.raises(UnknownVineError, match="no position at row index 1, station index 4"):
        grid.label(1, 4)


def test_labels_of_a_day_make_the_grid_of_that_day():
    rows = (
        {"row": "1", "last": 2},
        {"row": "2", "last": 3, "valid_to": "2025-12-31"},
        {"row": "2N", "last": 4, "valid_from": "2026-01-01"},
    )
    assert grid_of(*rows, on="2025-10-31").rows == ("1", "2")
    assert grid_of(*rows, on="2026-10-31").rows == grid_of(*rows).rows == ("1", "2N")


def test_cultivar_of_the_row_or_of_the_block():
    grid = grid_of(
        {"row": "1", "last": 1, "cultivar": "Sallow"}, {"row": "2", "last": 1}, block={"cultivar": "Corvise"}
    )
    assert [row.cultivar for row in grid.named] == ["Sallow", "Corvise"]


def test_a_block_without_any_spacing_is_laid_out_and_says_that_it_guessed():
    grid = grid_of(
        {"row": "1", "last": 3}, {"row": "2", "last": 2}, block={"row_spacing_m": None, "vine_spacing_m": ""}
    )
    assert grid.assumed_spacing
    assert (grid.row_spacing_m, grid.vine_spacing_m) == (2.5, 2.0)
    assert drawn(grid) == ["1 2 3", "1 2 ."]


def test_spacings_that_only_the_rows_tell_are_taken_from_them():
    rows = [
        {"row": str(n), "last": 2, "spacing_m": s, "across_m": m}
        for n, (s, m) in enumerate([(1.2, 0), (1.4, 2.1), (1.8, 4.3)])
    ]
    grid = grid_of(*rows, block={"row_spacing_m": None, "vine_spacing_m": None})
    assert not grid.assumed_spacing
    assert grid.vine_spacing_m == 1.4
    assert grid.row_spacing_m == pytest.approx(2.15)


@pytest.mark.parametrize(
    ("rows", "block", "message"),
    [
        ([ONE], {"row_spacing_m": None}, "block 'A': row_spacing_m is ''; expected: meters"),
        ([ONE], {"vine_spacing_m": None}, "block 'A': vine_spacing_m is ''; expected: meters"),
        ([ONE], {"vine_spacing_m": 0}, "block 'A': vine_spacing_m is 0; expected: meters"),
        ([{**ONE, "spacing_m": -1}], {}, "block 'A', row '1': spacing_m is -1; expected: meters"),
        ([{**ONE, "breaks": "3:6"}], {}, "row '1': breaks has '3:6'; expected: positions from 1 to 2"),
        ([{"row": "1", "last": 1, "breaks": "1:6"}], {}, "expected: none in a row of one position"),
        ([{"row": "1", "last": 3, "bay_ends": "4"}], {}, "block 'A', row '1': bay_ends is '4'; expected"),
        ([{"row": "1", "first": 3, "last": 2}], {}, "block 'A', row '1': last is 2; expected: 3"),
        ([{"row": "1", "last": 2}, {"row": "1", "last": 3}], {}, "block 'A': row is '1' twice"),
        ([{**ONE, "across_m": 0}, {**ONE, "row": "2", "across_m": 0.5}], {}, "row '2': across_m is 0.5"),
        ([{"row": "1", "last": 2}, {"row": "2", "last": 2, "start_m": 2e8}], {}, "start_m is 2e"),
        ([{"row": "1", "last": 90_000}, *({"row": str(n), "last": 9} for n in range(2, 20))], {}, "on 19 rows x 90000"),
        ([{**ONE, "row_order": 1}, {**ONE, "row": "2", "row_order": 9e11}], {}, "look at row_order"),
        ([{**ONE, "row_order": 1}, {**ONE, "row": "2", "row_order": float("inf")}], {}, "look at row_order"),
    ],
)  # fmt: skip
def test_rows_that_cannot_stand_are_refused_by_name(rows, block, message):
    with pytest.raises(RecordError, match=message):
        grid_of(*rows, block=block)

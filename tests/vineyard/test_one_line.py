"""Tests of trunkwatch.vineyard: one_line; rows 7A and 7B on one line of posts."""

import numpy as np
import pytest

from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.ground import place, rows_from_ends
from trunkwatch.history.places import Places
from trunkwatch.intake.check_layout import check_layout
from trunkwatch.stats.join_counts import join_count
from trunkwatch.vineyard.covered import CoverageError, parse_covered
from trunkwatch.vineyard.one_line import divided_label, halves_of, line_numbers
from trunkwatch.vineyard.row_layout import runs_other_way
from trunkwatch.vineyard.tables import frame_of

BLOCK = {"block": "A", "row_spacing_m": 3.0, "vine_spacing_m": 2.0}


def grid_of(*rows, **block):
    return RowGrid.from_tables(BLOCK | block, frame_of("rows", [{"block": "A", **row} for row in rows]))


def drawn(grid):
    return [" ".join("." if p < 0 else str(p) for p in line) for line in grid.position]


def named(grid, pairs):
    labels = ["{}:{}".format(*grid.label(*divmod(int(cell), grid.shape[1]))) for cell in np.ravel(pairs)]
    return {frozenset(two) for two in np.reshape(labels, (-1, 2)).tolist()}


def divided(**behind):
    """Rows 6 and 8 of five vines, and between them 7A of two and 7B of two or three on one line."""
    return grid_of(
        {"row": "6", "last": 5, "row_order": 6},
        {"row": "7A", "last": 2, "row_order": 7},
        {"row": "7B", "row_order": 7, **behind},
        {"row": "8", "last": 5, "row_order": 8},
    )


def pairs_of(text):
    return {frozenset(pair.split("-")) for pair in text.split()}


def test_a_row_that_is_only_a_change_of_cultivar_goes_on_without_an_alley():
    grid = divided(last=3)
    assert drawn(grid) == ["1 2 3 4 5", "1 2 1 2 3", "1 2 3 4 5"]
    assert grid.labels == ("6", "7A", "7B", "8")
    assert grid.along_m[1].tolist() == [0, 2, 4, 6, 8]
    assert grid.across_m[:, 0].tolist() == [0, 3, 6]
    assert (grid.cell("7B", 1), grid.label(1, 2), grid.label(1, 1)) == ((1, 2), ("7B", 1), ("7A", 2))
    assert named(grid, grid.pairs("row")) == pairs_of(
        "6:1-6:2 6:2-6:3 6:3-6:4 6:4-6:5 7A:1-7A:2 7A:2-7B:1 7B:1-7B:2 7B:2-7B:3 8:1-8:2 8:2-8:3 8:3-8:4 8:4-8:5"
    )
    assert named(grid, grid.pairs("across")) == pairs_of(
        "6:1-7A:1 6:2-7A:2 6:3-7B:1 6:4-7B:2 6:5-7B:3 7A:1-8:1 7A:2-8:2 7B:1-8:3 7B:2-8:4 7B:3-8:5"
    )


def test_a_row_that_an_alley_divides_has_no_neighbors_across_it():
    # 7A ends at 2 m, 7B begins at 6 m: the vine between them gives way to an alley of 4 m.
    grid = divided(last=2, start_m=6)
    assert drawn(grid) == ["1 2 3 4 5", "1 2 . 1 2", "1 2 3 4 5"]
    assert grid.along_m[1, 3] == 6.0
    assert named(grid, grid.pairs("row")) & {frozenset(("7A:2", "7B:1"))} == set()
    assert frozenset(("6:3", "7B:1")) not in named(grid, grid.pairs("across"))
    assert frozenset(("6:4", "7B:1")) in named(grid, grid.pairs("across"))


@pytest.mark.parametrize(
    ("behind", "cases", "row", "across"),
    [
        # The last of 7A and the first of 7B, and the vine of row 8 beside that.
        ({"last": 3}, [("7A", 2), ("7B", 1), ("8", 3)], 1, 1),
        # With an alley the two are no neighbors, and beside 7B:1 stands 8:4.
        ({"last": 2, "start_m": 6}, [("7A", 2), ("7B", 1), ("8", 4)], 0, 1),
        ({"last": 2, "start_m": 6}, [("7A", 2), ("7B", 1), ("8", 3)], 0, 0),
    ],
)
def test_joins_counted_by_hand(behind, cases, row, across):
    grid = divided(**behind)
    sick = np.zeros(grid.shape, dtype=bool)
    for case in cases:
        sick[grid.cell(*case)] = True
    for rule, joins in (("row", row), ("across", across)):
        assert join_count(sick, grid.exists, joins=grid.joins(rule), permutations=0).case_case == joins


def test_two_gaps_that_are_hardly_more_than_a_spacing():
    # A tape says 2.6 m where the spacing is 2: the next vine. From one and a half spacings on it is an alley.
    near = divided(last=3, start_m=4.6)
    assert drawn(near)[1] == "1 2 1 2 3"
    assert near.along_m[1, 2] == 4.6
    assert drawn(divided(last=2, start_m=5))[1] == "1 2 . 1 2"


def test_each_half_is_numbered_from_its_own_start():
    grid = divided(last=3, numbered_from="end")
    assert drawn(grid)[1] == "1 2 3 2 1"
    assert not grid.row("7A").backwards
    assert grid.row("7B").backwards
    turned = grid_of(
        {"row": "6", "last": 4, "row_order": 6},
        {"row": "7A", "last": 2, "row_order": 7, "start_m": 4},
        {"row": "7B", "last": 2, "row_order": 7, "start_m": 0},
        numbering="serpentine",
    )
    # Row 7 is numbered from the far end, and 7A is the half that begins there: start_m says so.
    assert drawn(turned) == ["1 2 3 4", "2 1 2 1"]
    assert turned.labels == ("6", "7B", "7A")


def test_serpentine_rows_are_counted_by_lines_of_posts():
    rows = [{"row": row, "across_m": metres} for row, metres in (("1", 0), ("2A", 3), ("2B", 3), ("3", 6))]
    assert line_numbers(rows) == [0, 1, 1, 2]
    assert runs_other_way(rows, "serpentine") == [False, True, True, False]


def test_across_m_puts_rows_on_one_line_as_well():
    grid = grid_of(
        {"row": "1", "last": 3, "across_m": 0},
        {"row": "2A", "last": 1, "across_m": 3},
        {"row": "2B", "last": 2, "across_m": 3},
        {"row": "3", "last": 3, "across_m": 6},
        row_spacing_m=None,
    )
    assert drawn(grid) == ["1 2 3", "1 1 2", "1 2 3"]
    assert grid.row_spacing_m == 3.0


def test_two_cultivars_on_one_line():
    grid = grid_of(
        {"row": "1A", "last": 2, "row_order": 1, "cultivar": "Sallow", "bay_ends": "every 1"},
        {"row": "1B", "last": 2, "row_order": 1, "cultivar": "Corvise", "bay_ends": "1"},
    )
    assert [(row.label, row.cultivar, row.bay_ends) for row in grid.rows_on(0)] == [
        ("1A", "Sallow", (1, 2)),
        ("1B", "Corvise", (1, 2)),
    ]
    assert grid.rows == ("1A/1B",)
    assert grid.bay_of("1B", 2) == (2, 1)


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        (
            [{"row": "7", "row_order": 7}, {"row": "8", "row_order": 7}],
            "row '8': row_order is 7 as in row '7'; expected: another place for each row; or, on one line of posts, labels such as 7A and 7B",
        ),
        (
            [{"row": "7", "across_m": 7}, {"row": "8", "across_m": 7}],
            "row '8': across_m is 7 as in row '7'; expected: another place for each row",
        ),
        (
            [{"row": "7A", "row_order": 7}, {"row": "7B", "row_order": 7, "start_m": 4}],
            "row '7B': start_m is 4; expected: about 6 or more, behind the last vine of row '7A' on the same line",
        ),
        (
            [{"row": "7A", "row_order": 7, "across_m": 0}, {"row": "7B", "row_order": 7, "across_m": 2}],
            "row '7B': across_m is 2; expected: 0 as in row '7A', which has the same row_order",
        ),
    ],
)
def test_what_cannot_stand_on_one_line_is_refused_with_the_way_out(rows, told):
    with pytest.raises(RecordError) as refused:
        grid_of(*({**row, "last": 3} for row in rows))
    assert told in str(refused.value)


def test_other_labels_stand_on_one_line_where_it_is_written_where_they_begin():
    grid = grid_of({"row": "7", "last": 2, "row_order": 1}, {"row": "107", "last": 2, "row_order": 1, "start_m": 8})
    assert drawn(grid) == ["1 2 . . 1 2"]


def test_labels_of_halves():
    assert [divided_label(label) for label in ("7A", "7 b", "12-C", "7", "A", "7AB")] == [
        ("7", "a"),
        ("7", "b"),
        ("12", "c"),
        ("", ""),
        ("", ""),
        ("", ""),
    ]


def test_halves_are_labels_that_no_bare_number_goes_with():
    assert halves_of(["6", "7A", "7B", "8", "8A", "8B", "9A"]) == {"7": ["7A", "7B"]}


def test_steps_do_not_run_over_halves():
    rows = ["5", "6", "7A", "7B", "8"]
    assert [one.row for one in parse_covered("5..8", rows)] == rows
    with pytest.raises(CoverageError, match="steps over rows 7A and 7B, which may stand on one line or side by side"):
        parse_covered("5..8/2", rows)


def test_halves_laid_out_side_by_side_are_told():
    blocks = frame_of("blocks", [BLOCK | {"hemisphere": "north"}])
    lines = [{"block": "A", "row": row, "last": 3} for row in ("6", "7A", "7B")]
    told = [str(fault) for fault in check_layout(blocks, frame_of("rows", lines))[0]]
    assert len(told) == 1
    assert "rows 7A and 7B are laid out side by side" in told[0]
    together = [line | {"row_order": order} for line, order in zip(lines, (6, 7, 7), strict=True)]
    assert check_layout(blocks, frame_of("rows", together))[0] == []


def test_halves_with_measured_ends_share_their_line():
    def at(east, north):
        return {"longitude": 7 + east / 78_846.8, "latitude": 45 + north / 111_131.8}

    ends = [("6", 1, (0, 0), (0, 8)), ("7A", 2, (3.1, 0), (3.1, 2)), ("7B", 2, (2.9, 6), (2.9, 8))]
    rows = frame_of(
        "rows",
        [
            {
                "block": "A",
                "row": row,
                "row_order": order,
                "last": 5 if row == "6" else 2,
                **{f"start_{k}": v for k, v in at(*start).items()},
                **{f"end_{k}": v for k, v in at(*end).items()},
            }
            for row, order, start, end in ends
        ],
    )
    found, lines = rows_from_ends(BLOCK, rows)
    grid = RowGrid.from_tables(found, lines)
    assert drawn(grid) == ["1 2 3 4 5", "1 2 . 1 2"]
    assert lines["across_m"].tolist() == pytest.approx([0, 3, 3], abs=0.01)
    placed = place(grid, found, lines)
    assert [round(float(placed.east_m[grid.cell(*vine)]), 1) for vine in (("7A", 2), ("7B", 1))] == [3.1, 2.9]


def test_records_find_their_half():
    rows = frame_of(
        "rows",
        [
            {"block": "A", "row": "7A", "last": 2, "row_order": 7},
            {"block": "A", "row": "7B", "last": 3, "row_order": 7},
            {"block": "A", "row": "8", "last": 5, "row_order": 8, "valid_to": "2020-12-31"},
            {"block": "A", "row": "8N", "last": 5, "row_order": 8, "valid_from": "2021-01-01"},
        ],
    )
    grid = RowGrid.from_tables(BLOCK, rows)
    places = Places(grid, rows, BLOCK)
    assert places.find("7B", "1", day="2022-08-01") == (0, 2)
    assert places.line("7A", "2022-08-01") == [(0, 0), (0, 1)]
    assert places.labels_on("2020-08-01") == ("7A", "7B", "8")
    assert places.row_number("7A") != places.row_number("7B")
    assert places.counted("7B", 1, from_end=True, empty=lambda *_: False, day="2022-08-01") == (0, 4)

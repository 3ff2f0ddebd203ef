"""Vines planted between others: the row is laid out anew, and what was written before keeps its vine."""

import pandas as pd

from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockRecords, Condition, build_history, read_block
from trunkwatch.history.places import Places
from trunkwatch.vineyard.tables import empty_frame, frame_of

BLOCK = {
    "block": "A",
    "planted": 2000.0,
    "vine_spacing_m": 1.5,
    "row_spacing_m": 2.5,
    "latitude": 40.0,
    "numbering": "",
}


def rows(*more: dict) -> pd.DataFrame:
    lines = [{"block": "A", "row": str(n), "row_order": n, "last": 6} for n in (1, 3)]
    return frame_of("rows", [*lines, *more])


#: Row 2 has six vines until 2020 and one in the middle of each gap from then on: eleven, 0.75 m apart.
WHOLE_ROW = rows(
    {"block": "A", "row": "2", "row_order": 2, "last": 6, "valid_to": "2020-03-31"},
    {"block": "A", "row": "2", "row_order": 2, "last": 11, "spacing_m": 0.75, "valid_from": "2020-04-01"},
)
#: One vine between 3 and 4.
ONE_VINE = rows(
    {"block": "A", "row": "2", "row_order": 2, "last": 6, "valid_to": "2020-03-31"},
    {"block": "A", "row": "2", "row_order": 2, "last": 7, "breaks": "3:0.75; 4:0.75", "valid_from": "2020-04-01"},
)


def places_of(lines: pd.DataFrame) -> tuple[RowGrid, Places]:
    grid = RowGrid.from_tables(BLOCK, lines)
    return grid, Places(grid, lines, BLOCK)


def position(grid: RowGrid, cell: tuple[int, int] | None) -> int | None:
    return None if cell is None else grid.label(*cell)[1]


def test_a_record_names_the_vine_that_its_label_named_on_its_day():
    grid, places = places_of(WHOLE_ROW)
    # 0, 1.5, 3.0 ... m before; every 0.75 m after: position 3 stood at 3.0 m, which is position 5 now.
    assert [position(grid, places.find("2", str(p), day="2019-08-01")) for p in range(1, 7)] == [1, 3, 5, 7, 9, 11]
    assert [position(grid, places.find("2", str(p), day="2021-08-01")) for p in range(1, 7)] == [1, 2, 3, 4, 5, 6]
    assert places.find("2", "7", day="2019-08-01") is None
    assert position(grid, places.find("1", "3", day="2019-08-01")) == 3


def test_a_row_numbered_anew_from_the_far_end_keeps_its_vines():
    lines = rows(
        {"block": "A", "row": "2", "row_order": 2, "last": 6, "valid_to": "2020-03-31"},
        {"block": "A", "row": "2", "row_order": 2, "last": 6, "numbered_from": "end", "valid_from": "2020-04-01"},
    )
    grid, places = places_of(lines)
    assert [position(grid, places.find("2", str(p), day="2019-08-01")) for p in range(1, 7)] == [6, 5, 4, 3, 2, 1]
    assert [position(grid, places.find("2", str(p), day="2021-08-01")) for p in range(1, 7)] == [1, 2, 3, 4, 5, 6]
    assert not places.planted_between


def test_one_vine_between_two_moves_only_those_behind_it():
    grid, places = places_of(ONE_VINE)
    assert [position(grid, places.find("2", str(p), day="2019-08-01")) for p in range(1, 7)] == [1, 2, 3, 5, 6, 7]
    assert {position(grid, cell): day for cell, day in places.planted_between.items()} == {4: "2020-04-01"}
    assert grid.drifting == ("2",)
    pairs = {
        (grid.label(*divmod(a, grid.shape[1])), grid.label(*divmod(b, grid.shape[1]))) for a, b in grid.pairs("row")
    }
    assert {(("2", 3), ("2", 4)), (("2", 4), ("2", 5))} <= pairs
    assert (("2", 3), ("2", 5)) not in pairs


def test_a_row_walked_whole_then_and_counted_from_the_far_end_then():
    grid, places = places_of(WHOLE_ROW)
    assert [position(grid, cell) for cell in places.line("2", "2019-08-01")] == [1, 3, 5, 7, 9, 11]
    far = places.counted("2", 2, from_end=True, empty=lambda *_: False, day="2019-08-01")
    assert position(grid, far) == 9


def test_the_years_before_it_the_place_between_is_empty_and_then_holds_a_young_vine():
    surveys = frame_of(
        "surveys",
        [
            {"survey": f"{look} {year}", "block": "A", "date": f"{year}-{month}-05", "covered": "1..3", "look": look}
            for year in (2019, 2021, 2023)
            for look, month in (("dormant", "01"), ("summer", "08"))
        ],
    )
    found = [
        {"block": "A", "row": "2", "position": p, "date": day, "symptom": "leaf_stripe"}
        for p, day in (("3", "2019-08-05"), ("5", "2023-08-05"))
    ]
    records = BlockRecords(
        BLOCK, WHOLE_ROW, empty_frame("plants"), surveys, frame_of("symptoms", found), empty_frame("work")
    )
    grid = RowGrid.from_tables(BLOCK, WHOLE_ROW)
    history = build_history(read_block(records, grid), "any")
    row = grid.rows.index("2")
    now = {
        season: dict(zip(grid.position[row].tolist(), history.condition[history.index_of(season), row], strict=True))
        for season in (2019, 2021, 2023)
    }
    assert now[2019][5] == Condition.SHOWING == now[2023][5]
    assert {now[2019][p] for p in (2, 4, 6, 8, 10)} == {Condition.MISSING}
    assert {now[2021][p] for p in (2, 4, 6, 8, 10)} == {Condition.YOUNG}
    assert now[2023][2] == Condition.SOUND
    assert now[2019][3] == Condition.SOUND


def test_a_place_between_two_vines_of_today_is_none_of_them():
    """Planted anew 1 m apart: 0, 1.5, 3.0, 4.5, 6.0 m before. What stood half a metre from any vine of today names none."""
    grid, places = places_of(
        rows(
            {"block": "A", "row": "2", "row_order": 2, "last": 5, "valid_to": "2020-03-31"},
            {"block": "A", "row": "2", "row_order": 2, "last": 7, "spacing_m": 1.0, "valid_from": "2020-04-01"},
        )
    )
    found = [position(grid, places.find("2", str(p), day="2019-08-01")) for p in range(1, 6)]
    assert found == [1, None, 4, None, 7]

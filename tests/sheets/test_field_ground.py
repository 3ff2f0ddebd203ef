"""trunkwatch.sheets: field_ground. Corners by which a phone knows where rows lie."""

from itertools import pairwise

import numpy as np
import pytest

from trunkwatch.sheets.field_ground import ground_of
from trunkwatch.store import Store
from trunkwatch.surveys.to_walk import to_walk
from trunkwatch.vineyard.tables import frame_of

PLACE = {"longitude": 11.5, "latitude": 48.1, "row_bearing_deg": 10, "rows_go": "right"}


def walk_of(block=PLACE, rows=None):
    store = Store.in_memory()
    store.append(
        {
            "blocks": frame_of(
                "blocks", [{"block": "B", "planted": 2000, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, **block}]
            ),
            "rows": frame_of(
                "rows", [{"block": "B", "row": str(n), "last": 40} for n in (1, 2, 3)] if rows is None else rows
            ),
        }
    )
    return to_walk(store, "B", 2026)


def laid(corners):
    """Return the places between corners by position, as the phone lays them."""
    out = {}
    for (low, *start), (high, *end) in pairwise(corners):
        for position in range(low, high + 1):
            share = (position - low) / (high - low)
            out[position] = [a + share * (b - a) for a, b in zip(start, end, strict=True)]
    return out


def off(walk, ground):
    """Return how far the farthest vine lies from where the phone thinks it is, in meters."""
    grid, placed = walk.history.grid, walk.placed
    worst = 0.0
    for label, corners in ground["rows"].items():
        for position, (longitude, latitude) in laid(corners).items():
            cell = grid.cell(label, position)
            east, north = placed.frame.points(np.array([[longitude, latitude]]))[0]
            worst = max(worst, float(np.hypot(east - placed.east_m[cell], north - placed.north_m[cell])))
    return worst


def test_a_straight_row_has_two_corners_and_every_vine_lies_between_them():
    walk = walk_of()
    ground = ground_of(walk)
    assert ground["row_spacing_m"] == 2.5
    assert [[corner[0] for corner in ground["rows"][label]] for label in "123"] == [[1, 40]] * 3
    assert ground["rows"]["1"][0] == [1, 11.5, 48.1]
    assert off(walk, ground) < 0.02


def test_an_alley_and_numbers_from_the_far_end_make_corners_where_they_are_needed():
    rows = [
        {"block": "B", "row": "1", "last": 40, "breaks": "20:6.0"},
        {"block": "B", "row": "2", "last": 40, "numbered_from": "end"},
    ]
    walk = walk_of(rows=rows)
    ground = ground_of(walk)
    assert [corner[0] for corner in ground["rows"]["1"]] == [1, 20, 21, 40]
    assert ground["rows"]["2"][0][0] == 1
    assert off(walk, ground) < 0.31


def test_row_ends_that_were_measured_are_those_of_the_phone():
    ends = {"start_longitude": 11.6, "start_latitude": 48.2, "end_longitude": 11.6004, "end_latitude": 48.2004}
    ground = ground_of(walk_of({**PLACE, "row_bearing_deg": 34}, [{"block": "B", "row": "1", "last": 40, **ends}]))
    (first, *_, last) = ground["rows"]["1"]
    assert first == pytest.approx([1, 11.6, 48.2], abs=1e-6)
    assert last == pytest.approx([40, 11.6004, 48.2004], abs=1e-6)


@pytest.mark.parametrize("missing", ["longitude", "row_bearing_deg", "rows_go"])
def test_a_block_that_is_not_on_the_map_has_no_ground(missing):
    assert ground_of(walk_of({name: cell for name, cell in PLACE.items() if name != missing})) is None

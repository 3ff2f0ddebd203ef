"""trunkwatch.sheets.crew_lists: the vine that a list names is the one that the record means."""

import pytest

from trunkwatch.sheets.crew_lists import crew_lines
from trunkwatch.store import Store
from trunkwatch.surveys.to_walk import to_walk
from trunkwatch.vineyard.tables import frame_of


@pytest.mark.parametrize(
    ("numbering", "end"), [("same_end", ""), ("serpentine", ""), ("same_end", "end"), ("serpentine", "start")]
)
def test_work_planned_before_a_row_was_interplanted_names_the_same_vine(numbering, end):
    """Row 2 had 11 vines 2 m apart and has 21 at 1 m: by hand, the third vine then, 4 m on, is the fifth now."""
    store = Store.in_memory()
    store.append({
        "blocks": frame_of("blocks", [{"block": "A", "numbering": numbering, "vine_spacing_m": 2, "row_spacing_m": 3}]),
        "rows": frame_of("rows", [
            {"block": "A", "row": "1", "row_order": 1, "last": 11},
            {"block": "A", "row": "2", "row_order": 2, "last": 11, "numbered_from": end, "valid_to": "2020-12-31"},
            {"block": "A", "row": "2", "row_order": 2, "last": 21, "numbered_from": end, "spacing_m": 1, "valid_from": "2021-01-01"},
        ]),
        "work": frame_of("work", [
            {"block": "A", "row": "2", "position": "3", "date": "2020-12-01", "kind": "renew_trunk", "status": "planned"},
            {"block": "A", "row": "2", "position": "4", "date": "2021-12-01", "kind": "renew_trunk", "status": "planned"},
        ]),
    })  # fmt: skip
    walk = to_walk(store, "A", 2021)
    lines = crew_lines(walk.reading)["Cut"]
    assert sorted(int(line.position) for line in lines) == [4, 5]

"""trunkwatch.sheets: field_buds. What the phone knows to count buds and to tick rows pruned."""

import pytest

from trunkwatch.sheets.field_buds import BudFacts, bud_facts
from trunkwatch.sheets.field_page import field_data
from trunkwatch.spreadsheets.handover import handover_frames
from trunkwatch.store import Store
from trunkwatch.surveys.to_walk import to_walk
from trunkwatch.vineyard.tables import frame_of


@pytest.fixture
def store():
    kept = Store.in_memory()
    rows = [{"block": "B", "row": str(n), "last": 6, "cultivar": "Merlot" if n == 4 else ""} for n in range(1, 6)]
    pruned = [
        ("2026-01-10", "1", ""),
        ("2026-01-11", "2:1..3", ""),
        ("2026-01-12", "2:4..6", ""),
        ("2026-01-12", "3", "first"),
        ("2025-01-12", "4", ""),
        ("2026-01-13", "5:1..5", ""),
    ]
    kept.append(
        {
            "blocks": frame_of(
                "blocks",
                [
                    {
                        "block": "B",
                        "cultivar": "Riesling",
                        "planted": 2000,
                        "row_spacing_m": 2.5,
                        "vine_spacing_m": 1.5,
                        "latitude": 47.0,
                    }
                ],
            ),
            "rows": frame_of("rows", rows),
            "plants": frame_of("plants", [{"block": "B", "row": "5", "position": "6", "reason": "missing"}]),
            "pruning": frame_of(
                "pruning", [{"block": "B", "date": day, "covered": what, "cut": cut} for day, what, cut in pruned]
            ),
            "bud_counts": frame_of(
                "bud_counts", [{"block": "B", "date": "2025-01-10", "part": "hollow", "buds": 40, "primary_dead": 4}]
            ),
            "budbreak": frame_of("budbreak", [{"block": "B", "date": "2025-04-20", "part": "hill top"}]),
        }
    )
    yield kept
    kept.close()


def test_cultivars_parts_and_rows_pruned_to_the_last_vine_this_winter(store):
    facts = bud_facts(store, to_walk(store, "B", 2026))
    assert (facts.cultivars, facts.parts) == (("Riesling", "Merlot"), ("hill top", "hollow"))
    # Row 2 in two parts; 3 had a long first cut only; 4 was pruned a year before; of row 5 all that stands.
    assert facts.pruned == ("1", "2", "5")
    assert facts.needed == 125
    assert bud_facts(store, to_walk(store, "B", 2025)).pruned == ("4",)


def test_the_page_has_them_and_without_a_store_has_none(store):
    walk = to_walk(store, "B", 2026)
    data = field_data(walk, identity="v", look="dormant", language="en", buds=bud_facts(store, walk))
    assert data["buds"] == {
        "cultivars": ["Riesling", "Merlot"],
        "parts": ["hill top", "hollow"],
        "pruned": ["1", "2", "5"],
        "needed": 125,
    }
    bare = field_data(walk, identity="v", look="dormant", language="en")
    assert bare["buds"]["pruned"] == list(BudFacts().pruned) == []


def test_counts_and_rows_of_a_hand_over_are_read_cell_by_cell():
    count = {
        "id": "c",
        "block": "B",
        "date": "2026-01-05",
        "buds": 8,
        "primary_dead": 3,
        "canes": 2,
        "secondary_dead": "",
    }
    pruned = {"id": "p", "block": "B", "date": "2026-01-05", "covered": "3", "hours": 2.5}
    frames, faults = handover_frames({"trunkwatch_handover": 4, "bud_counts": [count], "pruning": [pruned]}, "p.json")
    assert faults == []
    assert frames["bud_counts"][["buds", "primary_dead", "canes"]].to_numpy().tolist() == [[8, 3, 2]]
    assert frames["bud_counts"]["secondary_dead"].isna().all()
    assert frames["pruning"][["covered", "hours"]].to_numpy().tolist() == [["3", 2.5]]
    for change, column in (({"buds": 0}, "buds"), ({"primary_dead": "many"}, "primary_dead"), ({"buds": ""}, "buds")):
        frames, faults = handover_frames({"trunkwatch_handover": 4, "bud_counts": [{**count, **change}]}, "p.json")
        assert (frames, [fault.column for fault in faults]) == ({}, [column])

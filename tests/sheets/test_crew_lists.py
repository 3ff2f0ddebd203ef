"""trunkwatch.sheets.crew_lists: the vine that a list names is the one that the record means, and stands there once."""

import pytest

from trunkwatch.sheets.crew_lists import LISTS, crew_lines, crew_lists
from trunkwatch.sheets.field_page import field_data
from trunkwatch.store import Store
from trunkwatch.surveys.to_walk import to_walk
from trunkwatch.vineyard.tables import frame_of


@pytest.mark.parametrize(
    ("numbering", "end"), [("same_end", ""), ("serpentine", ""), ("same_end", "end"), ("serpentine", "start")]
)
def test_work_planned_before_a_row_was_interplanted_names_the_same_vine(numbering, end):
    """Row 2 had 11 vines 2 m apart and has 21 at 1 m: by hand, the third vine then, 4 m on, is the fifth now."""
    store = Store.in_memory()
    store.append(
        {
            "blocks": frame_of(
                "blocks", [{"block": "A", "numbering": numbering, "vine_spacing_m": 2, "row_spacing_m": 3}]
            ),
            "rows": frame_of(
                "rows",
                [
                    {"block": "A", "row": "1", "row_order": 1, "last": 11},
                    {
                        "block": "A",
                        "row": "2",
                        "row_order": 2,
                        "last": 11,
                        "numbered_from": end,
                        "valid_to": "2020-12-31",
                    },
                    {
                        "block": "A",
                        "row": "2",
                        "row_order": 2,
                        "last": 21,
                        "numbered_from": end,
                        "spacing_m": 1,
                        "valid_from": "2021-01-01",
                    },
                ],
            ),
            "work": frame_of(
                "work",
                [
                    {
                        "block": "A",
                        "row": "2",
                        "position": "3",
                        "date": "2020-12-01",
                        "kind": "renew_trunk",
                        "status": "planned",
                    },
                    {
                        "block": "A",
                        "row": "2",
                        "position": "4",
                        "date": "2021-12-01",
                        "kind": "renew_trunk",
                        "status": "planned",
                    },
                ],
            ),
        }
    )
    walk = to_walk(store, "A", 2021)
    lines = crew_lines(walk.reading)["Cut"]
    assert sorted(int(line.position) for line in lines) == [4, 5]


def walk_of(work, **rows):
    """A block of two rows of ten vines, bays of four unless told otherwise, with some work."""
    store = Store.in_memory()
    store.append(
        {
            "blocks": frame_of("blocks", [{"block": "A", "vine_spacing_m": 2, "row_spacing_m": 3, "planted": 2000}]),
            "rows": frame_of(
                "rows", [{"block": "A", "row": row, "last": 10, "bay_ends": "every 4", **rows} for row in ("1", "2")]
            ),
            "work": frame_of(
                "work", [{"block": "A", "row": "1", "date": "2027-02-01", "status": "planned", **one} for one in work]
            ),
        }
    )
    return to_walk(store, "A", 2027)


def lists_of(work, **rows):
    walk = walk_of(work, **rows)
    return walk, crew_lines(walk.reading)


def test_the_bay_comes_before_the_vine_in_it():
    """By hand: bays end at 4, 8 and 10, so position 7 is the third vine of bay 2."""
    walk, lists = lists_of([{"position": "7", "kind": "renew_arm"}])
    assert [line.bay for line in lists["Cut"]] == ["2, 3"]
    page = crew_lists(walk.reading, 2027)
    assert ">bay, vine</th>" in page
    assert ">2, 3</td>" in page


def test_replants_have_a_list_of_their_own_on_paper_desk_and_phone():
    work = [
        {"position": "2", "kind": "replant", "note": "no living vine"},
        {"position": "3", "kind": "train", "date": "2027-06-01"},
        {"position": "4", "kind": "renew_trunk", "cut_height_cm": 35},
    ]
    walk, lists = lists_of(work)
    assert list(LISTS) == [
        "Cut",
        "Replant",
        "Train first",
        "Finish training",
        "Look again",
        "Clean up",
        "Leave this shoot",
        "Mark",
    ]
    assert {name: [line.position for line in lines] for name, lines in lists.items() if lines} == {
        "Cut": ["4"],
        "Replant": ["2"],
        "Finish training": ["3"],
    }
    assert lists["Cut"][0].cut == "35 cm"
    page = crew_lists(walk.reading, 2027)
    sections = page.split("<section>")[1:]
    assert [section.split("</h1>")[0].strip() for section in sections] == [
        f"<h1>{name}: block A, season 2027" for name in ("Cut", "Replant", "Finish training")
    ]
    assert "when the ground allows" in sections[1]
    assert "cut at 35 cm" in sections[0]
    data = field_data(walk, identity="x", look="dormant", language="en")
    assert [(one["row"]["position"], one["row"]["kind"]) for one in data["work"]] == [
        ("2", "replant"),
        ("3", "train"),
        ("4", "renew_trunk"),
    ]
    assert data["work"][2]["row"]["cut_height_cm"] == 35
    assert all("code.replant" in words for words in data["words"].values())


@pytest.mark.parametrize(
    ("others", "listed"),
    [
        ([], ["2027-02-01"]),
        # planned for an earlier winter and not done: once, for the later day
        ([{"date": "2026-02-01", "note": "older"}], ["2027-02-01"]),
        ([{"date": "2027-01-10", "note": "twice"}], ["2027-02-01"]),
        # the same work on another part is other work
        ([{"arm": "end"}], ["2027-02-01", "2027-02-01"]),
        # done earlier in the season, or later; done in a season before, or dropped
        ([{"date": "2026-12-01", "status": "done"}], []),
        ([{"date": "2027-03-01", "status": ""}], []),
        ([{"date": "2026-02-01", "status": "done"}], ["2027-02-01"]),
        ([{"date": "2027-02-20", "status": "dropped"}], ["2027-02-01"]),
    ],
)
def test_no_vine_stands_twice_for_the_same_work(others, listed):
    work = [{"position": "3", "kind": "renew_arm", "arm": "start", **one} for one in [{}, *others]]
    walk, lists = lists_of(work)
    open_lines = [line for line in lists["Cut"] if not line.done]
    assert [line.id for line in open_lines] == [
        one for one in walk.reading.records.work["id"] if one in {line.id for line in open_lines}
    ]
    days = walk.reading.records.work.set_index("id")["date"]
    assert [days[line.id] for line in open_lines] == listed
    assert "older" not in crew_lists(walk.reading, 2027)
    data = field_data(walk, identity="x", look="dormant", language="en")
    assert [one["row"]["date"] for one in data["work"]] == listed


def test_dropped_work_stands_on_no_list_and_work_without_a_status_is_done():
    _, lists = lists_of(
        [
            {"position": "3", "kind": "renew_arm", "status": "dropped"},
            {"position": "4", "kind": "renew_arm", "status": "", "date": "2026-12-01"},
        ]
    )
    assert [(line.position, line.done) for line in lists["Cut"]] == [("4", True)]

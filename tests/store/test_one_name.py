"""trunkwatch.store: one_name, merging, store; files of two growers merged, who both have a block North."""

import pytest

from trunkwatch.errors import RecordError
from trunkwatch.intake import add_frames, merge_file
from trunkwatch.intake.rename import rename_block, rename_vineyard
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import TABLES, frame_of


def grower(path, vineyard, rows=3, last=5, findings=(2,), **block):
    """Write a block North into an empty vineyard, its findings at positions of row 1."""
    told = {
        "block": "North",
        "vineyard": vineyard,
        "planted": 2008,
        "row_spacing_m": 2.5,
        "vine_spacing_m": 1.5,
        **block,
    }
    add_frames(
        path,
        {
            "blocks": frame_of("blocks", [told]),
            "rows": frame_of(
                "rows", [{"block": "North", "row": str(n + 1), "first": 1, "last": last} for n in range(rows)]
            ),
            "surveys": frame_of(
                "surveys", [{"block": "North", "date": "2025-08-01", "look": "summer", "covered": f"1..{rows}"}]
            ),
            "symptoms": frame_of(
                "symptoms",
                [
                    {"block": "North", "row": "1", "position": str(one), "date": "2025-08-01", "symptom": "leaf_stripe"}
                    for one in findings
                ],
            ),
            "weather": frame_of("weather", [{"date": "2025-01-02", "t_min_c": -float(rows)}]),
            "costs": frame_of("costs", [{"name": "grape_price", "value": 100.0 * rows}]),
        },
    )
    return path


def positions(path, block):
    with Store.open(path) as store:
        return sorted(store.frame("symptoms", block)["position"])


def said(path):
    with Store.open(path) as store:
        return {
            table: sorted(map(str, store.stored(table).drop(columns=["read_from"]).itertuples(index=False, name=None)))
            for table in TABLES
        }


@pytest.mark.long
def test_blocks_of_two_vineyards_stay_two_in_either_order(at):
    paths = []
    for name in ("a", "b"):
        hers = grower(at(f"{name}_hers"), "Hill Farm", findings=(2, 4))
        his = grower(at(f"{name}_his"), "Dale Farm", rows=4, findings=(2,))
        first, second = (hers, his) if name == "a" else (his, hers)
        merge_file(first, second)
        paths.append(first)
    assert said(paths[0]) == said(paths[1])
    for path in paths:
        assert positions(path, "Hill Farm/North") == ["2", "4"]
        assert positions(path, "Dale Farm/North") == ["2"]
        with Store.open(path) as store:
            assert set(store.blocks()) == {"Hill Farm/North", "Dale Farm/North"}
            assert len(store.frame("rows", "Hill Farm/North")) == 3
            assert len(store.frame("rows", "Dale Farm/North")) == 4
            assert store.frame("weather", "Hill Farm/North")["t_min_c"].tolist() == [-3.0]
            assert store.frame("costs", "Dale Farm/North")["value"].tolist() == [400.0]


@pytest.mark.long
@pytest.mark.parametrize(
    ("other", "told"),
    [
        ({"planted": 2012}, "planted 2008 in one and 2012 in the other"),
        ({"row_spacing_m": 3.0}, "row_spacing_m 2.5 in one and 3 in the other"),
        ({"rows": 4}, "3 rows in one and 4 in the other"),
        ({"last": 6}, "row 1 from 1 to 5 in one and from 1 to 6 in the other"),
    ],
)
def test_two_vineyards_without_a_name_are_refused_where_north_differs(at, other, told):
    here, there = grower(at("a"), ""), grower(at("b"), "", **other)
    before = said(here)
    with pytest.raises(RecordError) as caught:
        merge_file(here, there)
    assert told in str(caught.value)
    assert "trunkwatch rename FILE --vineyard '' --to NAME" in str(caught.value)
    assert said(here) == before
    rename_vineyard(there, "", "Dale Farm")
    rename_vineyard(here, "", "Hill Farm")
    merge_file(here, there)
    with Store.open(here) as store:
        assert store.blocks() == ("Hill Farm/North", "Dale Farm/North")
        assert len(store.frame("rows", "Hill Farm/North")) == 3
        assert len(store.frame("rows", "Dale Farm/North")) == other.get("rows", 3)
        for block in ("Hill Farm/North", "Dale Farm/North"):
            assert store.frame("blocks", block)["vineyard"].tolist() == [block.partition("/")[0]]
        assert len(store.frame("surveys")) == 2


@pytest.mark.long
def test_a_copy_from_before_the_vineyard_was_named_merges_in_either_order(at, copied):
    here = grower(at("a"), "")
    old = copied(here, "old")
    rename_vineyard(here, "", "Hill Farm")
    finding = {"block": "North", "row": "2", "position": "5", "date": "2025-08-01", "symptom": "leaf_stripe"}
    add_frames(here, {"symptoms": frame_of("symptoms", [finding])})
    add_frames(old, {"symptoms": frame_of("symptoms", [finding, {**finding, "row": "3"}])})
    late = copied(old, "late")
    added = merge_file(here, old)
    assert {table: many for table, many in added.new.items() if many} == {"symptoms": 1}
    assert not added.changed
    merge_file(late, here)
    assert said(late) == said(here)
    with Store.open(here) as store:
        assert store.blocks() == ("North",)
        assert store.frame("blocks", "North")["vineyard"].tolist() == ["Hill Farm"]
        assert len(store.frame("weather", "North")) == len(store.frame("costs", "North")) == 1


def test_copies_of_one_vineyard_without_a_name_merge(at):
    here, there = grower(at("a"), ""), grower(at("b"), "", findings=(2, 3))
    added = merge_file(here, there)
    assert (added.new["symptoms"], added.new["blocks"]) == (1, 0)


def test_a_row_planted_later_does_not_make_another_block(at):
    here, there = grower(at("a"), ""), grower(at("b"), "")
    later = {"block": "North", "row": "4", "first": 1, "last": 5, "valid_from": "2024-03-01"}
    add_frames(there, {"rows": frame_of("rows", [later])})
    assert merge_file(here, there).new["rows"] == 1


def test_a_vineyard_without_a_name_beside_a_named_one_is_refused(at):
    here, there = grower(at("a"), "Hill Farm"), grower(at("b"), "")
    with pytest.raises(RecordError, match="a vineyard without a name and Hill Farm both have a block 'North'"):
        merge_file(here, there)
    rename_vineyard(there, "", "Dale Farm")
    merge_file(here, there)
    with Store.open(here) as store:
        assert store.blocks() == ("Hill Farm/North", "Dale Farm/North")


@pytest.mark.long
def test_merging_an_old_copy_after_a_rename_loses_and_doubles_nothing(at, copied):
    here = grower(at("a"), "Hill Farm")
    old = copied(here, "old")
    rename_block(here, "North", label="Top")
    rename_vineyard(here, "Hill Farm", "High Farm")
    finding = {"row": "2", "position": "5", "date": "2025-08-01", "symptom": "leaf_stripe"}
    add_frames(here, {"symptoms": frame_of("symptoms", [{"block": "Top", **finding}])})
    add_frames(
        old,
        {"symptoms": frame_of("symptoms", [{"block": "North", **finding}, {"block": "North", **finding, "row": "3"}])},
    )
    added = merge_file(here, old)
    assert not added.changed
    assert {table: many for table, many in added.new.items() if many} == {"symptoms": 1}
    assert positions(here, "Top") == ["2", "5", "5"]
    with Store.open(here) as store:
        assert store.blocks() == ("Top",)
        assert set(store.frame("symptoms", "Top")["block"]) == {"Top"}
        assert set(store.frame("symptoms", "Top")["vineyard"]) == {"High Farm"}
        assert len(store.frame("weather", "Top")) == 1
    merge_file(old, here)
    assert said(old) == said(here)


def test_two_blocks_that_came_to_have_one_name_are_refused_in_either_order(at):
    here, there = grower(at("a"), "Hill Farm"), at("b")
    add_frames(
        there,
        {
            "blocks": frame_of(
                "blocks", [{"block": "East", "vineyard": "Hill Farm", "row_spacing_m": 2, "vine_spacing_m": 1}]
            ),
            "rows": frame_of("rows", [{"block": "East", "row": "1", "first": 1, "last": 4}]),
        },
    )
    rename_block(there, "East", label="North")
    for first, second in ((here, there), (there, here)):
        with pytest.raises(RecordError, match="two blocks that are not one have, or had, the name 'Hill Farm/North'"):
            merge_file(first, second)


def test_words_of_a_merge_say_what_stands(at):
    here, there = grower(at("a"), "Hill Farm"), grower(at("b"), "Hill Farm", last=6)
    changed = merge_file(here, there).changed
    rows = [one for one in changed if one.table == "rows"]
    assert len(rows) == 3
    with Store.open(here) as store:
        stands = store.frame("rows", "North")["last"].tolist()
    for one, last in zip(rows, stands, strict=True):
        assert one.values == {"last": (5.0, 6.0)}
        assert one.stands == {"last": last}
        assert one.about.startswith("block North, row ")


def test_a_record_moved_to_another_block_stands_there_only(at):
    here = grower(at("a"), "Hill Farm")
    merge_file(here, grower(at("b"), "Dale Farm", findings=(3,)))
    with Store.open(here) as store:
        wrong = store.frame("symptoms", "Hill Farm/North").iloc[0].to_dict()
    moved = {
        **wrong,
        "vineyard": "Dale Farm",
        "corrects": wrong["id"],
        "id": "",
        "read_from": "",
        "recorded_at": "2025-08-02",
    }
    add_frames(here, {"symptoms": frame_of("symptoms", [moved])})
    assert positions(here, "Hill Farm/North") == []
    assert positions(here, "Dale Farm/North") == ["2", "3"]

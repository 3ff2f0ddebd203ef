"""trunkwatch.vineyard: block_names, named_records; what the names of blocks mean, and which block a record is of."""

import pandas as pd
import pytest

from trunkwatch.errors import UnknownBlockError
from trunkwatch.vineyard.block_names import AmbiguousNameError, BlockNames, listed
from trunkwatch.vineyard.named_records import named_records
from trunkwatch.vineyard.records import earlier_id, key_text, record_id
from trunkwatch.vineyard.tables import empty_frame, frame_of

HILL = {"block": "North", "vineyard": "Hill Farm", "planted": 2008.0}
DALE = {"block": "North", "vineyard": "Dale Farm", "planted": 2012.0}
SOUTH = {"block": "South", "vineyard": "Dale Farm"}
FINDING = {"row": "1", "position": "2", "date": "2025-08-01", "symptom": "leaf_stripe", "read_from": "symptoms.csv:7"}


def blocks(*records: dict) -> pd.DataFrame:
    return named_records(empty_frame("blocks"), {"blocks": frame_of("blocks", records)}).frames["blocks"]


def renamed(root: dict, day: str, **changes) -> dict:
    return {**root, "corrects": record_id("blocks", root), "recorded_at": day, **changes}


def named(known: pd.DataFrame, table: str, *records: dict):
    return named_records(known, {table: frame_of(table, records)})


def test_a_block_is_called_by_its_label_where_no_other_block_has_or_had_it():
    assert BlockNames(blocks(HILL, SOUTH)).labels == ("North", "South")
    assert BlockNames(blocks(HILL, DALE, SOUTH)).labels == ("Hill Farm/North", "Dale Farm/North", "South")
    gone = BlockNames(blocks(HILL, DALE, renamed(HILL, "2026-01-01", block="Top")))
    assert gone.labels == ("Top", "Dale Farm/North")


def test_a_label_with_a_slash_is_not_taken_for_another_block():
    odd = {"block": "Dale Farm/South", "vineyard": "Hill Farm"}
    names = BlockNames(blocks(odd, SOUTH, {**SOUTH, "vineyard": "Hill Farm"}))
    assert names.labels == ("Hill Farm/Dale Farm/South", "Dale Farm/South", "Hill Farm/South")
    assert [names.find(name).today for name in names.labels] == [
        ("Hill Farm", "Dale Farm/South"),
        ("Dale Farm", "South"),
        ("Hill Farm", "South"),
    ]


def test_find_lists_the_names_that_tell_blocks_apart():
    names = BlockNames(blocks(HILL, DALE))
    assert names.find("Dale Farm/North").today == ("Dale Farm", "North")
    with pytest.raises(AmbiguousNameError, match=r"two blocks are named 'North': .* Hill Farm/North, Dale Farm/North"):
        names.find("North")
    with pytest.raises(UnknownBlockError, match="no block 'East'; the blocks are: Hill Farm/North, Dale Farm/North"):
        names.find("East")


def test_every_name_that_a_block_had_means_it():
    first = renamed(HILL, "2026-01-01", block="Top")
    second = {**first, "vineyard": "High Farm", "recorded_at": "2026-02-01", "corrects": record_id("blocks", first)}
    names = BlockNames(blocks(HILL, first, second, SOUTH))
    assert names.labels == ("Top", "South")
    for name in ("Top", "North", "Hill Farm/North", "Hill Farm/Top", "High Farm/Top"):
        assert names.find(name).today == ("High Farm", "Top")
    assert names.find("Top").first == ("Hill Farm", "North")


def test_the_vineyard_is_filled_in_where_one_block_has_the_label():
    told = named(blocks(HILL, SOUTH), "symptoms", {"block": "North", **FINDING}, {"block": "South", **FINDING})
    assert told.frames["symptoms"]["vineyard"].tolist() == ["Hill Farm", "Dale Farm"]
    assert not told.faults


def test_two_vineyards_with_the_label_are_a_fault_with_file_and_line():
    (fault,) = named(blocks(HILL, DALE), "symptoms", {"block": "North", **FINDING}).faults
    assert str(fault) == (
        "symptoms.csv, line 7, column vineyard: two vineyards have a block North: "
        "write the column vineyard (Hill Farm or Dale Farm)"
    )
    for written in ({"block": "North", "vineyard": "Dale Farm"}, {"block": "Dale Farm/North"}):
        told = named(blocks(HILL, DALE), "symptoms", {**written, **FINDING})
        record = told.frames["symptoms"].iloc[0]
        assert (record["vineyard"], record["block"], told.faults) == ("Dale Farm", "North", [])


def test_weather_and_costs_are_of_the_only_vineyard():
    price = {"name": "grape_price", "value": 900.0, "read_from": "costs.csv:2"}
    assert named(blocks(SOUTH), "costs", price).frames["costs"]["vineyard"].tolist() == ["Dale Farm"]
    (fault,) = named(blocks(HILL, SOUTH), "costs", price).faults
    assert "write the column vineyard (Hill Farm or Dale Farm)" in str(fault)
    assert str(fault).startswith("costs.csv, line 2")


def test_one_line_before_and_after_a_rename_is_one_record():
    before = named(blocks(HILL), "symptoms", {"block": "North", **FINDING}).frames["symptoms"]
    known = blocks(HILL, renamed(HILL, "2026-01-01", block="Top", vineyard="High Farm"))
    for written in ({"block": "North"}, {"block": "Top"}, {"block": "Top", "vineyard": "High Farm"}):
        after = named(known, "symptoms", {**written, **FINDING}).frames["symptoms"]
        assert after.equals(before)


def test_weather_of_a_vineyard_renamed_is_the_same_record():
    day = {"date": "2025-01-02", "t_min_c": -9.0}
    before = named(blocks(HILL), "weather", day).frames["weather"]
    known = blocks(HILL, renamed(HILL, "2026-01-01", vineyard="High Farm"))
    for owner in ("", "Hill Farm", "High Farm"):
        assert named(known, "weather", {**day, "vineyard": owner}).frames["weather"].equals(before)


def test_a_new_block_takes_no_name_that_another_had():
    known = blocks(HILL, renamed(HILL, "2026-01-01", block="Top"))
    (fault,) = named(known, "blocks", {**HILL, "planted": 2020.0}).faults
    assert "block Top was called so before" in str(fault)
    other = {"block": "East", "vineyard": "Hill Farm"}
    (fault,) = named(pd.concat([known, blocks(other)]), "blocks", renamed(other, "2026-02-01", block="North")).faults
    assert "block Top has, or had, that name" in str(fault)


def test_a_vineyard_without_a_name_shares_no_label_with_another():
    bare = {"block": "North", "read_from": "blocks.csv:2"}
    (fault,) = named(blocks(HILL), "blocks", bare).faults
    assert "a vineyard without a name and Hill Farm both have a block North" in str(fault)
    assert "--vineyard '' --to NAME" in str(fault)


def test_the_key_of_a_vineyard_without_a_name_is_that_of_before():
    record = {"block": "North", **FINDING}
    assert key_text("symptoms", record) == key_text("symptoms", {**record, "vineyard": ""})
    assert record_id("symptoms", record) != record_id("symptoms", {**record, "vineyard": "Hill Farm"})
    told = {**frame_of("symptoms", [record]).iloc[0].to_dict(), "vineyard": "Hill Farm"}
    assert earlier_id("symptoms", told) == record_id("symptoms", record)


def test_ids_from_before_the_vineyard_are_made_anew_and_corrections_follow():
    first = {"block": "North", **FINDING}
    old = record_id("symptoms", first)
    second = {**first, "position": "3", "corrects": old, "recorded_at": "2025-08-02"}
    third = {**first, "position": "4", "corrects": record_id("symptoms", second), "recorded_at": "2025-08-03"}
    ids = [record_id("symptoms", one) for one in (first, second, third)]
    lines = [{**one, "id": name} for one, name in zip((first, second, third), ids, strict=True)]
    for told in (lines, lines[::-1], [first, second, third]):
        frame = named(blocks(HILL), "symptoms", *told).frames["symptoms"].sort_values("position")
        assert frame["id"].iloc[0] == record_id("symptoms", {**first, "vineyard": "Hill Farm"})
        assert frame["corrects"].tolist()[1:] == frame["id"].tolist()[:2]
        assert not set(frame["id"]) & set(ids)


def test_names_are_listed_with_or():
    assert listed(["A", "B", ""]) == "A, B or the vineyard without a name"
    assert listed(["A"]) == "A"


@pytest.mark.parametrize("table", ["rows", "plants", "surveys", "symptoms", "work", "weather", "costs"])
def test_records_are_shown_under_the_names_of_today(table):
    known = blocks(HILL, renamed(HILL, "2026-01-01", block="Top", vineyard="High Farm"))
    written = {"vineyard": "Hill Farm"} | ({} if table in ("weather", "costs") else {"block": "North"})
    frame = frame_of(table, [written])
    shown = BlockNames(known).today(table, frame).iloc[0]
    assert shown["vineyard"] == "High Farm"
    assert shown.get("block", "Top") == "Top"


def test_records_that_come_with_their_own_blocks_mean_these():
    told = named_records(
        blocks(HILL),
        {
            "blocks": frame_of("blocks", [DALE]),
            "symptoms": frame_of("symptoms", [{"block": "North", **FINDING}]),
            "costs": frame_of("costs", [{"name": "grape_price", "value": 1.0}]),
        },
    )
    assert not told.faults
    assert told.frames["symptoms"]["vineyard"].tolist() == told.frames["costs"]["vineyard"].tolist() == ["Dale Farm"]

"""trunkwatch.spreadsheets.headings, words: where the headings stand and what they mean."""

import pytest

from trunkwatch.spreadsheets.headings import heading_place, is_second_table, meant_by, tidy
from trunkwatch.spreadsheets.words import proposed_arm, proposed_symptom
from trunkwatch.vineyard.codes import SYMPTOMS
from trunkwatch.vineyard.tables import TABLES

FINDING = TABLES["symptoms"]


@pytest.mark.parametrize(
    ("heading", "name"),
    [("Row #", "row"), (" Cut Height (cm) ", "cut_height"), ("Vine No.", "vine"), ("percent [%]", "percent"), ("Row\xa0no", "row"),
     ("#", "#"), (None, "")],
)  # fmt: skip
def test_tidy(heading, name):
    assert tidy(heading) == name


@pytest.mark.parametrize(
    ("heading", "others", "meant"),
    [
        ("Comments", [], ("note", "")), ("Cut height (cm)", [], ("cut_height_cm", "")), ("percent (%)", [], ("percent", "%")),
        ("Vine", ["row"], ("position", "")), ("Vine", ["row", "bay"], ("vine", "")), ("Vine", ["position"], ("vine", "")),
        ("severity", [], ("", "")), ("Cut height (in)", [], ("", "in")),
    ],
)  # fmt: skip
def test_what_a_heading_means(heading, others, meant):
    assert meant_by(heading, FINDING, [heading, *others]) == meant


def test_a_word_is_read_only_in_tables_that_have_the_column():
    assert meant_by("Comments", TABLES["weather"], ["Comments"])[0] == ""


def test_headings_below_a_title_and_data_of_one_column():
    data = [(4, ["B", "1", "2"])]
    assert heading_place([(1, ["Scouting 2026"]), (3, ["block", "row", "position"]), *data]) == 1
    assert heading_place([(1, ["Blatt", "Reihe", "Rebe"]), *data]) == 0
    assert heading_place([(1, ["Titel"]), (3, ["Blatt", "Reihe", "Rebe"]), *data]) == 1
    assert heading_place([(1, ["block"]), (2, ["B"])]) == 0
    assert heading_place([]) == 0


def test_a_second_table_is_told_from_data():
    assert is_second_table(["survey", "block", "date", "look"])
    assert not is_second_table(["B", "row", "1", "date"])
    assert not is_second_table(["row", "12", "31", "2026-02-03"])


def test_proposals_name_real_codes_and_no_side_is_taken():
    for said in ("Dead cordon", "tiger stripes", "apoplexy", "crown gall?", "healthy"):
        assert proposed_symptom(said).split(",")[0] in SYMPTOMS
    assert proposed_symptom("something else") == ""
    assert proposed_symptom("broken") == ""
    assert "position 1" in proposed_arm("L")
    assert proposed_arm("cordon") == ""

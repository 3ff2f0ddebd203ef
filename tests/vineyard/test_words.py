"""trunkwatch.vineyard: calendar, codes, covered, faults, tables."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trunkwatch.vineyard import codes
from trunkwatch.vineyard.calendar import (
    coming_winter,
    hemisphere_of,
    is_iso_date,
    look_of,
    season_bounds,
    season_of,
    winter_bounds,
    winter_name,
)
from trunkwatch.vineyard.covered import CoverageError, Stretch, format_covered, parse_covered
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.tables import TABLES, empty_frame, frame_of, number_in, number_or_none, records_of

ROWS = [str(n) for n in range(1, 13)] + ["12A", "", "13"]


@pytest.mark.parametrize(
    ("day", "hemisphere", "season", "look"),
    [
        ("2025-10-31", "north", 2025, "summer"), ("2025-11-01", "north", 2026, "dormant"), ("2026-03-31", "north", 2026, "dormant"),
        ("2026-04-01", "north", 2026, "spring"), ("2026-06-30", "north", 2026, "spring"), ("2026-07-01", "north", 2026, "summer"),
        ("2025-04-30", "south", 2025, "summer"), ("2025-05-01", "south", 2026, "dormant"), ("2026-01-15", "south", 2026, "summer"),
        ("2025-10-01", "south", 2026, "spring"),
    ],
)  # fmt: skip
def test_seasons_and_looks(day, hemisphere, season, look):
    assert season_of(day, hemisphere) == season
    assert look_of(day, hemisphere) == look
    first, last = season_bounds(season, hemisphere)
    assert first <= day <= last


def test_bounds_are_those_of_the_definition():
    assert season_bounds(2026) == ("2025-11-01", "2026-10-31")
    assert season_bounds(2026, "south") == ("2025-05-01", "2026-04-30")
    assert not is_iso_date("2026-02-30")
    with pytest.raises(ValueError, match="north or south"):
        season_of("2026-01-01", "east")


def test_a_winter_is_the_dormant_months_of_its_season_and_named_as_people_do():
    assert winter_bounds(2027) == ("2026-11-01", "2027-03-31")
    assert winter_bounds(2027, "south") == ("2026-05-01", "2026-09-30")
    assert winter_name(2027) == "winter 2026/27"
    assert winter_name(2100) == "winter 2099/00"
    assert winter_name(2027, "south") == "winter 2026"
    for hemisphere in ("north", "south"):
        for year in (2024, 2027):
            assert {look_of(day, hemisphere) for day in winter_bounds(year, hemisphere)} == {"dormant"}
            assert {season_of(day, hemisphere) for day in winter_bounds(year, hemisphere)} == {year}


@pytest.mark.parametrize(
    ("hemisphere", "today", "season"),
    [
        ("north", None, 2027), ("north", "2026-08-01", 2027), ("north", "2027-03-31", 2027), ("north", "2027-04-01", 2028),
        ("north", "2028-05-01", 2029), ("south", None, 2027), ("south", "2026-09-30", 2027), ("south", "2026-10-01", 2028),
        ("south", "2027-05-02", 2028), ("south", "2027-10-01", 2029),
    ],
)  # fmt: skip
def test_the_winter_to_come_is_the_next_that_has_not_ended(hemisphere, today, season):
    assert coming_winter(2026, hemisphere, today) == season


def test_covered():
    found = parse_covered("1..2; 5; 6:1..40; 7:5..95/10; 12..13", ROWS)
    assert found == [
        Stretch("1"),
        Stretch("2"),
        Stretch("5"),
        Stretch("6", 1, 40),
        Stretch("7", 5, 95, 10),
        Stretch("12"),
        Stretch("12A"),
        Stretch("13"),
    ]
    assert parse_covered("all", ROWS) == [Stretch(row) for row in ROWS if row]
    assert parse_covered(" 3 : 4 .. 5 ", ROWS) == [Stretch("3", 4, 5)]


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("1..7/2", "1 3 5 7"), ("1..8 / 2", "1 3 5 7"), ("8..1/2", "2 4 6 8"), ("11..13/2", "11 12A"), ("2..12/5; 1", "2 7 12 1"),
        ("9..9/3", "9"),
    ],
)  # fmt: skip
def test_every_second_row(text, rows):
    assert parse_covered(text, ROWS) == [Stretch(row) for row in rows.split()]


def test_a_row_that_is_labeled_with_a_slash_is_that_row():
    rows = ["1", "2", "3", "3/2"]
    assert parse_covered("1..3/2", rows) == [Stretch(row) for row in rows]
    assert parse_covered("3/2", rows) == [Stretch("3/2")]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("1-12", "hyphen"),
        ("99", "1 to 13"),
        ("", "empty"),
        ("1:9..2", "backwards"),
        ("1:a..b", "cannot be read"),
        ("1..12/0", "no step"),
        ("12/2", "'12/2' is not in the block"),
        ("1..20/2", "'20' is not in the block"),
    ],
)
def test_covered_that_cannot_be_read(text, told):
    with pytest.raises(CoverageError, match=told):
        parse_covered(text, ROWS)


@given(
    st.lists(
        st.tuples(st.sampled_from(["1", "7", "12A"]), st.integers(1, 50), st.integers(0, 40), st.integers(1, 9)),
        min_size=1,
    )
)
def test_covered_round_trip(parts):
    stretches = [Stretch(row, first, first + more, step) for row, first, more, step in parts]
    assert parse_covered(format_covered(stretches), ROWS) == stretches


def test_codes_are_plain_words():
    every = [*codes.SYMPTOMS, *codes.WORK_KINDS, *codes.CAUSES, *codes.TRAININGS]
    assert all(word == word.lower() and " " not in word for word in every)
    assert set(codes.ARMS) == set(codes.TRAININGS)
    assert set(codes.CLEARING) <= set(codes.WORK_KINDS)
    assert set(codes.LASTING) | set(codes.COME_AND_GO) <= set(codes.SYMPTOMS)


def test_tables():
    frame = frame_of("symptoms", [{"block": "B", "trunk": 2}, {"block": "C", "note": None}])
    assert list(frame.columns) == list(TABLES["symptoms"].names)
    assert number_in(records_of(frame)[0], "trunk") == 2.0
    assert frame["note"].tolist() == ["", ""]
    assert frame["trunk"].isna().tolist() == [False, True]
    assert empty_frame("costs").empty
    with pytest.raises(KeyError, match="no column"):
        frame_of("symptoms", [{"cause_of_death": "x"}])
    with pytest.raises(KeyError):
        TABLES["rows"].column("nothing")


def test_a_fault_reads_as_one_line():
    fault = Fault("fault", "unknown row", "symptoms.csv", 14, "row", "99", "1 to 12")
    assert str(fault) == "symptoms.csv, line 14, column row: unknown row ('99'); expected: 1 to 12"
    assert str(Fault("note", "odd")) == "odd"


def test_a_number_that_is_not_written_is_none():
    assert [number_or_none(cell) for cell in (3, 2.5, 0.0, float("nan"), "", None, "7")] == [
        3.0,
        2.5,
        0.0,
        None,
        None,
        None,
        None,
    ]


def test_the_hemisphere_is_as_written_else_by_latitude_else_north():
    assert hemisphere_of({"hemisphere": "north", "latitude": -34.0}) == "north"
    assert [hemisphere_of({"latitude": degrees}) for degrees in (-34.0, 44.0, float("nan"))] == [
        "south",
        "north",
        "north",
    ]
    assert hemisphere_of({}) == "north"

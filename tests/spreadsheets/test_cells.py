"""trunkwatch.spreadsheets.cells: what a cell says, and what is wrong with it."""

import datetime as dt
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trunkwatch.spreadsheets.cells import day_as_told, read_cell
from trunkwatch.vineyard.tables import TABLES

FINDING, SURVEY = TABLES["symptoms"], TABLES["surveys"]


def said(column: str, raw, table=FINDING):
    return read_cell(table.column(column), raw)


@pytest.mark.parametrize(
    ("column", "raw", "value"),
    [
        ("percent", "60", 60.0), ("percent", " 60 % ", 60.0), ("percent", "12,5", 12.5), ("percent", "0.35 %", 0.35), ("dead", "3.0", 3.0),
        ("symptom", "Dead Arm", "dead_arm"), ("symptom", "dead-arm", "dead_arm"), ("date", "2026-02-03", "2026-02-03"),
        ("date", dt.datetime(2026, 2, 3), "2026-02-03"), ("date", "2026-02-03 00:00:00", "2026-02-03"),
        ("position", "31.0", "31"), ("position", 31.0, "31"), ("row", "12A", "12A"), ("note", "  two  words ", "two  words"),
    ],
)  # fmt: skip
def test_what_is_taken(column, raw, value):
    found = said(column, raw)
    assert found.value == value
    assert found.weight in (None, "note")


@pytest.mark.parametrize(
    ("column", "raw", "expected"),
    [
        ("date", "03/04/2026", "2026-03-04 or 2026-04-03: write the one you mean"),
        ("date", "13/04/2026", "2026-04-13 if you mean that day"),
        ("date", "2026/02/03", "2026-02-03 if you mean that day"),
        ("date", "2026-02-30", "a real day as YYYY-MM-DD"),
        ("date", "9999-12-31", "a day from 1700 to 2200; an open end stays empty"),
        ("date", "0001-01-01", "a day from 1700 to 2200"),
        ("date", dt.datetime(9999, 12, 31), "a day from 1700 to 2200"),
        ("longitude", "1e999", "from -180 to 180"),
        ("accuracy_m", "1e999", "0 or more, below 1e+12"),
        ("accuracy_m", "inf", "a number"),
        ("accuracy_m", math.inf, "a number"),
        ("dead", "9" * 5000, "a whole number, 0 or more, below 1e+12"),
        ("dead", 10**400, "a whole number"),
        ("observer", "#N/A", "the value itself"),
        ("symptom", "dead_arms", "dead_arm perhaps"),
        ("percent", "140", "from 0 to 100"),
        ("dead", "2.5", "a whole number"),
        ("position", "12-Jan", "format the column as text"),
        ("position", dt.datetime(2026, 1, 12), "format the column as text"),
        ("row", "2026-01-12", "format the column as text"),
        ("symptom", "", "what was seen"),
        ("date", "3 Feb 2026", "2026-02-03 if you mean that day"),
        ("date", "February 3rd, 2026", "2026-02-03 if you mean that day"),
        ("date", "03-Feb-26", "2026-02-03 if you mean that day"),
        ("date", "2026-2-3", "2026-02-03 if you mean that day"),
        ("date", "20260203", "2026-02-03 if you mean that day"),
        ("date", "46056", "2026-02-03 if you mean that day"),
        ("percent", "0.35", "35 if you mean 35 %"),
        ("percent", "0,35", "35 if you mean 35 %"),
        ("symptom", "dead cordon", "dead_arm"),
        ("symptom", "tiger stripes", "leaf_stripe"),
        ("symptom", "missing", "plants table"),
        ("arm", "L", "towards position 1"),
        ("row", "#REF!", "the value itself"),
    ],
)
def test_what_is_refused(column, raw, expected):
    found = said(column, raw)
    assert found.weight == "fault"
    assert expected in found.expected


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("03/04/2026", "day", "2026-04-03"), ("03/04/2026", "month", "2026-03-04"), ("3.4.26", "day", "2026-04-03"),
        ("13/04/2026", "month", "13/04/2026"), ("3 Apr 2026", "day", "2026-04-03"), ("2026-04-03", "day", "2026-04-03"),
        ("03/04/2026", "", "03/04/2026"), ("20260403", "day", "20260403"),
    ],
)  # fmt: skip
def test_days_are_turned_only_as_told(text, order, day):
    """20260403 and day counts stay: they may be counts of something else."""
    assert day_as_told(text, order) == day


def test_a_range_that_became_a_date_is_recognised():
    assert "1..12" in said("covered", "12-Jan", SURVEY).expected
    assert "1..12" in said("covered", "01/12/2026", SURVEY).expected


def test_an_empty_cell_that_is_needed_is_a_fault():
    for nothing in ("", "  ", None, float("nan")):
        assert said("date", nothing).problem == "date is empty"


def test_an_empty_cell_is_nothing():
    assert math.isnan(said("percent", "").value)
    assert said("arm", None).value == ""


@given(st.text(max_size=30), st.sampled_from(FINDING.names))
def test_any_text_gets_an_answer(text, column):
    found = read_cell(FINDING.column(column), text)
    assert found.weight in (None, "note", "fault")
    assert isinstance(found.value, float) == FINDING.column(column).is_number

"""trunkwatch.vineyard: calendar, covered, row_cells: days, and how far a walk and a row can go; intake: checks, check_layout."""

import time

import pytest

from trunkwatch.errors import RecordError
from trunkwatch.intake.checks import check_frames
from trunkwatch.vineyard import calendar
from trunkwatch.vineyard.calendar import day_after, is_any_day, is_iso_date, local_day
from trunkwatch.vineyard.covered import MOST_LETTERS, CoverageError, parse_covered
from trunkwatch.vineyard.row_cells import bay_ends_of, breaks_of, positions_of
from trunkwatch.vineyard.rows_on_day import natural_key
from trunkwatch.vineyard.tables import TABLES, empty_frame, frame_of

ROWS = ("1", "2", "3")


@pytest.fixture
def zone(monkeypatch):
    def go(name, now):
        monkeypatch.setenv("TZ", name)
        time.tzset()
        real = calendar.dt.datetime

        class Clock(real):
            @classmethod
            def now(cls, tz=None):  # noqa: ANN206
                return real.fromtimestamp(now, tz)

        monkeypatch.setattr(calendar.dt, "datetime", Clock)

    yield go
    monkeypatch.undo()
    time.tzset()


def faults_of(day, table="symptoms"):
    frames = {name: empty_frame(name) for name in TABLES}
    frames["blocks"] = frame_of("blocks", [{"block": "B", "hemisphere": "south", "planted": 2000, "id": "b"}])
    frames["rows"] = frame_of("rows", [{"block": "B", "row": "1", "last": 9, "id": "r"}])
    if table == "symptoms":
        record = {"block": "B", "row": "1", "position": "2", "date": day, "symptom": "canker", "id": "s"}
    else:
        record = {"block": "B", "row": "1", "position": "2", "planted": day, "id": "p"}
    frames[table] = frame_of(table, [record])
    return [
        (fault.weight, fault.problem) for fault in check_frames(frames) if "day" in fault.problem and fault.value == day
    ]


#: 2026-03-04 20:00 UTC: the morning of the 5th in Auckland, the morning of the 4th in Honolulu.
EVENING = 1_772_654_400


@pytest.mark.parametrize(("name", "today", "tomorrow", "after"), [
    ("Pacific/Auckland", "2026-03-05", "2026-03-06", "2026-03-07"),
    ("Pacific/Honolulu", "2026-03-04", "2026-03-05", "2026-03-06"),
    ("UTC", "2026-03-04", "2026-03-05", "2026-03-06"),
])  # fmt: skip
def test_the_future_begins_where_the_machine_stands(zone, name, today, tomorrow, after):
    zone(name, EVENING)
    assert local_day() == today
    assert faults_of(today) == []
    assert faults_of(tomorrow) == [("note", f"the day is tomorrow here ({today} is today)")]
    assert faults_of(after) == [("fault", "the day lies in the future")]


def test_a_year_that_begins_tomorrow(zone):
    zone("UTC", 1_798_718_400)  # 2026-12-31 12:00
    assert faults_of("2026", "plants") == []
    assert [weight for weight, _ in faults_of("2027", "plants")] == ["note"]
    assert [weight for weight, _ in faults_of("2028", "plants")] == ["fault"]


def test_days_of_years_without_vines():
    assert is_any_day("9999-12-31")
    assert not is_iso_date("9999-12-31")
    assert not is_iso_date("1699-12-31")
    assert is_iso_date("1700-01-01")
    assert not is_iso_date("2026-02-30")
    assert not is_iso_date("\u0662\u0660\u0662\u0666-01-01")
    assert day_after("2024-02-28") == "2024-02-29"


@pytest.mark.parametrize(
    ("text", "message"),
    [("1:1..999999999", "at most 100,000"), ("1:999999998..999999999", "up to 999999999"), ("1:" + "9" * 5000, "cannot be read"),
     ("1:1..5/" + "9" * 5000, "cannot be read"), ("; ".join(["1"] * MOST_LETTERS), "letters"), ("all;" * 4999, "stretches")],
)  # fmt: skip
def test_a_walk_that_nobody_walks_is_refused_before_it_is_laid_out(text, message):
    rows = [str(n) for n in range(1, 200)] if text.startswith("all") else ROWS
    began = time.monotonic()
    with pytest.raises(CoverageError, match=message):
        parse_covered(text, rows)
    assert time.monotonic() - began < 1


@pytest.mark.parametrize("last", [1e9, 1e15, 1e300])
def test_rows_longer_than_any_row_are_refused(last):
    with pytest.raises(RecordError, match="at most 100000 positions") as told:
        positions_of({"first": 1.0, "last": last}, "here")
    assert len(str(told.value)) < 200
    with pytest.raises(RecordError, match="a position up to 999999"):
        positions_of({"first": last, "last": last}, "here")


def test_breaks_and_bays_without_end_are_refused():
    for text in ("30:900000000", "9999999:6", "30:" + "9" * 400, "9" * 5000 + ":6", "30:20000"):
        with pytest.raises(RecordError, match="breaks has"):
            breaks_of(text, "here")
    for text in ("every " + "9" * 5000, "9" * 5000, "5; 9999999"):
        with pytest.raises(RecordError, match="bay_ends is") as told:
            bay_ends_of(text, 1, 50, "here")
        assert len(str(told.value)) < 6000


def test_labels_of_thousands_of_digits_are_sorted():
    assert sorted(["9" * 5000, "12A", "2"], key=natural_key) == ["2", "12A", "9" * 5000]


def test_many_blocks_that_each_are_large_are_too_many_together(monkeypatch):
    monkeypatch.setattr("trunkwatch.intake.check_layout.MOST_PLACES", 100)
    frames = {name: empty_frame(name) for name in TABLES}
    frames["blocks"] = frame_of("blocks", [{"block": label, "hemisphere": "south", "id": label} for label in "ABC"])
    frames["rows"] = frame_of("rows", [{"block": label, "row": "1", "last": 40, "id": label} for label in "ABC"])
    told = [fault.problem for fault in check_frames(frames) if fault.weight == "fault"]
    assert told == [
        "with block 'C' the vineyard has more than 100 places: look at last of its rows, or keep it in two vineyards"
    ]

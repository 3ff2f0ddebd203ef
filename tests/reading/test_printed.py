"""trunkwatch.cli: map, plan, report, sheet, incidence, history; what they print of each vine, against the second reader.

Every sequence is printed and read by both; all must be equal. Thousands are read in tests/calibration/two_readers.py.
"""

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from reading.on_paper import Pages
from reading.printed import differences_printed
from reading.roads import NothingPrintedError, Printed, printed_of
from reading.test_reference import augusts, dead_arm, done, finding, januaries, tables
from reading.worlds import of_block, vineyards

ROUNDS = (*januaries(2023, 2024), *augusts(2023, 2024))
#: A vine in doubt and one with damage that is known by percent and shoot, one cut, one pulled, work that is planned; one record taken back.
WRITTEN = tables(
    vines=6,
    surveys=ROUNDS,
    symptoms=[
        dead_arm(1, "2023-01-15"), finding(1, "2024-01-15", "none"),
        dead_arm(2, "2023-01-15", percent=40, renewal_shoot="trunk"), finding(3, "2024-08-15", "leaf_stripe"),
        dead_arm(4, "2023-01-15"), finding(5, "2024-08-15", "dead"), finding(6, "2024-05-20", "canker"),
    ],
    work=[done(4, "2024-02-01", "renew_arm"), done(2, "2025-02-01", "renew_arm", arm="start", status="planned")],
)  # fmt: skip


def of_written(change=lambda tables: tables):
    """Print the block as it is written, let the second reader read it otherwise, and name what differs."""
    return {
        line.split()[0].rstrip(":") for line in differences_printed(WRITTEN, "any", None, reference=change(WRITTEN))
    }


def without(symptom, position):
    """Leave a finding out."""

    def change(tables):
        left = [
            record
            for record in tables["symptoms"]
            if (record["symptom"], str(record["position"])) != (symptom, str(position))
        ]
        assert len(left) == len(tables["symptoms"]) - 1
        return {**tables, "symptoms": left}

    return change


def otherwise(table, number, **cells):
    """Change cells of one record."""

    def change(tables):
        lines = [{**line, **cells} if at == number else line for at, line in enumerate(tables[table])]
        return {**tables, table: lines}

    return change


def test_a_written_block_is_printed_as_it_is_read():
    assert of_written() == set()


@pytest.mark.parametrize(
    ("change", "seen_in"),
    [
        (without("none", 1), {"map.events", "report.list", "plan.again", "plan.damage", "history.lines", "phone.found"}),
        (without("leaf_stripe", 3), {"map.condition", "map.line", "cases.last_seen", "phone.known"}),
        (without("dead", 5), {"map.condition", "plan.no_living_vine", "map.sentence"}),
        (without("canker", 6), {"map.outside", "plan.listed"}),
        (otherwise("symptoms", 2, percent=60), {"map.events", "report.list", "plan.part", "history.lines"}),
        (otherwise("symptoms", 2, renewal_shoot="none"), {"report.list", "report.shoots", "plan.no_shoot", "plan.shoot_usable"}),
        (otherwise("symptoms", 2, shoot_quality="thin"), {"report.shoots", "plan.cut_to_a_shoot_not_good", "map.events", "history.lines"}),
        (otherwise("symptoms", 2, date="2023-01-16"), {"report.list", "plan.last_seen", "lists.lines"}),
        (otherwise("symptoms", 2, arm="end"), {"report.list", "plan.part", "plan.cut"}),
        (otherwise("work", 0, status="planned"), {"map.work", "lists.lines", "plan.damage", "map.events"}),
        (otherwise("work", 1, status="dropped"), {"lists.lines", "map.events", "history.lines"}),
    ],
)  # fmt: skip
def test_what_is_printed_otherwise_is_found(change, seen_in):
    assert seen_in <= of_written(change)


def test_a_command_that_refuses_is_no_page():
    with (
        printed_of(WRITTEN, "A", "any", 1999) as printed,
        pytest.raises(NothingPrintedError, match="has no season 1999"),
    ):
        assert isinstance(printed, Printed)
        printed.map()


def test_the_season_that_is_under_way_is_not_the_one_spoken_of():
    more = tables(surveys=[*ROUNDS, *januaries(2025)])
    assert Pages(more, "A", "any", None).season == 2024
    assert Pages(more, "A", "dieback", None).season == 2025


@pytest.mark.long
@pytest.mark.parametrize(("definition", "season"), [("any", None), ("leaf", 2019), ("dieback", None)])
def test_pages_say_of_every_vine_what_the_second_reader_says(definition, season):
    @settings(
        max_examples=8,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(vineyards())
    def agree(tables):
        for line in {str(block["block"]) for block in tables["blocks"]}:
            assert differences_printed(of_block(tables, line), definition, season) == []

    agree()

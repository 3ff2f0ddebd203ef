"""trunkwatch.decide: decision, words, all_blocks, all_blocks_words; which winter a plan is for, on both sides of the equator."""

from dataclasses import replace

import pytest
from click.testing import CliRunner
from walked_blocks import walked_block

from trunkwatch.block import load
from trunkwatch.cli import main
from trunkwatch.decide.all_blocks_words import estate_sentences
from trunkwatch.decide.decision import decide, planned_records, winter_of
from trunkwatch.decide.words import decision_sentences, named_winter
from trunkwatch.renewal.plan import PlannedWork, VineFacts, Why
from trunkwatch.vineyard.calendar import look_of, season_of
from trunkwatch.vineyard.codes import WORK_KINDS

#: Day of each kind of work in the season after 2026, by hand: winter work in the middle of the winter, the rest in its month.
NORTH = dict.fromkeys(WORK_KINDS, "2027-02-01") | {
    "mark": "2027-07-15", "watch": "2027-07-15", "lab_sample": "2027-07-15", "keep_shoot": "2027-05-15", "train": "2027-06-01", "train_first": "2027-06-01",
}  # fmt: skip
SOUTH = dict.fromkeys(WORK_KINDS, "2026-08-01") | {
    "mark": "2027-01-15", "watch": "2027-01-15", "lab_sample": "2027-01-15", "keep_shoot": "2026-11-15", "train": "2026-12-01", "train_first": "2026-12-01",
}  # fmt: skip


def decision(hemisphere, winter=0):
    """A decision after the season 2026 that proposes every kind of work."""
    store = walked_block((2025, 2026), vines=20, hemisphere=hemisphere)
    season = load(store, "A")
    found = decide(season, [], store.frame("costs"))
    works = [
        PlannedWork((0, k), kind, "mark", Why.NO_PART, VineFacts((0, k), 2), cut_height_cm=40.0 + k, winter=winter)
        for k, kind in enumerate(WORK_KINDS)
    ]
    return replace(found, season=replace(season, season=2026), work=works)


def dates(records):
    return {record["kind"]: record["date"] for record in records}


def years_later(table, years):
    return {kind: f"{int(day[:4]) + years}{day[4:]}" for kind, day in table.items()}


@pytest.mark.parametrize(("hemisphere", "table"), [("north", NORTH), ("south", SOUTH)])
def test_every_kind_of_work_has_its_day(hemisphere, table):
    assert dates(planned_records(decision(hemisphere))) == table
    assert dates(planned_records(decision(hemisphere, winter=2))) == years_later(table, 2)
    for kind, day in table.items():
        assert season_of(day, hemisphere) == 2027
        light = kind in ("mark", "watch", "lab_sample", "keep_shoot", "train", "train_first")
        assert (look_of(day, hemisphere) != "dormant") == light


@pytest.mark.parametrize(
    ("hemisphere", "today", "years", "name"),
    [
        ("north", "2026-11-26", 0, "winter 2026/27"), ("north", "2027-03-31", 0, "winter 2026/27"), ("north", "2027-04-01", 1, "winter 2027/28"),
        ("north", "2028-12-01", 2, "winter 2028/29"), ("south", "2026-09-30", 0, "winter 2026"), ("south", "2026-10-01", 1, "winter 2027"),
        ("south", "2027-06-01", 1, "winter 2027"),
    ],
)  # fmt: skip
def test_after_a_skipped_year_this_winter_is_the_next_that_has_not_ended(hemisphere, today, years, name):
    found = decision(hemisphere)
    table = NORTH if hemisphere == "north" else SOUTH
    assert dates(planned_records(found, today=today)) == years_later(table, years)
    assert winter_of(found, today) == 2027 + years
    assert named_winter(found, today) == name
    assert any(said.startswith(f"This winter ({name}): ") for said in decision_sentences(found, today=today))
    assert estate_sentences([found], today=today)[0].startswith(f"A, {name}: ")


def test_without_a_day_no_winter_is_named():
    found = decision("north")
    assert named_winter(found, None) == ""
    assert any(said.startswith("This winter: ") for said in decision_sentences(found))
    assert estate_sentences([found])[0].startswith("A: ")


def test_the_height_of_the_cut_is_written_with_the_work():
    heights = {record["kind"]: record["cut_height_cm"] for record in planned_records(decision("north"))}
    assert heights == {kind: 40.0 + k for k, kind in enumerate(WORK_KINDS)}


@pytest.mark.long
def test_the_command_names_the_winter_by_the_day_of_the_machine(pytestconfig, monkeypatch, tmp_path):
    sample, out = pytestconfig.rootpath / "sample_blocks", tmp_path / "list.csv"
    monkeypatch.setattr("trunkwatch.cli.options.today", lambda: "2027-06-01")
    words = [
        "plan",
        str(sample),
        "--block",
        "Hollow",
        "--futures",
        "20",
        "--out",
        str(out),
        "--page",
        str(tmp_path / "p.html"),
    ]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 0, done.output
    assert "This winter (winter 2027/28): " in done.stdout
    assert "2028-02-01" in out.read_text()
    assert "2027-" not in out.read_text()
    assert "This winter (winter 2027/28): " in (tmp_path / "p.html").read_text()

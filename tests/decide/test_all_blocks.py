"""trunkwatch.decide.all_blocks and trunkwatch.renewal.plan.plan_blocks: one crew, all blocks."""

import csv
import math

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.decide.all_blocks import estate_plan
from trunkwatch.renewal.costs import costs_of
from trunkwatch.renewal.plan import PlannedWork, VineFacts, Why, plan_blocks, plan_winter
from trunkwatch.vineyard.tables import frame_of


def costs(**more):
    told = {
        "price_per_t": 1000,
        "yield_t_ha": 10,
        "crew_hour": 20,
        "replant_vine": 8,
        "crew_day_hours": 8,
        "most_loss_pct": 10,
        **more,
    }
    return costs_of(frame_of("costs", [{"name": name, "value": value} for name, value in told.items()]))


def cut(station, gain, hours=1.0, loss=0.0):
    return PlannedWork(
        (0, station), "renew_arm", "renew_arm", Why.PART, VineFacts((0, station), 2), hours=hours, gain=gain, loss=loss
    )


def test_what_brings_most_for_an_hour_comes_first_wherever_it_stands():
    """Two hours a winter: 9 and 5 an hour at once, one in each block; then the 4 an hour that takes two, then the 3."""
    one, two = [cut(1, 5.0), cut(2, 3.0)], [cut(1, 9.0), cut(2, 8.0, hours=2.0)]
    first, second = plan_blocks([(one, 100), (two, 100)], costs(), crew_days=0.25)
    assert {work.cell[1]: work.winter for work in first} == {1: 0, 2: 2}
    assert {work.cell[1]: work.winter for work in second} == {1: 0, 2: 1}


def test_the_largest_loss_holds_for_each_block_by_itself():
    """10 % of 10 vines is one: two cuts that lose a vine each wait for each other in one block, not in two."""
    lossy = [cut(1, 5.0, loss=1.0), cut(2, 4.0, loss=1.0)]
    (together,) = plan_blocks([(lossy, 10)], costs(), crew_days=10)
    assert sorted(work.winter for work in together) == [0, 1]
    apart = plan_blocks([(lossy[:1], 10), (lossy[1:], 10)], costs(), crew_days=10)
    assert [work.winter for works in apart for work in works] == [0, 0]


def test_one_block_is_planned_as_by_itself():
    works = [cut(k, gain, hours=0.5 + k / 10) for k, gain in enumerate([3.0, 9.0, 1.0, math.nan, 5.0])]
    assert plan_blocks([(works, 50)], costs(), crew_days=0.2)[0] == plan_winter(works, costs(), crew_days=0.2, vines=50)


def test_no_block_is_no_plan():
    with pytest.raises(ValueError, match="one at least"):
        estate_plan([], crew_days=1)


@pytest.mark.long
def test_the_sample_is_planned_as_a_whole(pytestconfig, tmp_path, monkeypatch):
    monkeypatch.setattr("trunkwatch.cli.options.today", lambda: "2026-11-26")
    sample, out = str(pytestconfig.rootpath / "sample_blocks"), tmp_path / "winter.csv"
    words = ["plan", sample, "--all-blocks", "--crew-days", "0.5", "--futures", "40"]
    done = CliRunner().invoke(main, [*words, "--out", str(out)])
    assert done.exit_code == 0, done.output
    for block in ("Mill", "Chapel", "Orchard", "Hollow"):
        assert f"  {block}, winter 2026/27: " in done.stdout
    assert "wait for later winters" in done.stdout
    assert "not advice" in done.stdout
    with out.open(newline="") as file:
        lines = list(csv.DictReader(file))
    assert {line["block"] for line in lines} == {"Mill", "Chapel", "Orchard", "Hollow"}
    heavy = [
        line
        for line in lines
        if line["winter"] == "1" and line["kind"] in ("renew_arm", "renew_trunk", "cut_old_trunk", "replant")
    ]
    assert 0 < sum(float(line["hours"]) for line in heavy) <= 0.5 * 8 + 1e-6
    refused = CliRunner().invoke(main, [*words, "--block", "Mill"])
    assert refused.exit_code == 2
    assert "--all-blocks goes with" in refused.output


def count_readings(monkeypatch):
    from trunkwatch.block import opening

    names = []
    read = opening.read
    monkeypatch.setattr(opening, "read", lambda store, label=None: names.append(label) or read(store, label))
    return names


def test_each_block_is_read_once_however_many_lean_on_it(pytestconfig, monkeypatch):
    from trunkwatch.block import open_vineyard
    from trunkwatch.decide import outlook

    names = count_readings(monkeypatch)
    with open_vineyard(pytestconfig.rootpath / "sample_blocks") as store:
        steps = outlook.VineyardSteps(store)
        found = {label: steps.others(label, "any") for label in store.blocks()}
        assert sorted(names) == ["Chapel", "Hollow", "Mill", "Orchard"]
        alone = outlook.steps_of_vineyard(store, "Mill", "any")
    assert [len(one) for one in found["Mill"]] == [len(one) for one in alone]
    assert len(alone) == 3


@pytest.mark.long
def test_a_plan_over_all_blocks_reads_each_block_once(pytestconfig, monkeypatch):
    """Forecast and plan of four blocks that all lean on each other: four readings, not sixteen."""
    names = count_readings(monkeypatch)
    CliRunner().invoke(
        main, ["plan", str(pytestconfig.rootpath / "sample_blocks"), "--all-blocks"], catch_exceptions=False
    )
    assert sorted(names) == ["Chapel", "Hollow", "Mill", "Orchard"]


@pytest.mark.long
def test_a_process_that_reports_on_blocks_reads_each_once(pytestconfig, monkeypatch):
    """The work of `report --all-blocks` as one of its processes does it: report, forecast, plan and map of four blocks."""
    from trunkwatch.programme.work import block_work, jobs_of

    options = {"season": None, "definition": None, "permutations": 99, "seed": 1}
    jobs = jobs_of(pytestconfig.rootpath / "sample_blocks", "report", lambda _block: options)
    names = count_readings(monkeypatch)
    found = [block_work(*job.asked) for job in jobs.values()]
    assert [sorted(one["pages"]) for one in found] == [["map", "report"]] * 4
    assert sorted(names) == ["Chapel", "Hollow", "Mill", "Orchard"]

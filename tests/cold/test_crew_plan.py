"""The crew's winter over all blocks. trunkwatch.cold: crew_plan, crew_of_store, crew_words, pace."""

import datetime as dt
import shutil
import time
from dataclasses import replace

import numpy as np
import pytest
from winter_model.made import made_winters

from trunkwatch.block import open_vineyard
from trunkwatch.cold.crew_of_store import CrewAsked, crew_plan_of_store
from trunkwatch.cold.crew_plan import Crew, Part, plan_crew
from trunkwatch.cold.crew_words import crew_basis, crew_lines, part_lines, rows_of_weeks, week_lines
from trunkwatch.cold.pace import GUESS_MINUTES, JobKind, PaceFrom
from trunkwatch.cold.window import window_of
from trunkwatch.errors import RecordError
from trunkwatch.winter_model.workable import Limits

DAY = dt.date(2027, 1, 4)
NAMES = ("Riesling", "Merlot", "Concord", "Chardonnay", "Cabernet franc")
PRICES = "name,value,unit,source\nprice_per_t,900,USD/t,own\nyield_t_ha,14,t/ha,own\ncrew_hour,28,USD/h,own\nreplant_vine,6.6,USD/vine,own\n"


def make(path, blocks, *, rows=5, last=100):
    path.mkdir()
    lines = [f"B{k},{NAMES[k % 5]},44,-30,2.5,1.5\n" for k in range(blocks)]
    (path / "blocks.csv").write_text(
        "block,cultivar,latitude,longitude,row_spacing_m,vine_spacing_m\n" + "".join(lines)
    )
    (path / "rows.csv").write_text(
        "block,row,first,last\n" + "".join(f"B{k},{r},1,{last}\n" for k in range(blocks) for r in range(1, rows + 1))
    )
    made_winters(2005, 2027, colder=6, seed=7)[["date", "t_min_c", "t_max_c", "rain_mm"]].to_csv(
        path / "weather.csv", index=False
    )
    return path


@pytest.fixture(scope="module")
def six(tmp_path_factory):
    return make(tmp_path_factory.mktemp("crew") / "six", 6)


@pytest.fixture
def own(six, tmp_path):
    copy = tmp_path / "six"
    shutil.copytree(six, copy)
    return copy


def plan_of(path, hours=20.0, day=DAY, **more):
    with open_vineyard(path) as store:
        return crew_plan_of_store(store, day, CrewAsked(Crew(hours), **more))[0]


def by_block(plan):
    return {job.block: job for job in plan.jobs if job.kind is JobKind.PRUNING}


def test_hours_add_up_to_what_is_needed_and_fit_the_days_that_can_be_worked(six):
    plan = plan_of(six)
    hours = np.array([week.hours for week in plan.weeks])
    assert hours.sum(axis=0) + np.array(plan.undone) == pytest.approx([job.hours for job in plan.jobs], abs=1e-3)
    assert all(sum(week.hours) <= week.can_work + 1e-6 for week in plan.weeks)
    assert [job.hours for job in plan.jobs] == pytest.approx([500 * GUESS_MINUTES / 60] * 6)
    assert plan.weeks[0].first == DAY
    assert plan.weeks[-1].last == dt.date(2027, 4, 30)
    assert len(plan.firm) == 6


def test_no_work_where_no_day_can_be_worked(six):
    warm = plan_of(six, limits=Limits(t_max_c=8.0))
    for week in warm.weeks:
        assert week.can_work > 0 or sum(week.hours) == 0
    assert any(week.can_work < 0.2 * 20 for week in warm.weeks)
    never = plan_of(six, limits=Limits(t_max_c=60.0))
    assert sum(never.undone) == pytest.approx(sum(job.hours for job in never.jobs))
    assert sum(sum(week.hours) for week in never.weeks) == 0
    assert "find no week" in " ".join(crew_lines(never))


@pytest.mark.long
def test_more_crew_never_worsens_the_plan(six):
    scores = [plan_of(six, hours).score for hours in (8.0, 12.0, 20.0, 24.0)]
    assert scores == sorted(scores, reverse=True)


def test_done_work_is_not_planned_again_and_a_first_cut_is_not_done(own):
    (own / "pruning.csv").write_text(
        "block,date,covered,cut,hours\nB1,2026-12-10,1..2; 3:1..50,,12\nB2,2026-12-10,1..5,first,9\nB3,2025-12-10,1..5,,9\n"
    )
    jobs = by_block(plan_of(own))
    assert (jobs["B1"].vines, jobs["B1"].done) == (250, 250)
    assert [(row.row, row.vines) for row in jobs["B1"].rows] == [("3", 50), ("4", 100), ("5", 100)]
    assert (jobs["B2"].vines, jobs["B2"].done) == (500, 0)
    assert (jobs["B3"].vines, jobs["B3"].done) == (500, 0)
    later = by_block(plan_of(own, day=dt.date(2026, 12, 1)))
    assert later["B1"].vines == 500  # asked for a day before the work


def test_nothing_left_is_said(own):
    (own / "pruning.csv").write_text("block,date,covered\n" + "".join(f"B{k},2026-12-10,1..5\n" for k in range(6)))
    plan = plan_of(own)
    assert (plan.jobs, len(plan.finished)) == ((), 6)
    assert crew_lines(plan) == ("Nothing is left to prune this winter.",)


@pytest.mark.long
def test_the_pace_is_learned_from_hours_on_record_where_they_are_enough(own):
    lines = "".join(f"B1,2025-12-1{k},{k},,{5 + k}\n" for k in (1, 2, 3))
    (own / "pruning.csv").write_text(f"block,date,covered,cut,hours\n{lines}")
    jobs = by_block(plan_of(own))
    assert (jobs["B1"].pace.minutes, jobs["B1"].pace.comes_from, jobs["B1"].pace.vines) == (
        pytest.approx(60 * 21 / 300),
        PaceFrom.BLOCK,
        300,
    )
    assert (jobs["B2"].pace.minutes, jobs["B2"].pace.comes_from) == (pytest.approx(4.2), PaceFrom.VINEYARD)
    assert by_block(plan_of(own, minutes=2.0))["B1"].pace.comes_from is PaceFrom.GIVEN
    (own / "pruning.csv").write_text("block,date,covered,cut,hours\nB1,2025-12-11,1,,6\n")
    few = plan_of(own)
    assert by_block(few)["B1"].pace.comes_from is PaceFrom.GUESS
    assert "our own guess, no source" in " ".join(crew_lines(few))


def test_renewal_cuts_are_told_apart_and_weighed_by_wounds_alone(own):
    head = "block,row,position,date,kind,status,arm\n"
    planned = "".join(f"B1,1,{k},2027-01-10,renew_arm,planned,start\n" for k in range(1, 41))
    (own / "work.csv").write_text(head + planned)
    plan = plan_of(own)
    (cut,) = [job for job in plan.jobs if job.kind is JobKind.RENEWAL]
    assert (cut.block, cut.vines, cut.hours) == ("B1", 40, pytest.approx(40 * 0.25))
    assert "B1, cuts of arms and trunks" in " ".join(week_lines(plan))
    (own / "work.csv").write_text(
        head + planned.replace("2027-01-10,renew_arm,planned", "2026-12-10,renew_arm,done", 10)
    )
    (cut,) = [job for job in plan_of(own).jobs if job.kind is JobKind.RENEWAL]
    assert (cut.vines, cut.done) == (30, 10)


def test_with_prices_money_and_without_none(own):
    with open_vineyard(own) as store:
        bare, money = crew_plan_of_store(store, DAY, CrewAsked(Crew(20)))
    assert money == ""
    assert {one.money for one in bare.parts} == {None}
    assert {one.part for one in bare.parts} == set(Part)
    (own / "costs.csv").write_text(PRICES)
    with open_vineyard(own) as store:
        priced, money = crew_plan_of_store(store, DAY, CrewAsked(Crew(20)))
        frost, _ = crew_plan_of_store(store, DAY, CrewAsked(Crew(20), frost_takes=0.5))
    of = {one.part: one.money for one in priced.parts}
    assert money == "USD"
    assert of[Part.FROST] is None
    whole = 6 * 500 * 2.5 * 1.5 / 10_000 * 14 * 900
    assert 0 < of[Part.SPARE_BUDS] < 0.1 * whole
    assert {one.part: one.money for one in frost.parts}[Part.FROST] > 0
    assert "USD" in " ".join(part_lines(priced, money))


def test_tender_blocks_wait_where_spare_buds_alone_count(own):
    """With one part only the hardiest goes first: what the cold may still take is least there."""
    with open_vineyard(own) as store:
        from trunkwatch.cold.of_store import cold_of_store

        found = cold_of_store(store, None, DAY)
        windows = [
            replace(
                window_of(cold, weather),
                by_winter={
                    name: values if name in ("crop_lost", "workable") else np.full_like(values, np.nan)
                    for name, values in window_of(cold, weather).by_winter.items()
                },
            )
            for cold, weather in found
        ]
        jobs = plan_of(own).jobs
    plan = plan_crew(jobs, windows, DAY, Crew(20), until=dt.date(2027, 4, 30))
    starts = {
        job.block: next(k for k, week in enumerate(plan.weeks) if week.hours[n] > 0.1)
        for n, job in enumerate(plan.jobs)
    }
    assert starts["B2"] < starts["B1"]  # Concord before Merlot


def test_a_small_vineyard_gets_ranked_days(own, tmp_path):
    plan = plan_of(make(tmp_path / "one", 1), 40.0)
    assert plan.weeks == ()
    assert [one.regret for one in plan.ranked] == sorted(one.regret for one in plan.ranked)
    assert len(plan.ranked) == 3
    for one in plan.ranked:
        assert one.regret == pytest.approx(max(one.parts.values()))
        assert one.first.weekday() < 5
        assert one.last >= one.first
    assert "best days for all of it in one go" in " ".join(crew_lines(plan))


def test_the_rows_of_the_weeks_are_all_rows_in_walking_order(six):
    plan = plan_of(six)
    counted: dict[str, float] = {}
    for _, lines in rows_of_weeks(plan):
        for job, _, rows in lines:
            counted[job.block] = counted.get(job.block, 0) + sum(row.vines for row in rows)
    assert counted == {f"B{k}": pytest.approx(500, abs=4) for k in range(6)}


@pytest.mark.parametrize(("day", "more", "says"), [
    (dt.date(2027, 5, 2), {}, "pruning time is over on 2027-05-02"),
    (DAY, {"until": dt.date(2027, 1, 3)}, "--until 2027-01-03 lies before 2027-01-04"),
])  # fmt: skip
def test_what_cannot_be_planned_is_one_clear_line(six, day, more, says):
    with pytest.raises(RecordError, match=says):
        plan_of(six, day=day, **more)


def test_without_past_winters_nothing_is_planned(own):
    made_winters(2026, 2027, colder=6)[["date", "t_min_c", "t_max_c", "rain_mm"]].to_csv(
        own / "weather.csv", index=False
    )
    with pytest.raises(RecordError, match="no whole past winter of weather is on file"):
        plan_of(own)


def test_the_basis_says_where_minutes_come_from_and_that_parts_are_not_added(six):
    told = " ".join(crew_basis(plan_of(six)))
    assert "500 vines to prune, 0 done; 3.0 minutes a vine, our own guess, no source" in told
    assert "The parts are not added" in told


def test_forty_blocks_take_two_seconds(tmp_path):
    path = make(tmp_path / "forty", 40)
    with open_vineyard(path) as store:
        start = time.process_time()
        plan, _ = crew_plan_of_store(store, dt.date(2026, 11, 15), CrewAsked(Crew(120)))
        spent = time.process_time() - start
    assert len(plan.jobs) == 40
    assert spent < 2  # measured 0.8 s of the processor on a busy machine

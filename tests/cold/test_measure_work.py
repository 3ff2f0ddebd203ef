"""Double pruning and wound protection in the crew's hours. trunkwatch.cold: measure_work, crew_plan, crew_words."""

import datetime as dt
import shutil

import numpy as np
import pytest
from click.testing import CliRunner
from cold.test_crew_plan import DAY, PRICES, make, plan_of

from trunkwatch.cli import main
from trunkwatch.cold.crew_plan import Part
from trunkwatch.cold.crew_words import crew_basis, crew_lines, part_lines, rows_of_weeks, week_lines
from trunkwatch.cold.measure_work import GUESS_FIRST_CUT, GUESS_PROTECT
from trunkwatch.cold.pace import GUESS_MINUTES, JobKind, PaceFrom
from trunkwatch.cold.with_measures import Measure

LONG, PROTECT = Measure.LONG_FIRST, Measure.PROTECT
WITH = [(), (LONG,), (PROTECT,), (LONG, PROTECT)]


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    return make(tmp_path_factory.mktemp("measures") / "two", 2, rows=4, last=60)


@pytest.fixture
def own(two, tmp_path):
    copy = tmp_path / "two"
    shutil.copytree(two, copy)
    return copy


def needed(plan):
    return sum(job.hours for job in plan.jobs)


def jobs_of(plan, kind):
    return {job.block: job for job in plan.jobs if job.kind is kind}


@pytest.fixture(scope="module")
def plans(two):
    return {measures: plan_of(two, 6.0, measures=measures) for measures in WITH}


@pytest.mark.parametrize("measures", WITH)
def test_hours_add_up_to_what_is_needed_and_are_never_fewer_with_a_measure(plans, measures):
    plan = plans[measures]
    hours = np.array([week.hours for week in plan.weeks])
    assert hours.sum(axis=0) + np.array(plan.undone) == pytest.approx([job.hours for job in plan.jobs], abs=1e-3)
    assert all(sum(week.hours) <= week.can_work + 1e-6 for week in plan.weeks)
    minutes = GUESS_MINUTES + GUESS_FIRST_CUT * (LONG in measures) + GUESS_PROTECT * (PROTECT in measures)
    assert needed(plan) == pytest.approx(480 * minutes / 60)
    assert needed(plan) >= needed(plans[()])


def test_only_minutes_that_the_user_gives_make_it_less(two, plans):
    given = plan_of(two, 6.0, measures=(LONG, PROTECT), minutes=1.5, first_cut_minutes=0.5, protect_minutes=0.0)
    assert needed(given) == pytest.approx(480 * 2.0 / 60)
    assert needed(given) < needed(plans[()])
    text = " ".join(crew_lines(given))
    assert "the long first cut takes 4.0 h of it, 0.5 minutes a vine, as you say." in text
    assert "Wound protection: 0.0 h of it, 0 minutes a vine, as you say." in text


def test_more_crew_never_worsens_the_plan_with_measures(two, plans):
    more = [plan_of(two, hours, measures=(LONG, PROTECT)).score for hours in (4.0, 9.0)]
    assert more[0] >= plans[LONG, PROTECT].score - 1e-6 >= more[1] - 2e-6


def test_the_final_cut_of_a_row_stands_in_a_later_week_than_its_first(plans):
    cut: dict[tuple[str, str], dict[JobKind, list[int]]] = {}
    for number, (_, lines) in enumerate(rows_of_weeks(plans[LONG,])):
        for job, _, rows in lines:
            for row in rows:
                cut.setdefault((job.block, row.row), {}).setdefault(job.kind, []).append(number)
    assert len(cut) == 8
    for weeks in cut.values():
        assert min(weeks[JobKind.FIRST_CUT]) < min(weeks[JobKind.PRUNING])
        assert max(weeks[JobKind.FIRST_CUT]) < max(weeks[JobKind.PRUNING])
    assert "B0, long first cut" in " ".join(week_lines(plans[LONG,]))


def test_minutes_come_from_the_user_hours_on_record_costs_or_a_guess_that_says_so(own, plans):
    text = " ".join(crew_lines(plans[LONG, PROTECT]))
    assert "1 minute a vine, our own guess, no source: log hours (3 lines, 100 vines) or give the minutes" in text
    assert "0.5 minutes a vine, our own guess, no source: give the minutes" in text
    (own / "costs.csv").write_text(PRICES + "first_cut_minutes,0.8,min/vine,own\nprotect_minutes,0.4,min/vine,own\n")
    written = jobs_of(plan_of(own, 6.0, measures=(LONG, PROTECT)), JobKind.FIRST_CUT)["B0"].pace
    assert (written.minutes, written.comes_from) == (0.8, PaceFrom.COSTS)
    lines = "".join(f"B1,2025-12-1{k},{k},first,{k}\n" for k in (1, 2, 3))
    (own / "pruning.csv").write_text(f"block,date,covered,cut,hours\n{lines}")
    plan = plan_of(own, 6.0, measures=(LONG, PROTECT))
    first, final = (jobs_of(plan, kind) for kind in (JobKind.FIRST_CUT, JobKind.PRUNING))
    assert (first["B1"].pace.minutes, first["B1"].pace.comes_from) == (pytest.approx(60 * 6 / 180), PaceFrom.BLOCK)
    assert first["B0"].pace.comes_from is PaceFrom.VINEYARD
    assert final["B1"].pace.comes_from is PaceFrom.GUESS  # hours of first cuts teach nothing of final ones
    assert (final["B1"].protect.minutes, final["B1"].protect.comes_from) == (0.4, PaceFrom.COSTS)


def test_rows_that_had_their_first_cut_wait_for_the_final_one_only(own):
    (own / "pruning.csv").write_text("block,date,covered,cut\nB0,2026-12-10,3..4,first\nB1,2026-12-10,1..4,first\n")
    plan = plan_of(own, 6.0, measures=(LONG,))
    first, final = (jobs_of(plan, kind) for kind in (JobKind.FIRST_CUT, JobKind.PRUNING))
    assert {block: (job.vines, job.done) for block, job in first.items()} == {"B0": (120, 120)}
    assert [row.row for row in first["B0"].rows] == ["1", "2"]
    assert [row.row for row in final["B0"].rows] == ["3", "4", "1", "2"]
    assert (final["B0"].first_left, final["B1"].first_left) == (120, 0)
    (own / "pruning.csv").write_text("block,date,covered,cut\nB0,2026-12-10,1..4,first\nB1,2026-12-10,1..4,first\n")
    assert "all vines that are left have had their long first cut" in " ".join(
        crew_lines(plan_of(own, 6.0, measures=(LONG,)))
    )


def test_a_long_first_cut_saves_spare_buds_against_a_final_cut_then_and_never_more_than_all(own, plans):
    """What both passes give away lies between that of a late final cut alone and that of the final cut made at the first."""
    (own / "costs.csv").write_text(PRICES)
    plan = plan_of(own, 6.0, day=dt.date(2026, 11, 16), until=dt.date(2026, 12, 15), measures=(LONG,))
    once = plan_of(own, 6.0, day=dt.date(2026, 11, 16), until=dt.date(2026, 12, 15))
    lost, alone = ({one.part: one for one in each.parts}[Part.SPARE_BUDS] for each in (plan, once))
    assert 0 < lost.best <= lost.plan + 1e-9
    assert lost.plan < alone.plan
    assert 0 < lost.money < alone.money
    assert {one.part: one.plan for one in plans[LONG,].parts}[Part.CALENDAR] > 0.2  # first cuts do not thin wounds out
    assert "Spare buds" in part_lines(plan, "USD")[2]


def test_two_passes_are_never_one_go_and_protection_is(two):
    assert plan_of(two, 100.0, measures=(LONG,)).weeks
    assert plan_of(two, 100.0, measures=(PROTECT,)).ranked


def test_cuts_of_arms_and_trunks_are_protected_too_and_have_no_first_pass(own):
    planned = "".join(f"B1,1,{k},2027-01-10,renew_arm,planned,start\n" for k in range(1, 13))
    (own / "work.csv").write_text("block,row,position,date,kind,status,arm\n" + planned)
    plan = plan_of(own, 6.0, measures=(LONG, PROTECT))
    (cut,) = jobs_of(plan, JobKind.RENEWAL).values()
    assert cut.hours == pytest.approx(12 * 0.25 + 12 * GUESS_PROTECT / 60)
    assert "and 0.5 to protect wounds" in " ".join(crew_basis(plan))


def test_the_command_takes_both_and_refuses_minutes_of_a_measure_that_is_not_asked_for(two):
    base = ["weeks", str(two), "--crew-hours", "6", "--date", DAY.isoformat()]
    done = CliRunner().invoke(main, [*base, "--with", "wound-protection", "--protect-minutes", "1", "--json"])
    assert done.exit_code == 0, done.output
    assert '"protect_minutes": 1.0' in done.output
    wrong = CliRunner().invoke(main, [*base, "--first-cut-minutes", "1"])
    assert wrong.exit_code == 2
    assert "--first-cut-minutes 1 counts nothing without --with long-first-cut: give both" in wrong.output

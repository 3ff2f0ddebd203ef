"""trunkwatch.answer: part_names, tasks, five, five_words, parts; trunkwatch.report: answer_html, environment, deciding."""

import math
import re
from dataclasses import replace

import pytest
from jinja2 import UndefinedError

from trunkwatch.answer.five import answer_of
from trunkwatch.answer.five_words import five_lines, reason_words, task_words
from trunkwatch.answer.part_names import arm_name, part_name
from trunkwatch.answer.parts import FIRST, answer_parts, listed
from trunkwatch.answer.tasks import ToDo, tasks_of
from trunkwatch.block import load, open_vineyard
from trunkwatch.decide.outlook import VineyardSteps
from trunkwatch.decide.road import decide_on
from trunkwatch.pattern import pattern_of
from trunkwatch.report import report_html
from trunkwatch.report.answer_html import answer_html
from trunkwatch.report.deciding import Decided, by_rule_alone
from trunkwatch.report.environment import environment

NAMES = ("Mill", "Chapel", "Orchard", "Hollow")


@pytest.fixture(scope="module")
def answers(pytestconfig):
    with open_vineyard(pytestconfig.rootpath / "sample_blocks") as store:
        steps = VineyardSteps(store)
        out = {}
        for name in NAMES:
            season = load(store, name)
            out[name] = answer_of(season, pattern_of(season, permutations=199), decide_on(steps, season, futures=60))
        yield out


@pytest.mark.parametrize(
    ("arm", "bearing", "name"),
    [
        ("end", 0, "north arm"), ("start", 0, "south arm"), ("end", 24, "northeast arm"), ("start", 24, "southwest arm"),
        ("end", 350, "north arm"), ("end", 337.6, "north arm"), ("upper_end", 90, "upper east arm"),
        ("near_start", 180, "near-side north arm"), ("end", None, "arm away from vine 1"),
        ("start", None, "arm toward vine 1"), ("lower_start", None, "lower arm toward vine 1"), ("head", 24, "head"), ("", 24, "arm"),
    ],
)  # fmt: skip
def test_arms_by_compass(arm, bearing, name):
    assert arm_name(arm, bearing) == name


def test_part_with_its_trunk():
    assert part_name(2, "end", 90) == "trunk 2, east arm"
    assert part_name(0, "", 90) == ""


@pytest.mark.long
def test_five_questions_are_answered_with_the_numbers_of_the_block(answers):
    mill = answers["Mill"]
    lines = {line.key: line.answer for line in five_lines(mill)}
    rate = mill.now.rates["annual"]
    assert list(lines) == ["seen", "worse", "bunched", "do", "cannot"]
    assert lines["seen"] == (
        f"{rate.cases} of {rate.vines} vines count as sick, 10% (likely range 8 to 13%): {rate.seen} seen with symptoms this season, "
        f"{rate.carried} with damage noted before and not cut. 24 more showed in earlier seasons, not in this one."
    )
    assert lines["worse"].startswith("Yes. 0.9% showed in 2017, 10% in 2026")
    assert lines["bunched"].startswith("Over 10 surveyed seasons: ")
    # By hand: 570 positions of 2.8 by 1.8 m are 0.287 ha; two digits count.
    block = mill.best.gain * 570 * 2.8 * 1.8 / 10_000
    said = int(re.search(r"leaves about ([\d,]+) marks more on this block", lines["do"])[1].replace(",", ""))
    assert said == pytest.approx(block, rel=0.05)
    assert said % 100 == 0
    assert "not a diagnosis" in lines["cannot"]
    assert five_lines(answers["Hollow"])[1].answer.startswith("Cannot tell.")
    assert five_lines(answers["Orchard"])[1].answer.startswith("No, it is getting better.")


@pytest.mark.long
def test_the_line_on_what_to_do_counts_the_list(answers):
    for name, found in answers.items():
        told = five_lines(found)[3].answer
        for todo, one, more in (
            (ToDo.RETRAIN_ARM, "etrain 1 arm", "etrain {} arms"),
            (ToDo.REPLANT, "eplant 1 vine", "eplant {} vines"),
            (ToDo.CUT_TRUNK, "ut out 1 dead trunk", "ut out {} dead trunks"),
            (ToDo.FINISH_TRAINING, "inish training 1", "inish training {} vines"),
        ):
            many = sum(task.todo is todo for task in found.tasks)
            assert (one if many == 1 else more.format(many)) in told or not many, (name, todo)


def test_each_vine_stands_once_in_the_order_of_the_walk_with_the_work_of_the_plan(answers):
    for found in answers.values():
        cells = [task.cell for task in found.tasks]
        assert cells == sorted(set(cells))
        work = [one for one in found.decision.work if one.winter == 0]
        assert {one.cell for one in work} <= set(cells)
        heavy = {"renew_arm", "renew_trunk", "cut_old_trunk", "replant"}
        assert sorted(one.cell for one in work if one.kind in heavy) == sorted(
            task.cell for task in found.tasks if task.cut or task.todo is ToDo.REPLANT
        )
        assert math.isclose(sum(task.hours for task in found.tasks), sum(one.hours for one in work))


def test_the_report_shows_that_list(answers):
    for found in answers.values():
        html = report_html(found.season, permutations=99, decided=Decided(found.decision))
        rows = re.findall(
            r'data-name="row">([^<]+)</td><td data-name="vine">(\d+)</td><td data-name="do"><b>([^<]+)</b>', html
        )
        assert [(row, int(vine)) for row, vine, _ in rows] == [(task.row, task.position) for task in listed(found)]
        assert [do for *_, do in rows] == [task_words(task)[0] for task in listed(found)]
        assert f"{len(listed(found)) - FIRST} more on the list" in html or len(listed(found)) <= FIRST


def test_the_lines_by_themselves_lead_to_the_page_behind_them(answers):
    found = answers["Chapel"]
    html = answer_html(found.season, Decided(found.decision), behind="/block/Chapel/report", permutations=199)
    assert re.findall(r'href="([^"]+)"', html) == [f"/block/Chapel/report#{line.key}" for line in five_lines(found)]
    for line in five_lines(found):
        assert line.question in html
    with pytest.raises(UndefinedError):
        environment().get_template("answer.html").render()


def test_vines_without_dead_wood_are_flagged_and_told_apart(answers):
    mill = answers["Mill"]
    flagged = [task for task in mill.tasks if task.todo is ToDo.FLAG]
    parts = answer_parts(mill)
    assert len(flagged) > 10
    assert parts["others"][0][0] == f"{len(flagged)} vines show without dead wood on record: flag them, do not cut"
    assert sum(len(line.split(": ")[1].split(", ")) for line in parts["others"][0][1].split("; ")) == len(flagged)


def test_reasons_say_what_to_look_at_first(answers):
    task = next(task for task in answers["Mill"].tasks if task.todo is ToDo.RETRAIN_ARM and not task.shoot_usable)
    assert (
        reason_words(replace(task, last_seen="2026-01-20"), 2026)
        == "no shoot to use yet: cut back to clean wood, retrain when one comes"
    )
    assert (
        reason_words(replace(task, last_seen="2023-01-20", shoot_usable=True), 2026)
        == "not seen since 2023: look first"
    )
    assert reason_words(replace(task, last_seen="2024-01-20", shoot_usable=True), 2026) == ""
    again = replace(task, todo=ToDo.LOOK_AGAIN, why="look again: the records disagree")
    assert reason_words(again, 2026) == ""
    assert (
        task_words(replace(task, shoot="from below the graft union: rootstock on a grafted vine"))[2]
        == "from below the graft union: rootstock, no use"
    )
    assert task_words(replace(task, shoot=""))[2] == "none noted"
    assert task_words(again)[2] == ""


def test_without_prices_the_list_follows_the_rules_and_says_so(golden, tmp_path):
    from trunkwatch.spreadsheets.write import write_folder
    from trunkwatch.vineyard.tables import frame_of

    write_folder(tmp_path, {name: frame_of(name, records) for name, records in golden.TABLES.items()})
    season = load(tmp_path)
    plan = by_rule_alone(season)
    found = answer_of(season, pattern_of(season, permutations=99), plan.decision)
    lines = {line.key: line.answer for line in five_lines(found)}
    assert "What it is worth is not known: no prices" in lines["do"]
    assert lines["seen"].startswith("2 of 6 vines show symptoms")
    assert lines["worse"] == "Cannot tell with 4 seasons to compare; it takes five."
    assert tasks_of(season, plan.decision) == list(found.tasks)
    none = answer_of(season, pattern_of(season, permutations=99), None)
    assert five_lines(none)[3].answer == "Nothing can be planned yet: no season counts."
    assert {task.todo for task in none.tasks} <= {ToDo.FLAG, ToDo.LOOK_AGAIN}
    assert {task.cell for task in none.tasks} <= {task.cell for task in found.tasks}
    assert none.tasks

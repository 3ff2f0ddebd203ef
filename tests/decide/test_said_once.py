"""What is printed agrees with itself: the plan with the best strategy, lists with each other, words with numbers.

trunkwatch.decide: follow, facts, states, words; trunkwatch.pattern: words, all_seasons; trunkwatch.block: first_look; trunkwatch.report: decide_page, facts.
"""

import math
import re

import numpy as np
import pytest
from typed import finding

from trunkwatch.block import load, open_vineyard, winter_list
from trunkwatch.block.vine_now import share_dead
from trunkwatch.charts.break_even import break_even_svg
from trunkwatch.charts.strategies import StrategyLine, strategies_svg
from trunkwatch.decide.decision import decide, money_word
from trunkwatch.decide.facts import facts_of_vines
from trunkwatch.decide.follow import follow, look_first, steps_of_strategy
from trunkwatch.decide.words import decision_sentences, light_lines, shown_first
from trunkwatch.pattern import pattern_of
from trunkwatch.pattern.chance_words import p_words
from trunkwatch.pattern.words import PAIRS_TESTED, pattern_sentences
from trunkwatch.renewal.costs import costs_of
from trunkwatch.renewal.plan import But, PlannedWork, VineFacts, Why, suggest, usable_shoot
from trunkwatch.renewal.plan_words import why_words
from trunkwatch.renewal.states import State
from trunkwatch.renewal.strategies import Effort, Strategy
from trunkwatch.report.decide_page import decide_html
from trunkwatch.report.facts import facts_of
from trunkwatch.vineyard.tables import empty_frame, frame_of


def costs(**more):
    return costs_of(frame_of("costs", [{"name": name, "value": value} for name, value in more.items()]))


STATES = np.array([[State.SHOWING, State.HEAVY, State.LIGHT, State.SOUND, State.DEAD]], dtype=np.uint8)
FACTS = VineFacts((0, 0), State.SHOWING, arms=frozenset({"end"}))
WORK = [
    PlannedWork((0, 0), "renew_trunk", "renew_trunk", Why.NO_PART, FACTS, hours=0.5, gain=3.0, loss=0.7),
    PlannedWork((0, 1), "renew_trunk", "renew_trunk", Why.PART, FACTS, hours=0.5, gain=50.0),
    PlannedWork((0, 2), "renew_arm", "renew_arm", Why.PART, FACTS, arm="end", hours=0.3, gain=20.0),
    PlannedWork((0, 4), "replant", "replant_dead", Why.NO_VINE, FACTS, hours=0.8, gain=40.0),
    PlannedWork((0, 3), "clear_mummies", "clear", Why.UNTIDY, FACTS, hours=0.05),
]
EFFORT = Effort(0.5, 0.3, 0.8, 0.15, 0.4)
DAMAGED = Strategy("damaged", renew=True, damaged_only=True)


ARM = VineFacts((0, 2), State.LIGHT, arms=frozenset({"end"}))


def listed(best, works=WORK, facts=(ARM,)):
    if best is None:
        return look_first(works, STATES)
    steps = steps_of_strategy(STATES, best, EFFORT)
    return follow(works, facts, STATES, best, steps, EFFORT, costs(), None)


def kinds(best):
    return sorted((one.cell[1], one.kind) for one in listed(best) if one.winter == 0)


@pytest.mark.parametrize(
    ("best", "expected"),
    [
        (DAMAGED, ["mark", "renew_trunk", "mark", "watch"]),
        (Strategy("all", renew=True, fill=True), ["renew_trunk", "renew_trunk", "renew_trunk", "replant"]),
        (Strategy("a quarter", renew=True, damaged_only=True, least=State.LIGHT, arms=True), ["mark", "renew_trunk", "renew_arm", "watch"]),
        (Strategy("most", renew=True, damaged_only=True, least=State.HEAVY, fill=True), ["mark", "renew_trunk", "mark", "replant"]),
        (Strategy("do nothing"), ["mark", "mark", "mark", "watch"]),
        (Strategy("gaps", fill=True), ["mark", "mark", "mark", "replant"]),
        (Strategy("late", renew=True, damaged_only=True, start_at=0.9), ["mark", "mark", "mark", "watch"]),
        (Strategy("new block", replant_year=0), ["mark", "mark", "mark", "watch"]),
        (Strategy("shoot", renew=True, damaged_only=True, shoot_first=True), ["mark", "train_first", "mark", "watch"]),
        (None, ["mark", "renew_trunk", "renew_arm", "replant"]),
    ],
)  # fmt: skip
def test_the_plan_does_what_the_best_strategy_does(best, expected):
    """Worked out by hand from each strategy's own rule; three of four living vines show."""
    cells = [0, 1, 2, 4]
    assert kinds(best) == sorted([*zip(cells, expected, strict=True), (3, "clear_mummies")])
    marked = [one for one in listed(best) if one.kind in ("mark", "watch")]
    assert all(math.isnan(one.gain) and one.hours == one.loss == 0 and not one.arm for one in marked)


def test_the_old_part_is_cut_a_winter_after_its_shoot():
    shoot = Strategy("shoot", renew=True, damaged_only=True, shoot_first=True)
    work = [(one.kind, one.winter, why_words(one, costs())) for one in listed(shoot) if one.cell == (0, 1)]
    assert work == [
        ("train_first", 0, "train a shoot from below the damage; cut the old part a winter later"),
        ("renew_trunk", 1, "shows, no dead part on record; cut beside the shoot that was trained the winter before"),
    ]


@pytest.mark.parametrize(
    ("best", "but"),
    [
        (DAMAGED, But.LOOK_FIRST), (Strategy("do nothing"), But.STRATEGY_RENEWS_NOTHING),
        (Strategy("late", renew=True, damaged_only=True, start_at=0.9), But.STRATEGY_RENEWS_NOTHING),
        (Strategy("late, and now", renew=True, damaged_only=True, start_at=0.5), But.LOOK_FIRST), (None, But.LOOK_FIRST),
    ],
)  # fmt: skip
def test_why_a_vine_is_marked_and_not_cut_is_said(best, but):
    """Three of four living vines show: a strategy that waits for nine of ten renews nothing this winter."""
    assert next(one for one in listed(best) if one.cell == (0, 0)).buts == (but,)


def test_a_dead_part_that_the_strategy_leaves_is_marked_as_such():
    marked = next(one for one in listed(DAMAGED) if one.cell == (0, 2))
    assert marked.buts == (But.STRATEGY_LEAVES,)
    assert why_words(marked, costs()).endswith("the best strategy leaves such vines this winter")


def test_a_vine_whose_stain_is_too_low_is_replanted_where_the_strategy_cuts_it():
    low = VineFacts((0, 0), State.SHOWING, stain_top_cm=25.0)
    works = [PlannedWork((0, 0), "replant", "replant_low_stain", Why.LOW_STAIN, low, hours=0.8, gain=40.0)]
    cut = next(one for one in listed(Strategy("all", renew=True), works, [low]) if one.cell == (0, 0))
    left = next(one for one in listed(DAMAGED, works, [low]) if one.cell == (0, 0))
    assert (cut.kind, cut.why, left.kind, left.buts) == (
        "replant",
        Why.LOW_STAIN,
        "watch",
        (But.STRATEGY_FILLS_NOTHING,),
    )


def test_of_two_notes_of_the_empty_wire_the_last_counts():
    lines = [finding("dead_arm", "end", empty_percent=45.0), finding("dead_arm", "start", empty_percent=20.0)]
    assert share_dead(lines, "bilateral", 1) == 20


def test_sound_vines_of_a_strategy_are_on_the_list():
    beside = Strategy("beside", renew=True, damaged_only=True, neighbours=True)
    sound = [one for one in listed(beside) if one.why in (Why.BESIDE, Why.IN_TURN)]
    assert [(one.cell, one.kind, one.winter) for one in sound] == [((0, 3), "renew_trunk", 0)]  # beside a quarter dead
    assert not [one for one in listed(DAMAGED) if one.why is Why.BESIDE]


@pytest.mark.parametrize(
    ("lines", "training", "trunks", "expected"),
    [
        ([finding("dead_arm", "end", percent=60.0)], "bilateral", 1, 30.0),
        ([finding("dead_arm", "end", percent=60.0)], "unilateral", 1, 60.0),
        ([finding("dead_arm", "upper_end", percent=100.0)], "double_wire", 1, 25.0),
        ([finding("dead_arm", "end", percent=60.0), finding("dead_arm", "start", percent=100.0)], "bilateral", 1, 80.0),
        ([finding("dead_arm", "end", percent=60.0), finding("dead_arm", "end", percent=80.0)], "bilateral", 1, 40.0),
        (
            [finding("dead_arm", "end", percent=60.0), finding("dead_arm", "start")],
            "bilateral",
            1,
            30.0,
        ),  # the other is unknown
        ([finding("dead_spurs", "end", dead=2.0, total=6.0)], "bilateral", 1, 100 / 6),
        ([finding("dead_trunk", trunk=2, percent=100.0)], "multi_trunk", 3, 100 / 3),
        ([finding("canker", "head", percent=90.0)], "cane_2", 1, 90.0),
        ([finding("canker", "start", percent=30.0)], "bilateral", 1, 15.0),
        ([finding("dead_arm", "end", percent=60.0, empty_percent=45.0)], "bilateral", 1, 45.0),
    ],
)
def test_the_share_of_a_part_is_no_share_of_the_vine(lines, training, trunks, expected):
    """By hand: percent of the part, over the parts that share the wire."""
    assert share_dead(lines, training, trunks) == pytest.approx(expected)


@pytest.mark.parametrize("symptom", ["canker", "dead_arm", "dead_trunk", "dead_spurs"])
def test_a_share_that_nobody_wrote_is_unknown(symptom):
    assert share_dead([finding(symptom, "end")], "bilateral", 1) is None


@pytest.fixture(scope="module", params=["Mill", "Chapel", "Orchard", "Hollow"])
def decided(request, pytestconfig):
    with open_vineyard(pytestconfig.rootpath / "sample_blocks") as store:
        season = load(store, request.param)
        return season, decide(season, [], store.frame("costs"), crew_days=8.0, futures=40)


@pytest.mark.long
def test_no_vine_without_a_dead_part_is_cut_where_that_loses_money(decided):
    _, found = decided
    assert found.best is not None
    assert found.best.damaged_only
    cut = [one for one in found.work if one.kind in ("renew_trunk", "renew_arm", "cut_old_trunk")]
    assert cut
    assert all(found.states[one.cell] in (State.LIGHT, State.MIDDLE, State.HEAVY) for one in cut)
    marked = sum(one.kind == "mark" and one.why is Why.NO_PART and one.winter == 0 for one in found.work)
    assert any(said.startswith(f"{marked} vines that show without a dead part") for said in decision_sentences(found))


def test_the_winter_list_and_the_plan_name_the_same_shoots(decided):
    season, found = decided
    label = season.history.grid.label
    usable = {label(*one.cell): usable_shoot(one) for one in facts_of_vines(season, found.states)}
    listed = winter_list(season)
    assert listed
    assert all(vine.shoot_at_hand == usable[vine.row, vine.position] for vine in listed)
    cut = {
        label(*one.cell): why_words(one, found.costs)
        for one in found.work
        if one.kind in ("renew_arm", "renew_trunk", "cut_old_trunk")
    }
    dead = [vine for vine in listed if (vine.row, vine.position) in cut]
    assert dead
    assert all(f"{vine.percent:.0f} % dead" in cut[vine.row, vine.position] for vine in dead)


def test_the_page_decide_says_the_answer_first_and_nothing_twice(decided):
    _, found = decided
    page = decide_html(found, ("Next year.",), ("It held.",))
    order = [
        "How bad is it?",
        "What can nobody tell?",
        "This winter&#8217;s list",
        "What is each choice worth?",
        "Best on average",
        "At what grape price does the answer change",
        "This winter&#8217;s work",
        "not advice: ask",
        "What lies behind it",
        "All strategies",
        "What does each number mean",
        "Which assumptions",
    ]
    places = [page.index(text) for text in order]
    assert places == sorted(places)
    assert found.money == "marks"
    assert "marks a hectare" in page
    assert page.count("replant_1_pct to replant_9_pct") == 1
    assert "replant_5_pct" not in page
    named = [one.name for one in shown_first(found)]
    assert [one.gain for one in shown_first(found)] == sorted((one.gain for one in shown_first(found)), reverse=True)
    assert "retrain damaged vines from 30 % showing on" in named
    lines = light_lines(found, [one for one in found.work if one.kind == "watch"])
    assert sum(many for _, many, _ in lines) == sum(one.kind == "watch" for one in found.work)


def test_without_a_unit_no_currency_is_made_up():
    costs = frame_of("costs", [{"name": "price_per_t", "value": 900, "unit": "EUR per t"}])
    assert money_word(costs) == "EUR"
    assert money_word(empty_frame("costs")) == ""
    assert money_word(frame_of("costs", [{"name": "price_per_t", "value": 900, "unit": "money/t"}])) == ""


def test_a_strategy_far_off_does_not_squeeze_the_others():
    lines = [
        StrategyLine("a", 3000, 2000, 4000, 900.0),
        StrategyLine("b", 2000, 1000, 3000, 905.0),
        StrategyLine("c", 0, 0, 0),
        StrategyLine("pull", -60000, -64000, -57000),
    ]
    svg = strategies_svg(lines, title="s")
    ticks = [float(text.replace(",", "")) for text in re.findall(r'text-anchor="middle"[^>]*>([-\d,]+)<', svg)]
    assert min(ticks) > -10000
    assert ">-60,000 (-64,000 to -57,000)<" in svg
    assert svg.count("l10 -5v10Z") == 1
    twice = [lines[0], StrategyLine("twin", 3010, 2000, 4000, 902.0), lines[1]]
    assert "twin" not in break_even_svg(twice, 1000.0, title="p")


def test_p_values_are_written_as_far_as_they_say_something():
    assert [p_words(p) for p in (1e-12, 0.00009, 0.0001, 0.114, 1.0)] == [
        "p < 0.0001",
        "p < 0.0001",
        "p = 0.0001",
        "p = 0.11",
        "p = 1",
    ]


@pytest.mark.parametrize(
    ("block", "word"),
    [("Mill", "point to spread, or to short stretches of row"), ("Orchard", "Nothing in the years speaks for spread")],
)
def test_the_owners_page_does_not_contradict_the_verdict_on_spread(pytestconfig, block, word):
    season = load(pytestconfig.rootpath / "sample_blocks", block)
    facts = facts_of(season, permutations=199)
    assert any(word in sentence for sentence in facts.cannot_say)
    assert not any(sentence.startswith("We cannot tell spread") for sentence in facts.cannot_say)
    assert not any(
        pairs in sentence for sentence in facts.map_sentences for pairs in PAIRS_TESTED
    )  # they stand in the table
    assert any(" of 1" in s and "turned sick each year" in s and "%" in s for s in facts.map_sentences)


def test_too_few_cases_get_one_count_and_no_list_of_tests(pytestconfig):
    season = load(pytestconfig.rootpath / "sample_blocks", "Hollow")
    found = pattern_of(season, history=season.without_winter, permutations=199)
    assert found.words[0] == "too few to say"
    said = " ".join(pattern_sentences(found))
    assert PAIRS_TESTED[0] in said
    assert PAIRS_TESTED[1] not in said
    assert "foci" not in said
    counted = [one.cases for _, one in found.observers.shares]
    assert sum(counted) == found.n_cases == 12  # one person a vine in this block: no case is counted twice


def test_one_arm_of_two_dead_is_half_a_vine_in_the_futures(pytestconfig):
    """Row 8, position 10 of Mill: the start arm 85 % dead, 42.5 % of a bilateral vine, the class of about half."""
    with open_vineyard(pytestconfig.rootpath / "sample_blocks") as store:
        found = decide(load(store, "Mill"), [], empty_frame("costs"))
    labels = {found.season.history.grid.label(*one.cell): one for one in found.work if one.kind == "renew_arm"}
    assert why_words(labels["8", 10], found.costs).startswith("the start arm affected, 85 % dead")
    assert found.states[labels["8", 10].cell] == State.MIDDLE


NOT_GOOD = VineFacts((0, 1), State.HEAVY, arms=frozenset({"end"}), shoot="trunk", shoot_quality="unripe")


@pytest.mark.parametrize(
    ("best", "expected"),
    [
        (DAMAGED, [("train_first", (But.SHOOT_NOT_GOOD, But.NEXT_WINTER))]),
        (Strategy("do nothing"), [("mark", (But.SHOOT_NOT_GOOD, But.STRATEGY_RENEWS_NOTHING)), ("keep_shoot", ())]),
        (Strategy("late", renew=True, damaged_only=True, start_at=0.9), [("mark", (But.SHOOT_NOT_GOOD, But.STRATEGY_RENEWS_NOTHING)), ("keep_shoot", ())]),
    ],
)  # fmt: skip
def test_a_shoot_is_trained_first_only_where_the_strategy_would_cut(best, expected):
    """And never beside a cut of this winter; what the strategy leaves is marked without a word of a cut to come."""
    works = suggest(NOT_GOOD, costs(), None)
    told = [one for one in listed(best, works, [NOT_GOOD]) if one.cell == (0, 1) and one.winter == 0]
    assert [(one.kind, one.buts) for one in told] == expected
    for one in told:
        if one.kind == "mark":
            assert "a winter later" not in why_words(one, costs())

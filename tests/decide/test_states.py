"""trunkwatch.decide: facts, states, decision; what a decision starts from, vine by vine, worked out by hand on one row."""

import pytest
from walked_blocks import walked_block

from trunkwatch.block import load
from trunkwatch.decide.decision import decide
from trunkwatch.decide.states import states_after
from trunkwatch.forecast.vine_years import steps_of
from trunkwatch.renewal.plan_words import why_words
from trunkwatch.renewal.states import State
from trunkwatch.vineyard.tables import empty_frame

YEARS = (2023, 2024, 2025)
LEAVES = [{"position": "11", "date": "2025-08-15", "symptom": "leaf_stripe"}]


def arm(position, day="2024-01-15", arm="start", **more):
    return {"position": str(position), "date": day, "symptom": "dead_arm", "arm": arm, **more}


def work(position, day, kind="renew_arm", arm="", **more):
    return {"position": str(position), "date": day, "kind": kind, "arm": arm, **more}


def none(position, day):
    return {"position": str(position), "date": day, "symptom": "none"}


def after(symptoms=(), done=(), season=None, **block):
    """Return state by position, and facts by position, after the last season that counts."""
    store = walked_block(YEARS, vines=12, symptoms=[*LEAVES, *symptoms], work=[*done], training="bilateral", **block)
    states, facts = states_after(load(store, "A", season))
    return {p: State(states[0, p - 1]) for p in range(1, 13)}, {one.cell[1] + 1: one for one in facts}


def test_a_vine_with_one_arm_in_doubt_and_the_other_surely_dead_is_no_disagreement():
    doubt = [arm(3, "2023-01-15"), none(3, "2024-01-15")]
    _, facts = after([*doubt, arm(3, "2025-01-15", "end")])
    assert (facts[3].disagree, facts[3].damaged, facts[3].arms) == (False, True, frozenset({"end"}))
    _, facts = after(doubt)
    assert (facts[3].disagree, facts[3].damaged) == (True, False)


@pytest.mark.parametrize(
    ("day", "trained", "state"),
    [("2024-11-20", 1, State.ARM_1), ("2023-11-20", 2, State.ARM_2), ("2022-11-20", 3, State.RENEWED_3)],
)
def test_winters_since_an_arm_was_renewed_are_counted_with_the_last(day, trained, state):
    states, facts = after([arm(3, f"{day[:4]}-01-15")], [work(3, day)])
    assert (facts[3].trained, states[3]) == (trained, state)


@pytest.mark.parametrize(
    ("day", "trained", "state"),
    [("2025-02-20", 1, State.ARM_1), ("2024-02-20", 2, State.ARM_2), ("2023-02-20", 3, State.RENEWED_3)],
)
def test_an_arm_that_was_seen_dead_and_cut_in_one_winter_was_cut_in_that_winter(day, trained, state):
    states, facts = after([arm(3, f"{day[:4]}-01-15")], [work(3, day)])
    assert (facts[3].trained, states[3]) == (trained, state)


@pytest.mark.parametrize(("day", "trained"), [("2025-02-20", 1), ("2024-02-20", 2), ("2023-02-20", 3)])
def test_a_trunk_that_was_seen_dead_and_cut_in_one_winter_is_in_training_as_long(day, trained):
    _, facts = after(
        [{**arm(3, f"{day[:4]}-01-15"), "symptom": "dead_trunk", "arm": ""}], [work(3, day, "renew_trunk")]
    )
    assert facts[3].trained == trained


def test_a_first_case_is_one_of_this_season_only():
    _, facts = after([arm(3, "2024-01-15"), arm(4, "2025-01-15")])
    assert [facts[p].first_case for p in (3, 4)] == [False, True]


def test_an_arm_cut_this_winter_leaves_the_damage_of_the_other():
    both = [arm(p, "2025-01-15", which, percent=100) for p in (3, 4) for which in ("start", "end")][:3]
    states, _ = after(both, [work(3, "2025-12-10", arm="start"), work(4, "2025-12-10", arm="start")])
    assert (states[3], states[4]) == (State.MIDDLE, State.ARM_CUT)  # one of two arms is half a vine


def test_a_replant_of_this_winter_is_planted_and_one_of_years_ago_bears():
    done = [work(p, day, "replant") for p, day in ((3, "2025-12-10"), (4, "2015-12-10"), (5, "2025-04-10"))]
    states, _ = after((), [*done, work(6, "2025-12-09", "remove")])
    assert [states[p] for p in (3, 4, 5, 6)] == [State.PLANTED, State.SOUND, State.YOUNG_1, State.EMPTY]


def test_damage_that_came_into_doubt_after_the_season_is_a_case_that_does_not_show():
    states, facts = after([arm(3, "2025-01-15"), none(3, "2025-12-10")])
    assert (states[3], facts[3].disagree) == (State.HIDDEN_1, True)
    assert after([arm(3, "2025-01-15"), none(3, "2025-12-10")], season=2025)[0][3] is State.MIDDLE


def test_a_canker_on_no_arm_may_be_of_the_trunk():
    _, facts = after([arm(3, "2025-01-15", "") | {"symptom": "canker"}, arm(4, "2025-01-15") | {"symptom": "canker"}])
    assert [(facts[p].arms, facts[p].trunks) for p in (3, 4)] == [
        (frozenset(), frozenset({0})),
        (frozenset({"start"}), frozenset()),
    ]


def test_of_other_blocks_only_what_was_known_by_the_season_counts():
    """Decided after 2024, whether or not the other block was looked at in 2025 too."""
    many = [
        {"position": str(p), "date": f"{year}-08-15", "symptom": "leaf_stripe"} for year in YEARS for p in range(1, 9)
    ]
    other = load(walked_block(YEARS, vines=12, symptoms=many), "A").history
    own = load(walked_block(YEARS, vines=12, symptoms=LEAVES), "A", 2024)
    found = [decide(own, [steps_of(other, last)], empty_frame("costs")).estimates for last in (2024, 2025)]
    assert found[0].mean("first") == found[1].mean("first")


def proposed(symptoms=(), done=(), season=None, **block):
    """Return kind, rule and reason of what is proposed for each position."""
    store = walked_block(
        YEARS, vines=12, symptoms=[*LEAVES, *symptoms], work=[*done], **{"training": "bilateral", **block}
    )
    found = decide(load(store, "A", season), [], empty_frame("costs"))
    kinds = {}
    for one in found.work:
        kinds.setdefault(one.cell[1] + 1, []).append((one.kind, one.rule, why_words(one, found.costs)))
    return kinds


def test_a_young_replant_with_damage_is_marked():
    kinds = proposed([arm(3, "2025-01-15", percent=40)], [work(3, "2023-11-20", "replant")])
    assert kinds[3][-1] == ("mark", "mark", "the start arm affected, 40 % dead; last seen 2025-01-15")


def test_one_trunk_cut_since_the_season_leaves_the_damage_on_the_other():
    trunks = [arm(3, "2025-01-15", "", symptom="dead_trunk", trunk=number) for number in (1, 2)]
    kinds = proposed(trunks, [work(3, "2025-12-10", "cut_old_trunk", trunk=1)], training="multi_trunk")
    assert [kind for kind, _, _ in kinds[3]] == ["cut_old_trunk"]
    assert 3 not in proposed(trunks, [work(3, "2025-12-10", "cut_old_trunk")], training="multi_trunk")


@pytest.mark.parametrize("day", ["2025-09-10", "2025-12-10"])
def test_a_vine_planted_after_the_last_look_shows_nothing(day):
    states, facts = after([arm(3, "2025-01-15")], [work(3, day, "replant")])
    assert states[3] is State.PLANTED
    assert not facts[3].damaged
    assert 3 not in proposed([arm(3, "2025-01-15")], [work(3, day, "replant")])


def test_a_place_planted_after_the_last_look_is_filled():
    done = [work(3, "2024-12-10", "remove"), work(3, "2025-09-10", "replant")]
    assert after((), done)[0][3] is State.PLANTED


def test_after_an_earlier_season_nothing_is_proposed_for_a_vine_that_is_gone_since():
    found = [arm(3, "2024-01-15"), {"position": "3", "date": "2024-08-15", "symptom": "mummies"}]
    assert {rule for _, rule, _ in proposed(found, season=2024)[3]} == {"clear", "cut_and_wait"}
    assert 3 not in proposed(found, [work(3, "2025-03-10", "replant")], season=2024)
    pulled = proposed(found, [work(3, "2025-03-10", "remove")], season=2024)
    assert pulled[3] == [("replant", "replant_dead", "no living vine stands here")]


@pytest.mark.parametrize(("kind", "state"), [("renew_arm", State.ARM_1), ("renew_trunk", State.RENEWED_1)])
def test_a_vine_cut_in_a_season_in_which_it_missed_a_look_does_not_show(kind, state):
    missed = {"position": "3", "date": "2025-08-15", "symptom": "not_seen"}
    states, _ = after([arm(3, "2025-01-15"), missed], [work(3, "2025-02-20", kind)])
    assert states[3] is state
    assert "mark" not in {
        one for one, _, _ in proposed([arm(3, "2025-01-15"), missed], [work(3, "2025-02-20", kind)]).get(3, ())
    }


def test_a_vine_in_doubt_that_missed_a_look_is_looked_at_again():
    records = [
        arm(3, "2025-01-15"),
        none(3, "2025-05-20"),
        {"position": "3", "date": "2025-08-15", "symptom": "not_seen"},
    ]
    assert [rule for _, rule, _ in proposed(records)[3]] == ["look_again"]

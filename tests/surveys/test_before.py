"""trunkwatch.surveys: before, before_words."""

from dataclasses import replace
from itertools import pairwise

import pytest

from trunkwatch.block import load
from trunkwatch.errors import RecordError
from trunkwatch.history.reasons import NotCounted
from trunkwatch.surveys.before import survey_plan
from trunkwatch.surveys.before_words import plan_sentences


@pytest.fixture(scope="module")
def mill(pytestconfig):
    return load(pytestconfig.rootpath / "sample_blocks", "Mill")


def test_rows_are_named_whole_and_spread_over_the_block(mill):
    plan = survey_plan(mill, margin=0.04)
    labels = mill.history.grid.labels
    chosen = plan.within_margin
    assert 3 <= len(chosen.rows) < plan.rows == len(labels)
    places = [labels.index(row) for row in chosen.rows]
    steps = [after - before for before, after in pairwise(places)]
    assert max(steps) - min(steps) <= 1
    assert len(survey_plan(mill, margin=0.01).within_margin.rows) > len(chosen.rows)
    assert chosen.vines < plan.vines
    assert plan.alike.design_effect > 1
    assert survey_plan(mill, margin=0.04, seed=1) == plan


def test_the_answer_comes_first_and_names_the_rows(mill):
    plan = survey_plan(mill, margin=0.04)
    sentences = plan_sentences(plan)
    assert sentences[0] == (
        f"To know the share showing within 4 points of a hundred: scout {len(plan.within_margin.rows)} of 14 rows, "
        f"{plan.within_margin.vines:,} vines: rows {', '.join(plan.within_margin.rows)}."
    )
    assert sentences[1].startswith("To see it double since 2026: walk ")
    assert "times the vines that single vines would" in sentences[2]
    whole = replace(plan, within_margin=None, doubling=None)
    assert f"scout the whole block, 14 rows, {plan.vines:,} vines." in plan_sentences(whole)[0]
    assert "covered too few rows" in plan_sentences(whole)[1]
    half = replace(whole, alike=replace(plan.alike, share=0.6))
    assert "it cannot double" in plan_sentences(half)[1]


def test_a_block_without_a_case_is_planned_to_find_one(mill):
    plan = survey_plan(mill)
    none = replace(plan, alike=None, within_margin=None, doubling=None, to_find=plan.within_margin, at_most=0.004)
    first, second = plan_sentences(none)
    assert first.startswith("To find at least one vine, 19 times in 20, if 1 of 100 show anywhere in the block: walk ")
    assert second == "No case is on file from 2026; with that up to 0.4 of 100 vines may have been showing."
    assert "even that may miss it" in plan_sentences(replace(none, to_find=None))[0]
    assert "all vines scouted" in plan_sentences(replace(none, at_most=1.0))[0]


def test_a_season_that_does_not_count_says_the_way_out(mill):
    looks = tuple(
        replace(look, reasons=(NotCounted.NO_SURVEY,)) if look.season == mill.season else look
        for look in mill.history.looks
    )
    with pytest.raises(
        RecordError, match=r"'Mill', season 2026: .*; a survey that counts is needed .*--season takes another"
    ):
        survey_plan(replace(mill, history=replace(mill.history, looks=looks)))

"""trunkwatch.follow_up.worked on a row followed by hand: who is compared, from when, and what counts."""

import numpy as np
import pytest
from walked_blocks import walked_block

from trunkwatch.block import load
from trunkwatch.follow_up import worked as module
from trunkwatch.follow_up.words import worked_sentences
from trunkwatch.follow_up.worked import worked


def block(findings, work, *, vines=30, first=2019, last=2024):
    """Findings and work as (position, date, code, arm)."""
    store = walked_block(
        range(first, last + 1), vines=vines,
        symptoms=[{"position": str(p), "date": date, "symptom": code, "arm": arm} for p, date, code, arm in findings],
        work=[{"position": str(p), "date": date, "kind": kind, "arm": arm} for p, date, kind, arm in work],
    )  # fmt: skip
    return load(store, "A", last)


@pytest.fixture(autouse=True)
def few(monkeypatch):
    monkeypatch.setattr(module, "FEWEST", 2)


def test_by_hand():
    """Striped leaves in August 2020 on 1 to 6; trunks of 1 and 2 cut in February 2021. 1 shows in 2023, 2 never.

    Left: 3 shows in 2021; 4 in 2022; 5 is found dead in 2022; 6 is cut in February 2022 and so followed for one season.
    """
    season = block(
        [(p, "2020-08-15", "leaf_stripe", "") for p in range(1, 7)]
        + [(1, "2023-08-15", "leaf_stripe", ""), (3, "2021-08-15", "leaf_stripe", ""), (4, "2022-08-15", "leaf_stripe", ""), (5, "2022-01-15", "dead", "")],
        [(1, "2021-02-10", "renew_trunk", ""), (2, "2021-02-10", "renew_trunk", ""), (6, "2022-02-10", "renew_trunk", "")],
    )  # fmt: skip
    found = worked(season)
    # 6 had not shown in 2021, the season before its own cut: it is no renewed vine that had shown.
    assert (found.renewed.vines, found.renewed.showed, found.renewed.died) == (2, 1, 0)
    assert (found.left.vines, found.left.showed, found.left.died) == (4, 2, 1)
    assert found.renewed.share == pytest.approx(0.5)
    # Kaplan-Meier by hand: after 2021 3/4; 6 leaves; in 2022 both others end: 3/4 x 0 = 0.
    assert found.left.share == pytest.approx(1.0)
    assert found.difference == pytest.approx(-0.5)
    assert found.low <= -0.5 <= found.high
    assert "50 points fewer" in " ".join(worked_sentences(found))


def test_a_relapse_in_the_summer_after_the_cut_counts():
    season = block(
        [(p, "2020-08-15", "leaf_stripe", "") for p in range(1, 6)] + [(1, "2021-08-15", "leaf_stripe", "")],
        [(1, "2021-02-10", "renew_trunk", ""), (2, "2021-02-10", "renew_trunk", "")],
    )
    found = worked(season)
    assert (found.renewed.vines, found.renewed.showed) == (2, 1)
    assert found.renewed.free.times.tolist() == [1]


def test_a_new_arm_for_striped_leaves_is_in_neither_group():
    season = block(
        [(p, "2020-08-15", "leaf_stripe", "") for p in range(1, 7)] + [(1, "2021-08-15", "leaf_stripe", "")],
        [(1, "2021-02-10", "renew_arm", "start"), (2, "2021-02-10", "renew_trunk", ""), (3, "2021-02-10", "renew_trunk", "")],
    )  # fmt: skip
    found = worked(season)
    assert (found.renewed.vines, found.renewed.showed) == (2, 0)
    assert (found.left.vines, found.left.showed) == (3, 0)


def test_an_arm_seen_dead_and_cut_in_the_same_winter_is_no_relapse():
    """Dead arms in January 2021 on 1 to 6, two cut in February: the clock of all six starts with 2022."""
    season = block(
        [(p, "2021-01-15", "dead_arm", "start") for p in range(1, 7)],
        [(1, "2021-02-10", "renew_arm", "start"), (2, "2021-02-10", "renew_arm", "start")],
    )
    found = worked(season)
    assert (found.renewed.vines, found.renewed.showed) == (2, 0)
    assert found.renewed.share == 0
    # A dead arm that is left is carried on: all four show in 2022.
    assert (found.left.vines, found.left.showed) == (4, 4)
    assert "stays a dead arm" in " ".join(worked_sentences(found))


def test_controls_that_died_before_the_clock_starts_are_none():
    season = block(
        [(p, "2020-08-15", "leaf_stripe", "") for p in range(1, 7)] + [(6, "2020-08-20", "dead", "")],
        [(1, "2021-02-10", "renew_trunk", ""), (2, "2021-02-10", "renew_trunk", "")],
    )
    assert worked(season).left.vines == 3


def test_limits_hold_a_known_difference():
    """Half of 400 cases are cut; cut vines show again with 10 % a season, the others with 40 %: 0.271 - 0.784 = -0.513."""
    held = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        findings = [(p, "2020-08-15", "leaf_stripe", "") for p in range(1, 201)]
        for p in range(1, 201):
            chance = 0.1 if p % 2 else 0.4
            findings += [(p, f"{y}-08-15", "leaf_stripe", "") for y in (2021, 2022, 2023) if rng.random() < chance]
        work = [(p, "2021-02-10", "renew_trunk", "") for p in range(1, 201, 2)]
        found = worked(block(findings, work, vines=200, first=2020, last=2023), seed=seed)
        held += found.low <= 0.271 - 0.784 <= found.high
    assert held >= 34  # P(binomial(40, 0.95) < 34) = 0.002

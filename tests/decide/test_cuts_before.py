"""trunkwatch.decide: cuts_before; the vines whose cuts are on record beside those listed."""

from dataclasses import replace

import pytest
from walked_blocks import walked_block

from trunkwatch.block import load
from trunkwatch.decide.cuts_before import cuts_before
from trunkwatch.decide.decision import decide
from trunkwatch.decide.words import lighter_words
from trunkwatch.renewal.plan import PlannedWork, VineFacts, Why


def found(cut_percents, listed_percents, *, training="bilateral"):
    """A plan after 2026: vines cut in 2025 with so much of an arm dead, and listed vines with so much of the vine dead."""
    store = walked_block(
        (2024, 2025, 2026),
        vines=20,
        training=training,
        symptoms=[
            {"position": str(1 + k), "date": "2024-08-15", "symptom": "dead_arm", "arm": "start", "percent": percent}
            for k, percent in enumerate(cut_percents)
        ],
        work=[
            {"position": str(1 + k), "date": "2025-02-01", "kind": "renew_arm", "arm": "start"}
            for k in range(len(cut_percents))
        ],
    )
    season = load(store, "A")
    works = [
        PlannedWork((0, 15), "watch", "", Why.NO_PART, VineFacts((0, 15), 2, share=90.0)),
        *(
            PlannedWork((0, 10 + k), "renew_arm", "start", Why.NO_PART, VineFacts((0, 10 + k), 2, share=share))
            for k, share in enumerate(listed_percents)
        ),
    ]
    return replace(decide(season, [], store.frame("costs")), work=works)


def test_the_middle_vine_of_each_is_told():
    """An arm is half of a vine with two: 20, 40 and 100 % of it are 10, 20 and 50 % of the vine."""
    before = cuts_before(found([20, 40, 100], [30, 50, 60, 80]))
    assert (before.cuts, before.dead, before.listed, before.listed_dead) == (3, 20.0, 4, 55.0)
    assert before.lighter
    assert (
        "3 cuts on record, and those vines were less sick (20% of the vine dead in the middle one, 55% in the vines listed)"
        in lighter_words(before)
    )


@pytest.mark.parametrize(("cut", "listed", "lighter"), [
    ([40], [39.9], False), ([40], [40.0], True), ([100], [20], False), ([], [80], False), ([40], [], False), ([None, 40], [50], True),
])  # fmt: skip
def test_lighter_is_twenty_points_and_never_a_guess(cut, listed, lighter):
    before = cuts_before(found(cut, listed))
    assert before.lighter is lighter
    assert before.cuts == len(cut)


def test_what_was_dead_is_that_before_the_cut_and_not_what_came_after():
    store = walked_block(
        (2024, 2025, 2026),
        vines=20,
        training="bilateral",
        symptoms=[
            {"position": "1", "date": "2024-08-15", "symptom": "dead_arm", "arm": "start", "percent": 40},
            {"position": "1", "date": "2026-01-15", "symptom": "dead_arm", "arm": "end", "percent": 100},
        ],
        work=[
            {"position": "1", "date": "2025-02-01", "kind": "renew_arm", "arm": "start"},
            {"position": "2", "date": "2025-02-01", "kind": "renew_arm", "arm": "start", "status": "planned"},
        ],
    )
    before = cuts_before(decide(load(store, "A"), [], store.frame("costs")))
    assert (before.cuts, before.dead) == (1, 20.0)

"""trunkwatch.surveys: second_looks, paired_looks, words."""

import numpy as np
import pytest

from trunkwatch.block import load
from trunkwatch.store import Store
from trunkwatch.surveys.paired_looks import first_look, second_looks
from trunkwatch.surveys.second_looks import recheck_of
from trunkwatch.surveys.words import recheck_sentences
from trunkwatch.vineyard.tables import frame_of


def vineyard(first, second, rows=4, last=30):
    """Summer look by Ana on all rows; Ben looks again at row 1 four days later."""
    store = Store.in_memory()
    found = [{"row": r, "position": str(p), "date": "2026-08-03", "observer": "Ana"} for r, p in first]
    found += [{"row": r, "position": str(p), "date": "2026-08-07", "observer": "Ben"} for r, p in second]
    store.append(
        {
            "blocks": frame_of(
                "blocks", [{"block": "A", "planted": 2000, "vine_spacing_m": 1.5, "row_spacing_m": 2.5}]
            ),
            "rows": frame_of("rows", [{"block": "A", "row": str(n), "last": last} for n in range(1, rows + 1)]),
            "surveys": frame_of(
                "surveys",
                [
                    {
                        "survey": "s",
                        "block": "A",
                        "date": "2026-08-03",
                        "look": "summer",
                        "covered": f"1..{rows}",
                        "observer": "Ana",
                    },
                    {
                        "survey": "again",
                        "block": "A",
                        "date": "2026-08-07",
                        "look": "summer",
                        "covered": "1",
                        "observer": "Ben",
                        "purpose": "recheck",
                    },
                ],
            ),
            "symptoms": frame_of("symptoms", [{"block": "A", "symptom": "leaf_stripe", **one} for one in found]),
        }
    )
    return store


def test_second_looks_enter_no_rate_and_are_compared_vine_by_vine():
    store = vineyard([("1", 3), ("1", 5), ("2", 7)], [("1", 3), ("1", 9)])
    season = load(store, "A", 2026, definition="leaf")
    assert int((season.cases & season.vines).sum()) == 3  # position 9, seen at the second look only, is no case
    (twice,) = second_looks(season.reading, "summer", 2026)
    first, second = twice.first, twice.second
    assert first.size == 30
    assert (int((first & second).sum()), int((first & ~second).sum()), int((~first & second).sum())) == (1, 1, 1)
    assert (twice.cases, twice.vines, set(twice.pairs), set(twice.days.tolist()), set(twice.months)) == (
        3,
        120,
        {("Ana", "Ben")},
        {4},
        {"2026-08"},
    )
    (found,) = recheck_of(season)
    assert found.result.agreement.cases == 28
    assert found.result.reason == "the recheck saw 2 cases, 30 are needed"
    told = recheck_sentences([found])
    assert told[0].startswith("Summer inspection (leaf symptoms): 30 vines were scouted a second time")
    assert told[-1] == "No incidence corrected for missed cases is given: the recheck saw 2 cases, 30 are needed."
    assert found.late == 0
    assert not any("days" in one for one in told)


def test_enough_second_looks_correct_the_incidence():
    rng = np.random.default_rng(3)
    sick = [(str(r), p) for r in range(1, 5) for p in range(1, 201) if rng.random() < 0.25]
    first = [vine for vine in sick if rng.random() < 0.6]
    second = [vine for vine in sick if vine[0] == "1" and rng.random() < 0.9]
    season = load(vineyard(first, second, last=200), "A", 2026, definition="leaf")
    (found,) = recheck_of(season)
    assert found.result.reason == ""
    assert found.result.corrected_low < len(sick) / 800 < found.result.corrected_high
    told = recheck_sentences([found])
    assert "That is not the share infected." in told[-1]
    assert not any("prevalence" in one for one in told)


def test_a_block_without_second_looks_says_nothing(pytestconfig):
    assert recheck_of(load(pytestconfig.rootpath / "sample_blocks", "Mill")) is None


def block(surveys, found, *, work=(), last=30):
    """Two rows; surveys are (date, until, look, covered, observer, purpose), findings (date, row, position, symptom, observer)."""
    store = Store.in_memory()
    names = ("date", "until", "look", "covered", "observer", "purpose")
    store.append(
        {
            "blocks": frame_of(
                "blocks", [{"block": "A", "planted": 2000, "vine_spacing_m": 1.5, "row_spacing_m": 2.5}]
            ),
            "rows": frame_of("rows", [{"block": "A", "row": str(n), "last": last} for n in (1, 2)]),
            "surveys": frame_of(
                "surveys",
                [
                    {"survey": f"s{n}", "block": "A", **dict(zip(names, one, strict=True))}
                    for n, one in enumerate(surveys)
                ],
            ),
            "symptoms": frame_of(
                "symptoms",
                [
                    {
                        "block": "A",
                        "date": day,
                        "row": row,
                        "position": str(position),
                        "symptom": symptom,
                        "observer": who,
                    }
                    for day, row, position, symptom, who in found
                ],
            ),
            "work": frame_of("work", [{"block": "A", **one} for one in work]),
        }
    )
    return store


WINTER = [
    ("2026-01-20", "", "dormant", "1..2", "Ana", "all"),
    ("2026-01-24", "", "dormant", "1", "Ben", "recheck"),
]
SUMMER = [("2026-08-03", "", "summer", "1..2", "Ana", "all"), ("2026-08-05", "", "summer", "2", "Ben", "recheck")]


def test_each_kind_of_look_is_compared_with_its_own():
    """A dead arm of winter is no miss of the summer look, nor a striped leaf one of the winter look."""
    found = [
        ("2026-01-20", "1", 4, "dead_arm", "Ana"),
        ("2026-01-24", "1", 4, "dead_arm", "Ben"),
        ("2026-01-24", "1", 6, "dead_arm", "Ben"),
        ("2026-01-20", "2", 8, "dead_arm", "Ana"),
        ("2026-08-03", "2", 8, "leaf_stripe", "Ana"),
        ("2026-08-03", "2", 9, "leaf_stripe", "Ana"),
        ("2026-08-05", "2", 9, "leaf_stripe", "Ben"),
        ("2026-08-05", "2", 11, "dead_arm", "Ben"),
        ("2026-08-03", "1", 1, "leaf_stripe", "Ana"),
    ]
    store = block(WINTER + SUMMER, found)
    season = load(store, "A", 2026)
    assert season.history.definition == "any"
    winter, summer = recheck_of(season)
    counts = [(r.both, r.first_only, r.second_only, r.neither) for r in (winter.result, summer.result)]
    assert (winter.look, summer.look) == ("dormant", "summer")
    assert counts == [(1, 0, 1, 28), (1, 1, 0, 28)]
    assert [one.look for one in recheck_of(load(store, "A", 2026, definition="leaf"))] == ["summer"]
    assert [one.look for one in recheck_of(load(store, "A", 2026, definition="dieback"))] == ["dormant"]
    told = recheck_sentences([winter, summer])
    assert (
        sum(one.startswith(("Dormant inspection (dieback)", "Summer inspection (leaf symptoms)")) for one in told) == 2
    )
    with pytest.raises(ValueError, match="autumn"):
        second_looks(season.reading, "autumn", 2026)


def test_what_was_not_seen_at_the_second_look_is_not_compared():
    store = block(SUMMER, [("2026-08-03", "2", 8, "leaf_stripe", "Ana"), ("2026-08-05", "2", 8, "not_seen", "Ben")])
    season = load(store, "A", 2026, definition="leaf")
    (twice,) = second_looks(season.reading, "summer", 2026)
    assert twice.first.size == 29
    assert not twice.first.any()
    assert twice.cases == 1  # of the whole first look


def test_an_arm_on_record_that_the_first_look_passed_over_is_left_out():
    """Position 5 was found in 2025 and not written down again, 6 was, 7 was cut: only 5 is unclear."""
    before = [("2025-01-20", "", "dormant", "1..2", "Ana", "all")]
    found = [("2025-01-20", "1", p, "dead_arm", "Ana") for p in (5, 6, 7)]
    found += [("2026-01-20", "1", 6, "dead_arm", "Ana"), ("2026-01-24", "1", 5, "dead_arm", "Ben")]
    cut = {"row": "1", "position": "7", "date": "2025-02-10", "kind": "renew_arm", "status": "done"}
    season = load(block([*before, *WINTER], found, work=[cut]), "A", 2026, definition="dieback")
    whole = first_look(season.reading, "dormant", 2026)
    assert np.argwhere(whole.carried).tolist() == [[0, 4]]
    assert np.argwhere(whole.cases).tolist() == [[0, 5]]
    assert int(whole.vines.sum()) == 59
    (found_now,) = recheck_of(season)
    assert found_now.carried == 1
    assert (found_now.result.first_only, found_now.result.neither) == (1, 28)
    assert any(one.startswith("1 vine was left out: a dead arm") for one in recheck_sentences([found_now]))


@pytest.mark.parametrize(
    ("until", "again", "days"), [("", "2026-08-10", 7), ("", "2026-08-11", 8), ("2026-08-09", "2026-08-12", 3), ("", "2026-08-03", 0)]
)  # fmt: skip
def test_a_second_look_after_more_than_a_week_compares_two_times(until, again, days):
    surveys = [("2026-08-03", until, "summer", "1..2", "Ana", "all"), (again, "", "summer", "2", "Ben", "recheck")]
    (found,) = recheck_of(load(block(surveys, [("2026-08-03", "2", 8, "leaf_stripe", "Ana")]), "A", 2026))
    assert found.days == (days, days)
    told = [one for one in recheck_sentences([found]) if "come and go" in one]
    assert (len(told), found.late) == ((1, 30) if days > 7 else (0, 0))
    if told:
        assert told[0].startswith(
            "From the first inspection to the second it was 8 days, for 30 of 30 vines more than 7"
        )


@pytest.mark.parametrize(
    ("day", "who", "second"), [("2026-08-06", "Ben", True), ("2026-08-06", "Ana", False), ("2026-08-06", "", False), ("2026-08-19", "Ben", True), ("2026-08-20", "Ben", False)]
)  # fmt: skip
def test_a_finding_dated_beside_the_second_look_still_enters_no_rate(day, who, second):
    """Ben looked again on 5 August; up to 14 days beside it a finding of his is one of that look."""
    season = load(block(SUMMER, [(day, "2", 8, "leaf_stripe", who)]), "A", 2026, definition="leaf")
    (twice,) = second_looks(season.reading, "summer", 2026)
    assert int(twice.second.sum()) == second
    assert int(season.cases.sum()) == (not second and day == "2026-08-06")


def test_a_second_look_needs_a_first_one_before_it():
    early = [("2026-08-09", "", "summer", "1..2", "Ana", "all"), ("2026-08-03", "", "summer", "2", "Ben", "recheck")]
    assert recheck_of(load(block(early, [("2026-08-09", "2", 8, "leaf_stripe", "Ana")]), "A", 2026)) is None


def test_two_second_looks_of_a_season_are_taken_together_and_each_vine_once():
    """Row 2 is looked at by Ben and later, in part, by Cleo: Ben's look counts there, and each answers for their own."""
    later = [("2026-08-07", "", "summer", "1; 2:1..10", "Cleo", "recheck")]
    found = [
        ("2026-08-03", "2", 3, "leaf_stripe", "Ana"),
        ("2026-08-07", "2", 3, "leaf_stripe", "Cleo"),
        ("2026-08-07", "1", 3, "leaf_stripe", "Cleo"),
        ("2026-08-05", "2", 20, "leaf_stripe", "Ben"),
    ]
    (one,) = recheck_of(load(block(SUMMER + later, found), "A", 2026))
    r = one.result
    assert (r.both, r.first_only, r.second_only, r.neither) == (0, 1, 2, 57)
    assert one.pairs == (("Ana", "Ben", 30), ("Ana", "Cleo", 30))
    assert one.days == (2, 4)


def test_days_are_counted_from_the_last_of_several_first_looks():
    firsts = [("2026-08-01", "", "summer", "1..2", "Ana", "all"), ("2026-08-03", "", "summer", "2", "Cleo", "all")]
    again = ("2026-08-05", "", "summer", "1..2", "Ben", "recheck")
    (twice,) = second_looks(load(block([*firsts, again], []), "A", 2026).reading, "summer", 2026)
    assert set(zip(twice.pairs, twice.days.tolist(), strict=True)) == {
        (("Ana", "Ben"), 4),
        (("Ana and Cleo", "Ben"), 2),
    }


def test_what_a_later_look_of_the_season_found_first_is_no_damage_carried_past_the_earlier_one():
    """An arm that was first found in spring: whether the dormant look passed over it is what a second look is for."""
    spring = [*WINTER, ("2026-05-10", "", "spring", "1..2", "Ana", "all")]
    season = load(block(spring, [("2026-05-10", "1", 5, "dead_arm", "Ana")]), "A", 2026, definition="dieback")
    whole = first_look(season.reading, "dormant", 2026)
    assert season.cases[0, 4]
    assert (int(whole.vines.sum()), int(whole.carried.sum()), int(whole.cases.sum())) == (60, 0, 0)


def test_the_same_person_twice_is_said():
    alone = [SUMMER[0], ("2026-08-05", "", "summer", "2", "Ana", "recheck")]
    found = [("2026-08-03", "2", 3, "leaf_stripe", "Ana")]
    (one,) = recheck_of(load(block(alone, found), "A", 2026))
    # Both looks are hers: a finding of the second day by her name belongs to the second look.
    assert any(
        told.startswith("30 vines were scouted both times by the same person") for told in recheck_sentences([one])
    )
    assert one.drift == ()


def years(seen_again, *, seen_more=(2, 2, 2), second="Ben", months=("08", "08", "08")):
    """Ana calls positions 1 to 20 of row 1 cases each summer; the second sees some again, and some of 21 to 40."""
    surveys, found = [], []
    for year, again, more, month in zip((2024, 2025, 2026), seen_again, seen_more, months, strict=True):
        who = second if isinstance(second, str) else second[year - 2024]
        day, next_day = f"{year}-{month}-03", f"{year}-{month}-05"
        surveys += [(day, "", "summer", "1..2", "Ana", "all"), (next_day, "", "summer", "1", who, "recheck")]
        found += [(day, "1", p, "leaf_stripe", "Ana") for p in range(1, 21)]
        found += [(next_day, "1", p, "leaf_stripe", who) for p in [*range(1, again + 1), *range(21, 21 + more)]]
    return load(block(surveys, found, last=40), "A", 2026, definition="leaf")


def test_seasons_of_the_same_people_are_taken_together_and_it_is_said():
    """By hand, three times the same: of 20 cases 12 of 20 again, of 60 others 2/20, so 6: the first saw 12 of 18."""
    (found,) = recheck_of(years((12, 12, 12)))
    assert found.pooled == (2024, 2025)
    assert (found.result.pooled_cases, found.result.reason) == (42, "")
    assert found.result.seen_again == pytest.approx(12 / 18)
    assert found.result.corrected == pytest.approx(20 / 80 * 18 / 12)
    told = recheck_sentences([found])
    assert any("Those of 2024 and 2025, by the same people, are taken in: 42 cases together" in one for one in told)


def test_seasons_of_other_people_are_not_taken_together():
    (found,) = recheck_of(years((12, 12, 12), second=("Cleo", "Cleo", "Ben")))
    assert found.pooled == ()
    assert found.result.reason == "the recheck saw 14 cases, 30 are needed"
    (nameless,) = recheck_of(years((12, 12, 12), second=""))
    assert nameless.pooled == ()


def test_two_people_who_drifted_apart_are_told_without_saying_who():
    """Seen again 19 and 18 of 20, then 5 of 20: Ana writes down more, or Ben fewer."""
    (found,) = recheck_of(years((19, 18, 5)))
    (pair,) = found.drift
    assert (pair.first, pair.second, pair.by) == ("Ana", "Ben", "season")
    assert [(p.label, p.both, p.first_only, p.second_only, p.neither) for p in pair.periods] == [
        ("2024", 19, 1, 2, 18),
        ("2025", 18, 2, 2, 18),
        ("2026", 5, 15, 2, 18),
    ]
    assert pair.drift.again.value == pytest.approx(5 / 20 - 37 / 40)
    told = recheck_sentences([found])
    assert "Ana came to write down more, or Ben fewer, cases than before against the other." in told[-1]
    assert "Which of the two changed nobody can tell from this" in told[-1]
    assert (
        "2026: of Ana's cases Ben saw 5 of 20 again, and a case on 2 of 20 others; they agree on 23 of 40" in told[-3]
    )
    assert told[-2].startswith("Seen again: 92 % in 2024 to 2025, 25 % in 2026 (change -")


@pytest.mark.parametrize(
    ("again", "more", "words"),
    [
        ((15, 15, 15), (2, 2, 2), "No change between the two people is shown"),
        ((15, 15, 15), (1, 1, 18), "Ben came to write down more, or Ana fewer,"),
        ((19, 19, 4), (1, 1, 18), "Ana and Ben came to agree less."),
        ((4, 4, 19), (18, 18, 1), "Ana and Ben came to agree more."),
        ((4, 4, 19), (1, 1, 1), "Ben came to write down more, or Ana fewer,"),
    ],
)
def test_the_way_they_drifted_is_named(again, more, words):
    told = recheck_sentences(recheck_of(years(again, seen_more=more)))
    assert told[-1].startswith(words)


def test_months_of_a_season_are_compared_too():
    surveys = [
        ("2026-07-20", "", "summer", "1..2", "Ana", "all"),
        ("2026-07-22", "", "summer", "1:1..40", "Ben", "recheck"),
        ("2026-09-01", "", "summer", "1..2", "Ana", "all"),
        ("2026-09-02", "", "summer", "2", "Ben", "recheck"),
    ]
    found = [
        (day, row, p, "leaf_stripe", "Ana")
        for day, row in (("2026-07-20", "1"), ("2026-09-01", "2"))
        for p in range(1, 21)
    ]
    found += [("2026-07-22", "1", p, "leaf_stripe", "Ben") for p in range(1, 19)]
    found += [("2026-09-02", "2", p, "leaf_stripe", "Ben") for p in range(1, 5)]
    found += [("2026-09-01", "1", 30, "leaf_stripe", "Ana")]  # after the second look at row 1: no case of the first one
    (one,) = recheck_of(load(block(surveys, found, last=40), "A", 2026, definition="leaf"))
    (pair,) = one.drift
    assert (pair.by, [p.label for p in pair.periods]) == ("month", ["2026-07", "2026-09"])
    assert [(p.both, p.first_only, p.second_only) for p in pair.periods] == [(18, 2, 0), (4, 16, 0)]
    assert pair.drift.again.shown


def test_too_few_vines_are_no_drift_and_that_is_said():
    surveys, found = [], []
    for year in (2025, 2026):
        surveys += [
            (f"{year}-08-03", "", "summer", "1..2", "Ana", "all"),
            (f"{year}-08-05", "", "summer", "1", "Ben", "recheck"),
        ]
        found += [(f"{year}-08-03", "1", p, "leaf_stripe", "Ana") for p in range(1, 10)]  # nine cases
    (one,) = recheck_of(load(block(surveys, found), "A", 2026, definition="leaf"))
    assert one.drift == ()
    assert recheck_sentences([one])[-1].startswith(
        "Whether two people came to judge otherwise over the seasons is not said of Ana and Ben"
    )

"""trunkwatch.history: damage, silence, vine_part, reading; what stands on a vine, counted by hand."""

import math

import pytest
from typed import reading_of

from trunkwatch.history import Condition, build_history, left_out, rate
from trunkwatch.history.damage import EndKind
from trunkwatch.history.rates import seen_before
from trunkwatch.history.reasons import WhyOut
from trunkwatch.history.silence import Silence, Track
from trunkwatch.history.vine_part import PartKind, part_of, takes
from trunkwatch.history.words import vine_lines, written_as
from trunkwatch.history.written import Named
from trunkwatch.vineyard.codes import CAUSES

BLOCK = {"block": "A", "planted": 2000, "training": "bilateral", "hemisphere": "north"}
ROWS = [{"block": "A", "row": "1", "row_order": 1, "last": 8}, {"block": "A", "row": "2", "row_order": 2, "last": 8}]


def look(day, kind="dormant", covered="1", **more):
    return {"survey": f"{kind} {day}", "block": "A", "date": day, "look": kind, "covered": covered, **more}


def seen(position, day, symptom="dead_arm", arm="start", **more):
    return {"block": "A", "row": "1", "position": str(position), "date": day, "symptom": symptom, "arm": arm, **more}


def done(position, day, kind="renew_arm", arm="start", **more):
    return {
        "block": "A",
        "row": "1",
        "position": str(position),
        "date": day,
        "kind": kind,
        "arm": arm,
        "status": "done",
        **more,
    }


def block(surveys, symptoms, work=(), **more):
    return reading_of({**BLOCK, **more}, rows=ROWS, surveys=surveys, symptoms=list(symptoms), work=list(work))


def conditions(reading, position, definition="any"):
    history = build_history(reading, definition)
    return {year: Condition(history.condition[k, 0, position - 1]).word for k, year in enumerate(history.seasons)}


def end_of(reading, position):
    (damage,) = reading.damages.of((0, position - 1))
    return None if damage.end is None else (damage.end.kind, damage.end.day)


YEARS = [look(f"{year}-02-10") for year in (2024, 2025, 2026)]


def test_nothing_seen_at_a_later_look_contradicts():
    """A dead arm in February 2024, looked at closely in February 2025 and nothing seen: no case from then on."""
    reading = block(YEARS, [seen(3, "2024-02-10"), seen(3, "2025-02-10", "none", "")])
    assert conditions(reading, 3) == {2024: "showing", 2025: "hidden", 2026: "hidden"}
    assert end_of(reading, 3) == (EndKind.CONTRADICTED, "2025-02-10")
    history = build_history(reading)
    assert [rate(history, "annual", year).cases for year in (2024, 2025, 2026)] == [1, 0, 0]


@pytest.mark.parametrize(
    ("none", "contradicts"),
    [
        ({"date": "2025-02-10"}, True),
        ({"date": "2025-08-10"}, False),  # among leaves nobody sees what was found on bare wood
        ({"date": "2025-05-10"}, True),  # in no survey: the spring shows the wood
        ({"date": "2024-02-10"}, False),  # the same day: two people disagree
        ({"date": "2025-02-10", "arm": "end"}, False),  # of the other arm
        ({"date": "2025-02-10", "arm": "start"}, True),
    ],
)
def test_only_a_look_that_could_have_seen_it_contradicts(none, contradicts):
    reading = block(
        [*YEARS, look("2025-08-10", "summer")],
        [seen(3, "2024-02-10"), seen(3, none["date"], "none", none.get("arm", ""))],
    )
    assert (end_of(reading, 3) is not None) == contradicts


def test_where_two_people_disagree_at_one_look_it_stands():
    """Ana notes the dead arm again in February 2025, Ben sees nothing at the same look."""
    reading = block(
        YEARS,
        [
            seen(3, "2024-02-10"),
            seen(3, "2025-02-10", observer="Ana"),
            seen(3, "2025-02-10", "none", "", observer="Ben"),
        ],
    )
    assert all(damage.end is None for damage in reading.damages.of((0, 2)))
    assert conditions(reading, 3)[2026] == "showing"


def test_a_purpose_that_looked_for_leaves_only_could_not_see_it():
    surveys = [YEARS[0], look("2025-02-10", purpose="leaf_stripe"), YEARS[2]]
    reading = block(surveys, [seen(3, "2024-02-10"), seen(3, "2025-02-10", "none", "")])
    assert end_of(reading, 3) is None


def test_a_new_sighting_stands_again():
    reading = block(YEARS, [seen(3, "2024-02-10"), seen(3, "2025-02-10", "none", ""), seen(3, "2026-02-10")])
    assert conditions(reading, 3) == {2024: "showing", 2025: "hidden", 2026: "showing"}


def test_damage_that_was_cut_is_gone_and_a_cut_elsewhere_leaves_it():
    reading = block(
        YEARS,
        [seen(3, "2024-02-10"), seen(4, "2024-02-10"), seen(5, "2024-02-10", "dead_trunk", "")],
        [done(3, "2024-02-20"), done(4, "2024-02-20", arm="end"), done(5, "2024-02-20")],
    )
    assert end_of(reading, 3) == (EndKind.CUT, "2024-02-20")
    assert end_of(reading, 4) is None
    assert end_of(reading, 5) is None
    assert [conditions(reading, p)[2025] for p in (3, 4, 5)] == ["renewed", "showing", "showing"]


def test_work_that_was_only_planned_or_dropped_takes_nothing():
    for status in ("planned", "dropped"):
        reading = block(YEARS, [seen(3, "2024-02-10")], [done(3, "2024-02-20") | {"status": status}])
        assert end_of(reading, 3) is None
        assert conditions(reading, 3)[2025] == "showing"


def test_a_new_vine_has_a_new_history():
    reading = block(YEARS, [seen(3, "2024-02-10")], [done(3, "2024-11-20", "replant", "")])
    assert end_of(reading, 3) == (EndKind.GONE, "2024-11-19")
    assert conditions(reading, 3) == {2024: "showing", 2025: "young", 2026: "young"}


#: After one cold winter 8 vines are noted, 4 of them again, 3 of these again, then none: rows are 8 long here.
WINTER = [
    *(seen(p, "2021-02-10") for p in range(1, 9)),
    *(seen(p, "2022-02-10") for p in (1, 2, 3, 4)),
    *(seen(p, "2023-02-10") for p in (1, 2, 3)),
]
LOOKS = [look(f"{year}-02-10") for year in range(2021, 2026)]


def test_where_damage_is_written_again_silence_counts():
    """Seen before and after the look of 2022 were vines 1 to 3, and all three were mentioned: (3 + 0.5) / 4 = 0.875, two looks count."""
    reading = block(LOOKS, WINTER)
    silence = reading.damages.silence
    assert silence.learnt("2022-02-10") == (0, 0)
    assert silence.learnt("2023-02-10") == (3, 3)
    assert silence.looks_needed("2023-02-10") == 2
    history = build_history(reading)
    # 2022: four seen, four carried. 2023: three seen, vine 4 carried, 5 to 8 silent twice. 2024: 1 to 3 carried. 2025: none.
    told = [(rate(history, "annual", year).seen, rate(history, "annual", year).carried) for year in history.seasons]
    assert told == [(8, 0), (4, 4), (3, 1), (0, 3), (0, 0)]
    assert conditions(reading, 8)[2023] == "hidden"


def test_where_nobody_writes_damage_again_it_is_carried_on():
    reading = block(LOOKS, [seen(p, "2021-02-10") for p in range(1, 9)])
    history = build_history(reading)
    assert [rate(history, "annual", year).carried for year in history.seasons] == [0, 8, 8, 8, 8]
    assert reading.damages.silence.looks_needed("2025-02-10") == math.inf


def test_what_later_years_teach_changes_no_earlier_season():
    whole, early = build_history(block(LOOKS, WINTER)), build_history(block(LOOKS[:2], WINTER[:12]))
    for year in early.seasons:
        assert (whole.condition[whole.index_of(year)] == early.condition[early.index_of(year)]).all()


def test_silence_is_learnt_from_what_was_surely_there():
    """By hand: 19 of 39 mentioned is (19.5) / 40; 0.5125 to the power of 5 is 0.035, to the power of 4 0.069."""
    tracks = [Track((("2020-01-01", k < 19),)) for k in range(39)]
    assert Silence(tracks).looks_needed("2020-01-01") == 5
    assert Silence(tracks[:2]).looks_needed("2020-01-01") == math.inf
    assert Silence(tracks).looks_needed("2019-12-31") == math.inf


def test_damage_seen_among_leaves_counts_at_that_look():
    """A dead arm noted at a summer look in a vineyard that is looked at in summer only."""
    reading = block([look(f"{year}-08-10", "summer") for year in (2024, 2025)], [seen(3, "2024-08-10")])
    history = build_history(reading)
    assert history.counted_seasons == (2024, 2025)
    assert conditions(reading, 3) == {2024: "showing", 2025: "showing"}
    for definition in ("leaf", "dieback"):
        other = build_history(reading, definition)
        assert other.outside[:, 0, 2].tolist() == [True, True]
    assert not history.outside.any()


def test_casual_damage_counts_from_the_look_it_is_carried_into():
    reading = block(YEARS, [seen(3, "2024-06-10")])
    history = build_history(reading)
    assert conditions(reading, 3) == {2024: "sound", 2025: "showing", 2026: "showing"}
    assert history.outside[:, 0, 2].tolist() == [True, False, False]
    assert history.had_case[:, 0, 2].tolist() == [False, True, True]


def test_findings_on_rows_that_nobody_walked_make_no_case():
    """Row 1 was walked in 2024 only; its dead arm is on record in 2025 and in no rate of it."""
    reading = block([look("2024-02-10"), look("2025-02-10", covered="2")], [seen(3, "2024-02-10")])
    history = build_history(reading)
    assert conditions(reading, 3) == {2024: "showing", 2025: "not seen"}
    assert rate(history, "annual", 2025).cases == 0
    assert not history.carried[1].any()
    assert history.outside[1, 0, 2]


@pytest.mark.parametrize(
    ("counted", "bay"),
    [({"counted_from": "end", "position": "6"}, False), ({"position": "", "bay": "1", "vine": 3}, True)],
)
def test_however_a_vine_is_named_its_share_shoot_and_cut_are_its_own(counted, bay):
    """Position 3 of 8 is the sixth from the far end, and the third vine of the first bay."""
    finding = seen(3, "2024-02-10", percent=60, renewal_shoot="trunk") | counted
    rows = [{**row, "bay_ends": "4; 8"} for row in ROWS]
    reading = reading_of(BLOCK, rows=rows, surveys=YEARS, symptoms=[finding], work=[done(3, "2025-02-20")])
    (damage,) = reading.damages.of((0, 2))
    assert (damage.finding.percent, damage.finding.shoot) == (60, "trunk")
    assert damage.end.kind is EndKind.CUT
    assert conditions(reading, 3) == {2024: "showing", 2025: "showing", 2026: "renewed"}


def test_a_survey_counted_from_the_far_end_names_its_vines_so():
    reading = block([look("2024-02-10", counted_from="end", covered="1:1..4")], [seen(1, "2024-02-10")])
    assert list(reading.damages.by_cell) == [(0, 7)]
    assert {cell for _, cell in sorted(reading.looks[0].cells)} == {4, 5, 6, 7}


def test_a_vine_that_could_not_be_seen_is_covered_by_its_survey():
    reading = block(YEARS, [seen(3, "2024-02-10", "not_seen", "")])
    (finding,) = reading.findings
    assert not finding.casual
    assert (0, 2) not in reading.looks[0].cells
    assert conditions(reading, 3)[2024] == "not seen"


def test_who_counts_living_vines_passes_those_found_dead_before():
    """Vine 2 was found dead in 2024: the fourth living vine in 2025 stands in position 5."""
    surveys = [YEARS[0], look("2025-02-10", counting="living_vines")]
    reading = block(surveys, [seen(2, "2024-02-10", "dead", ""), seen(4, "2025-02-10")])
    assert list(reading.damages.by_cell) == [(0, 4)]


@pytest.mark.parametrize(
    ("symptom", "trunk", "arm", "kind"),
    [
        ("dead_arm", 0, "", PartKind.ARM), ("dead_spurs", 0, "end", PartKind.ARM), ("canker", 0, "start", PartKind.ARM),
        ("canker", 0, "", PartKind.UNSAID), ("dead_trunk", 2, "", PartKind.TRUNK), ("leaf_stripe", 0, "start", PartKind.VINE),
    ],
)  # fmt: skip
def test_on_which_part_a_finding_sits(symptom, trunk, arm, kind):
    assert part_of(symptom, trunk, arm).kind is kind


@pytest.mark.parametrize(
    ("kind", "trunk", "arm", "symptom", "of_trunk", "of_arm", "taken"),
    [
        ("renew_arm", 0, "start", "dead_arm", 0, "start", True), ("renew_arm", 0, "start", "dead_arm", 0, "end", False),
        ("renew_arm", 0, "", "dead_arm", 0, "end", True), ("renew_arm", 0, "start", "dead_arm", 0, "", True),
        ("renew_arm", 0, "start", "leaf_stripe", 0, "", False), ("renew_arm", 0, "start", "dead_trunk", 0, "", False),
        ("renew_arm", 0, "start", "canker", 0, "", True), ("renew_arm", 0, "start", "canker", 0, "end", False),
        ("renew_trunk", 0, "", "dead_arm", 0, "end", True), ("renew_trunk", 1, "", "dead_arm", 2, "end", False),
        ("cut_old_trunk", 2, "", "dead_trunk", 2, "", True), ("protect_wound", 0, "", "dead_arm", 0, "", False),
    ],
)  # fmt: skip
def test_what_a_cut_takes_away(kind, trunk, arm, symptom, of_trunk, of_arm, taken):
    assert takes(kind, trunk, arm, part_of(symptom, of_trunk, of_arm)) == taken


def test_southern_seasons_and_looks():
    """A February finding belongs to a southern summer look of the season of that harvest."""
    reading = block(
        [look("2025-07-10"), look("2026-02-10", "summer")],
        [seen(3, "2026-02-10", "leaf_stripe", "")],
        hemisphere="south",
    )
    assert [one.season for one in reading.looks] == [2026, 2026]
    assert conditions(reading, 3) == {2026: "showing"}
    assert reading.findings[0].kind == "summer"


@pytest.mark.parametrize(
    ("plants", "work", "plants_then"),
    [
        ([{"removed": "2025", "reason": "dead"}], [done(3, "2025-04-10", "replant", "")], 2),
        ([{"removed": "2025", "reason": "dead"}, {"planted": "2025"}], [], 2),
        ([{"removed": "2025", "reason": "dead", "planted": "2010"}, {"planted": "2025-04-10"}], [], 3),
        ([{"removed": "2025", "planted": "2024"}], [], 2),  # the young vine was pulled: nothing stands
    ],
)
def test_a_removal_and_a_planting_of_one_year_are_a_replacement(plants, work, plants_then):
    lines = [{"block": "A", "row": "1", "position": "3", **line} for line in plants]
    reading = reading_of(BLOCK, rows=ROWS, surveys=YEARS, plants=lines, work=work)
    spells = reading.plants[0, 2]
    assert len(spells) == plants_then
    assert reading.stands((0, 2), "2026-06-01") == (len(plants) > 1 or bool(work))


def test_what_is_cut_or_pulled_on_the_day_of_a_look_was_still_seen_at_it():
    """The look may have been before the saw: vine 3 gets a new arm and vine 4 is pulled on the very day of the look."""
    reading = block(
        YEARS,
        [seen(3, "2024-02-10"), seen(4, "2024-02-10")],
        [done(3, "2025-02-10"), done(4, "2025-02-10", "remove", "")],
    )
    assert conditions(reading, 3) == {2024: "showing", 2025: "showing", 2026: "renewed"}
    assert conditions(reading, 4) == {2024: "showing", 2025: "showing", 2026: "missing"}
    cut, pulled = reading.damages.of((0, 2))[0], reading.damages.of((0, 3))[0]
    assert [one.stands("2025-02-10", cut_that_day=True) for one in (cut, pulled)] == [False, True]
    assert [one.stands("2025-02-11") for one in (cut, pulled)] == [False, False]


def test_damage_cut_on_the_day_it_was_found_is_gone():
    assert end_of(block(YEARS, [seen(3, "2024-02-10")], [done(3, "2024-02-10")]), 3) == (EndKind.CUT, "2024-02-10")
    assert end_of(block(YEARS, [seen(3, "2024-02-10")], [done(3, "2024-02-09")]), 3) is None


def test_damage_has_ended_from_the_day_of_its_end_on():
    (damage,) = block(YEARS, [seen(3, "2024-02-10")], [done(3, "2024-02-20")]).damages.of((0, 2))
    assert [damage.ended(EndKind.CUT, f"2024-02-{day}") for day in (19, 20, 21)] == [False, True, True]
    assert not damage.ended(EndKind.GONE, "2024-02-21")


def test_a_finding_is_mentioned_by_those_after_it_only():
    damages = block(YEARS, [seen(3, "2024-02-10"), seen(3, "2025-02-10")]).damages.of((0, 2))
    assert [damage.mentions for damage in damages] == [("2024-02-10", "2025-02-10"), ("2025-02-10",)]
    assert [damages[0].last_seen(day) for day in ("2025-02-09", "2025-02-10")] == ["2024-02-10", "2025-02-10"]


def test_silent_looks_are_counted_from_the_last_mention():
    """In row 2 the arm is noted in 2021 and 2023. Three of four were mentioned: 0.7, so three silent looks in a row count, and 2024 and 2025 are two."""
    looks = [look(f"{year}-02-10", covered="1; 2") for year in range(2021, 2027)]
    other = [seen(3, f"{year}-02-10") | {"row": "2"} for year in (2021, 2023)]
    reading = block(looks[:5], [*WINTER, *other])
    assert reading.damages.silence.learnt("2025-02-10") == (3, 4)
    assert reading.damages.silence.looks_needed("2025-02-10") == 3
    assert [damage.end for damage in reading.damages.of((1, 2))] == [None, None]
    ends = [damage.end for damage in block(looks, [*WINTER, *other]).damages.of((1, 2))]
    assert [(end.kind, end.day, end.looks) for end in ends] == [(EndKind.UNMENTIONED, "2026-02-10", 3)] * 2


def test_two_people_at_one_look_of_several_days_disagree_on_any_of_them():
    surveys = [YEARS[0], look("2025-02-10", until="2025-02-14"), YEARS[2]]
    reading = block(
        surveys, [seen(3, "2024-02-10"), seen(3, "2025-02-10"), seen(3, "2025-02-14", "none", "", observer="Ben")]
    )
    assert [damage.end for damage in reading.damages.of((0, 2))] == [None, None]


def test_silence_learns_up_to_the_cut_and_not_across_it():
    """Noted in 2021, not in 2022, and in 2023 on the day it was cut out: it was there in 2022. What comes after a cut is another."""
    found = [seen(3, "2021-02-10"), seen(3, "2023-02-10")]
    for day, learnt in (("2023-02-10", (0, 1)), ("2023-02-09", (0, 0))):
        assert block(LOOKS, found, [done(3, day)]).damages.silence.learnt("2025-02-10") == learnt


def test_a_look_that_began_before_another_ended_does_not_show_what_that_one_missed():
    """A walk of three weeks, dated anyhow, and another on one day of it: the note of the long one is no later sighting."""
    surveys = [look("2021-02-10"), look("2022-02-01", until="2022-02-20"), look("2022-02-10")]
    reading = block(surveys, [seen(3, "2021-02-10"), seen(3, "2022-02-15")])
    assert reading.damages.silence.learnt("2022-12-31") == (0, 0)


def test_in_a_young_block_no_vine_is_set_apart_for_its_first_three_seasons():
    """The block was planted in 2021, one vine of it anew in 2022: in 2023 all are young, in 2024 the replant alone still is."""
    looks = [look(f"{year}-02-10") for year in (2023, 2024, 2025)]
    reading = block(looks, [], [done(3, "2022-04-10", "replant", "")], planted=2021)
    told = conditions(reading, 3)
    assert [told[year] for year in (2023, 2024, 2025)] == ["sound", "young", "sound"]
    assert conditions(reading, 4)[2024] == "sound"


SUMMERS = [look(f"{year}-08-10", "summer") for year in (2024, 2025, 2026)]


def test_a_vine_cut_on_the_day_of_the_look_is_renewed_from_the_next_season_on():
    """Striped leaves in 2024 and a new trunk on the day of the look of 2025: what was seen that day may have been the old one."""
    reading = block(SUMMERS, [seen(3, "2024-08-10", "leaf_stripe", "")], [done(3, "2025-08-10", "renew_trunk", "")])
    assert conditions(reading, 3) == {2024: "showing", 2025: "hidden", 2026: "renewed"}


def test_what_was_found_on_the_day_of_the_cut_is_no_relapse():
    reading = block(SUMMERS, [seen(3, "2024-08-10", "leaf_stripe", "")], [done(3, "2024-08-10", "renew_trunk", "")])
    history = build_history(reading)
    found = [rate(history, "relapse", year) for year in (2024, 2025, 2026)]
    assert [(one.cases, one.vines) for one in found] == [(0, 0), (0, 1), (0, 1)]


def test_a_finding_that_never_counted_is_no_case_to_relapse_from():
    """Seen in passing in a row that nobody walked that year, and cut in autumn."""
    surveys = [look("2024-08-10", "summer", covered="2"), *SUMMERS[1:]]
    reading = block(surveys, [seen(3, "2024-08-10", "leaf_stripe", "")], [done(3, "2024-11-20", "renew_trunk", "")])
    history = build_history(reading)
    assert rate(history, "relapse", 2025).vines == 0
    assert conditions(reading, 3)[2025] == "renewed"


@pytest.mark.parametrize(
    ("one", "other", "may_be"),
    [
        ((1, "start"), (1, "start"), True), ((1, "start"), (0, "start"), True), ((0, ""), (2, "end"), True),
        ((1, "start"), (2, "start"), False), ((1, "start"), (1, "end"), False), ((1, ""), (0, "end"), True),
    ],
)  # fmt: skip
def test_what_is_not_said_of_a_part_matches_all(one, other, may_be):
    first, second = (part_of("dead_arm", *part) for part in (one, other))
    assert (first.may_be(second), second.may_be(first)) == (may_be, may_be)


@pytest.mark.parametrize(
    ("day", "casual"), [("2024-01-26", True), ("2024-01-27", False), ("2024-02-26", False), ("2024-02-27", True)]
)
def test_a_finding_belongs_to_a_look_within_two_weeks(day, casual):
    """The look lasted from 10 to 12 February."""
    (finding,) = block([look("2024-02-10", until="2024-02-12")], [seen(3, day)]).findings
    assert finding.casual == casual


def test_a_finding_beside_its_look_belongs_to_one_of_the_same_time_of_the_year_only():
    """The dormant look of late March does not take in what was noted in April."""
    march = look("2024-03-28")
    assert [f.casual for f in block([march], [seen(3, "2024-03-31"), seen(4, "2024-04-01")]).findings] == [False, True]


def test_a_look_for_one_symptom_could_see_that_and_no_other():
    surveys = [YEARS[0], look("2025-02-10", purpose="dead_trunk")]
    reading = block(
        surveys,
        [
            seen(3, "2024-02-10", "dead_trunk", ""),
            seen(4, "2024-02-10"),
            *(seen(p, "2025-02-10", "none", "") for p in (3, 4)),
        ],
    )
    assert [end_of(reading, p) for p in (3, 4)] == [(EndKind.CONTRADICTED, "2025-02-10"), None]


def test_a_note_as_close_to_ones_first_look_as_to_ones_second_is_of_the_first():
    again = look("2024-02-16", purpose="recheck", observer="Ana")
    for day, second in (("2024-02-12", 0), ("2024-02-13", 0), ("2024-02-14", 1)):
        reading = block([look("2024-02-10", observer="Ana"), again], [seen(3, day, observer="Ana")])
        assert (len(reading.findings), len(reading.second_findings)) == (1 - second, second), day


def test_a_vine_found_dead_leaves_its_place_empty_from_the_next_day_until_it_is_replanted():
    reading = block(YEARS, [seen(3, "2024-02-10", "dead", "")], [done(3, "2024-11-20", "replant", "")])
    told = {
        day: reading.empty((0, 2), day)
        for day in ("2024-02-10", "2024-02-11", "2024-11-19", "2024-11-20", "2025-02-10")
    }
    assert list(told.values()) == [False, True, True, False, False]


def test_a_first_case_that_is_only_carried_is_told_from_one_that_was_seen():
    """Both arms are first cases of 2025: one noted in passing in June 2024 and carried into the look, one seen at it."""
    history = build_history(block(YEARS, [seen(3, "2024-06-10"), seen(4, "2025-02-10")]))
    new = rate(history, "new", 2025)
    assert (new.cases, new.carried, new.seen) == (2, 1, 1)


def test_new_cases_are_of_plants_looked_at_often_enough_before():
    """In 2025 vine 3 is a replant of 2024: seen once as itself. As many looks as are asked for are enough."""
    reading = block(YEARS, [seen(3, "2024-02-10")], [done(3, "2024-03-20", "replant", "")])
    history = build_history(reading)
    assert seen_before(history, 2)[0, :4].tolist() == [2, 2, 1, 2]
    assert [rate(history, "new", 2026, looks_before=n).vines for n in (1, 2, 3)] == [
        7,
        7,
        0,
    ]  # of eight, without the young one


def test_a_case_of_the_plant_before_is_no_case_of_the_replant():
    """Asked for more looks than there are, the vines that a first case may be on are left out for that, the replant among them."""
    years = [look(f"{year}-02-10") for year in range(2021, 2026)]
    reading = block(years, [seen(3, "2021-02-10"), seen(4, "2021-02-10")], [done(3, "2021-03-20", "replant", "")])
    history = build_history(reading)
    assert conditions(reading, 3)[2025] == "sound"
    found = rate(history, "new", 2025, looks_before=4)
    told = {name: one.why for one in left_out(history, found) for name in one.vines}
    assert (told["1", 3], told["1", 4]) == (WhyOut.TOO_FEW_LOOKS, WhyOut.CASE_BEFORE)


def test_planned_work_is_no_last_day_of_the_record():
    work = [done(3, "2026-03-01"), done(4, "2026-12-01") | {"status": "planned"}]
    assert block(YEARS, [seen(3, "2024-02-10")], work).last_day == "2026-03-01"


@pytest.mark.parametrize(
    ("plants", "then"),
    [
        # pulled in 2025, planted in spring and once more in autumn: the first planting took its place
        (
            [{"removed": "2025", "reason": "dead"}, {"planted": "2025-03-01"}, {"planted": "2025-10-01"}],
            [("2025-02-28", True), ("9999-99-99", False)],
        ),
        ([{"removed": "2025-01-20", "reason": "other"}, {"removed": "2025-01-20", "reason": "dead"}], [("2025-01-20", True)]),
        ([{"planted": "2000"}], [("9999-99-99", False)]),  # planted with the block
    ],
)  # fmt: skip
def test_what_lines_of_plants_say_of_one_another(plants, then):
    lines = [{"block": "A", "row": "1", "position": "3", **line} for line in plants]
    reading = reading_of(BLOCK, rows=ROWS, surveys=YEARS, plants=lines, symptoms=[seen(3, "2024-02-10")])
    assert [(plant.until, plant.died) for plant in reading.vine((0, 2)).plants] == then


def test_the_history_of_a_vine_in_words():
    reading = reading_of(
        BLOCK,
        rows=ROWS,
        surveys=YEARS,
        symptoms=[seen(3, "2024-02-10", cause="unknown"), seen(3, "2025-02-10", cause="winter_injury")],
        plants=[{"block": "A", "row": "1", "position": "3", "removed": "2025-03-01", "reason": "dead"}],
    )
    lines = [(line.date, line.text) for line in vine_lines(reading, (0, 2))]
    words = "dead arm (cordon) (start)"
    assert lines == [
        ("2024-02-10", words),
        ("2025-02-10", f"{words}, {CAUSES['winter_injury']}"),
        ("2025-03-01", "vine gone, dead"),
    ]
    assert [line.date for line in vine_lines(reading, (0, 2), "2025-02-10")] == ["2024-02-10", "2025-02-10"]


def test_a_vine_in_the_middle_counted_from_the_far_end_is_said_to_be():
    named = Named("1", "4", counted_from="end")
    assert written_as(named, "1", "4") == "row 1, position 4 from the far end"
    assert written_as(named._replace(counted_from="start"), "1", "4") == ""

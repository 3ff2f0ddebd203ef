"""trunkwatch.block: vine_now, first_look, vine_records; trunkwatch.history.versions; one story of a vine on every list."""

from dataclasses import replace

import pytest
from walked_blocks import walked_block

from trunkwatch.block import load, vine_now, winter_list
from trunkwatch.block.vine_now import last_evidence
from trunkwatch.block.vine_records import vine_records
from trunkwatch.decide.decision import decide
from trunkwatch.renewal.plan import Why
from trunkwatch.renewal.plan_words import why_words
from trunkwatch.vineyard.tables import empty_frame, frame_of

YEARS = (2023, 2024, 2025)


def season(symptoms=(), work=(), **more):
    return load(walked_block(YEARS, vines=12, symptoms=[*symptoms], work=[*work], training="bilateral", **more), "A")


def arm(position, day="2024-01-15", **more):
    return {"position": str(position), "date": day, "symptom": "dead_arm", "arm": "start", **more}


def planned(found):
    return {found.season.history.grid.label(*work.cell)[1]: work for work in found.work}


LEAVES = [
    {"position": str(p), "date": f"{year}-08-15", "symptom": "leaf_stripe"}
    for p, year in ((9, 2023), (10, 2024), (11, 2025))
]


def test_records_that_disagree_ask_for_a_look_and_no_cut():
    found = season([*LEAVES, arm(3, percent=80), {"position": "3", "date": "2025-01-15", "symptom": "none"}])
    now = vine_now(found, (0, 2))
    assert (now.damages, len(now.doubted), now.last_seen) == ((), 1, "2024-01-15")
    work = planned(decide(found, [], empty_frame("costs")))[3]
    assert (work.kind, work.why) == ("watch", Why.DISAGREE)
    listed = {vine.position: vine for vine in winter_list(found)}
    assert listed[3].look_again
    assert "nothing seen" in listed[3].what
    assert list(listed)[-1] == 3  # after what is sure


def test_a_share_that_nobody_wrote_is_not_said():
    work = planned(decide(season([*LEAVES, arm(3)]), [], empty_frame("costs")))[3]
    said = why_words(work, decide(season([*LEAVES, arm(3)]), [], empty_frame("costs")).costs)
    assert said == "the start arm affected; no shoot to retrain is noted; last seen 2024-01-15"


def test_a_canker_on_an_arm_renews_the_arm():
    canker = arm(3, symptom="canker", percent=30) | {"symptom": "canker"}
    work = planned(decide(season([*LEAVES, canker]), [], empty_frame("costs")))[3]
    assert (work.kind, work.arm) == ("renew_arm", "start")


def test_damage_that_the_definition_leaves_out_stands_on_lists_and_in_the_plan():
    store = walked_block(YEARS, vines=12, symptoms=[*LEAVES, arm(3, "2025-06-15", percent=70)], training="bilateral")
    for definition in ("any", "leaf", "dieback"):
        found = load(store, "A", definition=definition)
        listed = {vine.position: vine for vine in winter_list(found)}
        assert (listed[3].what, listed[3].last_seen) == ("dead arm (start)", "2025-06-15"), definition
        assert planned(decide(found, [], empty_frame("costs")))[3].kind == "renew_arm", definition
    assert load(store, "A", definition="leaf").history.outside[-1, 0, 2]


@pytest.mark.parametrize(
    "named",
    [{"position": "3"}, {"position": "10", "counted_from": "end"}, {"position": "", "bay": "1", "vine": 3}],
)
def test_one_story_however_the_vine_was_named(named):
    finding = arm(3, percent=60, renewal_shoot="trunk") | named
    store = walked_block(YEARS, vines=12, symptoms=[*LEAVES, finding], training="bilateral")
    store.append({"rows": frame_of("rows", [])})
    with_bays = walked_block(YEARS, vines=12, symptoms=[*LEAVES, finding], training="bilateral", bay_ends="4; 8; 12")
    found = load(with_bays, "A")
    (vine,) = [one for one in winter_list(found) if one.position == 3]
    assert (vine.what, vine.percent, vine.shoot_at_hand) == ("dead arm (start)", 60, True)
    work = planned(decide(found, [], empty_frame("costs")))[3]
    assert (work.kind, work.arm, work.facts.percent, work.facts.shoot) == ("renew_arm", "start", 60, "trunk")
    assert [line.table for line in vine_records(with_bays, "A", "1", "3")] == ["symptoms"]


def test_a_line_with_planting_and_removal_is_two_events():
    store = walked_block(YEARS, vines=12, symptoms=LEAVES)
    store.append(
        {
            "plants": frame_of(
                "plants",
                [
                    {
                        "block": "A",
                        "row": "1",
                        "position": "5",
                        "planted": "2010",
                        "removed": "2024-03-01",
                        "reason": "dead",
                    }
                ],
            )
        }
    )
    told = [(line.date, line.text) for line in vine_records(store, "A", "1", "5")]
    assert told == [("2010", "vine planted"), ("2024-03-01", "vine gone (dead)")]


def test_a_vine_cut_after_the_season_is_not_cut_again():
    """The list of an earlier winter, looked at when the work is done."""
    found = season(
        [*LEAVES, arm(3, percent=60)], [{"position": "3", "date": "2025-12-10", "kind": "renew_arm", "arm": "start"}]
    )
    assert vine_now(found, (0, 2)).damages == ()
    work = [w for w in decide(found, [], empty_frame("costs")).work if w.cell == (0, 2)]
    assert not any(w.kind in ("renew_arm", "renew_trunk") for w in work)


def test_what_is_noted_up_to_the_last_day_on_record_stands_on_the_vine():
    """The last season that counts is 2025; an arm and a shoot were noted in passing in December, the last day of all."""
    found = season([*LEAVES, arm(3, "2025-12-10", renewal_shoot="trunk")])
    assert (found.season, found.as_of) == (2025, "2025-12-10")
    now = vine_now(found, (0, 2))
    assert (now.last_seen, now.shoot, now.shoot_seen) == ("2025-12-10", "trunk", "2025-12-10")
    asked = load(walked_block(YEARS, vines=12, symptoms=[*LEAVES, arm(3, "2025-12-10")]), "A", 2025)
    assert vine_now(asked, (0, 2)).damages == ()  # of a season that is asked for, what came later is not known


def test_a_vine_pulled_on_the_last_day_on_record_is_gone():
    found = season([*LEAVES, arm(3)], [{"position": "3", "date": "2025-12-10", "kind": "remove"}])
    assert found.as_of == "2025-12-10"
    assert vine_now(found, (0, 2)).damages == ()
    assert {w.kind for w in decide(found, [], empty_frame("costs")).work if w.cell == (0, 2)} == {"replant"}


def test_damage_noted_anew_is_in_doubt_no_more():
    none = {"position": "3", "date": "2024-01-15", "symptom": "none"}
    now = vine_now(season([*LEAVES, arm(3, "2023-01-15"), none, arm(3, "2025-01-15")]), (0, 2))
    assert [damage.finding.date for damage in now.damages] == ["2025-01-15"]
    assert now.doubted == ()
    other = vine_now(season([*LEAVES, arm(3, "2023-01-15"), none, arm(3, "2025-01-15") | {"arm": "end"}]), (0, 2))
    assert [damage.finding.part.arm for damage in other.doubted] == ["start"]  # the other arm says nothing of it


def test_a_cut_that_is_not_known_yet_takes_no_symptom_away():
    found = season(LEAVES, [{"position": "11", "date": "2025-12-10", "kind": "renew_trunk"}])
    assert vine_now(found, (0, 10)).symptoms == ()
    then = vine_now(replace(found, known_until="2025-12-09"), (0, 10))
    assert [finding.date for finding in then.symptoms] == ["2025-08-15"]
    assert len(vine_now(replace(found, known_until="2025-12-10"), (0, 10)).symptoms) == 0


def test_symptoms_of_a_season_that_has_just_begun_call_for_a_look_and_those_of_years_ago_do_not():
    now = season([*LEAVES, {"position": "4", "date": "2026-07-01", "symptom": "leaf_stripe"}])
    assert now.season == 2025
    assert [finding.date for finding in vine_now(now, (0, 3)).symptoms] == ["2026-07-01"]
    assert vine_now(now, (0, 8)).symptoms == ()


@pytest.mark.parametrize(
    ("last", "grafted", "usable", "at_hand"),
    [
        ("none", "yes", False, False), ("above_union", "yes", True, True), ("below_union", "yes", False, False),
        ("below_union", "no", True, True),
    ],
)  # fmt: skip
def test_the_shoot_is_the_one_noted_last_and_below_the_union_it_is_rootstock(last, grafted, usable, at_hand):
    found = season([*LEAVES, arm(3, renewal_shoot="trunk"), arm(3, "2025-01-15", renewal_shoot=last)], grafted=grafted)
    now = vine_now(found, (0, 2))
    assert (now.shoot, now.shoot_seen, now.shoot_usable) == ("" if last == "none" else last, "2025-01-15", usable)
    assert next(vine for vine in winter_list(found) if vine.position == 3).shoot_at_hand == at_hand


def test_the_lowest_stain_counts():
    stains = [
        {"position": "3", "date": f"{year}-01-15", "symptom": "wood_staining", "cut_height_cm": cut, "stain_cm": stain}
        for year, cut, stain in ((2023, 80, 5), (2024, 60, 10), (2025, 70, None))
    ]
    assert vine_now(season([*LEAVES, *stains]), (0, 2)).stain_cm == 50


def test_a_clean_face_is_no_stain_and_nothing_that_was_seen():
    clean = {"position": "3", "date": "2025-01-15", "symptom": "wood_staining", "cut_height_cm": 40, "stain_cm": 0}
    stained = {**clean, "date": "2024-01-15", "cut_height_cm": 60, "stain_cm": None}
    told = {
        name: (vine_now(found, (0, 2)).stain_cm, last_evidence(found.reading, (0, 2)))
        for name, found in (("clean", season([*LEAVES, clean])), ("both", season([*LEAVES, stained, clean])))
    }
    assert told["clean"] == (None, last_evidence(season(LEAVES).reading, (0, 2)))
    assert told["both"] == (60, "2024-01-15")
    pattern = season([*LEAVES, {**clean, "pattern": "wedge"}])  # a pattern was seen: that is no clean face
    assert last_evidence(pattern.reading, (0, 2)) == "2025-01-15"


def test_the_winter_list_holds_no_dead_vine_and_puts_the_worst_first():
    found = season(
        [
            *LEAVES,
            arm(3, "2025-01-15", percent=40),
            arm(4, "2025-01-15", percent=90),
            arm(5, "2023-01-15", percent=90),
            arm(6, "2024-01-15"),
            {"position": "6", "date": "2025-08-15", "symptom": "dead"},
            arm(7, "2025-01-15", percent=40, renewal_shoot="trunk"),
        ]
    )
    # Vines 4 and 5 are as bad: 5 has been a case for three seasons. A shoot at hand is worth 25 %.
    assert [vine.position for vine in winter_list(found)] == [5, 4, 7, 3, 11]


def test_a_vine_whose_case_was_cut_out_was_last_seen_with_it_by_the_end_of_its_season():
    later = {"position": "11", "date": "2026-07-01", "symptom": "leaf_stripe"}
    store = walked_block(
        YEARS,
        vines=12,
        symptoms=[*LEAVES, later],
        work=[{"position": "11", "date": "2025-12-10", "kind": "renew_trunk"}],
    )
    (vine,) = [vine for vine in winter_list(load(store, "A", 2025)) if vine.position == 11]
    assert (vine.what, vine.last_seen) == ("already cut", "2025-08-15")


def test_records_of_a_vine_stand_in_the_order_of_writing_and_say_what_became_of_them():
    """A finding was moved from position 3 to 4 and on to 5, each time as a correction of the one before; another was taken back."""
    store = walked_block(YEARS, vines=12)

    def write(position, hour, **more):
        record = arm(position, recorded_at=f"2024-01-16T{hour}:00:00.000+00:00", **more)
        store.append({"symptoms": frame_of("symptoms", [{"block": "A", "row": "1", **record}])})

    write(3, "11", id="a")
    write(4, "12", id="z", corrects="a")
    write(5, "13", id="b", corrects="z")
    write(5, "10", id="y", observer="Ben")
    write(5, "14", id="x", corrects="y", void="yes", observer="Ben")
    moved = [("a", "corrected"), ("z", "corrected"), ("b", "stands")]
    assert [(line.id, line.fate) for line in vine_records(store, "A", "1", "3")] == moved
    told = [(line.id, line.fate) for line in vine_records(store, "A", "1", "5")]
    assert told == [("y", "taken back"), *moved, ("x", "takes back")]


@pytest.mark.parametrize(
    ("taken_back_at", "fates"),
    [
        ("14", {"a": "taken back", "b": "taken back", "c": "takes back"}),
        ("12", {"a": "corrected", "b": "stands", "c": "takes back"}),
    ],
)
def test_what_was_corrected_and_taken_back_is_what_the_later_of_the_two_left(taken_back_at, fates):
    """Two who did not know of each other: one corrected a finding, the other took it back."""
    store = walked_block(YEARS, vines=12)
    for hour, more in (
        ("11", {"id": "a"}),
        ("13", {"id": "b", "corrects": "a"}),
        (taken_back_at, {"id": "c", "corrects": "a", "void": "yes"}),
    ):
        record = arm(3, recorded_at=f"2024-01-16T{hour}:00:00.000+00:00", **more)
        store.append({"symptoms": frame_of("symptoms", [{"block": "A", "row": "1", **record}])})
    assert {line.id: line.fate for line in vine_records(store, "A", "1", "3")} == fates


def test_all_of_a_chain_that_was_taken_back_is_taken_back():
    store = walked_block(YEARS, vines=12)
    for hour, more in (
        ("11", {"id": "a"}),
        ("12", {"id": "b", "corrects": "a"}),
        ("13", {"id": "c", "corrects": "b", "void": "yes"}),
    ):
        record = arm(3, recorded_at=f"2024-01-16T{hour}:00:00.000+00:00", **more)
        store.append({"symptoms": frame_of("symptoms", [{"block": "A", "row": "1", **record}])})
    told = [(line.id, line.fate) for line in vine_records(store, "A", "1", "3")]
    assert told == [("a", "taken back"), ("b", "taken back"), ("c", "takes back")]


def test_a_finding_that_was_moved_to_another_block_was_corrected():
    store = walked_block(YEARS, vines=12)
    store.append(
        {
            "blocks": frame_of("blocks", [{"block": "B"}]),
            "rows": frame_of("rows", [{"block": "B", "row": "1", "last": 5}]),
        }
    )
    for block, more in (
        ("A", {"id": "a"}),
        ("B", {"id": "b", "corrects": "a", "recorded_at": "2024-01-17T11:00:00.000+00:00"}),
    ):
        store.append({"symptoms": frame_of("symptoms", [{"block": block, "row": "1", **arm(3, **more)}])})
    assert [(line.id, line.fate) for line in vine_records(store, "A", "1", "3")] == [("a", "corrected")]
    assert ("b", "stands") in [(line.id, line.fate) for line in vine_records(store, "B", "1", "3")]


def test_on_an_empty_place_nothing_was_last_seen():
    pulled = {"position": "3", "date": "2024-03-01", "kind": "remove"}
    found = season([arm(3), arm(3, "2025-01-15")], [pulled])
    assert [last_evidence(found.reading, (0, 2), day) for day in ("2024-02-01", "2024-03-01", "2025-12-01")] == [
        "2024-01-15",
        "",
        "",
    ]


def test_a_shoot_noted_on_an_empty_place_is_of_no_vine():
    """On the day of its removal a vine still stands; what was noted in a gap before it was planted is not its own."""
    gap = {"position": "3", "date": "2023-06-01", "symptom": "dead_trunk", "renewal_shoot": "trunk"}
    plants = [
        {"position": "3", "removed": "2023-03-01", "reason": "dead"},
        {"position": "3", "planted": "2023-11-20", "removed": "2025-10-31"},
    ]
    found = season([*LEAVES, gap], plants=plants)
    assert found.as_of == "2025-10-31"
    now = vine_now(found, (0, 2))
    assert (now.shoot, now.shoot_seen, now.open, now.shoot_usable) == ("", "", (), False)


@pytest.mark.parametrize(
    ("first", "last", "quality", "usable"),
    [
        ("", "good", "good", True), ("good", "thin", "thin", False), ("good", "unripe", "unripe", False),
        ("good", "too_vigorous", "too_vigorous", False), ("thin", "good", "good", True),
        ("thin", "", "", True),  # the shoot was noted anew and nothing was said of its quality
    ],
)  # fmt: skip
def test_the_quality_is_that_of_the_note_that_the_shoot_is_taken_from(first, last, quality, usable):
    found = season(
        [
            *LEAVES,
            arm(3, renewal_shoot="trunk", shoot_quality=first),
            arm(3, "2025-01-15", renewal_shoot="trunk", shoot_quality=last),
        ]
    )
    now = vine_now(found, (0, 2))
    assert (now.shoot_quality, now.shoot_placed, now.shoot_usable) == (quality, True, usable)
    listed = next(vine for vine in winter_list(found) if vine.position == 3)
    assert (listed.shoot_quality, listed.shoot_at_hand, listed.below_union) == (quality, usable, False)
    work = [w for w in decide(found, [], empty_frame("costs")).work if w.cell == (0, 2) and w.kind != "keep_shoot"]
    assert [(w.kind, w.arm) for w in work] == [("renew_arm" if usable else "train_first", "start")]


def test_a_quality_without_a_shoot_or_of_none_says_nothing():
    for shoot in ("", "none"):
        now = vine_now(season([*LEAVES, arm(3, renewal_shoot=shoot, shoot_quality="thin")]), (0, 2))
        assert (now.shoot, now.shoot_quality, now.shoot_usable) == ("", "", False)


def test_a_thin_shoot_below_the_union_is_rootstock_only_on_a_grafted_vine():
    for grafted, placed in (("yes", False), ("no", True)):
        found = season([*LEAVES, arm(3, renewal_shoot="below_union", shoot_quality="thin")], grafted=grafted)
        now = vine_now(found, (0, 2))
        assert (now.shoot_placed, now.shoot_usable) == (placed, False)
        assert next(vine for vine in winter_list(found) if vine.position == 3).below_union is not placed

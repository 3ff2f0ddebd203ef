"""The reference of what is said of a vine now, on cases counted by hand (section 13 of the rules).

The rules stand beside trunkwatch.history; nothing of the package is read or run here.
"""

import pytest
from hypothesis import HealthCheck, given, settings
from reading.said import VineSaid, said
from reading.test_reference import augusts, dead_arm, done, finding, januaries, look, tables
from reading.worlds import of_block, vineyards

ROUNDS = (*januaries(2023, 2024), *augusts(2023, 2024))
ARM_OF_2024 = [("2024-01-15", "dead_arm", 0, "start")]


def speak(position=1, season=2024, asked=False, definition="any", surveys=ROUNDS, **parts):
    """Say what is said of one vine of row 1."""
    written = tables(surveys=surveys, **parts)
    return said(written, "A", definition=definition, season=season, asked=asked)["1", position]


def of_symptoms(*symptoms, **more):
    return speak(symptoms=symptoms, **more)


# The plant and the day


@pytest.mark.parametrize(
    ("lines", "damages"),
    [
        ([], ARM_OF_2024),
        ([{"removed": "2024-10-30"}], []),
        ([{"removed": "2024-10-31"}], []),  # removed on the day: gone
        ([{"removed": "2024-11-01"}], ARM_OF_2024),
        ([{"planted": "2024-10-31"}], []),  # planted on the day: there, and nothing was found on it
        # The bare year is 1 November 2024: the day before, the old plant still stands when all work is done.
        ([{"planted": "2025"}], ARM_OF_2024),
        ([{"removed": "2024-10-31"}, {"planted": "2025"}], []),
    ],
)
def test_the_plant_is_the_one_after_the_work_of_the_day(lines, damages):
    plants = [{"row": "1", "position": "1", **line} for line in lines]
    vine = of_symptoms(dead_arm(1, "2024-01-15"), plants=plants, asked=True)
    assert vine.damages == damages
    assert damages or vine == VineSaid()


def test_what_was_found_on_the_plant_of_that_day_is_said():
    plants = [{"row": "1", "position": "1", "removed": "2024-10-31", "planted": "2024-10-31"}]
    vine = of_symptoms(dead_arm(1, "2024-01-15"), dead_arm(1, "2024-10-31", arm="end"), plants=plants, asked=True)
    assert vine.damages == [("2024-10-31", "dead_arm", 0, "end")]


RECHECK = {"purpose": "recheck", "observer": "Oskar"}


@pytest.mark.parametrize(
    ("more", "gone"),
    [
        ({}, False),
        ({"symptoms": [finding(2, "2024-12-05", "none")]}, True),
        ({"symptoms": [finding(2, "2024-12-04", "none")]}, False),
        ({"symptoms": [finding(9, "2024-12-05", "none")]}, False),  # no such vine
        ({"surveys": [look("2024-12-05", "1:3")]}, True),
        ({"surveys": [look("2024-12-01", "1:3", until="2024-12-06")]}, True),
        ({"surveys": [look("2024-12-05", "7")]}, False),  # no such row
        ({"surveys": [look("2024-12-05", **RECHECK)]}, False),
        (
            {
                "surveys": [look("2024-12-05", **RECHECK)],
                "symptoms": [finding(2, "2024-12-05", "none", observer="Oskar")],
            },
            False,
        ),
        ({"work": [done(2, "2024-12-05", "mark")]}, True),
        ({"work": [done(2, "2024-12-05", "mark", status="planned")]}, False),
        ({"plants": [{"row": "1", "position": "2", "planted": "2025-02-01"}]}, False),
    ],
)
def test_the_day_is_that_of_the_last_record_that_names_a_vine(more, gone):
    parts = {
        "surveys": [*ROUNDS, *more.get("surveys", [])],
        "symptoms": [dead_arm(1, "2024-01-15"), *more.get("symptoms", [])],
        "work": more.get("work", []),
        "plants": [{"row": "1", "position": "1", "removed": "2024-12-05"}, *more.get("plants", [])],
    }
    assert speak(**parts).damages == ([] if gone else ARM_OF_2024)
    assert speak(asked=True, **parts).damages == ARM_OF_2024


def test_what_was_found_by_the_day_is_said_of_a_later_day_too():
    symptoms = [dead_arm(1, "2024-01-15"), dead_arm(1, "2025-02-01", arm="end")]
    assert speak(symptoms=symptoms, asked=True).damages == ARM_OF_2024
    assert speak(symptoms=symptoms).damages == [*ARM_OF_2024, ("2025-02-01", "dead_arm", 0, "end")]


def test_findings_of_second_looks_are_not_said():
    second = finding(1, "2024-01-20", "dead_trunk", observer="Oskar", renewal_shoot="trunk", trunk=3)
    surveys = [*ROUNDS, look("2024-01-20", **RECHECK)]
    vine = of_symptoms(second, dead_arm(1, "2024-01-15", trunk=1, percent=60), surveys=surveys)
    assert vine.damages == [("2024-01-15", "dead_arm", 1, "start")]
    assert (vine.shoot, vine.shoot_seen, vine.share) == ("", "", 30.0)


# Damage and doubt


@pytest.mark.parametrize(
    ("day", "kind", "stands"),
    [
        ("2024-01-14", "renew_arm", True),  # before it was found
        ("2024-01-15", "renew_arm", False),
        ("2024-10-31", "renew_arm", False),
        ("2025-02-10", "renew_arm", False),  # known as soon as it is written
        ("2024-10-31", "cut_old_trunk", False),
        ("2024-10-31", "curettage", True),
    ],
)
def test_damage_that_was_cut_on_any_day_is_neither_damage_nor_in_doubt(day, kind, stands):
    vine = of_symptoms(dead_arm(1, "2024-01-15"), work=[done(1, day, kind, arm="start")], asked=True)
    assert vine.damages == (ARM_OF_2024 if stands else [])
    assert (vine.doubted, vine.again) == ([], False)


def test_damage_contradicted_by_the_day_is_in_doubt():
    symptoms = [dead_arm(1, "2023-01-15"), finding(1, "2024-10-31", "none")]
    surveys = [*ROUNDS, look("2024-10-31", look="dormant")]
    arm = [("2023-01-15", "dead_arm", 0, "start")]
    on_the_day = speak(symptoms=symptoms, surveys=surveys, asked=True)
    assert (on_the_day.damages, on_the_day.doubted, on_the_day.again) == ([], arm, True)
    assert on_the_day.last_seen == "2023-01-15"
    before = speak(symptoms=symptoms, surveys=surveys, season=2023, asked=True)
    assert (before.damages, before.doubted, before.again) == (arm, [], False)


def test_what_was_contradicted_and_then_cut_is_not_in_doubt():
    symptoms = [dead_arm(1, "2023-01-15"), finding(1, "2024-01-15", "none")]
    assert speak(symptoms=symptoms).doubted == [("2023-01-15", "dead_arm", 0, "start")]
    assert speak(symptoms=symptoms, work=[done(1, "2024-02-01", "renew_trunk")]).doubted == []


def test_damage_that_is_no_longer_mentioned_is_in_doubt():
    # Both arms are written in every January from 2016 to 2022: of 2017 to 2021, twice five looks, all spoke. Two silent
    # looks count then; the second one after January 2022 is that of January 2024.
    years = range(2016, 2023)
    symptoms = [dead_arm(position, f"{year}-01-15") for position in (1, 2) for year in years]
    parts = {"symptoms": symptoms, "surveys": januaries(*range(2016, 2025))}
    lines = [(f"{year}-01-15", "dead_arm", 0, "start") for year in years]
    by_2023, by_2024 = speak(season=2023, asked=True, **parts), speak(**parts)
    assert (by_2023.damages, by_2023.doubted, by_2023.again) == (lines, [], False)
    assert (by_2024.damages, by_2024.doubted, by_2024.again) == ([], lines, True)
    assert by_2023.last_seen == by_2024.last_seen == "2022-01-15"
    assert by_2024.listed
    assert by_2024.list_seasons == 8  # seen in seven seasons, carried into 2023


@pytest.mark.parametrize(
    ("symptom", "arm", "trunk", "in_doubt"),
    [
        ("dead_arm", "start", None, False),
        ("dead_arm", "", None, False),
        ("dead_arm", "start", 2, False),
        ("dead_arm", "end", None, True),
        ("canker", "start", None, True),
    ],
)
def test_no_doubt_where_damage_of_the_symptom_stands_that_may_be_the_same(symptom, arm, trunk, in_doubt):
    found_again = finding(1, "2024-03-20", symptom, arm=arm, trunk=trunk)
    vine = of_symptoms(dead_arm(1, "2023-01-15"), finding(1, "2024-01-15", "none"), found_again)
    assert vine.damages == [("2024-03-20", symptom, trunk or 0, arm)]
    assert vine.doubted == ([("2023-01-15", "dead_arm", 0, "start")] if in_doubt else [])
    assert not vine.again
    assert vine.last_seen == "2024-03-20"


# Symptoms of the season


@pytest.mark.parametrize(
    ("symptom", "day", "asked", "is_said"),
    [
        ("leaf_stripe", "2023-10-31", False, False),
        ("leaf_stripe", "2023-11-01", False, True),
        ("collapse", "2024-08-15", True, True),
        ("stunted_shoots", "2024-05-15", True, True),
        ("leaf_stripe", "2025-08-15", False, True),
        ("leaf_stripe", "2025-08-15", True, False),
        ("berry_spots", "2024-08-15", False, False),
    ],
)
def test_symptoms_of_the_season_or_later(symptom, day, asked, is_said):
    vine = of_symptoms(finding(1, day, symptom), asked=asked)
    assert vine.symptoms == ([(day, symptom)] if is_said else [])
    assert vine.last_seen == (day if is_said else "")


@pytest.mark.parametrize(
    ("symptom", "arm", "work", "is_said"),
    [
        ("leaf_stripe", "", done(1, "2024-08-14", "renew_trunk"), True),
        ("leaf_stripe", "", done(1, "2024-08-15", "renew_trunk"), False),
        ("leaf_stripe", "", done(1, "2025-02-10", "regraft"), False),
        ("leaf_stripe", "", done(1, "2024-09-01", "renew_arm", arm="start"), True),
        ("leaf_stripe", "start", done(1, "2024-09-01", "renew_arm", arm="start"), True),
        ("leaf_stripe", "", done(2, "2024-09-01", "renew_trunk"), True),
        ("leaf_stripe", "", done(1, "2024-09-01", "renew_trunk", status="planned"), True),
        ("stunted_shoots", "start", done(1, "2024-09-01", "renew_arm", arm="start"), False),
        ("stunted_shoots", "", done(1, "2024-09-01", "renew_arm", arm="start"), False),
        ("stunted_shoots", "end", done(1, "2024-09-01", "renew_arm", arm="start"), True),
    ],
)
def test_work_takes_symptoms_of_the_season(symptom, arm, work, is_said):
    vine = of_symptoms(finding(1, "2024-08-15", symptom, arm=arm), work=[work], asked=True)
    assert vine.symptoms == ([("2024-08-15", symptom)] if is_said else [])


# Last seen


def test_last_seen_is_told_by_damage_then_symptoms_then_doubt():
    doubt = (dead_arm(1, "2022-01-15"), dead_arm(1, "2023-01-15"), finding(1, "2024-01-15", "none"))
    leaf = (finding(1, "2024-08-15", "leaf_stripe"), finding(1, "2024-09-01", "collapse"))
    trunk = finding(1, "2024-02-01", "dead_trunk")
    assert of_symptoms(*doubt).last_seen == "2023-01-15"
    assert of_symptoms(*doubt, *leaf).last_seen == "2024-09-01"
    assert not of_symptoms(*doubt, *leaf).again
    assert of_symptoms(*doubt, *leaf, trunk).last_seen == "2024-02-01"


def test_damage_is_mentioned_by_what_may_be_the_same_up_to_the_day():
    symptoms = [dead_arm(1, "2023-01-15"), dead_arm(1, "2024-01-15", arm=""), dead_arm(1, "2025-01-15")]
    assert speak(symptoms=symptoms, season=2023, asked=True).last_seen == "2023-01-15"
    assert speak(symptoms=symptoms, asked=True).last_seen == "2024-01-15"
    assert speak(symptoms=symptoms).last_seen == "2025-01-15"


# Percent and the share of the vine


@pytest.mark.parametrize(
    ("symptom", "written", "percent"),
    [
        ("dead_spurs", {"dead": 2, "total": 20, "percent": 9}, 10.0),
        ("dead_spurs", {"dead": 3, "total": 12}, 25.0),
        ("dead_arm", {"dead": 3, "total": 12}, 25.0),
        ("dead_arm", {"percent": 0}, 0.0),
        ("canker", {"percent": 40}, 40.0),
        ("dead_trunk", {}, None),
        ("leaf_stripe", {"percent": 40}, None),  # no damage
    ],
)
def test_percent_as_written(symptom, written, percent):
    assert of_symptoms(finding(1, "2024-01-15", symptom, **written)).percent == percent


def test_percent_is_the_largest_of_what_stands():
    symptoms = [
        dead_arm(1, "2023-01-15", percent=90),
        dead_arm(1, "2024-02-01", percent=40, arm="end"),
        finding(1, "2024-02-01", "dead_spurs", percent=55, arm="end"),
    ]
    work = [done(1, "2023-02-01", "renew_arm", arm="start")]
    vine = speak(symptoms=symptoms, work=work)
    assert (vine.percent, vine.share) == (55.0, 27.5)  # both are of one arm


@pytest.mark.parametrize(
    ("training", "findings", "share"),
    [
        ("bilateral", [("dead_arm", "start", 60)], 30.0),
        ("bilateral", [("dead_arm", "start", 60), ("dead_spurs", "end", 40)], 50.0),
        ("bilateral", [("dead_arm", "start", 60), ("canker", "start", 80)], 40.0),
        ("bilateral", [("dead_arm", "", 60)], 60.0),
        ("bilateral", [("dead_trunk", "", 80), ("dead_arm", "start", 60)], 100.0),  # 110 at most 100
        ("bilateral", [("dead_arm", "start", None)], None),
        ("bilateral", [("dead_arm", "start", None), ("dead_arm", "end", 0)], 0.0),
        ("unilateral", [("dead_arm", "start", 60)], 60.0),
        ("cane_1", [("dead_arm", "start", 60)], 60.0),
        ("cane_2", [("dead_arm", "start", 60), ("canker", "head", 20)], 50.0),
        ("cane_4", [("dead_arm", "start", 60)], 15.0),
        ("double_wire", [("dead_arm", "upper_end", 60)], 15.0),
        ("divided", [("dead_spurs", "far_end", 60)], 15.0),
        ("head", [("dead_arm", "head", 60)], 60.0),
        ("", [("dead_arm", "start", 60)], 30.0),
    ],
)
def test_share_of_the_vine_by_parts(training, findings, share):
    symptoms = [finding(1, "2024-01-15", symptom, arm=arm, percent=percent) for symptom, arm, percent in findings]
    assert speak(symptoms=symptoms, training=training).share == share


@pytest.mark.parametrize(
    ("training", "more", "share"),
    [
        ("bilateral", {}, 30.0),
        ("multi_trunk", {}, 15.0),
        ("bilateral", {"symptoms": [finding(1, "2023-08-15", "leaf_stripe", trunk=3)]}, 10.0),
        ("multi_trunk", {"symptoms": [finding(1, "2023-08-15", "leaf_stripe", trunk=3)]}, 10.0),
        ("bilateral", {"symptoms": [finding(2, "2023-08-15", "leaf_stripe", trunk=3)]}, 30.0),
        ("bilateral", {"symptoms": [finding(1, "2024-11-01", "leaf_stripe", trunk=3)]}, 30.0),  # after the day
        ("bilateral", {"work": [done(1, "2023-02-10", "mark", trunk=4)]}, 7.5),
        ("bilateral", {"work": [done(1, "2023-02-10", "mark", trunk=4, status="planned")]}, 30.0),
    ],
)
def test_a_part_that_names_a_trunk_is_divided_by_the_trunks(training, more, share):
    symptoms = [dead_arm(1, "2024-01-15", trunk=1, percent=60), *more.get("symptoms", [])]
    assert speak(symptoms=symptoms, work=more.get("work", ()), training=training, asked=True).share == share


def test_trunk_numbers_of_work_before_the_vine_was_replanted_count_and_those_of_its_findings_do_not():
    parts = {
        "plants": [
            {"row": "1", "position": "1", "removed": "2022-09-01"},
            {"row": "1", "position": "1", "planted": "2023"},
        ],
        "symptoms": [finding(1, "2022-08-15", "leaf_stripe", trunk=5), dead_arm(1, "2024-01-15", trunk=1, percent=60)],
    }
    assert speak(**parts).share == 30.0
    assert speak(**parts, work=[done(1, "2022-02-10", "mark", trunk=3)]).share == 10.0


def test_the_latest_empty_percent_stands_as_written():
    early = dead_arm(1, "2024-01-15", percent=60, empty_percent=45)
    assert of_symptoms(early).share == 45.0
    assert of_symptoms(early, dead_arm(1, "2024-02-01", arm="end", percent=80)).share == 45.0
    assert of_symptoms(dead_arm(1, "2024-02-01", arm="end", empty_percent=20), early).share == 20.0
    assert of_symptoms(finding(1, "2024-08-15", "leaf_stripe", empty_percent=70)).share is None


@pytest.mark.parametrize(
    ("first", "second", "last"),
    [
        ({"recorded_at": "2024-01-15T12:00:00"}, {"recorded_at": "2024-01-15T08:30:00"}, "first"),
        ({"recorded_at": "2024-01-15T12:00:00"}, {}, "first"),
        ({}, {}, "second"),
        ({"id": "symptoms9"}, {"id": "symptoms10"}, "first"),  # ids are compared as text
    ],
)
def test_of_one_day_the_last_written_stands(first, second, last):
    vine = of_symptoms(
        dead_arm(1, "2024-01-15", empty_percent=45, renewal_shoot="trunk", **first),
        dead_arm(1, "2024-01-15", arm="end", empty_percent=20, renewal_shoot="own_root", **second),
    )
    assert (vine.share, vine.shoot) == ((45.0, "trunk") if last == "first" else (20.0, "own_root"))
    assert vine.shoot_seen == "2024-01-15"


# Shoot


@pytest.mark.parametrize(
    ("shoots", "shoot", "day"),
    [
        ([], "", ""),
        ([("2023-08-15", "trunk")], "trunk", "2023-08-15"),
        ([("2023-08-15", "trunk"), ("2024-01-15", "")], "trunk", "2023-08-15"),
        ([("2024-01-15", "none"), ("2023-08-15", "trunk")], "", "2024-01-15"),
        ([("2024-01-15", "none"), ("2024-08-15", "below_union")], "below_union", "2024-08-15"),
        ([("2023-08-15", "above_union"), ("2024-11-01", "none")], "above_union", "2023-08-15"),  # after the day
    ],
)
def test_shoot_of_the_last_finding_that_has_one(shoots, shoot, day):
    symptoms = [finding(1, seen, "water_stress", renewal_shoot=written) for seen, written in shoots]
    vine = speak(symptoms=symptoms, asked=True)
    assert (vine.shoot, vine.shoot_seen) == (shoot, day)


def test_the_shoot_of_a_plant_that_is_gone_is_not_said():
    plants = [{"row": "1", "position": "1", "removed": "2023-12-01", "planted": "2022"}]
    replanted = [*plants, {"row": "1", "position": "1", "planted": "2024-03-01"}]
    vine = of_symptoms(finding(1, "2023-08-15", "none", renewal_shoot="trunk"), plants=replanted)
    assert (vine.shoot, vine.shoot_seen) == ("", "")


# Listed


def listed(vine):
    return vine.listed, vine.list_percent, vine.list_seasons


@pytest.mark.parametrize(("definition", "seasons"), [("any", 2), ("leaf", 2), ("dieback", 0)])
def test_what_shows_or_has_symptoms_in_the_season_is_listed(definition, seasons):
    symptoms = [
        finding(1, "2023-08-15", "leaf_stripe", percent=90),
        finding(1, "2024-08-15", "leaf_stripe", percent=20),
        finding(1, "2024-08-15", "collapse", percent=70),
        finding(1, "2025-08-15", "leaf_stripe"),
    ]
    surveys = [*ROUNDS, *januaries(2025), *augusts(2025)]
    vine = speak(symptoms=symptoms, definition=definition, surveys=surveys)
    assert listed(vine) == (True, 70.0, seasons)


def test_damage_is_listed_under_every_definition_with_its_own_percent():
    symptoms = [dead_arm(1, "2023-01-15"), finding(1, "2024-08-15", "leaf_stripe", percent=70)]
    assert listed(speak(symptoms=symptoms, definition="any")) == (True, None, 2)
    assert listed(speak(symptoms=symptoms, definition="leaf")) == (True, None, 1)
    assert listed(speak(symptoms=symptoms[:1], definition="leaf")) == (True, None, 0)


def test_a_vine_that_was_not_seen_is_listed_for_what_it_had():
    surveys = [*januaries(2023), *augusts(2023), look("2024-01-15", "1:2..4"), look("2024-08-15", "1:2..4")]
    assert listed(speak(symptoms=[dead_arm(1, "2023-01-15", percent=60)], surveys=surveys)) == (True, 60.0, 1)


def test_what_is_in_doubt_is_listed():
    symptoms = [dead_arm(1, "2023-01-15", percent=60), finding(1, "2024-01-15", "none")]
    vine = speak(symptoms=symptoms)
    assert listed(vine) == (True, None, 1)
    assert (vine.percent, vine.again) == (None, True)


def test_a_vine_found_dead_is_not_listed():
    symptoms = [dead_arm(1, "2023-01-15"), finding(1, "2024-01-15", "dead")]
    assert not speak(symptoms=symptoms, definition="leaf").listed
    assert speak(symptoms=symptoms, definition="leaf").damages
    assert not speak(symptoms=symptoms, definition="dieback").listed  # the arm is carried into 2024, the vine is dead


def test_found_dead_after_the_season_it_is_still_listed():
    symptoms = [dead_arm(1, "2023-01-15"), finding(1, "2024-12-10", "dead")]
    assert speak(symptoms=symptoms, definition="leaf").listed


def test_a_vine_that_was_replanted_after_it_showed_is_not_listed():
    symptoms = [finding(1, "2023-08-15", "leaf_stripe"), finding(1, "2024-08-15", "leaf_stripe")]
    pulled = [{"row": "1", "position": "1", "removed": "2024-09-01"}]
    replanted = [*pulled, {"row": "1", "position": "1", "planted": "2024-09-10"}]
    assert speak(symptoms=symptoms).listed
    assert speak(symptoms=symptoms, plants=pulled) == VineSaid()
    assert speak(symptoms=symptoms, plants=replanted) == VineSaid()


def test_seasons_are_those_of_the_plant_that_stands():
    symptoms = [finding(1, "2023-08-15", "leaf_stripe"), finding(1, "2024-08-15", "leaf_stripe")]
    plants = [
        {"row": "1", "position": "1", "removed": "2023-09-01"},
        {"row": "1", "position": "1", "planted": "2023-09-10"},
    ]
    assert listed(speak(symptoms=symptoms, plants=plants)) == (True, None, 1)


def test_a_vine_planted_after_the_looks_of_the_season_is_not_listed():
    plants = [
        {"row": "1", "position": "1", "removed": "2023-09-01"},
        {"row": "1", "position": "1", "planted": "2024-09-10"},
    ]
    vine = of_symptoms(dead_arm(1, "2024-10-01", percent=60), plants=plants)
    assert vine.damages == [("2024-10-01", "dead_arm", 0, "start")]
    assert not vine.listed


# In any vineyard


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(vineyards())
def test_what_must_hold_of_any_vine(tables_of_all):
    for block in {str(record["block"]) for record in tables_of_all["blocks"]}:
        written = of_block(tables_of_all, block)
        for asked in (True, False):
            for vine in said(written, block, season=2019, asked=asked).values():
                check_bounds(vine, asked)


def check_bounds(vine, asked):
    lines = [*vine.damages, *vine.symptoms, *vine.doubted]
    assert bool(lines) == bool(vine.last_seen)
    assert not asked or max((line[0] for line in lines), default="") <= "2019-10-31"
    assert all(day >= "2018-05-01" for day, _ in vine.symptoms)
    assert vine.percent is None or vine.damages
    assert vine.share is None or (vine.damages and 0 <= vine.share <= 100)
    assert not set(vine.damages) & set(vine.doubted)
    assert vine.again == (bool(vine.doubted) and not vine.damages and not vine.symptoms)
    assert vine.listed or (vine.list_percent, vine.list_seasons) == (None, 0)
    assert vine.shoot_seen or not vine.shoot


def test_the_quality_is_of_the_finding_that_the_shoot_is_of():
    noted = finding(1, "2023-08-15", "water_stress", renewal_shoot="trunk", shoot_quality="thin")
    assert speak(symptoms=[noted], asked=True).shoot_quality == "thin"
    again = finding(1, "2024-01-15", "water_stress", renewal_shoot="trunk")
    assert speak(symptoms=[noted, again], asked=True).shoot_quality == ""
    alone = finding(1, "2024-01-15", "water_stress", shoot_quality="good")
    assert speak(symptoms=[noted, alone], asked=True).shoot_quality == "thin"

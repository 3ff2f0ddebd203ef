"""The reference of the rules of reading, on cases counted by hand.

The rules stand beside trunkwatch.history; nothing of the package is read or run here.
"""

import ast
import sys
from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from reading import laid, placed, reference, said
from reading.laid import standing
from reading.reference import read_block, silent_looks
from reading.worlds import of_block, two_growers, vineyards

YEARS = range(2020, 2027)


def look(day, covered="1", **more):
    return {"date": day, "covered": covered, **more}


def januaries(*years, **more):
    return [look(f"{year}-01-15", **more) for year in years]


def augusts(*years, **more):
    return [look(f"{year}-08-15", **more) for year in years]


def finding(position, day, symptom, **more):
    return {"row": "1", "position": str(position), "date": day, "symptom": symptom, **more}


def dead_arm(position, day, **more):
    return finding(position, day, "dead_arm", **{"arm": "start", **more})


def done(position, day, kind, **more):
    return {"row": "1", "position": str(position), "date": day, "kind": kind, **more}


def tables(*, vines=4, rows=None, plants=(), surveys=(), symptoms=(), work=(), **block):
    """Return tables of block A, one row of so many vines unless rows are given; ids are counted through."""
    lines = rows or [{"row": "1", "first": 1.0, "last": float(vines)}]
    about = {"planted": 2000.0, "hemisphere": "north", "training": "bilateral", **block}
    written = {
        "blocks": [about],
        "rows": lines,
        "plants": plants,
        "surveys": surveys,
        "symptoms": symptoms,
        "work": work,
    }
    return {
        name: [{"block": "A", "id": f"{name}{number}", **record} for number, record in enumerate(records, 1)]
        for name, records in written.items()
    }


def read(definition="any", through=None, without_winter=False, **parts):
    return read_block(tables(**parts), "A", definition=definition, through=through, without_winter=without_winter)


def conditions(reading, season, row="1"):
    """Return the conditions of a row in a season, in order of positions."""
    of_row = sorted(
        (vine, word) for (year, vine), word in reading.condition.items() if (year, vine[0]) == (season, row)
    )
    return [word for _, word in of_row]


def ends(reading, position, row="1"):
    """Return how and when each damage of a vine ended."""
    return [(damage.end, str(damage.end_day or "")) for damage in reading.damages.get((row, position), [])]


def at(*positions, row="1"):
    return {(row, position) for position in positions}


def golden():
    walked = {2023: "1", 2024: "1", 2025: "1:1..4", 2026: "1"}
    return read(
        vines=8,
        surveys=[look(f"{year}-{day}", covered) for year, covered in walked.items() for day in ("01-15", "08-15")],
        symptoms=[
            finding(2, "2023-08-15", "leaf_stripe"),
            finding(2, "2026-08-15", "leaf_stripe"),
            finding(3, "2024-08-15", "leaf_stripe"),
            dead_arm(4, "2024-01-15"),
            finding(4, "2025-08-15", "leaf_stripe"),
            finding(5, "2023-08-15", "leaf_stripe"),
            finding(5, "2024-08-15", "dead"),
            finding(7, "2026-08-15", "leaf_stripe"),
        ],
        work=[done(3, "2025-02-10", "renew_trunk"), done(4, "2025-02-10", "renew_arm", arm="start")],
        plants=[
            {"row": "1", "position": "6", "reason": "missing"},
            {"row": "1", "position": "5", "removed": "2025-01-20"},
            {"row": "1", "position": "5", "planted": "2025-04-10"},
        ],
    )


def test_golden_conditions():
    reading = golden()
    assert reading.seasons == (2023, 2024, 2025, 2026)
    assert reading.counted == reading.compared == {2023, 2024, 2025, 2026}
    assert {
        season: " ".join(w.replace(" ", "_") for w in conditions(reading, season)) for season in reading.seasons
    } == {
        2023: "sound showing sound sound showing missing sound sound",
        2024: "sound hidden showing showing dead missing sound sound",
        2025: "sound hidden renewed showing not_seen missing not_seen not_seen",
        2026: "sound showing renewed hidden young missing showing sound",
    }


def test_golden_rates():
    rates = golden().rates
    names = ("annual", "standing", "ever", "new", "deaths", "relapse")
    assert {season: tuple(rates[season, name] for name in names) for season in range(2023, 2027)} == {
        2023: ((2, 7), (2, 7), (2, 7), None, None, None),
        2024: ((2, 6), (3, 6), (4, 7), (2, 5), (1, 7), None),
        # Cut were P3 and P4, both are looked at; P4 is seen again, and in 2026 it is no longer at risk.
        2025: ((1, 4), (2, 4), (4, 7), (0, 1), (0, 4), (1, 2)),
        2026: ((2, 6), (3, 6), (5, 7), (1, 3), (0, 4), (0, 1)),
    }


# 1. Which records stand


def versions(*records):
    return [record["id"] for record in standing(records)]


def test_the_later_correction_stands_and_not_the_root():
    first, second = (
        {"id": "b", "corrects": "a", "recorded_at": "2024-02-02"},
        {"id": "c", "corrects": "a", "recorded_at": "2024-02-01"},
    )
    assert versions({"id": "a", "recorded_at": "2025-01-01"}, first, second) == ["b"]


def test_ties_go_to_the_larger_id():
    assert versions({"id": "a"}, {"id": "c", "corrects": "a"}, {"id": "b", "corrects": "a"}) == ["c"]


def test_chains_lead_to_one_root():
    chain = [
        {"id": "a"},
        {"id": "z", "corrects": "a", "recorded_at": "1"},
        {"id": "b", "corrects": "z", "recorded_at": "2"},
    ]
    assert versions(*chain) == ["b"]
    # The older link does not stand although it corrects the root itself and has the larger id.
    assert versions(*chain, {"id": "c", "corrects": "b", "recorded_at": "3", "void": "yes"}) == []


def test_a_voided_record_is_corrected_back():
    void = {"id": "b", "corrects": "a", "void": "yes", "recorded_at": "1"}
    assert versions({"id": "a"}, void) == []
    assert versions({"id": "a"}, void, {"id": "c", "corrects": "b", "recorded_at": "2"}) == ["c"]
    assert versions({"id": "a"}, void, {"id": "d"}) == ["d"]


def test_a_voided_finding_is_no_case():
    case = finding(1, "2024-08-15", "leaf_stripe", id="x")
    void = finding(1, "2024-08-15", "leaf_stripe", corrects="x", void="yes")
    assert read(surveys=augusts(2024), symptoms=[case]).seen[2024] == at(1)
    assert read(surveys=augusts(2024), symptoms=[case, void]).seen[2024] == set()


# 2. Days, seasons, looks


@pytest.mark.parametrize(
    ("south", "day", "season", "kind"),
    [
        (False, "2023-11-01", 2024, "dormant"),
        (False, "2024-03-31", 2024, "dormant"),
        (False, "2024-04-01", 2024, "spring"),
        (False, "2024-07-01", 2024, "summer"),
        (False, "2024-10-31", 2024, "summer"),
        (True, "2023-05-01", 2024, "dormant"),
        (True, "2023-09-30", 2024, "dormant"),
        (True, "2023-10-01", 2024, "spring"),
        (True, "2023-12-31", 2024, "spring"),
        (True, "2024-01-01", 2024, "summer"),
        (True, "2024-04-30", 2024, "summer"),
    ],
)
def test_seasons_and_kinds(south, day, season, kind):
    calendar = laid.Calendar(south)
    assert (calendar.season(date.fromisoformat(day)), calendar.kind(date.fromisoformat(day))) == (season, kind)


def test_a_southern_latitude_makes_a_southern_block():
    reading = read(hemisphere="", latitude=-33.0, surveys=[look("2023-06-01")])
    assert reading.seasons == (2024,)
    assert read(hemisphere="", latitude=33.0, surveys=[look("2023-06-01")]).seasons == (2023,)
    assert read(latitude=-33.0, surveys=[look("2023-06-01")]).seasons == (2023,)


def test_seasons_run_from_the_first_to_the_last_record():
    reading = read(
        surveys=augusts(2022), symptoms=[finding(1, "2020-08-01", "none")], work=[done(1, "2024-01-01", "mark")]
    )
    assert reading.seasons == (2020, 2021, 2022, 2023, 2024)
    assert reading.counted == {2022}
    # A season that was skipped and is asked for is one in which nobody scouted; after the last record there is none.
    asked = read(surveys=augusts(2022, 2024), through=2023)
    assert asked.seasons == (2022, 2023)
    assert asked.counted == {2022}
    assert read(surveys=augusts(2022), through=2023).seasons == (2022,)


def test_a_second_look_enters_nothing():
    surveys = [look("2024-08-15", observer="Ilse"), look("2024-08-15", observer="Oskar", purpose="recheck")]
    seen = finding(2, "2024-08-15", "leaf_stripe", id="x", observer="Oskar")
    reading = read(surveys=surveys, symptoms=[seen])
    assert (reading.second, reading.seen[2024]) == ({"x"}, set())
    # Ilse had a look of her own there; one without a name contradicts no name, and made none.
    assert read(surveys=surveys, symptoms=[{**seen, "observer": "Ilse"}]).seen[2024] == at(2)
    assert read(surveys=surveys, symptoms=[{**seen, "observer": "Mette"}]).seen[2024] == at(2)
    assert read(surveys=surveys, symptoms=[{**seen, "observer": ""}]).second == {"x"}
    # Oskar made an ordinary look there as well.
    assert read(surveys=[*surveys, look("2024-08-15", observer="Oskar")], symptoms=[seen]).seen[2024] == at(2)
    assert read(surveys=surveys[1:], symptoms=[seen]).seasons == (2024,)
    assert read(surveys=surveys[1:], symptoms=[seen]).counted == set()


def test_a_finding_near_a_second_look_belongs_to_it_by_its_name():
    blind = look("2024-08-15", observer="Oskar", purpose="recheck")
    leaf = finding(2, "2024-08-20", "leaf_stripe", observer="Oskar")

    def second(*others, **more):
        return read(surveys=[blind, *others], symptoms=[{**leaf, **more}]).second == {"symptoms1"}

    ilse, oskar = look("2024-08-14", observer="Ilse"), {"observer": "Oskar"}
    assert second(ilse)
    assert not second(ilse, observer="")
    assert not second(ilse, observer="Mette")
    # Two empty names are no name of who made it.
    nameless = [look("2024-08-15", purpose="recheck"), ilse]
    assert read(surveys=nameless, symptoms=[{**leaf, "observer": ""}]).second == set()
    # Fourteen days off, and fifteen.
    assert second(ilse, date="2024-08-29")
    assert not second(ilse, date="2024-08-30")
    # Oskar made an ordinary look as close by, then one a day farther off, then one of other vines.
    assert not second(look("2024-08-25", **oskar))
    assert second(look("2024-08-26", **oskar))
    assert second(look("2024-08-25", "1:3..4", **oskar))
    # On a day of a look that covers the vine it is a finding of that look, on one of other vines it is not.
    assert not second(look("2024-08-20", observer="Ilse"))
    assert second(look("2024-08-20", "1:3..4", observer="Ilse"))


def test_a_second_look_is_of_vines_as_walked():
    surveys = [look("2024-08-15", observer="Oskar"), look("2024-08-15", observer="Oskar", purpose="recheck")]
    unseen = finding(1, "2024-08-15", "not_seen", observer="Oskar")
    reading = read(surveys=surveys, symptoms=[unseen, finding(1, "2024-08-15", "none", observer="Oskar")])
    # Oskar's own look walked the vine, though he did not see it.
    assert (reading.second, reading.looked_at[2024]) == (set(), at(2, 3, 4))


# 3. Which vine is meant


def test_far_end():
    rows = [{"row": "1", "first": 3.0, "last": 9.0}]
    from_end = [look("2024-08-15", "1:3..5", counted_from="end")]
    leaf = finding(3, "2024-08-15", "leaf_stripe")
    reading = read(rows=rows, surveys=from_end, symptoms=[leaf])
    assert reading.looked_at[2024] == at(7, 8, 9)
    assert reading.seen[2024] == at(9)
    assert read(rows=rows, surveys=augusts(2024), symptoms=[{**leaf, "counted_from": "end"}]).seen[2024] == at(9)
    labelled = read(rows=rows, surveys=from_end, symptoms=[{**leaf, "counted_from": "start"}])
    assert (labelled.seen[2024], labelled.covered) == (set(), {"symptoms1": False})


def test_the_observers_own_survey_says_how_vines_are_counted():
    surveys = [look("2024-08-15", observer="Ilse", counted_from="end"), look("2024-08-15", observer="Oskar")]
    leaf = finding(1, "2024-08-15", "leaf_stripe")
    assert read(surveys=surveys, symptoms=[{**leaf, "observer": "Oskar"}]).seen[2024] == at(1)
    assert read(surveys=surveys, symptoms=[{**leaf, "observer": "Mette"}]).seen[2024] == at(4)
    # A day later no survey was going on: as labelled.
    assert read(surveys=surveys, symptoms=[{**leaf, "date": "2024-08-16"}]).seen[2024] == at(1)


def test_a_second_look_from_the_far_end_counts_so_for_its_findings():
    surveys = [
        look("2024-08-15", "1:1..2", observer="Ilse"),
        look("2024-08-15", "1:1..2", observer="Oskar", purpose="recheck", counted_from="end"),
    ]
    reading = read(surveys=surveys, symptoms=[finding(1, "2024-08-15", "dead", observer="Oskar")])
    # It is position 4, which only the second look covers; a vine found dead is dead, whoever found it.
    assert reading.second == {"symptoms1"}
    assert conditions(reading, 2024) == ["sound", "sound", "not seen", "dead"]


def test_living_vines_are_counted_from_one():
    living = look("2024-08-15", "1:1..3", counting="living_vines")
    plants = [{"row": "1", "position": "2", "reason": "missing"}]
    symptoms = [finding(4, "2023-08-15", "dead"), finding(3, "2024-08-15", "leaf_stripe")]
    reading = read(vines=6, plants=plants, surveys=[*augusts(2023), living], symptoms=symptoms)
    # Living are 1, 3, 5, 6: the third is 5.
    assert reading.looked_at[2024] == at(1, 3, 5)
    assert reading.seen[2024] == at(5)
    # Found dead at a second look it does not count either.
    blind = [look("2023-08-15", observer="Oskar", purpose="recheck"), living]
    told = [{**symptoms[0], "observer": "Oskar"}, symptoms[1]]
    second = read(vines=6, plants=plants, surveys=blind, symptoms=told)
    assert (second.second, second.looked_at[2024]) == ({"symptoms1"}, at(1, 3, 5))
    # Found dead on the same day, 4 still counts.
    same_day = [finding(4, "2024-08-15", "dead", counted_from="start"), symptoms[1]]
    assert read(vines=6, plants=plants, surveys=[living], symptoms=same_day).looked_at[2024] == at(1, 3, 4)


def test_renamed_rows():
    rows = [
        {"row": "1", "row_order": 1.0, "last": 3.0, "valid_to": "2023-12-31"},
        {"row": "2", "row_order": 2.0, "last": 3.0, "valid_to": "2023-12-31"},
        {"row": "2", "row_order": 1.0, "last": 3.0, "valid_from": "2024-01-01"},
        {"row": "1", "row_order": 2.0, "last": 3.0, "valid_from": "2024-01-01"},
    ]
    surveys = [look("2023-08-15", "1"), look("2024-08-15", "1")]
    symptoms = [finding(2, "2023-08-15", "leaf_stripe"), finding(3, "2024-08-15", "leaf_stripe")]
    reading = read(
        rows=rows, surveys=surveys, symptoms=symptoms, plants=[{"row": "1", "position": "1", "reason": "missing"}]
    )
    assert reading.looked_at == {2023: at(1, 2, 3, row="2"), 2024: at(1, 2, 3, row="1")}
    assert reading.seen == {2023: at(2, row="2"), 2024: at(3, row="1")}
    assert conditions(reading, 2023, "1") == ["missing", "not seen", "not seen"]


def test_living_vines_are_counted_as_of_the_first_day():
    living = look("2024-08-10", until="2024-08-20", counting="living_vines")
    symptoms = [
        finding(1, "2024-08-11", "dead"),
        finding(2, "2024-08-15", "leaf_stripe"),
        finding(3, "2024-08-15", "leaf_stripe", counted_from="start"),
    ]
    plants = [{"row": "1", "position": "2", "removed": "2024-08-12"}]
    reading = read(surveys=[living], symptoms=symptoms, plants=plants)
    # On the 15th 1 was found dead and 2 was pulled; counted is as on the 10th, so the second is 2, where none stands.
    assert reading.seen[2024] == at(3)
    assert conditions(reading, 2024) == ["dead", "missing", "showing", "sound"]


def test_the_day_of_a_line_of_plants():
    rows = [
        {"row": "old", "row_order": 1.0, "last": 2.0, "valid_to": "2023-06-30"},
        {"row": "1", "row_order": 1.0, "last": 2.0, "valid_from": "2023-07-01"},
    ]

    def words(row, **line):
        reading = read(rows=rows, plants=[{"row": row, "position": "1", **line}], surveys=augusts(2024))
        return conditions(reading, 2024)

    none, missing, young = ["sound", "sound"], ["missing", "sound"], ["young", "sound"]
    # By the removal, whatever the planting; a bare year is its 1 July.
    assert (words("1", removed="2023"), words("old", removed="2023")) == (missing, none)
    both = {"planted": "2022-03-01", "removed": "2024-01-01"}
    assert (words("1", **both), words("old", **both)) == (missing, none)
    # Else by the planting.
    assert (words("1", planted="2023"), words("old", planted="2023")) == (young, none)
    assert (words("1", planted="2022"), words("old", planted="2022")) == (young, young)  # no row was called 1 then
    # Without a day by the label of today.
    assert (words("1", reason="missing"), words("old", reason="missing")) == (missing, none)


def test_a_label_that_no_row_bore_then_means_the_row_of_today():
    rows = [
        {"row": "old", "row_order": 1.0, "last": 3.0, "valid_to": "2023-12-31"},
        {"row": "1", "row_order": 1.0, "last": 3.0, "valid_from": "2024-01-01"},
    ]
    reading = read(rows=rows, symptoms=[finding(1, "2023-08-15", "dead"), finding(9, "2024-08-15", "dead")])
    assert (reading.covered, reading.seasons) == ({"symptoms1": False}, (2023, 2024))


def test_bay_and_vine():
    rows = [{"row": "1", "first": 2.0, "last": 9.0, "bay_ends": "4; 8"}]
    in_bay = {"row": "1", "bay": "2", "vine": 2.0, "date": "2024-08-15", "symptom": "leaf_stripe"}
    from_end = augusts(2024, counted_from="end")
    assert read(rows=rows, surveys=from_end, symptoms=[in_bay]).seen[2024] == at(6)
    every = [{**rows[0], "bay_ends": "every 3"}]
    assert read(rows=every, surveys=from_end, symptoms=[in_bay]).seen[2024] == at(6)
    assert read(rows=every, surveys=from_end, symptoms=[{**in_bay, "vine": 4.0}]).covered == {}


def test_what_was_walked():
    rows = [{"row": label, "row_order": order, "last": 9.0} for label, order in (("5", 2.0), ("9", 1.0), ("7", 3.0))]
    reading = read(rows=rows, surveys=[look("2024-08-15", "9..5; 7:2..9/3")])
    whole_rows = {(label, position) for label in ("9", "5") for position in range(1, 10)}
    assert reading.looked_at[2024] == whole_rows | at(2, 5, 8, row="7")


# 4. Which plant is meant


def plants_of(*lines, work=(), south=False):
    about = {"hemisphere": "south" if south else "north"}
    block = placed.Block(
        tables(vines=1, plants=[{"row": "1", "position": "1", **line} for line in lines], work=work, **about), "A", None
    )
    return [(str(plant.start), str(plant.end)) for plant in block.plants["1", 1]]


def test_bare_years():
    ever, never = str(date.min), str(date.max)
    assert plants_of() == [(ever, never)]
    assert plants_of({"reason": "missing"}) == []
    assert plants_of({"reason": "missing"}, {"planted": "2010"}) == [("2009-11-01", never)]
    assert plants_of({"reason": "missing"}, {"planted": "2010"}, south=True) == [("2009-05-01", never)]
    assert plants_of({"planted": "2000", "removed": "2010"}) == [(ever, "2010-12-31")]
    assert plants_of({"planted": "2001"}) == [(ever, "2000-10-31"), ("2000-11-01", never)]


def test_a_removal_and_a_planting_of_one_year_are_a_replacement():
    ever, never = str(date.min), str(date.max)
    pulled = {"removed": "2010"}
    assert plants_of(pulled, {"planted": "2010"}) == [(ever, "2009-10-31"), ("2009-11-01", never)]
    assert plants_of({"planted": "2010"}, pulled) == [(ever, "2009-10-31"), ("2009-11-01", never)]
    assert plants_of(pulled, {"planted": "2010-04-01"}) == [(ever, "2010-03-31"), ("2010-04-01", never)]
    # The season 2011 begins in the year 2010; the season 2010 in the year 2009.
    assert plants_of(pulled, {"planted": "2011"}) == [(ever, "2010-10-31"), ("2010-11-01", never)]
    replanted = done(1, "2009-12-01", "replant")
    assert plants_of(pulled, work=[replanted]) == [(ever, "2009-11-30"), ("2009-12-01", never)]
    assert plants_of(pulled, work=[{**replanted, "status": "planned"}]) == [(ever, "2010-12-31")]
    # Neither in that year nor in that season.
    assert plants_of(pulled, {"planted": "2011-02-01"}) == [(ever, "2010-12-31"), ("2011-02-01", never)]
    # Of several plantings the first.
    several = plants_of(pulled, {"planted": "2010-12-01"}, {"planted": "2010-03-10"})
    assert several == [(ever, "2010-03-09"), ("2010-03-10", "2010-11-30"), ("2010-12-01", never)]


def test_a_removal_of_a_bare_year_is_after_its_own_planting():
    ever, never = str(date.min), str(date.max)
    own = {"planted": "2010", "removed": "2010"}
    assert plants_of(own) == [(ever, "2009-10-31"), ("2009-11-01", "2010-12-31")]
    assert plants_of(own, {"planted": "2010"}) == [(ever, "2009-10-31"), ("2009-11-01", "2010-12-31")]
    next_one = done(1, "2010-12-05", "replant")
    assert plants_of(own, work=[next_one]) == [
        (ever, "2009-10-31"),
        ("2009-11-01", "2010-12-04"),
        ("2010-12-05", never),
    ]
    # An earlier planting of the same year is no reason to pull before the own one.
    earlier = plants_of({"planted": "2010-05-01", "removed": "2010"}, {"planted": "2010-03-01"})
    assert earlier == [(ever, "2010-02-28"), ("2010-03-01", "2010-12-31")]


def test_a_replacement_in_the_south():
    ever, never = str(date.min), str(date.max)
    pulled = {"removed": "2010"}
    assert plants_of(pulled, {"planted": "2010"}, south=True) == [(ever, "2009-04-30"), ("2009-05-01", never)]
    assert plants_of(pulled, {"planted": "2011"}, south=True) == [(ever, "2010-04-30"), ("2010-05-01", never)]
    assert plants_of(pulled, south=True) == [(ever, "2010-12-31")]


def test_what_is_the_first_plant():
    ever, never = str(date.min), str(date.max)
    # The block is of 2000: of a day the calendar year counts, not the season.
    assert plants_of({"planted": "2000-11-20"}) == [(ever, never)]
    assert plants_of({"planted": "2001-01-10"}) == [(ever, "2001-01-09"), ("2001-01-10", never)]
    # What is no planting of another plant does not say when the vine was pulled in its year.
    assert plants_of({"removed": "2000"}, {"planted": "2000-05-01"}) == [(ever, "2000-12-31")]
    unknown = placed.Block(
        tables(vines=1, planted=None, plants=[{"row": "1", "position": "1", "planted": "1990"}]), "A", None
    )
    assert [plant.first for plant in unknown.plants["1", 1]] == [True, False]


def test_work_removes_and_replants():
    ever, never = str(date.min), str(date.max)
    pulled, planted = done(1, "2020-02-01", "remove"), done(1, "2020-04-01", "replant", status="done")
    assert plants_of(work=[pulled, planted]) == [(ever, "2020-02-01"), ("2020-04-01", never)]
    assert plants_of(work=[planted]) == [(ever, "2020-03-31"), ("2020-04-01", never)]
    assert plants_of(work=[{**planted, "status": "planned"}]) == [(ever, never)]
    # The line says again in which season it was planted.
    assert plants_of({"planted": "2020-05-05"}, work=[pulled, planted]) == [(ever, "2020-02-01"), ("2020-04-01", never)]


def test_removed_and_replanted_on_one_day():
    ever, never = str(date.min), str(date.max)
    one_day = [{"removed": "2020-03-03"}, {"planted": "2020-03-03"}]
    assert plants_of(*one_day) == [(ever, "2020-03-02"), ("2020-03-03", never)]


def test_a_finding_where_no_plant_stands_enters_nothing():
    pulled = [{"row": "1", "position": "1", "removed": "2024-08-14"}]
    leaf = [dead_arm(1, "2024-08-15")]
    reading = read(plants=pulled, surveys=augusts(2024), symptoms=leaf)
    assert (reading.seen[2024], reading.damages) == (set(), {})
    on_the_day = [{**pulled[0], "removed": "2024-08-15"}]
    assert read(plants=on_the_day, surveys=augusts(2024), symptoms=leaf).seen[2024] == at(1)


# 5 and 7. Parts and what is cut


@pytest.mark.parametrize(
    ("symptom", "part", "kind", "of_work", "is_cut"),
    [
        ("dead_arm", {"arm": "start"}, "renew_arm", {"arm": "start"}, True),
        ("dead_arm", {"arm": "start"}, "renew_arm", {"arm": "end"}, False),
        ("dead_arm", {"arm": "start"}, "renew_arm", {}, True),
        ("dead_arm", {}, "renew_arm", {"arm": "end"}, True),
        ("dead_arm", {"arm": "start", "trunk": 1.0}, "renew_arm", {"arm": "start", "trunk": 2.0}, False),
        ("dead_spurs", {"arm": "end"}, "renew_arm", {"arm": "end"}, True),
        ("canker", {"arm": "end"}, "renew_arm", {"arm": "end"}, True),
        ("canker", {"arm": "head"}, "renew_arm", {"arm": "head"}, True),
        ("canker", {"arm": "head"}, "renew_arm", {"arm": "start"}, False),
        ("canker", {}, "renew_arm", {}, True),
        ("canker", {}, "renew_arm", {"arm": "start"}, True),
        ("canker", {"trunk": 1.0}, "renew_arm", {"arm": "start", "trunk": 1.0}, True),
        ("canker", {"trunk": 1.0}, "renew_arm", {"arm": "start", "trunk": 2.0}, False),
        ("canker", {}, "renew_trunk", {"trunk": 1.0}, True),
        ("dead_trunk", {}, "renew_arm", {}, False),
        ("dead_trunk", {"trunk": 1.0}, "renew_trunk", {"trunk": 1.0}, True),
        ("dead_trunk", {"trunk": 1.0}, "renew_trunk", {"trunk": 2.0}, False),
        ("dead_trunk", {"trunk": 1.0}, "cut_old_trunk", {}, True),
        ("dead_arm", {"arm": "end"}, "regraft", {"trunk": 2.0}, True),
        ("dead_arm", {"arm": "end"}, "curettage", {}, False),
    ],
)
def test_what_work_takes(symptom, part, kind, of_work, is_cut):
    reading = read(symptoms=[finding(1, "2024-01-15", symptom, **part)], work=[done(1, "2024-02-01", kind, **of_work)])
    assert ends(reading, 1) == [("cut", "2024-02-01") if is_cut else ("", "")]


def test_work_takes_what_was_found_by_its_day():
    day = "2024-02-01"
    assert ends(read(symptoms=[dead_arm(1, day)], work=[done(1, day, "renew_arm")]), 1) == [("cut", day)]
    assert ends(read(symptoms=[dead_arm(1, "2024-02-02")], work=[done(1, day, "renew_arm")]), 1) == [("", "")]
    planned = done(1, day, "renew_arm", status="planned")
    assert ends(read(symptoms=[dead_arm(1, day)], work=[planned]), 1) == [("", "")]


def test_gone_with_the_plant():
    pulled = [{"row": "1", "position": "1", "removed": "2024-03-01"}]
    reading = read(plants=pulled, symptoms=[dead_arm(1, "2024-01-15")])
    assert ends(reading, 1) == [("gone", "2024-03-01")]
    first = read(plants=pulled, symptoms=[dead_arm(1, "2024-01-15")], work=[done(1, "2024-02-01", "renew_trunk")])
    assert ends(first, 1) == [("cut", "2024-02-01")]
    # Ended by a planting the plant stood till the eve.
    replanted = read(symptoms=[dead_arm(1, "2024-01-15")], work=[done(1, "2024-04-01", "replant")])
    assert ends(replanted, 1) == [("gone", "2024-03-31")]


def test_damage_stands_on_the_last_day_of_its_plant():
    pulled = [{"row": "1", "position": "1", "removed": "2024-01-15"}]
    reading = read(plants=pulled, surveys=januaries(2023, 2024), symptoms=[dead_arm(1, "2023-01-15")])
    assert ends(reading, 1) == [("gone", "2024-01-15")]
    assert (reading.carried[2024], conditions(reading, 2024)[0]) == (at(1), "showing")


# 6. What belongs to which look


def test_casual_by_day_and_kind():
    def covered(day, **more):
        surveys = [look("2024-08-10", "1:1..2", until="2024-08-12", **more)]
        return read(surveys=surveys, symptoms=[finding(1, day, "leaf_stripe")]).covered["symptoms1"]

    assert covered("2024-08-12")
    assert covered("2024-08-26")
    assert not covered("2024-08-27")
    assert covered("2024-07-27")
    assert not covered("2024-07-26")
    # A spring look does not take a finding of a summer day that lies off it, but one on its own days.
    assert not covered("2024-08-13", look="spring")
    assert covered("2024-08-11", look="spring")


def test_a_look_covers_findings_of_its_own_season():
    surveys = [look("2024-10-25", until="2024-11-05")]
    reading = read(
        surveys=surveys, symptoms=[finding(1, "2024-11-02", "leaf_stripe"), finding(2, "2024-10-31", "leaf_stripe")]
    )
    assert reading.covered == {"symptoms1": False, "symptoms2": True}


def test_a_casual_finding_makes_no_case():
    reading = read(surveys=augusts(2024), symptoms=[finding(1, "2024-07-05", "leaf_stripe")])
    assert conditions(reading, 2024)[0] == "sound"
    assert reading.covered == {"symptoms1": False}


def test_not_seen_takes_the_vine_out_of_what_is_going_on():
    surveys = [look("2024-08-10", until="2024-08-20"), look("2024-09-10")]
    unseen = finding(1, "2024-08-15", "not_seen")
    reading = read(surveys=surveys[:1], symptoms=[unseen, finding(1, "2024-08-12", "leaf_stripe")])
    assert reading.looked_at[2024] == at(2, 3, 4)
    assert reading.covered == {"symptoms1": True, "symptoms2": False}
    assert read(surveys=surveys, symptoms=[unseen]).looked_at[2024] == at(1, 2, 3, 4)


# 7. Contradicted, two people


def test_a_none_contradicts_damage():
    symptoms = [dead_arm(1, "2023-01-15"), finding(1, "2024-01-15", "none")]
    reading = read(surveys=januaries(2023, 2024, 2025), symptoms=symptoms)
    assert ends(reading, 1) == [("contradicted", "2024-01-15")]
    assert [conditions(reading, season)[0] for season in (2023, 2024, 2025)] == ["showing", "hidden", "hidden"]
    assert reading.carried == {2023: set(), 2024: set(), 2025: set()}
    casual = [symptoms[0], finding(1, "2024-06-15", "none")]
    assert ends(read(surveys=januaries(2023), symptoms=casual), 1) == [("contradicted", "2024-06-15")]
    same_day = [symptoms[0], finding(1, "2023-01-15", "none")]
    assert ends(read(surveys=januaries(2023), symptoms=same_day), 1) == [("", "")]


def test_a_summer_none_says_nothing_of_winter_damage():
    none = finding(1, "2024-08-15", "none")
    surveys = [*januaries(2023), *augusts(2023, 2024)]
    assert ends(read(surveys=surveys, symptoms=[dead_arm(1, "2023-01-15"), none]), 1) == [("", "")]
    # Found in summer it can be seen in summer.
    assert ends(read(surveys=surveys, symptoms=[dead_arm(1, "2023-08-15"), none]), 1) == [
        ("contradicted", "2024-08-15")
    ]


def test_a_none_of_a_look_for_something_else_says_nothing():
    def end(purpose):
        surveys = [*januaries(2023), look("2024-01-15", purpose=purpose)]
        symptoms = [finding(1, "2023-01-15", "canker"), finding(1, "2024-01-15", "none")]
        return ends(read(surveys=surveys, symptoms=symptoms), 1)[0][0]

    assert [
        end(purpose) for purpose in ("", "all", "leaf_stripe", "dead_trunk", "canker", "leaf_stripe; dead_arm")
    ] == [
        "contradicted",
        "contradicted",
        "",
        "",
        "contradicted",
        "contradicted",
    ]


def test_two_people_at_one_look_disagree():
    surveys = [*januaries(2023), look("2024-01-10", until="2024-01-20")]
    symptoms = [
        dead_arm(1, "2023-01-15"),
        finding(1, "2024-01-12", "none", observer="Ilse"),
        dead_arm(1, "2024-01-18", observer="Oskar"),
    ]
    reading = read(surveys=surveys, symptoms=symptoms)
    assert ends(reading, 1) == [("", ""), ("", "")]
    # Of another arm it is no mention; without an arm it is.
    other = read(surveys=surveys, symptoms=[*symptoms[:2], dead_arm(1, "2024-01-18", arm="end")])
    assert ends(other, 1) == [("contradicted", "2024-01-12"), ("", "")]
    unsaid = read(surveys=surveys, symptoms=[*symptoms[:2], dead_arm(1, "2024-01-18", arm="")])
    assert ends(unsaid, 1) == [("", ""), ("", "")]
    assert [str(damage.last_seen) for damage in unsaid.damages["1", 1]] == ["2024-01-18", "2024-01-18"]


def test_canker_without_an_arm_may_be_that_of_any_arm():
    def read_canker(first, second):
        symptoms = [
            finding(1, "2023-01-15", "canker", **first),
            finding(1, "2024-01-15", "canker", **second),
            finding(1, "2024-01-15", "none"),
        ]
        reading = read(surveys=januaries(2023, 2024), symptoms=symptoms)
        return ends(reading, 1)[0][0], str(reading.damages["1", 1][0].last_seen)

    start, head = {"arm": "start"}, {"arm": "head"}
    assert read_canker(start, {}) == read_canker({}, start) == read_canker(head, {}) == ("", "2024-01-15")
    assert read_canker(head, head) == ("", "2024-01-15")
    # The head is an arm as any other.
    assert read_canker(head, start) == read_canker(start, head) == ("contradicted", "2023-01-15")
    assert read_canker({"trunk": 1.0}, {"trunk": 2.0, **start}) == ("contradicted", "2023-01-15")
    assert read_canker({"trunk": 1.0}, start) == ("", "2024-01-15")


def test_a_none_of_another_trunk_contradicts_nothing():
    def end(**none):
        symptoms = [finding(1, "2023-01-15", "dead_trunk", trunk=1.0), finding(1, "2024-01-15", "none", **none)]
        return ends(read(surveys=januaries(2023, 2024), symptoms=symptoms), 1)[0][0]

    assert (end(trunk=2.0), end(trunk=1.0), end()) == ("", "contradicted", "contradicted")


def test_a_look_mentions_what_was_found_on_its_days():
    surveys = [*januaries(2023), look("2024-01-10", until="2024-01-15"), look("2024-01-14", until="2024-01-18")]

    def end(day):
        symptoms = [dead_arm(1, "2023-01-15"), finding(1, "2024-01-17", "none"), dead_arm(1, day)]
        return ends(read(surveys=surveys, symptoms=symptoms), 1)[0][0]

    # The first look covers both days, but the 14th is a day of the second look as well, at which none was written.
    assert (end("2024-01-14"), end("2024-01-13")) == ("", "contradicted")


# 8. What silence says


@pytest.mark.parametrize(
    ("mentioned", "looks", "k"),
    [
        (3, 3, 2),  # 1 - 3.5/4 = 0.125, squared 0.016
        (4, 5, 3),  # 1 - 4.5/6 = 0.25: 0.0625, 0.0156
        (2, 4, 5),  # 1 - 2.5/5 = 0.5: 0.0625 at four
        (0, 3, 23),  # 1 - 0.5/4 = 0.875: 0.053 at 22, 0.046 at 23
    ],
)
def test_how_many_silent_looks_count(mentioned, looks, k):
    assert silent_looks(mentioned, looks) == k


def test_unmentioned_where_damage_is_written_again():
    # P1 is written every January; at the look of 2024 its looks between are 2021, 2022, 2023: 3 of 3, and P2 has 1 of 1
    # (2021, between 2020 and 2022): k = 2. P2 is silent in 2023 and 2024.
    symptoms = [dead_arm(1, f"{year}-01-15") for year in YEARS] + [
        dead_arm(2, f"{year}-01-15") for year in (2020, 2021, 2022)
    ]
    reading = read(surveys=januaries(*YEARS), symptoms=symptoms, definition="dieback")
    assert ends(reading, 2) == [("unmentioned", "2024-01-15")] * 3
    assert ends(reading, 1) == [("", "")] * 7
    assert [reading.carried[year] for year in YEARS] == [set(), set(), set(), at(2), set(), set(), set()]
    assert conditions(reading, 2024)[:2] == ["showing", "hidden"]


def test_unmentioned_after_the_fewer_looks_the_more_is_written_again():
    # Ten vines, all found in 2020 and again in 2025, mentioned in some of 2021 to 2024; P11 is found in 2020 only, silent
    # since. Before 2025 nothing is known to stand on both sides of a look, unless it was mentioned later.
    def written(*years):
        return [dead_arm(p, f"{year}-01-15") for p in range(1, 11) for year in (2020, *years, 2025)]

    def end(*years):
        surveys, symptoms = januaries(*range(2020, 2033)), [*written(*years), dead_arm(11, "2020-01-15")]
        return ends(read(vines=11, surveys=surveys, symptoms=symptoms), 11)[0]

    # Written every year: at 2022 the look of 2021 is 10 of 10, p = 10.5 / 11, k = 2, and two looks were silent.
    assert end(2021, 2022, 2023, 2024) == ("unmentioned", "2022-01-15")
    # Written in 2023: at 2023 the looks of 2021, 2022 are 0 of 20: 1 - p = 20.5/21, k over 100. At 2025 10 of 40:
    # p = 10.5/41, k = 11 (0.7439^10 = 0.0519), and the eleventh silent look is that of 2031.
    assert end(2023) == ("unmentioned", "2031-01-15")
    # Never written between: at 2025 0 of 40, and no silence is long enough.
    assert end() == ("", "")


def test_damage_is_not_unmentioned_before_it_was_found():
    # P2 is found, passed over in 2023 and 2024, and found again: the first findings ended, the last stands.
    symptoms = [dead_arm(1, f"{year}-01-15") for year in YEARS]
    symptoms += [dead_arm(2, f"{year}-01-15") for year in (2020, 2021, 2022, 2025)]
    reading = read(surveys=januaries(*YEARS), symptoms=symptoms)
    assert ends(reading, 2) == [("unmentioned", "2024-01-15")] * 3 + [("", "")]
    assert [str(damage.last_seen) for damage in reading.damages["1", 2]] == ["2025-01-15"] * 4


def test_silence_never_counts_where_nothing_is_written_again():
    symptoms = [dead_arm(position, "2020-01-15") for position in (1, 2, 3)]
    reading = read(surveys=januaries(*YEARS), symptoms=symptoms)
    assert [ends(reading, position) for position in (1, 2, 3)] == [[("", "")]] * 3
    assert [reading.carried[year] for year in YEARS] == [set()] + [at(1, 2, 3)] * 6


def test_under_three_looks_nothing_is_learnt():
    # One damage, found in 2020 and written again in 2021 and 2022: one look between, then silence.
    reading = read(surveys=januaries(*YEARS), symptoms=[dead_arm(1, f"{year}-01-15") for year in (2020, 2021, 2022)])
    assert ends(reading, 1) == [("", "")] * 3


def test_a_look_that_does_not_cover_the_vine_is_not_silent():
    surveys = [look(f"{year}-01-15", "1" if year != 2023 else "1:1..1") for year in YEARS]
    symptoms = [dead_arm(1, f"{year}-01-15") for year in YEARS] + [
        dead_arm(2, f"{year}-01-15") for year in (2020, 2021, 2022)
    ]
    assert ends(read(surveys=surveys, symptoms=symptoms), 2)[0] == ("unmentioned", "2025-01-15")


def test_a_cut_between_parts_what_is_learnt():
    # P1 is cut in 2022 and found again in 2024: the look of 2023 lies between the two, but so does the cut.
    base = [dead_arm(1, "2020-01-15"), dead_arm(1, "2024-01-15"), dead_arm(2, "2024-01-15")]
    parts = {"surveys": januaries(*YEARS), "symptoms": base}
    uncut = placed.Block(tables(**parts), "A", None)
    cut = placed.Block(tables(**parts, work=[done(1, "2022-02-01", "renew_arm")]), "A", None)
    # Looks of 2021, 2022, 2023 between 2020 and 2024: 0 of 3.
    assert reference.Damages(uncut).silence == [None, None, None, None, 23, 23, 23]
    assert reference.Damages(cut).silence == [None] * 7
    # Found and cut on one day: that cut is not between.
    after = placed.Block(tables(**parts, work=[done(1, "2024-01-15", "renew_arm")]), "A", None)
    assert reference.Damages(after).silence[-1] == 23


def test_a_look_speaks_by_what_was_found_on_its_days():
    # Between 2020 and 2024 lie the looks of 2021, both of 2022 and that of 2023. The finding of the 14th is covered by
    # the first of 2022 and made on a day of the second: 2 of 4, k = 5. (With 1 of 4 it would be 9.)
    overlapping = [look("2022-01-10", until="2022-01-15"), look("2022-01-14", until="2022-01-18")]
    surveys = [*januaries(2020, 2021), *overlapping, *januaries(2023, 2024)]
    symptoms = [dead_arm(1, day) for day in ("2020-01-15", "2022-01-14", "2024-01-15")]
    learnt = reference.Damages(placed.Block(tables(surveys=surveys, symptoms=symptoms), "A", None))
    assert learnt.silence == [None, None, None, None, None, 5]


def test_a_look_is_learnt_from_when_a_finding_shows_that_the_damage_was_there():
    # P1 is found in 2020 and on 20 January 2024; three looks of January passed it over. The long look at P4 ends after
    # that finding, so what the three say is known at it, though they began after it.
    long_look = look("2024-01-01", "1:4", until="2024-01-31")
    short = [look(f"2024-01-{day}", "1:1") for day in ("05", "08", "12", "20")]
    symptoms = [dead_arm(1, "2020-01-15"), dead_arm(1, "2024-01-20")]
    parts = {"surveys": [*januaries(2020), long_look, *short], "symptoms": symptoms}
    assert reference.Damages(placed.Block(tables(**parts), "A", None)).silence == [None, 23, None, None, None, 23]


def test_what_was_known_of_a_look_stays_known():
    # The finding of 6 February shows that P1 was dead at the three looks before it: 0 of 3, k = 23. That of the 12th is
    # covered by the first of the three, which spoke then: 1 of 3, k = 7 (0.625^6 = 0.060, 0.625^7 = 0.037).
    surveys = [*januaries(2020), *(look(f"2024-{day}") for day in ("02-01", "02-02", "02-03", "02-06", "03-15"))]
    symptoms = [dead_arm(1, day) for day in ("2020-01-15", "2024-02-06", "2024-02-12")]
    learnt = reference.Damages(placed.Block(tables(surveys=surveys, symptoms=symptoms), "A", None))
    assert learnt.silence == [None, None, None, None, 23, 7]


def test_a_cut_on_the_day_of_the_first_finding_starts_a_new_damage():
    symptoms = [dead_arm(1, "2020-01-15"), dead_arm(1, "2024-01-15")]
    parts = {"surveys": januaries(*YEARS), "symptoms": symptoms}

    def learnt(day):
        work = [done(1, day, "renew_arm")]
        return reference.Damages(placed.Block(tables(**parts, work=work), "A", None)).silence[-1]

    assert (learnt("2020-01-15"), learnt("2024-01-14"), learnt("2024-01-15")) == (None, None, 23)


# 9. Cases


def test_carried_and_seen_apart():
    symptoms = [dead_arm(1, "2023-01-15"), dead_arm(2, "2023-01-15"), dead_arm(2, "2024-01-15", arm="end")]
    reading = read(surveys=[*januaries(2023, 2024), *augusts(2023, 2024)], symptoms=symptoms)
    assert (reading.seen[2023], reading.carried[2023]) == (at(1, 2), set())
    assert (reading.seen[2024], reading.carried[2024]) == (at(2), at(1))
    assert reading.rates[2024, "annual"] == (2, 4)
    leaf = read(definition="leaf", surveys=[*januaries(2023, 2024), *augusts(2023, 2024)], symptoms=symptoms)
    assert leaf.carried == {2023: set(), 2024: set()}


def test_leaf_symptoms_are_not_carried():
    reading = read(surveys=augusts(2023, 2024), symptoms=[finding(1, "2023-08-15", "leaf_stripe")])
    assert (reading.carried[2024], conditions(reading, 2024)[0]) == (set(), "hidden")


def test_a_dead_vine_and_one_not_looked_at_may_be_seen():
    # Sought were dead arms only, and not in summer: nothing counts as looked at, but both were covered.
    symptoms = [
        finding(1, "2024-08-15", "leaf_stripe"),
        finding(2, "2024-08-15", "collapse"),
        finding(2, "2024-08-15", "dead"),
    ]
    reading = read(surveys=augusts(2024, purpose="canker"), symptoms=symptoms)
    assert (reading.seen[2024], reading.looked_at[2024], reading.counted) == (at(1, 2), set(), set())
    assert conditions(reading, 2024) == ["not seen", "dead", "not seen", "not seen"]


def test_a_dead_arm_in_a_record_of_summers_only():
    symptoms = [dead_arm(1, "2023-08-15")]
    reading = read(surveys=augusts(2023, 2024), symptoms=symptoms)
    assert (reading.seen[2023], reading.carried[2024]) == (at(1), at(1))
    assert [conditions(reading, year)[0] for year in (2023, 2024)] == ["showing", "showing"]
    dieback = read(definition="dieback", surveys=augusts(2023, 2024), symptoms=symptoms)
    assert (dieback.counted, dieback.seen[2023], dieback.carried[2024]) == (set(), set(), set())
    # A winter look carries it, from then on it is a case.
    winter = read(definition="dieback", surveys=[*augusts(2023), *januaries(2024, 2025)], symptoms=symptoms)
    assert (winter.carried[2023], winter.carried[2024], winter.carried[2025]) == (set(), at(1), at(1))


def test_a_winter_dead_arm_is_not_carried_into_a_summer_look():
    reading = read(surveys=[*januaries(2023), *augusts(2024)], symptoms=[dead_arm(1, "2023-01-15")])
    assert (reading.carried[2024], conditions(reading, 2024)[0]) == (set(), "hidden")


def test_casual_damage_counts_from_the_first_look_into_which_it_is_carried():
    surveys = [*januaries(2023), *augusts(2023), *januaries(2024, 2025)]
    reading = read(surveys=surveys, symptoms=[dead_arm(1, "2023-05-20")], definition="dieback")
    assert reading.covered == {"symptoms1": False}
    assert [conditions(reading, year)[0] for year in (2023, 2024, 2025)] == ["sound", "showing", "showing"]
    assert [reading.rates[year, "ever"] for year in (2023, 2024, 2025)] == [(0, 4), (1, 4), (1, 4)]
    assert [reading.rates[year, "new"] for year in (2023, 2024, 2025)] == [None, (1, 4), (0, 3)]
    # Cut before any look: never a case.
    cut = read(surveys=surveys, symptoms=[dead_arm(1, "2023-05-20")], work=[done(1, "2023-12-20", "renew_arm")])
    assert [conditions(cut, year)[0] for year in (2023, 2024)] == ["sound", "renewed"]
    # The cut on the day of the look itself still shows.
    on_the_day = read(surveys=surveys, symptoms=[dead_arm(1, "2023-05-20")], work=[done(1, "2024-01-15", "renew_arm")])
    assert on_the_day.carried == {2023: set(), 2024: at(1), 2025: set()}


@pytest.mark.parametrize(
    ("share", "case"),
    [
        ({}, True),
        ({"dead": 1.0, "total": 10.0}, True),
        ({"dead": 1.0, "total": 11.0}, False),
        ({"percent": 10.0}, True),
        ({"percent": 9.0}, False),
        ({"dead": 3.0}, True),
    ],
)
def test_dead_spurs_from_a_tenth_of_the_positions(share, case):
    reading = read(surveys=januaries(2024, 2025), symptoms=[finding(1, "2024-01-15", "dead_spurs", **share)])
    assert (reading.seen[2024], reading.carried[2025]) == ((at(1), at(1)) if case else (set(), set()))
    assert len(reading.damages["1", 1]) == 1


@pytest.mark.parametrize(
    ("symptom", "leaf", "dieback", "either"),
    [
        ("leaf_stripe", True, False, True),
        ("collapse", True, False, True),
        ("stunted_shoots", False, True, True),
        ("dead_trunk", False, True, True),
        ("berry_spots", False, False, False),
    ],
)
def test_cases_of_the_definitions(symptom, leaf, dieback, either):
    surveys = [look("2024-01-15"), look("2024-08-15")]
    symptoms = [finding(1, "2024-08-15" if leaf else "2024-01-15", symptom)]
    seen = [read(name, surveys=surveys, symptoms=symptoms).seen[2024] for name in ("leaf", "dieback", "any")]
    assert seen == [at(1) if case else set() for case in (leaf, dieback, either)]


def test_stunted_shoots_do_not_last():
    reading = read(surveys=januaries(2023, 2024), symptoms=[finding(1, "2023-01-15", "stunted_shoots")])
    assert (reading.damages, reading.carried[2024]) == ({}, set())
    assert conditions(reading, 2024)[0] == "hidden"


def test_without_winter():
    symptoms = [
        dead_arm(1, "2023-01-15", cause="winter_injury"),
        dead_arm(2, "2023-01-15", cause="both"),
        dead_arm(3, "2023-01-15"),
    ]
    parts = {"surveys": januaries(2023, 2024), "symptoms": symptoms}
    assert read(**parts).carried[2024] == at(1, 2, 3)
    left = read(without_winter=True, **parts)
    assert (left.seen[2023], left.carried[2024], len(left.damages)) == (at(2, 3), at(2, 3), 3)


def test_a_history_up_to_a_season_ends_with_it():
    parts = {
        "surveys": [*januaries(*YEARS), *augusts(2025)],
        "symptoms": [dead_arm(1, "2023-01-15"), dead_arm(1, "2024-01-15"), dead_arm(2, "2025-01-15")],
        "work": [done(1, "2025-02-01", "renew_arm")],
    }
    reading = read(through=2023, **parts)
    assert (reading.seasons, reading.compared) == ((2020, 2021, 2022, 2023), {2020, 2021, 2022, 2023})
    assert conditions(reading, 2023) == ["showing", "sound", "sound", "sound"]
    assert reading.covered == {"symptoms1": True}
    # Of what was found by then the later records speak.
    assert [str(damage.last_seen) for damage in reading.damages["1", 1]] == ["2024-01-15"]
    assert ends(reading, 1) == [("cut", "2025-02-01")]
    assert ends(reading, 2) == []


# 10. Looked at, counted, compared


def test_any_asks_for_each_class_that_took_place():
    surveys = [look("2024-01-15", "1:1..3"), look("2024-08-15", "1:2..4")]
    assert read(surveys=surveys).looked_at[2024] == at(2, 3)
    assert read("leaf", surveys=surveys).looked_at[2024] == at(2, 3, 4)
    assert read("dieback", surveys=surveys).looked_at[2024] == at(1, 2, 3)
    apart = [look("2024-01-15", "1:1..2"), look("2024-08-15", "1:3..4")]
    assert read(surveys=apart).counted == set()
    # A spring look is as bare as a winter look.
    assert read("dieback", surveys=[look("2024-01-15", "1:1..1"), look("2024-05-15", "1:3..3")]).looked_at[2024] == at(
        1, 3
    )


def test_a_look_for_other_symptoms_takes_no_part():
    def looked_at(purpose, day="2024-08-15"):
        return read(surveys=[look(day, purpose=purpose)]).looked_at[2024]

    assert looked_at("leaf_stripe; collapse") == looked_at("all") == at(1, 2, 3, 4)
    assert looked_at("collapse") == looked_at("dead_arm") == set()
    assert looked_at("dead_arm", "2024-01-15") == at(1, 2, 3, 4)
    assert looked_at("leaf_stripe", "2024-01-15") == set()


def test_compared_seasons():
    surveys = [*augusts(2021, 2022, 2024), *januaries(2021, 2023, 2024)]
    symptoms = [finding(1, "2022-08-15", "leaf_stripe"), finding(2, "2024-08-15", "leaf_stripe")]
    reading = read(surveys=surveys, symptoms=symptoms)
    assert reading.counted == {2021, 2022, 2023, 2024}
    assert reading.compared == {2021, 2024}
    assert [reading.rates[year, "ever"] for year in range(2021, 2025)] == [(0, 4), None, None, (2, 4)]
    # The case of 2022 was one, though 2022 is not compared.
    assert [reading.rates[year, "new"] for year in range(2021, 2025)] == [None, None, None, (1, 3)]
    assert reading.rates[2022, "annual"] == (1, 4)
    assert read(surveys=surveys, symptoms=symptoms, through=2022).compared == {2022}
    assert read("leaf", surveys=surveys, symptoms=symptoms).compared == {2021, 2022, 2024}
    # The cohort is that of the first compared season, 2022, not of 2021.
    partial = read(surveys=[*januaries(2021, covered="1:1..2"), *augusts(2022, 2023)])
    assert (partial.compared, partial.rates[2023, "ever"]) == ({2022, 2023}, (0, 4))


# 11. Conditions


def test_the_day_of_judgement():
    surveys = [look("2024-01-15"), look("2024-08-15", "1:1..2")]
    work = [done(position, "2024-03-01", "renew_arm") for position in (1, 4)]
    pulled = [{"row": "1", "position": str(position), "removed": "2024-05-01"} for position in (2, 3)]
    reading = read("dieback", surveys=surveys, work=work, plants=pulled)
    # The vines that August covers are judged in August, the others in January.
    assert conditions(reading, 2024) == ["renewed", "missing", "sound", "sound"]


def test_young_for_three_seasons():
    planted = [{"row": "1", "position": "1", "planted": "2021-04-01"}]
    reading = read(surveys=augusts(*YEARS), plants=planted, symptoms=[finding(1, "2022-08-15", "leaf_stripe")])
    words = [conditions(reading, year)[0] for year in YEARS]
    assert words == ["sound", "young", "young", "young", "hidden", "hidden", "hidden"]
    assert reading.seen[2022] == at(1)
    assert reading.rates[2022, "annual"] == (0, 3)
    # In a block planted less than three seasons before a replant is as old as the rest.
    new = read(surveys=augusts(*YEARS), plants=planted, planted=2019.0)
    assert [conditions(new, year)[0] for year in YEARS][:4] == ["sound", "sound", "young", "young"]
    new = read(surveys=augusts(*YEARS), plants=planted, planted=2018.0)
    assert [conditions(new, year)[0] for year in YEARS][:2] == ["sound", "young"]
    unknown = read(surveys=augusts(*YEARS), plants=planted, planted=None)
    assert [conditions(unknown, year)[0] for year in YEARS][:2] == ["sound", "young"]


def test_a_plant_of_the_season_of_the_block_is_no_replant():
    def words(day):
        reading = read(surveys=augusts(*YEARS), planted=2018.0, work=[done(1, day, "replant")])
        return [conditions(reading, year)[0] for year in YEARS][:3]

    # Replanted in the season in which the block was planted, and in the next.
    assert words("2018-05-01") == ["sound", "sound", "sound"]
    assert words("2019-05-01") == ["sound", "young", "sound"]


def test_hidden_where_a_case_is_left():
    # Of two arms one was renewed.
    symptoms = [dead_arm(1, "2023-01-15"), dead_arm(1, "2023-01-15", arm="end"), dead_arm(2, "2023-01-15")]
    work = [done(position, "2023-02-15", "renew_arm", arm="start") for position in (1, 2)]
    reading = read(surveys=[*januaries(2023), *augusts(2024)], symptoms=symptoms, work=work)
    assert conditions(reading, 2024) == ["hidden", "renewed", "sound", "sound"]
    assert reading.rates[2024, "standing"] == (1, 4)


def test_renewed_whatever_the_work_took():
    reading = read(surveys=augusts(2024), work=[done(1, "2023-02-01", "renew_arm"), done(2, "2023-02-01", "curettage")])
    assert conditions(reading, 2024) == ["renewed", "sound", "sound", "sound"]


def test_work_on_the_day_of_judgement_is_not_before_it():
    symptoms = [finding(1, "2023-08-15", "leaf_stripe")]
    reading = read(surveys=augusts(2023, 2024), symptoms=symptoms, work=[done(1, "2024-08-15", "renew_trunk")])
    assert conditions(reading, 2024)[0] == "hidden"


# 12. Rates


def test_the_cohort_keeps_its_dead_removed_and_renewed():
    symptoms = [
        *(finding(position, "2021-08-15", "leaf_stripe") for position in (1, 2, 3)),
        finding(1, "2022-08-15", "dead"),
        finding(2, "2023-08-15", "leaf_stripe"),
    ]
    plants = [
        {"row": "1", "position": "2", "removed": "2021-12-01"},
        {"row": "1", "position": "2", "planted": "2022-04-01"},
        {"row": "1", "position": "5", "reason": "missing"},
    ]
    work = [done(3, "2022-02-01", "renew_trunk")]
    parts = {"vines": 6, "symptoms": symptoms, "plants": plants, "work": work}
    reading = read(surveys=[look("2021-08-15", "1:1..5"), *augusts(2022, 2023)], **parts)
    # Four plants of 2021: 1 to 4. The case of the replant in 2023 adds none; 6 was not looked at then.
    assert [reading.rates[year, "ever"] for year in (2021, 2022, 2023)] == [(3, 4)] * 3
    assert conditions(reading, 2023) == ["dead", "young", "renewed", "sound", "missing", "sound"]
    assert [reading.rates[year, "deaths"] for year in (2021, 2022, 2023)] == [None, (1, 3), (0, 4)]


def test_deaths_of_pulled_plants():
    symptoms = [finding(1, "2024-01-15", "dead")]
    plants = [{"row": "1", "position": position, "removed": "2024-02-01"} for position in ("1", "2")]
    reading = read("leaf", surveys=[*augusts(2023), *januaries(2024), *augusts(2024)], symptoms=symptoms, plants=plants)
    # All four were alive in 2023; 1 was found dead and pulled, 2 was pulled alive and is in neither number.
    assert conditions(reading, 2024) == ["missing", "missing", "sound", "sound"]
    assert reading.rates[2024, "deaths"] == (1, 3)


def test_deaths_of_plants_pulled_as_dead():
    def deaths(reason, day="2024-02-01", **more):
        plants = [{"row": "1", "position": "2", "removed": day, "reason": reason}]
        rates = read("leaf", surveys=augusts(2023, 2024, 2025), plants=plants, **more).rates
        return [rates[year, "deaths"] for year in (2024, 2025)]

    assert [deaths(reason) for reason in ("dead", "collapse", "winter_injury")] == [[(1, 4), (0, 3)]] * 3
    assert [deaths(reason) for reason in ("", "replaced", "missing")] == [[(0, 3), (0, 3)]] * 3
    # On the day of its removal a plant still stands: it is a death of the season after.
    assert deaths("dead", "2024-08-15") == [(0, 4), (1, 4)]
    # Pulled and replaced in one year; the replant lives.
    replant = [done(2, "2024-04-01", "replant")]
    assert deaths("dead", "2024", work=replant) == [(1, 4), (0, 4)]
    # Pulled by work before: the line of the plants took nothing.
    assert deaths("dead", "2024-02-01", work=[done(2, "2024-01-20", "remove")]) == [(0, 3), (0, 3)]
    assert deaths("dead", "2024-02-01", work=[done(2, "2024-02-01", "remove")]) == [(1, 4), (0, 3)]


def test_deaths_are_told_from_the_last_counted_season_compared_or_not():
    surveys = [*augusts(2022), *januaries(2022), *augusts(2023), *augusts(2024), *januaries(2024)]
    plants = [{"row": "1", "position": "2", "removed": "2023-02-01", "reason": "dead"}]
    reading = read(surveys=surveys, plants=plants, symptoms=[finding(1, "2024-08-15", "dead")])
    assert (reading.counted, reading.compared) == ({2022, 2023, 2024}, {2022, 2024})
    assert [reading.rates[year, "deaths"] for year in (2022, 2023, 2024)] == [None, (1, 4), (1, 3)]


def test_relapse():
    symptoms = [finding(position, "2021-08-15", "leaf_stripe") for position in (1, 2, 3)]
    symptoms += [finding(1, "2023-08-15", "leaf_stripe"), finding(4, "2023-08-15", "leaf_stripe")]
    work = [done(position, "2022-02-01", "renew_trunk") for position in (1, 2, 4)]
    work += [done(3, "2022-02-01", "renew_arm")]
    reading = read(surveys=augusts(2021, 2022, 2023, 2024), symptoms=symptoms, work=work)
    # A case was cut from 1 and 2; no case was cut from 4, and the new arm of 3 took none.
    assert [reading.rates[year, "relapse"] for year in range(2021, 2025)] == [None, (0, 2), (1, 2), (0, 1)]


def test_a_case_of_the_day_of_the_cut_is_no_relapse():
    # The leaves were striped on the day of the cut, which took them with the trunk.
    symptoms = [finding(1, f"{year}-08-15", "leaf_stripe") for year in (2021, 2022)]
    surveys = [look("2021-08-15"), look("2022-08-15", until="2022-08-16"), look("2023-08-15")]
    reading = read(surveys=surveys, symptoms=symptoms, work=[done(1, "2022-08-15", "renew_trunk")])
    assert [reading.rates[year, "relapse"] for year in (2021, 2022, 2023)] == [None, (0, 1), (0, 1)]


def test_what_is_only_carried_is_no_relapse():
    # Cut in 2022; a casual dead arm of May 2022 is carried from 2023 on.
    symptoms = [dead_arm(1, "2021-01-15"), dead_arm(1, "2022-05-20"), dead_arm(2, "2021-01-15")]
    work = [done(position, "2022-02-01", "renew_trunk") for position in (1, 2)]
    reading = read("dieback", surveys=januaries(2021, 2022, 2023, 2024), symptoms=symptoms, work=work)
    assert [reading.carried[year] for year in (2022, 2023, 2024)] == [at(1, 2), at(1), at(1)]
    assert [reading.rates[year, "relapse"] for year in range(2021, 2025)] == [None, None, (0, 2), (0, 2)]


def test_work_takes_a_case_for_the_first_time():
    # The work of 2023 is on trunk 2: it takes the case of 2021, of no trunk, a second time, and not that of trunk 1.
    symptoms = [
        finding(1, "2021-08-15", "leaf_stripe"),
        *(finding(1, f"{year}-08-15", "leaf_stripe", trunk=1.0) for year in (2022, 2024)),
    ]
    work = [done(1, "2022-02-01", "renew_trunk"), done(1, "2023-02-01", "renew_trunk", trunk=2.0)]
    surveys = augusts(2021, 2022, 2023, 2024)
    rates = read(surveys=surveys, symptoms=symptoms, work=work).rates
    assert [rates[year, "relapse"] for year in range(2021, 2025)] == [None, (1, 1), None, None]
    # On both trunks it takes that of 2022 for the first time, and the vine is at risk anew.
    both = read(surveys=surveys, symptoms=symptoms, work=[work[0], done(1, "2023-02-01", "renew_trunk")]).rates
    assert [both[year, "relapse"] for year in range(2021, 2025)] == [None, (1, 1), (0, 1), (1, 1)]


def test_a_relapse_is_seen_up_to_the_day_of_judgement():
    # Covered by the look of August, found five days after it.
    symptoms = [finding(1, day, "leaf_stripe") for day in ("2021-08-15", "2022-08-20")]
    work = [done(1, "2022-02-01", "renew_trunk")]
    rates = read(surveys=augusts(2021, 2022, 2023), symptoms=symptoms, work=work).rates
    assert [rates[year, "relapse"] for year in (2021, 2022, 2023)] == [None, (0, 1), None]
    assert rates[2022, "annual"] == (1, 4)


def test_relapses_are_of_mature_living_vines_looked_at():
    symptoms = [finding(position, "2021-08-15", "leaf_stripe") for position in (1, 2, 3)]
    symptoms += [finding(position, "2022-08-15", "leaf_stripe") for position in (1, 2)]
    symptoms += [finding(1, "2022-08-15", "dead")]
    work = [done(position, "2022-02-01", "renew_trunk") for position in (1, 2, 3)]
    surveys = [*augusts(2021), look("2022-08-15", "1:1..2"), *augusts(2023)]
    rates = read(surveys=surveys, symptoms=symptoms, work=work).rates
    # In 2022 1 is dead and 3 is not looked at; in 2023 2 has relapsed before.
    assert [rates[year, "relapse"] for year in (2021, 2022, 2023)] == [None, (1, 1), (0, 1)]


def test_new_cases_are_of_vines_looked_at_before():
    symptoms = [finding(1, "2022-08-15", "leaf_stripe"), finding(4, "2022-08-15", "leaf_stripe")]
    reading = read(surveys=[look("2021-08-15", "1:1..3"), *augusts(2022)], symptoms=symptoms)
    assert reading.rates[2022, "new"] == (1, 3)
    assert reading.rates[2022, "annual"] == (2, 4)


# The reference itself, and the random vineyards


def test_the_reference_leans_on_the_standard_library_only():
    for module in (laid, placed, reference, said):
        tree = ast.parse(Path(module.__file__).read_text())
        taken = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        taken |= {name.name for node in ast.walk(tree) if isinstance(node, ast.Import) for name in node.names}
        assert {name.split(".")[0] for name in taken} <= {*sys.stdlib_module_names, "reading"}


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(vineyards())
def test_what_must_hold_in_any_vineyard(tables_of_all):
    for block in {str(record["block"]) for record in tables_of_all["blocks"]}:
        for definition in ("leaf", "dieback", "any"):
            check_bounds(read_block(of_block(tables_of_all, block), block, definition=definition), definition)


def check_bounds(reading, definition):
    assert reading.compared <= reading.counted <= set(reading.seasons)
    shares = {}
    for (season, name), rate in reading.rates.items():
        if rate is not None:
            assert season in reading.counted
            assert 0 <= rate[0] <= rate[1] > 0
            shares.setdefault(name, []).append((season, *rate))
    ever = sorted(shares.get("ever", []))
    assert [among for _, _, among in ever] == [among for _, _, among in ever][:1] * len(ever)
    assert [cases for _, cases, _ in ever] == sorted(cases for _, cases, _ in ever)
    for season in reading.seasons:
        assert not reading.seen[season] & reading.carried[season]
        assert definition != "leaf" or not reading.carried[season]
    for damages in reading.damages.values():
        for damage in damages:
            assert damage.last_seen >= damage.date
            assert (damage.end == "") == (damage.end_day is None)
            assert damage.end_day is None or damage.end_day >= damage.date


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(vineyards())
def test_what_is_taken_back_was_never_written(tables_of_all):
    written = of_block(tables_of_all, "A")
    symptoms = written["symptoms"]
    voids = [
        {"block": "A", "id": f"{record['id']}-void", "corrects": record["id"], "void": "yes", "recorded_at": "2999"}
        for record in symptoms
    ]
    taken_back = read_block({**written, "symptoms": [*symptoms, *voids]}, "A")
    assert taken_back == read_block({**written, "symptoms": []}, "A")


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(two_growers())
def test_two_growers_have_a_block_of_one_label(both):
    assert {record["vineyard"] for record in both["blocks"]} == {"Upper", "Lower"}
    assert {record["block"] for table in both.values() for record in table} == {"A"}
    ids = [record["id"] for table in both.values() for record in table]
    assert len(ids) == len(set(ids))

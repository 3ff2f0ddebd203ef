"""trunkwatch.forecast.vine_years and trunkwatch.forecast.cuts on a row worked out by hand: cuts, plans, replants, and a season that does not count.

One row of eight, leaf definition. Summer looks in 2020, 2021 and 2023; 2022 has a dormant look only and does not count;
in 2023 position 5 is not covered.
"""

import numpy as np
import pytest
from typed import reading_of

from trunkwatch.forecast.cuts import all_cleared
from trunkwatch.forecast.estimate import counts_of, draw, estimate
from trunkwatch.forecast.next_season import next_season
from trunkwatch.forecast.vine_years import Before, SeasonStep, before_season, steps_of
from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockRecords, build_history, read_block
from trunkwatch.vineyard.tables import frame_of

BLOCK = {
    "block": "H", "vineyard": "Example", "planted": 2000, "training": "bilateral", "row_spacing_m": 3.0,
    "vine_spacing_m": 2.0, "hemisphere": "north",
}  # fmt: skip


def finding(position, year, symptom="leaf_stripe"):
    return {"block": "H", "row": "1", "position": str(position), "date": f"{year}-08-10", "symptom": symptom}


def work(position, date, status="done", kind="renew_trunk"):
    return {"block": "H", "row": "1", "position": str(position), "date": date, "kind": kind, "status": status}


def survey(year, look, covered="1"):
    date = f"{year}-08-15" if look == "summer" else f"{year}-01-15"
    return {
        "survey": f"{look} {year}",
        "block": "H",
        "date": date,
        "look": look,
        "covered": covered,
        "purpose": "all",
        "observer": "A.B.",
    }


TABLES = {
    "rows": [{"block": "H", "row": "1", "first": 1, "last": 8}],
    "plants": [
        {"block": "H", "row": "1", "position": "4", "removed": "2021-12-10", "reason": "dead"},
        {"block": "H", "row": "1", "position": "6", "removed": "2021-01-20", "reason": "other"},
        {"block": "H", "row": "1", "position": "6", "planted": "2021-04-10"},
    ],
    "surveys": [survey(2020, "summer"), survey(2021, "summer"), survey(2022, "dormant"), survey(2023, "summer", "1:1..4; 1:6..8")],
    "symptoms": [
        finding(1, 2020), finding(2, 2020), finding(3, 2020), finding(4, 2021), finding(5, 2020), finding(3, 2023),
        finding(1, 2021, "dead"), finding(6, 2021, "dead"),
    ],
    "work": [
        work(1, "2021-02-10"), work(2, "2021-02-10", "planned"), work(3, "2021-02-10"), work(5, "2021-02-10"),
        work(8, "2021-02-10", kind="renew_arm"),
    ],
}  # fmt: skip


@pytest.fixture(scope="module")
def history():
    records = BlockRecords(
        BLOCK, *(frame_of(name, TABLES[name]) for name in ("rows", "plants", "surveys", "symptoms", "work"))
    )
    return build_history(read_block(records, RowGrid.from_tables(BLOCK, records.rows)), "leaf")


def test_only_counted_seasons_make_steps(history):
    assert history.counted_seasons == (2020, 2021, 2023)
    assert [step.season for step in steps_of(history)] == [2021, 2023]
    assert [step.season for step in steps_of(history, 2022)] == [2021]


def test_counts_by_hand(history):
    counts = counts_of(steps_of(history))
    found = {name: (counts.events[name], counts.vines[name]) for name in counts.events}
    assert found == {
        "first": (1, 5),  # 2021: P4 of P4, P7, P8; to 2023, two years: P7, and P8 is a renewed vine
        "again_1": (0, 1),  # P2 in 2021: the plan was not carried out; P4 was pulled before 2023
        "again_2": (0, 1),  # P2 in 2023
        "again_3": (0, 0),
        "again_4": (0, 0),
        "death_sound": (0, 4),  # P4, P7 to 2021, P8 being cut; P7 to 2023, two years
        "death_case": (1, 5),  # P2 to 2021, P1 being cut before it died; P2 to 2023, two years, and P4, gone as dead
        "relapse_1": (1, 4),  # 2021: P3, P5; 2023: P3 relapsed, P8
        "relapse_2": (0, 0),
        "relapse_3": (0, 0),
        "relapse_4": (0, 0),
        "renewal_fails": (1, 2),  # P1 died, P3 lives; P5 was not looked at again
        **{f"rewritten_{k}": (0, 0) for k in range(1, 5)},  # nothing lasting is on record
        "lasting": (0, 2),  # P4 in 2021, P3 in 2023: striped leaves
        "replant_first": (1, 1),
        "replant_later": (0, 0),
    }


def test_what_is_known_before_the_next_season(history):
    before = before_season(history, 4)
    assert before.since[0].tolist() == [0, 3, 1, 0, 0, 0, 0, 0]
    assert before.renewed[0].tolist() == [0, 0, 0, 0, 2, 0, 0, 2]  # P5 was seen two counted seasons ago, not in 2023
    assert before.never[0].tolist() == [False, False, False, False, False, False, True, False]
    assert not before.young.any()  # the replant in P6 died
    assert before.near_row[0].tolist() == [1, 2, 1, 1, 0, 0, 0, 0]  # P4 is pulled, P5 renewed; P1 stands dead


def test_a_vine_that_showed_in_january_and_was_cut_in_february_is_a_case_and_a_renewed_vine():
    """Definition any, dormant looks too: a first case in P7, cut, free of symptoms since; P2 showed on the arm that was left."""
    arm = {"block": "H", "row": "1", "symptom": "dead_arm"}
    tables = TABLES | {
        "surveys": [survey(year, look) for year in (2020, 2021, 2022) for look in ("dormant", "summer")],
        "symptoms": [
            arm | {"position": "7", "date": "2021-01-10", "arm": "start"},
            arm | {"position": "2", "date": "2021-01-10", "arm": "start"},
            arm | {"position": "2", "date": "2021-01-10", "arm": "end"},
        ],
        "work": [
            work(7, "2021-02-10", kind="renew_arm") | {"arm": "start"},
            work(2, "2021-02-10", kind="renew_arm") | {"arm": "start"},
        ],
    }
    records = BlockRecords(
        BLOCK, *(frame_of(name, tables[name]) for name in ("rows", "plants", "surveys", "symptoms", "work"))
    )
    step, later = steps_of(build_history(read_block(records, RowGrid.from_tables(BLOCK, records.rows)), "any"))
    assert (bool(step.new[0, 6]), bool(step.showing[0, 6]), bool(step.cut[0, 6])) == (True, True, False)
    assert (int(step.relapse[0, 6]), bool(step.relapsed[0, 6])) == (1, False)
    assert (int(later.before.renewed[0, 6]), int(later.before.since[0, 6])) == (1, 0)
    assert (bool(later.showing[0, 1]), bool(later.relapsed[0, 1])) == (True, False)


def test_a_vine_pulled_in_a_season_that_does_not_count_is_not_foretold(history):
    assert before_season(history, 2).since[0].tolist() == [0, 2, 0, 1, 0, 0, 0, 0]
    assert before_season(history, 3).since[0, 3] == 0


def leaf(date):
    return {"date": date, "symptom": "leaf_stripe"}


def arm(date):
    return {"date": date, "symptom": "dead_arm"}


def cut(date, kind, status="done"):
    return {"date": date, "kind": kind, "status": status}


@pytest.mark.parametrize(
    ("findings", "cuts", "all_gone"),
    [
        ([arm("2020-01-10")], [cut("2020-02-10", "renew_arm")], True),
        ([leaf("2019-08-10")], [cut("2020-02-10", "renew_arm")], False),
        ([leaf("2019-08-10")], [cut("2020-02-10", "renew_trunk")], True),
        ([leaf("2019-08-10")], [cut("2019-11-10", "renew_trunk"), cut("2020-02-10", "renew_arm")], True),
        ([leaf("2020-08-10")], [cut("2020-02-10", "renew_arm")], True),  # a relapse
        ([leaf("2019-08-10")], [cut("2020-02-10", "renew_trunk", "planned")], False),
        ([leaf("2019-08-10")], [cut("2020-02-10", "renew_trunk", "dropped")], False),
        ([leaf("2019-08-10")], [cut("2019-12-01", "replant"), cut("2020-02-10", "renew_arm")], True),
        ([], [cut("2021-02-10", "renew_trunk")], False),  # later than the season asked for
        ([], [], False),
    ],
)  # fmt: skip
def test_a_new_arm_leaves_what_speaks_of_the_trunk(findings, cuts, all_gone):
    place = {"block": "H", "row": "1", "position": "7"}
    reading = reading_of(
        BLOCK,
        rows=TABLES["rows"],
        symptoms=[place | one for one in findings],
        work=[place | one for one in cuts],
        surveys=[survey(year, "summer") for year in (2019, 2020, 2021)] + [survey(2020, "dormant")],
    )
    vines = np.zeros((1, 8), dtype=bool)
    vines[0, 6] = True
    assert all_cleared(build_history(reading, "any"), vines, 2020)[0, 6] == all_gone


def test_years_without_a_survey_count_as_years():
    """One vine in fifty a year, surveyed each, every second and every third year: one new case in fifty is foretold for a year."""
    found = {}
    for every in (1, 2, 3):
        rng = np.random.default_rng(40 + every)
        sick = np.cumsum(rng.random((12, 1, 4000)) < 0.02, axis=0) > 0
        steps, none = [], np.zeros((1, 4000), dtype=bool)
        empty = none.astype(np.int64)
        for number in range(every, 12, every):
            earlier = sick[number - every]
            before = Before(~earlier, none, np.where(earlier, 1, 0), empty, empty, none, empty, empty, empty)
            new = sick[number] & ~earlier
            steps.append(
                SeasonStep(
                    2000 + number,
                    every,
                    before,
                    none,
                    ~none,
                    sick[number],
                    sick[number],
                    new,
                    ~earlier,
                    ~none,
                    none,
                    empty,
                    *[none] * 7,
                )
            )
        counts = counts_of(steps)
        assert counts.vines["first"] == every * sum(int(step.at_risk.sum()) for step in steps)
        found[every] = estimate(steps).mean("first")
        rates = draw(estimate(steps), 2000, np.random.default_rng(1))
        for span in (1, every):
            told = next_season(steps[-1].before, rates, np.random.default_rng(2), span=span).new
            vines = int(steps[-1].before.never.sum())
            assert told.low90 <= vines * (1 - 0.98**span) <= told.high90
    assert all(0.016 < one < 0.024 for one in found.values())


def test_a_cold_winter_is_left_out_of_what_usual_years_bring():
    rng = np.random.default_rng(3)
    sick = np.cumsum(rng.random((10, 1, 2000)) < np.array([0.01] * 6 + [0.2] + [0.01] * 3)[:, None, None], axis=0) > 0
    none = np.zeros((1, 2000), dtype=bool)
    empty = none.astype(np.int64)
    steps = []
    for number in range(1, 10):
        earlier = sick[number - 1]
        before = Before(~earlier, none, np.where(earlier, 1, 0), empty, empty, none, empty, empty, empty)
        new = sick[number] & ~earlier
        steps.append(
            SeasonStep(
                2000 + number,
                1,
                before,
                none,
                ~none,
                sick[number],
                sick[number],
                new,
                ~earlier,
                ~none,
                none,
                empty,
                *[none] * 7,
            )
        )
    found = estimate(steps)
    assert found.left_out == 2006
    assert found.mean("first") == pytest.approx(0.01, abs=0.004)
    usual = [step for step in steps if step.season != 2006]
    assert estimate(usual).left_out == 0

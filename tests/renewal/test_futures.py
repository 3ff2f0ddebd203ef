"""The part that decides, from states to pages.

trunkwatch.renewal: states, strategies, futures, plan; trunkwatch.decide: decision, words, facts; trunkwatch.follow_up: worked; trunkwatch.pattern: cold_or_disease, winter_words;
trunkwatch.report: decide_page, deciding; trunkwatch.charts.strategies; trunkwatch.maps.work.
"""

import importlib.util
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from trunkwatch.block import load, open_vineyard
from trunkwatch.charts.break_even import break_even_svg
from trunkwatch.charts.strategies import StrategyLine, strategies_svg
from trunkwatch.decide.decision import NoComparison, decide, planned_records
from trunkwatch.decide.words import decision_sentences, no_comparison_words
from trunkwatch.errors import RecordError
from trunkwatch.follow_up.outcomes import Outcome
from trunkwatch.follow_up.words import worked_sentences
from trunkwatch.follow_up.worked import worked
from trunkwatch.maps.work import WORKS, work_svg
from trunkwatch.pattern.cold_or_disease import ANSWERS, winter_sheet
from trunkwatch.pattern.winter_words import sign_words
from trunkwatch.renewal.compare import cash_flows, compare
from trunkwatch.renewal.costs import costs_of
from trunkwatch.renewal.futures import Damage, run_futures
from trunkwatch.renewal.plan import RULES, But, PlannedWork, VineFacts, Why, each_shoot_once, plan_winter, suggest
from trunkwatch.renewal.plan_words import why_words
from trunkwatch.renewal.states import N_STATES, State, after_symptoms, damage_state, next_without_symptoms, thresholds
from trunkwatch.renewal.strategies import Strategy, act, standard_strategies, strategies_of
from trunkwatch.renewal.vine_gain import vine_gains
from trunkwatch.renewal.yields import yield_table
from trunkwatch.report.decide_page import decide_html
from trunkwatch.report.deciding import decided_if_priced, decision_of
from trunkwatch.vineyard.codes import SHOOT_QUALITIES, WORK_KINDS
from trunkwatch.vineyard.tables import empty_frame

SPEC = importlib.util.spec_from_file_location("test_money", Path(__file__).with_name("test_money.py"))
MONEY = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(MONEY)
costs, rates = MONEY.costs, MONEY.rates


def many(count, **more):
    one = rates(**more)
    return type(one)(**{name: np.repeat(getattr(one, name), count, axis=0) for name in one.__dataclass_fields__})


def test_transitions_are_whole():
    follow, after = next_without_symptoms(), after_symptoms()
    assert follow.max() < N_STATES
    assert [follow[s] for s in (State.SHOWING, State.HIDDEN_1, State.HIDDEN_2, State.HIDDEN_3)] == [3, 4, 5, 5]
    assert (follow[State.YOUNG_9], follow[State.BLOCK_5], follow[State.RENEWED_4]) == (
        State.SOUND,
        State.SOUND,
        State.RENEWED_4,
    )
    assert [after[s] for s in (State.LIGHT, State.MIDDLE, State.HEAVY)] == [State.MIDDLE, State.HEAVY, State.HEAVY]
    assert [damage_state(p) for p in (10, 50, 90, math.nan)] == [State.LIGHT, State.MIDDLE, State.HEAVY, State.MIDDLE]
    gone, lamed, shown = thresholds(many(3, first=[0.1], death=[[0.02, 0.05]]), np.zeros(3), lasting=0.2, decline=0.15)
    assert (gone <= lamed).all()
    assert (lamed <= shown).all()
    assert shown[0, State.SOUND] == pytest.approx(0.02 + 0.98 * 0.1)
    assert lamed[0, State.SOUND] == pytest.approx(0.02 + 0.98 * 0.02)
    assert shown[0, State.MIDDLE] == pytest.approx(0.05 + 0.95 * 0.15)


def test_no_disease_nothing_happens_and_nothing_pays():
    start = np.full((8, 10), State.SOUND, dtype=np.uint8)
    told = costs(block_replant_ha=20_000.0)
    listed = standard_strategies(40.0, replant=True)
    run = run_futures(start, many(20), listed, yield_table(told), years=10, renew_hours=0.5)
    assert (run.bearing[0] == 80).all()
    found = compare(run, told, 1000.0)
    assert found.recommended == "do nothing"
    assert all(one.gain <= 0 for one in found.judged)


def test_same_seed_same_futures_and_alike_strategies_have_alike_luck():
    start = np.full((10, 12), State.SOUND, dtype=np.uint8)
    one = many(40, first=[0.03], again=[[0.5, 0.4, 0.3, 0.2]], death=[[0.01, 0.05]])
    told = [
        run_futures(
            start,
            one,
            (Strategy("do nothing"), Strategy("waits", renew=True, start_at=2.0)),
            yield_table(costs()),
            years=12,
            renew_hours=0.5,
            seed=s,
        )
        for s in (1, 1, 2)
    ]
    assert np.array_equal(told[0].bearing, told[1].bearing)
    assert not np.array_equal(told[0].bearing, told[2].bearing)
    assert np.array_equal(told[0].bearing[0], told[0].bearing[1])  # a strategy that never starts is nothing


def test_chances_come_out_as_they_went_in():
    """Deaths of 1 % and first symptoms of 5 % a year from sound: shares after one year, 40,000 vines."""
    start = np.full((20, 20), State.SOUND, dtype=np.uint8)
    run = run_futures(
        start,
        many(100, first=[0.05], death=[[0.01, 0.01]]),
        (Strategy("do nothing"),),
        np.eye(N_STATES)[State.DEAD],
        years=1,
        renew_hours=1.0,
    )
    assert run.bearing.sum() / 40_000 == pytest.approx(0.01, abs=0.002)
    assert run.incidence.mean() == pytest.approx(0.05, abs=0.004)


def test_without_spread_neighbours_are_not_renewed_for_their_own_sake_and_with_it_more_fall_ill():
    start = np.full((20, 30), State.SOUND, dtype=np.uint8)
    start[10, 10:20] = State.MIDDLE
    told = costs(horizon_years=15.0)
    plain = {"first": [0.01], "again": [[0.6, 0.4, 0.3, 0.2]], "death": [[0.002, 0.03]], "relapse": [[0.02] * 4]}
    pair = (
        Strategy("do nothing"),
        Strategy("damaged", renew=True, damaged_only=True),
        Strategy("neighbours too", renew=True, damaged_only=True, neighbours=True),
    )
    apart = compare(
        run_futures(start, many(150, **plain), pair, yield_table(told), years=15, renew_hours=0.5), told, 1000.0
    )
    assert apart.judged[2].gain < apart.judged[1].gain
    spread = run_futures(
        start, many(60, **plain, near_row=[1.5]), pair[:1], yield_table(told), years=15, renew_hours=0.5
    )
    still = run_futures(start, many(60, **plain), pair[:1], yield_table(told), years=15, renew_hours=0.5)
    assert spread.incidence[0, :, -1].mean() > 1.15 * still.incidence[0, :, -1].mean()


def test_a_winter_keeps_to_its_hours_and_takes_the_worst_first():
    state = np.full((2, 40), State.SOUND, dtype=np.uint8)
    state[:, :10], state[:, 10:14], state[:, 14:16] = State.SHOWING, State.MIDDLE, State.HEAVY
    state[1, 20:] = State.EMPTY
    done = act(
        Strategy("s", renew=True, hours=4.0, fill=True),
        state,
        0,
        np.full(2, 0.4),
        renew_hours=0.5,
        order=np.arange(40)[::-1],
        shape=(4, 10),
    )
    assert done.renewed.tolist() == [8, 8]
    assert done.replanted.tolist() == [0, 20]
    assert (state[:, 10:16] == State.CUT).all()
    assert (state[:, 8:10] == State.CUT).all()  # the rest of the hours, in the order given
    assert (state[:, :8] == State.SHOWING).all()
    only = np.full((1, 4), State.SHOWING, dtype=np.uint8)
    act(
        Strategy("d", renew=True, damaged_only=True),
        only,
        0,
        np.ones(1),
        renew_hours=0.5,
        order=np.arange(4),
        shape=(1, 4),
    )
    assert (only == State.SHOWING).all()
    late = np.full((1, 4), State.HEAVY, dtype=np.uint8)
    act(
        Strategy("l", renew=True, start_at=0.5),
        late,
        0,
        np.array([0.4]),
        renew_hours=0.5,
        order=np.arange(4),
        shape=(1, 4),
    )
    assert (late == State.HEAVY).all()


def kinds(facts, gains=None, **more):
    return [(one.kind, one.rule) for one in suggest(facts, costs(**more), gains)]


def test_rules_vine_by_vine():
    at = (0, 0)
    assert kinds(VineFacts(at, State.MIDDLE, arms=frozenset({"start"}), shoot="trunk")) == [
        ("renew_arm", "renew_arm"),
        ("keep_shoot", "keep_shoot"),
    ]
    assert kinds(VineFacts(at, State.HEAVY, arms=frozenset({"start", "end"}))) == [("renew_trunk", "cut_and_wait")]
    assert kinds(VineFacts(at, State.MIDDLE, trunks=frozenset({2}), total_trunks=3, shoot="own_root"))[0] == (
        "cut_old_trunk",
        "cut_old_trunk",
    )
    below = suggest(VineFacts(at, State.MIDDLE, arms=frozenset({"end"}), shoot="below_union"), costs(), None)
    assert [one.kind for one in below] == ["renew_arm"]
    assert But.ROOTSTOCK in below[0].buts
    own = kinds(VineFacts(at, State.MIDDLE, arms=frozenset({"end"}), shoot="below_union", grafted=False))
    assert own == [("renew_arm", "renew_arm"), ("keep_shoot", "keep_shoot")]
    assert kinds(VineFacts(at, State.MIDDLE, trunks=frozenset({0}), stain_top_cm=25.0)) == [
        ("replant", "replant_low_stain")
    ]
    cut = suggest(VineFacts(at, State.MIDDLE, trunks=frozenset({0}), stain_top_cm=70.0), costs(), None)[0]
    assert cut.cut_height_cm == 50
    assert (
        suggest(
            VineFacts(at, State.MIDDLE, trunks=frozenset({0}), stain_top_cm=70.0), costs(cut_below_stain_cm=10), None
        )[0].cut_height_cm
        == 60
    )
    assert kinds(VineFacts(at, State.DEAD)) == [("replant", "replant_dead")]
    assert kinds(VineFacts(at, State.HIDDEN_2)) == [("watch", "watch")]
    assert kinds(VineFacts(at, State.SOUND, mummies=True)) == [("clear_mummies", "clear")]
    assert kinds(VineFacts(at, State.RENEWED_1, trained=1)) == [("train", "train")]
    for one in suggest(
        VineFacts(at, State.HEAVY, arms=frozenset({"end"}), mummies=True, trained=1, shoot="trunk"), costs(), None
    ):
        assert one.rule in RULES
        assert one.kind in WORK_KINDS


@pytest.mark.parametrize(("winters", "kinds_then"), [(0, []), (1, ["train"]), (2, ["train"]), (3, [])])
def test_a_renewed_vine_is_trained_for_two_winters(winters, kinds_then):
    assert [kind for kind, _ in kinds(VineFacts((0, 0), State.RENEWED_1, trained=winters))] == kinds_then


def test_records_that_disagree_ask_for_a_look_unless_the_vine_shows():
    doubt = VineFacts((0, 0), State.HIDDEN_1, disagree=True)
    assert kinds(doubt) == [("watch", "look_again")]
    assert kinds(replace(doubt, state=State.SHOWING)) == [("renew_trunk", "cut_and_wait")]
    assert kinds(replace(doubt, state=State.DEAD)) == [("replant", "replant_dead")]


def test_a_cut_at_the_lowest_height_is_still_a_cut():
    """20 cm below the stain, and not lower than 10."""
    for top, kind in ((29.0, "replant"), (30.0, "renew_trunk"), (31.0, "renew_trunk")):
        facts = VineFacts((0, 0), State.MIDDLE, trunks=frozenset({0}), stain_top_cm=top)
        told = costs(cut_below_stain_cm=20.0, lowest_cut_cm=10.0)
        assert suggest(facts, told, None)[0].kind == kind, top


def test_a_shoot_is_kept_on_damaged_vines_and_on_cases_of_the_last_two_seasons():
    keep = [
        state
        for state in (
            State.SOUND,
            State.SHOWING,
            State.HIDDEN_1,
            State.HIDDEN_2,
            State.HIDDEN_3,
            State.LIGHT,
            State.MIDDLE,
            State.HEAVY,
        )
        if ("keep_shoot", "keep_shoot") in kinds(VineFacts((0, 0), state, shoot="trunk"))
    ]
    assert keep == [State.SHOWING, State.HIDDEN_1, State.HIDDEN_2, State.LIGHT, State.MIDDLE, State.HEAVY]


def test_work_says_when_what_it_rests_on_was_last_seen():
    facts = VineFacts(
        (0, 0),
        State.MIDDLE,
        arms=frozenset({"end"}),
        shoot="trunk",
        percent=40.0,
        last_seen="2025-08-01",
        shoot_seen="2025-05-20",
    )
    cut, keep = suggest(facts, costs(), None)
    assert (cut.last_seen, keep.last_seen) == ("2025-08-01", "2025-05-20")
    assert why_words(cut, costs()) == "the end arm affected, 40 % dead; last seen 2025-08-01"
    assert why_words(cut, costs(), dated=False) == "the end arm affected, 40 % dead"
    assert why_words(keep, costs()).endswith("; last seen 2025-05-20")
    two = replace(cut, facts=replace(facts, arms=frozenset({"end", "start"})))
    assert why_words(two, costs(), dated=False) == "the end and the start arm affected, 40 % dead at the worst"


def test_that_no_shoot_is_noted_is_said_where_the_cut_was_weighed_and_to_who_is_to_cut():
    told = PlannedWork(
        (0, 0),
        "renew_arm",
        "cut_and_wait",
        Why.PART,
        VineFacts((0, 0), State.MIDDLE, arms=frozenset({"end"})),
        (But.NO_SHOOT,),
    )
    said = "the end arm affected; no shoot to retrain is noted"
    assert why_words(told, costs()) == said
    assert why_words(replace(told, kind="mark", buts=(But.NO_SHOOT, But.LOOK_FIRST)), costs()) == (
        "the end arm affected; look at the wood before cutting"
    )
    assert why_words(replace(told, kind="mark", buts=(But.NO_SHOOT, But.NOT_PAYING)), costs()) == (
        f"{said}; cutting it is not expected to pay"
    )


def test_work_that_does_not_pay_is_marked_and_said_so():
    dear = vine_gains(rates(), costs(crew_hour=200.0), 1000.0)
    told = suggest(
        VineFacts((0, 0), State.LIGHT, arms=frozenset({"start"}), shoot="trunk"), costs(crew_hour=200.0), dear
    )
    assert told[0].kind == "mark"
    assert But.NOT_PAYING in told[0].buts
    assert "not expected to pay" in why_words(told[0], costs_of(empty_frame("costs")))
    cheap = vine_gains(rates(), costs(crew_hour=0.5, horizon_years=20.0), 1000.0)
    heavy = suggest(
        VineFacts((0, 0), State.HEAVY, arms=frozenset({"start"}), shoot="trunk"),
        costs(crew_hour=0.5, horizon_years=20.0),
        cheap,
    )
    assert heavy[0].kind == "renew_arm"
    assert heavy[0].gain > 0


def test_the_plan_is_ranked_and_staged_by_hours_and_by_loss():
    told = costs(crew_hour=0.5, horizon_years=20.0, crew_day_hours=8.0, most_loss_pct=100.0)
    gains = vine_gains(rates(), told, 1000.0)
    states = [State.LIGHT, State.HEAVY, State.MIDDLE, State.HEAVY]
    work = [
        one
        for k, state in enumerate(states)
        for one in suggest(VineFacts((0, k), state, trunks=frozenset({0})), told, gains)
    ]
    heavy = [one for one in work if one.kind == "renew_trunk"]
    each = heavy[0].hours
    planned = plan_winter(work, told, crew_days=2 * each / 8, vines=100)
    order = [(one.cell[1], one.winter) for one in planned]
    assert order == [(1, 0), (3, 0), (2, 1), (0, 1)]
    tight = plan_winter(work, costs(crew_hour=0.5, horizon_years=20.0, most_loss_pct=0.6), crew_days=10, vines=100)
    assert max(one.winter for one in tight) >= 1


@pytest.fixture(scope="module")
def hollow(pytestconfig):
    with open_vineyard(pytestconfig.rootpath / "sample_blocks") as store:
        season = load(store, "Hollow")
        yield store, season, decision_of(store, season, crew_days=3.0, futures=60, seed=2)


@pytest.mark.long
def test_a_block_is_decided_on_end_to_end(hollow):
    store, season, (found, ahead, held) = hollow
    assert found.comparison is not None
    text = " ".join(decision_sentences(found))
    assert "crew-days" in text
    assert ahead
    assert held
    page = decide_html(found, ahead, held)
    assert page == decide_html(found, ahead, held)
    assert page.count("<svg") >= 3
    assert "no built-in threshold" in page
    records = planned_records(found)
    assert {record["status"] for record in records} == {"planned"}
    assert all(record["kind"] in WORK_KINDS for record in records)
    assert all(str(record["date"]) > "2026-10-31" for record in records)
    hours = sum(
        one.hours
        for one in found.work
        if one.winter == 0 and one.kind in ("renew_trunk", "renew_arm", "cut_old_trunk", "replant")
    )
    assert hours <= 3.0 * 8 + 1e-9
    assert decided_if_priced(store, season) is not None


@pytest.mark.long
def test_without_prices_what_can_be_said_is_said(hollow):
    _, season, _ = hollow
    found = decide(season, [], empty_frame("costs"), crew_days=3.0)
    assert found.comparison is None
    assert found.why_not is NoComparison.NO_PRICES
    assert no_comparison_words(found).startswith("no prices: costs.csv lacks price_per_t")
    assert found.work
    assert all(math.isnan(one.gain) for one in found.work)
    assert "cannot be compared" in decision_sentences(found)[0]


def test_one_season_only(pytestconfig):
    sample = pytestconfig.rootpath / "sample_blocks"
    with open_vineyard(sample) as store:
        found = decide(load(store, "Mill", 2017), [], store.frame("costs"))
    assert found.why_not is NoComparison.ONE_SEASON
    assert no_comparison_words(found) == "one counted season only: what follows on what is not known yet"


def test_work_held_where_it_did_and_is_refused_where_too_little_is_known(hollow, pytestconfig):
    _, season, _ = hollow
    found = {one.outcome: one for one in worked(season).comparisons}
    bearing = found[Outcome.HALF_DEAD]
    assert bearing.cannot is None
    assert bearing.difference.high < 0
    assert bearing.pairs.renewed.sum() < bearing.renewed
    assert "people chose which vines to retrain" in " ".join(worked_sentences(worked(season)))
    early = worked(load(pytestconfig.rootpath / "sample_blocks", "Mill", 2024))
    assert all(one.cannot is not None for one in early.comparisons)
    assert "10 are needed" in " ".join(worked_sentences(early))


def test_winter_is_told_from_disease_on_the_sample(pytestconfig):
    from dataclasses import replace

    with open_vineyard(pytestconfig.rootpath / "sample_blocks") as store:
        weather = store.frame("weather")
        cold = winter_sheet(replace(load(store, "Hollow"), season=2021), weather)
        sick = winter_sheet(load(store, "Mill"), weather)
        bare = winter_sheet(replace(load(store, "Hollow"), season=2021), empty_frame("weather"))
    assert (cold.answer, sick.answer) == ("fits cold", "fits disease")
    assert {one.speaks for one in cold.signs if one.name == "stain"} == {"neither"}  # both cold and disease stain wood
    assert any("No temperatures" in sign_words(one) for one in bare.signs)
    assert cold.look_at
    assert all(sheet.answer in ANSWERS for sheet in (cold, sick, bare))


def test_pictures_of_strategies_and_work(hollow):
    _, season, _ = hollow
    lines = [
        StrategyLine("do nothing", 0, 0, 0),
        StrategyLine("cut <all>", 1200, -300, 2500, 700.0, best=True),
        StrategyLine("none", -10, -20, -5),
    ]
    svg = strategies_svg(lines, title="Strategies")
    assert "cut &lt;all&gt;: 1,200 (-300 to 2,500)" in svg
    assert "breaks even at 700" in break_even_svg(lines, 1000.0, title="Price")
    assert "no strategy breaks even" in break_even_svg(lines[:1], 1000.0, title="Price")
    with pytest.raises(ValueError, match="above 0"):
        break_even_svg(lines, 0.0, title="Price")
    assert set().union(*(k for _, k in WORKS.values())) >= set(WORK_KINDS) - {"protect_wound"}
    drawn = work_svg(
        season.history, 2026, {(0, 3): frozenset({"renew_arm", "keep_shoot"}), (1, 2): frozenset({"watch"})}
    )
    assert "cut and retrain 1" in drawn
    assert "mark or watch 1" in drawn
    assert "leave the shoot" not in drawn


def test_futures_refuse_nothing_silently():
    with pytest.raises(RecordError, match="costs has no"):
        vine_gains(rates(), costs_of(empty_frame("costs")), 1000.0).renew(State.HEAVY, part=1.0, shoot=False, hours=1.0)


def test_prevention_costs_every_year_and_shows_after_its_lag():
    start = np.full((20, 20), State.SOUND, dtype=np.uint8)
    told = costs(protect_vine=0.5, horizon_years=12.0)
    one = many(40, first=[0.05], again=[[0.6, 0.4, 0.3, 0.2]])
    pair = (Strategy("do nothing"), Strategy("prevent only", protect=True))
    run = run_futures(
        start, one, pair, yield_table(told), years=12, renew_hours=0.5, damage=Damage(prevents=(0.5, 0.5), lag=4)
    )
    assert np.array_equal(run.incidence[0, :, :4], run.incidence[1, :, :4])
    assert run.incidence[1, :, -1].mean() < 0.85 * run.incidence[0, :, -1].mean()
    money = cash_flows(run, told, 1000.0)
    assert np.allclose(money[0, :, 0] - money[1, :, 0], 500.0)
    with pytest.raises(RecordError, match="protect_vine"):
        cash_flows(run, costs(), 1000.0)
    assert any(listed.protect for listed in standard_strategies(8.0, replant=False, protect=True))


def test_strategies_of_ones_own():
    lines = [
        {"name": "small", "renew": "yes", "damaged_only": "y", "crew_days": "2,5", "start_at_pct": "5"},
        {"replant_year": "3", "fill": ""},
        {"renew": "yes", "damaged_only": "yes", "least_dead_pct": "25", "shoot_first": "yes"},
    ]
    nothing, small, third, shoot = strategies_of(lines, 8.0)
    assert (shoot.least, shoot.shoot_first, small.least, small.shoot_first) == (State.LIGHT, True, State.MIDDLE, False)
    assert nothing.name == "do nothing"
    assert (small.renew, small.damaged_only, small.hours, small.start_at) == (True, True, 20.0, 0.05)
    assert (third.name, third.replant_year, third.hours) == ("strategy 2", 2, math.inf)
    for line, wrong in (
        ({"renew": "maybe"}, "renew is 'maybe'"),
        ({"crew_days": "few"}, "crew_days is 'few'"),
        ({"colour": "x"}, "no such column 'colour'"),
    ):
        with pytest.raises(RecordError, match=wrong):
            strategies_of([line], 8.0)


@pytest.mark.parametrize("quality", ["too_vigorous", "unripe", "thin"])
def test_a_shoot_that_is_not_good_is_trained_first_and_nothing_is_cut_to_it(quality):
    arm = VineFacts((0, 0), State.MIDDLE, arms=frozenset({"start"}), shoot="trunk", shoot_quality=quality, percent=40)
    first, keep = suggest(arm, costs(), None)
    assert (first.kind, first.rule, first.arm, first.hours) == (
        "train_first",
        "train_first",
        "start",
        costs()["train_hours"],
    )
    assert keep.kind == "keep_shoot"
    assert each_shoot_once([first, keep]) == [first]
    assert each_shoot_once([replace(first, winter=1), keep]) == [replace(first, winter=1), keep]
    wait = {"too_vigorous": "shorten it and wait a year"}.get(quality, "leave it one more year")
    assert why_words(first, costs()) == (
        f"the start arm affected, 40 % dead; the shoot is {SHOOT_QUALITIES[quality]}: {wait}; cut the old part a winter later"
    )
    assert first.rule in RULES
    assert first.kind in WORK_KINDS
    # A dead trunk of several needs no shoot; a shoot below the union is none at all.
    trunk = VineFacts((0, 0), State.MIDDLE, trunks=frozenset({2}), total_trunks=3, shoot="trunk", shoot_quality=quality)
    assert kinds(trunk)[0] == ("cut_old_trunk", "cut_old_trunk")
    assert kinds(replace(arm, shoot="below_union")) == [("renew_arm", "cut_and_wait")]


@pytest.mark.parametrize("quality", ["", "good"])
def test_a_good_shoot_and_one_of_which_nothing_is_said_are_cut_to(quality):
    arm = VineFacts((0, 0), State.MIDDLE, arms=frozenset({"start"}), shoot="trunk", shoot_quality=quality)
    assert kinds(arm) == [("renew_arm", "renew_arm"), ("keep_shoot", "keep_shoot")]

"""The worlds of known truth: valid tables, the same again for a seed, and what each of them states of itself."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from calibration.worlds import FOUND_DEAD, NEVER, NOT_LOOKED_AT, NOTED, NOTHING, OUTSIDE, STOCK, WORLDS, frames_of
from calibration.worlds.course import Passing, along_kernel, distance_kernel
from calibration.worlds.kinds import ROW_M, VINE_M
from calibration.worlds.moving import cold_season
from calibration.worlds.run import force, giver

from trunkwatch.intake.checks import check_frames
from trunkwatch.vineyard.covered import parse_covered

SMALL = (6, (10, 16))
SEEDS = (1, 2, 3, 4, 5)
SPREADING = [name for name, world in WORLDS.items() if world.spreads]
STILL = [name for name, world in WORLDS.items() if world.truths["static"]]
WORKED = [name for name, world in WORLDS.items() if world.truths["work"]]


@cache
def made(name, seed=1):
    return WORLDS[name].make(seed)


@cache
def small(name, seed=1):
    return WORLDS[name].make(seed, *SMALL)


def same(a, b):
    """Tell whether two truths are equal, array by array."""
    if isinstance(a, np.ndarray):
        return np.array_equal(a, b)
    if hasattr(a, "__dataclass_fields__"):
        return all(same(getattr(a, name), getattr(b, name)) for name in a.__dataclass_fields__)
    return a == b


@pytest.mark.parametrize("name", WORLDS)
def test_tables_are_valid_and_every_finding_is_covered(name):
    faults = check_frames(frames_of(small(name).tables), today="2025-01-01")
    assert [fault for fault in faults if fault.weight == "fault"] == []
    assert [fault for fault in faults if "no survey covers" in fault.problem] == []


@pytest.mark.parametrize("name", WORLDS)
def test_a_seed_says_all(name):
    first, again = small(name), WORLDS[name].make(1, *SMALL)
    other = WORLDS[name].make(2, *SMALL)
    assert first.tables == again.tables
    assert same(first.truth, again.truth)
    assert not same(first.truth, other.truth)


@pytest.mark.parametrize("name", WORLDS)
def test_tables_say_what_was_seen(name):
    tables, truth = small(name).tables, small(name).truth
    labels = [record["row"] for record in tables["rows"]]
    for t, season in enumerate(truth.seasons):
        walked = [
            stretch.row
            for one in tables["surveys"]
            if one["date"].startswith(str(season))
            for stretch in parse_covered(one["covered"], labels)
        ]
        assert len(walked) == len(set(walked))
        assert (
            sorted(int(row) - 1 for row in walked)
            == np.flatnonzero((truth.seen[t] != NOT_LOOKED_AT).any(axis=1)).tolist()
        )
        here = [one for one in tables["symptoms"] if one["date"].startswith(str(season))]
        noted = {(int(one["row"]) - 1, int(one["position"]) - 1) for one in here if one["symptom"] != "dead"}
        assert noted == set(zip(*(index.tolist() for index in np.nonzero(truth.seen[t] == NOTED)), strict=True))
        dead = (
            np.array(
                [[int(one["row"]), int(one["position"])] for one in here if one["symptom"] == "dead"], dtype=int
            ).reshape(-1, 2)
            - 1
        )
        assert (truth.seen[t][dead[:, 0], dead[:, 1]] == FOUND_DEAD).all()
        assert not truth.alive[t][dead[:, 0], dead[:, 1]].any()
    assert len(tables["work"]) == truth.worked.sum()


@pytest.mark.parametrize("name", STILL)
def test_static_infection_is_older_than_the_record_or_came_with_a_replant(name):
    simulated = made(name)
    spells = simulated.truth.spells
    ill = spells.infected_since != NEVER
    assert ill.any() or name == "false_notes_only"
    assert set(spells.source[ill]) <= {STOCK}
    assert (spells.infected_since[ill] == spells.planted[ill]).all()
    first_plants = spells.planted == simulated.block.planted
    assert (spells.infected_since[ill & first_plants] < simulated.block.first).all()
    assert {spells.infected_by(number) for number in np.flatnonzero(ill)} <= {"stock"}


@pytest.mark.parametrize("name", [name for name in WORLDS if WORLDS[name].truths["work"] is None])
def test_vines_lie_side_by_side_as_often_as_stated(name):
    ratios = []
    for seed in SEEDS:
        truth = made(name, seed).truth
        ill = truth.infected[-1] | truth.cold.any(axis=0)
        joins = 2 * ill.size - sum(ill.shape)
        pairs = (ill[:, 1:] & ill[:, :-1]).sum() + (ill[1:] & ill[:-1]).sum()
        ratios.append(pairs / (joins * ill.mean() ** 2) if ill.any() else 1.0)
    stated, ratio = WORLDS[name].truths["clustered"], np.mean(ratios)
    assert ratio > 1.1 if stated else 0.88 < ratio < 1.12 if stated is False else 0.95 < ratio < 1.2


@pytest.mark.parametrize("name", [name for name in WORLDS if name not in SPREADING])
def test_nothing_passes_where_nothing_passes(name):
    assert not made(name).truth.spells.passed.any()


@pytest.mark.parametrize("name", SPREADING)
def test_disease_passes_as_stated(name):
    stated, shares = WORLDS[name].truths, []
    for seed in SEEDS:
        simulated = made(name, seed)
        spells, first = simulated.truth.spells, simulated.block.first
        in_record = (spells.infected_since >= first) & (spells.infected_since < first + simulated.block.seasons)
        shares.append(spells.passed[in_record].mean())
        taken = np.flatnonzero(spells.passed)
        rows, stations = np.divmod(spells.source[taken], spells.stations)
        across, beside = np.abs(spells.row[taken] - rows), np.abs(spells.station[taken] - stations)
        metres = np.hypot(across * ROW_M, beside * VINE_M)
        assert (metres > 0).all()
        assert (metres <= stated["reach_m"] + 1e-9).all()
        assert not across.any() or WORLDS[name].along is False
        # Who passes it on was infected before, and its incubation was over.
        giver = spells.source[taken]
        waits = np.where(spells.source[giver] == STOCK, 0, stated.get("incubation", 2))
        assert (spells.infected_since[giver] + waits <= spells.infected_since[taken]).all()
        assert spells.infected_by(int(taken[0])) == (rows[0], stations[0])
        assert OUTSIDE in spells.source
    low, high = stated["share_passed"]
    assert low < np.mean(shares) < high


@pytest.mark.parametrize("kernel", [along_kernel(), distance_kernel(1.0), distance_kernel(3.0)])
def test_one_vine_passes_on_to_both_sides_as_its_kernel_says(kernel):
    infectious = np.zeros((31, 61), dtype=bool)
    infectious[15, 30] = True
    passed, a, b = force(Passing(kernel, 0.2), infectious), kernel.shape[0] // 2, kernel.shape[1] // 2
    assert passed.sum() == pytest.approx(0.2)
    assert passed[15 - a : 16 + a, 30 - b : 31 + b] == pytest.approx(0.2 * kernel, abs=1e-12)
    assert passed == pytest.approx(passed[::-1, ::-1], abs=1e-12)
    assert passed[15, 30] == pytest.approx(0, abs=1e-12)
    assert giver(kernel, infectious, 15, 31, 0.999) == 15 * 61 + 30


def test_the_giver_is_drawn_by_its_weight():
    """Of two vines that pass it on to one between them, the next one has five times the weight of the one after it."""
    infectious = np.array([[True, False, False, True, False]])
    at = (np.arange(1200) + 0.5) / 1200
    givers = np.array([giver(along_kernel(), infectious, 0, 2, x) for x in at])
    assert np.bincount(givers, minlength=5).tolist() == [200, 0, 0, 1000, 0]


def test_as_many_fall_ill_along_the_row_as_the_rates_say():
    expected = seen = 0.0
    for seed in SEEDS:
        simulated = made("along", seed)
        truth, n = simulated.truth, simulated.block.shape[0] * simulated.block.shape[1]
        since = truth.spells.infected_since[:n].reshape(simulated.block.shape)
        for season, alive in zip(truth.seasons, truth.alive, strict=True):
            passes = np.pad((since != NEVER) & (since + 2 <= season), ((0, 0), (2, 2))).astype(float)
            near, far = passes[:, 1:-3] + passes[:, 3:-1], passes[:, :-4] + passes[:, 4:]
            chance = 1 - (1 - 0.0035) * np.exp(-0.2 * (near + 0.2 * far) / 2.4)
            sound = alive & ((since == NEVER) | (since >= season))
            expected += chance[sound].sum()
            seen += (sound & (since == season)).sum()
    assert abs(seen - expected) < 4 * np.sqrt(expected)


def test_passing_falls_with_distance_as_the_scale_says():
    """Of what passes, half lies within these metres; along the rows more vines stand near."""
    middle = {}
    for name in ("kernel_1m", "kernel_3m", "kernel_10m"):
        metres = []
        for seed in SEEDS:
            spells = made(name, seed).truth.spells
            taken = np.flatnonzero(spells.passed)
            rows, stations = np.divmod(spells.source[taken], spells.stations)
            metres += np.hypot((spells.row[taken] - rows) * ROW_M, (spells.station[taken] - stations) * VINE_M).tolist()
        middle[name] = np.median(metres)
    assert middle["kernel_1m"] < 2.5 < middle["kernel_3m"] < 7 < middle["kernel_10m"] < 20


def test_along_has_shown_on_a_sixth_to_a_quarter_after_twelve_seasons():
    ever = [(made("along", seed).truth.seen == NOTED).any(axis=0).mean() for seed in range(1, 13)]
    assert 0.15 < np.mean(ever) < 0.25


@pytest.mark.parametrize(
    ("name", "sees"),
    [("scattered", [0.9]), ("changing_crew", [0.95, 0.8, 0.6, 0.4]), ("another_observer", [0.55, 0.95]), ("two_halves", [0.95, 0.5])],
)  # fmt: skip
def test_every_observer_sees_the_stated_share(name, sees):
    noted, shown = np.zeros(len(sees)), np.zeros(len(sees))
    for seed in SEEDS:
        simulated = made(name, seed)
        labels = [record["row"] for record in simulated.tables["rows"]]
        names = sorted({survey["observer"] for survey in simulated.tables["surveys"]})
        for survey in simulated.tables["surveys"]:
            t = int(survey["date"][:4]) - simulated.block.first
            rows = [int(stretch.row) - 1 for stretch in parse_covered(survey["covered"], labels)]
            showing, who = simulated.truth.showing[t, rows], names.index(survey["observer"])
            shown[who] += showing.sum()
            noted[who] += (showing & (simulated.truth.seen[t, rows] == NOTED)).sum()
    assert (np.abs(noted / shown - sees) < 4 * np.sqrt(np.array(sees) * (1 - np.array(sees)) / shown)).all()


def test_a_drifting_observer_sees_less_every_season():
    noted = shown = 0.0
    for seed in SEEDS:
        truth = made("drifting_observer", seed).truth
        shown += truth.showing.sum(axis=(1, 2))
        noted += (truth.showing & (truth.seen == NOTED)).sum(axis=(1, 2))
    assert np.abs(noted / shown - np.linspace(0.95, 0.5, 12)).max() < 0.15
    assert (noted / shown)[:3].mean() - (noted / shown)[-3:].mean() > 0.25


@pytest.mark.parametrize("name", WORLDS)
def test_only_what_shows_is_noted_but_for_stated_mistakes(name):
    truth = made(name).truth
    wrong = (truth.seen == NOTED) & ~truth.showing
    if "slips" in WORLDS[name].truths:
        beside = np.zeros_like(wrong)
        beside[:, :, 1:] |= truth.showing[:, :, :-1]
        beside[:, :, :-1] |= truth.showing[:, :, 1:]
        assert wrong.any()
        assert beside[wrong].all()
        assert 0.01 < wrong.sum() / (truth.seen == NOTED).sum() < 0.08
        return
    assert not (wrong & truth.infected).any()
    assert wrong.any() == ("false_once" in WORLDS[name].truths)
    assert wrong.sum(axis=0).max() <= 1
    if wrong.any():
        assert 0.004 < wrong.any(axis=0).mean() < 0.02


def test_who_looks_beside_old_cases_sees_more_there():
    noted, shown = np.zeros(2), np.zeros(2)
    for seed in range(1, 21):
        truth = made("looks_beside_old_cases", seed).truth
        ever = np.zeros(truth.alive.shape[1:], dtype=bool)
        for seen, showing in zip(truth.seen, truth.showing, strict=True):
            wide = np.pad(ever, 1)
            beside = wide[:-2, 1:-1] | wide[2:, 1:-1] | wide[1:-1, :-2] | wide[1:-1, 2:]
            for at, where in enumerate((~beside, beside)):
                shown[at] += (showing & where).sum()
                noted[at] += (showing & where & (seen == NOTED)).sum()
            ever |= seen == NOTED
    sees = np.array([0.5, 0.95])
    assert (np.abs(noted / shown - sees) < 4 * np.sqrt(sees * (1 - sees) / shown)).all()


def test_replants_are_set_on_the_written_day_and_are_ill_as_stated():
    for name in ("replant_batches", "replants_beside_old_cases"):
        simulated = made(name)
        spells, first = simulated.truth.spells, simulated.block.first
        later = spells.planted > simulated.block.planted
        written = [line for line in simulated.tables["plants"] if line.get("planted")]
        assert sorted(
            (int(line["row"]) - 1, int(line["position"]) - 1, int(line["planted"][:4])) for line in written
        ) == sorted(
            zip(spells.row[later].tolist(), spells.station[later].tolist(), spells.planted[later].tolist(), strict=True)
        )
        batches = sorted(set(spells.planted[later].tolist()))
        assert batches == [first, first + 1, first + 4]
        ill = [(spells.source[spells.planted == season] == STOCK).mean() for season in batches]
        assert ill[0] == 0
        assert all(0.5 < share < 0.9 for share in ill[1:])


@pytest.mark.parametrize(("name", "every"), [("every_second_season_foci", 2), ("every_third_season_along", 3)])
def test_missed_seasons_have_no_survey(name, every):
    simulated = made(name)
    looked = (simulated.truth.seen != NOT_LOOKED_AT).any(axis=(1, 2))
    assert looked.tolist() == [(11 - t) % every == 0 for t in range(12)]
    assert {int(survey["date"][:4]) for survey in simulated.tables["surveys"]} == set(simulated.truth.seasons[looked])
    assert (simulated.truth.future.would_note != NOT_LOOKED_AT).all()


@pytest.mark.parametrize("name", [name for name in WORLDS if name.startswith("rotating")])
def test_rotating_surveys_walk_a_third_and_come_round_in_three_seasons(name):
    walked = (made(name).truth.seen != NOT_LOOKED_AT).any(axis=2)
    assert (np.abs(walked.mean(axis=1) - 1 / 3) < 0.06).all()
    assert (walked[:3].sum(axis=0) == 1).all()
    assert (walked[:-3] == walked[3:]).all()


@pytest.mark.parametrize("name", WORKED)
def test_without_the_work_the_same_would_have_happened_but_for_the_work(name):
    truth, other = made(name).truth, made(name).truth.without_work
    first = np.flatnonzero(truth.worked.any(axis=(1, 2)))[0]
    assert not truth.worked[-1].any()
    assert same(truth.showing[: first + 1], other.showing[: first + 1])
    never = ~truth.worked.any(axis=0)
    assert same(truth.showing[:, never], other.showing[:, never])
    assert same(truth.future.showing[:, never], other.future.showing[:, never])
    if WORLDS[name].truths["useful"]:
        after = np.cumsum(truth.worked, axis=0) - truth.worked > 0
        assert truth.showing[after].mean() < 0.75 * other.showing[after].mean()
    else:
        assert same(truth.showing, other.showing)
        assert same(truth.severity, other.severity)


@pytest.mark.parametrize("relapse", [0, 5, 15])
@pytest.mark.parametrize("curve", ["early", "late", "slow"])
def test_renewed_vines_relapse_at_the_stated_rate(curve, relapse):
    """Of vines renewed once, dead wood grows again on this share of those still without it, each season."""
    again = at_risk = 0
    for seed in SEEDS:
        truth = made(f"dieback_{curve}_relapse_{relapse}", seed).truth
        severity = np.concatenate([truth.severity, truth.future.severity])
        alive = np.concatenate([truth.alive, truth.future.alive])
        when = truth.worked.argmax(axis=0)
        for row, station in zip(*np.nonzero(truth.worked.sum(axis=0) == 1), strict=True):
            later = severity[when[row, station] + 1 :, row, station] > 0
            living = alive[when[row, station] + 1 :, row, station]
            clean = np.concatenate([[True], ~np.logical_or.accumulate(later)[:-1]]) & living
            at_risk += clean.sum()
            again += (clean & later).sum()
    p = relapse / 100
    assert at_risk > 500
    assert abs(again / at_risk - p) <= 4 * np.sqrt(p * (1 - p) / at_risk)


@pytest.mark.parametrize("name", [name for name in WORLDS if name.endswith("_useless") and name.startswith("dieback")])
def test_vines_are_chosen_as_stated(name):
    simulated = made(name)
    truth, choose = simulated.truth, WORLDS[name].truths["work"]
    t = int(np.flatnonzero(truth.worked.any(axis=(1, 2)))[0])
    noted, done = truth.seen[: t + 1] == NOTED, truth.worked[t]
    on_record = noted.any(axis=0) & truth.alive[t] & (truth.seen[t] != FOUND_DEAD)
    assert on_record[done].all()
    assert 0 < done.sum() < on_record.sum()
    left = on_record & ~done
    if choose == "longest_on_record":
        assert noted.argmax(axis=0)[done].max() <= noted.argmax(axis=0)[left].min()
    if choose == "showing_this_year":
        assert noted[t][done].all()
    if choose == "showed_least":
        assert noted.sum(axis=0)[done].max() <= noted.sum(axis=0)[left].min()
    if choose == "worst_first":
        assert truth.severity[t][done].mean() > truth.severity[t][left].mean() + 0.2


def test_damage_grows_as_stated():
    """Early: half of what comes is there after two seasons; late: little for five seasons; slow: little each season."""
    grown = {}
    for curve in ("early", "late", "slow"):
        truth = made(f"dieback_{curve}").truth
        severity = np.concatenate([truth.severity, truth.future.severity])
        begins = (severity > 0).argmax(axis=0)
        fresh = (begins > 0) & (severity > 0).any(axis=0) & truth.future.alive[-1] & (begins < 6)
        rows, stations = np.nonzero(fresh)
        grown[curve] = np.array(
            [
                np.mean([severity[begins[r, s] + k, r, s] for r, s in zip(rows, stations, strict=True)])
                for k in range(11)
            ]
        )
    assert grown["early"][1] > 0.4
    assert grown["early"][10] - grown["early"][5] < 0.1
    assert grown["late"][3] < 0.2
    assert grown["late"][10] > 0.6
    assert (np.diff(grown["slow"]) < 0.08).all()
    assert (np.diff(grown["slow"]) > 0.01).all()


def test_vines_come_back_as_often_as_stated():
    for name, low, high in (("again_30", 0.25, 0.35), ("again_61_to_95", 0.75, 0.95)):
        again = could = 0
        for seed in SEEDS:
            truth = made(name, seed).truth
            shown_before = np.cumsum(truth.showing, axis=0) - truth.showing > 0
            could += (shown_before & truth.alive).sum()
            again += (shown_before & truth.showing).sum()
        assert low < again / could < high


@pytest.mark.parametrize("name", ["cold_winter", "along_and_cold"])
def test_cold_kills_wood_in_one_season_and_the_weather_shows_it(name):
    simulated = made(name)
    at, truth = cold_season(simulated.block), simulated.truth
    new = truth.cold & ~np.concatenate([np.zeros_like(truth.cold[:1]), truth.cold[:-1]])
    assert np.flatnonzero(new.any(axis=(1, 2))).tolist() == [at]
    coldest = min(simulated.tables["weather"], key=lambda day: day["t_min_c"])
    assert coldest["date"].startswith(f"{simulated.block.first + at}-01")
    assert coldest["t_min_c"] < -28
    assert truth.showing[at][truth.cold[at]].all()


def test_deaths_that_nobody_wrote_are_gaps_two_to_four_seasons_later():
    simulated = made("unwritten_deaths")
    truth, block = simulated.truth, simulated.block
    assert {one["symptom"] for one in simulated.tables["symptoms"]} == {"leaf_stripe"}
    assert (truth.seen[~truth.alive] == NOTHING).all()
    ended = truth.spells.ended.reshape(block.shape)
    late = [
        int(gap["removed"][:4]) + 1 - ended[int(gap["row"]) - 1, int(gap["position"]) - 1]
        for gap in simulated.tables["plants"]
    ]
    assert set(late) == {2, 3, 4}
    assert 0.25 < len(late) / (ended < block.first + block.seasons)[ended != NEVER].sum() < 0.75


def test_infection_rises_and_falls_as_stated():
    for name in ("rising", "falling"):
        new = at_risk = 0.0
        for seed in SEEDS:
            simulated = made(name, seed)
            since, first = simulated.truth.spells.infected_since, simulated.block.first
            new += np.array([(since == first + t).sum() for t in range(12)])
            at_risk += np.array([((since == NEVER) | (since >= first + t)).sum() for t in range(12)])
        slope = np.polyfit(np.arange(12), np.log(new / (at_risk - new)), 1)[0]
        assert abs(slope - WORLDS[name].truths["log_odds_a_season"]) < 0.05


@pytest.mark.parametrize("name", WORLDS)
def test_the_future_is_the_same_block_with_nothing_done(name):
    truth = made(name).truth
    future = truth.future
    assert future.showing_vines.tolist() == future.showing.sum(axis=(1, 2)).tolist()
    assert future.noted_vines.tolist() == (future.would_note == NOTED).sum(axis=(1, 2)).tolist()
    assert (future.first_showing <= future.showing_vines).all()
    assert not (future.showing & ~future.alive).any()
    assert not (future.alive[0] & ~truth.alive[-1]).any()
    noted, recorded = future.would_note == NOTED, (truth.seen == NOTED)
    standing = truth.plant == truth.plant[-1]
    assert future.first_noted[0] == (noted[0] & ~(recorded & standing).any(axis=0)).sum()


def test_too_small_a_world_is_refused():
    with pytest.raises(ValueError, match="3 seasons of 20 x 40 vines"):
        WORLDS["scattered"].make(1, 3)


def test_the_readme_has_every_world():
    text = (Path(__file__).parent / "README.md").read_text()
    for world in WORLDS.values():
        assert f"| {world.name} | {world.what} |" in text
        assert world.basis in text

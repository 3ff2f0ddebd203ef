"""trunkwatch.follow_up: lots, lot_words; trunkwatch.intake: write_lots; trunkwatch.cli: plan_command; from the draw to the answer by lot."""

import collections

import numpy as np
import pytest
from click.testing import CliRunner
from walked_blocks import walked_block

from trunkwatch.block import load
from trunkwatch.cli import main
from trunkwatch.errors import RecordError
from trunkwatch.follow_up.lot_words import lot_sentences
from trunkwatch.follow_up.lots import draw_lots, lot_records, with_a_neighbour_worked_on, would_show
from trunkwatch.follow_up.outcomes import Outcome
from trunkwatch.follow_up.trials import lot_trials
from trunkwatch.follow_up.words import worked_sentences
from trunkwatch.follow_up.worked import compared, worked
from trunkwatch.intake.add import add_frames
from trunkwatch.intake.winter_work import BlockPlan, write_winter_work
from trunkwatch.intake.write_lots import write_lots
from trunkwatch.store import Store
from trunkwatch.vineyard.lots import lot_in
from trunkwatch.vineyard.records import standing
from trunkwatch.vineyard.tables import records_of

OLD, NEW, NO_SHOOT = range(1, 13), range(21, 30), range(31, 34)


def leaf(position, year, shoot="trunk"):
    return {"position": str(position), "date": f"{year}-08-15", "symptom": "leaf_stripe", "renewal_shoot": shoot}


#: Twelve vines that showed in 2018 and 2022, nine that showed in 2022 only, three without a shoot, one older one alone.
FOUND = [
    *(leaf(p, year) for p in OLD for year in (2018, 2022)), *(leaf(p, 2022) for p in NEW),
    *(leaf(p, 2022, "") for p in NO_SHOOT), *(leaf(40, year) for year in range(2015, 2023)),
]  # fmt: skip


def season_of(found=FOUND, work=(), *, last=2022, as_of=None):
    return load(walked_block(range(2015, last + 1), vines=120, symptoms=found, work=work), "A", as_of or last)


def test_lots_fall_inside_groups_of_equal_vines():
    drawn = draw_lots(season_of(), 2023, seed=3)
    groups = collections.defaultdict(list)
    for (_, station), lot in drawn.lots.items():
        groups[lot.group].append((station + 1, lot.renew))
    assert {group: {p for p, _ in vines} for group, vines in groups.items()} == {1: set(OLD), 2: set(NEW)}
    assert sum(renew for _, renew in groups[1]) == 6
    assert sum(renew for _, renew in groups[2]) in (4, 5)
    assert (drawn.alone, drawn.no_shoot) == (1, 3)
    assert drawn.dieback == frozenset()
    assert draw_lots(season_of(), 2023, seed=3) == drawn
    assert draw_lots(season_of(), 2023, seed=4).lots != drawn.lots


def test_every_vine_of_a_group_has_the_same_chance_and_the_share_is_kept():
    season = season_of()
    times = collections.Counter(
        cell
        for seed in range(300)
        for cell, lot in draw_lots(season, 2023, share=0.25, seed=seed).lots.items()
        if lot.renew
    )
    counts = np.array([times[0, p - 1] for p in (*OLD, *NEW)])
    assert counts.min() > 45
    assert counts.max() < 105  # 75 expected; standard deviation 7.5
    assert counts.sum() == pytest.approx(0.25 * 21 * 300, rel=0.04)


def test_vines_renewed_before_and_vines_of_running_lots_are_not_drawn():
    cut = [{"position": "1", "date": "2020-02-10", "kind": "renew_trunk"}]
    lot = [{"position": "2", "date": "2022-02-15", "kind": "mark", "status": "planned", "note": "[lot 2022-1 leave]"}]
    drawn = draw_lots(season_of(work=[*cut, *lot]), 2023)
    assert {(0, 0), (0, 1)}.isdisjoint(drawn.lots)
    assert len(drawn.lots) == len(OLD) + len(NEW) - 2


def test_what_cannot_be_drawn_is_said_with_the_way_out():
    lot = [
        {"position": "2", "date": "2023-02-15", "kind": "mark", "status": "planned", "note": "[lot 2023-1 leave] left"}
    ]
    with pytest.raises(
        RecordError, match=r"lots of 1 vines are written for winter 2022/23 already; take these marks back"
    ):
        draw_lots(season_of(work=lot), 2023)
    with pytest.raises(RecordError, match=r"no two vines are equal.*1 without an equal, 3 without a shoot"):
        draw_lots(season_of([*(leaf(p, 2022, "") for p in NO_SHOOT), leaf(40, 2022)]), 2023)
    with pytest.raises(ValueError, match="share 1"):
        draw_lots(season_of(), 2023, share=1)


def test_what_lots_can_show_is_said_beforehand():
    """Of the 13 that showed in 2018 none showed within three years but the old one; it rests on all looks back."""
    season = season_of()
    drawn = draw_lots(season, 2023)
    shows = would_show(season, drawn, 0.2)
    assert shows.outcome is Outcome.LEAVES
    assert shows.looks_back > 12
    assert shows.renewed == pytest.approx(max(0, shows.left - 0.2))
    assert shows.needed > len(drawn.lots) * (shows.winters - 1)
    told = " ".join(lot_sentences(drawn, shows, hemisphere="north", written=False))
    assert f"{drawn.renew} vines to be retrained and {drawn.leave} to be left" in told
    assert f"{shows.needed} vines are needed" in told
    assert "--write" in told
    assert "source" in told
    bare = season_of([leaf(p, 2022) for p in OLD])
    assert would_show(bare, draw_lots(bare, 2023), 0.2).left == 0.5


def test_neighbours_that_are_worked_on_are_counted():
    work = [
        {"position": "4", "date": "2022-02-10", "kind": "protect_wound"},
        {"position": "10", "date": "2019-02-10", "kind": "renew_trunk"},
        {"position": "20", "date": "2022-02-10", "kind": "watch"},
    ]
    season = season_of(work=work)
    assert with_a_neighbour_worked_on(season, [(0, 2), (0, 4), (0, 5), (0, 8), (0, 18)], 2020, 2023) == 2
    assert with_a_neighbour_worked_on(season, [(0, 8)], 2019, 2023) == 1
    assert with_a_neighbour_worked_on(season, [(0, 8)], 2020, 2023, planned=[(0, 9)]) == 1


@pytest.fixture
def vineyard(tmp_path):
    path = tmp_path / "own.gpkg"
    source = walked_block(range(2015, 2023), vines=120, symptoms=FOUND)
    Store.create(path)
    add_frames(path, {table: source.frame(table) for table in ("blocks", "rows", "surveys", "symptoms")})
    return path


def lots_in(path):
    with Store.open(path) as store:
        return {
            (record["position"], lot, record["status"])
            for record in records_of(standing(store.frame("work")))
            if (lot := lot_in(record["kind"], record["note"])) is not None
        }


def test_lots_are_written_and_survive_export_and_merging(vineyard, tmp_path):
    season = load(vineyard, "A", 2022)
    drawn = draw_lots(season, 2023)
    written = write_lots(vineyard, "A", lot_records(season, drawn))
    assert written.written == len(drawn.lots) + drawn.renew
    there = lots_in(vineyard)
    assert {(str(cell[1] + 1), lot, "planned") for cell, lot in drawn.lots.items()} == there
    folder, merged = tmp_path / "folder", tmp_path / "merged.gpkg"
    Store.create(merged)
    # Out into a folder, into another file, and the first file into that one again.
    for words in (
        ["export", str(vineyard), str(folder)],
        ["load", str(merged), str(folder)],
        ["load", str(merged), str(vineyard)],
    ):
        done = CliRunner().invoke(main, words)
        assert done.exit_code == 0, done.output
    assert lots_in(merged) == there
    with pytest.raises(RecordError, match="already"):
        draw_lots(load(merged, "A", 2022), 2023)


def test_a_plan_does_not_cut_what_lots_leave(vineyard):
    season = load(vineyard, "A", 2022)
    renewals = [
        {
            "block": "A",
            "row": "1",
            "position": str(p),
            "date": "2023-02-01",
            "kind": "renew_trunk",
            "status": "planned",
            "note": "why",
        }
        for p in OLD
    ]
    write_winter_work(vineyard, [BlockPlan("A", 2023, renewals)])
    season = load(vineyard, "A", 2022)
    drawn = draw_lots(season, 2023)
    left = {str(cell[1] + 1) for cell, lot in drawn.lots.items() if not lot.renew and cell[1] + 1 in OLD}
    assert write_lots(vineyard, "A", lot_records(season, drawn)).dropped == len(left) == 6
    again = write_winter_work(vineyard, [BlockPlan("A", 2023, renewals)])
    assert again.left_by_lot == 6
    later = [{**record, "date": "2025-02-01"} for record in renewals]
    assert write_winter_work(vineyard, [BlockPlan("A", 2025, later)]).left_by_lot == 6
    trained = [{**record, "date": "2025-06-01", "kind": "train_first"} for record in renewals]  # a cut would follow
    assert write_winter_work(vineyard, [BlockPlan("A", 2025, trained)]).left_by_lot == 6
    over = [{**record, "date": "2026-02-01"} for record in renewals]
    assert write_winter_work(vineyard, [BlockPlan("A", 2026, over)]).left_by_lot == 0
    with Store.open(vineyard) as store:
        planned = {
            r["position"]
            for r in records_of(standing(store.frame("work")))
            if r["kind"] == "renew_trunk" and r["status"] == "planned" and r["date"] < "2025"
        }
    assert planned.isdisjoint(left)


def lotted(chance_renewed, chance_left, *, seed=1, many=60, not_done=()):
    """Vines 1 to `many` show in 2018; lots for 2019 in one group, every other one renewed; they show again with a chance each year."""
    rng = np.random.default_rng(seed)
    found, work = [leaf(p, 2018) for p in range(1, many + 1)], []
    for p in range(1, many + 1):
        renew = p % 2 == 0
        found += [leaf(p, y) for y in (2019, 2020, 2021) if rng.random() < (chance_renewed if renew else chance_left)]
        word = "renew" if renew else "leave"
        work.append(
            {
                "position": str(p),
                "date": "2019-02-15",
                "kind": "mark",
                "status": "planned",
                "note": f"[lot 2019-1 {word}] x",
            }
        )
        if renew and p not in not_done:
            work.append({"position": str(p), "date": "2019-02-20", "kind": "renew_trunk"})
    return season_of(found, work)


def test_lots_are_compared_as_they_fell_and_it_is_said():
    season = lotted(0.05, 0.5)
    answer = compared(season, Outcome.LEAVES)
    assert answer.lots.compared
    assert (answer.lots.renew, answer.lots.leave) == (30, 30)
    # Every vine stands beside one that was renewed, or is left beside two of them.
    assert (answer.lots.beside_renew, answer.lots.beside_leave) == (0, 30)
    shares = [
        np.mean([t.ended > 0 for t, _ in lot_trials(season, Outcome.LEAVES) if t.renewed is renew])
        for renew in (True, False)
    ]
    assert answer.difference.middle == pytest.approx(shares[0] - shares[1])
    assert answer.difference.high < 0
    told = " ".join(worked_sentences(worked(season)))
    assert "than of 100 vines that the lots had left" in told
    assert "Lots decided: 30 vines that were to be retrained, 30 that were to be left" in told
    assert "people chose" not in told


def test_a_lot_that_was_not_done_stays_in_its_group():
    season = lotted(0.05, 0.5, not_done=range(2, 21))
    assert sum(t.renewed for t, _ in lot_trials(season, Outcome.LEAVES)) == 30


def test_too_few_lots_are_said_and_people_s_choice_is_compared():
    answer = compared(lotted(0.05, 0.5, many=12), Outcome.LEAVES)
    assert not answer.lots.compared
    assert "6 vines to be retrained and 6 to be left were drawn; too few" in " ".join(
        worked_sentences(worked(lotted(0.05, 0.5, many=12)))
    )


@pytest.mark.long
def test_useless_lots_on_a_block_are_called_useful_in_no_more_than_5_percent():
    wrong = sum(
        not d.low <= 0 <= d.high
        for d in (compared(lotted(0.25, 0.25, seed=seed), Outcome.LEAVES).difference for seed in range(60))
    )
    assert wrong <= 8  # P(binomial(60, 0.05) > 8) = 0.004


def test_the_command_draws_says_and_writes(vineyard, monkeypatch):
    monkeypatch.setattr("trunkwatch.cli.options.today", lambda: "2022-11-20")
    shown = CliRunner().invoke(main, ["plan", str(vineyard), "--compare"])
    assert shown.exit_code == 0, shown.output
    assert "Lots for winter 2022/23" in shown.output
    assert lots_in(vineyard) == set()
    done = CliRunner().invoke(main, ["plan", str(vineyard), "--compare", "--write"])
    assert done.exit_code == 0, done.output
    assert len(lots_in(vineyard)) == 21
    again = CliRunner().invoke(main, ["plan", str(vineyard), "--compare"])
    assert again.exit_code == 1
    assert "take these marks back" in again.output
    wrong = CliRunner().invoke(main, ["plan", str(vineyard), "--compare", "--all-blocks"])
    assert wrong.exit_code == 2
    assert "--compare goes with" in wrong.output

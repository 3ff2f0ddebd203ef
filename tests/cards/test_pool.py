"""trunkwatch.cards: cells, attack, ledger, pool, pool_words; cells by hand, and a reader who reckons with all that was ever shown."""

import math
import stat
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from made_cards import card, key, told
from scipy.optimize import linprog

from trunkwatch.cards.attack import Known, Limits, exposed, limits_of
from trunkwatch.cards.cells import BASE, Figure, Part, figure_of, may_show
from trunkwatch.cards.ledger import Ledger, read_ledger, write_ledger
from trunkwatch.cards.pool import OTHER, pool
from trunkwatch.cards.pool_words import GUARDED, cases_words, pool_lines, share_words
from trunkwatch.errors import FileError, NothingWrittenError, RecordError

EMPTY = Ledger(b"k" * 32)


def parts(*counts):
    """Parts of growers 0, 1, ... with (vines, cases)."""
    return [Part(f"g{n}", f"b{n}", vines, cases) for n, (vines, cases) in enumerate(counts)]


@pytest.mark.parametrize(
    ("counts", "shown"),
    [
        ([(100, 10)] * 5, True),
        ([(100, 10)] * 4, False),  # four growers
        ([(400, 10), *[(100, 10)] * 4], True),  # 400 of 800 is half and not over
        ([(401, 10), *[(100, 10)] * 4], False),  # one over half of the vines
        ([(100, 40), (100, 20), (100, 2), (100, 2), (100, 2)], True),  # 6 of 40 are 15 %
        (
            [(100, 41), (100, 20), (100, 2), (100, 2), (100, 2)],
            False,
        ),  # 6 of 41: the second reckons the first to within 15 %
        ([(100, 0)] * 5, True),
        ([(100, 1), *[(100, 0)] * 4], True),  # like none: the reader sees "under 5" both times
        ([(100, 5), *[(100, 0)] * 4], False),  # five cases of one grower
        ([(100, 100)] * 5, True),
        ([(100, 95), *[(100, 100)] * 4], False),  # five sound vines of one grower
        ([(100, 98), *[(100, 100)] * 4], True),
    ],
)
def test_a_cell_is_shown_by_its_rules(counts, shown):
    assert may_show(parts(*counts)) is shown


def test_blocks_of_one_grower_count_as_one():
    five = [Part("g0", "b0", 50, 5), Part("g0", "b1", 50, 5), *parts(*[(100, 10)] * 5)[1:]]
    assert may_show(five)
    assert not may_show(five[:-1])
    two_halves = [Part("g9", "x", 300, 1), Part("g9", "y", 300, 1), *parts(*[(100, 10)] * 5)]
    assert not may_show(two_halves)


@pytest.mark.parametrize(
    ("counts", "figure"),
    [
        ([(497, 23)], Figure(495, 25, 493, 497, 23, 27)),
        ([(498, 5)], Figure(500, 5, 498, 502, 5, 7)),
        ([(500, 4)], Figure(500, None, 498, 502, 0, 4)),
        ([(500, 0)], Figure(500, None, 498, 502, 0, 4)),
        ([(500, 496)], Figure(500, None, 498, 502, 494, 502)),
        ([(500, 500)], Figure(500, None, 498, 502, 494, 502)),
    ],
)
def test_counts_are_rounded_and_lie_within_what_a_reader_knows(counts, figure):
    assert figure_of(parts(*counts)) == figure


@given(
    st.lists(
        st.integers(5, 3000).flatmap(lambda vines: st.tuples(st.just(vines), st.integers(0, vines))),
        min_size=1,
        max_size=9,
    )
)
def test_the_limits_of_a_figure_always_hold_the_truth(counts):
    figure = figure_of(parts(*counts))
    vines, cases = (sum(one[k] for one in counts) for k in (0, 1))
    assert figure.vines_low <= vines <= figure.vines_high
    assert figure.cases_low <= cases <= figure.cases_high
    assert figure.vines % BASE == 0
    assert figure.cases is None or figure.cases % BASE == 0


def test_none_and_all_are_said_as_few_and_many_are():
    few, none, every = (figure_of(parts(*[(100, cases)] * 5)) for cases in (0, 0, 100))
    assert cases_words(few) == cases_words(none) == "under 5"
    assert share_words(few) == "under 1.0 %"
    assert (cases_words(every), share_words(every)) == ("all but under 5", "over 99.0 %")


def members(names):
    return tuple((f"b{name}", f"g{name}") for name in names)


def known(names, vines=None, cases=10):
    vines = 100 * len(names) if vines is None else vines
    return Known(members(names), (vines - 2, vines + 2), (cases - 2, cases + 2))


def test_figures_of_the_same_blocks_or_of_quite_others_expose_nobody():
    assert not exposed([known("abcde")])
    assert not exposed([known("abcde"), known("abcde")])
    assert not exposed([known("abcde"), known("fghij")])
    assert not exposed([known("abcdefghij"), known("abcde")])  # five are left over


@pytest.mark.parametrize("later", ["abcdef", "abcdefghi", "abcdf", "abcdefghijklm"])
def test_a_figure_of_one_grower_more_or_another_is_exposed(later):
    """One joins; four join; one leaves as another comes. Eight that join are enough growers."""
    assert exposed([known("abcde"), known(later)]) is (later != "abcdefghijklm")


def test_three_figures_together_may_expose_whom_no_two_do():
    """By hand: the whole less two halves that leave one grower out."""
    whole, one, other = known("abcdefghijk"), known("abcde"), known("ghijk")
    assert not exposed([whole, one])
    assert not exposed([whole, other])
    assert not exposed([one, other])
    assert exposed([whole, one, other])  # f


def test_a_narrow_limit_exposes_though_no_sum_does():
    """B to e bring ten cases at most, so of the fifty of a to e at least thirty-nine are a's."""
    wide = Known(members("abcde"), (498, 502), (48, 52))
    low = Known(members("bcdefghi"), (798, 802), (8, 12))
    assert limits_of([wide, low], frozenset({"ba"}), "cases") == Limits(36.0, 52.0)
    assert Limits(36.0, 40.0).narrow
    assert not Limits(0.0, 4.0).narrow
    assert not Limits(0.0, math.inf).narrow
    lower = Known(members("bcdefghi"), (798, 802), (0, 4))
    assert exposed([wide, lower])


def of_growers(cases, *, cultivar="Brannet", first=1, vines=100, **more):
    return [
        card(
            told(
                first + n,
                f"{cultivar}{first + n}",
                [(2026, vines, many, vines, min(many, 3), "leafy")],
                cultivar=cultivar,
                **more,
            )
        )
        for n, many in enumerate(cases)
    ]


def shown(table, count="showing"):
    return {
        tuple(one.shown.cell.values()): (one.shown.figure.vines, one.shown.figure.cases)
        for one in table.cells
        if one.shown.count == count
    }


def test_cells_are_sums_over_growers_and_blocks():
    cards = [*of_growers([10, 11, 12, 9, 8]), *of_growers([5] * 6, cultivar="Sallow", first=1)]
    table, _ = pool(cards, ("cultivar",), EMPTY)
    assert shown(table) == {("brannet",): (500, 50), ("sallow",): (600, 30)}
    assert [(one.vines, one.cases_low) for one in table.sums if one.count == "showing"] == [(1100, 80)]
    new = shown(table, "new")
    assert new == {("brannet",): (500, 15), ("sallow",): (600, 20)}


def test_the_denominator_is_the_vines_scouted_and_of_first_cases_those_at_risk():
    cards = [
        card(told(n, "b", [(2026, 200, 20, 120, 6, "leafy"), (2025, 150, 30, 0, 0, "leafy")])) for n in range(1, 7)
    ]
    table, _ = pool(cards, (), EMPTY)
    assert [
        (one.shown.season, one.shown.count, one.shown.figure.vines, one.shown.figure.cases) for one in table.cells
    ] == [
        (2025, "showing", 900, 180),
        (2026, "showing", 1200, 120),
        (2026, "new", 720, 35),
    ]
    text = "\n".join(pool_lines(table))
    assert "all blocks: 120 of 1,200 (10.0 %)" in text
    assert "all blocks: 35 of 720 (4.9 %)" in text


def test_what_is_not_shown_has_no_name_and_is_in_no_sum():
    cards = [*of_growers([10] * 6), *of_growers([40] * 3, cultivar="Rare Hill", first=10)]
    table, ledger = pool(cards, ("cultivar", "region"), EMPTY)
    text = "\n".join([*pool_lines(table), *GUARDED, repr(ledger)])
    assert "rare" not in text.casefold()
    assert [(one.vines, one.cases_low, one.cases_high) for one in table.sums if one.count == "showing"] == [
        (600, 60, 60)
    ] * 3


def test_values_of_few_growers_are_put_together():
    cards = [
        *of_growers([10] * 6),
        *of_growers([10] * 3, cultivar="Corvise", first=10),
        *of_growers([10] * 3, cultivar="Sallow", first=20),
        *of_growers([10] * 2, cultivar="several", first=30),
    ]
    table, _ = pool(cards, ("cultivar",), EMPTY)
    assert shown(table) == {("brannet",): (600, 60), (OTHER,): (800, 80)}


def test_a_region_that_is_no_word_of_the_list_is_told_as_none():
    cards = [*of_growers([10] * 6, region="hills"), *of_growers([10] * 6, first=10, region="Rosa")]
    table, _ = pool(cards, ("region",), EMPTY, regions=("hills", "river"))
    assert set(shown(table)) == {("hills",), (OTHER,)}


def test_age_is_that_of_the_season_by_the_middle_of_five_years():
    cards = of_growers([10] * 6, planted="2005 to 2009")  # 2007: 19 years old in 2026
    assert set(shown(pool(cards, ("age",), EMPTY)[0])) == {("10 to 19",)}


def test_seasons_of_other_inspections_take_no_part():
    cards = [*of_growers([10] * 6), card(told(20, "b", [(2026, 100, 50, 0, 0, "bare")]))]
    table, _ = pool(cards, (), EMPTY)
    assert shown(table) == {(): (600, 60)}
    assert table.other_looks == 1


def test_a_table_may_be_shown_again_and_is_written_down_once():
    cards = of_growers([10] * 6)
    table, ledger = pool(cards, ("cultivar",), EMPTY)
    again, same = pool(list(reversed(cards)), ("cultivar",), ledger)
    assert again == table
    assert same == ledger


def test_when_one_grower_joins_the_earlier_figure_stands():
    cards = of_growers([10, 12, 14, 9, 8, 11])
    _, ledger = pool(cards[:5], ("cultivar",), EMPTY)
    table, after = pool(cards, ("cultivar",), ledger)
    assert after == ledger
    assert [(one.earlier, one.shown.figure.cases) for one in table.cells if one.shown.count == "showing"] == [
        (True, 55)
    ]
    assert "as shown before" in "\n".join(pool_lines(table))


def test_when_one_grower_corrects_a_count_the_earlier_figure_stands():
    cards = of_growers([10, 12, 14, 9, 8, 11])
    _, ledger = pool(cards, (), EMPTY)
    corrected = [*cards[:-1], *of_growers([31], first=6)]
    table, _ = pool(corrected, (), ledger)
    assert [(one.earlier, one.shown.figure.cases) for one in table.cells if one.shown.count == "showing"] == [
        (True, 65)
    ]


def test_when_five_growers_join_there_is_a_new_figure():
    cards = of_growers([10] * 12)
    _, ledger = pool(cards[:6], (), EMPTY)
    table, _ = pool(cards, (), ledger)
    assert [one.earlier for one in table.cells] == [False, False]
    assert shown(table) == {(): (1200, 120)}


def test_a_finer_table_does_not_tell_what_the_coarser_one_left_together():
    """Eight growers of one cultivar are shown; six of them in the hills would tell of the two by the river."""
    cards = [
        *of_growers([10] * 6, region="hills"),
        *of_growers([40] * 2, first=10, region="river"),
        *of_growers([10] * 5, first=20, region="river", cultivar="Sallow"),
    ]
    first, ledger = pool(cards, ("cultivar",), EMPTY)
    assert shown(first) == {("brannet",): (800, 140), ("sallow",): (500, 50)}
    second, _ = pool(cards, ("cultivar", "region"), ledger)
    assert ("brannet", "hills") not in shown(second)
    assert ("sallow", "river") in shown(second)
    alone, _ = pool(cards, ("cultivar", "region"), EMPTY)
    assert ("brannet", "hills") in shown(alone)


@pytest.mark.parametrize("order", [(("cultivar",), ("cultivar", "region")), (("cultivar", "region"), ("cultivar",))])
def test_a_cell_that_one_grower_dominates_is_not_found_by_subtracting_another(order):
    """Six growers by the river, one of them with most of the vines; six in the hills. All twelve together may be shown, and the hills, not both."""
    river = [*of_growers([10] * 5, first=10, region="river"), *of_growers([300], first=15, region="river", vines=700)]
    cards = [*of_growers([30] * 6, region="hills", vines=300), *river]
    _, ledger = pool(cards, order[0], EMPTY)
    _, ledger = pool(cards, order[1], ledger)
    showing = [one.cell for one in ledger.shown if one.count == "showing"]
    assert showing == [{"cultivar": "brannet"} if len(order[0]) == 1 else {"cultivar": "brannet", "region": "hills"}]


def test_what_cannot_be_asked_is_an_error():
    with pytest.raises(NothingWrittenError, match="no pool card counts"):
        pool([], (), EMPTY)
    with pytest.raises(RecordError, match="not told apart by 'grower'"):
        pool(of_growers([1]), ("grower",), EMPTY)
    with pytest.raises(RecordError, match="no card has a count of 1999; seasons: 2026"):
        pool(of_growers([1]), (), EMPTY, season=1999)


def test_the_ledger_is_private_holds_no_counts_and_no_names_and_is_never_guessed(tmp_path):
    cards = of_growers([10, 12, 14, 9, 8, 11])
    _, ledger = pool(cards, ("cultivar",), read_ledger(tmp_path / "pool.ledger"))
    write_ledger(tmp_path / "pool.ledger", ledger)
    assert read_ledger(tmp_path / "pool.ledger") == ledger
    assert stat.S_IMODE((tmp_path / "pool.ledger").stat().st_mode) == 0o600
    text = (tmp_path / "pool.ledger").read_text()
    for one in cards:
        assert one.id not in text
        assert one.grower not in text
    (tmp_path / "pool.ledger").write_text(text[:-5])
    with pytest.raises(FileError, match="put it back from a copy"):
        read_ledger(tmp_path / "pool.ledger")
    (tmp_path / "pool.ledger").write_text(text.replace('"version": 1', '"version": 2'))
    with pytest.raises(FileError, match="put it back from a copy"):
        read_ledger(tmp_path / "pool.ledger")


# --- A reader who reckons, written apart from the package: all blocks are unknowns, all that was printed are constraints.


def reader(printed, blocks, wanted, sure):
    """Limits of a sum over wanted blocks: what is sure of single blocks, and of all printed sums."""
    at = {block: number for number, block in enumerate(blocks)}
    rows, ends = [], []
    for names, low, high in printed:
        row = np.zeros(len(blocks))
        row[[at[name] for name in names]] = 1
        rows += [row, -row]
        ends += [high, -low]
    goal = np.zeros(len(blocks))
    goal[[at[name] for name in wanted]] = 1
    bounds = [sure.get(block, (0, None)) for block in blocks]
    low, high = (
        linprog(sign * goal, np.array(rows) if rows else None, ends or None, bounds=bounds, method="highs")
        for sign in (1, -1)
    )
    return (low.fun if low.status == 0 else 0.0), (-high.fun if high.status == 0 else math.inf)


CULTIVARS, REGIONS = ("brannet", "corvise", "sallow"), ("hills", "river")


@st.composite
def programmes(draw):
    """Growers with one to three blocks each, of any size and sickness; some cells crowded, some of one grower."""
    many = draw(st.integers(6, 16))
    seed = draw(st.integers(0, 2**32 - 1))
    rng = np.random.default_rng(seed)
    made = []
    for grower in range(1, many + 1):
        for block in range(rng.integers(1, 4)):
            vines = int(rng.choice([40, 100, 300, 2000], p=[0.2, 0.5, 0.25, 0.05]))
            cases = int(rng.binomial(vines, rng.choice([0.0, 0.02, 0.1, 0.6, 1.0], p=[0.2, 0.3, 0.3, 0.15, 0.05])))
            made.append(
                card(
                    told(
                        grower,
                        f"r{block}",
                        [(2026, vines, cases, 0, 0, "leafy")],
                        cultivar=str(rng.choice(CULTIVARS, p=[0.6, 0.3, 0.1])),
                        region=str(rng.choice(REGIONS, p=[0.7, 0.3])),
                    )
                )
            )
    return made


def play(cards, tables):
    """Show tables one after the other; return what was printed of each, by cell, as sets of blocks with limits of cases."""
    ledger, printed, new = EMPTY, [], []
    for by in tables:
        table, ledger = pool(cards, by, ledger)
        new += [one.shown for one in table.cells if not one.earlier]
    mark = {ledger.mark(c.grower, c.id, 2026, "showing", c.seasons[0].vines, c.seasons[0].cases): c for c in cards}
    for one in new:
        names = [(mark[block].grower, mark[block].id) for block, _ in one.members]
        printed.append((names, one.figure.cases_low, one.figure.cases_high))
    return printed


TABLES = [
    [("cultivar", "region")],
    [("cultivar",), ("cultivar", "region")],
    [("cultivar", "region"), ("region",), ("cultivar",), ()],
]


def hidden_sets(cards, printed, tables):
    """Every cell of every table that was not printed, as blocks."""
    shown_sets = {frozenset(names) for names, _, _ in printed}
    for by in tables:
        cells = {}
        for one in cards:
            cells.setdefault(tuple(one.told["block"][name] for name in by), set()).add((one.grower, one.id))
        yield from (cell for cell in cells.values() if frozenset(cell) not in shown_sets)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(programmes(), st.sampled_from(TABLES))
def test_no_reader_of_any_tables_finds_the_cases_of_a_cell_that_is_not_shown(cards, tables):
    printed = play(cards, tables)
    blocks = [(one.grower, one.id) for one in cards]
    truth = {(one.grower, one.id): one.seasons[0].cases for one in cards}
    vines = {(one.grower, one.id): one.seasons[0].vines for one in cards}
    for cell in hidden_sets(cards, printed, tables):
        if may_show([Part(*block, vines[block], truth[block]) for block in cell]):
            continue  # held back beside another table, for what the two would tell of others
        low, high = reader(printed, blocks, sorted(cell), {})
        own = sum(truth[block] for block in cell)
        assert low <= own <= high
        assert high - low >= max(BASE - 1, 0.3 * own), (low, own, high)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(programmes())
def test_who_knows_all_growers_but_one_finds_nothing_of_a_cell_that_is_not_shown(cards):
    """One table with its sums: the sums are of cells that are shown, so nothing can be subtracted from them."""
    tables = [("cultivar", "region")]
    printed = play(cards, tables)
    blocks = [(one.grower, one.id) for one in cards]
    truth = {(one.grower, one.id): one.seasons[0].cases for one in cards}
    table, _ = pool(cards, tables[0], EMPTY)
    inside = {block for names, _, _ in printed for block in names}
    assert sum(one.vines for one in table.sums if not one.cell) == sum(c.shown.figure.vines for c in table.cells)
    for cell in hidden_sets(cards, printed, tables):
        for target in {grower for grower, _ in cell}:
            sure = {block: (many, many) for block, many in truth.items() if block[0] != target}
            wanted = sorted(block for block in cell if block[0] == target and block not in inside)
            if not wanted:
                continue
            low, high = reader(printed, blocks, wanted, sure)
            assert low == 0
            assert high == math.inf


def test_the_reader_of_these_tests_does_find_what_a_sum_gives_away():
    """The same reader, where a sum is of all cells as usual: the hidden one lies open."""
    printed = [(["a", "b"], 48, 52), (["a"], 38, 42)]
    assert reader(printed, ["a", "b"], ["b"], {}) == (6.0, 14.0)
    assert reader(printed, ["a", "b"], ["b"], {"a": (40, 40)}) == (8.0, 12.0)


def test_many_small_sets_show_nothing_new_rather_than_to_reckon_for_hours(monkeypatch):
    from trunkwatch.cards import attack

    figures = [known("abcdefghijkl"), known("mnopqabc")]
    assert not exposed(figures[:1])
    monkeypatch.setattr(attack, "_MOST_SETS", 0)
    assert exposed(figures)


def test_a_cell_that_was_shown_keeps_its_place_when_its_grower_is_gone():
    """A grower withdraws: the earlier figure stands, and nothing new is set beside it."""
    cards = of_growers([10, 12, 14, 9, 8, 11])
    _, ledger = pool(cards, (), EMPTY)
    table, after = pool(cards[:-1], (), ledger)
    assert after == ledger
    assert all(one.earlier for one in table.cells)
    assert key(6).public("pool") not in repr(after)
    other = replace(EMPTY, key=b"z" * 32)
    assert other.mark("a") != EMPTY.mark("a")

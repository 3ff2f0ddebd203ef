"""Bud counts and rows pruned on the phone, in a real browser."""

import itertools
import json
import shutil

import pytest
from flight_day import TRAPS
from phone_screens import FAINT, SMALL, handed_over, in_hand, marked, run, saved, tap, whole

from trunkwatch.block.opening import read
from trunkwatch.cold.noted import rows_pruned
from trunkwatch.cold.pace import PaceFrom, pace_of, vines_in
from trunkwatch.history.landmarks import landmarks
from trunkwatch.store import Store

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def vineyard(tmp_path_factory):
    folder = tmp_path_factory.mktemp("buds")
    file = folder / "v.gpkg"
    run(
        "new",
        folder / "notes",
        block="Long",
        rows=24,
        vines=60,
        planted=2005,
        training="bilateral",
        cultivar="Riesling",
        row_spacing_m=2.5,
        vine_spacing_m=1.5,
        hemisphere="north",
    )
    run("load", file, folder / "notes")
    run("log", file, "pruning", "--block", "Long", "--date", "2026-01-10", "--covered", "3", "--hours", 2)
    run("sheet", file, block="Long", season=2026, phone=True, look="dormant", out=folder / "phone.html")
    return file


@pytest.fixture
def phone(vineyard):
    # A day of that winter, so that the months are those of counts.
    script = TRAPS.replace("OFFSET", "Date.parse('2026-01-20T10:00:00') - Date.now()")
    with in_hand() as open_page:

        def start(name="Ana"):
            page = open_page(vineyard.parent / "phone.html", script)
            page.fill("#observer", name)
            return page

        yield start


def bud(page, number, kind, value):
    tap(page, f"[data-bud='{number} {kind} {value}']")


def standing(path, table):
    with Store.open(path) as store:
        return store.frame(table)


def test_cane_by_cane_each_tap_is_on_the_disk_and_the_same_tap_takes_it_back(phone, vineyard, tmp_path):
    page = phone()
    tap(page, "#buds")
    whole(page, "buds")
    tap(page, "#count")
    assert page.inner_text("#tally") == "0 of 0 dead"
    assert (
        page.locator("[data-bud*=secondary]:not([disabled])").count() == 0
    )  # nothing is said of a bud that was not cut
    before = page.taps
    for number, primary in enumerate(("dead", "alive", "dead", "alive"), start=1):
        bud(page, number, "primary", primary)
    assert page.taps == before + 4  # a cane of four buds
    bud(page, 1, "secondary", "alive")
    bud(page, 3, "secondary", "dead")
    bud(page, 3, "tertiary", "dead")
    bud(page, 3, "tertiary", "dead")
    assert page.inner_text("#tally") == "2 of 4 dead"
    assert "canes: 1; Secondary: 1 dead, 1 alive" in page.inner_text("#counted")
    whole(page, "cane")
    tap(page, "#next")
    assert page.inner_text("h1") == "Cane 2"
    bud(page, 1, "primary", "alive")
    bud(page, 1, "secondary", "alive")
    bud(page, 2, "primary", "alive")
    bud(page, 1, "primary", "alive")  # taken back, and with it what was said of the bud
    page.reload()
    page.wait_for_selector("body[data-ready=yes]")
    assert (page.inner_text("h1"), page.inner_text("#tally")) == ("Cane 2", "2 of 5 dead")
    assert page.evaluate("items.length") == 1
    copy = tmp_path / "v.gpkg"
    shutil.copy(vineyard, copy)
    for _ in range(2):
        run("load", copy, handed_over(page, tmp_path / "one.json"))
    columns = ["date", "observer", "canes", "buds", "primary_dead", "secondary_dead", "secondary_alive"]
    (line,) = standing(copy, "bud_counts")[columns].to_numpy().tolist()
    assert line == ["2026-01-20", "Ana", 2, 5, 2, 1, 1]
    assert standing(copy, "bud_counts")["tertiary_dead"].isna().all()
    assert json.loads((tmp_path / "one.json").read_text())["trunkwatch_handover"] == 4
    # What was sent and counted on is the same count still.
    marked(page)
    bud(page, 1, "primary", "dead")
    run("load", copy, handed_over(page, tmp_path / "two.json"))
    assert standing(copy, "bud_counts")[["buds", "primary_dead"]].to_numpy().tolist() == [[6, 3]]


def test_a_full_store_counts_nothing_and_a_count_without_buds_is_none(phone):
    page = phone()
    tap(page, "#buds")
    tap(page, "#count")
    page.evaluate("window.full = true")
    bud(page, 1, "primary", "dead")
    assert "NOT saved" in page.inner_text("#tick")
    assert page.inner_text("#tally") == "0 of 0 dead"
    assert page.get_attribute("[data-bud='1 primary dead']", "aria-pressed") == "false"
    page.evaluate("window.full = false")
    bud(page, 1, "primary", "dead")
    bud(page, 1, "primary", "dead")
    assert page.evaluate("items.map((one) => one.state)") == ["void"]
    assert page.evaluate("pure.handover(data, 'x', items, new Date()).bud_counts") is None


def test_two_tabs_count_the_same_canes_together(phone):
    page = phone()
    tap(page, "#buds")
    tap(page, "#count")
    bud(page, 1, "primary", "dead")
    other = page.context.new_page()
    other.goto(page.url)
    other.wait_for_selector("body[data-ready=yes]")
    other.evaluate("if (others) others.onmessage = null")
    other.evaluate("tapBud(1, 'primary', 'alive')")
    other.wait_for_function("items.length === 1 && items[0].row.buds === 2")
    page.evaluate("if (others) others.onmessage = null")
    bud(page, 3, "primary", "alive")
    assert page.inner_text("#tally") == "1 of 3 dead"


def test_two_phones_count_apart_and_meet_in_any_order(phone, vineyard, tmp_path):
    files = []
    for name, dead in (("Ana", 3), ("Ben", 1)):
        page = phone(name)
        tap(page, "#buds")
        tap(page, "[data-buds='date 2026-01-19']")  # collected the day before
        tap(page, "#count")
        for number in (1, 2, 3):
            bud(page, number, "primary", "dead" if number <= dead else "alive")
        files.append(handed_over(page, tmp_path / f"{name}.json"))
    stands = []
    for number, order in enumerate(itertools.permutations(files)):
        copy = tmp_path / f"{number}.gpkg"
        shutil.copy(vineyard, copy)
        for file in (*order, order[0]):
            run("load", copy, file)
        stands.append(
            sorted(standing(copy, "bud_counts")[["date", "observer", "buds", "primary_dead"]].to_numpy().tolist())
        )
        folder = tmp_path / f"folder{number}"
        run("export", vineyard, folder)
        for file in order:
            run("load", folder, file)
        assert len((folder / "bud_counts.csv").read_text().splitlines()) == 3
    assert stands == [[["2026-01-19", "Ana", 3, 3], ["2026-01-19", "Ben", 3, 1]]] * 2


def test_a_row_is_pruned_by_one_tap_with_people_and_hours_and_the_crews_pace_is_learnt(phone, vineyard, tmp_path):
    page = phone()
    tap(page, "#pruned")
    whole(page, "pruned")
    assert page.locator("[data-pruned='3']").is_disabled()  # pruned before, as the desk knows
    tap(page, "[data-hands='2']")
    tap(page, "[data-hours='1.5']")
    before = page.taps
    for label in ("1", "2", "4", "5"):
        tap(page, f"[data-pruned='{label}']")
        saved(page, f"Row {label}")
    assert page.taps == before + 4
    tap(page, "[data-pruned='4']")  # the same tap takes it back
    saved(page, "Undo Row 4")
    tap(page, "Long first cut")
    tap(page, "[data-pruned='6']")
    whole(page, "tapped")
    copy = tmp_path / "v.gpkg"
    shutil.copy(vineyard, copy)
    for _ in range(2):
        run("load", copy, handed_over(page, tmp_path / "one.json"))
    got = standing(copy, "pruning")
    got = got[got["date"] == "2026-01-20"][["covered", "cut", "hours", "crew"]].to_numpy().tolist()
    assert sorted(got) == [["1", "", 3, "Ana"], ["2", "", 3, "Ana"], ["5", "", 3, "Ana"], ["6", "first", 3, "Ana"]]
    with Store.open(copy) as store:
        reading, _ = read(store, "Long")
        lines = rows_pruned(store.frame("pruning", "Long"))
    missing, _ = landmarks(reading, 2026)
    living = reading.grid.exists & ~missing
    pace = pace_of([(one, int(vines_in(reading, one, living).sum())) for one in lines], [], None)
    # Three rows of 60 vines in 9 hours and one in 2.
    assert (pace.comes_from, round(pace.minutes, 2)) == (PaceFrom.BLOCK, round(60 * 11 / 240, 2))


def test_the_new_screens_fit_in_both_languages_have_large_keys_and_stand_out(phone):
    page = phone()
    page.evaluate(
        "data.buds.cultivars = ['Riesling', 'Merlot', 'Chasselas']; data.buds.parts = ['hill top', 'hollow'];"
    )
    for language in ("en", "es"):
        page.evaluate(f"state.language = '{language}'; state.buds = null")
        for n in range(3):
            page.evaluate(
                f"(async () => {{ setBuds({{ count: '{language}{n}', cane: 0, each: 6, part: 'hill top' }}); await tapBud(0, 'primary', 'dead'); await tapBud(0, 'secondary', 'alive'); await tapBud(1, 'primary', 'alive'); await tapBud(1, 'tertiary', 'dead'); }})()"
            )
        for screen in ("start", "settings", "rows", "buds", "cane", "pruned"):
            page.evaluate(f"state.screen = '{screen}'; state.from = 'last'; render()")
            page.wait_for_timeout(220)
            page.evaluate("document.getElementById('tick').className = ''")
            whole(page, f"{language} {screen}")
            assert page.evaluate(SMALL) == [], (language, screen)
            assert page.evaluate(FAINT) == [], (language, screen)


def test_sums_of_canes_by_hand(phone):
    page = phone()
    sums = page.evaluate(
        "pure.budSums([[{ primary: 'dead', secondary: 'dead', tertiary: 'alive' }, { primary: 'alive' }], [{}], [{ secondary: 'dead' }, { primary: 'dead' }]])"
    )
    assert sums == {
        "canes": 2,
        "buds": 3,
        "primary_dead": 2,
        "secondary_dead": 1,
        "secondary_alive": 0,
        "tertiary_dead": 0,
        "tertiary_alive": 1,
    }
    assert page.evaluate("pure.budSums([])") == {
        "canes": 0,
        "buds": 0,
        "primary_dead": 0,
        "secondary_dead": "",
        "secondary_alive": "",
        "tertiary_dead": "",
        "tertiary_alive": "",
    }
    assert page.evaluate("pure.tapped([], 1, 1, 'primary', 'dead')") == [[], [{}, {"primary": "dead"}]]
    assert page.evaluate("pure.tapped([[{ primary: 'dead', secondary: 'alive' }]], 0, 0, 'primary', '')") == [[{}]]

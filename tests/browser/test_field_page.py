"""The phone page in a real browser: flight mode, a browser killed half-way, taps counted, hand-over."""

import functools
import http.server
import json
import os
import shutil
import signal
import threading
import time
from pathlib import Path

import pytest
from phone_screens import new_long_block, run

from trunkwatch.block import open_vineyard
from trunkwatch.grid import RowGrid
from trunkwatch.sheets.field_page import field_data, write_app_folder
from trunkwatch.spreadsheets.handover import read_handover
from trunkwatch.store import Store
from trunkwatch.surveys.to_walk import to_walk

pytestmark = pytest.mark.browser

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), None
)
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
         "--disable-sync", "--no-first-run"]  # fmt: skip
#: Remembers how the database was asked to write; makes writes fail or last longer where a test says so.
SPY = """
window.asked = [];
window.slow = 0;
window.failing = false;
Object.defineProperty(IDBTransaction.prototype, "oncomplete", { set(done) {
  this.addEventListener("complete", () => setTimeout(done, window.slow)); } });
const plain = IDBDatabase.prototype.transaction;
IDBDatabase.prototype.transaction = function (stores, mode, options) {
  if (mode === "readwrite") window.asked.push((options || {}).durability || "none");
  const work = plain.call(this, stores, mode, options);
  if (window.failing && mode === "readwrite") setTimeout(() => work.abort());
  return work;
};
"""
FINDINGS = [(7, "leaf_stripe", ""), (12, "dead_arm", "start"), (23, "leaf_stripe", ""), (31, "leaf_stripe", ""),
            (44, "leaf_stripe", ""), (58, "dead_arm", "end")]  # fmt: skip
WORDS = {"leaf_stripe": "striped leaves", "dead_arm": "dead arm (cordon)"}


@pytest.fixture(scope="module")
def vineyard(tmp_path_factory):
    folder = tmp_path_factory.mktemp("field") / "vines"
    new_long_block(folder, 3)
    rows = folder / "rows.csv"
    text = rows.read_text().splitlines()
    head = text[0].split(",")
    if "bay_ends" not in head:
        text = [text[0] + ",bay_ends", *(line + ",every 6" for line in text[1:])]
    rows.write_text("\n".join(text) + "\n")
    run("log", folder, "plant", "--block", "Long", "--row", 1, "--position", 20, "--reason", "missing")
    run("sheet", folder, "--block", "Long", "--season", 2026, "--phone", "--out", folder.parent / "phone.html")
    return folder


@pytest.fixture
def phone(tmp_path):
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as api:
        said = []

        def start(path, script="", **more):
            context = api.chromium.launch_persistent_context(
                str(tmp_path / "profile"),
                executable_path=CHROMIUM,
                args=FLAGS,
                offline=more.pop("offline", True),
                viewport={"width": 390, "height": 844},
                has_touch=True,
                accept_downloads=True,
                **more,
            )
            context.add_init_script(SPY + script)
            page = context.pages[0]
            page.on("pageerror", lambda error: said.append(str(error)))
            page.on("console", lambda line: said.append(line.text) if line.type == "error" else None)
            page.taps = 0
            page.goto(path if isinstance(path, str) else path.as_uri())
            page.wait_for_selector("body[data-ready=yes]")
            return context, page

        yield start
        assert said == []


def tap(page, text, exact=True):
    page.wait_for_selector("#page:not(.settling)")
    page.get_by_role("button", name=text, exact=exact).first.tap()
    page.taps += 1


def type_number(page, number):
    for digit in str(number):
        tap(page, digit)


def saved(page, text):
    page.wait_for_function("(text) => document.getElementById('tick').textContent.includes(text)", arg=text)


def note(page, position, symptom, arm, typed=True):
    if typed:
        type_number(page, position)
    tap(page, WORDS[symptom])
    if arm:
        tap(page, f"toward row {arm}")
    saved(page, f"1:{position} ")


def kill_browser(profile):
    """Kill the browser that this test started, which its profile names: no goodbye to the page."""
    wanted = f"--user-data-dir={profile}".encode()
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            words = (folder / "cmdline").read_bytes().split(b"\0")
        except OSError:
            continue
        if wanted in words and not any(word.startswith(b"--type=") for word in words):
            os.kill(int(folder.name), signal.SIGKILL)
    time.sleep(0.5)


def handed_over(page):
    tap(page, "Records:", exact=False)
    with page.expect_download() as waiting:
        tap(page, "Send records")
    return Path(waiting.value.path())


def test_a_row_in_flight_mode_with_the_browser_killed_half_way(vineyard, phone, tmp_path):
    path = vineyard.parent / "phone.html"
    context, page = phone(path)
    page.fill("#observer", "Ana")
    tap(page, "Start this row")
    for finding in FINDINGS[:3]:
        note(page, *finding)
    assert set(page.evaluate("window.asked")) == {"strict"}
    first = page.taps
    kill_browser(tmp_path / "profile")  # in the very moment in which the tick is shown
    context, page = phone(path)
    assert page.locator("#at").is_visible()  # it opens in the row
    for finding in FINDINGS[3:]:
        note(page, *finding)
    page.screenshot(path=str(tmp_path / "walk.png"))
    tap(page, "Row done")
    type_number(page, 60)
    tap(page, "OK")
    saved(page, "1:1..60")
    assert first + page.taps <= 15 + 6 * 5
    told = handed_over(page)
    shutil.copy(told, tmp_path / "one.json")
    shutil.copy(handed_over_again(page), tmp_path / "two.json")
    context.close()
    frames, faults = read_handover(tmp_path / "one.json")
    assert faults == []
    got = [(int(r.position), r.symptom, r.arm) for r in frames["symptoms"].itertuples()]
    assert got == FINDINGS
    assert frames["surveys"][["covered", "observer", "method"]].to_numpy().tolist() == [["1:1..60", "Ana", "phone"]]
    copy = tmp_path / "vines.gpkg"
    run("load", copy, vineyard)
    run("load", copy, tmp_path / "one.json")
    run("export", copy, tmp_path / "a")
    run("load", copy, tmp_path / "two.json")
    run("export", copy, tmp_path / "b")
    assert (tmp_path / "a" / "symptoms.csv").read_bytes() == (tmp_path / "b" / "symptoms.csv").read_bytes()
    assert len((tmp_path / "a" / "symptoms.csv").read_text().splitlines()) == 7


def handed_over_again(page):
    with page.expect_download() as waiting:
        tap(page, "Send records")
    return Path(waiting.value.path())


def test_every_vine_in_few_taps_and_the_missing_one_is_passed(vineyard, phone):
    context, page = phone(vineyard.parent / "phone.html")
    tap(page, "Tap for every vine")
    before = page.taps
    tap(page, "Start this row")
    wanted = {position: (symptom, arm) for position, symptom, arm in FINDINGS}
    seen = []
    for _ in range(59):
        position = int(page.locator("#at").inner_text())
        seen.append(position)
        if position in wanted:
            note(page, position, *wanted[position], typed=False)
            if position == 60:
                break
        else:
            tap(page, "Nothing seen")
            page.wait_for_function(
                "(n) => document.getElementById('at').textContent !== String(n) || document.getElementById('done')",
                arg=position,
            )
    tap(page, "Row done")
    saved(page, "1:1..60")
    assert seen == [p for p in range(1, 61) if p != 20]
    assert page.taps - before <= 60 + 6 * 4
    frames, _ = read_handover(handed_over(page))
    assert [int(p) for p in frames["symptoms"]["position"]] == [p for p, _, _ in FINDINGS]
    context.close()


def test_a_count_that_is_off_asks_where_and_moves_the_findings_behind(vineyard, phone):
    context, page = phone(vineyard.parent / "phone.html")
    tap(page, "Start this row")
    for position in (7, 30, 43):
        type_number(page, position)
        tap(page, "striped leaves")
        saved(page, f"1:{position} ")
    tap(page, "Row done")
    type_number(page, 59)
    tap(page, "OK")
    tap(page, "Before 30 striped leaves")
    saved(page, "1:1..60")
    frames, _ = read_handover(handed_over(page))
    assert [int(p) for p in frames["symptoms"]["position"]] == [7, 31, 44]
    context.close()


def test_undo_details_bays_the_far_end_and_spanish(vineyard, phone, tmp_path):
    context, page = phone(vineyard.parent / "phone.html")
    tap(page, "I stand at position 60")
    tap(page, "Start this row")
    tap(page, "by bay")
    type_number(page, 2)
    tap(page, "bay 2", exact=False)
    type_number(page, 5)
    tap(page, "striped leaves")
    saved(page, "1:11 ")
    tap(page, "Undo")
    saved(page, "1:11")
    tap(page, "by position")
    type_number(page, 61)
    assert page.get_by_text("There is no position 61 in this row: 1 to 60.").is_visible()
    tap(page, "Delete digit")
    tap(page, "Delete digit")
    type_number(page, 50)
    tap(page, "dead arm (cordon)")
    tap(page, "toward row end")
    saved(page, "1:50 ")
    tap(page, "Details")
    page.fill("#percent", "40")
    page.select_option("#renewal_shoot", "above_union")
    tap(page, "good (pencil-thick, brown)")
    tap(page, "thin")
    tap(page, "thin")  # the same again takes it back
    assert page.locator('[data-code][aria-pressed="true"]').count() == 0
    tap(page, "unripe (pale)")
    page.fill("#note", "<b>old</b> wound")
    tap(page, "Save")
    tap(page, "Row done")
    type_number(page, 31)
    tap(page, "OK")
    tap(page, "I only scouted to 31")
    saved(page, "1:31..60")
    tap(page, "Español")
    assert page.get_by_role("button", name="Empezar esta fila").is_visible()
    assert page.get_by_text("Traducción sin revisar").is_visible()
    assert page.get_by_text("Estoy en la posición 1", exact=True).is_visible()
    tap(page, "Registros:", exact=False)
    with page.expect_download() as waiting:
        tap(page, "Entregar los registros")
    told = json.loads(Path(waiting.value.path()).read_text())
    assert [
        (r["position"], r["percent"], r["renewal_shoot"], r["shoot_quality"], r["note"]) for r in told["symptoms"]
    ] == [("50", 40, "above_union", "unripe", "<b>old</b> wound")]
    page.screenshot(path=str(tmp_path / "records.png"), full_page=True)
    context.close()


#: Screens that hold all they have without scrolling have smaller keys, closer together.
SMALL = """() => { const least = document.querySelector('.fit') ? 48 : 72;
  return [...document.querySelectorAll('button, input, select')].filter((b) => b.offsetWidth < least || b.offsetHeight < least).map((b) => b.textContent || b.id); }"""
GAP = """() => { const r = [...document.querySelectorAll('button, input, select')].map((b) => b.getBoundingClientRect());
  let least = 99; for (const a of r) for (const b of r) if (a !== b) {
    const dx = Math.max(a.left - b.right, b.left - a.right), dy = Math.max(a.top - b.bottom, b.top - a.bottom);
    least = Math.min(least, Math.max(dx, dy)); } return least; }"""


def test_targets_are_large_and_apart_on_every_screen_and_the_page_is_small(vineyard, phone):
    path = vineyard.parent / "phone.html"
    assert path.stat().st_size < 500_000
    assert "http://" not in path.read_text().replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in path.read_text()
    context, page = phone(path)

    def fits(screen):
        assert page.evaluate(SMALL) == [], screen
        assert page.evaluate(GAP) >= (4.9 if page.locator(".fit").count() else 7.9), screen
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, screen

    for language, start in (("English", "Start this row"), ("Espa\u00f1ol", "Empezar esta fila")):
        tap(page, language)
        fits("start")
        tap(page, start)
        type_number(page, 5)
        fits("walk")
        page.evaluate("armScreen(5, 'dead_arm')")
        fits("arm")
        page.evaluate("finding(5, 'dead_arm', 'start')")
        page.wait_for_function("walked().length === 1")
        for screen, script in (
            ("details", "detailsScreen(lastId())"),
            ("more", "moreScreen(5)"),
            ("off", "typed = '59'; offScreen(59)"),
            ("end", "state.screen = 'end'; render()"),
            ("records", "showRecords()"),
            ("work", "state.screen = 'work'; render()"),
            ("every", "state.road = 'every'; state.screen = 'walk'; render()"),
        ):
            page.evaluate(f"(() => {{ {script} }})()")
            fits(screen)
        page.evaluate("undo(lastId()).then(() => { state.road = 'findings'; return leaveRow(); })")
        page.wait_for_function("state.walk === null")
    context.close()


def test_the_tick_waits_for_the_disk_and_a_failed_write_is_no_tick(vineyard, phone):
    context, page = phone(vineyard.parent / "phone.html")
    tap(page, "Start this row")
    type_number(page, 8)
    page.evaluate("window.slow = 900")
    tap(page, "striped leaves")
    page.wait_for_timeout(400)
    assert page.evaluate("[document.getElementById('tick').className, items.length]") == ["", 0]
    saved(page, "1:8 ")
    page.evaluate("window.slow = 0; window.failing = true")
    type_number(page, 9)
    tap(page, "striped leaves")
    saved(page, "NOT saved")
    assert "\u2713" not in page.locator("#tick").inner_text()
    assert page.locator("#at").inner_text() == "9"  # what was typed is still there
    page.evaluate("window.failing = false")
    tap(page, "striped leaves")
    saved(page, "1:9 ")
    page.reload()
    page.wait_for_selector("body[data-ready=yes]")
    assert page.evaluate("walked().map((item) => item.row.position)") == ["8", "9"]
    context.close()


def test_a_trembling_hand_writes_once(vineyard, phone):
    context, page = phone(vineyard.parent / "phone.html")
    tap(page, "Tap for every vine")
    tap(page, "Start this row")
    page.wait_for_selector("#nothing")
    twice = "(name) => { const one = [...document.querySelectorAll('button')].find((b) => b.textContent === name); one.click(); one.click(); }"
    page.evaluate(twice, "striped leaves")
    saved(page, "1:1 ")
    page.wait_for_selector("#page:not(.settling)")
    box = page.get_by_role("button", name="striped leaves").bounding_box()
    page.touchscreen.tap(box["x"] + 30, box["y"] + 30)  # long after: meant
    page.wait_for_function("walked().length === 2")
    page.evaluate("render(); shown = ''; settle('other')")
    page.touchscreen.tap(box["x"] + 30, box["y"] + 30)  # at once after a new screen: a bounce
    page.wait_for_timeout(300)
    assert page.evaluate("walked().map((item) => item.row.position)") == ["1", "2"]
    page.evaluate("state.screen = 'every_end'; render()")
    page.evaluate(twice, "Row done")
    saved(page, "1:1..60")
    assert page.evaluate("items.filter((item) => item.table === 'surveys').length") == 1
    context.close()


NO_DATABASE = "Object.defineProperty(window, 'indexedDB', { value: undefined });"
NO_STORE = NO_DATABASE + "Object.defineProperty(window, 'localStorage', { get() { throw new Error('none'); } });"


def test_a_phone_without_a_database_or_without_any_store_says_so(vineyard, phone):
    path = vineyard.parent / "phone.html"
    context, page = phone(path, NO_STORE)
    assert page.get_by_text("This page cannot store anything here").is_visible()
    tap(page, "Start this row")
    note(page, 7, "leaf_stripe", "")
    assert page.locator("#tick").inner_text() == "ONLY ON THIS SCREEN: 1:7 striped leaves"
    tap(page, "Row done")
    type_number(page, 60)
    tap(page, "OK")
    frames, faults = read_handover(handed_over(page))  # what is on the screen can still be handed over
    assert (len(frames["symptoms"]), len(frames["surveys"]), faults) == (1, 1, [])
    context.close()
    context, page = phone(path, NO_DATABASE)
    assert page.get_by_text("without a sure write to the disk").is_visible()
    tap(page, "Start this row")
    note(page, 7, "leaf_stripe", "")
    page.reload()
    page.wait_for_selector("body[data-ready=yes]")
    assert page.evaluate("walked().map((item) => item.row.position)") == ["7"]
    context.close()


def test_a_row_can_be_left_and_its_end_may_have_no_vine(vineyard, phone):
    context, page = phone(vineyard.parent / "phone.html")
    tap(page, "Start this row")
    note(page, 40, "leaf_stripe", "")
    tap(page, "Row done")
    type_number(page, 31)
    tap(page, "OK")
    assert page.get_by_text("Beyond 31 you wrote findings at: 40.").is_visible()
    assert page.get_by_role("button", name="I only scouted to").count() == 0
    tap(page, "Leave this row: it was not scouted")
    saved(page, "nothing is said about this row")
    page.evaluate("row().missing = [20, 59, 60]")
    tap(page, "Start this row")
    tap(page, "Row done")
    type_number(page, 58)
    tap(page, "OK")
    saved(page, "1:1..60")
    tap(page, "Tap for every vine")
    tap(page, "Start this row")
    tap(page, "Not scouted from here on")  # at the first vine
    saved(page, "nothing is said about this row")
    frames, _ = read_handover(handed_over(page))
    assert frames["surveys"]["covered"].tolist() == ["1:1..60"]
    assert frames["symptoms"]["position"].tolist() == ["40"]
    context.close()


def test_the_next_row_is_walked_back_whichever_end_each_is_numbered_from(vineyard, phone):
    _, page = phone(vineyard.parent / "phone.html")
    assert page.evaluate("data.rows.map((row) => row.back)") == [False, False, False]
    turns = "[[false, false], [false, true], [true, false], [true, true]].map(([done, next]) => ['first', 'last'].map((from) => trunkwatch_field.nextFrom({ back: done }, { back: next }, from)))"
    assert page.evaluate(turns) == [["last", "first"], ["first", "last"], ["first", "last"], ["last", "first"]]


def test_places_and_bays_are_those_of_the_grid_from_either_end(vineyard, phone):
    with open_vineyard(vineyard) as store:
        grid: RowGrid = to_walk(store, "Long", 2026).history.grid
    ends = list(grid.named[0].bay_ends)
    expected = [list(grid.bay_of("1", position)) for position in range(1, 61)]
    context, page = phone(vineyard.parent / "phone.html")
    bays = page.evaluate("[...Array(60).keys()].map((k) => Object.values(trunkwatch_field.bay(data.rows[0], k + 1)))")
    assert bays == expected
    # From the far end the bays of 60 vines in tens of six read the other way round.
    mine = page.evaluate(
        "[...Array(60).keys()].map((k) => Object.values(trunkwatch_field.bay(data.rows[0], k + 1, 'last', 'from_me')))"
    )
    assert (len(ends), mine) == (10, expected[::-1])
    assert page.evaluate("""['labels', 'from_me'].every((counting) => ['first', 'last'].every((from) => [...Array(60).keys()].every((k) => {
      const pure = trunkwatch_field, row = data.rows[0], at = pure.bay(row, k + 1, from, counting);
      return pure.ofBay(row, at.bay, at.vine, from, counting) === k + 1; })))""")
    outside = "[[0, 1], [11, 1], [2, 0], [2, 7]].map(([bay, vine]) => ['labels', 'from_me'].map((counting) => trunkwatch_field.ofBay(data.rows[0], bay, vine, 'last', counting)))"
    assert page.evaluate(outside) == [[None, None]] * 4
    marks = "[[6, 'first'], [7, 'last'], [15, 'first'], [19, 'first'], [60, 'first'], [24, 'last']].map(([at, from]) => trunkwatch_field.nextMark(data.rows[0], from, at))"
    post = {"what": "post"}
    assert page.evaluate(marks) == [
        {**post, "n": "6/7"},
        {**post, "n": "6/7"},
        {**post, "n": "18/19"},
        {"what": "missing", "n": 20},
        None,
        {"what": "missing", "n": 20},
    ]
    tap(page, "I stand at position 60")
    tap(page, "I count from where I stand")
    tap(page, "Start this row")
    tap(page, "by bay")
    type_number(page, 2)
    tap(page, "bay 2", exact=False)
    type_number(page, 5)
    assert page.get_by_text("your 11; bay 2, 5").is_visible()
    tap(page, "striped leaves")
    saved(page, "1:50 ")
    tap(page, "Row done")
    type_number(page, 59)
    tap(page, "OK")
    assert page.get_by_text("The row ends at 60, you count 59.").is_visible()
    # From the first position the labels hold, whatever was chosen at the far end.
    page.evaluate(
        "Object.assign(row(), { first: 10, last: 69, bay_ends: [] }); state.from = 'first'; byBay = false; typed = '12'"
    )
    assert page.evaluate("[state.counting, atTyped()]") == ["from_me", 12]
    context.close()


def test_what_the_office_would_refuse_is_refused_in_the_row(vineyard, phone):
    context, page = phone(vineyard.parent / "phone.html")
    tap(page, "Start this row")
    note(page, 7, "leaf_stripe", "")
    tap(page, "Details")
    for cell, said in (
        ("percent", "101"),
        ("percent", "-1"),
        ("dead", "2.5"),
        ("trunk", "0"),
        ("cut_height_cm", "abc"),
    ):
        page.fill(f"#{cell}", said)
        tap(page, "Save")
        saved(page, said)
        assert page.evaluate("document.activeElement.id") == cell
        page.fill(f"#{cell}", "")
    page.fill("#dead", "9")
    page.fill("#total", "8")
    tap(page, "Save")
    saved(page, "9 > 8")
    page.fill("#dead", "3")
    page.fill("#percent", "37,5")
    page.select_option("#pattern", "wedge")
    tap(page, "Save")
    saved(page, "Saved")
    tap(page, "Row done")
    type_number(page, 60)
    tap(page, "OK")
    frames, faults = read_handover(handed_over(page))
    assert faults == []
    assert frames["symptoms"][["dead", "total", "percent", "pattern"]].to_numpy().tolist() == [[3, 8, 37.5, "wedge"]]
    context.close()


def standing(path, table):
    with Store.open(path) as store:
        return store.frame(table)


def test_said_otherwise_after_the_hand_over_the_new_word_stands(vineyard, phone, tmp_path):
    context, page = phone(vineyard.parent / "phone.html")
    tap(page, "Start this row")
    note(page, 7, "leaf_stripe", "")
    tap(page, "Row done")
    type_number(page, 60)
    tap(page, "OK")
    copy = tmp_path / "vines.gpkg"
    run("load", copy, vineyard)
    shutil.copy(handed_over(page), tmp_path / "one.json")
    run("load", copy, tmp_path / "one.json")
    tap(page, "Details")
    page.fill("#note", "looked again")
    tap(page, "Save")
    saved(page, "Saved")
    shutil.copy(handed_over_again(page), tmp_path / "two.json")
    for _ in range(2):
        run("load", copy, tmp_path / "two.json")
    assert standing(copy, "symptoms")[["position", "note"]].to_numpy().tolist() == [["7", "looked again"]]
    tap(page, "Undo")
    page.wait_for_function("items.filter((item) => item.state === 'void').length === 2")
    shutil.copy(handed_over_again(page), tmp_path / "three.json")
    run("load", copy, tmp_path / "three.json")
    assert standing(copy, "symptoms").empty
    assert len(standing(copy, "surveys")) == 1
    context.close()


def test_work_is_ticked_and_a_tick_taken_back_is_planned_again(vineyard, phone, tmp_path):
    copy, path = tmp_path / "vines.gpkg", tmp_path / "work.html"
    run("load", copy, vineyard)
    run(
        "log",
        copy,
        "work",
        block="Long",
        row=2,
        position=9,
        date="2026-01-15",
        kind="renew_arm",
        arm="end",
        status="planned",
        note="<b>low</b>",
        cut_height_cm=35,
    )
    run("log", copy, "finding", block="Long", row=2, position=9, date="2025-08-15", symptom="dead_arm", arm="end")
    for date in ("2025-01-15", "2025-08-15"):
        run("log", copy, "survey", "--block", "Long", "--date", date, "--covered", "1..3")
    run("sheet", copy, "--block", "Long", "--season", 2026, "--phone", "--language", "es", "--out", path)
    context, page = phone(path)
    page.fill("#observer", "Ana")
    tap(page, "Lista de trabajo: 1")
    tap(page, "Lista entera")
    line = page.locator("li").inner_text()
    for told in (
        "2:9 renovar el brazo, brazo que se aleja de la cepa 1, 35 cm",
        "brazo muerto",
        "2025-08-15",
        "<b>low</b>",
    ):
        assert told in line
    page.locator(".vine-key").tap()
    vine = page.inner_text("#page")
    for told in ("vano 2, cepa 3", "brazo que se aleja de la cepa 1", "35 cm", "<b>low</b>"):
        assert told in vine
    tap(page, "Hecho")
    saved(page, "2:9 renovar el brazo")
    tap(page, "Lista de trabajo")
    tap(page, "Atr\u00e1s")
    tap(page, "Registros:", exact=False)
    for number, said in (("one", "done"), ("two", "planned")):
        with page.expect_download() as waiting:
            tap(page, "Entregar los registros")
        shutil.copy(waiting.value.path(), tmp_path / f"{number}.json")
        for _ in range(2):
            run("load", copy, tmp_path / f"{number}.json")
        assert standing(copy, "work")[
            ["position", "kind", "arm", "cut_height_cm", "status", "note"]
        ].to_numpy().tolist() == [["9", "renew_arm", "end", 35.0, said, "<b>low</b>"]]
        if said == "done":
            assert standing(copy, "work")["observer"].tolist() == ["Ana"]
            tap(page, "Deshacer")
            saved(page, "2:9")
    assert standing(copy, "work")["date"].tolist() == ["2026-01-15"]
    context.close()


def test_the_last_known_is_shown_only_when_asked_for(vineyard, phone, tmp_path):
    copy, path = tmp_path / "vines.gpkg", tmp_path / "known.html"
    run("load", copy, vineyard)
    run("log", copy, "finding", block="Long", row=1, position=9, date="2024-08-15", symptom="leaf_stripe")
    run("log", copy, "finding", block="Long", row=1, position=40, date="2023-08-15", symptom="collapse")
    for date, covered in (
        ("2024-01-15", "1:1..30"),
        ("2024-08-15", "1:1..30"),
        ("2025-01-15", "1:1..8"),
        ("2025-08-15", "1:1..8"),
    ):
        run("log", copy, "survey", "--block", "Long", "--date", date, "--covered", covered)
    run("sheet", copy, "--block", "Long", "--season", 2026, "--phone", "--out", path)
    context, page = phone(path)
    tap(page, "Start this row")
    for position, told in (
        (9, "showing, 2024; striped leaves, 2024-08-15"),
        (8, "no symptoms, 2025"),
        (31, "no season counted yet"),
        (40, "no season counted yet; sudden collapse of an arm or the vine, 2023-08-15"),
    ):
        type_number(page, position)
        assert told not in page.locator("body").inner_text()
        tap(page, "What is known?")
        saved(page, told)
        for _ in str(position):
            tap(page, "Delete digit")
    context.close()


def test_other_records_on_the_phone_are_not_forgotten(vineyard, phone, tmp_path):
    other = tmp_path / "other"
    run("new", other, block="Short", rows=2, vines=9, row_spacing_m=2.5, vine_spacing_m=1.5, hemisphere="north")
    run("sheet", other, "--block", "Short", "--season", 2026, "--phone", "--out", tmp_path / "short.html")
    context, page = phone(tmp_path / "short.html")
    tap(page, "Start this row")
    type_number(page, 4)
    tap(page, "striped leaves")
    saved(page, "1:4 ")
    identity = page.evaluate("data.vineyard")
    page.goto((vineyard.parent / "phone.html").as_uri())
    page.wait_for_selector("body[data-ready=yes]")
    assert page.evaluate("data.vineyard") != identity
    tap(page, "Records:", exact=False)
    with page.expect_download() as waiting:
        tap(page, "Also on this phone, not sent: Short 2026, 1 records. Send")
    told = json.loads(Path(waiting.value.path()).read_text())
    assert (told["vineyard"], told["block"], told["season"]) == (identity, "Short", 2026)
    assert [record["position"] for record in told["symptoms"]] == ["4"]
    page.wait_for_function("!document.querySelector('.elsewhere')")
    context.close()


def test_what_is_taken_back_after_the_hand_over_is_in_the_next_one(vineyard, phone, tmp_path):
    """Also when the phone shows another block by then, and only until the office was told."""
    other = tmp_path / "other"
    run("new", other, block="Short", rows=2, vines=9, row_spacing_m=2.5, vine_spacing_m=1.5, hemisphere="north")
    run("sheet", other, "--block", "Short", "--season", 2026, "--phone", "--out", tmp_path / "short.html")
    short, long = (tmp_path / "short.html").as_uri(), (vineyard.parent / "phone.html").as_uri()

    def reopened(address):
        page.goto(address)
        page.wait_for_selector("body[data-ready=yes]")
        page.evaluate("state.screen = 'start'; render()")  # it opens where it was left
        tap(page, "Records:", exact=False)

    context, page = phone(short)
    tap(page, "Start this row")
    for position in (4, 6):
        type_number(page, position)
        tap(page, "striped leaves")
        saved(page, f"1:{position} ")
    tap(page, "Row done")
    type_number(page, 9)
    tap(page, "OK")
    first = json.loads(handed_over(page).read_text())
    named = {record["position"]: record["id"] for record in first["symptoms"]}
    assert set(named) == {"4", "6"}
    page.wait_for_function("items.every((item) => item.handed)")
    reopened(long)
    assert page.locator(".elsewhere").count() == 0
    # Taken back: told to the office from the block itself, and from another one that is open by then.
    for position, address in (("4", short), ("6", long)):
        reopened(short)
        line = page.locator("li:not(.void)", has_text=f"1:{position} ")
        page.wait_for_selector("#page:not(.settling)")
        line.get_by_role("button", name="Undo", exact=True).tap()
        page.wait_for_function(
            "(id) => items.some((item) => item.id === id && item.state === 'void')", arg=named[position]
        )
        reopened(address)
        with page.expect_download() as waiting:
            if address == short:
                tap(page, "Send records")
            else:
                tap(page, "Also on this phone, not sent: Short 2026, 1 records. Send")
        told = json.loads(Path(waiting.value.path()).read_text())
        back = [record for record in told["symptoms"] if record.get("void") == "yes"]
        assert named[position] in {record["corrects"] for record in back}
        shutil.copy(waiting.value.path(), tmp_path / "one.json")
        run("load", other, tmp_path / "one.json")
        if address == short:
            page.wait_for_function("!items.some(pure.pending)")
        else:
            page.wait_for_function("!document.querySelector('.elsewhere')")
        reopened(long)
        page.wait_for_timeout(300)
        assert page.locator(".elsewhere").count() == 0
    run("export", other, tmp_path / "now", "--standing")
    assert not (tmp_path / "now" / "symptoms.csv").exists() or "leaf_stripe" not in (
        tmp_path / "now" / "symptoms.csv"
    ).read_text("utf-8-sig")
    context.close()


@pytest.fixture
def host(tmp_path):
    """Serve a folder as any host does; https is not needed on this machine."""
    folder = tmp_path / "host"
    folder.mkdir()

    class Quiet(http.server.SimpleHTTPRequestHandler):
        def log_message(self, *words):
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(folder)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield folder, f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()


def test_two_blocks_installed_from_one_host_both_open_in_flight_mode(host, phone, pytestconfig):
    folder, address = host
    with open_vineyard(pytestconfig.rootpath / "sample_blocks") as store:
        for block in ("Mill", "Chapel"):
            data = field_data(to_walk(store, block, 2026), identity="v", look="summer", language="en")
            write_app_folder(data, folder / block)
    context, page = phone(
        f"{address}/Mill/index.html",
        offline=False,
        geolocation={"longitude": 11.5, "latitude": 48.1, "accuracy": 4},
        permissions=["geolocation"],
    )
    for block in ("Mill", "Chapel"):
        page.goto(f"{address}/{block}/index.html")
        page.wait_for_function("navigator.serviceWorker.ready.then((one) => one.active.state === 'activated')")
    context.set_offline(True)
    for block in ("Mill", "Chapel"):
        page.goto(f"{address}/{block}/index.html")
        page.wait_for_selector("body[data-ready=yes]")
        assert page.locator("h1").inner_text() == f"{block} 2026"
    tap(page, "Settings")
    tap(page, "Store where I stand")
    tap(page, "Back")
    tap(page, "Start this row")
    page.wait_for_function("here !== null")
    type_number(page, 3)
    tap(page, "striped leaves")
    saved(page, "1:3 ")
    page.evaluate("here.told -= 60000")  # a minute old: not where the scout stands now
    type_number(page, 4)
    tap(page, "striped leaves")
    saved(page, "1:4 ")
    places = page.evaluate("walked().map((item) => [item.row.longitude ?? null, item.row.accuracy_m ?? null])")
    assert places == [[11.5, 4], [None, None]]
    context.close()


def test_a_date_outside_the_season_and_what_is_lacking_are_said(vineyard, phone):
    context, page = phone(vineyard.parent / "phone.html")
    tap(page, "Settings")
    assert page.get_by_text("This page runs without: offline start").is_visible()
    tap(page, "Back")
    page.evaluate("Object.assign(data, { season_from: '1999-11-01', season_to: '2000-10-31' }); render()")
    assert page.get_by_text("that is not season 2026").is_visible()
    page.evaluate("Object.assign(data, { season_from: '1999-11-01', season_to: '2999-10-31' }); render()")
    assert page.get_by_text("that is not season 2026").count() == 0
    context.close()


def test_by_keyboard_alone(vineyard, phone):
    context, page = phone(vineyard.parent / "phone.html")
    page.focus("#start")
    page.keyboard.press("Enter")
    page.wait_for_selector(".keys")
    page.keyboard.type("127")
    page.keyboard.press("Backspace")
    assert page.locator("#at").inner_text() == "12"
    page.get_by_role("button", name="striped leaves").focus()
    page.keyboard.press("Enter")
    saved(page, "1:12 ")
    page.get_by_role("button", name="3", exact=True).focus()
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.textContent") == "3"  # stays on the key
    context.close()

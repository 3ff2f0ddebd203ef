"""The phone page in a real browser: flight mode, a browser killed half-way, taps counted, hand-over."""

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.notes.handover import read_handover

pytestmark = pytest.mark.browser

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), None
)
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
         "--disable-sync", "--no-first-run"]  # fmt: skip
#: Remembers how the database was asked to write, and counts taps.
SPY = """
window.asked = [];
const plain = IDBDatabase.prototype.transaction;
IDBDatabase.prototype.transaction = function (stores, mode, options) {
  if (mode === "readwrite") window.asked.push((options || {}).durability || "none");
  return plain.call(this, stores, mode, options);
};
"""
FINDINGS = [(7, "leaf_stripe", ""), (12, "dead_arm", "start"), (23, "leaf_stripe", ""), (31, "leaf_stripe", ""),
            (44, "leaf_stripe", ""), (58, "dead_arm", "end")]  # fmt: skip
WORDS = {"leaf_stripe": "striped leaves", "dead_arm": "dead arm (cordon)"}


def run(*words):
    done = CliRunner().invoke(main, [str(word) for word in words])
    assert done.exit_code == 0, done.output
    return done


@pytest.fixture(scope="module")
def vineyard(tmp_path_factory):
    folder = tmp_path_factory.mktemp("field") / "vines"
    run("new", folder, "--block", "Long", "--rows", 3, "--vines", 60, "--planted", 2005, "--training", "bilateral",
        "--row-spacing-m", 2.5, "--vine-spacing-m", 1.5)  # fmt: skip
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

        def start(path, **more):
            context = api.chromium.launch_persistent_context(
                str(tmp_path / "profile"), executable_path=CHROMIUM, args=FLAGS, offline=True,
                viewport={"width": 390, "height": 844}, has_touch=True, accept_downloads=True, **more,
            )  # fmt: skip
            context.add_init_script(SPY)
            page = context.pages[0]
            page.on("pageerror", lambda error: said.append(str(error)))
            page.on("console", lambda line: said.append(line.text) if line.type == "error" else None)
            page.taps = 0
            page.goto(path.as_uri())
            page.wait_for_selector("body[data-ready=yes]")
            return context, page

        yield start
        assert said == []


def tap(page, text, exact=True):
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


def handed_over(page):
    tap(page, "Records:", exact=False)
    with page.expect_download() as waiting:
        tap(page, "Hand over the records")
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
    context.close()  # no goodbye to the page
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
        tap(page, "Hand over the records")
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
    tap(page, "Back")
    tap(page, "Back")
    type_number(page, 50)
    tap(page, "dead arm (cordon)")
    tap(page, "toward row end")
    saved(page, "1:50 ")
    tap(page, "Details")
    page.fill("#percent", "40")
    page.select_option("#renewal_shoot", "above_union")
    page.fill("#note", "<b>old</b> wound")
    tap(page, "Save")
    tap(page, "Row done")
    type_number(page, 31)
    tap(page, "OK")
    tap(page, "I only walked to 31")
    saved(page, "1:31..60")
    tap(page, "Español")
    assert page.get_by_role("button", name="Empezar esta fila").is_visible()
    assert page.get_by_text("Traducción sin revisar").is_visible()
    assert page.get_by_text("Estoy en la posición 1", exact=True).is_visible()
    tap(page, "Registros:", exact=False)
    with page.expect_download() as waiting:
        tap(page, "Entregar los registros")
    told = json.loads(Path(waiting.value.path()).read_text())
    assert [(r["position"], r["percent"], r["renewal_shoot"], r["note"]) for r in told["symptoms"]] == [
        ("50", 40, "above_union", "<b>old</b> wound")
    ]
    page.screenshot(path=str(tmp_path / "records.png"), full_page=True)
    context.close()


def test_targets_are_large_and_the_page_is_small(vineyard, phone):
    path = vineyard.parent / "phone.html"
    assert path.stat().st_size < 500_000
    assert "http://" not in path.read_text().replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in path.read_text()
    context, page = phone(path)
    small = "() => [...document.querySelectorAll('button')].filter((b) => b.offsetWidth < 72 || b.offsetHeight < 72).map((b) => b.textContent)"
    assert page.evaluate(small) == []
    tap(page, "Start this row")
    type_number(page, 5)
    assert page.evaluate(small) == []
    gaps = page.evaluate("""() => { const r = [...document.querySelectorAll('.keys button, .two button')].map((b) => b.getBoundingClientRect());
      let least = 99; for (const a of r) for (const b of r) if (a !== b) {
        const dx = Math.max(a.left - b.right, b.left - a.right), dy = Math.max(a.top - b.bottom, b.top - a.bottom);
        least = Math.min(least, Math.max(dx, dy)); } return least; }""")
    assert gaps >= 7.9
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    context.close()

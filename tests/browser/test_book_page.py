"""A workbook on the desk in a real browser: from no vineyard to the page of the block by mouse, at two widths and by keyboard."""

import shutil
import socket
import threading

import openpyxl
import pytest

from trunkwatch.store import Store
from trunkwatch.web.app import create_app
from trunkwatch.web.serving import hosts_for, listen

pytestmark = pytest.mark.browser

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), None
)
GRAVE = {"critical", "serious", "moderate"}
#: Buttons, links of the head, and fields that are shown and too low for a thumb.
TOO_LOW = """() => [...document.querySelectorAll('button, nav a, input:not([type=hidden]), select, textarea, summary, .to-blocks a')]
  .filter((one) => one.getClientRects().length && getComputedStyle(one).visibility !== 'hidden')
  .filter((one) => one.getBoundingClientRect().height < 44).map((one) => one.outerHTML.slice(0, 120))"""


@pytest.fixture
def path(tmp_path):
    return tmp_path / "v.gpkg"


@pytest.fixture
def address(path):
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    run = listen(create_app(path, hosts=hosts_for(port, lan=False)), "127.0.0.1", port)
    threading.Thread(target=run, daemon=True).start()
    return f"http://127.0.0.1:{port}"


@pytest.fixture
def browser():
    playwright = pytest.importorskip("playwright.sync_api")
    said = []
    with playwright.sync_playwright() as api:
        chromium = api.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])

        def window(width=1280, height=900, **more):
            page = chromium.new_context(viewport={"width": width, "height": height}, **more).new_page()
            page.set_default_timeout(180_000)
            page.on("pageerror", lambda error: said.append(str(error)))
            page.on("console", lambda told: said.append(told.text) if "Content Security Policy" in told.text else None)
            return page

        yield window
        chromium.close()
    assert said == []


@pytest.fixture
def book(tmp_path):
    """Return a workbook of two winters with a word that nobody knows, a doubtful one, and one of a side."""
    made = openpyxl.Workbook()
    made.remove(made.active)
    words = {(2, 3): "zzk", (3, 5): "gone?", (4, 1): "dead arm N side", (1, 6): "replanted 2021"}
    for day in ("2023-08-14", "2024-08-12"):
        page = made.create_sheet(f"North {day}")
        page.append(["Row", "Vine", "Status", "Notes"])
        for row in range(1, 6):
            for vine in range(1, 11):
                page.append([row, vine, words.get((row, vine), "ok"), ""])
    made.save(tmp_path / "Notes of two winters.xlsx")
    return tmp_path / "Notes of two winters.xlsx"


def until(page, script, seconds=60):
    """Wait until a script is true; Playwright's own waiting needs eval, which the pages forbid."""
    for _ in range(seconds * 20):
        if page.evaluate(script):
            return
        page.wait_for_timeout(50)
    raise AssertionError(script)


def to_the_plan(page, address, book):
    """Make a vineyard and hand the workbook in, by the buttons of the pages."""
    page.goto(address)
    page.fill("#name", "Low Ground")
    page.select_option("#hemisphere", "north")
    page.select_option("#units", "metric")
    page.get_by_role("button", name="Make it from a workbook").click()
    page.set_input_files("#file", str(book))
    page.get_by_role("button", name="Show what is in it").click()
    page.get_by_role("heading", name="Words to look over").wait_for()
    until(page, "document.getElementById('book').dataset.ready === 'yes'")


def test_from_a_workbook_to_the_page_of_the_block_by_mouse(address, path, browser, book):
    page = browser()
    to_the_plan(page, address, book)
    labels = page.locator(".words").first.locator("label b:first-child").all_inner_texts()
    assert labels == ["zzk", "gone?"]
    assert page.locator("#legend").inner_text().count("missing") == 1
    assert page.get_by_role("button", name="Import", exact=True).count() == 0
    page.get_by_label("zzk needs an answer").select_option("leaf_stripe")
    page.get_by_label("Side N is proposed").select_option("end")
    page.get_by_role("button", name="Show what would be imported").click()
    page.get_by_role("button", name="Import", exact=True).wait_for()
    until(page, "document.getElementById('book').dataset.ready === 'yes'")
    assert "showing 2 of 49 scouted" in page.locator("#line").inner_text()
    page.locator("#season").select_option(label="2023")
    assert "2023" in page.locator("#season option:checked").inner_text()
    page.get_by_role("button", name="Import", exact=True).click()
    page.get_by_role("link", name="Block North").click()
    until(page, "document.getElementById('desk').dataset.ready === 'yes'")
    assert page.url == f"{address}/block/North"
    assert page.locator("h1").inner_text() == "Block North"
    with Store.open(path) as store:
        seen = store.frame("symptoms", "North")
    assert sorted(zip(seen["row"], seen["symptom"], seen["arm"], strict=True)) == [
        ("2", "leaf_stripe", ""),
        ("2", "leaf_stripe", ""),
        ("4", "dead_arm", "end"),
        ("4", "dead_arm", "end"),
    ]


def test_the_page_of_a_workbook_by_thumb_and_without_a_grave_fault_of_access(address, browser, book):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = browser(390, 664)
    to_the_plan(page, address, book)
    page.evaluate("document.querySelectorAll('#book details').forEach((one) => { one.open = true; })")
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    assert page.evaluate(TOO_LOW) == []
    faults = []
    for width, scheme in ((390, "light"), (390, "dark"), (1280, "light")):
        page.set_viewport_size({"width": width, "height": 664})
        page.emulate_media(color_scheme=scheme)
        faults += [
            (width, scheme, one["id"], one["nodes"][0]["target"])
            for one in axe.run(page).response["violations"]
            if one["impact"] in GRAVE
        ]
    assert faults == []
    page.set_viewport_size({"width": 390, "height": 664})
    # The word is answered by keyboard alone, and the button pressed by it.
    page.locator("#word-1").focus()
    page.keyboard.type("canker")
    assert page.locator("#word-1").input_value() == "canker"
    page.locator("#again").focus()
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Import", exact=True).wait_for()
    page.get_by_role("button", name="Import", exact=True).press("Enter")
    page.get_by_role("link", name="Block North").wait_for()
    assert page.evaluate(TOO_LOW) == []
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    faults = [one["id"] for one in axe.run(page).response["violations"] if one["impact"] in GRAVE]
    assert faults == []


def test_the_page_of_a_workbook_works_without_scripts(address, browser, book, path):
    page = browser(java_script_enabled=False)
    page.goto(address)
    page.fill("#name", "Low Ground")
    page.select_option("#hemisphere", "south")
    page.select_option("#units", "us")
    page.get_by_role("button", name="Make it from a workbook").click()
    page.set_input_files("#file", str(book))
    page.get_by_role("button", name="Show what is in it").click()
    page.get_by_label("zzk needs an answer").select_option("sound")
    page.get_by_role("button", name="Show what would be imported").click()
    page.get_by_role("button", name="Import", exact=True).click()
    page.get_by_role("link", name="Block North").wait_for()
    with Store.open(path) as store:
        assert store.frame("blocks", "North")["hemisphere"].tolist() == ["south"]

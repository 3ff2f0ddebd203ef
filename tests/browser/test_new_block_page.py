"""The desk from nothing in a real browser: a vineyard, a block by its form, the first finding; every page of a block."""

import shutil
import socket
import threading

import pytest
from browser.module_names import NAMES

from trunkwatch.intake.bring import bring_files
from trunkwatch.store import Store
from trunkwatch.web.app import create_app
from trunkwatch.web.serving import hosts_for, listen

pytestmark = pytest.mark.browser

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), None
)
PAGES = ("/", "/new-block", "/import", "/people", "/phones", "/audit", *(f"/block/Mill{page}" for page in ("", "/survey", "/pattern", "/map", "/report", "/decide", "/lists")))  # fmt: skip
#: Buttons, links of the head, and fields that are shown and too low for a thumb.
TOO_LOW = """() => [...document.querySelectorAll('button, nav a, input:not([type=hidden]), select, textarea, summary')]
  .filter((one) => one.getClientRects().length && getComputedStyle(one).visibility !== 'hidden')
  .filter((one) => one.getBoundingClientRect().height < 44).map((one) => one.outerHTML.slice(0, 120))"""


def serve(path):
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    run = listen(create_app(path, hosts=hosts_for(port, lan=False)), "127.0.0.1", port)
    threading.Thread(target=run, daemon=True).start()
    return f"http://127.0.0.1:{port}"


@pytest.fixture(scope="module")
def sample(tmp_path_factory, pytestconfig):
    path = tmp_path_factory.mktemp("sample") / "v.gpkg"
    bring_files(path, pytestconfig.rootpath / "sample_blocks")
    return serve(path)


@pytest.fixture
def browser():
    playwright = pytest.importorskip("playwright.sync_api")
    said = []
    with playwright.sync_playwright() as api:
        chromium = api.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])

        def window(width=1280, height=900):
            page = chromium.new_context(viewport={"width": width, "height": height}).new_page()
            page.set_default_timeout(180_000)  # the first report of a block takes its time on a busy machine
            page.on("pageerror", lambda error: said.append(str(error)))
            return page

        yield window
        chromium.close()
    assert said == []


def until(page, script, seconds=60):
    """Wait until a script is true; Playwright's own waiting needs eval, which the pages forbid."""
    for _ in range(seconds * 20):
        if page.evaluate(script):
            return
        page.wait_for_timeout(50)
    raise AssertionError(script)


def follows(page):
    """Wait until the drawing is that of the last keystroke."""
    page.evaluate(NAMES)
    until(page, "place.dataset.seen === JSON.stringify(Object.fromEntries(new FormData(form))) && !asking")


@pytest.mark.parametrize("width", [1280, 390])
def test_from_nothing_to_the_first_finding(browser, tmp_path, width):
    path = tmp_path / "v.gpkg"
    page = browser(width)
    page.goto(serve(path))
    assert page.locator("h1").inner_text() == "New vineyard"
    assert str(path) in page.locator("main").inner_text()
    page.fill("#name", "Low Ground")
    page.select_option("#hemisphere", "north")
    page.select_option("#units", "us")
    page.click("text=Make the vineyard")
    page.wait_for_url("**/new-block")
    assert page.evaluate("document.documentElement.scrollWidth") == width
    assert page.input_value("#units") == "us"
    page.fill("#block", "North")
    page.fill("#many_rows", "3")
    page.focus("#vines")
    page.keyboard.type("6")
    follows(page)
    assert page.evaluate("data.x.length") == 18
    page.keyboard.type("0")
    follows(page)
    assert page.evaluate("data.x.length") == 180  # each keystroke is drawn
    page.fill("#first_label", "A")
    page.fill("#row_spacing", "8")
    page.fill("#vine_spacing", "5")
    page.fill("#row_bearing_deg", "E")
    page.fill("#odd_rows", "C: starts 3 vines later\nZ: starts at 2")
    follows(page)
    assert page.evaluate("data.labels.join()") == "A,B,C"
    assert page.evaluate("[data.north, data.unit, data.starts.length].join()") == "true,ft,3"
    assert "there is no row Z" in page.locator("#wrong-odd_rows").inner_text()
    assert page.get_attribute("#odd_rows", "aria-invalid") == "true"
    assert page.input_value("#odd_rows").endswith("Z: starts at 2")
    painted = "(() => { const all = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data; let dark = 0; for (let k = 0; k < all.length; k += 4) if (all[k] < 90) dark += 1; return dark; })()"
    assert page.evaluate(painted) > 300
    page.fill("#odd_rows", "C: starts 3 vines later")
    follows(page)
    assert page.locator("#wrong-odd_rows").inner_text() == ""
    page.click("#make")
    page.wait_for_url("**/block/North")
    page.wait_for_selector("#desk[data-ready=yes]")
    log_the_first_finding(page)
    with Store.open(path) as store:
        assert store.frame("rows", "North")["row"].tolist() == ["A", "B", "C"]
        assert store.frame("symptoms", "North")["position"].tolist() == ["4"]


def log_the_first_finding(page):
    page.keyboard.press("g")
    page.keyboard.press("r")
    assert page.evaluate("document.activeElement.id") == "row"
    page.keyboard.type("B")
    page.fill("#position", "4")
    page.fill("#symptom", "LS")
    page.fill("#date", "2026-08-18")
    page.keyboard.press("Enter")
    until(page, "document.querySelector('#written li:not(.wait)') !== null && !document.getElementById('vine').hidden")
    now = page.locator("#vine-now").inner_text()
    assert now.startswith("2026: 2026-08-18 striped leaves (no survey covers it")
    assert "nothing seen" not in now
    assert "not scouted" not in now
    assert page.locator("#vine-records li").count() == 1
    page.evaluate(NAMES)
    assert page.evaluate("[...writtenOpen()].map((vine) => nameOf(vine).join(':')).join()") == "B:4"
    assert "written, no case 1" in page.locator("#legend").inner_text()
    # Another one, of another season, with another vine: the drawing goes there, and the form stays as it was typed.
    page.fill("#date", "2025-08-20")
    page.fill("#position", "5")
    page.fill("#symptom", "LS")
    page.keyboard.press("Enter")
    until(page, "document.getElementById('vine-now').textContent.startsWith('2025: 2025-08-20 striped leaves')")
    assert page.locator("#vine-name").inner_text() == "Row B, position 5"
    page.locator("#written li").first.get_by_role("button", name="Undo").click()
    page.wait_for_selector("#written li.gone")


@pytest.mark.parametrize("where", PAGES)
def test_every_page_fits_a_phone_and_every_target_a_thumb(browser, sample, where):
    page = browser(390, 844)
    page.goto(sample + where)
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    assert page.evaluate(TOO_LOW) == []
    assert page.locator("header.desk-head").count() == 1


@pytest.mark.parametrize("where", ["/block/Mill/map", "/block/Mill/lists", "/block/Mill/report", "/"])
def test_two_keys_lead_to_the_row_field_from_anywhere(browser, sample, where):
    page = browser()
    page.goto(sample + where)
    page.wait_for_load_state()
    page.keyboard.press("g")
    page.keyboard.press("r")
    if where.endswith("map"):
        assert page.evaluate("document.activeElement.id") == "go-row"
        return
    page.wait_for_url("**/block/Mill#row")
    until(page, "document.activeElement && document.activeElement.id === 'row'")


def test_the_two_keys_are_letters_in_a_field(browser, sample):
    page = browser()
    page.goto(f"{sample}/block/Mill")
    page.wait_for_selector("#desk[data-ready=yes]")
    page.focus("#observer")
    page.keyboard.type("gr")
    assert page.evaluate("document.activeElement.id") == "observer"
    assert page.input_value("#observer") == "gr"
    assert "g, then r" in page.locator(".ground").inner_text()


def test_a_page_that_takes_long_says_so(browser, sample):
    page = browser()
    page.goto(f"{sample}/block/Mill/pattern")
    held = []
    page.route("**/block/Mill/decide", lambda route: held.append(route))  # noqa: PLW0108 - playwright takes no built-in
    said = page.evaluate("""() => new Promise((done) => {
      const link = [...document.querySelectorAll("nav a")].find((one) => one.textContent === "Decide");
      link.click();
      const busy = () => [link.getAttribute("aria-busy"), document.getElementById("head-told").textContent];
      const before = busy();
      setTimeout(() => done([before, busy()]), 900);
    })""")
    assert said == [[None, ""], ["true", "Decide: being worked out \u2026"]]
    for route in held:
        route.abort()


def test_the_button_of_the_lists_says_that_it_works(browser, sample):
    page = browser()
    page.goto(f"{sample}/block/Mill/lists")
    held = []
    page.route("**/api/plan", lambda route: held.append(route))  # noqa: PLW0108 - playwright takes no built-in
    page.click("#plan button")
    page.wait_for_selector("#plan button[aria-busy=true]")
    assert page.locator("#plan button").inner_text() == "Working it out \u2026"
    held[0].fulfill(status=409, json={"error": "no prices"})
    until(page, "!document.querySelector('#plan button').hasAttribute('aria-busy')")
    assert page.locator("#plan button").inner_text() == "Put the proposed work on the lists"

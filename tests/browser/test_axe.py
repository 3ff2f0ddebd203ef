"""No serious or moderate fault of access on any page, at two widths, light and dark, by the library axe-core."""

import shutil
import socket
import threading

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.web.app import create_app
from trunkwatch.web.serving import hosts_for, listen

pytestmark = pytest.mark.browser

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), None
)
SAMPLE = "sample_blocks"
GRAVE = {"critical", "serious", "moderate"}
FILES = {
    "map": ["map", SAMPLE, "--block", "Mill"],
    "report": ["report", SAMPLE, "--block", "Mill", "--permutations", "99"],
    "findings": ["sheet", SAMPLE, "--block", "Mill", "--paper", "findings"],
    "lists": ["sheet", SAMPLE, "--block", "Mill", "--paper", "lists"],
    "buds": ["sheet", SAMPLE, "--block", "Mill", "--paper", "buds"],
    "phone": ["sheet", SAMPLE, "--block", "Mill", "--phone"],
    "recheck": ["sheet", SAMPLE, "--block", "Mill", "--recheck", "10", "--phone"],
}
#: Screens of the phone behind its first one: what leads there, and what is on the screen then.
SCREENS = {
    "phone": {
        "rows": ("go('rows')", "#mine"),
        "buds": ("go('buds')", "#count"),
        "cane": ("document.getElementById('count').click(); tapBud(0, 'primary', 'dead')", "#tally"),
        "pruned": ("go('pruned'); tapPruned(rowLabels()[0])", "[data-pruned][aria-pressed=true]"),
        "where": ("askPlace()", "[data-row]"),
        "share": ("go('start'); showRecords()", "#hand"),
    },
    "recheck": {
        "vine": ("toVine(0)", "#nothing"),
        "seen": ("answerVine(listed()[0], 'leaf_stripe')", "#verdict"),
        "more": ("recheckMore(listed()[0], data.first_symptoms)", "[data-see]"),
        "share": ("showRecords()", "#hand"),
    },
}
DESK = [
    "/",
    "/block/Mill",
    "/block/Mill/survey",
    "/block/Mill/buds",
    "/block/Mill/pattern",
    "/block/Mill/lists",
    "/weeks?hours=60",
    "/new-block",
    "/import",
    "/phones",
    "/people",
]


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """Addresses of all pages: files written by the commands, and those of a desk that runs here."""
    folder = tmp_path_factory.mktemp("axe")
    out = {}
    for name, words in FILES.items():
        path = folder / f"{name}.html"
        done = CliRunner().invoke(main, [*words, "--out", str(path)])
        assert done.exit_code == 0, done.output
        out[name] = path.as_uri()
    vineyard = folder / "v.gpkg"
    assert CliRunner().invoke(main, ["load", str(vineyard), SAMPLE]).exit_code == 0
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    run = listen(create_app(vineyard, hosts=hosts_for(port, lan=False)), "127.0.0.1", port)
    threading.Thread(target=run, daemon=True).start()
    return out | {where: f"http://127.0.0.1:{port}{where}" for where in DESK}


@pytest.fixture(scope="module")
def browser():
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as api:
        opened = api.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield opened
        opened.close()


def grave(axe, page, *about):
    """Return what axe finds on the page as it stands."""
    result = axe.run(page).response
    assert result["testEngine"]["name"] == "axe-core"
    return [
        (*about, one["id"], one["nodes"][0]["target"], one["nodes"][0].get("failureSummary", "")[:200])
        for one in result["violations"]
        if one["impact"] in GRAVE
    ]


@pytest.mark.parametrize("where", [*FILES, *DESK])
def test_no_grave_fault(browser, pages, where):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    found = []
    for width, height in ((1280, 800), (390, 664)):
        page = browser.new_page(viewport={"width": width, "height": height}, color_scheme="light")
        page.goto(pages[where])
        page.wait_for_load_state("networkidle")
        found += grave(axe, page, width, "light")
        if width == 390:
            page.emulate_media(color_scheme="dark")
            found += grave(axe, page, width, "dark")
        page.close()
    assert found == []


@pytest.mark.parametrize("where", SCREENS)
def test_no_grave_fault_on_the_screens_of_the_phone(browser, pages, where):
    """One opening for all of them; the phone's page has one set of colors."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = browser.new_page(
        viewport={"width": 390, "height": 664}, permissions=["geolocation"], geolocation={"longitude": 0, "latitude": 0}
    )
    page.goto(pages[where])
    page.wait_for_selector("body[data-ready=yes]")
    page.evaluate("state.observer = 'Ana'")
    if where == "phone":
        (corner, *_) = page.evaluate("Object.values(data.ground.rows)[0]")
        page.context.set_geolocation({"longitude": corner[1], "latitude": corner[2], "accuracy": 2})
    found = []
    for screen, (script, sign) in SCREENS[where].items():
        page.evaluate(f"(async () => {{ {script}; }})()")
        page.wait_for_selector(f"#page:not(.settling) {sign}")
        page.wait_for_function("!busy && document.getElementById('tick').className === ''")
        found += grave(axe, page, screen)
    page.close()
    assert found == []


def test_a_page_with_a_fault_is_caught(browser):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = browser.new_page()
    page.set_content(
        "<html lang='en'><title>x</title><main><img src='x.png'><p style='color:#ccc;background:#fff'>pale</p></main></html>"
    )
    assert {one["id"] for one in axe.run(page).response["violations"]} >= {"image-alt", "color-contrast"}
    page.close()

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


@pytest.mark.parametrize("where", [*FILES, *DESK])
def test_no_grave_fault(browser, pages, where):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    found = []
    for width, height, dark in ((1280, 800, False), (390, 664, False), (390, 664, True)):
        page = browser.new_page(viewport={"width": width, "height": height}, color_scheme="dark" if dark else "light")
        page.goto(pages[where])
        page.wait_for_load_state("networkidle")
        result = axe.run(page).response
        assert result["testEngine"]["name"] == "axe-core"
        found += [
            (width, dark, one["id"], one["nodes"][0]["target"], one["nodes"][0].get("failureSummary", "")[:200])
            for one in result["violations"]
            if one["impact"] in GRAVE
        ]
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

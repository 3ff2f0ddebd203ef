"""The map and the report in a real browser with the network off."""

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main

pytestmark = pytest.mark.browser

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), None
)
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
         "--disable-sync", "--no-first-run"]  # fmt: skip


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    sample = Path(__file__).parents[2] / "sample_blocks"
    for words in (
        ["map", sample, "--block", "Mill", "--out", folder / "map.html"],
        ["map", sample, "--block", "Mill", "--definition", "leaf", "--out", folder / "leaf.html"],
        ["report", sample, "--block", "Mill", "--out", folder / "report.html"],
    ):
        done = CliRunner().invoke(main, [str(word) for word in words])
        assert done.exit_code == 0, done.output
    return folder


@pytest.fixture(scope="module")
def browser():
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as api:
        opened = api.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture
def visit(browser):
    """Opens a page with the network off; what it asks for or complains of fails the test."""
    asked, said = [], []
    context = browser.new_context(offline=True, viewport={"width": 1280, "height": 800})

    def go(path, width=1280, height=800):
        page = context.new_page()
        page.set_viewport_size({"width": width, "height": height})
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda line: said.append(line.text) if line.type == "error" else None)
        page.on("pageerror", lambda error: said.append(str(error)))
        page.goto(path.as_uri())
        return page

    yield go
    context.close()
    assert [url for url in asked if not url.startswith("file:")] == []
    assert said == []


def test_the_slider_changes_season_and_count(visit, pages):
    page = visit(pages / "map.html")
    assert page.inner_text("#year") == "2026"
    last = page.inner_text("#line")
    page.focus("#slider")
    page.keyboard.press("ArrowLeft")
    assert page.inner_text("#year") == "2025"
    assert page.inner_text("#line") != last
    page.click("#before")
    assert page.inner_text("#year") == "2024"


def painted(page):
    """Share of the canvas in the colour of a case."""
    return page.evaluate(
        """() => { const c = document.querySelector('canvas.vines'), d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
        let n = 0; for (let i = 0; i < d.length; i += 4) if (d[i + 3] > 200 && d[i] > 190 && d[i + 1] > 70 && d[i + 1] < 115 && d[i + 2] < 60) n++; return n; }"""
    )


def bars(page):
    """Count the pixels in the brown of the bar over a vine with damage that the count leaves out, with no vine on the map."""
    for box in page.locator("#legend input").all():
        box.uncheck()
    return page.evaluate(
        """() => { const c = document.querySelector('canvas.vines'), d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
        let n = 0; for (let i = 0; i < d.length; i += 4) if (d[i + 3] > 200 && Math.abs(d[i] - 143) < 30 && Math.abs(d[i + 1] - 58) < 30 && d[i + 2] < 40) n++;
        return n; }"""
    )


def test_damage_that_the_count_leaves_out_has_a_mark_and_a_line_in_the_legend(visit, pages):
    """By leaf symptoms the dead arms of Mill are in no count; by all symptoms nothing is left out, and nothing is said of it."""
    words = "damage on record, not in this count"
    by_leaf, by_all = visit(pages / "leaf.html"), visit(pages / "map.html")
    assert words in by_leaf.inner_text("#legend")
    assert words not in by_all.inner_text("#legend")
    assert bars(by_leaf) > 10
    assert bars(by_all) == 0


def test_a_vine_that_is_taken_off_the_map_is_not_named_under_the_pointer(visit, pages):
    page = visit(pages / "map.html")
    page.fill("#go-row", "7")
    page.fill("#go-position", "5")
    page.click("#go button")
    box = page.locator("#map_block").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert page.inner_text("#tip").startswith("Row ")
    for tick in page.locator("#legend input").all():
        tick.uncheck()
    page.mouse.move(box["x"] + box["width"] / 2 + 1, box["y"] + box["height"] / 2)
    assert page.locator("#tip").is_hidden()


def test_a_filter_takes_its_vines_off_the_map(visit, pages):
    page = visit(pages / "map.html")
    assert painted(page) > 100
    page.uncheck("#legend input[value='5']")
    assert painted(page) == 0
    page.check("#legend input[value='5']")
    assert painted(page) > 100


def test_a_click_tells_the_history_of_the_vine(visit, pages):
    page = visit(pages / "map.html")
    page.fill("#go-row", "7")
    page.fill("#go-position", "5")
    page.click("#go button")
    assert page.inner_text("#vine h2 >> nth=0").startswith("Row 7, position 5")
    box = page.locator("#map_block").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_function("document.querySelector('#vine h2').textContent.startsWith('Row')")
    assert page.locator("#vine table tr").count() >= 10


@pytest.mark.parametrize("width", [1280, 390])
def test_nothing_is_wider_than_the_screen(visit, pages, width):
    for name in ("map.html", "report.html"):
        page = visit(pages / name, width, 844)
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_every_target_is_big_enough_for_a_thumb(visit, pages):
    page = visit(pages / "map.html", 390, 844)
    for name in ("#before", "#after"):
        box = page.locator(name).bounding_box()
        assert min(box["width"], box["height"]) >= 44


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_owners_page_is_one_sheet(visit, pages, paper):
    """With only the owner's section shown the print has one page."""
    page = visit(pages / "report.html")
    page.evaluate("document.querySelectorAll('main > section:not(.owner), .foot').forEach(e => e.remove())")
    page.evaluate("document.querySelector('.owner').style.breakAfter = 'auto'")
    printed = page.pdf(format=paper)
    assert printed.count(b"/Type /Page\n") + printed.count(b"/Type /Page ") + printed.count(b"/Type/Page/") == 1

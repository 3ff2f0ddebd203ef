"""trunkwatch.programme: handout; the page of a grower on a desk, on a phone and on paper."""

import re

import pytest
from made_programme import make_vineyard

from trunkwatch.block import load
from trunkwatch.programme.handout import About, handout_html

pytestmark = pytest.mark.browser
sync_api = pytest.importorskip("playwright.sync_api")

LONG = About(
    "The growers of the long terraces above the old mill pond, group 12", "Ida at the office, 555 0100, on weekdays from 8 to 12, or the crew line, 555 0199",
    "you, Ida, and the two who scouted your block; nobody else without asking you first", "Of blocks like yours, most show between 2 and 9 of 100 vines.", True,
)  # fmt: skip


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """Pages with short and long words, of a tall block, a broad one and a tiny one."""
    folder = tmp_path_factory.mktemp("pages")
    tiny = make_vineyard(folder / "v", 4, labels=["A"])
    wide = make_vineyard(folder / "w", 4, labels=["A"], rows=40, vines=12)
    written = {}
    for path, block in (("sample_blocks", "Mill"), ("sample_blocks", "Hollow"), (tiny, "A"), (wide, "A")):
        for size in ("A4", "Letter"):
            for number, about in enumerate((About("Fern 12"), LONG)):
                page = folder / f"{len(written)}.html"
                page.write_text(handout_html(load(path, block), None, about, unscouted=12, size=size), "utf-8")
                written[str(path)[-1], block, size, number] = page
    return written


@pytest.fixture(scope="module")
def browser():
    with sync_api.sync_playwright() as play:
        opened = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        yield opened
        opened.close()


def test_it_prints_on_one_sheet(pages, browser):
    for name, path in pages.items():
        page = browser.new_page()
        page.goto(path.as_uri())
        printed = page.pdf(prefer_css_page_size=True, print_background=True)
        page.close()
        assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) == 1, name
        width = float(re.search(rb"/MediaBox\s*\[0 0 ([\d.]+)", printed)[1])
        assert abs(width - (612 if name[2] == "Letter" else 595)) < 2


@pytest.mark.parametrize("width", [1280, 390])
def test_nothing_is_wider_than_the_screen_or_hidden(pages, browser, width):
    for name, path in pages.items():
        page = browser.new_page(viewport={"width": width, "height": 800})
        page.goto(path.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= width, name
        assert page.locator("svg.hundred").is_visible()
        assert sum(one.is_visible() for one in page.locator(".map svg").all()) == 1
        page.close()

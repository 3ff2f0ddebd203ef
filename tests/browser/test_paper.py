"""The sheets for the row as Chromium prints them: how many pages, on which paper, and nothing cut off."""

import re
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
#: Width and height in points (ISO 216 and ANSI/ASME Y14.1, upright).
PAPER = {"A4": (595.28, 841.89), "Letter": (612.0, 792.0)}
#: CSS pixels a point, and the margin at each side of the sheets in points (12 mm).
PIXELS, MARGIN = 96 / 72, 12 * 72 / 25.4
#: Millimetres that a cell keeps, for two letters written with a cold hand (our own judgement, no source).
NARROWEST = 6.0
SHEETS = {
    "findings": ["--paper", "findings"],
    "strip": ["--paper", "strip"],
    "lists": ["--paper", "lists"],
    "second": ["--recheck", "40", "--seed", "2"],
}
#: Twenty-two vines to renew on two pages, and one to leave a shoot at on a page of its own.
WORK = [f"Mill,{row},{position},2026-12-01,renew_arm,planned,,start,60,,"
        for row in range(1, 12) for position in (3, 20)] + ["Mill,4,7,2027-05-01,keep_shoot,planned,2,,,,"]  # fmt: skip


@pytest.fixture(scope="module")
def vineyard(tmp_path_factory):
    folder = tmp_path_factory.mktemp("paper") / "vines"
    shutil.copytree(Path(__file__).parents[2] / "sample_blocks", folder)
    work = folder / "work.csv"
    work.write_text(work.read_text(encoding="utf-8-sig").rstrip("\n") + "\n" + "\n".join(WORK) + "\n", encoding="utf-8")
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
def sheet(browser, vineyard, tmp_path):
    """Writes a sheet by the command line and opens it with the network off."""
    context = browser.new_context(offline=True)
    asked = []

    def go(kind, size, block="Mill"):
        words = ["sheet", vineyard, "--block", block, "--season", "2026", *SHEETS[kind], "--size", size]
        done = CliRunner().invoke(main, [str(word) for word in [*words, "--out", tmp_path / "sheet.html"]])
        assert done.exit_code == 0, done.output
        page = context.new_page()
        page.on("request", lambda request: asked.append(request.url))
        page.goto((tmp_path / "sheet.html").as_uri())
        return page

    yield go
    context.close()
    assert [url for url in asked if not url.startswith("file:")] == []


def printed(page):
    """Return the pages of a print on the paper that the sheet itself asks for, and their sizes in points."""
    pdf = page.pdf(prefer_css_page_size=True)
    sizes = re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf)), {(float(w), float(h)) for w, h in sizes}


def room(kind, size):
    """Return the width that a sheet has on paper, in CSS pixels."""
    width, height = PAPER[size]
    return ((height if kind == "strip" else width) - 2 * MARGIN) * PIXELS


@pytest.mark.parametrize("size", ["A4", "Letter"])
@pytest.mark.parametrize("kind", list(SHEETS))
def test_each_sheet_prints_on_the_paper_it_was_made_for(sheet, kind, size):
    _, sizes = printed(sheet(kind, size))
    width, height = PAPER[size]
    expected = (height, width) if kind == "strip" else (width, height)
    assert len(sizes) == 1
    assert sizes.pop() == pytest.approx(expected, abs=1.0)


@pytest.mark.parametrize("size", ["A4", "Letter"])
@pytest.mark.parametrize("block", ["Mill", "Chapel", "Orchard", "Hollow"])
def test_a_findings_list_is_one_page_with_thirty_lines(sheet, block, size):
    page = sheet("findings", size, block)
    assert page.locator("tbody tr").count() == 30
    assert printed(page)[0] == 1


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_fourteen_rows_as_strips_take_three_pages_and_forty_second_looks_two(sheet, size):
    assert printed(sheet("strip", size))[0] == 3
    page = sheet("second", size)
    assert page.locator("tbody tr").count() == 40
    assert printed(page)[0] == 2


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_every_list_of_the_crew_starts_on_a_page_of_its_own(sheet, size):
    page = sheet("lists", size)
    assert page.locator("section").count() == 2
    assert page.locator("tbody tr").count() == len(WORK)
    sizes = page.evaluate("[...document.querySelectorAll('td.at')].map(e => parseFloat(getComputedStyle(e).fontSize))")
    assert min(sizes) >= 14 * PIXELS
    assert printed(page)[0] == 3


@pytest.mark.parametrize("size", ["A4", "Letter"])
@pytest.mark.parametrize("kind", list(SHEETS))
def test_nothing_is_cut_off_at_the_edge_of_the_paper(sheet, kind, size):
    page = sheet(kind, size)
    page.emulate_media(media="print")
    width = room(kind, size)
    page.set_viewport_size({"width": int(width), "height": 1000})
    over = page.evaluate(
        """width => [...document.querySelectorAll('body *')].filter(e => { const b = e.getBoundingClientRect();
        return b.width && (b.right > width + 1 || b.left < -1); }).map(e => e.outerHTML.slice(0, 120))""",
        width,
    )
    assert over == []


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_no_number_or_post_of_a_strip_leaves_its_picture(sheet, size):
    page = sheet("strip", size)
    page.emulate_media(media="print")
    page.set_viewport_size({"width": int(room("strip", size)), "height": 1000})
    outside, drawn = page.evaluate(
        """() => { let outside = [], drawn = 0; for (const svg of document.querySelectorAll('.strip svg')) {
        const s = svg.getBoundingClientRect(); for (const e of svg.children) { drawn += 1; const b = e.getBoundingClientRect();
        if (b.left < s.left - 1 || b.right > s.right + 1 || b.top < s.top - 1 || b.bottom > s.bottom + 1) outside.push(e.outerHTML); } }
        return [outside, drawn]; }"""
    )
    assert outside == []
    assert drawn > 1000  # Mill has over 500 vines, with a cell and a tick each


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_a_cell_of_a_strip_takes_two_letters_of_a_pencil(sheet, size):
    page = sheet("strip", size)
    page.emulate_media(media="print")
    page.set_viewport_size({"width": int(room("strip", size)), "height": 1000})
    widths = page.evaluate("[...document.querySelectorAll('.strip rect')].map(e => e.getBoundingClientRect().width)")
    assert min(widths) / 96 * 25.4 >= NARROWEST


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_all_codes_stand_over_the_first_strips(sheet, size):
    page = sheet("strip", size)
    page.emulate_media(media="print")
    page.set_viewport_size({"width": int(room("strip", size)), "height": 1000})
    told = page.evaluate("[...document.querySelectorAll('.codes b')].map(e => e.textContent)")
    assert {"CG", "TS", "BK", "FS", "MI", "WG", "CB", "HI", "DW", "VS", "OT", "NS"} <= set(told)
    high = page.evaluate("document.querySelector('.codes').getBoundingClientRect().height")
    assert high / 96 * 25.4 < 30  # a strip is 18 mm


@pytest.mark.parametrize("size", ["A4", "Letter"])
@pytest.mark.parametrize("rows", [24, 25, 60])
def test_a_findings_list_of_a_large_block_is_one_page_too(browser, tmp_path, rows, size):
    folder = tmp_path / "large"
    for words in (
        ["new", folder, "--block", "A", "--rows", rows, "--vines", 200, "--hemisphere", "north"],
        [
            "sheet",
            folder,
            "--block",
            "A",
            "--season",
            2026,
            "--paper",
            "findings",
            "--size",
            size,
            "--out",
            tmp_path / "a.html",
        ],
    ):
        done = CliRunner().invoke(main, [str(word) for word in words])
        assert done.exit_code == 0, done.output
    page = browser.new_page()
    page.goto((tmp_path / "a.html").as_uri())
    assert page.locator("tbody tr").count() == 30
    assert printed(page)[0] == 1
    page.close()

"""The map and the report in a real browser with the network off."""

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


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    sample = Path(__file__).parents[2] / "sample_blocks"
    for words in (
        ["map", sample, "--block", "Mill", "--out", folder / "map.html"],
        ["map", sample, "--block", "Mill", "--definition", "leaf", "--out", folder / "leaf.html"],
        ["report", sample, "--block", "Mill", "--out", folder / "report.html"],
        ["plan", sample, "--block", "Mill", "--crew-days", "8", "--page", folder / "decide.html"],
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

    def go(path, width=1280, height=800, dark=False):
        page = context.new_page()
        page.emulate_media(color_scheme="dark" if dark else "light")
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
    assert words in by_leaf.inner_text("#signs")
    assert words not in by_all.inner_text("#signs")
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
    for name in ("map.html", "report.html", "decide.html"):
        page = visit(pages / name, width, 844)
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_every_target_is_big_enough_for_a_thumb(visit, pages):
    page = visit(pages / "map.html", 390, 844)
    for name in ("#before", "#after", "#closer", "#farther", "#whole", "#go button", "#go-row"):
        box = page.locator(name).bounding_box()
        assert min(box["width"], box["height"]) >= 44


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_owners_page_is_the_front_and_the_back_of_one_sheet(visit, pages, paper):
    """The five answers, the map and the first vines of the list are on the front."""
    page = visit(pages / "report.html")
    page.evaluate("document.querySelectorAll('main > :not(.owner), .foot').forEach(e => e.remove())")
    page.evaluate("document.querySelector('.owner').style.breakAfter = 'auto'")
    printed = page.pdf(format=paper)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) == 2
    width, height = {"A4": (210, 297), "Letter": (215.9, 279.4)}[paper]
    page.emulate_media(media="print")
    page.set_viewport_size({"width": round((width - 28) / 25.4 * 96), "height": 1000})
    fifth = page.locator(".tasks tbody tr").nth(4).bounding_box()
    assert fifth["y"] + fifth["height"] <= (height - 26) / 25.4 * 96


#: Words of pictures that are shown: how big they are in CSS pixels, and whether their picture cuts them off.
WORDS = """() => { document.querySelectorAll('details').forEach(d => d.open = true);
    return [...document.querySelectorAll('svg text')].filter(t => t.getClientRects().length).map(t => {
    const at = t.getScreenCTM(), box = t.getBoundingClientRect(), frame = t.ownerSVGElement.getBoundingClientRect();
    return [t.textContent, parseFloat(getComputedStyle(t).fontSize) * Math.hypot(at.a, at.b),
        box.left < frame.left - 1 || box.right > frame.right + 1 || box.left < 0 || box.right > innerWidth]; }); }"""


@pytest.mark.parametrize("name", ["report.html", "decide.html"])
def test_pictures_are_read_on_a_phone_without_moving_them(visit, pages, name):
    page = visit(pages / name, 390, 844)
    words = page.evaluate(WORDS)
    assert len(words) > 50
    assert [word for word, size, _ in words if size < 10.99] == []
    assert [word for word, _, cut in words if cut] == []
    scrolled = "[...document.querySelectorAll('figure')].filter(f => f.scrollWidth > f.clientWidth + 1).length"
    assert page.evaluate(scrolled) == 0


@pytest.mark.parametrize("name", ["report.html", "decide.html"])
@pytest.mark.parametrize("width", [390, 1280])
def test_one_form_of_each_picture_is_shown(visit, pages, name, width):
    """The broad form at a desk and on paper, the narrow one on a phone; a tall map has the narrow one only."""
    page = visit(pages / name, width, 844)
    shown = """() => { document.querySelectorAll('details').forEach(d => d.open = true);
        return [...document.querySelectorAll('figure')].map(f => [...f.querySelectorAll(':scope > svg')].filter(s => s.getClientRects().length)
        .map(s => ['slim', 'broad'].find(form => s.classList.contains(form)) || 'the only one')); }"""
    forms = page.evaluate(shown)
    assert len(forms) >= 3
    assert all(len(one) == 1 for one in forms)
    assert (["broad"] in forms) == (width == 1280)
    page.emulate_media(media="print")
    assert ["broad"] in page.evaluate(shown)


@pytest.mark.parametrize(("width", "height"), [(1280, 900), (390, 844)])
def test_the_five_answers_stand_on_the_first_screen_beside_the_hundred_vines(visit, pages, width, height):
    page = visit(pages / "report.html", width, height)
    lines = page.locator(".five li").all()
    assert len(lines) == 5
    last = lines[-1].bounding_box()
    assert last["y"] + last["height"] <= height
    vines, first = page.locator(".five svg.hundred").bounding_box(), lines[0].bounding_box()
    assert first["y"] <= vines["y"]
    assert vines["y"] + vines["height"] <= first["y"] + first["height"] + 1
    assert vines["width"] >= 48


@pytest.mark.parametrize("name", ["report.html", "decide.html", "map.html"])
def test_a_dark_screen_gets_a_dark_page_and_paper_a_light_one(visit, pages, name):
    ground = """() => { let at = document.querySelector('main, .side'), found = 'rgba(0, 0, 0, 0)';
        while (at && found === 'rgba(0, 0, 0, 0)') { found = getComputedStyle(at).backgroundColor; at = at.parentElement; }
        return Math.max(...found.match(/\\d+/g).map(Number)); }"""
    page = visit(pages / name, dark=True)
    assert page.evaluate(ground) < 60
    if name != "map.html":
        ink = "Math.min(...getComputedStyle([...document.querySelectorAll('figure text')].find(t => t.getClientRects().length)).fill.match(/\\d+/g).map(Number))"
        assert page.evaluate(ink) > 150
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate(ground) > 250


def test_a_tap_names_the_vine_over_the_finger_and_brings_its_history_into_view(browser, pages):
    context = browser.new_context(offline=True, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto((pages / "map.html").as_uri())
    page.locator(".side").evaluate("side => { side.scrollTop = 400; }")
    box = page.locator("#map_block").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    zoom = "map_block.getZoom()"
    far = page.evaluate(zoom)
    page.touchscreen.tap(x, y)
    page.wait_for_function("!document.getElementById('tip').hidden")
    near = page.evaluate(zoom)
    assert near > far  # the whole block on a phone: more vines than one lie under the finger
    tip, told = page.locator("#tip").bounding_box(), page.locator("#vine h2 >> nth=0").bounding_box()
    assert tip["y"] + tip["height"] < y
    assert tip["x"] >= 0
    assert tip["x"] + tip["width"] <= 390
    on_top = page.evaluate(
        "([x, y]) => document.elementsFromPoint(x, y).map(e => e.id || e.className)", [x, tip["y"] + 4]
    )
    assert "leaflet-tile-pane" not in on_top[:1]
    order = "[getComputedStyle(document.getElementById('tip')).zIndex, getComputedStyle(document.getElementById('map_block')).isolation]"
    assert page.evaluate(order) == ["6", "isolate"]  # the layers of the map, up to 1000, stay within the map
    assert box["y"] + box["height"] <= told["y"] < 844 - 40
    box, first = page.locator("#map_block").bounding_box(), page.locator("#vine h2 >> nth=0").text_content()
    page.wait_for_timeout(400)  # two taps at once are a double tap, which brings the map nearer by itself
    page.touchscreen.tap(box["x"] + box["width"] / 2 + 60, box["y"] + box["height"] / 2)
    page.wait_for_function("first => document.querySelector('#vine h2').textContent !== first", arg=first)
    assert page.evaluate(zoom) == near  # near enough: the next tap takes its vine and moves nothing
    context.close()


def test_own_buttons_bring_the_vines_nearer_and_show_the_whole_block_again(visit, pages):
    page = visit(pages / "map.html", 390, 844)
    zoom = "map_block.getZoom()"
    first = page.evaluate(zoom)
    page.click("#closer")
    assert page.evaluate(zoom) > first
    page.click("#farther")
    page.click("#farther")
    assert page.evaluate(zoom) < first
    page.click("#whole")
    assert page.evaluate(zoom) == first
    assert page.locator(".leaflet-control-scale-line").count() == 2


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_map_prints_whole_on_one_sheet_in_the_colours_of_paper(visit, pages, paper):
    page = visit(pages / "map.html", 1280, 800, dark=True)
    page.click("#closer")
    page.click("#closer")
    near = page.evaluate("map_block.getZoom()")
    page.evaluate(
        """() => { window.seen = null; window.addEventListener('beforeprint', () => { const c = document.querySelector('canvas.vines'),
        box = map_block.getContainer().getBoundingClientRect(), pen = c.getContext('2d');
        const edge = [[0, 0, c.width, 3], [0, c.height - 3, c.width, 3], [0, 0, 3, c.height], [c.width - 3, 0, 3, c.height]].every(
            ([x, y, w, h]) => pen.getImageData(x, y, w, h).data.every((v) => v === 0));
        const all = pen.getImageData(0, 0, c.width, c.height).data; let dark = 0;
        for (let i = 0; i < all.length; i += 4) if (all[i + 3] > 200 && all[i] < 60 && all[i + 1] < 70 && all[i + 2] < 80) dark++;
        window.seen = [box.width, box.height, edge, dark]; }); }"""
    )
    printed = page.pdf(format=paper)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) == 1
    width, height, clear, dark = page.evaluate("window.seen")
    assert width <= (210 - 24) / 25.4 * 96
    assert height <= 0.8 * (279 - 24) / 25.4 * 96
    assert clear  # nothing is drawn up to the edge, so nothing goes on beyond it
    assert dark > 1000  # row numbers and outlines in ink, not in the pale colour of a dark screen
    assert page.evaluate("map_block.getZoom()") == near

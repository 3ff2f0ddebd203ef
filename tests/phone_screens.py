"""What browser tests of the phone page share: how a finger taps, what does not fit, what is small or faint."""

import shutil
from contextlib import contextmanager

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), None
)
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
         "--disable-sync", "--no-first-run"]  # fmt: skip


@contextmanager
def in_hand():
    """Hand out what opens a page on a phone of 390 x 664; no page may have raised an error at the end."""
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as api:
        browser = api.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        errors = []

        def open_page(path, script, context=None, **more):
            context = context or browser.new_context(
                viewport={"width": 390, "height": 664}, has_touch=True, accept_downloads=True, **more
            )
            context.add_init_script(script)
            page = context.new_page()
            page.on("pageerror", lambda error: errors.append(str(error)))
            page.taps = 0
            page.goto(path.as_uri())
            page.wait_for_selector("body[data-ready=yes]")
            return page

        yield open_page
        browser.close()
    assert errors == []


def run(*words, **options):
    """Run a command; an option is written as a parameter, with True where it stands alone."""
    flags = [[f"--{name.replace('_', '-')}"] + ([] if value is True else [value]) for name, value in options.items()]
    done = CliRunner().invoke(main, [str(word) for word in (*words, *(word for flag in flags for word in flag))])
    assert done.exit_code == 0, done.output
    return done


def new_long_block(folder, rows):
    """Begin a vineyard with one block, whose rows have sixty vines each."""
    run("new", folder, block="Long", rows=rows, vines=60, planted=2005, training="bilateral", row_spacing_m=2.5, vine_spacing_m=1.5, hemisphere="north")  # fmt: skip


#: What does not lie whole on the screen.
OUTSIDE = """() => [...document.querySelectorAll('#page *')].filter((one) => { const r = one.getBoundingClientRect();
  return r.width && r.height && (r.bottom > innerHeight + 0.5 || r.top < -0.5 || r.right > innerWidth + 0.5 || r.left < -0.5); }).map((one) => one.textContent || one.id)"""
SMALL = "() => [...document.querySelectorAll('button')].filter((b) => b.offsetWidth < 48 || b.offsetHeight < 48).map((b) => b.textContent || b.id)"
#: Words that are wider or higher than the key they stand on.
SPILT = "() => [...document.querySelectorAll('.fit button')].filter((b) => b.scrollWidth > b.clientWidth + 1 || b.scrollHeight > b.clientHeight + 1).map((b) => b.textContent)"
FAINT = """() => { const parts = (c) => c.match(/[\\d.]+/g).map(Number);
  const light = (c) => { const [r, g, b] = parts(c).map((v) => v / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const behind = (one) => { for (let at = one; at; at = at.parentElement) { const c = getComputedStyle(at).backgroundColor; if ((parts(c)[3] ?? 1) > 0) return c; } return 'rgb(255, 255, 255)'; };
  const out = [];
  for (const one of document.querySelectorAll('#page *, #tick')) {
    const own = [...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim()) || one.matches('input, select');
    if (!own) continue;
    const svg = one.tagName === 'text';
    const [a, b] = [light(svg ? getComputedStyle(one).fill : getComputedStyle(one).color), light(behind(one))];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < 7) out.push([one.textContent, Math.round(ratio * 10) / 10]);
  }
  return out; }"""


def tap(page, what):
    """Tap a key by its words or its selector, as a finger does."""
    page.wait_for_selector("#page:not(.settling)")
    found = page.locator(what) if what[0] in "#[." else page.get_by_role("button", name=what, exact=True)
    found.first.wait_for()
    box = found.first.bounding_box()
    assert box["y"] + box["height"] <= 664.5, f"{what} lies below the fold"
    found.first.tap()
    page.taps += 1
    page.wait_for_function("!busy")


def whole(page, screen):
    assert page.evaluate(OUTSIDE) == [], screen
    assert page.evaluate(SMALL) == [], screen
    assert page.evaluate(SPILT) == [], screen


def saved(page, text):
    page.wait_for_function("(text) => document.getElementById('tick').textContent.includes(text)", arg=text)


def handed_over(page, path):
    path.write_text(page.evaluate("together().then((out) => JSON.stringify(out))"), "utf-8")
    return path


def marked(page):
    """Let the page know that what it has was taken."""
    page.evaluate("together().then(markHanded)")
    page.wait_for_function("!items.some(pure.pending)")

"""The phone page when the office was started anew: the code is asked for on the page, and the day stays."""

import shutil
import socket
import threading
import time

import pytest

from trunkwatch.intake import correct_record
from trunkwatch.intake.bring import bring_files
from trunkwatch.store import Store
from trunkwatch.web.app import create_app
from trunkwatch.web.serving import hosts_for, listen

pytestmark = pytest.mark.browser

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), None
)
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
         "--disable-sync", "--no-first-run"]  # fmt: skip


@pytest.fixture
def office(tmp_path, pytestconfig):
    """An office with an access code, which can be started anew with another."""
    path = tmp_path / "v.gpkg"
    bring_files(path, pytestconfig.rootpath / "sample_blocks")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    app = create_app(path, hosts=hosts_for(port, lan=False), access_code="11111111")
    threading.Thread(target=listen(app, "127.0.0.1", port), daemon=True).start()

    def start_anew(code):
        app.extensions["gate"].code = code
        app.extensions["gate"].passes.clear()

    return path, f"http://127.0.0.1:{port}", start_anew


def until(page, script, seconds=30):
    end = time.monotonic() + seconds
    while not page.evaluate(f"Boolean({script})"):
        assert time.monotonic() < end, script
        time.sleep(0.05)


def test_a_phone_sends_its_day_after_the_office_was_started_anew(office):
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    api = pytest.importorskip("playwright.sync_api")
    path, address, start_anew = office
    with api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
        page.goto(f"{address}/field/Mill/index.html?look=summer")
        page.fill("#code", "11111111")
        page.get_by_role("button", name="Enter").click()
        page.wait_for_selector("body[data-ready=yes]")
        page.fill("#observer", "Ola")
        page.click("#start")
        for key in ("4", "striped leaves"):
            page.get_by_role("button", name=key, exact=True).first.click()
        until(page, "document.getElementById('tick').textContent.includes('1:4 ')")
        page.click("#done")
        for key in ("5", "2"):
            page.get_by_role("button", name=key, exact=True).first.click()
        page.click("#ok")
        until(page, "document.getElementById('tick').textContent.includes('1:1..52')")
        page.get_by_role("button", name="Records: 2").click()
        assert page.locator("#code").count() == 0
        start_anew("22222222")
        page.click("#sync")
        page.wait_for_selector("#code")
        assert "stay on this phone" in page.inner_text("#code_needed")
        page.fill("#code", "33333333")
        page.click("#code_send")
        until(page, "document.getElementById('tick').textContent.includes('That is not the code')")
        assert page.evaluate("items.filter(pure.pending).length") == 2
        page.fill("#code", "22222222")
        page.click("#code_send")
        until(page, "document.getElementById('tick').textContent.includes('The office has 2 records')")
        assert page.locator("#code").count() == 0
        assert page.evaluate("items.filter(pure.pending).length") == 0
        with Store.open(path) as store:
            found = store.frame("symptoms")
        (name,) = found[found["observer"] == "Ola"]["id"]
        second = correct_record(path, "symptoms", name, {"percent": "30"}).id
        page.click("#sync")
        page.wait_for_selector(".otherwise")
        assert page.inner_text(".otherwise").startswith("In the office block Mill, row 1, position 4")
        assert "percent 30" in page.inner_text(".otherwise")
        correct_record(path, "symptoms", second, {}, void=True)
        page.click("#sync")
        until(page, "document.querySelector('.otherwise').textContent.includes('was taken back')")
        browser.close()
    with Store.open(path) as store:
        found = store.frame("symptoms")
    assert (
        found["observer"] == "Ola"
    ).sum() == 0  # written once, corrected and taken back, and not brought back by the phone

"""Photos in a real browser: taken on the phone, kept, handed over by both roads; added and shown on the desk."""

import json
import os
import shutil
import threading
from contextlib import contextmanager
from pathlib import Path

import made_photos
import pytest
from browser.module_names import NAMES
from werkzeug.serving import make_server

from trunkwatch.block.photos import links_of
from trunkwatch.intake import add_records, check_vineyard, start_file
from trunkwatch.intake.bring import bring_files
from trunkwatch.store import Store
from trunkwatch.web.app import create_app

pytestmark = pytest.mark.browser
CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), None
)
BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north", "training": "bilateral"}  # fmt: skip
FINDING = {
    "block": "North",
    "row": "1",
    "position": "2",
    "date": "2026-02-03",
    "symptom": "wood_staining",
    "arm": "start",
}


@contextmanager
def served(path):
    # The port is known once the server has it, and the app must know its name.
    server = make_server("127.0.0.1", 0, lambda *_: [], threaded=True)
    host = f"127.0.0.1:{server.server_port}"
    server.app = create_app(path, hosts=frozenset({host}))
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://{host}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.fixture
def path(tmp_path) -> Path:
    start_file(tmp_path / "v.gpkg", BLOCK, 3, 8)
    (tmp_path / "camera.jpg").write_bytes(made_photos.as_of_a_camera(1, 2400, 1800))
    (tmp_path / "second.jpg").write_bytes(made_photos.jpeg(2, 1200, 900))
    return tmp_path / "v.gpkg"


@pytest.fixture
def browser():
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as api:
        found = api.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield found
        found.close()


def phone_page(browser, address):
    page = browser.new_page(viewport={"width": 390, "height": 664}, accept_downloads=True)
    page.goto(f"{address}/field/North")
    page.wait_for_selector("body[data-ready]")
    page.evaluate(
        "(async () => { await startRow(); await finding(3, 'dead_arm', 'start'); await finishRow(8); await showRecords(); })()"
    )
    return page


def take(page, file, many):
    with page.expect_file_chooser() as asked:
        page.locator("button.photo").first.click()
    asked.value.set_files(file)
    page.locator("button.photo", has_text=f" {many}").first.wait_for()


def kept(path):
    with Store.open(path) as store:
        links = links_of(store)
        return [
            (link.table, link.photo["shows"], link.photo["width"], link.photo["height"], store.photo_file(link.sha256))
            for link in links
        ]


def shot(page, name):
    if folder := os.environ.get("TRUNKWATCH_SHOTS"):
        page.screenshot(path=Path(folder) / name, full_page=True)


def test_a_photo_of_the_phone_comes_to_the_desk_with_its_record_and_once(path, browser, tmp_path):
    with served(path) as address:
        page = phone_page(browser, address)
        take(page, tmp_path / "camera.jpg", 1)
        page.reload()  # it is on the disk
        page.wait_for_selector("body[data-ready]")
        page.evaluate("showRecords()")
        page.wait_for_selector("button.photo")
        shot(page, "phone_records.png")
        assert page.evaluate(
            "[...document.querySelectorAll('button')].every((one) => one.getBoundingClientRect().right <= window.innerWidth - 8)"
        )
        box = page.locator("button.photo").first.bounding_box()
        assert min(box["width"], box["height"]) >= 48
        for _ in range(2):
            with page.expect_response("**/sync") as answered:
                page.locator("#sync").click()
            assert answered.value.json()["photos_refused"] == []
            page.wait_for_timeout(300)
        assert "photo_files" not in json.loads(answered.value.request.post_data)
    ((table, shows, width, height, data),) = kept(path)
    assert (table, shows, width, height) == ("symptoms", "vine", 1200, 1600)
    assert made_photos.place_in(data) == {}
    assert [str(fault) for fault in check_vineyard(path) if "photo" in str(fault)] == []


def test_records_and_photos_go_into_one_file_and_a_damaged_photo_keeps_no_record_out(path, browser, tmp_path):
    with served(path) as address:
        page = phone_page(browser, address)
        take(page, tmp_path / "camera.jpg", 1)
        take(page, tmp_path / "second.jpg", 2)
        with page.expect_download() as given:
            page.locator("#hand").click()
        given.value.save_as(tmp_path / "day.json")
    told = json.loads((tmp_path / "day.json").read_text())
    assert told["trunkwatch_handover"] == 3
    assert len(told["photos"]) == len(told["photo_files"]) == 2
    mark = told["photos"][0]["sha256"]
    told["photo_files"][mark] = told["photo_files"][mark][:-400] + "A" * 400
    (tmp_path / "bad.json").write_text(json.dumps(told))
    added, notes = bring_files(path, tmp_path / "bad.json")
    assert (added.new["symptoms"], added.new["photos"]) == (1, 1)
    assert ["a photo was not taken, its record was: it was damaged on the way" in str(note) for note in notes] == [True]
    added, notes = bring_files(path, tmp_path / "day.json")
    assert (added.new["photos"], notes) == (1, [])
    assert sorted(one[2:4] for one in kept(path)) == [(1200, 900), (1200, 1600)]


def test_a_photo_without_room_is_told_and_the_record_stands(path, browser, tmp_path):
    with served(path) as address:
        page = phone_page(browser, address)
        page.evaluate("navigator.storage.estimate = async () => ({ quota: 100000000, usage: 99000000 })")
        with page.expect_file_chooser() as asked:
            page.locator("button.photo").first.click()
        asked.value.set_files(tmp_path / "camera.jpg")
        page.wait_for_selector("#tick.bad.on")
        assert "No room on this phone for photos. The record is kept." in page.locator("#tick").inner_text()
        page.evaluate(
            "delete navigator.storage.estimate; photoDisk.put = async () => { throw new DOMException('full', 'QuotaExceededError'); }; null"
        )
        with page.expect_file_chooser() as asked:
            page.locator("button.photo").first.click()
        page.evaluate("document.getElementById('tick').className = ''")
        asked.value.set_files(tmp_path / "second.jpg")
        page.wait_for_selector("#tick.bad.on")
        assert "No room on this phone" in page.locator("#tick").inner_text()
        with page.expect_response("**/sync"):
            page.locator("#sync").click()
    with Store.open(path) as store:
        assert len(store.frame("symptoms")) == 1
        assert store.frame("photos").empty


def test_a_photo_stays_with_a_finding_that_is_said_otherwise_after_it_was_sent(path, browser, tmp_path):
    with served(path) as address:
        page = phone_page(browser, address)
        take(page, tmp_path / "second.jpg", 1)
        for change in (None, {"percent": 50}):
            if change:
                page.evaluate("(values) => change(items.find((one) => one.photos).id, values)", change)
            with page.expect_response("**/sync"):
                page.locator("#sync").click()
            page.wait_for_timeout(400)
    with Store.open(path) as store:
        stands = store.frame("symptoms")
        assert stands["percent"].tolist() == [50]
        assert stands["id"].iloc[0] in {name for link in links_of(store) for name in link.versions}


@pytest.mark.parametrize("width", [1280, 390])
def test_a_photo_is_added_and_shown_in_the_card_of_the_vine(path, browser, tmp_path, width):
    add_records(path, "symptoms", [FINDING])
    with served(path) as address:
        page = browser.new_page(viewport={"width": width, "height": 900})
        page.goto(f"{address}/block/North")
        page.wait_for_selector("#season option", state="attached")
        page.evaluate(NAMES)
        page.evaluate("choose([number.get('1\\u001f2')])")
        page.get_by_role("button", name="Add a photo").click()
        page.set_input_files("form.photo input[type=file]", tmp_path / "camera.jpg")
        page.get_by_label("What is to be seen").fill("stained wedge")
        page.get_by_role("button", name="Add the photo").click()
        page.wait_for_selector(".photos img")
        assert (
            page.evaluate(
                "document.querySelector('.photos img').decode().then(() => document.querySelector('.photos img').naturalWidth)"
            )
            == 1200
        )
        assert "taken 2026-02-03 10:11: stained wedge" in page.locator(".photos figcaption").inner_text()
        page.locator("#vine").scroll_into_view_if_needed()
        shot(page, f"desk_{width}.png")
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        page.get_by_role("button", name="Take back").click()
        page.wait_for_selector(".photos img", state="detached")

"""Two tabs of one phone page: one queue, nothing lost, nothing twice; a newer page is offered as soon as it is there."""

import json
import shutil
import socket
import threading
import time
from pathlib import Path

import pytest

from trunkwatch.access.phones import pair_phone
from trunkwatch.intake import add_records, start_file
from trunkwatch.intake.bring import bring_files
from trunkwatch.store import Store
from trunkwatch.web.allowed import PHONE_COOKIE
from trunkwatch.web.app import create_app
from trunkwatch.web.serving import hosts_for, listen

pytestmark = pytest.mark.browser

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), None
)
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
         "--disable-sync", "--no-first-run"]  # fmt: skip
BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north", "training": "bilateral"}  # fmt: skip
NO_DATABASE = "Object.defineProperty(window, 'indexedDB', { value: undefined });"


@pytest.fixture
def office(tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 3, 9)
    add_records(
        path,
        "work",
        [
            {
                "block": "North",
                "row": "2",
                "position": "4",
                "date": "2026-03-01",
                "kind": "renew_arm",
                "arm": "start",
                "status": "planned",
            }
        ],
    )
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    app = create_app(path, hosts=hosts_for(port, lan=False))
    threading.Thread(target=listen(app, "127.0.0.1", port), daemon=True).start()
    return path, f"http://127.0.0.1:{port}"


@pytest.fixture
def phone(office):
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    api = pytest.importorskip("playwright.sync_api")
    with api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        context = browser.new_context(viewport={"width": 390, "height": 844}, accept_downloads=True)
        yield context
        browser.close()


def tab(context, address, script=""):
    page = context.new_page()
    if script:
        page.add_init_script(script)
    page.goto(f"{address}/field/North/index.html?season=2026&look=summer")
    page.wait_for_selector("body[data-ready=yes]")
    return page


def until(page, script, seconds=30):
    end = time.monotonic() + seconds
    while not page.evaluate(f"Boolean({script})"):
        assert time.monotonic() < end, script
        time.sleep(0.05)


def records(path, table):
    with Store.open(path) as store:
        return store.frame(table)


def walk(page, row, positions):
    page.evaluate(f"state.row = {row}; render()")
    page.click("#start")
    until(page, "state.walk && !busy")
    for position in positions:
        page.evaluate(f"once(() => finding({position}, 'leaf_stripe', ''))")
        until(page, f"!busy && walked().some((item) => item.row.position === '{position}')")


@pytest.mark.parametrize("script", ["", NO_DATABASE], ids=["database", "simple"])
def test_two_tabs_write_into_one_queue(office, phone, script):
    path, address = office
    one, two = tab(phone, address, script), tab(phone, address, script)
    walk(one, 0, [2, 3])
    walk(two, 1, [5])
    one.evaluate("once(() => finding(4, 'leaf_stripe', ''))")
    until(one, "items.filter((item) => item.table === 'symptoms').length === 4")
    until(two, "items.filter((item) => item.table === 'symptoms').length === 4")
    for page in (one, two):
        page.evaluate("once(() => finishRow(9))")
        until(page, "!state.walk")
    until(one, "items.length === 6")
    two.close()
    one.reload()
    one.wait_for_selector("body[data-ready=yes]")
    assert one.evaluate("items.length") == 6
    one.evaluate("showRecords()")
    one.click("#sync")
    until(one, "items.every((item) => item.handed)")
    assert sorted(zip(*[records(path, "symptoms")[name] for name in ("row", "position")], strict=True)) == [
        ("1", "2"),
        ("1", "3"),
        ("1", "4"),
        ("2", "5"),
    ]
    assert sorted(records(path, "surveys")["covered"]) == ["1:1..9", "2:1..9"]


def test_one_walk_in_two_tabs_is_finished_once_and_one_work_ticked_once(office, phone):
    path, address = office
    one = tab(phone, address)
    walk(one, 0, [2])
    two = tab(phone, address)  # it opens in the row that is being walked
    assert two.evaluate("state.walk.id") == one.evaluate("state.walk.id")
    silent = "if (others) others.onmessage = null;"  # a tab that the browser has put to sleep hears nothing
    two.evaluate(f"(() => {{ {silent} }})()")
    one.evaluate("once(() => finishRow(9))")
    until(one, "!state.walk")
    two.evaluate("once(() => finishRow(9))")
    until(two, "!state.walk")
    one.evaluate("once(() => workDone(data.work[0]))")
    until(one, "items.some((item) => item.table === 'work')")
    two.evaluate("once(() => workDone(data.work[0]))")
    two.wait_for_timeout(500)
    assert two.evaluate("items.map((item) => item.table).sort()") == ["surveys", "symptoms", "work"]
    two.evaluate("showRecords()")
    two.click("#sync")
    until(two, "items.every((item) => item.handed)")
    assert [len(records(path, table)) for table in ("surveys", "symptoms", "work")] == [1, 1, 1]


def test_what_one_tab_takes_back_while_the_other_hands_over_is_taken_back(office, phone):
    path, address = office
    one = tab(phone, address)
    walk(one, 0, [2, 3])
    one.evaluate("once(() => finishRow(9))")
    until(one, "!state.walk")
    two = tab(phone, address)
    hold = "const plain = window.fetch; window.held = []; window.fetch = (...all) => new Promise((go) => window.held.push(() => go(plain(...all))));"
    one.evaluate(f"(() => {{ {hold} }})()")
    one.evaluate("showRecords()")
    one.click("#sync")
    until(one, "window.held.length === 1")
    # While the office has the records, and has not answered: one is taken back, another said otherwise.
    two.evaluate("once(() => undo(items.find((item) => item.row.position === '2').id))")
    until(two, "items.some((item) => item.state === 'void')")
    two.evaluate("once(() => change(items.find((item) => item.row.position === '3').id, { note: 'looked again' }))")
    until(two, "items.some((item) => item.row.note === 'looked again')")
    one.evaluate("window.held[0]()")
    until(one, "items.some((item) => item.handed)")
    two.evaluate("showRecords()")
    two.click("#sync")
    until(two, "!items.some(pure.pending)")
    left = records(path, "symptoms")
    assert left[["position", "note"]].to_numpy().tolist() == [["3", "looked again"]]
    assert len(records(path, "surveys")) == 1


def test_a_paired_phone_signs_what_it_hands_over_in_a_file_and_over_the_network(office, phone, tmp_path):
    path, address = office
    _, cookie = pair_phone(path, "phone 3", "")
    phone.add_cookies([{"name": PHONE_COOKIE, "value": cookie, "url": address, "httpOnly": True, "sameSite": "Strict"}])
    page = tab(phone, address)
    walk(page, 0, [2, 7])
    page.evaluate("once(() => finishRow(9))")
    until(page, "!state.walk")
    page.evaluate("showRecords()")
    with page.expect_download() as waiting:
        page.click("#hand")
    told = Path(waiting.value.path()).read_text()
    assert "phone_3" in waiting.value.suggested_filename
    assert json.loads(told)["trunkwatch_handover"] == 2
    (tmp_path / "day.json").write_text(told)
    (tmp_path / "forged.json").write_text(told.replace('"position": "7"', '"position": "8"'))
    with pytest.raises(Exception, match="its signature is wrong"):
        bring_files(path, tmp_path / "forged.json")
    added, _ = bring_files(path, tmp_path / "day.json")
    assert added.new == {"surveys": 1, "symptoms": 2}
    assert set(records(path, "symptoms")["device"]) == {"phone 3"}
    page.click("#sync")
    until(page, "document.getElementById('tick').textContent.includes('The office has 3 records')")


def test_a_newer_page_is_offered_and_is_there_after_one_reload(office, phone):
    path, address = office
    page = tab(phone, address)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()  # from now on the phone's own copy is shown
    page.wait_for_selector("body[data-ready=yes]")
    until(page, "navigator.serviceWorker.controller")
    assert page.locator("#newer").count() == 0
    add_records(path, "plants", [{"block": "North", "row": "1", "position": "5", "reason": "missing"}])
    page.evaluate("lookForNewer()")
    page.wait_for_selector("#newer")
    assert page.evaluate("data.rows[0].missing") == []
    page.click("#newer")
    until(page, "document.body.dataset.ready === 'yes' && data.rows[0].missing.length === 1")
    assert page.locator("#newer").count() == 0

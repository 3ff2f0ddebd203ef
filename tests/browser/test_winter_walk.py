"""The walk of the winter's list on the phone in a real browser: one tap done, two for what hinders, the cut, the time, a killed browser."""

import json
import shutil

import pytest
from browser.test_field_page import CHROMIUM, FLAGS, handed_over, kill_browser, phone, run, saved, tap
from click.testing import CliRunner

from trunkwatch.block import open_vineyard
from trunkwatch.cli import main

pytestmark = pytest.mark.browser
__all__ = ["CHROMIUM", "FLAGS", "phone"]


@pytest.fixture(scope="module")
def vineyard(tmp_path_factory, pytestconfig):
    folder = tmp_path_factory.mktemp("winter")
    path = folder / "v.gpkg"
    run("load", path, pytestconfig.rootpath / "sample_blocks")
    run("plan", path, "--block", "Mill", "--write")
    run("sheet", path, "--block", "Mill", "--phone", "--out", folder / "phone.html")
    return path


def plans(page):
    """The winter's list as the page knows it."""
    return json.loads(page.evaluate("document.getElementById('data').textContent"))["work"]


def here(page):
    return page.locator("h1.here").inner_text().split()[1], int(page.locator("#at").inner_text())


def arrive(page, plan):
    """Wait until the vine of a plan is shown, and it can be answered."""
    page.wait_for_function("(at) => document.getElementById('at').textContent === at", arg=str(plan["position"]))
    page.wait_for_selector("#done")
    assert here(page) == (plan["row"], int(plan["position"]))


def one_screen(page):
    assert page.evaluate("document.documentElement.scrollHeight") <= 664
    boxes = page.eval_on_selector_all(
        "#page button, #page select", "all => all.map(one => one.getBoundingClientRect()).map(r => [r.width, r.height])"
    )
    assert boxes
    assert min(min(box) for box in boxes) >= 48


def press(page, where):
    page.wait_for_selector("#page:not(.settling)")
    page.locator(where).first.tap()
    page.taps += 1


def test_a_list_is_walked_with_one_tap_for_done_and_two_for_what_hinders(vineyard, phone, tmp_path):
    context, page = phone(vineyard.parent / "phone.html")
    page.set_viewport_size({"width": 390, "height": 664})
    listed = [one for one in plans(page) if not one["summer"]]
    assert [one["row"]["kind"] for one in listed].count("renew_arm") == 13
    page.fill("#observer", "Ana")
    press(page, "#winter")
    first = listed[0]["row"]
    assert here(page) == (first["row"], int(first["position"]))
    assert "northeast arm" in page.locator(".todo").inner_text()
    assert "Seen: striped leaves; dead arm (northeast arm)" in page.locator(".about").inner_text()
    one_screen(page)
    # A cut: one tap is done; height, face and wound are asked on one screen and may all be left out.
    before = page.taps
    press(page, "#done")
    assert page.taps == before + 1
    saved(page, f"{first['row']}:{first['position']} ")
    one_screen(page)
    for where in ("[data-n='40']", "[data-n='0']", "#wound", "#next"):
        press(page, where)
    second, third, fourth, fifth = (one["row"] for one in listed[1:5])
    arrive(page, second)
    page.evaluate("state.winter_since = new Date(Date.now() - 6 * 60000).toISOString()")  # six minutes at this vine
    press(page, "#done")
    press(page, "#next")
    # What hinders: two taps.
    for plan, reason in ((third, "no_shoot"), (fourth, "sound")):
        arrive(page, plan)
        before = page.taps
        press(page, "#not-done")
        one_screen(page)
        press(page, f"[data-reason='{reason}']")
        assert page.taps == before + 2
        saved(page, f"{plan['row']}:{plan['position']}: not done")
    arrive(page, fifth)
    page.evaluate("state.winter_since = new Date(Date.now() - 20 * 60000).toISOString()")  # a pause
    press(page, "#done")
    saved(page, f"{fifth['row']}:{fifth['position']} ")
    kill_browser(tmp_path / "profile")
    context, page = phone(vineyard.parent / "phone.html")
    assert page.evaluate("document.body.dataset.screen") == "winter"
    assert f"{len(listed) - 5} left" in page.locator("#page").inner_text()
    tap(page, "Back")
    told = handed_over(page)
    shutil.copy(told, tmp_path / "one.json")
    context.close()
    copy = tmp_path / "copy.gpkg"
    shutil.copy(vineyard, copy)
    for _ in range(2):  # given twice, taken once
        run("load", copy, tmp_path / "one.json")
    with open_vineyard(copy) as store:
        work, found = store.frame("work", "Mill"), store.frame("symptoms", "Mill")
    mine = work[work["observer"] == "Ana"]
    assert len(mine) == 6

    def of(plan, kind):
        (line,) = mine[
            (mine["row"] == plan["row"]) & (mine["position"] == plan["position"]) & (mine["kind"] == kind)
        ].to_dict("records")
        return line

    one = of(first, "renew_arm")
    assert (one["status"], one["cut_height_cm"], one["arm"]) == ("done", 40.0, first["arm"])
    assert of(first, "protect_wound")["status"] == "done"
    assert of(second, "renew_arm")["hours"] == pytest.approx(0.1, abs=0.01)
    assert of(fifth, fifth["kind"])["hours"] != of(fifth, fifth["kind"])["hours"]  # a pause is no work
    for plan, reason in ((third, "no shoot to retrain from"), (fourth, "inspected closely, nothing seen")):
        line = of(plan, plan["kind"])
        assert (line["status"], line["date"]) == ("dropped", plan["date"])
        assert line["note"].endswith(f"not done: {reason}")
    mine = found[found["observer"] == "Ana"]
    seen = sorted(
        zip(
            mine["row"],
            mine["position"],
            mine["symptom"],
            mine["stain_cm"].fillna(-1),
            mine["cut_height_cm"].fillna(-1),
            strict=True,
        )
    )
    assert seen == sorted([
        (first["row"], first["position"], "wood_staining", 0.0, 40.0), (fourth["row"], fourth["position"], "none", -1.0, -1.0),
    ])  # fmt: skip
    # A plan that is made again does not bring back what somebody dropped in the row.
    again = CliRunner().invoke(main, ["plan", str(copy), "--block", "Mill", "--write"])
    assert again.exit_code == 0
    with open_vineyard(copy) as store:
        work = store.frame("work", "Mill")
    there = work[
        (work["row"] == third["row"]) & (work["position"] == third["position"]) & (work["kind"] == third["kind"])
    ]
    assert "planned" not in there["status"].tolist()


def test_back_and_forth_by_row_and_what_was_answered_can_be_taken_back(vineyard, phone):
    context, page = phone(vineyard.parent / "phone.html")
    page.set_viewport_size({"width": 390, "height": 664})
    listed = [one["row"] for one in plans(page) if not one["summer"]]
    press(page, "#winter")
    last = next(one for one in listed if one["row"] == listed[-1]["row"])
    page.wait_for_selector("#page:not(.settling)")
    page.select_option("#jump", last["row"])
    assert here(page) == (last["row"], int(last["position"]))
    press(page, "#not-done")
    press(page, "[data-reason='gone']")
    page.wait_for_selector("#page:not(.settling)")
    page.select_option("#jump", listed[0]["row"])
    for _ in range(len(listed)):
        if here(page) == (last["row"], int(last["position"])):
            break
        tap(page, "Next")
    one_screen(page)
    assert "not done: the vine is gone" in page.locator(".answer").inner_text()
    press(page, "#undo")
    page.wait_for_selector("#done")
    assert f"{len(listed)} left" in page.locator("#page").inner_text()
    assert page.evaluate("pure.handover(data, 'x', items, new Date()).work.length") == 0
    context.close()


def test_two_windows_answer_a_vine_once(vineyard, phone):
    context, page = phone(vineyard.parent / "phone.html")
    other = context.new_page()
    other.taps = 0
    other.goto((vineyard.parent / "phone.html").as_uri())
    other.wait_for_selector("body[data-ready=yes]")
    press(page, "#winter")
    press(other, "#winter")
    place = here(page)
    assert here(other) == place
    other.evaluate("others.onmessage = null")  # the news comes late
    press(other, "#not-done")  # it asks why, while the first window answers
    press(page, "#done")
    saved(page, f"{place[0]}:{place[1]} ")
    press(other, "[data-reason='gone']")
    saved(other, "Another window of this page has answered this vine")
    assert "Done" in other.locator(".answer").inner_text()
    work = page.evaluate(
        "(async () => (await disk.read()).items.filter(one => one.table === 'work' && one.state === 'live'))()"
    )
    assert len([one for one in work if (one["row"]["row"], int(one["row"]["position"])) == place]) == 1
    context.close()


def test_a_full_disk_keeps_the_vine_open_and_says_so(vineyard, phone):
    context, page = phone(vineyard.parent / "phone.html")
    press(page, "#winter")
    place = here(page)
    page.evaluate("window.failing = true")
    press(page, "#done")
    saved(page, "NOT saved")
    assert here(page) == place
    assert page.locator("#done").is_visible()
    page.evaluate("window.failing = false")
    press(page, "#done")
    saved(page, f"{place[0]}:{place[1]} ")
    context.close()

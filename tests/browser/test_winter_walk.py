"""The walk of the winter's list on a phone: taps, reasons, cuts, time, two tabs; few taps for findings; sizes and contrast of every screen."""

import shutil

import pytest
from flight_day import TRAPS, fly
from phone_screens import (
    CHROMIUM,
    FAINT,
    FLAGS,
    OUTSIDE,
    SMALL,
    handed_over,
    marked,
    new_long_block,
    run,
    saved,
    tap,
    whole,
)

from trunkwatch.block import open_vineyard
from trunkwatch.block.opening import load
from trunkwatch.cold.pace import job_of_renewal
from trunkwatch.history.damage import EndKind
from trunkwatch.intake import correct_record
from trunkwatch.renewal.costs import costs_of
from trunkwatch.sheets.crew_words import part_in, words_in
from trunkwatch.spreadsheets.handover import read_handover
from trunkwatch.store import Store
from trunkwatch.vineyard import codes

pytestmark = pytest.mark.browser

#: Row 1: two arms, a trunk with a shoot that nobody wrote, a replant; row 2: an arm and a vine to train; and work for the summer.
WORK = [
    (1, 4, "renew_arm", "end", 85), (1, 9, "renew_arm", "start", None), (1, 20, "renew_trunk", "", 35), (1, 31, "replant", "", None),
    (2, 7, "renew_arm", "end", None), (2, 12, "train", "", None), (3, 3, "mark", "", None),
]  # fmt: skip


@pytest.fixture(scope="module")
def vineyard(tmp_path_factory):
    folder = tmp_path_factory.mktemp("winter")
    notes, file = folder / "notes", folder / "v.gpkg"
    new_long_block(notes, 3)
    run("load", file, notes)
    with Store.open(file) as store:
        (block,) = store.frame("blocks")["id"]
    correct_record(file, "blocks", block, {"row_bearing_deg": "10"})
    for date in ("2025-01-15", "2025-08-15"):
        run("log", file, "survey", "--block", "Long", "--date", date, "--covered", "1..3")
    for row, position, kind, arm, cut in WORK:
        if kind == "renew_arm":
            run(
                "log",
                file,
                "finding",
                block="Long",
                row=row,
                position=position,
                date="2025-01-15",
                symptom="dead_arm",
                arm=arm,
                percent=60,
                renewal_shoot="trunk",
                shoot_quality="good",
            )
        more = [*(["--arm", arm] if arm else []), *(["--cut-height-cm", cut] if cut else [])]
        run(
            "log",
            file,
            "work",
            "--block",
            "Long",
            "--row",
            row,
            "--position",
            position,
            "--date",
            "2026-01-15",
            "--kind",
            kind,
            *more,
            "--status",
            "planned",
            "--hours",
            0.5,
            "--note",
            "below the wire",
        )
    run("sheet", file, block="Long", season=2026, phone=True, look="dormant", out=folder / "phone.html")
    return file


@pytest.fixture
def api():
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as started:
        yield started


@pytest.fixture
def phone(api, vineyard):
    browser = api.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
    context = browser.new_context(viewport={"width": 390, "height": 664}, has_touch=True, accept_downloads=True)
    context.add_init_script(TRAPS.replace("OFFSET", "0"))
    said = []

    def start():
        page = context.new_page()
        page.on("pageerror", lambda error: said.append(str(error)))
        page.taps = 0
        page.goto((vineyard.parent / "phone.html").as_uri())
        page.wait_for_selector("body[data-ready=yes]")
        return page

    yield start
    browser.close()
    assert said == []


def start_walk(page):
    page.evaluate("state.observer = 'Ana'; state.screen = 'winter'; render()")
    tap(page, "#go_on")


def lines(path, table):
    with Store.open(path) as store:
        return store.frame(table)


# Findings in few taps


FINDINGS = [(7, "striped leaves", "", "50", "trunk", "good"), (12, "dead arm (cordon)", "end", "100", "above_union", "thin"),
            (23, "striped leaves", "", "25", "none", ""), (31, "striped leaves", "", "25", "trunk", "unripe"),
            (44, "striped leaves", "", "75", "trunk", "good"), (58, "dead arm (cordon)", "start", "100", "trunk", "too_vigorous")]  # fmt: skip


def test_a_row_of_sixty_with_six_findings_their_share_and_shoot_takes_at_most_45_taps(phone, tmp_path):
    page = phone()
    page.evaluate("data.first_symptoms = ['leaf_stripe', 'dead_arm', 'collapse', 'dead', 'berry_spots']; render()")
    tap(page, "#start")
    for position, symptom, arm, percent, shoot, quality in FINDINGS:
        for digit in str(position):
            tap(page, digit)
        whole(page, f"typed {position}")
        tap(page, symptom)
        saved(page, f"1:{position} ")
        if arm:
            assert "Which arm?" in page.inner_text("#hint")
            tap(page, f"[data-say='arm {arm}']")
        tap(page, f"[data-say='percent {percent}']")
        tap(page, f"[data-say='renewal_shoot {shoot}']")
        if quality:
            tap(page, f"[data-say='shoot_quality {quality}']")
        whole(page, f"said {position}")
    tap(page, "#done")
    tap(page, "6")
    tap(page, "0")
    tap(page, "#ok")
    saved(page, "1:1..60")
    assert page.taps <= 45
    frames, faults = read_handover(handed_over(page, tmp_path / "one.json"))
    assert faults == []
    got = [
        (int(r.position), r.arm, f"{r.percent:.0f}", r.renewal_shoot, r.shoot_quality)
        for r in frames["symptoms"].itertuples()
    ]
    assert got == [(p, arm, percent, shoot, quality) for p, _, arm, percent, shoot, quality in FINDINGS]


def test_what_is_said_by_a_tap_is_taken_back_by_the_same_tap_and_survives_a_reload(phone):
    page = phone()
    tap(page, "#start")
    assert page.locator("[data-say]:not([disabled])").count() == 0  # nothing is said of no finding
    tap(page, "9")
    tap(page, "dead arm (cordon)")
    assert (
        page.locator("[data-say^=shoot_quality]:not([disabled])").count() == 0
    )  # no quality of a shoot that nobody named
    tap(page, "[data-say='renewal_shoot trunk']")
    tap(page, "[data-say='shoot_quality thin']")
    tap(page, "[data-say='percent 75']")
    tap(page, "[data-say='percent 75']")
    tap(page, "[data-say='trunk 1']")
    assert page.inner_text("[data-say='arm end']") == "north"
    page.reload()
    page.wait_for_selector("body[data-ready=yes]")
    row = page.evaluate("walked()[0].row")
    assert (row["renewal_shoot"], row["shoot_quality"], row["percent"], row["trunk"], row["arm"]) == (
        "trunk",
        "thin",
        "",
        1,
        "",
    )
    assert page.get_attribute("[data-say='shoot_quality thin']", "aria-pressed") == "true"
    tap(page, "[data-say='renewal_shoot none']")  # with the shoot its quality goes
    assert page.evaluate("walked()[0].row.shoot_quality") == ""


# The walk of the list


def test_the_list_in_row_order_one_tap_done_two_for_not_done(phone, vineyard, tmp_path):
    page = phone()
    start_walk(page)
    assert page.inner_text("#left") == "row 1: 4 left\n6 of 6 left"
    assert page.inner_text("#at") == "4"
    told = page.inner_text("main")
    for words in (
        "Row 1",
        "retrain the arm",
        "north arm",
        "number 4 from the start, 57 from the far end",
        "planned cut at 85 cm",
        "dead arm (north arm), 60\u00a0% \u00b7 2025-01-15",
        "from the trunk, good (pencil-thick, brown)",
        "below the wire",
    ):
        assert words in told, words
    before = page.taps
    tap(page, "#did")
    assert page.taps == before + 1
    saved(page, "1:4 retrain the arm")
    whole(page, "after")
    assert (
        page.get_attribute("[data-height='85']", "aria-pressed") == "true"
    )  # as it was planned, until somebody says otherwise
    tap(page, "[data-height='90']")
    tap(page, "[data-stain='10']")
    tap(page, "#protected")
    tap(page, "#next")
    assert page.inner_text("#at") == "9"
    before = page.taps
    tap(page, "#not_done")
    whole(page, "why")
    tap(page, "[data-why=no_shoot]")
    assert page.taps == before + 2
    assert page.inner_text("#at") == "20"
    tap(page, "#not_done")
    tap(page, "[data-why=vine_gone]")
    assert page.inner_text("#at") == "31"
    tap(page, "Planted")
    assert (page.inner_text("#at"), page.inner_text("h1")) == ("7", "Row 2")
    tap(page, "#did")
    tap(page, "#clean")
    tap(page, "#next")
    tap(page, "#did")
    assert page.get_by_text("Nothing is left on the list.").is_visible()
    assert (
        page.evaluate("items.length") == 9
    )  # six decisions, two cut faces, one vine gone; the mark of summer is not asked for
    copy = tmp_path / "v.gpkg"
    shutil.copy(vineyard, copy)
    for _ in range(2):
        run("load", copy, handed_over(page, tmp_path / "one.json"))
    work = lines(copy, "work").set_index(["row", "position"])
    at = ["status", "not_done", "wound_protected", "note"]
    assert work.loc[("1", "4"), at].tolist() == ["done", "", "yes", "below the wire"]
    assert work.loc[("1", "4"), "cut_height_cm"] == 90
    assert work.loc[("1", "9"), at].tolist() == ["dropped", "no_shoot", "", "below the wire"]
    assert work.loc[("1", "20"), at].tolist() == ["dropped", "vine_gone", "", "below the wire"]
    assert work.loc[("3", "3"), "status"] == "planned"
    assert len(work) == len(WORK)
    faces = lines(copy, "symptoms")
    faces = (
        faces[faces["symptom"] == "wood_staining"][["row", "position", "arm", "cut_height_cm", "stain_cm"]]
        .to_numpy()
        .tolist()
    )
    assert [one[:3] for one in faces] == [["1", "4", "end"], ["2", "7", "end"]]
    assert faces[0][3:] == [90, 10]
    assert faces[1][4] == 0
    assert lines(copy, "plants")[["row", "position", "reason", "note"]].to_numpy().tolist() == [
        ["1", "20", "", "found gone"]
    ]
    told = run("history", copy, "--row", 1, "--position", 4).output
    assert "cut at 90 cm, wound protected" in told
    assert "stained wood at a cut (end), 10 cm stained" in told
    assert "clean wood at a cut" in run("history", copy, "--row", 2, "--position", 7).output
    assert "not done: the vine is gone" in run("history", copy, "--row", 1, "--position", 20).output


def test_looks_sound_is_no_finding_until_somebody_says_that_it_was_inspected(phone, vineyard, tmp_path):
    page = phone()
    start_walk(page)
    for position, inspected in (("4", False), ("9", True)):
        assert page.inner_text("#at") == position
        tap(page, "#not_done")
        tap(page, "[data-why=looks_sound]")
        whole(page, "inspected?")
        if inspected:
            tap(page, "#inspected")
            saved(page, "Saved")
        tap(page, "#next")
    copy = tmp_path / "v.gpkg"
    shutil.copy(vineyard, copy)
    run("load", copy, handed_over(page, tmp_path / "one.json"))
    found = lines(copy, "symptoms")
    assert found[found["symptom"] == "none"][["position", "arm"]].to_numpy().tolist() == [["9", "start"]]
    with open_vineyard(copy) as store:
        season = load(store, "Long")
    ends = [[d.end.kind if d.end else None for d in season.reading.damages.of((0, p - 1))] for p in (4, 9)]
    assert ends == [[None], [EndKind.CONTRADICTED]]


def test_undo_before_and_after_sending_leaves_the_work_as_it_was_planned(phone, vineyard, tmp_path):
    copy = tmp_path / "v.gpkg"
    shutil.copy(vineyard, copy)
    planned = _work_of(copy)
    page = phone()
    start_walk(page)
    tap(page, "#did")
    tap(page, "[data-height='100']")
    tap(page, "#stained")
    run("load", copy, handed_over(page, tmp_path / "one.json"))
    marked(page)
    tap(page, "[data-height='110']")  # said otherwise after it was sent
    tap(page, "#open_wound")
    run("load", copy, handed_over(page, tmp_path / "two.json"))
    marked(page)
    work = lines(copy, "work").set_index("position").loc["4"]
    assert (work["status"], work["cut_height_cm"], work["wound_protected"]) == ("done", 110, "no")
    assert lines(copy, "symptoms").query("symptom == 'wood_staining'")["cut_height_cm"].tolist() == [110]
    tap(page, "#undo")
    run("load", copy, handed_over(page, tmp_path / "three.json"))
    for order in ("one", "two", "three"):
        run("load", copy, tmp_path / f"{order}.json")
    assert _work_of(copy) == planned
    assert lines(copy, "symptoms").query("symptom == 'wood_staining'").empty
    # The same before anything was sent.
    page.wait_for_selector("#did")
    tap(page, "#not_done")
    tap(page, "[data-why=vine_gone]")
    tap(page, "#previous")
    tap(page, "#undo")
    assert page.evaluate("items.filter((one) => one.state === 'live').length") == 0
    run("load", copy, handed_over(page, tmp_path / "four.json"))
    assert lines(copy, "plants").empty


def _work_of(path):
    said = [
        "row",
        "position",
        "date",
        "kind",
        "status",
        "arm",
        "cut_height_cm",
        "hours",
        "note",
        "wound_protected",
        "not_done",
    ]
    return sorted(map(str, lines(path, "work")[said].to_numpy().tolist()))


def test_time_from_vine_to_vine_is_learnt_as_the_crews_own_pace(phone, vineyard, tmp_path):
    page = phone()
    page.evaluate(
        "data.work = [4, 9, 20, 31, 40, 41, 42].map((p, n) => ({ ...data.work[0], root: `r${n}`, unplanned: true, row: { block: 'Long', row: '1', position: String(p), kind: 'renew_arm', arm: 'end', hours: 9, cost: 9 } })); state.hands = 2"
    )
    start_walk(page)
    later = 0
    page.evaluate("data.work.push({ ...data.work[0], root: 'r7', row: { ...data.work[0].row, position: '50' } })")
    # The first vine has nobody before it; 3 and 6 minutes; a pause of 11; the clock set back an hour, and put right; 6 minutes.
    for minutes in (0, 3, 6, 11, -60, 66, 6):
        later += minutes * 60_000
        page.evaluate(f"window.offset = {later}")
        tap(page, "#did")
        tap(page, "#next")
    page.evaluate("window.offset += 60000")
    tap(page, "#not_done")
    tap(page, "[data-why=already_cut]")  # found done: nobody's time
    assert page.evaluate(
        "[said(data.work[7]).row.status, said(data.work[7]).row.note, said(data.work[7]).row.hours ?? null]"
    ) == ["done", "found already cut", None]
    hours = page.evaluate("data.work.slice(0, 7).map((plan) => said(plan).row.hours ?? null)")
    assert [None if one is None else round(one * 60) for one in hours] == [
        None,
        6,
        12,
        None,
        None,
        None,
        12,
    ]  # two people
    assert page.evaluate("items.every((one) => !('cost' in one.row))")  # and no hours that were planned
    assert page.evaluate("pace('1')") == "3 vines timed, 15 min, 5.0 min each"
    copy = tmp_path / "v.gpkg"
    shutil.copy(vineyard, copy)
    run("load", copy, handed_over(page, tmp_path / "one.json"))
    with open_vineyard(copy) as store:
        season, costs = load(store, "Long"), costs_of(store.frame("costs", "Long"))
    pace = job_of_renewal(season.reading, 2027, costs).pace
    assert (round(pace.minutes), pace.vines, pace.comes_from.value) == (10, 3, "the block's own hours")


def test_previous_next_jump_there_and_back_and_the_work_of_summer(phone):
    page = phone()
    start_walk(page)
    tap(page, "#next")
    assert page.inner_text("#at") == "9"
    tap(page, "#previous")
    assert page.inner_text("#at") == "4"
    tap(page, "#jump")
    whole(page, "winter")
    tap(page, "Row 2: 2 of 2 left")
    assert page.inner_text("#at") == "7"
    tap(page, "#jump")
    tap(page, "Up one row, down the next")
    assert page.evaluate("ordered().map((one) => `${one.row.row}:${one.row.position}`)") == [
        "1:4",
        "1:9",
        "1:20",
        "1:31",
        "2:12",
        "2:7",
    ]
    tap(page, "Spring and summer too")
    assert page.evaluate("ordered().at(-1).row.kind") == "mark"
    page.reload()
    page.wait_for_selector("body[data-ready=yes]")
    assert page.locator("#go_on").is_visible()  # it opens where it was left


def test_a_vine_of_the_list_takes_findings_as_the_row_does(phone):
    page = phone()
    start_walk(page)
    tap(page, "#see")
    whole(page, "see")
    tap(page, "dead trunk")
    tap(page, "[data-say='percent 50']")
    whole(page, "said")
    assert page.evaluate("items.map((one) => [one.table, one.row.position, one.row.symptom, one.row.percent])") == [
        ["symptoms", "4", "dead_trunk", 50]
    ]
    tap(page, "#back")
    assert page.inner_text("#at") == "4"


def test_two_tabs_on_one_list_decide_each_vine_once(phone):
    one, two = phone(), phone()
    start_walk(one)
    start_walk(two)
    two.evaluate(
        "(() => { if (others) others.onmessage = null; })()"
    )  # a tab that the browser has put to sleep hears nothing
    tap(one, "#did")
    tap(one, "#protected")
    tap(two, "#not_done")
    tap(two, "[data-why=vine_gone]")
    assert "NOT saved" in two.inner_text("#tick")
    assert two.inner_text(".verdict") == "\u2713 Done"
    kept = "items.map((one) => [one.table, one.row.position, one.row.status, one.row.wound_protected])"
    assert two.evaluate(kept) == one.evaluate(kept) == [["work", "4", "done", "yes"]]
    two.evaluate("readAgain()")
    # Where one tab takes a tick back the other falls back to the vine.
    three = phone()
    three.evaluate("goTo(data.work[0])")
    three.evaluate("state.screen = 'after'; render()")
    tap(one, "#undo")
    three.wait_for_selector("#did")
    assert three.evaluate("items.filter((one) => one.state === 'live').length") == 0


# Sizes and contrast


def test_every_screen_fits_the_phone_has_large_keys_and_stands_out(phone):
    page = phone()
    for language in ("en", "es"):
        page.evaluate(f"state.language = '{language}'; state.screen = 'start'; render()")
        screens = {
            "winter": "state.screen = 'winter'; render()",
            "vine": "goTo(data.work[0])",
            "why": "state.screen = 'why'; render()",
            "after": "workDone(planOf(state.vine))",
            "decided": "state.screen = 'vine'; render()",
            "see": "state.screen = 'see'; state.seen = null; render()",
            "sound": "notDone(data.work[1], 'looks_sound')",
            "note": "notDone(data.work[2], 'other')",
            "findings": "state.screen = 'start'; startRow()",
            "typed": "typed = '12'; render()",
            "wrong": "typed = '99'; render()",
            "finding": "finding(12, 'dead_arm', '')",
            "start": "leaveRow()",
            "settings": "state.screen = 'settings'; render()",
        }
        tall = {
            "records": "showRecords()",
            "work": "state.screen = 'work'; render()",
            "more": "moreScreen(12)",
            "details": "detailsScreen(items.find((one) => one.table === 'symptoms').id)",
            "every": "state.road = 'every'; startRow()",
            "end": "state.road = 'findings'; state.screen = 'end'; render()",
            "off": "typed = '59'; offScreen(59)",
        }
        for screen, script in {**screens, **tall}.items():
            page.evaluate(
                f"(async () => {{ await ({script.rsplit(';', 1)[-1]}); }})()"
                if ";" not in script
                else f"(async () => {{ {script}; }})()"
            )
            page.wait_for_function("!busy")
            page.wait_for_timeout(250)
            page.evaluate("document.getElementById('tick').className = ''")
            if screen in screens:
                whole(page, f"{language} {screen}")
            if screen == "work":  # three lines a vine, the first of them whole
                lines = page.evaluate(
                    "[...document.querySelectorAll('.vine-key')].map((one) => [one.textContent, one.offsetHeight])"
                )
                assert len(lines) == len(WORK)
                assert [line for line in lines if line[1] > 76] == [], language
                assert "60\u00a0%, 2025-01-15" in " ".join(text for text, _ in lines)
            assert page.evaluate(SMALL) == [], f"{language} {screen}"
            assert page.evaluate(FAINT) == [], f"{language} {screen}"
        page.evaluate(
            "leaveRow().then(() => write((all) => all.filter((one) => one.state === 'live').map(takenBack), ''))"
        )
        page.wait_for_function("items.every((one) => one.state === 'void')")


def test_findings_fit_the_screen_with_every_training_whichever_way_the_rows_run(phone):
    page = phone()
    page.evaluate("startRow().then(() => finding(12, 'dead_arm', ''))")
    page.wait_for_function("walked().length === 1")
    for training, arms in codes.ARMS.items():
        for bearing in (None, 225, 10):
            named = {
                language: {
                    arm: part_in(words_in(language), 0, arm, bearing, language=language)
                    for arm in arms
                    if bearing is not None
                }
                for language in ("en", "es")
            }
            for language in named:
                told = {"arms": list(arms), "arm_names": named, "trunks": 3 if training == "multi_trunk" else 1}
                page.evaluate(
                    "([told, language, arm]) => { Object.assign(data, told); state.language = language; state.again = { symptom: 'dead_arm', arm }; render(); }",
                    [told, language, arms[-1]],
                )
                whole(page, f"{training} {bearing} {language}")


def test_axe_finds_no_grave_fault_on_the_new_screens(phone):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = phone()
    for script in (
        "state.screen = 'winter'; render()",
        "goTo(data.work[0])",
        "state.screen = 'why'; render()",
        "workDone(data.work[0])",
        "state.screen = 'see'; render()",
        "state.screen = 'start'; startRow()",
        "finding(12, 'dead_arm', '')",
    ):
        page.evaluate(f"(async () => {{ {script}; }})()")
        page.wait_for_timeout(300)
        grave = [
            one for one in axe.run(page).response["violations"] if one["impact"] in ("critical", "serious", "moderate")
        ]
        assert [(one["id"], one["nodes"][0]["target"]) for one in grave] == [], script


def test_a_pale_word_and_a_small_key_are_caught(phone):
    """What the sizes and the contrast are measured by can fail."""
    page = phone()
    page.evaluate("state.screen = 'winter'; render()")
    assert page.evaluate(FAINT) == []
    page.add_style_tag(
        content=".small { color: #777; } #whole { min-width: 0; width: 40px; } #go_on { margin-bottom: -20px; }"
    )
    assert [ratio < 7 for _, ratio in page.evaluate(FAINT)] == [True]
    assert page.evaluate(SMALL) == ["Whole list"]
    assert any("Go on" in str(text) for text in page.evaluate(OUTSIDE))


# Whole days


def test_a_day_in_flight_mode_on_three_phones_loses_nothing_and_tells_nothing_twice(api, tmp_path):
    """A small one; `tests/calibration/flight_days.py` plays 600 vines with a kill every 50 records."""
    happened = fly(api, CHROMIUM, tmp_path, vines=18, kill_every=99, shared=3, full=False)
    assert (happened["kills"], happened["taps on a full store"]) == (3, 3)
    assert (happened["clocks set back"], happened["orders"]) == (1, 2)
    assert happened["records"] >= 30

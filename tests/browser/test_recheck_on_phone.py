"""Blind rechecks on the phone, and a survey of part of the rows by several people, in a real browser."""

import itertools
import json
import shutil

import pytest
from flight_day import TRAPS
from phone_screens import FAINT, SMALL, handed_over, in_hand, marked, new_long_block, run, saved, tap, whole

from trunkwatch.block.opening import load
from trunkwatch.history import Condition
from trunkwatch.store import Store
from trunkwatch.surveys.paired_looks import second_looks
from trunkwatch.surveys.second_looks import recheck_of
from trunkwatch.vineyard.covered import CoverageError, parse_covered

pytestmark = pytest.mark.browser

SEEN = [(1, 4), (1, 9), (3, 20), (4, 7), (5, 44), (6, 50)]
#: A word that stands in the record of the first inspection alone.
HIDDEN = "very hidden note"


@pytest.fixture(scope="module")
def vineyard(tmp_path_factory):
    folder = tmp_path_factory.mktemp("recheck")
    file = folder / "v.gpkg"
    new_long_block(folder / "notes", 6)
    run("load", file, folder / "notes")
    bare = folder / "bare.gpkg"
    shutil.copy(file, bare)
    run("log", bare, "survey", "--block", "Long", "--date", "2026-01-20", "--covered", "1..6")
    run("sheet", bare, block="Long", season=2026, phone=True, look="summer", out=folder / "bare.html")
    for day in ("2026-01-20", "2026-08-20"):
        run("log", file, "survey", "--block", "Long", "--date", day, "--covered", "1..6", "--observer", "Ben")
    for row, position in SEEN:
        run(
            "log",
            file,
            "finding",
            block="Long",
            row=row,
            position=position,
            date="2026-08-20",
            symptom="leaf_stripe",
            observer="Ben",
            note=HIDDEN,
        )
    run("log", file, "work", block="Long", row=1, position=4, date="2026-12-15", kind="renew_trunk", status="planned")
    run("sheet", file, block="Long", season=2026, recheck=10, look="summer", phone=True, out=folder / "recheck.html")
    run("sheet", file, block="Long", season=2026, phone=True, look="summer", out=folder / "phone.html")
    return file


@pytest.fixture
def phone(vineyard):
    with in_hand() as open_page:

        def start(name="Ana", file="recheck.html", day="2026-08-24", context=None):
            script = TRAPS.replace("OFFSET", f"Date.parse('{day}T10:00:00') - Date.now()")
            page = open_page(vineyard.parent / file, script, context)
            page.fill("#observer", name)
            return page

        yield start


def copied(vineyard, tmp_path, name="v"):
    copy = tmp_path / f"{name}.gpkg"
    shutil.copy(vineyard, copy)
    return copy


def vine_at(page):
    return int(page.inner_text("h1").split()[-1]), int(page.inner_text("#at"))


# Blind rechecks


def test_nothing_of_the_first_inspection_is_in_the_page(phone, vineyard):
    text = (vineyard.parent / "recheck.html").read_text()
    assert HIDDEN not in text
    told = json.loads(text.split('id="data">')[1].split("</script>")[0])
    every_page = ("words", "rules", "reasons", "heights")  # codes and rules, the same for every block
    assert "renew_trunk" not in json.dumps({name: part for name, part in told.items() if name not in every_page})
    page = phone()
    assert page.evaluate(
        "data.rows.every((row) => !Object.keys(row.found).length && row.known_in.every((year) => year === 0))"
    )
    assert page.evaluate("data.work") == []
    assert page.evaluate("data.recheck.vines.length") == 10
    order = page.evaluate("data.recheck.vines.map(([row, position]) => Number(row) * 100 + position)")
    assert order == sorted(order)
    # The ordinary page knows all of it: the test can fail.
    other = phone(file="phone.html")
    assert other.evaluate("Object.keys(data.rows[0].found)") == ["4", "9"]


def test_each_vine_is_answered_and_the_agreement_uses_it(phone, vineyard, tmp_path):
    page = phone()
    whole(page, "start")
    tap(page, "#go_on")
    first_by_hand = 0
    for n in range(10):
        vine = vine_at(page)
        whole(page, "vine")
        if n == 9:
            tap(page, "#not_seen")  # gone, or out of reach: compared with nothing
        elif vine in SEEN[:4] or n == 0:
            first_by_hand += 1
            tap(page, "[data-see=leaf_stripe]")
            saved(page, f"{vine[0]}:{vine[1]} striped leaves")
            tap(page, "[data-say='percent 50']")
            whole(page, "found")
            assert page.locator("#nothing").is_disabled()
            tap(page, "#next")
        else:
            before = page.taps
            tap(page, "#nothing")
            assert page.taps == before + 1
    assert page.get_by_text("Every vine of the list is answered").is_visible()
    copy = copied(vineyard, tmp_path)
    for _ in range(2):
        run("load", copy, handed_over(page, tmp_path / "one.json"))
    vines = [
        tuple(vine) for vine in page.evaluate("data.recheck.vines.map(([row, position]) => [Number(row), position])")
    ]
    with Store.open(copy) as store:
        again = store.frame("surveys")
        again = again[again["purpose"] == "recheck"]
        season = load(store, "Long", 2026)
    assert again[["look", "date", "observer"]].to_numpy().tolist() == [["summer", "2026-08-24", "Ana"]]
    (looks,) = second_looks(season.reading, "summer", 2026)
    assert looks.first.size == 9
    assert set(looks.pairs) == {("Ben", "Ana")}
    assert int(looks.second.sum()) == first_by_hand
    assert int(looks.first.sum()) == sum(vine in SEEN for vine in vines[:9])
    (result,) = recheck_of(season)
    assert result.pairs == (("Ben", "Ana", 9),)
    assert result.days == (4, 4)
    assert result.result.agreement.vines == 9
    # The vines themselves are judged by the first inspection alone.
    with Store.open(vineyard) as store:
        before = load(store, "Long", 2026)
    assert (season.history.condition == before.history.condition).all()


def test_what_is_taken_back_is_unanswered_and_never_healthy(phone, vineyard, tmp_path):
    page = phone()
    tap(page, "#go_on")
    tap(page, "[data-see=leaf_stripe]")
    tap(page, "[data-see=dead]")
    tap(page, "#undo")
    assert "striped leaves" in page.inner_text("#verdict")
    assert page.evaluate("unanswered(listed()).length") == 9
    tap(page, "#undo")  # without its last finding it is not answered: nobody said that nothing is seen
    assert page.evaluate("[unanswered(listed()).length, items.filter((one) => one.state === 'live').length]") == [10, 0]
    tap(page, "#nothing")
    tap(page, "[data-see=leaf_stripe]")
    marked(page)
    # Taken back among the records, after it was sent: the vine is not answered either.
    page.evaluate("undo(items.find((one) => one.table === 'symptoms' && one.state === 'live').id)")
    page.wait_for_function("unanswered(listed()).length === 9")
    copy = copied(vineyard, tmp_path)
    run("load", copy, handed_over(page, tmp_path / "one.json"))
    with Store.open(copy) as store:
        again = store.frame("surveys")
        found = store.frame("symptoms")
    covered = page.evaluate("listed()[0].join(':')")
    assert again[again["purpose"] == "recheck"]["covered"].tolist() == [covered]
    assert len(found) == len(SEEN)


def test_it_needs_a_name_and_another_person(phone):
    page = phone(name="")
    tap(page, "#go_on")
    assert "Type your name first" in page.inner_text("#why_not")
    page.fill("#observer", "BEN ")
    tap(page, "#go_on")
    assert "Ben made the first inspection" in page.inner_text("#why_not")
    assert page.evaluate("items.length") == 0
    page.fill("#observer", "Ana")
    tap(page, "#go_on")
    assert page.locator("#nothing").is_visible()


def test_records_of_the_first_inspection_on_the_same_phone_are_not_shown(phone):
    page = phone(name="Ben", file="phone.html")
    page.evaluate("startRow().then(() => finding(4, 'leaf_stripe', ''))")
    page.wait_for_function("items.length === 1")
    again = phone(context=page.context)
    assert again.evaluate("items") == []
    again.evaluate("showRecords()")
    again.wait_for_selector(".elsewhere")
    shown = again.inner_text("main")
    assert "1:4" not in shown
    assert "Long 2026, 1 records" in shown  # that something was not sent is said, and not what


def test_a_list_that_was_begun_stays_though_a_newer_page_has_another(phone):
    page = phone()
    tap(page, "#go_on")
    tap(page, "#nothing")
    begun = page.evaluate("listed()")
    page.evaluate("data.recheck.vines = [['2', 1], ['2', 2]]; state.screen = 'start'; render()")
    assert page.evaluate("listed()") == begun
    tap(page, "#new_list")
    assert page.evaluate("listed()") == [["2", 1], ["2", 2]]


def test_the_screens_of_a_recheck_fit_in_both_languages(phone):
    page = phone()
    for language in ("en", "es"):
        page.evaluate(f"state.language = '{language}'; state.observer = 'Ana'")
        for screen, script in {
            "start": "state.screen = 'start'; render()",
            "vine": "toVine(0)",
            "found": "answerVine(listed()[0], 'dead_arm')",
            "more": "recheckMore(listed()[0], [...data.first_symptoms, 'dead_spurs', 'canker'])",
            "name": "state.observer = 'ben'; state.screen = 'start'; render()",
        }.items():
            page.evaluate(f"(async () => {{ {script}; }})()")
            page.wait_for_function("!busy")
            page.wait_for_timeout(250)
            page.evaluate("document.getElementById('tick').className = ''")
            whole(page, f"{language} {screen}")
            assert page.evaluate(SMALL) == [], (language, screen)
            assert page.evaluate(FAINT) == [], (language, screen)


# Part of the rows, by several people


def walk_rows(page, labels):
    for label in labels:
        assert page.evaluate("row().label") == label
        tap(page, "#start")
        tap(page, "#done")
        for digit in "60" if page.evaluate("state.from === 'first'") else "1":
            tap(page, digit)
        tap(page, "#ok")
        saved(page, f"{label}:1..60")


def test_two_people_scout_their_own_rows_and_both_together_is_what_counts(phone, vineyard, tmp_path):
    files = []
    for name, typed, rows in (("Ana", "1..4/2", ["1", "3"]), ("Cem", "3..4", ["3", "4"])):
        page = phone(name=name, file="bare.html", day="2026-08-27")
        tap(page, "#my_rows")
        page.fill("#mine", typed)
        whole(page, "rows")
        tap(page, "#rows_ok")
        assert page.evaluate("ownRows()") == rows
        walk_rows(page, rows)
        assert "2 of 2 done" in page.inner_text("#my_rows")
        if name == "Cem":
            page.evaluate(
                "startRow().then(() => finding(17, 'leaf_stripe', '')).then(leaveRow)"
            )  # a row begun and not finished covers nothing
            page.wait_for_function("state.walk === null")
        files.append(handed_over(page, tmp_path / f"{name}.json"))
    marks = []
    for number, order in enumerate(itertools.permutations(files)):
        copy = copied(vineyard.parent / "bare.gpkg", tmp_path, str(number))
        for file in (*order, order[0]):
            run("load", copy, file)
        assert "conflict" not in run("check", copy).output
        with Store.open(copy) as store:
            surveys = store.frame("surveys")
            season = load(store, "Long", 2026)
        summer = surveys[surveys["look"] == "summer"]
        assert sorted(summer[["covered", "observer"]].to_numpy().tolist()) == [
            ["1:1..60", "Ana"],
            ["3:1..60", "Ana"],
            ["3:1..60", "Cem"],
            ["4:1..60", "Cem"],
        ]
        condition = season.history.condition[season.history.index_of(2026)]
        marks.append(condition.tolist())
        seen = [row for row in range(6) if (condition[row, :60] == Condition.SOUND).any()]
        assert seen == [0, 2, 3]
        # What nobody covered is not looked at, and never healthy.
        assert (condition[[1, 4, 5], :60] == Condition.NOT_SEEN).all()
    assert marks[0] == marks[1]


def test_rows_by_keys_and_what_names_no_rows(phone):
    page = phone(file="phone.html")
    tap(page, "#my_rows")
    tap(page, "#to_less")
    tap(page, "#from_more")
    tap(page, "[data-step='2']")
    assert page.input_value("#mine") == "2..5/2"
    assert page.evaluate("ownRows()") == ["2", "4"]
    assert page.evaluate("row().label") == "2"
    page.fill("#mine", "1..99")
    page.locator("#mine").blur()
    assert "1..99 names no rows" in page.inner_text("#named")
    assert page.locator("#rows_ok").is_disabled()
    assert page.evaluate("ownRows().length") == 6  # what cannot be read leaves nothing out
    page.fill("#mine", "6; 1")
    page.locator("#mine").blur()
    page.wait_for_function("!busy")
    page.reload()
    page.wait_for_selector("body[data-ready=yes]")
    assert page.evaluate("ownRows()") == ["1", "6"]
    page.evaluate("state.screen = 'start'; render()")
    tap(page, "Row +")
    assert page.evaluate("row().label") == "6"
    tap(page, "#my_rows")
    tap(page, "#whole_block")
    assert page.evaluate("[state.mine, ownRows().length]") == ["", 6]


def test_rows_are_read_as_the_desk_reads_them(phone):
    page = phone(file="phone.html")
    labels = ["1", "2", "3", "4", "5", "6", "A", "4/2"]
    for text in (
        "1..6",
        "1..6/2",
        "6..1",
        "6..1/2",
        "3; 5",
        "all",
        "A",
        "4/2",
        "1..4/2",
        "2 .. 4",
        "1..99",
        "",
        "7-9",
        "1..3/0",
        "A..1/3",
        "x",
    ):
        try:
            wanted = {part.row for part in parse_covered(text, labels)}
            desk = [label for label in labels if label in wanted]
        except CoverageError:
            desk = None
        assert page.evaluate("([text, labels]) => pure.rowsOf(text, labels)", [text, labels]) == desk, text

"""trunkwatch.web: books, book_form, book_seen; a whole workbook on the desk, from what it says to the records, by its form."""

import html
import io
import json
import re

import openpyxl
import pytest

from trunkwatch.access.may import ROLES
from trunkwatch.access.people import add_person
from trunkwatch.errors import RecordError
from trunkwatch.intake.bring_book import kept_place
from trunkwatch.spreadsheets.book.kept import Kept
from trunkwatch.spreadsheets.book.mapping_file import read_mapping
from trunkwatch.spreadsheets.book.plan import Choice
from trunkwatch.store import Store
from trunkwatch.vineyard.faults import Fault
from trunkwatch.web import book_seen
from trunkwatch.web.app import create_app
from trunkwatch.web.book_form import Field, answers_of, book_form, in_words
from trunkwatch.web.book_seen import causes_of, merged, see_book

HOST = "127.0.0.1:8321"
STATUS = {(1, 3): "dead arm", (2, 2): "zzk", (2, 4): "gone?", (3, 1): "zzk"}


def workbook(folder, name="Winter notes.xlsx", *, title="North 2024-08-12", rows=3, vines=5, status=None, prices=False):
    """Write a workbook with a table of all vines, and another sheet that is about something else."""
    book = openpyxl.Workbook()
    page = book.active
    page.title = title
    page.append(["Row", "Vine", "Status", "Notes"])
    said = STATUS if status is None else status
    for row in range(1, rows + 1):
        for vine in range(1, vines + 1):
            page.append([row, vine, said.get((row, vine), "ok"), ""])
    if prices:
        other = book.create_sheet("Prices")
        other.append(["Item", "Price"])
        other.append(["wire", 3])
    book.save(folder / name)
    return folder / name


class Asker:
    """A browser that names its host."""

    def __init__(self, app) -> None:
        self.client = app.test_client()

    def get(self, where):
        return self.client.get(where, headers={"Host": HOST})

    def post(self, where, **data):
        return self.client.post(where, headers={"Host": HOST, "Origin": f"http://{HOST}"}, **data)

    def text(self, where):
        answer = self.get(where)
        assert answer.status_code == 200, answer.get_data(as_text=True)
        return answer.get_data(as_text=True)

    def hand_in(self, path):
        sent = self.post("/import", data={"file": (io.BytesIO(path.read_bytes()), path.name)})
        led = self.get(sent.headers["Location"])
        assert led.status_code == 302, led.get_data(as_text=True)
        return led.headers["Location"]


def form_of(page):
    """Return the fields of the form as a browser would send them untouched."""
    inside = page[page.index('id="book-form"') :].partition("</form>")[0]
    sent = {}
    for name, body in re.findall(r'<select [^>]*?name="([^"]*)"[^>]*>(.*?)</select>', inside, flags=re.DOTALL):
        options = re.findall(r'<option value="([^"]*)"( selected)?>', body)
        sent[html.unescape(name)] = html.unescape(next((value for value, chosen in options if chosen), options[0][0]))
    for tag in re.findall(r"<input [^>]*>", inside):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r' value="([^"]*)"', tag)
        sent[html.unescape(name[1])] = html.unescape(value[1]) if value else ""
    return sent


def key(*parts):
    return json.dumps(parts)


def frames(path, name, block="North"):
    with Store.open(path) as store:
        return store.frame(name, block)


@pytest.fixture
def path(tmp_path):
    Store.create(tmp_path / "v.gpkg")
    return tmp_path / "v.gpkg"


@pytest.fixture
def desk(path):
    return Asker(create_app(path, hosts=frozenset({HOST})))


@pytest.mark.long
def test_a_workbook_is_shown_answered_imported_and_not_asked_again(desk, path, tmp_path):
    where = desk.hand_in(workbook(tmp_path, prices=True))
    page = desk.text(where)
    assert "1 answer is missing, 3 proposals wait for you" in page
    assert page.index(">zzk<") < page.index(">gone?<") < page.index("2 words that are certain")
    assert "needs an answer" in page
    assert ">Import</button>" not in page
    typed = form_of(page)
    assert typed[key("word", "zzk")] == ""
    assert typed[key("word", "gone?")] == "no vine"
    assert typed[key("sheet", "Prices", "is")] == "left out"
    assert typed[key("column", "North 2024-08-12", "Status")] == "finding"
    typed |= {
        key("word", "zzk"): "leaf_stripe",
        key("block", "North", "vine_spacing_m"): "4 ft",
        key("block", "North", "row_spacing_m"): "2,5",
    }
    sent = desk.post(where, data=typed)
    assert (sent.status_code, sent.headers["Location"]) == (302, f"{where}#outcome")
    page = desk.text(where)
    assert "All of it is understood." in page
    assert "North on 2024-08-12: 14 vines scouted, 3 with symptoms, 1 without a vine" in page
    with Store.open(path) as store:
        assert store.blocks() == ()  # nothing was imported by looking
    done = desk.post(f"{where}/take", data=form_of(page)).get_data(as_text=True)
    assert "Winter notes.xlsx was imported" in done
    assert 'href="/block/North"' in done
    seen = frames(path, "symptoms")
    assert sorted(zip(seen["row"], seen["position"].astype(str), seen["symptom"], strict=True)) == [
        ("1", "3", "dead_arm"),
        ("2", "2", "leaf_stripe"),
        ("3", "1", "leaf_stripe"),
    ]
    assert set(seen["note"]) == {"dead arm", "zzk"}
    assert seen["read_from"].str.startswith("Winter notes.xlsx[North 2024-08-12]").all()
    assert frames(path, "blocks")["vine_spacing_m"].astype(float).tolist() == [1.219]
    assert frames(path, "blocks")["row_spacing_m"].astype(float).tolist() == [2.5]
    assert frames(path, "plants")["removed"].tolist() == ["2024-08-12"]
    assert read_mapping(kept_place(path)).words["zzk"] == "leaf_stripe"
    assert desk.get(where).status_code == 404
    # The next workbook: known words are known, new ones are asked.
    where = desk.hand_in(
        workbook(tmp_path, "Next.xlsx", title="North 2025-08-11", status={(1, 1): "zzk", (1, 2): "qqv"})
    )
    page = desk.text(where)
    assert "1 answer is missing.</b>" in page
    assert form_of(page)[key("word", "zzk")] == "leaf_stripe"
    assert form_of(page)[key("word", "qqv")] == ""


@pytest.mark.long
def test_the_same_workbook_again_adds_nothing(desk, path, tmp_path):
    book = workbook(tmp_path, status={(1, 3): "dead arm"})
    for number in range(2):
        where = desk.hand_in(book)
        desk.post(where, data=form_of(desk.text(where)))
        page = desk.text(where)
        if number:
            assert "New: nothing. Already recorded:" in page
            assert ">Import</button>" not in page
        else:
            assert "was imported" in desk.post(f"{where}/take", data=form_of(page)).get_data(as_text=True)
    assert len(frames(path, "symptoms")) == 1


@pytest.mark.long
def test_nothing_is_taken_while_something_waits_or_was_changed_since(desk, path, tmp_path):
    where = desk.hand_in(workbook(tmp_path))
    typed = form_of(desk.text(where))
    asked = desk.post(f"{where}/take", data=typed)  # its unknown word has no meaning
    assert (asked.status_code, asked.headers["Location"]) == (302, f"{where}#outcome")
    desk.post(where, data={**typed, key("word", "zzk"): "sound"})
    shown = form_of(desk.text(where))
    changed = desk.post(f"{where}/take", data={**shown, key("word", "zzk"): "canker"})
    assert changed.status_code == 302  # it is shown first what the change gives
    with Store.open(path) as store:
        assert store.blocks() == ()
    page = desk.text(where)
    assert "14 vines scouted, 3 with symptoms" in page
    assert "was imported" in desk.post(f"{where}/take", data=form_of(page)).get_data(as_text=True)
    assert sorted(frames(path, "symptoms")["symptom"]) == ["canker", "canker", "dead_arm"]


@pytest.mark.long
@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        (key("exact", "zzk"), "dead_arms", "is no meaning"),
        (key("word", "zzk"), "ask me", "is no meaning"),
        (key("sheet", "North 2024-08-12", "day"), "soon", "is no day"),
        (key("block", "North", "row_spacing_m"), "wide", "is no distance"),
        (key("block", "North", "row_spacing_m"), "2.5", "give this distance too"),
        (key("block", "North", "planted"), "long ago", "is no year"),
        (key("block", "North", "rows_from_far_end"), "99", "rows_from_far_end"),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_what_was_typed_stays(desk, tmp_path, field, typed, said):
    where = desk.hand_in(workbook(tmp_path))
    form = {**form_of(desk.text(where)), field: typed}
    answer = desk.post(where, data=form)
    page = html.unescape(answer.get_data(as_text=True))
    assert answer.status_code == 422
    assert said in page
    if "word" not in field:
        assert typed in page
    assert form_of(desk.text(where))[key("word", "gone?")] == "no vine"
    assert "1 answer is missing" in desk.text(where)


@pytest.mark.long
def test_a_meaning_is_written_out_where_a_select_is_too_small(desk, path, tmp_path):
    where = desk.hand_in(workbook(tmp_path))
    typed = {**form_of(desk.text(where)), key("exact", "zzk"): "dead_arm start + leaf_stripe"}
    desk.post(where, data=typed)
    page = desk.text(where)
    assert form_of(page)[key("word", "zzk")] == "dead_arm start + leaf_stripe"
    assert "dead arm (cordon), start + striped leaves" in page
    desk.post(f"{where}/take", data=form_of(page))
    seen = frames(path, "symptoms")
    assert sorted(seen[seen["row"] == "2"]["symptom"]) == ["dead_arm", "leaf_stripe"]


@pytest.mark.long
def test_a_column_is_given_another_part_and_the_words_follow(desk, tmp_path):
    where = desk.hand_in(workbook(tmp_path))
    typed = form_of(desk.text(where))
    desk.post(where, data={**typed, key("column", "North 2024-08-12", "Status"): "note"})
    page = desk.text(where)
    assert ">zzk<" not in page


@pytest.mark.long
def test_the_block_is_drawn_as_its_page_will_draw_it(desk, path, tmp_path):
    where = desk.hand_in(workbook(tmp_path))
    token = where.split("/")[2]
    desk.post(where, data={**form_of(desk.text(where)), key("word", "zzk"): "leaf_stripe"})
    page = desk.text(where)
    drawn = desk.get(f"/api/import/{token}/drawing?block=North").get_json()
    assert desk.get(f"/api/import/{token}/drawing?block=Nowhere").status_code == 404
    desk.post(f"{where}/take", data=form_of(page))
    after = desk.get("/api/block/North").get_json()
    assert drawn["labels"] == ["1", "2", "3"]
    assert len(drawn["x"]) == 15
    assert drawn["seasons"][-1]["condition"] == after["seasons"][-1]["condition"]
    assert "showing 3 of 14 scouted" in drawn["seasons"][-1]["line"]


def test_a_large_workbook_is_drawn_by_its_rows_until_its_words_are_known(path, tmp_path, monkeypatch):
    monkeypatch.setattr(book_seen, "MOST_DRAFTED", 3)
    monkeypatch.setattr(
        book_seen, "apart", lambda work, *words, seconds=0, **named: work(*words, **named) if seconds else None
    )
    seen = see_book(workbook(tmp_path), path, {}, "", "")
    assert seen.drawings["North"]["seasons"] == []
    assert len(seen.drawings["North"]["x"]) == 15
    monkeypatch.setattr(book_seen, "MOST_BLOCKS", 0)
    seen = see_book(workbook(tmp_path), path, {}, "", "")
    assert (seen.drawings, seen.undrawn) == ({}, 1)
    assert [one.name for one in tmp_path.iterdir() if one.name.startswith("copy-")] == []


@pytest.mark.long
def test_faults_are_told_by_cause_and_the_good_lines_can_be_had(desk, path, tmp_path):
    book = workbook(tmp_path, status={})
    sheet = openpyxl.load_workbook(book)
    for vine in ("x1", "x2", "x3"):
        sheet.active.append([1, vine, "ok", ""])
    sheet.save(book)
    where = desk.hand_in(book)
    page = desk.text(where)
    assert "1 kind of error: nothing would be imported." in page
    assert "3 times" in page
    assert ">Import</button>" not in page
    desk.post(where, data=form_of(page))
    page = desk.text(where)
    assert "Import the good lines only" in page
    refused = desk.post(f"{where}/take", data=form_of(page))
    assert refused.status_code == 302
    done = desk.post(f"{where}/take", data={**form_of(page), "keep_good": "yes"}).get_data(as_text=True)
    assert "was imported" in done
    assert frames(path, "surveys")["covered"].tolist() == ["1:1..5; 2:1..5; 3:1..5"]


@pytest.mark.long
def test_from_no_vineyard_at_all_to_the_block_and_its_hemisphere_is_not_asked_again(tmp_path):
    desk = Asker(create_app(tmp_path / "new.gpkg", hosts=frozenset({HOST})))
    assert "Make it from a workbook" in desk.text("/new")
    told = {"name": "Low Ground", "hemisphere": "south", "units": "us", "from": "workbook"}
    assert desk.post("/new", data=told).headers["Location"] == "/import"
    where = desk.hand_in(workbook(tmp_path, title="North 2024-02-12", status={(1, 2): "dead arm"}))
    page = desk.text(where)
    assert form_of(page)[key("block", "North", "hemisphere")] == "south"
    desk.post(where, data=form_of(page))
    page = desk.text(where)
    assert "was imported" in desk.post(f"{where}/take", data=form_of(page)).get_data(as_text=True)
    assert frames(tmp_path / "new.gpkg", "blocks")["hemisphere"].tolist() == ["south"]
    assert desk.get("/block/North").status_code == 200


@pytest.mark.long
def test_who_may_not_import_sees_no_workbook_and_what_is_imported_names_the_person(path, tmp_path):
    add_person(path, "Keeper", ROLES["keeper"])
    _, boss = add_person(path, "Boss", ROLES["manager"])
    _, scout = add_person(path, "Ana", ROLES["scout"])
    app = create_app(path, hosts=frozenset({HOST}))
    desk, other = Asker(app), Asker(app)
    desk.post("/enter", data={"code": boss, "device": "desk"})
    other.post("/enter", data={"code": scout, "device": "desk"})
    where = desk.hand_in(workbook(tmp_path, status={(1, 2): "dead arm"}))
    token = where.split("/")[2]
    assert other.get(where).status_code == 403
    assert other.get(f"/api/import/{token}/drawing?block=North").status_code == 403
    assert [other.post(to, data={}).status_code for to in (where, f"{where}/take")] == [403, 403]
    desk.post(where, data=form_of(desk.text(where)))
    desk.post(f"{where}/take", data=form_of(desk.text(where)))
    assert frames(path, "symptoms")["device"].tolist() == ["Boss, desk"]


@pytest.mark.long
def test_a_sheet_called_as_a_table_of_ours_can_be_read_as_the_growers_own(desk, tmp_path):
    sent = desk.post(
        "/import", data={"file": (io.BytesIO(workbook(tmp_path, title="Surveys 2024").read_bytes()), "a.xlsx")}
    )
    where = sent.headers["Location"]
    page = desk.text(where)
    assert f'href="{where}/book"' in page
    assert "zzk" in desk.text(f"{where}/book")
    handed = desk.post("/import", data={"file": (io.BytesIO(b"{}"), "day.json")}).headers["Location"]
    assert desk.get(f"{handed}/book").status_code == 404


@pytest.mark.long
def test_an_ods_and_a_csv_are_read_whole_too(desk, tmp_path):
    from tests.ods_files import write_ods

    lines = [["Row", "Vine", "Status"], [1, 1, "ok"], [1, 2, "zzk"]]
    write_ods(tmp_path / "b.ods", {"East 2024-08-12": lines}, {})
    (tmp_path / "b.csv").write_text("\n".join(",".join(map(str, line)) for line in lines))
    for name, block in (("b.ods", "East"), ("b.csv", "b")):
        page = desk.text(desk.hand_in(tmp_path / name))
        assert "zzk" in page
        assert f"New block {block}" in page


def test_a_damaged_workbook_says_so(desk):
    sent = desk.post("/import", data={"file": (io.BytesIO(b"PK\x03\x04 no workbook"), "b.xlsx")})
    answer = desk.get(sent.headers["Location"])
    assert answer.status_code == 409
    assert "b.xlsx is no workbook that can be read" in answer.get_data(as_text=True)


def test_answers_go_over_what_was_kept_and_a_sheet_of_another_shape_is_a_new_one():
    kept = Kept.of(
        {
            "words": {"x": "sound", "y": "canker"},
            "sheet": {"A": {"shape": "s", "day": "2020", "columns": {"p": "row"}}},
        },
        "k",
    )
    like = merged(kept, {"words": {"x": "no vine"}, "sheet": {"A": {"shape": "s", "columns": {"q": "note"}}}})
    assert (like.words["x"], like.words["y"]) == ("no vine", "canker")
    assert like.raw["sheet"]["A"] == {"shape": "s", "day": "2020", "columns": {"p": "row", "q": "note"}}
    other = merged(kept, {"sheet": {"A": {"shape": "t", "is": "table"}}})
    assert other.raw["sheet"]["A"] == {"shape": "t", "is": "table"}
    assert kept.raw["words"]["x"] == "sound"
    with pytest.raises(RecordError, match="no mapping has"):
        merged(kept, {"word": {"x": "sound"}})


def test_causes_count_what_is_alike():
    faults = [Fault("fault", "no such row", "b.xlsx", line, "row", "9") for line in (4, 5)]
    first, second = causes_of([*faults, Fault("note", "odd")])
    assert (first.count, first.stops, "line 4" in first.example) == (2, True, True)
    assert (second.count, second.stops) == (1, False)


@pytest.mark.long
def test_what_is_certain_and_left_as_it_was_needs_no_answer(path, tmp_path):
    plan = see_book(workbook(tmp_path), path, {}, "", "north").plan
    form = {field.name: field.value for field in book_form(plan).fields()}
    answers, wrong = answers_of(form, plan, {})
    assert (answers, wrong) == (
        {
            "words": {"gone?": "no vine"},
            "sheet": {plan.sheets[0].name: {"shape": plan.sheets[0].shape, "block": "North"}},
        },
        {},
    )
    more, _ = answers_of({key("word", "ok"): "canker"}, plan, answers)
    assert more["words"] == {"gone?": "no vine", "ok": "canker"}
    assert answers["words"] == {"gone?": "no vine"}


def test_meanings_are_said_in_words():
    assert in_words("replanted 2023") == "replanted in 2023"
    assert in_words("work renew_trunk") == "work: retrain the trunk"
    assert in_words("dead_arm side N + canker") == "dead arm (cordon), side N + canker: sunken, dead bark or wood"
    assert Field(("word", "x"), "x", Choice("ask", "ask")).value == ""

"""trunkwatch.web: start, said, drawn, views; a vineyard and a block made at the desk, from no file to the first finding."""

import shutil
import sqlite3
from contextlib import closing

import pytest
from click.testing import CliRunner

from tests.cut_short import DONE, killed_at
from trunkwatch.access.audit import entries_of
from trunkwatch.access.may import Right
from trunkwatch.access.people import add_person
from trunkwatch.cli import main
from trunkwatch.intake import check_vineyard, start_file
from trunkwatch.store import Store
from trunkwatch.web.app import create_app
from trunkwatch.web.said import said_of, units_of

HOST = "127.0.0.1:8321"
SAID = {"name": "Low Ground", "hemisphere": "north", "units": "us"}
FORM = {
    "block": "North", "planted": "2008", "training": "bilateral", "hemisphere": "north", "units": "us", "first_label": "A",
    "vines": "A: 6, B: 7, C: 5", "row_spacing": "8", "vine_spacing": "5", "row_alleys": "B: 20", "vine_alleys": "3: 12",
    "odd_rows": "C: starts 2 vines later", "row_bearing_deg": "E", "rows_go": "right", "numbering": "same_end",
}  # fmt: skip
FINDING = {
    "block": "North",
    "row": "B",
    "position": "2",
    "date": "2026-08-18",
    "symptom": "leaf_stripe",
    "observer": "Ana",
}


class Asker:
    """A browser that names its host."""

    def __init__(self, app) -> None:
        self.client = app.test_client()

    def get(self, where):
        return self.client.get(where, headers={"Host": HOST})

    def post(self, where, origin=f"http://{HOST}", **more):
        return self.client.post(where, headers={"Host": HOST, "Origin": origin}, **more)

    def seen(self, **typed):
        return self.post("/api/new-block/look", json={**FORM, **typed}).get_json()


@pytest.fixture
def path(tmp_path):
    return tmp_path / "v.gpkg"


@pytest.fixture
def desk(path):
    """Return a desk without a file."""
    return Asker(create_app(path, hosts=frozenset({HOST})))


@pytest.fixture
def made(desk):
    assert desk.post("/new", data=SAID).status_code == 302
    return desk


def rows_of(path, block="North"):
    with Store.open(path) as store:
        return store.frame("rows", block)


def test_without_a_file_every_page_leads_to_the_one_that_makes_it(desk, path):
    for where in ("/", "/import", "/block/North", "/new-block", "/block/North/report", "/people"):
        answer = desk.get(where)
        assert (answer.status_code, answer.headers["Location"]) == (302, "/new"), where
    told = desk.get("/api/block/North")
    assert (told.status_code, "there is no file" in told.get_json()["error"]) == (409, True)
    page = desk.get("/new").get_data(as_text=True)
    assert str(path) in page
    assert not path.exists()


def test_the_vineyard_is_made_once_and_what_is_wrong_stands_beside_its_field(desk, path):
    for field, words in (
        ("name", "What is the vineyard called?"),
        ("hemisphere", "On which side"),
        ("units", "Meters or feet?"),
    ):
        answer = desk.post("/new", data={**SAID, field: ""})
        assert answer.status_code == 422
        page = answer.get_data(as_text=True)
        assert words in page
        assert field == "name" or 'value="Low Ground"' in page  # what was typed stays
    assert not path.exists()
    answer = desk.post("/new", data=SAID)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/new-block")
    assert (said_of(path), units_of(path)) == (SAID, "ft")
    before = path.read_bytes()
    assert desk.post("/new", data={**SAID, "name": "Other"}).headers["Location"] == "/"
    assert desk.get("/new").headers["Location"] == "/"
    assert (path.read_bytes(), said_of(path)["name"]) == (before, "Low Ground")
    assert "Blocks of Low Ground" in desk.get("/").get_data(as_text=True)
    assert [one.done for one in entries_of(path)] == ["made the vineyard file"]


def test_two_desks_make_one_file_and_the_second_is_told(desk, path, monkeypatch):
    start_file(path, {"block": "Mill", "hemisphere": "south"}, 2, 4)
    before = path.read_bytes()
    monkeypatch.setattr("trunkwatch.web.vineyard.Vineyard.is_to_be_made", lambda _: True)
    answer = desk.post("/new", data=SAID)
    assert (answer.status_code, "is there already" in answer.get_data(as_text=True)) == (409, True)
    assert (path.read_bytes(), said_of(path)) == (before, {})


def test_a_file_that_is_gone_is_not_made_anew(path):
    start_file(path, {"block": "Mill", "hemisphere": "south"}, 2, 4)
    desk = Asker(create_app(path, hosts=frozenset({HOST})))
    path.unlink()
    answer = desk.get("/")
    assert (answer.status_code, "is not there any more" in answer.get_data(as_text=True)) == (409, True)
    assert desk.get("/new").headers["Location"] == "/"


def test_the_block_is_made_as_it_was_typed(made, path):
    answer = made.post("/new-block", data=FORM)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/block/North")
    rows = rows_of(path)
    assert rows["row"].tolist() == ["A", "B", "C"]
    assert rows["last"].tolist() == [6, 7, 5]
    assert rows["across_m"].tolist() == pytest.approx([0, 8 * 0.3048, 28 * 0.3048], abs=1e-9)
    assert rows["start_m"].tolist()[2] == pytest.approx(10 * 0.3048, abs=1e-9)
    with Store.open(path) as store:
        block = store.frame("blocks").iloc[0]
    assert (block["vineyard"], block["planted"], block["row_bearing_deg"]) == ("Low Ground", 2008, 90)
    assert block["vine_spacing_m"] == pytest.approx(1.524, abs=1e-9)
    assert [fault for fault in check_vineyard(path) if fault.weight == "fault"] == []
    assert made.get("/block/North").status_code == 200
    assert next(iter(entries_of(path))).done == "made a block"


def test_the_drawing_is_that_of_the_block_that_is_made(made):
    told = made.seen()
    assert told["wrong"] == {}
    drawing = told["drawing"]
    made.post("/new-block", data=FORM)
    after = made.get("/api/block/North").get_json()
    for name in ("x", "y", "row", "position", "labels", "north", "unit"):
        assert drawing[name] == after[name], name
    assert [drawing["position"][vine] for vine in drawing["starts"]] == [1, 1, 1]
    assert drawing["line"] == "3 rows of 5 to 7 vines, 18 in all. North is up."


def test_the_drawing_follows_and_faults_stand_beside_their_fields(made):
    assert made.seen(vines="", many_rows="")["drawing"] is None
    assert len(made.seen(vines="4", many_rows="2", row_alleys="", odd_rows="", vine_alleys="")["drawing"]["x"]) == 8
    told = made.seen(block="", row_bearing_deg="400")
    assert told["drawing"]["north"] is False
    assert told["wrong"] == {
        "block": "The block has no name. Expected: a name, such as North.",
        "row_bearing_deg": "\u201c400\u201d: this is no bearing. Expected: degrees from 0 to 360 (90 is east), or N, NE, ESE and so on.",
    }
    many = made.seen(vines="150", many_rows="200", row_alleys="", odd_rows="", vine_alleys="")["drawing"]
    assert (len(many["x"]), "30,000 in all" in many["line"]) == (400, True)


def test_a_fault_makes_nothing_and_keeps_what_was_typed(made, path):
    before = path.read_bytes()
    answer = made.post("/new-block", data={**FORM, "odd_rows": "Z: starts <b>", "cultivar": "Vell & Co"})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "there is no row Z" in page
    assert "Z: starts &lt;b&gt;</textarea>" in page
    assert 'value="Vell &amp; Co"' in page
    assert path.read_bytes() == before


def test_the_same_name_twice_is_told_and_the_first_block_stays(made, path):
    made.post("/new-block", data=FORM)
    before = path.read_bytes()
    answer = made.post(
        "/new-block", data={**FORM, "vines": "9", "many_rows": "9", "row_alleys": "", "odd_rows": "", "vine_alleys": ""}
    )
    assert (answer.status_code, "a block has this name" in answer.get_data(as_text=True)) == (422, True)
    assert "a block has this name" in made.seen()["wrong"]["block"]
    assert path.read_bytes() == before


def test_a_block_goes_to_the_vineyard_that_is_named(path):
    for owner in ("East", "West"):
        start_file(path, {"block": "Mill", "vineyard": owner, "hemisphere": "north"}, 2, 4)
    desk = Asker(create_app(path, hosts=frozenset({HOST})))
    assert '<option value="West"' in desk.get("/new-block").get_data(as_text=True)
    assert "No vineyard of this file. Expected: East, West." in desk.post("/new-block", data=FORM).get_data(
        as_text=True
    )
    assert desk.post("/new-block", data={**FORM, "vineyard": "West"}).status_code == 302
    assert rows_of(path)["vineyard"].tolist() == ["West"] * 3


def test_it_takes_the_right_to_import_and_a_page_of_this_desk(made, path):
    assert made.post("/new-block", origin="http://elsewhere.example", data=FORM).status_code == 403
    add_person(path, "Keeper", frozenset(Right))
    codes = {right: add_person(path, f"Only {right.value}", frozenset({right, Right.LOOK}))[1] for right in Right}
    before = path.read_bytes()
    assert made.post("/new-block", data=FORM).status_code == 302  # to where the code is entered
    for right, code in codes.items():
        one = Asker(create_app(path, hosts=frozenset({HOST})))
        one.post("/enter", data={"code": code})
        if right is Right.IMPORT:
            importer = one
            continue
        for where, sent in (
            ("/new-block", {"data": FORM}),
            ("/api/new-block/look", {"json": FORM}),
            ("/new", {"data": SAID}),
        ):
            assert one.post(where, **sent).status_code == 403, (right, where)
        assert one.get("/new-block").status_code == 403
    assert path.read_bytes() == before
    assert importer.post("/new-block", data=FORM).headers["Location"] == "/block/North"
    assert rows_of(path)["device"].str.startswith("Only import").all()  # who made it stands in its records


@pytest.mark.long
def test_killed_at_any_moment_the_file_is_whole(made, path, tmp_path):
    kept = tmp_path / "kept.gpkg"
    shutil.copy(path, kept)
    whole = killed = 0
    for number in range(1, 200):
        ended = killed_at(number, lambda: made.post("/new-block", data=FORM), path.parent)
        with Store.open(path) as store:
            blocks = store.blocks()
        assert len(rows_of(path)) == 3 if blocks else True
        assert [fault for fault in check_vineyard(path) if fault.weight == "fault"] == []
        if ended == DONE:
            break
        killed += 1
        whole += bool(blocks)
        for one in path.parent.glob("v.gpkg*"):
            if one.is_file():
                one.unlink()
        shutil.copy(kept, path)
    assert ended == DONE
    assert killed > 5
    assert whole < killed  # some were ended before the block was there


def test_a_finding_shows_at_once_on_the_drawing_and_on_its_vine(made):
    made.post("/new-block", data=FORM)
    assert made.get("/api/block/North").get_json()["seasons"] == []
    assert made.post("/api/log", json={"table": "symptoms", "records": [FINDING]}).get_json()["new"] == 1
    told = made.get("/api/block/North").get_json()
    season = next(one for one in told["seasons"] if one["season"] == 2026)
    vine = next(n for n in range(len(told["x"])) if (told["labels"][told["row"][n]], told["position"][n]) == ("B", 2))
    # No survey covers it, so it is in no rate; what was written is told and drawn all the same.
    assert told["looks"][season["condition"][vine]]["meaning"] == "not scouted this season"
    assert season["written"] == [[vine, "2026-08-18 striped leaves, Ana", True, True]]
    assert told["written"]["strokes"]
    records = made.get("/api/block/North/vine/B/2").get_json()["records"]
    assert [one["text"] for one in records if one["fate"] == "stands"]
    # Once the row is walked it is a case, and needs no word of its own.
    walk = {"survey": "summer", "block": "North", "date": "2026-08-18", "covered": "A; B; C", "look": "summer"}
    assert made.post("/api/log", json={"table": "surveys", "records": [walk]}).get_json()["new"] == 1
    season = next(one for one in made.get("/api/block/North").get_json()["seasons"] if one["season"] == 2026)
    assert season["written"] == []
    assert season["condition"][vine] == "5"


def test_a_finding_that_makes_no_case_is_told_where_nothing_would_be_said_to_be_seen(made):
    made.post("/new-block", data=FORM)
    walk = {"survey": "summer", "block": "North", "date": "2026-08-18", "covered": "A; B; C", "look": "summer"}
    made.post("/api/log", json={"table": "surveys", "records": [walk]})
    made.post("/api/log", json={"table": "symptoms", "records": [{**FINDING, "symptom": "mechanical_injury"}]})
    told = made.get("/api/block/North").get_json()
    season = next(one for one in told["seasons"] if one["season"] == 2026)
    (vine, text, casual, drawn), *others = season["written"]
    assert (text, casual, drawn, others) == ("2026-08-18 injury by machine or tool, Ana", False, True, [])
    assert told["looks"][season["condition"][vine]]["meaning"] == "scouted, nothing seen so far"


def test_what_is_due_stands_at_the_top_of_the_start_page(made, monkeypatch):
    monkeypatch.setattr("trunkwatch.web.vineyard.AT_ONCE_S", 60.0)
    monkeypatch.setattr("trunkwatch.web.vineyard.today", lambda: "2026-08-20")
    made.post("/new-block", data=FORM)
    page = made.get("/").get_data(as_text=True)
    due = page.split("What is due</h2>")[1].split("</section>")[0]
    assert "the summer inspection of 2026" in due
    assert page.index("What is due") < page.index("<article")
    walk = {"survey": "summer", "block": "North", "date": "2026-08-18", "covered": "A", "look": "summer"}
    made.post("/api/log", json={"table": "surveys", "records": [walk]})
    work = {
        "block": "North",
        "row": "A",
        "position": "2",
        "date": "2026-12-01",
        "kind": "renew_arm",
        "arm": "start",
        "status": "planned",
    }
    assert made.post("/api/log", json={"table": "work", "records": [work]}).get_json()["new"] == 1
    due = made.get("/").get_data(as_text=True).split("What is due</h2>")[1].split("</section>")[0]
    assert "summer: 2 rows to go" in due
    assert "1 piece of work planned" in due
    line = made.get("/block/North/line").get_data(as_text=True)
    assert "summer: 2 rows to go" in line.split("<template>")[1]


def test_the_head_is_the_same_on_every_page_of_a_block(made):
    made.post("/new-block", data=FORM)
    made.post(
        "/api/log",
        json={
            "table": "surveys",
            "records": [{"survey": "s", "block": "North", "date": "2026-08-18", "covered": "A; B; C"}],
        },
    )
    made.post("/api/log", json={"table": "symptoms", "records": [FINDING]})
    heads = set()
    for page in ("", "/survey", "/pattern", "/map", "/report", "/decide", "/lists"):
        text = made.get(f"/block/North{page}").get_data(as_text=True)
        assert text.count('<header class="desk-head"') == 1, page
        head = text.split('<header class="desk-head"')[1].split("</nav>")[0].replace(' aria-current="page"', "")
        heads.add(head)
    assert len(heads) == 1
    head = heads.pop()
    for to in ("/new-block", "/import", "/block/North/decide", "/block/North/lists"):
        assert f'href="{to}"' in head
    assert 'href="/block/North/lists">Put it on the lists for the crew' in made.get("/block/North/decide").get_data(
        as_text=True
    )
    assert (
        'href="/block/North/decide">Decide' in made.get("/block/North/lists").get_data(as_text=True).split("<main")[1]
    )


@pytest.fixture
def served(monkeypatch, tmp_path):
    """Start no server; return what was said, and over which file the desk would be."""
    monkeypatch.chdir(tmp_path)
    asked = {}

    def listen(app, *_, **__):
        asked["path"] = app.extensions["vineyard"].path
        return lambda: None

    monkeypatch.setattr("trunkwatch.web.serving.listen", listen)

    def run(*words):
        done = CliRunner().invoke(main, ["serve", *words, "--no-browser"])
        return done.exit_code, done.output, asked.get("path")

    return run


def test_serve_needs_no_file_and_finds_the_one_that_was_made(served, tmp_path):
    code, said, path = served()
    assert (code, path) == (0, tmp_path / "my_vines.gpkg")
    assert f"There is no vineyard yet: the first page makes it, as {path}" in said
    assert not path.exists()
    with closing(sqlite3.connect(tmp_path / "a_map.gpkg")) as other:
        other.execute("CREATE TABLE gpkg_contents (table_name TEXT)")
    start_file(tmp_path / "hill.gpkg", {"block": "Mill", "hemisphere": "north"}, 2, 4)
    code, said, path = served()
    assert (code, path, "no vineyard yet" in said) == (0, tmp_path / "hill.gpkg", False)
    assert served("new.gpkg")[::2] == (0, tmp_path / "new.gpkg")


def test_serve_refuses_what_it_cannot_make_in_one_line(served, tmp_path):
    for word, told in (("v.csv", "a new one ends in .gpkg"), ("no/such/v.gpkg", "make it first, or name another")):
        code, said, _ = served(word)
        assert (code, told in said) == (1, True), said
    for name in ("one.gpkg", "two.gpkg"):
        start_file(tmp_path / name, {"block": "Mill", "hemisphere": "north"}, 2, 4)
    code, said, _ = served()
    assert (code, "2 vineyard files are here: one.gpkg, two.gpkg" in said) == (2, True)

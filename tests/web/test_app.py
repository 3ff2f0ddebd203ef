"""trunkwatch.web: app, views, buds, surveys, writing, correctable, imports, security, vineyard, serving; through Flask's test client."""

import json
import re
import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trunkwatch.intake.bring import bring_files
from trunkwatch.store import Store
from trunkwatch.web import vineyard as web_vineyard
from trunkwatch.web.addresses import LabelConverter
from trunkwatch.web.app import create_app
from trunkwatch.web.security import MOST_UPLOAD, Gate, policy_of
from trunkwatch.web.serving import hosts_for, qr_text
from trunkwatch.web.vineyard import Vineyard

KNOWN = tuple(f"/{room}/{block}" for room in ("block", "field") for block in ("Mill", "Chapel", "Orchard", "Hollow"))
HOST = "127.0.0.1:8321"
FINDING = {
    "block": "Mill",
    "row": "1",
    "position": "9",
    "date": "2026-08-18",
    "symptom": "leaf_stripe",
    "observer": "Ana",
}


@pytest.fixture(scope="module")
def sample(tmp_path_factory, pytestconfig) -> Path:
    path = tmp_path_factory.mktemp("web") / "v.gpkg"
    bring_files(path, pytestconfig.rootpath / "sample_blocks")
    return path


@pytest.fixture
def path(sample, tmp_path) -> Path:
    copy = tmp_path / "v.gpkg"
    copy.write_bytes(sample.read_bytes())
    return copy


@pytest.fixture
def client(path, monkeypatch):
    monkeypatch.setattr("trunkwatch.web.vineyard.AT_ONCE_S", 60.0)
    return Asker(create_app(path, hosts=frozenset({HOST})).test_client())


class Asker:
    """A browser that names its host."""

    def __init__(self, client) -> None:
        self.client = client

    def get(self, where, **more):
        return _closed(self.client.get(where, headers={"Host": HOST, **more.pop("headers", {})}, **more))

    def post(self, where, **more):
        headers = {"Host": HOST, "Origin": f"http://{HOST}", **more.pop("headers", {})}
        return _closed(self.client.post(where, headers=headers, **more))


def _closed(answer):
    answer.get_data()
    answer.close()
    return answer


@pytest.mark.parametrize("where", ["/", "/block/Mill", "/block/Mill/lists", "/block/Mill/survey", "/block/Mill/pattern", "/block/Mill/report", "/block/Mill/map",
                                   "/block/Mill/paper/findings", "/block/Mill/paper/strip?size=Letter", "/block/Mill/paper/lists", "/import",
                                   "/field/Mill/index.html", "/field/Mill/worker.js", "/field/Mill/manifest.webmanifest", "/field/Mill/icon.svg",
                                   "/api/block/Mill", "/api/version", "/api/block/Mill/vine/1/6", "/static/desk.js", "/static/shared/marks.js"])  # fmt: skip
def test_every_page_answers_and_is_sealed(client, where):
    answer = client.get(where)
    assert answer.status_code == 200
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe-inline" not in policy.split("script-src")[1].split(";")[0]
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize("label", ["Nord/1", "<b>", "100 %", "a%2Fb", "..", "caf\u00e9?x=1#y", "a\\b"])
def test_a_label_of_any_kind_has_its_pages(client, path, label):
    from trunkwatch.vineyard.tables import frame_of

    with Store.writing(path) as store:
        rows = [{"block": label, "row": "3/4", "first": 1, "last": 5}]
        store.append({"blocks": frame_of("blocks", [{"block": label}]), "rows": frame_of("rows", rows)})
    page = client.get("/").get_data(as_text=True)
    found = [part.split('"')[0] for part in page.split('href="')[1:]]
    links = [one for one in found if one.startswith(("/block/", "/field/")) and not one.startswith(KNOWN)]
    assert len(links) >= 4
    for link in links:
        answer = client.get(link)
        assert answer.status_code in (200, 302), link
    page = client.get(links[0]).get_data(as_text=True)
    told = page.split('data-api="')[1].split('"')[0]
    assert client.get(told).get_json()["labels"] == ["3/4"]
    assert client.get(f"{told}/vine/3%252F4/2").get_json() == {"records": []}


def test_a_label_in_an_address_is_read_back_whatever_it_holds():
    from urllib.parse import unquote

    from werkzeug.routing import Map

    there = LabelConverter(Map())
    for label in ("Mill", "Nord/1", "%2F", "100 %", "..", ".", "a b+c", "\u00e9"):
        once = unquote(there.to_url(label))  # what a server makes of it
        assert "/" not in once
        assert there.to_python(once) == label


def test_pages_of_an_empty_block_say_what_to_do(client, path):
    from trunkwatch.vineyard.tables import frame_of

    with Store.writing(path) as store:
        rows = [{"block": "Bare", "row": "1", "last": 7}]
        store.append({"blocks": frame_of("blocks", [{"block": "Bare"}]), "rows": frame_of("rows", rows)})
    for where in ("pattern", "map", "report", "decide"):
        answer = client.get(f"/block/Bare/{where}")
        assert answer.status_code == 200
        assert "nothing is on record yet" in answer.get_data(as_text=True)
    for where in ("", "/survey", "/lists", "/paper/findings", "/paper/strip", "/paper/lists"):
        assert client.get(f"/block/Bare{where}").status_code == 200


@pytest.mark.long
def test_every_page_of_a_block_leads_back_to_it(client):
    for where in ("report", "map", "decide", "pattern", "lists", "survey"):
        assert 'href="/block/Mill"' in client.get(f"/block/Mill/{where}").get_data(as_text=True)


def test_a_survey_is_walked_on_two_days_by_two_people_and_finished(client):
    walk = {
        "block": "Mill",
        "survey": "winter 2026",
        "date": "2026-02-03",
        "look": "dormant",
        "covered": "1; 2:1..20",
        "observer": "Ana",
    }
    for record in (walk, walk, {**walk, "date": "2026-02-05", "observer": "Ben", "covered": "2:21..47"}):
        said = client.post("/api/log", json={"table": "surveys", "records": [record]}).get_json()
    page = client.get("/block/Mill/survey?season=2026&survey=winter+2026").get_data(as_text=True)
    assert "99 of 570 vines scouted, 12 rows to go" in page
    assert "Ana, 2026-02-03; Ben, 2026-02-05" in page
    assert "Not scouted at all: rows 3, 4" in page
    changes = {"note": "survey finished"}
    client.post("/api/correct", json={"table": "surveys", "id": said["ids"][0], "changes": changes})
    page = client.get("/block/Mill/survey?season=2026&survey=winter+2026").get_data(as_text=True)
    assert "<b>Finished</b>" in page
    assert "99 of 570 vines scouted" in page


def _bare(path):
    from trunkwatch.vineyard.tables import frame_of

    with Store.writing(path) as store:
        rows = [{"block": "Bare", "row": str(row), "row_order": row, "last": 7} for row in (1, 2, 3)]
        block = {"block": "Bare", "planted": 2000, "training": "bilateral"}
        store.append({"blocks": frame_of("blocks", [block]), "rows": frame_of("rows", rows)})


WALK = {"block": "Bare", "survey": "w", "date": "2025-12-01", "covered": "1", "observer": "Ana"}


def test_what_is_due_follows_the_day(client, path, monkeypatch):
    _bare(path)
    monkeypatch.setattr("trunkwatch.web.vineyard.today", lambda: "2025-12-05")
    assert "the dormant inspection of 2026" in client.get("/").get_data(as_text=True)
    client.post("/api/log", json={"table": "surveys", "records": [WALK]})
    page = client.get("/").get_data(as_text=True)
    assert "w: 2 rows to go" in page
    assert "the dormant inspection of 2026" not in page
    assert "w: 7 of 21 vines scouted, 2 rows to go" in client.get("/block/Bare").get_data(as_text=True)
    monkeypatch.setattr("trunkwatch.web.vineyard.today", lambda: "2026-04-05")
    assert "w: 2 rows to go; the spring inspection of 2026" in client.get("/").get_data(as_text=True)


def test_a_winter_walk_is_drawn_before_the_summer_look(client, path):
    _bare(path)
    arm = {"block": "Bare", "row": "1", "position": "3", "date": "2025-12-01", "symptom": "dead_arm", "arm": "start"}
    client.post("/api/log", json={"table": "surveys", "records": [WALK]})
    client.post("/api/log", json={"table": "symptoms", "records": [arm]})
    told = client.get("/api/block/Bare").get_json()
    (season,) = told["seasons"]
    assert (season["season"], season["counted"]) == (2026, True)
    assert season["line"] == "showing 1 of 7 scouted"
    words = [told["looks"][mark]["word"] for mark in season["condition"]]
    assert words == ["no symptoms", "no symptoms", "showing", *["no symptoms"] * 4, *["not scouted"] * 14]


def test_a_record_that_stands_can_be_corrected_field_by_field(client):
    said = client.post("/api/log", json={"table": "symptoms", "records": [{**FINDING, "percent": "40"}]}).get_json()
    records = client.get("/api/block/Mill/vine/1/9").get_json()["records"]
    (mine,) = [one for one in records if one["id"] == said["ids"][0]]
    fields = {name: value for name, _, value, _ in mine["fields"]}
    assert (fields["percent"], fields["observer"], fields["position"]) == ("40", "Ana", "9")
    again = client.post("/api/log", json={"table": "symptoms", "records": [{**FINDING, "percent": "60"}]}).get_json()
    assert again["changed"] == [{"id": said["ids"][0], "values": {"percent": ["40", "60"]}}]


@pytest.mark.parametrize("where", ["/block/None", "/block/Mill/report?season=20x6", "/field/Mill/../../etc/passwd", "/field/Mill/field.css",
                                   "/block/Mill/paper/none", "/import/nothing", "/api/block/None", "/nowhere", "/static/../app.py"])  # fmt: skip
def test_what_is_not_there_is_404_in_one_sentence(client, where):
    answer = client.get(where)
    assert answer.status_code == 404
    assert b"Traceback" not in answer.data


def test_a_finding_is_logged_once_shown_corrected_and_taken_back(client, path):
    with Store.open(path) as store:
        before = [len(store.frame("symptoms", "Mill", all_versions=every)) for every in (True, False)]
    said = client.post("/api/log", json={"table": "symptoms", "records": [FINDING]}).get_json()
    assert (said["new"], len(said["ids"])) == (1, 1)
    assert client.post("/api/log", json={"table": "symptoms", "records": [FINDING]}).get_json()["same"] == 1
    records = client.get("/api/block/Mill/vine/1/9").get_json()["records"]
    assert [r["fate"] for r in records if r["id"] == said["ids"][0]] == ["stands"]
    done = client.post("/api/correct", json={"table": "symptoms", "id": said["ids"][0], "changes": {"position": "10"}})
    assert done.status_code == 200
    again = client.post("/api/correct", json={"table": "symptoms", "id": said["ids"][0], "changes": {"position": "11"}})
    assert again.status_code == 409
    assert "does not stand any more" in again.get_json()["error"]
    there = [
        r
        for r in client.get("/api/block/Mill/vine/1/10").get_json()["records"]
        if r["fate"] == "stands" and r["observer"] == "Ana"
    ]
    assert len(there) == 1
    client.post("/api/correct", json={"table": "symptoms", "id": there[0]["id"], "void": True})
    with Store.open(path) as store:
        frame = store.frame("symptoms", "Mill")
        assert frame[frame["observer"] == "Ana"].empty
        assert [len(store.frame("symptoms", "Mill", all_versions=True)) - 3, len(frame)] == before


def test_what_is_wrong_is_told_by_column_and_nothing_is_written(client, path):
    before = path.read_bytes()
    for change, column in (
        ({"symptom": "blight"}, "symptom"),
        ({"date": "18.13.2026"}, "date"),
        ({"percent": "much"}, "percent"),
    ):
        answer = client.post("/api/log", json={"table": "symptoms", "records": [{**FINDING, **change}]})
        assert answer.status_code == 422
        assert answer.get_json()["faults"][0]["column"] == column
    answer = client.post("/api/log", json={"table": "symptoms", "records": [{**FINDING, "row": "99"}]})
    assert answer.status_code == 422
    assert path.read_bytes() == before


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b"null", b'{"table": "costs", "records": [{}]}', b'{"table": "symptoms"}',
                                  b'{"table": "symptoms", "records": {}}', b'{"table": "symptoms", "records": [1]}',
                                  b'{"table": "symptoms", "records": [{"read_from": "x"}]}', b'{"table": ["symptoms"], "records": []}'])  # fmt: skip
def test_malformed_requests_are_refused(client, path, body):
    before = path.read_bytes()
    for where in ("/api/log", "/api/correct", "/api/field/Mill/sync"):
        answer = client.post(where, data=body, headers={"Content-Type": "application/json"})
        assert 400 <= answer.status_code < 500
        assert "error" in answer.get_json()
    assert path.read_bytes() == before


def test_foreign_hosts_and_origins_are_refused(client):
    assert client.client.get("/", headers={"Host": "evil.example"}).status_code == 421
    told = {"json": {"table": "symptoms", "records": [FINDING]}}
    for headers in ({"Origin": "http://evil.example"}, {"Origin": "null"}, {"Origin": f"https://{HOST}"}):
        assert client.post("/api/log", headers=headers, **told).status_code == 403
    no_origin = {"Host": HOST, "Sec-Fetch-Site": "cross-site"}
    assert client.client.post("/api/log", headers=no_origin, **told).status_code == 403


def test_too_large_a_request_is_refused(path):
    app = create_app(path, hosts=frozenset({HOST}))
    assert app.config["MAX_CONTENT_LENGTH"] == MOST_UPLOAD
    app.config["MAX_CONTENT_LENGTH"] = 1000
    answer = Asker(app.test_client()).post("/api/log", data=b"x" * 5000, headers={"Content-Type": "application/json"})
    assert answer.status_code == 413


def test_access_code_is_asked_for_and_tries_are_limited(path):
    asker = Asker(create_app(path, hosts=frozenset({HOST}), access_code="12345678").test_client())
    assert asker.get("/").status_code == 302
    assert asker.get("/api/version").status_code == 401
    assert asker.post("/api/log", json={"table": "symptoms", "records": [FINDING]}).status_code == 401
    assert asker.post("/enter", data={"code": "87654321"}).status_code == 403
    good = asker.post("/enter?next=//evil.example", data={"code": "12345678"})
    assert (good.status_code, good.headers["Location"]) == (302, "/")
    assert "HttpOnly" in good.headers["Set-Cookie"]
    assert "SameSite=Strict" in good.headers["Set-Cookie"]
    assert asker.get("/").status_code == 200


def test_codes_are_eight_digits_and_hardly_ever_the_same():
    assert len({Gate.new_code() for _ in range(50)}) > 45
    assert all(len(Gate.new_code()) == 8 for _ in range(50))


def test_policy_names_the_scripts_of_the_page_only():
    import base64
    from hashlib import sha256

    policy = policy_of("<script>let a = 1;</script><script type='application/json'>{}</script>")
    assert base64.b64encode(sha256(b"let a = 1;").digest()).decode() in policy
    assert "evil" not in policy


def test_two_who_log_at_once_lose_nothing(path):
    app = create_app(path, hosts=frozenset({HOST}))
    failed = []

    def work(name):
        asker = Asker(app.test_client())
        for position in range(1, 13):
            answer = asker.post(
                "/api/log",
                json={"table": "symptoms", "records": [{**FINDING, "position": str(position), "observer": name}]},
            )
            if answer.status_code != 200 or answer.get_json()["new"] != 1:
                failed.append(answer.get_json())

    people = [threading.Thread(target=work, args=(name,)) for name in ("P", "Q")]
    for one in people:
        one.start()
    for one in people:
        one.join()
    assert failed == []
    with Store.open(path) as store:
        frame = store.frame("symptoms", "Mill")
    assert frame[frame["observer"].isin(["P", "Q"])].groupby("observer").size().tolist() == [12, 12]


def test_import_shows_faults_first_and_takes_only_when_told(client, path):
    bad = "block,row,position,date,symptom\nMill,1,3,2026-08-19,leaf_stripe\nMill,77,3,2026-08-19,leaf_stripe\n"
    before = path.read_bytes()
    sent = client.post("/import", data={"file": (__import__("io").BytesIO(bad.encode()), "../../symptoms_2026.csv")})
    page = client.get(sent.headers["Location"]).get_data(as_text=True)
    assert "<td>line 3</td>" in page
    assert "nothing would be imported" in page
    assert path.read_bytes() == before
    done = client.post(sent.headers["Location"] + "/take", data={"keep_good": "yes"}).get_data(as_text=True)
    assert "was imported" in done
    assert "Left out" in done
    assert "line 3, column row: unknown row (&#39;77&#39;)" in done
    with Store.open(path) as store:
        assert (store.frame("symptoms", "Mill")["date"] == "2026-08-19").sum() == 1
    assert client.get(sent.headers["Location"]).status_code == 404


@pytest.mark.long
def test_a_foreign_spreadsheet_is_mapped_by_eye(client, path):
    sheet = "Reihe,Stock,Krank\n1,1,0\n1,2,1\n2,1,0\n2,2,0\n"
    sent = client.post("/import", data={"file": (__import__("io").BytesIO(sheet.encode()), "counts.csv")})
    where = sent.headers["Location"]
    assert client.get(where).headers["Location"] == f"{where}/book"
    assert "<th>Krank</th>" in client.get(f"{where}?columns=yes").get_data(as_text=True)
    told = {
        "row": "Reihe",
        "position": "Stock",
        "status": "Krank",
        "case_when": "1",
        "block_label": "New",
        "day": "2026-08-20",
        "look": "summer",
        "symptom": "leaf_stripe",
    }
    tried = client.post(f"{where}/try", data=told).get_data(as_text=True)
    assert "1 in symptoms" in tried
    with Store.open(path) as store:
        assert "New" not in store.blocks()
    client.post(f"{where}/take", data={**told, "mapped": "yes"})
    with Store.open(path) as store:
        assert "New" in store.blocks()
        assert len(store.frame("symptoms", "New")) == 1


@pytest.mark.long
def test_a_workbook_with_a_title_two_sheets_and_days_as_text(client, path, tmp_path):
    import openpyxl

    book = openpyxl.Workbook()
    book.active.append(["do not use"])
    sheet = book.create_sheet("Counts")
    for line in (["Counts of the summer"], ["Place", None, "What"], ["Row", "Vine", "Day", "State"]):
        sheet.append(line)
    sheet.merge_cells("A1:D1")
    sheet.merge_cells("A2:B2")
    for number, (day, state) in enumerate([("18.08.2026", "sick"), ("18.08.2026", "ok"), ("18th", "sick"), ("", "ok")]):
        sheet.append([1, number + 1, day, state])
    book.save(tmp_path / "field.xlsx")
    sent = client.post("/import", data={"file": ((tmp_path / "field.xlsx").open("rb"), "field.xlsx")})
    where = sent.headers["Location"]
    assert "do not use" in client.get(f"{where}?columns=yes").get_data(as_text=True)
    page = client.get(f"{where}?sheet=Counts&heading=1&shown=Sheet").get_data(as_text=True)
    assert 'name="heading" inputmode="numeric" value="3"' in page
    assert "<th>State</th>" in page
    told = {
        "sheet": "Counts",
        "heading": "3",
        "row": "Row",
        "position": "Vine",
        "date": "Day",
        "status": "State",
        "case_when": "sick",
        "block_label": "New",
        "symptom": "leaf_stripe",
        "day_order": "day",
        "mapped": "yes",
    }
    page = client.post(f"{where}/try", data=told).get_data(as_text=True)
    assert '<td>line 6</td><td data-head="column">Day</td><td data-head="value">18th</td>' in page
    assert "2 errors: nothing would be imported" in page
    done = client.post(f"{where}/take", data={**told, "keep_good": "yes"}).get_data(as_text=True)
    assert "was imported" in done
    assert "line 6, column Day" in done
    assert "line 7, column Day" in done
    with Store.open(path) as store:
        assert store.frame("symptoms", "New")["date"].tolist() == ["2026-08-18"]
        assert store.frame("surveys", "New")["covered"].tolist() == ["1:1..2"]


@pytest.mark.long
def test_nothing_is_imported_until_every_word_has_a_meaning(client, path):
    sheet = "Row,Vine,State\n1,1,1\n1,2,0\n1,3,gone\n1,4,?\n1,5,Gone\n1,6,new\n"
    sent = client.post("/import", data={"file": (__import__("io").BytesIO(sheet.encode()), "counts.csv")})
    where = sent.headers["Location"]
    told = {
        "sheet": "sheet",
        "heading": "1",
        "row": "Row",
        "position": "Vine",
        "status": "State",
        "case_when": "1",
        "day": "2026-08-20",
        "block_label": "New",
        "look": "summer",
        "symptom": "leaf_stripe",
        "mapped": "yes",
        "hemisphere": "south",
    }
    page = client.post(f"{where}/try", data=told).get_data(as_text=True)
    assert "no meaning for 3 of its words: gone (2), ? (1), new (1)" in page
    assert '<td><b>gone</b></td><td data-head="lines">2</td><td data-head="first in line">4</td>' in page
    assert "scouted and sound (by itself)" in page
    assert ">Import</button>" not in page
    assert "Take the good lines" not in page
    refused = client.post(f"{where}/take", data={**told, "keep_good": "yes"}).get_data(as_text=True)
    assert "was imported" not in refused
    with Store.open(path) as store:
        assert "New" not in store.blocks()
    listed = re.findall(r'name="(word_[0-9]+)" value="(.*?)"', page)
    assert sorted(word for _, word in listed) == ["0", "1", "?", "gone", "new"]
    meant = {"gone": "missing", "?": "unseen", "new": "replanted"}
    chosen = {**dict(listed), "words_of": "State", "words_in": "sheet"}
    chosen |= {name.replace("word", "meaning"): meant.get(word, "") for name, word in listed}
    elsewhere = client.post(f"{where}/try", data={**told, **chosen, "words_of": "Vine"}).get_data(as_text=True)
    assert "no meaning for 3 of its words" in elsewhere  # chosen for another column
    page = client.post(f"{where}/try", data={**told, **chosen}).get_data(as_text=True)
    assert ">Import</button>" in page
    assert "State read as no vine there: gone (2)" in page
    assert "was imported" in client.post(f"{where}/take", data={**told, **chosen}).get_data(as_text=True)
    with Store.open(path) as store:
        assert store.frame("surveys", "New")["covered"].tolist() == ["1:1..2; 1:6..6"]
        plants = store.frame("plants", "New").sort_values("position")
        assert plants["removed"].tolist() == ["2026-08-20", "2026-08-20", ""]
        assert plants["planted"].tolist() == ["", "", "2026-08-20"]
        assert store.frame("blocks", "New")["hemisphere"].tolist() == ["south"]


@pytest.mark.long
def test_a_column_map_that_cannot_be_is_told_in_the_form(client):
    sent = client.post("/import", data={"file": (__import__("io").BytesIO(b"Row,Vine,S\n1,1,0\n"), "counts.csv")})
    told = {
        "row": "Row",
        "position": "Vine",
        "status": "S",
        "case_when": ">much",
        "day": "2026-08-20",
        "block_label": "Kept",
    }
    page = client.post(sent.headers["Location"] + "/try", data=told)
    assert page.status_code == 200
    text = page.get_data(as_text=True)
    assert "which is no number" in text
    assert 'value="Kept"' in text


@pytest.mark.parametrize("name", ["a.exe", "noending", "x.gpkg.html", ""])
def test_strange_files_are_refused(client, name):
    answer = client.post("/import", data={"file": (__import__("io").BytesIO(b"MZ"), name)})
    assert 400 <= answer.status_code < 500


@pytest.mark.long
def test_damaged_uploads_say_so(client):
    for name in ("symptoms.xlsx", "v.gpkg", "p.json", "symptoms.csv"):
        sent = client.post("/import", data={"file": (__import__("io").BytesIO(b"\x00\x01\x02 not a file"), name)})
        answer = client.get(sent.headers["Location"])
        assert answer.status_code in (200, 409, 422)
        assert b"Traceback" not in answer.data


def test_a_phone_syncs_twice_and_changes_nothing(client):
    told = {"trunkwatch_handover": 1, "surveys": [], "symptoms": [{**FINDING, "id": "p1"}]}
    assert client.post("/api/field/Mill/sync", json=told).get_json()["new"] == 1
    again = client.post("/api/field/Mill/sync", json=told).get_json()
    assert (again["new"], again["known"]) == (0, 1)
    assert client.post("/api/field/None/sync", json=told).status_code == 404


@pytest.mark.long
def test_text_of_users_is_escaped_everywhere(client):
    evil = "<img src=x onerror=alert(1)>"
    client.post("/api/log", json={"table": "symptoms", "records": [{**FINDING, "note": evil, "observer": evil}]})
    for where in ("/block/Mill", "/block/Mill/report", "/block/Mill/map", "/block/Mill/pattern", "/"):
        assert evil not in client.get(where).get_data(as_text=True)


def test_the_grid_is_read_anew_only_when_the_file_changed(client, path):
    first = client.get("/api/block/Mill")
    same = client.get("/api/block/Mill", headers={"If-None-Match": first.headers["ETag"]})
    assert same.status_code == 304
    client.post("/api/log", json={"table": "symptoms", "records": [FINDING]})
    fresh = client.get("/api/block/Mill", headers={"If-None-Match": first.headers["ETag"]})
    assert fresh.status_code == 200
    assert fresh.get_json()["version"] == Vineyard(path).version()


def test_a_block_without_seasons_is_drawn(client, path):
    from trunkwatch.vineyard.tables import frame_of

    with Store.writing(path) as store:
        store.append(
            {
                "blocks": frame_of("blocks", [{"block": "Bare"}]),
                "rows": frame_of("rows", [{"block": "Bare", "row": "1", "last": 7}]),
            }
        )
    told = client.get("/api/block/Bare").get_json()
    assert len(told["x"]) == 7
    assert told["seasons"] == []
    assert "Nothing is on record yet" in client.get("/").get_data(as_text=True)


def test_a_block_without_seasons_is_drawn_to_scale(client, path):
    """By hand: three rows 2.5 m apart of seven vines 1.5 m apart; no two vines in one place, none on a slanting line."""
    from trunkwatch.vineyard.tables import frame_of

    with Store.writing(path) as store:
        store.append(
            {
                "blocks": frame_of("blocks", [{"block": "Bare", "row_spacing_m": 2.5, "vine_spacing_m": 1.5}]),
                "rows": frame_of(
                    "rows", [{"block": "Bare", "row": str(n), "row_order": n, "last": 7} for n in (1, 2, 3)]
                ),
            }
        )
    told = client.get("/api/block/Bare").get_json()
    at = {
        (row, position): (x, y)
        for row, position, x, y in zip(told["row"], told["position"], told["x"], told["y"], strict=True)
    }
    assert len(at) == len(set(at.values())) == 21

    def apart(one, other):
        return ((at[one][0] - at[other][0]) ** 2 + (at[one][1] - at[other][1]) ** 2) ** 0.5

    for row in (0, 1, 2):
        assert apart((row, 1), (row, 7)) == pytest.approx(900, abs=2)
    for position in range(1, 8):
        assert apart((0, position), (2, position)) == pytest.approx(500, abs=2)
    assert apart((0, 1), (2, 7)) == pytest.approx((900**2 + 500**2) ** 0.5, abs=2)


@pytest.mark.long
def test_the_proposed_work_goes_on_the_lists_once(client, path, monkeypatch):
    monkeypatch.setattr("trunkwatch.web.writing.today", lambda: "2026-11-26")
    assert "Nothing planned" in client.get("/block/Mill/lists").get_data(as_text=True)
    said = client.post("/api/plan", json={"block": "Mill", "crew_days": 5}).get_json()
    assert said["new"] > 0
    with Store.open(path) as store:
        work = store.frame("work", "Mill")
    planned = work[work["status"] == "planned"]
    assert len(planned) == said["new"]
    assert set(planned["date"].str[:4]) >= {"2027"}
    page = client.get("/block/Mill/lists").get_data(as_text=True)
    assert page.count('type="checkbox"') >= said["new"]
    again = client.post("/api/plan", json={"block": "Mill", "crew_days": 5}).get_json()
    assert (again["new"], again["same"]) == (0, said["new"])
    for days in ("much", -1, True, 1e9):
        assert client.post("/api/plan", json={"block": "Mill", "crew_days": days}).status_code == 400
    assert client.post("/api/plan", json={"block": "Nowhere"}).status_code == 404


def test_ticks_of_the_crew_come_back_as_work_done(client, path):
    planned = {
        "block": "Mill",
        "row": "2",
        "position": "4",
        "date": "2026-12-01",
        "kind": "renew_arm",
        "arm": "start",
        "status": "planned",
    }
    said = client.post("/api/log", json={"table": "work", "records": [planned]}).get_json()
    page = client.get("/block/Mill/lists").get_data(as_text=True)
    assert said["ids"][0] in page
    client.post(
        "/api/correct",
        json={
            "table": "work",
            "id": said["ids"][0],
            "changes": {"status": "done", "date": "2026-11-20", "hours": "0.2", "crew": "A"},
        },
    )
    with Store.open(path) as store:
        work = store.frame("work", "Mill")
    done = work[(work["row"] == "2") & (work["position"] == "4") & (work["date"] == "2026-11-20")]
    assert done[["status", "hours"]].to_numpy().tolist() == [["done", 0.2]]


@settings(max_examples=60, deadline=None)
@given(st.recursive(st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
                    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["table", "records", "id", "changes", "row", "symptom", "block", "crew_days", "x"]), inner, max_size=4)))  # fmt: skip
def test_no_request_brings_the_program_down(told):
    asker = Asker(_FUZZED.test_client())
    for where in ("/api/log", "/api/correct", "/api/plan", "/api/field/Mill/sync"):
        assert asker.post(where, data=json.dumps(told), headers={"Content-Type": "application/json"}).status_code < 500


@pytest.fixture(autouse=True, scope="module")
def _fuzzed(sample):
    global _FUZZED  # noqa: PLW0603 - hypothesis and fixtures of a function do not go together
    _FUZZED = create_app(sample, hosts=frozenset({HOST}))


def test_names_and_codes_for_the_network():
    assert hosts_for(8321, lan=False) == {"127.0.0.1:8321", "localhost:8321", "[::1]:8321"}
    assert len(hosts_for(443, lan=False)) == 6
    assert "\u2588" in qr_text("http://192.0.2.7:8321/") or "\u2580" in qr_text("http://192.0.2.7:8321/")


def test_the_list_of_blocks_waits_for_no_block(client, path, monkeypatch):
    with Store.open(path) as store:
        name = store.blocks()[0]
    monkeypatch.setattr("trunkwatch.web.vineyard.AT_ONCE_S", 0.0)
    cold = client.get("/").get_data(as_text=True)
    assert f'data-again="/block/{name}/line?top=0.05"' in cold
    assert "Being read" in cold
    line = client.get(f"/block/{name}/line?top=0.05").get_data(as_text=True)
    assert line.startswith("<article")
    assert "data-again" not in line
    warm = client.get("/").get_data(as_text=True)
    assert f'data-again="/block/{name}/line' not in warm
    record = {"block": name, "row": "1", "position": "1", "date": "2026-02-05", "symptom": "canker", "observer": "Ana"}
    assert client.post("/api/log", json={"table": "symptoms", "records": [record]}).status_code == 200
    after = client.get("/").get_data(as_text=True)
    assert f'data-again="/block/{name}/line' in after  # as it was before, until it is read
    assert "vines show symptoms" in after or "vines count as sick" in after
    for top in ("x", "-1", "nan", "7"):
        assert client.get(f"/block/{name}/line?top={top}").status_code == 200
    assert client.get("/block/none/line").status_code == 404


def test_answers_about_other_blocks_hold_while_one_changes(client, path, monkeypatch):
    with Store.open(path) as store:
        first, second = store.blocks()[:2]
    client.get("/")
    asked = []
    real = web_vineyard.load
    monkeypatch.setattr(
        web_vineyard, "load", lambda store, block, season: asked.append(block) or real(store, block, season)
    )
    record = {"block": first, "row": "1", "position": "1", "date": "2026-02-05", "symptom": "canker", "observer": "Ana"}
    assert client.post("/api/log", json={"table": "symptoms", "records": [record]}).status_code == 200
    client.get("/")
    assert asked == [first]
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("UPDATE symptoms SET note = 'by another program'")
    asked.clear()
    client.get("/")
    assert {first, second} <= set(asked)

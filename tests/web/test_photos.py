"""trunkwatch.web: photos; on the desk photos are added, shown to who may look, and taken back."""

import io
from pathlib import Path

import made_photos
import pytest

from trunkwatch.access.may import EVERYTHING, Right
from trunkwatch.access.people import add_person
from trunkwatch.intake import add_records, start_file
from trunkwatch.spreadsheets.photo import MOST_BYTES
from trunkwatch.store import Store
from trunkwatch.web.app import create_app

HOST = "127.0.0.1:8321"
BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north", "training": "bilateral"}  # fmt: skip
FINDING = {"block": "North", "row": "1", "position": "2", "date": "2026-02-03", "symptom": "dead_arm", "arm": "start"}


@pytest.fixture
def path(tmp_path) -> Path:
    start_file(tmp_path / "v.gpkg", BLOCK, 3, 8)
    add_records(tmp_path / "v.gpkg", "symptoms", [FINDING])
    return tmp_path / "v.gpkg"


class Desk:
    """A browser at the desk."""

    def __init__(self, path) -> None:
        self.client = create_app(path, hosts=frozenset({HOST})).test_client()

    def get(self, where, **more):
        return self.client.get(where, headers={"Host": HOST, **more})

    def post(self, where, **more):
        return self.client.post(where, headers={"Host": HOST, "Origin": f"http://{HOST}"}, **more)

    def enter(self, code):
        assert self.post("/enter", data={"code": code, "device": "desk"}).status_code == 302
        return self

    def add(self, record, data, name="photo.jpg", **more):
        sent = {"record": record, "photo": (io.BytesIO(data), name, "text/html"), **more}
        return self.post("/api/photo", data=sent, content_type="multipart/form-data")

    def vine(self):
        return self.get("/api/block/North/vine/1/2").json["records"]


def finding_id(path):
    with Store.open(path) as store:
        return store.frame("symptoms")["id"].iloc[0]


def test_a_photo_is_added_shown_and_taken_back(path):
    desk = Desk(path)
    added = desk.add(finding_id(path), made_photos.as_of_a_camera(), shows="cut_face", caption="<b>wedge</b>")
    assert (added.status_code, added.json["new"]) == (200, 1)
    (record,) = desk.vine()
    (photo,) = record["photos"]
    assert photo["text"] == "photo of the cut face, taken 2026-02-03 10:11: <b>wedge</b>"
    shown = desk.get(f"/photo/{photo['sha256']}")
    assert made_photos.place_in(shown.data) == {}
    assert desk.get(f"/photo/{photo['sha256']}", **{"If-None-Match": shown.headers["ETag"]}).status_code == 304
    assert desk.post("/api/correct", json={"table": "photos", "id": photo["id"], "void": True}).status_code == 200
    assert desk.vine()[0]["photos"] == []


def test_a_photo_is_sent_as_a_picture_and_as_nothing_else(path):
    desk = Desk(path)
    desk.add(finding_id(path), made_photos.jpeg(), name="../../evil.html")
    (photo,) = desk.vine()[0]["photos"]
    shown = desk.get(f"/photo/{photo['sha256']}")
    assert shown.headers["Content-Type"] == "image/jpeg"
    assert shown.headers["X-Content-Type-Options"] == "nosniff"
    assert shown.headers["Content-Security-Policy"] == "default-src 'none'; sandbox"
    for wrong in ("0" * 64, "x", "..%2F..%2Fv.gpkg", photo["sha256"].upper()):
        assert desk.get(f"/photo/{wrong}").status_code == 404


@pytest.mark.parametrize(
    "data", [b"<html><script>alert(1)</script>", b"GIF89a" + bytes(99), made_photos.jpeg()[:300], b""]
)
def test_what_is_no_photo_is_refused_and_the_record_stands(path, data):
    desk = Desk(path)
    answer = desk.add(finding_id(path), data)
    assert answer.status_code == 409
    assert "photo" in answer.json["error"]
    (record,) = desk.vine()
    assert (record["fate"], record["photos"]) == ("stands", [])


def test_too_large_too_long_and_unknown_are_refused(path):
    desk, record = Desk(path), finding_id(path)
    large = desk.post("/api/photo", data=bytes(MOST_BYTES + 20_000), content_type="multipart/form-data; boundary=x")
    assert (large.status_code, "larger than 25 MB" in large.json["error"]) == (409, True)
    assert desk.add(record, made_photos.jpeg(), shows="a cat").status_code == 400
    assert desk.add(record, made_photos.jpeg(), caption="x" * 501).status_code == 400
    assert desk.add("nobody", made_photos.jpeg()).status_code == 409
    assert desk.post("/api/photo", data={"record": record}).status_code == 400
    assert (
        desk.post(
            "/api/log", json={"table": "photos", "records": [{"block": "North", "record": record, "sha256": "0" * 64}]}
        ).status_code
        == 400
    )


def test_adding_needs_the_right_to_log_and_looking_the_right_to_look(path):
    add_person(path, "Keeper", EVERYTHING)
    _, writes = add_person(path, "Ana", frozenset({Right.LOOK, Right.LOG}))
    _, looks = add_person(path, "Ben", frozenset({Right.LOOK}))
    record = finding_id(path)
    stranger, ana, ben = Desk(path), Desk(path).enter(writes), Desk(path).enter(looks)
    assert stranger.add(record, made_photos.jpeg()).status_code == 401
    assert ben.add(record, made_photos.jpeg()).status_code == 403
    assert ana.add(record, made_photos.jpeg()).status_code == 200
    (photo,) = ben.vine()[0]["photos"]
    assert photo["text"] == "photo by Ana"
    assert ben.get(f"/photo/{photo['sha256']}").status_code == 200
    assert stranger.get(f"/photo/{photo['sha256']}").status_code == 302
    assert ben.post("/api/correct", json={"table": "photos", "id": photo["id"], "void": True}).status_code == 403
    assert ana.post("/api/correct", json={"table": "photos", "id": photo["id"], "void": True}).status_code == 403


def test_the_card_has_the_script_and_no_picture_in_the_page(path):
    desk = Desk(path)
    page = desk.get("/block/North").get_data(as_text=True)
    assert "desk.js" in page
    with desk.get("/static/desk.js") as script:
        assert '"./photos.js"' in script.get_data(as_text=True)
    assert "data:image/jpeg" not in page

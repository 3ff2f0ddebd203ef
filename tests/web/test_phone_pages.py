"""trunkwatch.web: views, writing, imports. The page of a blind recheck, and what phones of buds and pruning hand over."""

import io
import json

import pytest

from trunkwatch.cold.noted import bud_counts, rows_pruned
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.handed_over import block_mark
from trunkwatch.store import Store
from trunkwatch.web.app import create_app

HOST = "127.0.0.1:8347"


@pytest.fixture(scope="module")
def sample(tmp_path_factory, pytestconfig):
    path = tmp_path_factory.mktemp("phones") / "v.gpkg"
    bring_files(path, pytestconfig.rootpath / "sample_blocks")
    return path


@pytest.fixture
def path(sample, tmp_path):
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

    def get(self, where):
        return self.client.get(where, headers={"Host": HOST})

    def post(self, where, **more):
        return self.client.post(where, headers={"Host": HOST, "Origin": f"http://{HOST}"}, **more)


def data_of(page):
    text = page.get_data(as_text=True)
    return json.loads(text.split('id="data">', 1)[1].split("</script>", 1)[0])


def test_the_page_of_a_recheck_is_an_app_of_its_own_and_knows_no_finding(client):
    where = "/recheck/Mill/10/index.html?season=2026&look=summer"
    page = client.get(where)
    assert page.status_code == 200
    data = data_of(page)
    assert (data["recheck"]["look"], len(data["recheck"]["vines"]), data["work"]) == ("summer", 10, [])
    assert all(not row["found"] and not any(row["known_in"]) for row in data["rows"])
    assert data["sync"].endswith("/api/field/Mill/sync")
    assert data_of(client.get(where))["recheck"] == data["recheck"]  # the same draw while the records are the same
    assert any(row["found"] for row in data_of(client.get("/field/Mill/index.html"))["rows"])
    for file in ("worker.js", "manifest.webmanifest", "icon.svg"):
        assert client.get(f"/recheck/Mill/10/{file}?season=2026").status_code == 200
    link = client.get("/block/Mill/survey").get_data(as_text=True)
    assert "/recheck/Mill/40/index.html" in link


@pytest.mark.parametrize("where", ["/recheck/Mill/1/index.html", "/recheck/Mill/4000/index.html", "/recheck/None/10/index.html", "/recheck/Mill/10/other.html"])  # fmt: skip
def test_no_other_page_of_a_recheck(client, where):
    assert client.get(where).status_code == 404


def test_a_season_that_nobody_scouted_gives_no_recheck_and_says_why(client):
    answer = client.get("/recheck/Mill/10/index.html?season=1999")
    assert 400 <= answer.status_code < 500
    assert "no recheck can be drawn" in answer.get_data(as_text=True)


BUDS = {
    "id": "b1",
    "block": "Mill",
    "date": "2026-01-20",
    "buds": 100,
    "primary_dead": 30,
    "canes": 25,
    "observer": "Ana",
    "device": "phone",
}
ROWS = {"id": "p1", "block": "Mill", "date": "2026-01-20", "covered": "2", "hours": 3, "crew": "Ana", "device": "phone"}


def handed(path, **tables):
    """Return what a phone hands over of block Mill."""
    with Store.open(path) as store:
        mark = block_mark(store, "Mill")
    return {"trunkwatch_handover": 4, "block": "Mill", "block_root": mark.root, "block_began": mark.began, **tables}


def test_counts_and_rows_pruned_meet_the_desk_in_any_order_and_are_taken_back(client, path):
    told = handed(path, bud_counts=[BUDS], pruning=[ROWS])
    fewer = {
        **told,
        "bud_counts": [
            {**BUDS, "id": "b2", "corrects": "b1", "void": "yes", "recorded_at": "2026-01-20T12:00:00.000Z"},
            BUDS,
        ],
    }
    assert client.post("/api/field/Mill/sync", json=told).get_json()["new"] == 2
    assert client.post("/api/field/Mill/sync", json=told).get_json()["new"] == 0
    with Store.open(path) as store:
        assert [
            (one.buds, one.primary_dead, one.canes)
            for one in bud_counts(store.frame("bud_counts", "Mill"))
            if one.id == "b1"
        ] == [(100, 30, 25)]
        assert [(one.covered, one.hours) for one in rows_pruned(store.frame("pruning", "Mill")) if one.id == "p1"] == [
            ("2", 3)
        ]
    assert "30 of 100 primary buds dead" in client.get("/block/Mill/buds").get_data(as_text=True)
    assert client.post("/api/field/Mill/sync", json=fewer).get_json()["new"] == 1
    with Store.open(path) as store:
        assert "b1" not in {one.id for one in bud_counts(store.frame("bud_counts", "Mill"))}


def test_more_dead_than_cut_is_refused_by_the_desk(client, path):
    told = handed(path, bud_counts=[{**BUDS, "primary_dead": 101}])
    answer = client.post("/api/field/Mill/sync", json=told)
    assert answer.status_code >= 400
    assert "more primary buds are dead than were cut" in answer.get_data(as_text=True)


@pytest.mark.long
def test_what_a_phone_shares_as_text_is_imported_as_its_file_is(client, path):
    told = handed(path, bud_counts=[BUDS])
    sent = client.post(
        "/import", data={"file": (io.BytesIO(json.dumps(told).encode()), "trunkwatch_Mill_2026_phone.txt")}
    )
    page = client.get(sent.headers["Location"]).get_data(as_text=True)
    assert "nothing would be imported" not in page
    done = client.post(sent.headers["Location"] + "/take").get_data(as_text=True)
    assert "was imported" in done
    with Store.open(path) as store:
        assert "b1" in set(store.frame("bud_counts")["id"])
    other = client.post("/import", data={"file": (io.BytesIO(b"no hand-over"), "notes.txt")})
    answer = client.get(other.headers["Location"])
    assert "damaged, or no hand-over" in answer.get_data(as_text=True)

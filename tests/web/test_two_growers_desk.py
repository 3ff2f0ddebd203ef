"""trunkwatch.web: views, writing, vineyard, addresses; trunkwatch.sheets: field_page: two growers' blocks North in one file."""

import json
import re
from urllib.parse import unquote

import pytest

from trunkwatch.intake import add_frames, merge_file, put_into_tables, start_file
from trunkwatch.intake.rename import rename_block
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of
from trunkwatch.web.app import create_app

HOST = "127.0.0.1:8321"
HILL, DALE = "Hill%252FNorth", "Dale%252FNorth"
FINDING = {"row": "1", "position": "3", "date": "2025-08-01", "symptom": "leaf_stripe", "observer": "A.B."}


@pytest.fixture
def path(tmp_path):
    for name, rows in (("Hill", 3), ("Dale", 2)):
        start_file(tmp_path / f"{name}.gpkg", {"block": "North", "row_spacing_m": 2.5, "vine_spacing_m": 1.5}, rows, 6)
        survey = {"block": "North", "date": "2025-08-01", "look": "summer", "covered": f"1..{rows}"}
        add_frames(tmp_path / f"{name}.gpkg", {"surveys": frame_of("surveys", [survey])})
    merge_file(tmp_path / "Hill.gpkg", tmp_path / "Dale.gpkg")
    return tmp_path / "Hill.gpkg"


@pytest.fixture
def client(path):
    return create_app(path, hosts=frozenset({HOST})).test_client()


def get(client, where):
    answer = client.get(where, headers={"Host": HOST})
    answer.get_data()
    return answer


def post(client, where, **told):
    return client.post(where, json=told, headers={"Host": HOST, "Origin": f"http://{HOST}"})


def positions(path, block):
    with Store.open(path) as store:
        return store.frame("symptoms", block)["position"].tolist()


def test_the_list_leads_to_every_page_of_both_blocks(client):
    page = get(client, "/").get_data(as_text=True)
    links = set(re.findall(r'href="(/block/[^"]+)"', page))
    assert {f"/block/{HILL}", f"/block/{DALE}"} <= {link.split("?")[0] for link in links}
    for block in (HILL, DALE):
        for rest in ("", "/lists", "/survey", "/pattern", "/report", "/map", "/paper/lists", "/paper/findings"):
            answer = get(client, f"/block/{block}{rest}")
            assert answer.status_code == 200, (block, rest)
            assert unquote(unquote(block)) in answer.get_data(as_text=True)
    assert get(client, "/block/North").status_code == 404
    assert len(get(client, f"/api/block/{HILL}").json["x"]) == 18
    assert len(get(client, f"/api/block/{DALE}").json["x"]) == 12


@pytest.mark.parametrize("block", ["Hill/North", "Dale/North"])
def test_what_is_written_on_the_page_goes_to_its_block(client, path, block):
    answer = post(client, "/api/log", table="symptoms", records=[{"block": block, **FINDING}])
    assert answer.status_code == 200
    (name,) = answer.json["ids"]
    assert positions(path, block) == ["3"]
    other = "Dale/North" if block == "Hill/North" else "Hill/North"
    assert positions(path, other) == []
    with Store.open(path) as store:
        assert store.frame("symptoms", block)["id"].tolist() == [name]
    again = post(client, "/api/log", table="symptoms", records=[{"block": block, **FINDING}])
    assert (again.json["new"], again.json["same"], again.json["ids"]) == (0, 1, [name])
    assert post(client, "/api/correct", table="symptoms", id=name, changes={"position": "4"}).status_code == 200
    assert positions(path, block) == ["4"]
    where = "Hill%252FNorth" if block == "Hill/North" else "Dale%252FNorth"
    (first, second) = get(client, f"/api/block/{where}/vine/1/4").json["records"]
    assert {first["fate"], second["fate"]} == {"stands", "corrected"}
    walk = {"block": block, "date": "2025-02-01", "covered": "1..2", "look": "dormant"}
    assert post(client, "/api/log", table="surveys", records=[walk]).status_code == 200
    assert (
        post(
            client,
            "/api/correct",
            table="symptoms",
            id=next(one["id"] for one in (first, second) if one["fate"] == "stands"),
            void=True,
        ).status_code
        == 200
    )
    assert positions(path, block) == []


def test_a_label_that_two_have_is_refused_with_both(client):
    answer = post(client, "/api/log", table="symptoms", records=[{"block": "North", **FINDING}])
    assert answer.status_code == 422
    assert "two vineyards have a block North" in answer.json["faults"][0]["text"]


def handed(client, block):
    """Return the data of the phone page of a block."""
    page = get(client, f"/field/{block}/index.html").get_data(as_text=True)
    return json.loads(re.search(r'<script[^>]*id="data"[^>]*>(.*?)</script>', page, re.DOTALL).group(1))


@pytest.mark.parametrize(("block", "name"), [(HILL, "Hill/North"), (DALE, "Dale/North")])
def test_what_a_phone_hands_over_lands_in_the_block_of_its_page(client, path, block, name):
    data = handed(client, block)
    assert (data["block"], data["vineyard_name"]) == (name, name.partition("/")[0])
    assert data["sync"] == f"/api/field/{block}/sync"
    row = {"block": data["block"], "vineyard": data["vineyard_name"], **FINDING, "id": "p-1"}
    old = {"block": "North", **FINDING, "position": "5", "id": "p-2"}  # a page from before the vineyards were merged
    answer = post(client, data["sync"], trunkwatch_handover=1, symptoms=[row, old])
    assert answer.status_code == 200
    assert positions(path, name) == ["3", "5"]


def test_a_phone_that_walked_before_the_rename_hands_over_after_it(client, path):
    data = handed(client, DALE)
    rename_block(path, "Dale/North", label="Low", vineyard="Valley")
    row = {"block": data["block"], "vineyard": data["vineyard_name"], **FINDING, "id": "p-1"}
    assert post(client, "/api/field/Low/sync", trunkwatch_handover=1, symptoms=[row]).status_code == 200
    assert positions(path, "Low") == ["3"]
    assert get(client, "/block/Low").status_code == 200


def test_lists_and_plan_are_those_of_the_block(client, path):
    work = {
        "block": "Dale/North",
        "row": "1",
        "position": "2",
        "date": "2025-12-01",
        "kind": "renew_trunk",
        "status": "planned",
    }
    assert post(client, "/api/log", table="work", records=[work]).status_code == 200
    assert "retrain" in get(client, f"/block/{DALE}/lists").get_data(as_text=True).casefold()
    with Store.open(path) as store:
        assert store.frame("work", "Dale/North")["vineyard"].tolist() == ["Dale"]
        assert store.frame("work", "Hill/North").empty
    assert post(client, "/api/plan", block="Hill/North", crew_days=2).status_code in (200, 409)
    assert post(client, "/api/plan", block="North", crew_days=2).status_code == 404


def test_blocks_on_the_map_layers_follow_their_names(tmp_path):
    place = {
        "row_spacing_m": 2.5,
        "vine_spacing_m": 1.5,
        "longitude": -30.0,
        "latitude": 44.0,
        "row_bearing_deg": 20.0,
        "rows_go": "right",
    }
    for name in ("Hill", "Dale"):
        start_file(tmp_path / f"{name}.gpkg", {"block": "North", **place}, 2, 4)
        add_frames(tmp_path / f"{name}.gpkg", {"symptoms": frame_of("symptoms", [{"block": "North", **FINDING}])})
        put_into_tables(tmp_path / f"{name}.gpkg")
    with Store.open(tmp_path / "Hill.gpkg") as store:
        assert store.mapped() == ("North",)
    merge_file(tmp_path / "Hill.gpkg", tmp_path / "Dale.gpkg")
    rename_block(tmp_path / "Hill.gpkg", "Dale/North", label="Low")
    with Store.open(tmp_path / "Hill.gpkg") as store:
        assert set(store.mapped()) == set(store.blocks()) == {"Hill/North", "Low"}
        many = store.connection.execute("SELECT block, count(*) FROM map_vines GROUP BY block").fetchall()
    assert sorted(many) == [("Hill/North", 8), ("Low", 8)]

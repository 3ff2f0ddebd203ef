"""Counts of buds and days of budbreak, on every road in and out. trunkwatch.intake: check_buds."""

import json

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.intake import check_vineyard, start_file
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import records_of
from trunkwatch.web.app import create_app

BLOCK = {
    "block": "B", "planted": 2010, "cultivar": "Riesling", "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north",
}  # fmt: skip
COUNT = ("--block", "B", "--date", "2026-01-20", "--buds", 100, "--primary-dead", 20)
HOST = "127.0.0.1:8321"


@pytest.fixture
def vines(tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 2, 12)
    return path


def run(*words, code=0):
    done = CliRunner().invoke(main, [str(word) for word in words], catch_exceptions=False)
    assert done.exit_code == code, done.output
    return done


def counted(path):
    with Store.open(path) as store:
        return records_of(store.frame("bud_counts"))


@pytest.mark.long
def test_a_count_is_logged_exported_imported_merged_and_corrected(vines, tmp_path):
    run("log", vines, "buds", *COUNT, "--part", "hollow", "--canes", 25, "--secondary-dead", 4, "--secondary-alive", 16)
    run("log", vines, "budbreak", "--block", "B", "--date", "2026-04-28")
    (before,) = counted(vines)
    assert (before["primary_dead"], before["canes"], before["part"]) == (20, 25, "hollow")
    for again in (tmp_path / "folder", tmp_path / "book.xlsx"):
        run("export", vines, again)
        file = tmp_path / f"{again.stem}.gpkg"
        run("load", file, again)
        (here,) = counted(file)
        assert {name: here[name] for name in ("id", "date", "buds", "secondary_alive")} == {
            name: before[name] for name in ("id", "date", "buds", "secondary_alive")
        }
        with Store.open(file) as store:
            assert store.frame("budbreak")["date"].tolist() == ["2026-04-28"]
    run("log", vines, "correct", "--table", "bud_counts", "--record", before["id"], "--set", "primary_dead=30")
    assert [one["primary_dead"] for one in counted(vines)] == [30]
    assert "bud_counts: 1 added" in run("load", tmp_path / "book.gpkg", vines).output
    assert [one["primary_dead"] for one in counted(tmp_path / "book.gpkg")] == [30]
    assert [fault for fault in check_vineyard(vines) if "bud" in str(fault)] == []


def test_a_count_goes_with_its_block_and_comes_back_with_it(vines):
    run("log", vines, "buds", *COUNT)
    refused = run("rename", vines, "--block", "B", "--take-back", code=1)
    assert "1 bud count" in refused.output
    run("rename", vines, "--block", "B", "--take-back", "--with-records")
    with Store.open(vines) as store:
        assert store.frame("bud_counts").empty
    run("rename", vines, "--block", "B", "--bring-back")
    assert len(counted(vines)) == 1


@pytest.mark.parametrize(("more", "says"), [
    (("--primary-dead", 120), "more primary buds are dead than were cut ('120'); expected: 100 (buds) at the most"),
    (("--secondary-dead", 60, "--secondary-alive", 60), "more secondary buds than buds that were cut ('120 dead and alive')"),
    (("--tertiary-dead", 101), "more tertiary buds than buds that were cut"),
    (("--canes", 101), "buds were cut on more canes than there are buds ('101')"),
    (("--date", "2190-01-20"), "the day lies in the future"),
    (("--block", "Nowhere"), "Nowhere"),
    (("--buds", ""), "buds"),
])  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_is_kept(vines, more, says):
    assert says in run("log", vines, "buds", *COUNT, *more, code=1).output
    assert counted(vines) == []


@pytest.mark.parametrize(("more", "says"), [
    (("--date", "2026-07-20"), "buds in a month in which vines are green"),
    (("--cultivar", "Merlot"), "block B has no such cultivar ('Merlot'); expected: one of its own: Riesling"),
])  # fmt: skip
def test_what_is_odd_is_noted_and_kept(vines, more, says):
    assert says in run("log", vines, "buds", *COUNT, *more).output
    assert len(counted(vines)) == 1


def test_in_the_south_months_lie_half_a_year_on(tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, {**BLOCK, "hemisphere": "south"}, 2, 12)
    assert "green" not in run("log", path, "buds", *COUNT, "--date", "2026-07-20").output
    assert "green" in run("log", path, "budbreak", "--block", "B", "--date", "2026-04-28").output


def test_the_desk_shows_writes_and_corrects_counts(vines):
    client = create_app(vines, hosts=frozenset({HOST})).test_client()
    asked = {"base_url": f"http://{HOST}", "headers": {"Origin": f"http://{HOST}"}}
    page = client.get("/block/B/buds", **asked)
    assert page.status_code == 200
    assert "No count yet." in page.text
    record = {"block": "B", "date": "2026-01-20", "buds": "100", "primary_dead": "20", "part": "hill top"}
    done = client.post("/api/log", json={"table": "bud_counts", "records": [record]}, **asked)
    assert done.status_code == 200, done.text
    (name,) = done.json["ids"]
    wrong = client.post(
        "/api/log", json={"table": "bud_counts", "records": [{**record, "part": "", "primary_dead": "101"}]}, **asked
    )
    assert wrong.status_code in {400, 422}
    assert "more primary buds are dead" in json.dumps(wrong.json)
    assert "hill top: 20 of 100 primary buds dead" in " ".join(
        client.get("/block/B/buds", **asked).text.replace("<b>", "").split()
    )
    client.post("/api/correct", json={"table": "bud_counts", "id": name, "changes": {"primary_dead": "25"}}, **asked)
    assert [one["primary_dead"] for one in counted(vines)] == [25]
    assert (
        client.post(
            "/api/log", json={"table": "budbreak", "records": [{"block": "B", "date": "2026-04-28"}]}, **asked
        ).status_code
        == 200
    )
    assert "2026-04-28" in client.get("/block/B/buds", **asked).text
    rows = {"block": "B", "date": "2026-02-03", "covered": "1", "hours": "3.5"}
    assert client.post("/api/log", json={"table": "pruning", "records": [rows]}, **asked).status_code == 200
    assert "<b>1</b>, 2026-02-03, 3.5 h" in client.get("/block/B/buds", **asked).text
    gone = client.post("/api/log", json={"table": "pruning", "records": [{**rows, "covered": "7"}]}, **asked)
    assert "7" in json.dumps(gone.json)
    assert gone.status_code in {400, 422}
    assert client.get("/block/Nowhere/buds", **asked).status_code == 404
    assert "Cut buds: block B" in client.get("/block/B/paper/buds", **asked).text

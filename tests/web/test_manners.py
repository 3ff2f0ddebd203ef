"""trunkwatch.web: manners; the desk speaks as the settings of its vineyard say, and a form changes them."""

import re

import pytest
from click.testing import CliRunner

from trunkwatch.access.audit import entries_of
from trunkwatch.access.may import Right
from trunkwatch.cli import main
from trunkwatch.intake import start_file
from trunkwatch.intake.settings import set_manner
from trunkwatch.vineyard.manner import AMERICAN, in_force
from trunkwatch.web.allowed import NEEDS
from trunkwatch.web.app import create_app

HOST = "127.0.0.1:8321"
BLOCK = {
    "block": "North",
    "planted": 2010,
    "row_spacing_m": 2.5,
    "vine_spacing_m": 1.5,
    "hemisphere": "north",
    "vineyard": "Hill",
}


class Asker:
    """A browser that names its host."""

    def __init__(self, app) -> None:
        self.client = app.test_client()

    def get(self, where):
        return self.client.get(where, headers={"Host": HOST})

    def page(self, where):
        return self.get(where).get_data(as_text=True)

    def post(self, where, data, origin=f"http://{HOST}"):
        return self.client.post(where, headers={"Host": HOST, "Origin": origin}, data=data)


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "v.gpkg"
    start_file(path, BLOCK, 3, 6)
    for words in (
        ("survey", "--block", "North", "--date", "2026-08-01", "--covered", "1..3"),
        (
            "finding",
            "--block",
            "North",
            "--row",
            "1",
            "--position",
            "2",
            "--symptom",
            "wood_staining",
            "--stain-cm",
            "20",
            "--date",
            "2026-08-01",
        ),
        (
            "finding",
            "--block",
            "North",
            "--row",
            "1",
            "--position",
            "3",
            "--symptom",
            "leaf_stripe",
            "--date",
            "2026-08-01",
        ),
    ):
        assert CliRunner().invoke(main, ["log", str(path), *words]).exit_code == 0
    return path


@pytest.fixture
def desk(path):
    return Asker(create_app(path, hosts=frozenset({HOST})))


def test_the_form_shows_what_holds_and_changes_it(desk, path):
    assert re.findall(r'value="(\w+)" selected', desk.page("/settings")) == ["american", "metric", "a4"]
    answer = desk.post("/settings", {"spelling": "british", "units": "us", "paper": "letter"})
    assert (answer.status_code, answer.headers["Location"]) == (302, "/settings")
    assert re.findall(r'value="(\w+)" selected', desk.page("/settings")) == ["british", "us", "letter"]
    assert CliRunner().invoke(main, ["settings", str(path)]).stdout == "Spelling: british\nUnits: us\nPaper: Letter\n"
    desk.post("/settings", {"spelling": "british", "units": "metric", "paper": "letter"})
    assert re.findall(r'value="(\w+)" selected', desk.page("/settings")) == ["british", "metric", "letter"]
    assert [one.done for one in entries_of(path)] == ["changed the settings"] * 2
    assert 'href="/settings"' in desk.page("/")


def test_pages_follow_at_once(desk, path):
    vine = "/api/block/North/vine/1/2"
    assert "2.5 x 1.5 m" in desk.page("/block/North/report")
    assert "20 cm stained" in desk.page(vine)
    assert desk.get("/api/block/North").get_json()["unit"] == "m"
    assert "size: A4" in desk.page("/block/North/paper/findings")
    assert "neighbors" in desk.page("/block/North/report")
    set_manner(path, {"spelling": "british", "units": "us", "paper": "letter"})
    report = desk.page("/block/North/report")
    assert "8.2 x 4.9 ft" in report
    assert "neighbours" in report
    assert not re.search(
        r"\d (?:m|cm|C)\b|\bneighbors?\b", re.sub(r"<(style|script).*?</\1>|<[^>]*>", " ", report, flags=re.DOTALL)
    )
    assert "7.9 in stained" in desk.page(vine)
    assert desk.get("/api/block/North").get_json()["unit"] == "ft"
    assert "size: Letter" in desk.page("/block/North/paper/findings")
    assert "size: A4" in desk.page("/block/North/paper/findings?size=A4")
    assert in_force() == AMERICAN, "nothing is left to the next request"


def test_each_vineyard_of_a_file_has_its_own(desk, path):
    start_file(path, {**BLOCK, "block": "Low", "vineyard": "Dale"}, 2, 4)
    desk.post("/settings", {"units": "us", "vineyard": "Dale"})
    assert re.findall(r'value="(\w+)" selected', desk.page("/settings?vineyard=Dale"))[1] == "us"
    assert re.findall(r'value="(\w+)" selected', desk.page("/settings?vineyard=Hill"))[1] == "metric"
    assert desk.get("/api/block/North").get_json()["unit"] == "m"
    assert desk.get("/api/block/Low").get_json()["unit"] == "ft"


def test_what_is_no_value_is_refused(desk):
    answer = desk.post("/settings", {"units": "furlongs"})
    assert answer.status_code == 422
    assert "furlongs" in answer.get_data(as_text=True)
    assert desk.post("/settings", {"units": "us"}, origin="http://elsewhere").status_code == 403
    assert NEEDS["manners.set_settings"] == {Right.IMPORT}


def test_a_vineyard_made_in_feet_is_spoken_to_in_feet(tmp_path):
    path = tmp_path / "new.gpkg"
    desk = Asker(create_app(path, hosts=frozenset({HOST})))
    desk.post("/new", {"name": "Low Ground", "hemisphere": "north", "units": "us"})
    assert "Units: us\n" in CliRunner().invoke(main, ["settings", str(path)]).stdout
    start_file(path, {**BLOCK, "vineyard": "Low Ground"}, 2, 4)
    assert desk.get("/api/block/North").get_json()["unit"] == "ft"

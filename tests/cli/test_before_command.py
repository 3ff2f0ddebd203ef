"""trunkwatch.cli: before_command, winter_command."""

import json

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main


@pytest.fixture
def run(pytestconfig):
    sample = str(pytestconfig.rootpath / "sample_blocks")
    return lambda verb, *words: CliRunner().invoke(main, [verb, sample, *words])


def test_before_says_rows_and_seasons(run):
    done = run("before", "--block", "Chapel", "--runs", "10", "--follow", "60")
    assert done.exit_code == 0, done.output
    assert "To know the share showing within 2 points of a hundred: scout " in done.stdout
    assert "If 60 of 100 new cases follow the vine next to them in the row" in done.stdout


def test_before_as_json_has_stable_keys(run):
    done = run("before", "--block", "Chapel", "--runs", "10", "--json")
    data = json.loads(done.stdout)
    assert list(data) == [
        "block",
        "season",
        "margin",
        "rows",
        "vines",
        "showing",
        "within_margin",
        "doubling",
        "to_find",
        "spread",
    ]
    assert [one["share_following"] for one in data["spread"]] == [0.1, 0.3]
    assert data["spread"][0]["more_seasons"] == [0, 4, 8, 12]
    assert len(data["spread"][0]["told"]) == 4
    assert set(data["within_margin"]) == {"rows", "vines", "every"}
    assert json.loads(run("before", "--block", "Chapel", "--rows-only", "--json").stdout)["spread"] is None


def test_before_refuses_what_cannot_be(run):
    assert run("before", "--block", "Chapel", "--margin", "0").exit_code == 2
    assert run("before", "--block", "Chapel", "--follow", "120").exit_code == 2
    missing = run("before", "--block", "Nowhere")
    assert missing.exit_code == 1
    assert "Nowhere" in missing.output


def test_winter_as_json_says_what_each_sign_weighs(run):
    data = json.loads(run("winter", "--block", "Hollow", "--season", "2021", "--json").stdout)
    assert data["answer"] == "fits cold"
    assert data["cold_over_disease"] > 20
    by_name = {one["name"]: one for one in data["signs"]}
    assert by_name["cold"]["found"] == "unusual winter"
    assert by_name["stain"]["cold_over_disease"] == 1

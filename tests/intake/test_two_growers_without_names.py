"""trunkwatch.intake: two_growers; two growers whose vineyards have no name and whose blocks are named alike are never one without a word."""

import csv
import json

import pytest
from click.testing import CliRunner
from made_programme import make_vineyard

from trunkwatch.cli import main

WORDS = "taken as one block"


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture
def alike(tmp_path):
    """Two folders with the same blocks and layouts, no vineyard's name, and other findings."""
    for number, first in ((10, 1), (11, 5)):
        path = make_vineyard(tmp_path / f"h{number}", 7, labels=["North", "South"], seasons=range(2025, 2027), cases=1)
        lines = [
            f"{block},{row},{first + row + (number - 9) * more},2026-08-01,leaf_stripe"
            for block in ("North", "South")
            for row in (1, 2)
            for more in (0, 1)
        ]
        lines += [f"North,3,{place},2026-08-01,leaf_stripe" for place in range(1, number - 8)]
        (path / "symptoms.csv").write_text("\n".join(["block,row,position,date,symptom", *lines, ""]), "utf-8")
    return tmp_path / "h10", tmp_path / "h11"


def annual(path, block="North"):
    told = json.loads(run("incidence", path, "--block", block, "--json").stdout)
    return told["seasons"][-1]["annual"]["cases"]


@pytest.mark.long
@pytest.mark.parametrize("as_files", [False, True])
def test_it_is_told_with_the_way_out(alike, tmp_path, as_files):
    sources = list(alike)
    if as_files:
        sources = [tmp_path / f"{path.name}.gpkg" for path in alike]
        for source, path in zip(sources, alike, strict=True):
            assert run("load", source, path).exit_code == 0
    first, second = (run("load", tmp_path / "all.gpkg", source) for source in sources)
    assert WORDS not in first.output
    assert second.exit_code == 0
    assert (
        "note: block North, South: already recorded in a vineyard without a name, with other findings; taken as one block"
        in second.stderr
    )
    assert "trunkwatch rename PATH --vineyard '' --to NAME" in second.stderr


def test_the_way_out_keeps_them_two(alike, tmp_path):
    own = [annual(path) for path in alike]
    for name, path in zip(("hers", "his"), alike, strict=True):
        assert run("rename", path, "--vineyard", "", "--to", name).exit_code == 0
        told = run("load", tmp_path / "all.gpkg", path)
        assert told.exit_code == 0
        assert WORDS not in told.output
    assert [annual(tmp_path / "all.gpkg", f"{name}/North") for name in ("hers", "his")] == own


def test_the_same_folder_again_and_a_folder_that_grew_say_nothing(alike, tmp_path):
    run("load", tmp_path / "all.gpkg", alike[0])
    assert WORDS not in run("load", tmp_path / "all.gpkg", alike[0]).output
    with (alike[0] / "symptoms.csv").open("a", encoding="utf-8") as file:
        csv.writer(file).writerow(["North", 3, 12, "2026-08-02", "leaf_stripe"])
    again = run("load", tmp_path / "all.gpkg", alike[0])
    assert "symptoms: 1 added" in again.output
    assert WORDS not in again.output


def test_findings_by_themselves_say_nothing(alike, tmp_path):
    run("load", tmp_path / "all.gpkg", alike[0])
    assert WORDS not in run("load", tmp_path / "all.gpkg", alike[1] / "symptoms.csv").output


def test_a_folder_that_is_new_or_empty_takes_blocks_as_before(alike, tmp_path):
    (tmp_path / "empty").mkdir()
    for name in ("new", "empty"):
        assert run("load", tmp_path / name, alike[0]).exit_code == 0
        assert annual(tmp_path / name) == annual(alike[0])

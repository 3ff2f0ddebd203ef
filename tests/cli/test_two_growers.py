"""trunkwatch.cli: rename_command, new_command, load_command; two growers who both have a block North, on every verb."""

import csv
import json
import re

import pytest
from click.testing import CliRunner

from trunkwatch.cli import main

PRICES = "price_per_t,900,EUR/t\nyield_t_ha,8,t/ha\ncrew_hour,30,EUR/h\nreplant_vine,6,EUR/vine\n"
SHAPE = ("--training", "bilateral", "--row-spacing-m", 2.5, "--vine-spacing-m", 1.5, "--hemisphere", "north")


def run(*words, stdin=None):
    return CliRunner().invoke(main, [str(word) for word in words], input=stdin)


def done(*words):
    result = run(*words)
    assert result.exit_code == 0, result.output
    return result.output


def walked(path, block, cases, rows):
    for season in (2024, 2025):
        for look, day in (("dormant", f"{season}-02-01"), ("summer", f"{season}-08-01")):
            done("log", path, "survey", "--block", block, "--date", day, "--covered", f"1..{rows}", "--look", look)
    for position in range(1, cases + 1):
        done(
            "log",
            path,
            "finding",
            "--block",
            block,
            "--row",
            1,
            "--position",
            position,
            "--symptom",
            "leaf_stripe",
            "--date",
            "2025-08-01",
        )


@pytest.fixture(scope="module")
def growers(tmp_path_factory):
    """Hers: 12 of 96 showing, with prices; his: 5 of 60, without."""
    folder = tmp_path_factory.mktemp("growers")
    for name, rows, vines, cases in (("hers", 8, 12, 12), ("his", 6, 10, 5)):
        path = folder / f"{name}.gpkg"
        done("new", path, "--block", "North", "--rows", rows, "--vines", vines, "--planted", 2008, *SHAPE)
        walked(path, "North", cases, rows)
        if name == "hers":
            costs = folder / "costs.csv"
            costs.write_text(f"name,value,unit\n{PRICES}", "utf-8")
            done("load", path, costs)
    return folder


@pytest.fixture(params=["hers his", "his hers"])
def estate(request, growers, tmp_path):
    for name in request.param.split():
        done("load", tmp_path / "all.gpkg", growers / f"{name}.gpkg")
    return tmp_path / "all.gpkg"


def annual(path, block):
    told = json.loads(run("incidence", path, "--block", block, "--json").stdout)
    assert told["block"] == block
    (last,) = [one for one in told["seasons"] if one["season"] == 2025]
    return last["annual"]


@pytest.mark.long
def test_blocks_of_two_growers_stay_two(estate, growers):
    for block, name in (("hers/North", "hers"), ("his/North", "his")):
        assert annual(estate, block) == annual(growers / f"{name}.gpkg", "North")
    first, second = (annual(estate, block) for block in ("hers/North", "his/North"))
    assert (first["cases"], first["vines"]) == (12, 96)
    assert (second["cases"], second["vines"]) == (5, 60)


@pytest.mark.long
@pytest.mark.parametrize("verb", ["incidence", "pattern", "forecast", "plan", "winter", "map", "report", "export"])
def test_a_label_that_two_have_is_an_error_that_lists_both(estate, tmp_path, verb):
    out = {"map": ("--out", tmp_path / "m.html"), "report": ("--out", tmp_path / "r.html")}
    words = [
        verb,
        estate,
        *((tmp_path / "x.geojson",) if verb == "export" else ()),
        "--block",
        "North",
        *out.get(verb, ()),
    ]
    told = run(*words)
    assert told.exit_code == 1
    assert "two blocks are named 'North'" in told.output
    assert "hers/North" in told.output
    assert "his/North" in told.output


@pytest.mark.long
def test_reports_of_all_blocks_have_files_of_their_own(estate, tmp_path):
    done("report", estate, "--all-blocks", tmp_path / "out", "--permutations", 99)
    assert sorted(one.name for one in (tmp_path / "out").iterdir()) == [
        "map_hers_North_2025.html",
        "map_his_North_2025.html",
        "report_hers_North_2025.html",
        "report_his_North_2025.html",
    ]
    assert "Block his/North" in (tmp_path / "out" / "report_his_North_2025.html").read_text("utf-8")


def test_sheets_are_named_after_the_block(estate, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("trunkwatch.cli.options.today", lambda: "2026-02-03")
    done("sheet", estate, "--block", "his/North", "--phone")
    done("sheet", estate, "--block", "his/North", "--paper", "lists")
    assert {"phone_his_North_2026.html", "lists_his_North_2025.html"} <= {one.name for one in tmp_path.iterdir()}
    page = (tmp_path / "phone_his_North_2026.html").read_text("utf-8")
    assert '"vineyard_name":"his"' in page.replace('": "', '":"')


def test_a_phone_is_for_the_inspection_of_today_and_for_a_season_that_is_named(estate, tmp_path, monkeypatch):
    """Paper speaks of the last season on record; a phone is carried from today on."""
    for day, named, season, look in (
        ("2025-08-03", (), 2025, "summer"),
        ("2025-11-26", (), 2026, "dormant"),
        ("2026-05-02", (), 2026, "spring"),
        ("2025-11-26", ("--season", 2025), 2025, "summer"),
        ("2025-11-26", ("--look", "spring"), 2026, "spring"),
    ):
        monkeypatch.setattr("trunkwatch.cli.options.today", lambda day=day: day)
        done("sheet", estate, "--block", "his/North", "--phone", *named, "--out", tmp_path / "p.html")
        page = (tmp_path / "p.html").read_text("utf-8")
        data = json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.DOTALL)[1])
        assert (data["season"], data["look"]) == (season, look), (day, named)


@pytest.mark.long
def test_prices_are_those_of_the_vineyard(estate, tmp_path):
    told = {
        block: json.loads(run("plan", estate, "--block", block, "--futures", 20, "--json").stdout)
        for block in ("hers/North", "his/North")
    }
    assert told["hers/North"]["strategies"]
    assert not told["his/North"].get("strategies")
    assert "hers/North" in done("plan", estate, "--all-blocks", "--futures", 20)
    (tmp_path / "costs.csv").write_text(f"name,value,unit\n{PRICES}", "utf-8")
    assert "write the column vineyard" in run("load", estate, tmp_path / "costs.csv").output


def test_a_forecast_uses_no_block_of_the_other_grower(estate):
    assert "uses this block's own record and no other block's" in done("forecast", estate, "--block", "his/North")


def test_a_finding_needs_the_vineyard_where_two_have_the_label(estate):
    finding = ("--row", 2, "--position", 1, "--symptom", "leaf_stripe", "--date", "2025-08-01")
    told = run("log", estate, "finding", "--block", "North", *finding)
    assert told.exit_code == 1
    assert "two vineyards have a block North: write the column vineyard" in told.output
    assert "1 added" in done("log", estate, "finding", "--block", "North", "--vineyard", "his", *finding)
    assert "0 added, 1 already recorded" in done("log", estate, "finding", "--block", "his/North", *finding)
    assert annual(estate, "his/North")["cases"] == 6
    assert annual(estate, "hers/North")["cases"] == 12


@pytest.mark.long
def test_planned_work_lands_in_its_block(estate, tmp_path):
    done("plan", estate, "--block", "hers/North", "--futures", 20, "--out", tmp_path / "w.csv", "--write")
    done("export", estate, tmp_path / "out")
    if (tmp_path / "out" / "work.csv").exists():
        with (tmp_path / "out" / "work.csv").open(encoding="utf-8-sig", newline="") as file:
            assert {(one["vineyard"], one["block"]) for one in csv.DictReader(file)} == {("hers", "North")}


def test_a_foreign_sheet_goes_to_the_block_that_is_named(estate, tmp_path):
    (tmp_path / "plants.csv").write_text("Row,Vine,Status\n1,9,1\n1,8,0\n", "utf-8")
    words = (
        "--map",
        "row=Row",
        "--map",
        "position=Vine",
        "--status",
        "Status",
        "--date",
        "2025-07-01",
        "--look",
        "summer",
    )
    done("load", estate, tmp_path / "plants.csv", *words, "--block", "his/North")
    assert annual(estate, "his/North")["cases"] == 6
    told = run("load", estate, tmp_path / "plants.csv", *words, "--block", "East")
    assert told.exit_code == 1
    assert "which vineyard is block 'East' of?" in told.output
    done(
        "load",
        estate,
        tmp_path / "plants.csv",
        *words,
        "--block",
        "his/East",
        "--row-spacing-m",
        2,
        "--vine-spacing-m",
        1,
    )
    assert annual(estate, "East")["cases"] == 1


@pytest.mark.long
def test_rename_take_back_and_bring_back(estate):
    assert "block his/North is called Low now" in done("rename", estate, "--block", "his/North", "--to", "Low")
    assert annual(estate, "Low")["cases"] == 5
    assert "his is called Dale Farm now; its blocks: Low" in done(
        "rename", estate, "--vineyard", "his", "--to", "Dale Farm"
    )
    told = run("rename", estate, "--block", "Low", "--take-back")
    assert told.exit_code == 1
    assert "block 'Low' has 5 findings, 4 surveys on record: --with-records" in told.output
    assert "taken back, with 9 records" in done("rename", estate, "--block", "Low", "--take-back", "--with-records")
    assert run("incidence", estate, "--block", "Low").exit_code == 1
    assert "stands again, with 9 records" in done("rename", estate, "--block", "Low", "--bring-back")
    assert annual(estate, "Low")["cases"] == 5


@pytest.mark.parametrize(
    "words",
    [(), ("--block", "A"), ("--to", "B"), ("--block", "A", "--vineyard", "B", "--to", "C"), ("--block", "A", "--to", " "),
     ("--block", "A", "--to", "B", "--with-records"), ("--block", "A", "--to", "B", "--take-back"), ("--vineyard", "A", "--take-back")],
)  # fmt: skip
def test_rename_says_what_it_needs(growers, words):
    assert run("rename", growers / "hers.gpkg", *words).exit_code == 2


def test_a_merge_says_what_was_kept_and_what_stands(growers, tmp_path):
    here, there = tmp_path / "a.gpkg", tmp_path / "b.gpkg"
    for path, vines in ((here, 10), (there, 12)):
        done("new", path, "--block", "North", "--vineyard", "Hill Farm", "--rows", 2, "--vines", vines, *SHAPE)
    told = done("load", here, there)
    assert "not imported" not in told
    assert (
        "rows, block North, row 1: last is 10 in a.gpkg and 12 in b.gpkg. Both are kept; what stands now: last 1"
        in told
    )


@pytest.mark.long
def test_unnamed_vineyards_with_another_planting_are_not_merged(tmp_path):
    for name, planted in (("a", 2008), ("b", 2012)):
        done(
            "new",
            tmp_path / f"{name}.gpkg",
            "--block",
            "North",
            "--vineyard",
            "",
            "--rows",
            2,
            "--vines",
            5,
            "--planted",
            planted,
            *SHAPE,
        )
    told = run("load", tmp_path / "a.gpkg", tmp_path / "b.gpkg")
    assert told.exit_code == 1
    assert "planted 2008 in one and 2012 in the other" in told.output
    for name, vineyard in (("a", "Hill Farm"), ("b", "Dale Farm")):
        assert "the vineyard without a name is called" in done(
            "rename", tmp_path / f"{name}.gpkg", "--vineyard", "", "--to", vineyard
        )
    done("load", tmp_path / "a.gpkg", tmp_path / "b.gpkg")
    assert run("incidence", tmp_path / "a.gpkg", "--block", "North").output.count("/North") >= 2

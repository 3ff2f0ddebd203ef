"""trunkwatch.cli: every verb as a user types it."""

import json
import shlex
import subprocess
import sys
import time

import pytest
from click.testing import CliRunner

from trunkwatch.cli import COMMANDS, main
from trunkwatch.demo import demo_tables
from trunkwatch.spreadsheets.write import write_folder


def run(*words, stdin=None):
    return CliRunner().invoke(main, [str(word) for word in words], input=stdin)


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    write_folder(folder, demo_tables())
    return folder


@pytest.fixture
def vines(tmp_path):
    done = run(
        "new",
        tmp_path / "v",
        "--block",
        "B",
        "--rows",
        12,
        "--vines",
        40,
        "--planted",
        2008,
        "--training",
        "bilateral",
        "--row-spacing-m",
        2.5,
        "--vine-spacing-m",
        1.5,
        "--hemisphere",
        "north",
    )
    assert done.exit_code == 0, done.output
    return tmp_path / "v"


FINDING = ("finding", "--block", "B", "--row", 12, "--position", 31, "--symptom", "dead_arm", "--arm", "start", "--percent", 60,
           "--date", "2026-02-03")  # fmt: skip


@pytest.mark.parametrize("verb", [*COMMANDS, "log finding", "log survey", "log work", "log plant", "log correct"])
def test_every_command_has_help_with_an_example(verb):
    words = verb.split()
    done = run(*(["log", "v", words[1]] if len(words) > 1 else words), "--help")
    assert done.exit_code == 0
    assert "Example:" in done.output
    assert "trunkwatch " in done.output


def test_help_is_quick_and_loads_no_numpy():
    code = "import sys; from trunkwatch.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass\nassert 'numpy' not in sys.modules"
    began = time.perf_counter()
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
    assert time.perf_counter() - began < 5  # a safeguard; the figure is measured in tests/bench


def test_unknown_commands_and_wrong_usage_exit_2():
    done = run("patern", "x")
    assert done.exit_code == 2
    assert "Did you mean pattern?" in done.output
    assert run("incidence").exit_code == 2


def test_log_a_finding_a_survey_and_again(vines):
    assert run("log", vines, *FINDING).output.startswith("1 added")
    assert "1 already recorded" in run("log", vines, *FINDING).output
    assert run("log", vines, "survey", "--block", "B", "--date", "2026-02-03", "--covered", "1..12").exit_code == 0
    assert (
        run(
            "log",
            vines,
            "work",
            "--block",
            "B",
            "--row",
            12,
            "--position",
            31,
            "--kind",
            "renew_arm",
            "--arm",
            "start",
            "--date",
            "2026-02-20",
        ).exit_code
        == 0
    )
    assert (
        run(
            "log",
            vines,
            "plant",
            "--block",
            "B",
            "--row",
            1,
            "--position",
            4,
            "--removed",
            "2026-02-20",
            "--reason",
            "dead",
        ).exit_code
        == 0
    )
    assert run("check", vines, "--today", "2026-11-25").exit_code == 0


def test_bad_input_is_one_clear_line_and_exit_1(vines):
    for words, told in (
        ((*FINDING[:-1], "03/02/2026"), "2026-02-03 or 2026-03-02"),
        ((*FINDING[:6], 99, *FINDING[7:]), "1 to 40 in row 12"),
        ((*FINDING[:8], "dead_arms", *FINDING[9:]), "dead_arm perhaps"),
    ):
        done = run("log", vines, *words)
        assert done.exit_code == 1, done.output
        assert told in done.output
        assert "Traceback" not in done.output
    assert not (vines / "symptoms.csv").exists()
    assert run("report", vines / "nowhere").exit_code == 1


def test_many_from_standard_input(vines):
    lines = "block,row,position,date,symptom\nB,1,1,2026-02-03,canker\nB,1,2,2026-02-03,canker\n"
    assert run("log", vines, "finding", "--file", "-", stdin=lines).output.startswith("2 added")
    broken = run("log", vines, "finding", "--file", "-", stdin=lines.replace("canker", "cancer"))
    assert broken.exit_code == 1
    assert "standard input.csv, line 2, column symptom" in broken.output


def test_correct(vines):
    run("log", vines, *FINDING)
    run("export", vines, vines.parent / "all")
    header, line = (vines.parent / "all" / "symptoms.csv").read_text("utf-8-sig").splitlines()[:2]
    identity = dict(zip(header.split(","), line.split(","), strict=True))["id"]
    assert run("log", vines, "correct", "--record", identity, "--set", "position=30").output.startswith("1 added")
    run("export", vines, vines.parent / "now", "--standing")
    assert "B,12,30," in (vines.parent / "now" / "symptoms.csv").read_text("utf-8-sig")
    assert "B,12,31," not in (vines.parent / "now" / "symptoms.csv").read_text("utf-8-sig")
    assert run("log", vines, "correct", "--record", "nothing", "--void").exit_code == 1


def test_check_exits_1_on_faults_and_prints_json(vines):
    (vines / "symptoms.csv").write_text("block,row,position,date,symptom\nB,1,77,2026-02-03,canker\n")
    done = run("check", vines, "--today", "2026-11-25", "--json")
    assert done.exit_code == 1
    (fault,) = [f for f in json.loads(done.stdout) if f["weight"] == "fault"]
    assert (fault["file"], fault["line"], fault["column"]) == ("symptoms.csv", 2, "position")


def test_incidence_json_and_explain(demo):
    told = json.loads(run("incidence", demo, "--block", "Mill", "--json").stdout)
    last = told["seasons"][-1]
    assert last["season"] == 2026
    assert last["annual"]["low"] < last["annual"]["share"] < last["annual"]["high"]
    opened = json.loads(
        run("incidence", demo, "--block", "Mill", "--season", 2026, "--explain", "annual", "--json").stdout
    )
    assert len(opened["cases"]) == last["annual"]["cases"]
    assert len(opened["vines"]) == last["annual"]["vines"]
    hollow = json.loads(run("incidence", demo, "--block", "Hollow", "--json").stdout)
    assert all(season["counted"] for season in hollow["seasons"])
    assert [season["season"] for season in hollow["seasons"] if not season["compared"]] == [2018]  # no summer look
    leaf = json.loads(run("incidence", demo, "--block", "Hollow", "--definition", "leaf", "--json").stdout)
    assert [season["season"] for season in leaf["seasons"] if not season["counted"]] == [2018]
    assert sum(last["annual"][name] for name in ("seen", "carried")) == last["annual"]["cases"]


def test_pattern_words_of_the_sample(demo):
    def words(block, *more):
        return json.loads(run("pattern", demo, "--block", block, "--json", *more).stdout)

    (mill,) = words("Mill")
    assert mill["words"] == ["clustered (along)", "new cases near old"]
    (chapel,) = words("Chapel")
    assert chapel["words"] == ["scattered as by chance"]
    (orchard,) = words("Orchard")
    assert orchard["words"][0].startswith("clustered")
    assert orchard["cautions"][0].startswith("cannot tell spread from old planting stock")
    assert orchard["spread"]["says"] == "against"
    hollow = words("Hollow", "--season", 2021)
    assert len(hollow) == 2
    assert hollow[1]["cases"] < hollow[0]["cases"]
    assert hollow[1]["vines"] == hollow[0]["vines"]


@pytest.mark.long
def test_exports(demo, tmp_path):
    assert run("export", demo, tmp_path / "m.geojson", "--block", "Mill", "--season", 2026).exit_code == 0
    told = json.loads((tmp_path / "m.geojson").read_text())
    assert len(told["features"]) == 570
    assert run("export", demo, tmp_path / "all.xlsx").exit_code == 0
    again = tmp_path / "again"
    again.mkdir()
    assert run("load", again, tmp_path / "all.xlsx").exit_code == 0
    assert (
        run("incidence", again, "--block", "Mill", "--json").stdout
        == run("incidence", demo, "--block", "Mill", "--json").stdout
    )
    assert run("export", demo, tmp_path / "x.pdf").exit_code == 1


def test_demo_makes_the_committed_sample(tmp_path):
    from pathlib import Path

    sample = Path(__file__).parents[2] / "sample_blocks"
    assert run("demo", tmp_path / "s").exit_code == 0
    for path in sorted(sample.glob("*.csv")):
        assert (tmp_path / "s" / path.name).read_bytes() == path.read_bytes(), path.name


def test_load_a_sheet_with_words_of_its_own(vines, tmp_path):
    (tmp_path / "scouting.csv").write_text("Row #,Vine,When,What\n3,4,03/02/2026,dead cordon\n")
    words = (
        "--table",
        "symptoms",
        "--map",
        "date=When",
        "--map",
        "symptom=What",
        "--word",
        "dead cordon=dead_arm",
        "--block",
        "B",
    )
    refused = run("load", vines, tmp_path / "scouting.csv", *words)
    assert refused.exit_code == 1
    assert "--day-first" in refused.output
    assert not (vines / "symptoms.csv").exists()
    done = run("load", vines, tmp_path / "scouting.csv", *words, "--day-first")
    assert done.exit_code == 0, done.output
    assert "2026-02-03" in run("history", vines, "--row", 3, "--position", 4).output


def test_many_faults_are_summed_up(vines, tmp_path):
    (tmp_path / "symptoms.csv").write_text("block,row,position,date,symptom\n" + "B,1,1,03/02/2026,canker\n" * 50)
    done = run("load", vines, tmp_path / "symptoms.csv")
    assert "30 more: date is not in ISO form (column date)" in done.output
    assert "50 error(s): none of it was imported" in done.output


def test_export_spares_a_folder_that_holds_tables(vines, tmp_path):
    before = (vines / "blocks.csv").read_bytes()
    (tmp_path / "w").mkdir()
    run("new", tmp_path / "w" / "other.gpkg", "--block", "C", "--rows", 2, "--vines", 3, "--hemisphere", "south")
    done = run("export", tmp_path / "w" / "other.gpkg", vines)
    assert done.exit_code == 1
    assert "would lose them" in done.output
    assert (vines / "blocks.csv").read_bytes() == before


@pytest.mark.parametrize("name", ["x.gpkg", "x.json", "symptoms.csv", "x.xlsx"])
def test_folders_in_place_of_files_are_one_line(vines, tmp_path, name):
    (tmp_path / name).mkdir()
    done = run("load", vines, tmp_path / name)
    assert done.exit_code == 1
    assert "Error: " in done.output
    assert done.exception is None or isinstance(done.exception, SystemExit)


def test_a_file_without_permission_is_one_line(vines, tmp_path, monkeypatch):
    from pathlib import Path

    def shut(self, *_args, **_more):
        raise PermissionError(13, "Permission denied", str(self))

    for name, way in (("symptoms.csv", "read_bytes"), ("x.json", "read_text"), ("x.gpkg", "open")):
        (tmp_path / name).write_text("x")
        with monkeypatch.context() as patch:
            patch.setattr(Path, way, shut)
            patch.setattr("trunkwatch.spreadsheets.apart._INSIDE", True)  # the file is shut in this process only
            done = run("load", vines, tmp_path / name)
        assert done.exit_code == 1
        assert "Permission denied" in done.output


def test_nothing_to_rescue_is_said(tmp_path):
    (tmp_path / "a.gpkg").write_bytes(b"no database")
    done = run("check", tmp_path / "a.gpkg", "--rescue", tmp_path / "out")
    assert done.exit_code == 1
    assert "nothing can be read" in done.output
    assert not (tmp_path / "out").exists()


def test_a_vineyard_has_no_name_of_a_spreadsheet(tmp_path):
    done = run("new", tmp_path / "all.xlsx", "--block", "B", "--rows", 2, "--vines", 3, "--latitude", 40)
    assert done.exit_code == 1
    assert "my_vines.gpkg" in done.output


def test_sheets_of_a_workbook_are_logged_all_or_none(vines, tmp_path):
    import openpyxl

    book = openpyxl.Workbook()
    for page, symptom in ((book.active, "canker"), (book.create_sheet("two"), "cancer")):
        page.append(["block", "row", "position", "date", "symptom"])
        page.append(["B", 1, 1, "2026-02-03", symptom])
    book.save(tmp_path / "two.xlsx")
    assert run("log", vines, "finding", "--file", tmp_path / "two.xlsx").exit_code == 1
    assert not (vines / "symptoms.csv").exists()


def test_history_tells_all_that_was_written_of_a_stain(tmp_path):
    vines = tmp_path / "v.gpkg"
    run("new", vines, "--block", "B", "--rows", 2, "--vines", 9, "--latitude", 45)
    run(
        "log",
        vines,
        "finding",
        "--block",
        "B",
        "--row",
        1,
        "--position",
        4,
        "--date",
        "2025-02-01",
        "--symptom",
        "wood_staining",
        "--stain-cm",
        12,
        "--pattern",
        "wedge",
        "--cut-height-cm",
        40,
        "--photo-number",
        "IMG_7",
    )
    told = run("history", vines, "--row", 1, "--position", 4).output
    assert "12 cm stained, stain wedge, cut at 40 cm, photo IMG_7" in told


def test_what_new_says_comes_next_can_be_run(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    said = run("new", "hill side.gpkg", "--block", "Lower 3", "--rows", 2, "--vines", 9, "--latitude", 45).stderr
    lines = [shlex.split(line)[1:] for line in said.splitlines() if line.startswith("  trunkwatch log")]
    assert [words[2] for words in lines] == ["survey", "finding"]
    for words in lines:
        done = run(*("2025-08-01" if word == "YYYY-MM-DD" else word for word in words))
        assert done.exit_code == 0, done.output
    assert "dead arm" in run("history", "hill side.gpkg", "--row", 1, "--position", 1).output

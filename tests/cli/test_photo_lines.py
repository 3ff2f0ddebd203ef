"""trunkwatch.cli: photo_lines, log_command, history_command, export_command; photos from the terminal."""

import io
import json
from pathlib import Path

import made_photos
import openpyxl
import pytest
from click.testing import CliRunner

from trunkwatch.cli import main
from trunkwatch.intake import start_file
from trunkwatch.store import Store

BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north", "training": "bilateral"}  # fmt: skip
FINDING = (
    "finding",
    "--block",
    "North",
    "--row",
    "1",
    "--position",
    "2",
    "--date",
    "2026-02-03",
    "--symptom",
    "dead_arm",
)


def run(*words, code=0):
    told = CliRunner().invoke(main, [str(word) for word in words])
    assert told.exit_code == code, told.output
    return told


@pytest.fixture
def path(tmp_path) -> Path:
    start_file(tmp_path / "v.gpkg", BLOCK, 3, 8)
    (tmp_path / "cut.jpg").write_bytes(made_photos.as_of_a_camera())
    (tmp_path / "bad.jpg").write_bytes(made_photos.jpeg()[:100])
    return tmp_path / "v.gpkg"


def history(path):
    return json.loads(run("history", path, "--block", "North", "--row", "1", "--position", "2", "--json").stdout)


def test_a_finding_with_a_photo_is_logged_shown_and_exported(path, tmp_path):
    told = run(
        "log",
        path,
        *FINDING,
        "--photo",
        tmp_path / "cut.jpg",
        "--shows",
        "cut_face",
        "--caption",
        "stained wedge",
        "--observer",
        "Ana",
    )
    assert told.stdout.splitlines() == ["1 added", "1 photo added"]
    shown = run("history", path, "--block", "North", "--row", "1", "--position", "2").stdout
    assert "photo of the cut face, taken 2026-02-03 10:11 by Ana: stained wedge" in shown
    (record,) = history(path)
    assert [photo["shows"] for photo in record["photos"]] == ["cut_face"]
    out = run("export", path, tmp_path / "out", "--photos").stdout.split()
    assert [Path(one).name for one in out] == ["North_row_1_2_2026-02-03.jpg"]
    assert made_photos.place_in(Path(out[0]).read_bytes()) == {}


def test_a_photo_that_fails_is_named_and_the_record_stands(path, tmp_path):
    told = run(
        "log",
        path,
        *FINDING,
        "--photo",
        tmp_path / "bad.jpg",
        "--photo",
        tmp_path / "cut.jpg",
        "--photo",
        tmp_path / "none.jpg",
        code=1,
    )
    assert told.stdout.splitlines() == ["1 added", "1 photo added"]
    assert "photo not added: bad.jpg is damaged" in told.stderr
    assert "photo not added: no photo" in told.stderr
    (record,) = history(path)
    assert f"trunkwatch log {path} photo --record {record['id']} --photo FILE" in told.stderr
    assert (record["fate"], len(record["photos"])) == ("stands", 1)


def test_a_photo_is_added_to_a_record_later_and_taken_back(path, tmp_path):
    run("log", path, *FINDING)
    (record,) = history(path)
    assert (
        run("log", path, "photo", "--record", record["id"], "--photo", tmp_path / "cut.jpg").stdout == "1 photo added\n"
    )
    (record,) = history(path)
    run("log", path, "correct", "--table", "photos", "--record", record["photos"][0]["id"], "--void")
    (record,) = history(path)
    assert record["photos"] == []
    assert "note: " in (told := run("check", path).stdout)
    assert "1 picture is of a photo taken back" in told
    assert run("check", path, "--clear-photos").stdout.startswith("removed: 1 picture, 0.00")
    assert "nothing was changed" in run("check", path, "--clear-photos").stderr
    assert "picture" not in run("check", path).stdout
    assert (
        "no finding or work has the id 'x'"
        in run("log", path, "photo", "--record", "x", "--photo", tmp_path / "cut.jpg", code=1).stderr
    )


@pytest.mark.parametrize(("options", "place"), [((), {}), (("--keep-place",), made_photos.GPS)])
def test_the_place_is_kept_only_where_import_and_export_are_both_asked(path, tmp_path, options, place):
    run("log", path, *FINDING, "--photo", tmp_path / "cut.jpg", *options)
    (out,) = run("export", path, tmp_path / "out", "--photos", *options).stdout.split()
    assert made_photos.place_in(Path(out).read_bytes()) == place


def test_the_number_of_a_photo_of_a_camera_is_still_a_word_of_the_record(path):
    run("log", path, *FINDING, "--photo-number", "DSC 12")
    with Store.open(path) as store:
        assert store.frame("symptoms")["photo"].tolist() == ["DSC 12"]


def test_records_to_a_folder_take_photos_along_and_a_workbook_says_that_it_does_not(path, tmp_path):
    run("log", path, *FINDING, "--photo", tmp_path / "cut.jpg")
    assert f"1 photo in {tmp_path / 'all' / 'photos'}" in run("export", path, tmp_path / "all").stdout
    told = run("export", path, tmp_path / "all.xlsx")
    assert "the photo is not" in told.stderr
    assert "photos" in openpyxl.load_workbook(io.BytesIO((tmp_path / "all.xlsx").read_bytes())).sheetnames
    assert "photos: 1 added" in run("load", tmp_path / "w.gpkg", tmp_path / "all").stdout
    assert len(run("export", tmp_path / "w.gpkg", tmp_path / "out", "--photos").stdout.split()) == 1


def test_what_does_not_go_together_is_wrong_usage(path, tmp_path):
    (tmp_path / "f.csv").write_text("block,row,position,date,symptom\nNorth,1,2,2026-02-03,dead_arm\n")
    assert (
        "--photo goes with one record"
        in run("log", path, "finding", "--file", tmp_path / "f.csv", "--photo", tmp_path / "cut.jpg", code=2).stderr
    )
    run("export", path, tmp_path / "x", "--photos", "--standing", code=2)
    run("export", path, tmp_path / "x", "--keep-place", code=2)
    assert "names a folder" in run("export", path, tmp_path / "x.zip", "--photos", code=1).stderr
    assert "no photos are kept here" in run("export", path, tmp_path / "x", "--photos").stderr


def test_a_damaged_file_is_rescued_with_its_photos(path, tmp_path):
    run("log", path, *FINDING, "--photo", tmp_path / "cut.jpg")
    told = run("check", path, "--rescue", tmp_path / "saved")
    assert "1 photo saved" in told.stdout
    assert "photos: 1 added" in run("load", tmp_path / "w.gpkg", tmp_path / "saved").stdout
    assert [fault for fault in run("check", tmp_path / "w.gpkg").stdout.splitlines() if "photo" in fault] == []

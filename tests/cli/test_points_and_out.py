"""trunkwatch.cli: figures, printing, vine_table; trunkwatch.intake: from_points; trunkwatch.maps: layout_page; trunkwatch.block: vine_seasons."""

import csv
import io
import json
import sys

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from simulated_rows import simulated

from trunkwatch.block import load, open_vineyard
from trunkwatch.cli import main, printing
from trunkwatch.ground.block_frame import BlockFrame
from trunkwatch.history import Condition
from trunkwatch.spreadsheets.guard import guarded


def run(*args):
    return CliRunner().invoke(main, [str(arg) for arg in args])


def points_file(path, kind="curved", error_m=0.05, **more):
    true = simulated(np.random.default_rng(5), kind, error_m, **{"rows": 12, "length_m": 80.0, "gaps": 0.04, **more})
    longitude, latitude = BlockFrame(-30.0, 44.0).to_degrees(*true.points.T)
    lines = "".join(f"{x:.8f},{y:.8f}\n" for x, y in zip(longitude, latitude, strict=True))
    path.write_text(f"lon,lat\n{lines}")
    return true


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    folder = tmp_path_factory.mktemp("out") / "sample"
    assert run("demo", folder).exit_code == 0
    return folder


@pytest.mark.parametrize("name", ["mine", "mine.gpkg"])
def test_a_vineyard_is_made_of_points_and_read_again_where_they_lie(tmp_path, name):
    true = points_file(tmp_path / "vines.csv")
    drawn = run(
        "new",
        tmp_path / name,
        "--block",
        "Slope",
        "--from-points",
        tmp_path / "vines.csv",
        "--draw",
        tmp_path / "slope.html",
    )
    assert drawn.exit_code == 0, drawn.output
    assert "12 curved rows" in drawn.output
    assert not (tmp_path / name).exists()
    page = (tmp_path / "slope.html").read_text("utf-8")
    assert "position without a point" in page
    assert "<svg" in page
    made = run(
        "new", tmp_path / name, "--block", "Slope", "--from-points", tmp_path / "vines.csv", "--no-point-is-missing"
    )
    assert made.exit_code == 0, made.output
    assert run("check", tmp_path / name).output.startswith("0 error(s)")
    logged = run("log", tmp_path / name, "survey", "--block", "Slope", "--date", "2026-07-10", "--covered", "1..12")
    assert logged.exit_code == 0, logged.output
    with open_vineyard(tmp_path / name) as store:
        found = load(store, "Slope")
    grid, placed = found.history.grid, found.placed
    assert placed.surveyed == grid.labels
    assert grid.ground_m is not None
    east, north = BlockFrame(-30.0, 44.0).to_metres(placed.longitude[grid.exists], placed.latitude[grid.exists])
    away = np.hypot(true.points[:, 0][:, None] - east, true.points[:, 1][:, None] - north).min(axis=1)
    assert np.mean(away < 0.01) > 0.99
    if name.endswith(".gpkg"):
        import pyogrio

        rows = pyogrio.read_dataframe(tmp_path / name, layer="map_rows")
        assert min(len(line.coords) for line in rows.geometry) > 10
    empty = int((found.history.condition[0][grid.exists] == Condition.MISSING).sum())
    assert empty == int(grid.exists.sum()) - np.count_nonzero(away < 0.01)


def test_phone_points_are_refused_and_nothing_is_written(tmp_path):
    points_file(tmp_path / "vines.csv", "straight", 3.0)
    for more in ([], ["--accuracy-m", "3"]):
        told = run("new", tmp_path / "mine", "--block", "A", "--from-points", tmp_path / "vines.csv", *more)
        assert told.exit_code == 1
        assert "expected:" in told.output
        assert not (tmp_path / "mine").exists()


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (
            ["--rows", "3", "--vines", "4", "--from-points", "x.csv"],
            "--rows, --vines and --from-points contradict each other",
        ),
        (["--rows", "3", "--vines", "4", "--crs", "EPSG:4326"], "--crs goes with --from-points FILE"),
        (["--rows", "3"], "--rows and --vines are needed, or --from-points FILE"),
    ],
)
def test_options_that_contradict_each_other_are_wrong_usage(tmp_path, args, said):
    told = run("new", tmp_path / "mine", "--block", "A", *args)
    assert told.exit_code == 2
    assert said in told.output


def test_lines_need_a_vine_spacing(tmp_path):
    lines = [[[-30.0, 44.0 + n * 2.5e-5], [-29.999, 44.0 + n * 2.5e-5]] for n in range(4)]
    features = [
        {"type": "Feature", "properties": {}, "geometry": {"type": "LineString", "coordinates": line}} for line in lines
    ]
    (tmp_path / "rows.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    told = run("new", tmp_path / "mine", "--block", "A", "--from-points", tmp_path / "rows.geojson")
    assert told.exit_code == 1
    assert "expected: --vine-spacing-m" in told.output
    made = run(
        "new", tmp_path / "mine", "--block", "A", "--from-points", tmp_path / "rows.geojson", "--vine-spacing-m", "1.25"
    )
    assert made.exit_code == 0, made.output
    assert "4 straight rows" in made.output


def test_vines_by_seasons_are_a_line_each_and_not_looked_at_is_not_sound(sample, tmp_path):
    told = run("export", sample, tmp_path / "vines.csv", "--vines", "--block", "Mill")
    assert told.exit_code == 0, told.output
    rows = list(csv.DictReader(io.StringIO((tmp_path / "vines.csv").read_text("utf-8"))))
    keys = {(row["block"], row["row"], row["position"], row["season"]) for row in rows}
    assert len(keys) == len(rows)
    with open_vineyard(sample) as store:
        found = load(store, "Mill")
    own = [row for row in rows if row["season"] == str(found.season)]
    assert len(own) == int(found.history.grid.exists.sum())
    for row in own:
        cell = found.history.grid.cell(row["row"], int(row["position"]))
        assert row["looked_at"] == str(bool(found.history.looked_at[found.index][cell]))
        if row["looked_at"] == "False":
            assert row["condition"] != "sound"
    written = sum(int(row["finding_count"]) for row in rows)
    assert written == sum(len(vine.findings) for vine in found.reading.vines.values())
    assert float(own[0]["longitude"]) == pytest.approx(
        float(found.placed.longitude[found.history.grid.cell(own[0]["row"], int(own[0]["position"]))]), abs=1e-6
    )


def test_vines_go_out_without_coordinates_and_as_a_geopackage(sample, tmp_path):
    import pyogrio

    args = ["--vines", "--block", "Mill", "--season", "2026"]
    assert run("export", sample, tmp_path / "v.csv", *args, "--no-coordinates").exit_code == 0
    assert "longitude" not in (tmp_path / "v.csv").read_text("utf-8")
    assert run("export", sample, tmp_path / "v.gpkg", *args).exit_code == 0
    frame = pyogrio.read_dataframe(tmp_path / "v.gpkg")
    assert frame.crs.to_epsg() == 4326
    assert set(frame["season"]) == {2026}
    assert run("export", sample, tmp_path / "v.gpkg", *args).exit_code == 0  # over its own kind
    assert run("load", tmp_path / "kept.gpkg", sample).exit_code == 0
    before = (tmp_path / "kept.gpkg").read_bytes()
    told = run("export", sample, tmp_path / "kept.gpkg", *args)
    assert told.exit_code == 1
    assert "would lose it" in told.output
    assert (tmp_path / "kept.gpkg").read_bytes() == before


def test_parquet_holds_what_the_csv_holds_cell_by_cell_with_its_types(sample, tmp_path):
    pytest.importorskip("pyarrow", reason="the extra parquet is not installed")
    args = ("--vines", "--block", "Mill")
    for name in ("v.parquet", "v.csv"):
        told = run("export", sample, tmp_path / name, *args)
        assert told.exit_code == 0, told.output
    found = pd.read_parquet(tmp_path / "v.parquet")
    written = pd.read_csv(tmp_path / "v.csv", dtype=str, keep_default_na=False)
    assert list(found) == list(written)
    assert len(found) == len(written) > 4_000
    kinds = {name: found[name].dtype.kind for name in found}
    assert {name for name, kind in kinds.items() if kind == "i"} == {"position", "season", "plant", "finding_count"}
    assert {name for name, kind in kinds.items() if kind == "f"} == {"longitude", "latitude"}
    assert {name for name, kind in kinds.items() if kind == "b"} == {"looked_at"}
    for name in found:
        if kinds[name] == "f":
            cells = ["" if value != value else f"{value:.7f}" for value in found[name]]
        else:
            cells = [guarded(value) if isinstance(value, str) else str(value) for value in found[name]]
        assert cells == written[name].tolist(), name
    assert found["row"].map(type).eq(str).all()  # a row label is text, also where it looks like a number
    assert found["findings"].ne("").any()


def test_parquet_without_its_library_says_the_way_out(sample, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    told = run("export", sample, tmp_path / "v.parquet", "--vines", "--block", "Mill", "--season", "2026")
    assert told.exit_code == 1
    assert "pip install 'trunkwatch[parquet]'" in told.output
    assert not (tmp_path / "v.parquet").exists()


@pytest.mark.parametrize(
    ("args", "known"),
    [
        (["map", "--block", "Mill", "--out", "mill.jpg"], ".html, .svg, .png, .pdf"),
        (["report", "--block", "Mill", "--out", "mill.svg"], ".html, .pdf"),
        (["sheet", "--block", "Mill", "--paper", "lists", "--out", "mill.docx"], ".html, .pdf"),
        (["sheet", "--block", "Mill", "--phone", "--out", "mill.pdf"], ".html"),
        (["plan", "--block", "Mill", "--out", "mill.xlsx"], ".csv, .geojson, .json"),
    ],
)
def test_an_unknown_ending_is_refused_with_those_that_are_known(sample, tmp_path, args, known, monkeypatch):
    monkeypatch.chdir(tmp_path)
    told = run(args[0], sample, *args[1:])
    assert told.exit_code == 1
    assert f"expected: one of {known}" in told.output
    assert not list(tmp_path.iterdir())


def test_a_season_is_drawn_as_svg(sample, tmp_path):
    assert run("map", sample, "--block", "Mill", "--season", "2026", "--out", tmp_path / "m.svg").exit_code == 0
    from xml.etree import ElementTree as ET

    assert ET.parse(tmp_path / "m.svg").getroot().tag.endswith("svg")


def test_without_a_browser_engine_the_way_out_is_said(sample, tmp_path, monkeypatch):
    monkeypatch.setattr(printing.shutil, "which", lambda _: None)
    for args in (
        ["map", "--out", "m.png"],
        ["report", "--out", "r.pdf"],
        ["sheet", "--paper", "lists", "--out", "s.pdf"],
    ):
        told = run(args[0], sample, "--block", "Mill", *args[1:-1], tmp_path / args[-1])
        assert told.exit_code == 1
        assert "need a browser engine" in told.output
    assert not list(tmp_path.iterdir())


@pytest.mark.browser
@pytest.mark.parametrize(("name", "begins"), [("m.png", b"\x89PNG"), ("m.pdf", b"%PDF")])
def test_a_browser_engine_prints_figures(sample, tmp_path, name, begins):
    try:
        printing.engine()
    except printing.MissingExtraError as error:
        pytest.skip(str(error))
    assert run("map", sample, "--block", "Mill", "--season", "2026", "--out", tmp_path / name).exit_code == 0
    assert (tmp_path / name).read_bytes().startswith(begins)


def test_an_engine_that_hangs_or_prints_nothing_is_said(tmp_path, monkeypatch):
    silent = tmp_path / "chromium"
    silent.write_text("#!/bin/sh\nexit 3\n")
    silent.chmod(0o755)
    monkeypatch.setattr(printing.shutil, "which", lambda _: str(silent))
    with pytest.raises(printing.FileError, match="printed nothing"):
        printing.printed("<p>page</p>")
    silent.write_text("#!/bin/sh\nexec sleep 20\n")
    monkeypatch.setattr(printing, "LONGEST_S", 0.3)
    with pytest.raises(printing.FileError, match="did not print within"):
        printing.printed("<p>page</p>")

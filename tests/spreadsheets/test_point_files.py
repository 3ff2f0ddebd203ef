"""trunkwatch.spreadsheets: point_files."""

import json

import numpy as np
import pytest

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.point_files import read_point_file

POINTS = [(-30.0, 44.0), (-30.0001, 44.0), (-30.0, 44.0001)]


@pytest.mark.parametrize(
    "text",
    [
        "lon,lat\n-30.0,44.0\n-30.0001,44.0\n-30.0,44.0001\n",
        "Id;Latitude;Longitude\n1;44,0;-30,0\n2;44,0;-30,0001\n3;44,0001;-30,0\n",
        "Längengrad\tBreitengrad\n-30.0\t44.0\n-30.0001\t44.0\n-30.0\t44.0001\n",
        "lng,lat,note\n-30.0,44.0,\n-30.0001,44.0,post\n-30.0,44.0001,\n,,no fix\n",
    ],
)
def test_tables_of_degrees_are_read_however_they_are_spelled(tmp_path, text):
    (tmp_path / "vines.csv").write_text(text, encoding="utf-8")
    found = read_point_file(tmp_path / "vines.csv")
    assert found.points.tolist() == [list(point) for point in POINTS]
    assert found.left_out == (1 if "no fix" in text else 0)


def test_projected_numbers_need_their_system(tmp_path):
    from pyproj import Transformer

    x, y = Transformer.from_crs("EPSG:4326", "EPSG:32625", always_xy=True).transform(*np.array(POINTS).T)
    rows = "".join(f"{a:.4f},{b:.4f},0.02\n" for a, b in zip(x, y, strict=True))
    (tmp_path / "vines.csv").write_text(f"Easting,Northing,accuracy\n{rows}", encoding="utf-8")
    found = read_point_file(tmp_path / "vines.csv", crs="EPSG:32625")
    assert found.points == pytest.approx(np.array(POINTS), abs=1e-8)
    assert found.accuracy_m == 0.02
    with pytest.raises(FileError, match="easting and northing, and nothing says what they are; expected: --crs"):
        read_point_file(tmp_path / "vines.csv")
    with pytest.raises(FileError, match="--crs is 'EPSG:1'; expected"):
        read_point_file(tmp_path / "vines.csv", crs="EPSG:1")


@pytest.mark.parametrize("driver", ["GeoJSON", "GPKG", "KML", "GPX"])
def test_map_files_are_read(tmp_path, driver):
    import geopandas
    import pyogrio

    if "w" not in pyogrio.list_drivers().get(driver, ""):
        pytest.skip(f"this build of GDAL writes no {driver}")
    path = tmp_path / f"vines.{driver.lower()}"
    frame = geopandas.GeoDataFrame(
        {"name": ["a", "b", "c"]}, geometry=geopandas.points_from_xy(*zip(*POINTS, strict=True)), crs=4326
    )
    pyogrio.write_dataframe(frame, path, driver=driver, **({"layer": "waypoints"} if driver == "GPX" else {}))
    assert read_point_file(path).points == pytest.approx(np.array(POINTS), abs=1e-6)


def test_lines_keep_their_parts(tmp_path):
    shapes = [
        {"type": "LineString", "coordinates": [[-30, 44], [-30.001, 44]]},
        {
            "type": "MultiLineString",
            "coordinates": [[[-30, 44.1], [-30.001, 44.1]], [[-30.002, 44.1], [-30.003, 44.1]]],
        },
    ]
    features = [{"type": "Feature", "properties": {}, "geometry": shape} for shape in shapes]
    (tmp_path / "rows.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    found = read_point_file(tmp_path / "rows.geojson")
    assert [len(line) for line in found.lines] == [1, 2]
    assert not len(found.points)


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("vines.csv", "row,vine\n1,2\n", "headings row, vine; expected: lon and lat"),
        (
            "vines.csv",
            "lon,lat\n430000,5100000\n",
            "430000, 5.1e.06 is no longitude and latitude; expected: degrees, or --crs",
        ),
        ("vines.csv", "lon,lat\nx,y\n", "no line has two numbers in lon and lat"),
        ("vines.csv", "", "is empty; expected"),
        ("vines.geojson", "{", "cannot be read as a map file"),
        ("vines.docx", "", r"ending '\.docx'; expected: one of \.csv"),
    ],
)
def test_what_cannot_be_read_is_refused_with_the_way_out(tmp_path, name, text, said):
    (tmp_path / name).write_text(text)
    with pytest.raises(FileError, match=said):
        read_point_file(tmp_path / name)
    with pytest.raises(FileError, match="no such file"):
        read_point_file(tmp_path / "gone.csv")

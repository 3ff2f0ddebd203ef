"""trunkwatch.ground: season_points, density: a season for other programs, vines on a hectare and an acre."""

import math

import pytest
from pyproj import Geod

from trunkwatch import ground
from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockRecords, Condition, build_history, read_block
from trunkwatch.vineyard.tables import frame_of

EARTH = Geod(ellps="WGS84")


def test_vines_per_area():
    # 43,560 sq ft / (7 ft x 9 ft) = 691.43 by hand; 10,000 m2 / (1.5 m x 3.0 m) = 2222.22 by hand.
    assert ground.vines_per_acre(9 * 0.3048, 7 * 0.3048) == pytest.approx(691.4286, abs=1e-3)
    assert ground.vines_per_hectare(3.0, 1.5) == pytest.approx(2222.2222, abs=1e-3)
    assert ground.vines_per_hectare(3.0, 1.5) / ground.vines_per_acre(3.0, 1.5) == pytest.approx(2.4710538, abs=1e-6)
    with pytest.raises(ValueError, match="both must be above 0"):
        ground.vines_per_acre(0, 2)
    with pytest.raises(ValueError, match="both must be above 0"):
        ground.vines_per_hectare(2, math.nan)


@pytest.fixture
def golden_history(golden):
    block = {**golden.BLOCK, "longitude": -30.0, "latitude": 44.0, "row_bearing_deg": 90.0}
    tables = {name: frame_of(name, golden.TABLES[name]) for name in ("rows", "plants", "surveys", "symptoms", "work")}
    grid = RowGrid.from_tables(block, tables["rows"])
    history = build_history(read_block(BlockRecords(block=block, **tables), grid))
    return history, ground.place(grid, block)


def test_a_season_is_exported_as_one_point_a_position(golden, golden_history, tmp_path):
    history, placed = golden_history
    frame = ground.season_frame(history, placed, 2025)
    assert list(frame.columns) == [
        "block",
        "row",
        "position",
        "season",
        "condition",
        "looked_at",
        "geometry",
    ]
    assert frame.crs == "EPSG:4326"
    assert frame["condition"].tolist() == [Condition[word.upper()].word for word in golden.CONDITIONS[2025].split()]
    assert frame["looked_at"].tolist() == [True] * 4 + [False] * 4
    assert frame["position"].tolist() == list(range(1, 9))
    metres = [EARTH.inv(-30.0, 44.0, point.x, point.y)[2] for point in frame.geometry]
    assert metres == pytest.approx([2.0 * n for n in range(8)], abs=0.01)
    frame.to_file(tmp_path / "season.geojson", driver="GeoJSON")
    import geopandas

    back = geopandas.read_file(tmp_path / "season.geojson")
    assert back["condition"].tolist() == frame["condition"].tolist()
    with pytest.raises(RecordError, match="no season 1999"):
        ground.season_frame(history, placed, 1999)


def test_a_block_that_is_not_placed_is_not_exported(golden_history):
    history, _ = golden_history
    nowhere = ground.place(history.grid, {"block": "G"})
    with pytest.raises(RecordError, match="block 'G' has no longitude; expected: coordinates"):
        ground.season_frame(history, nowhere, 2025)

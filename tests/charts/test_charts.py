"""trunkwatch.charts.trend_chart and trunkwatch.charts.chance_bar: well-formed, told in words, the same twice."""

import xml.etree.ElementTree as ET

import pytest

from trunkwatch.charts.chance_bar import chance_bar_svg
from trunkwatch.charts.trend_chart import TrendLine, TrendPoint, trend_svg

SVG = "{http://www.w3.org/2000/svg}"
POINTS = (
    TrendPoint(2024, 5, 100, 0.05, 0.02, 0.11),
    TrendPoint(2025, reason="no <summer> look"),
    TrendPoint(2026, 9, 90, 0.1, 0.05, 0.18),
)


def test_trend_tells_every_number_in_words():
    svg = trend_svg([TrendLine("annual", POINTS, limits=True), TrendLine("new", POINTS)], title="Block & co")
    root = ET.fromstring(svg)
    assert root.find(f"{SVG}title").text == "Block & co"
    told = root.find(f"{SVG}desc").text
    assert "2024 5 of 100, 2025 not counted (no <summer> look), 2026 9 of 90" in told
    written = [text.text for text in root.iter(f"{SVG}text")]
    assert "5/100" in written
    assert "no <summer> look" in written
    assert svg == trend_svg([TrendLine("annual", POINTS, limits=True), TrendLine("new", POINTS)], title="Block & co")


def test_a_hollow_season_breaks_the_line():
    svg = trend_svg([TrendLine("annual", POINTS)], title="t")
    line = next(path.get("d") for path in ET.fromstring(svg).iter(f"{SVG}path") if path.get("stroke-width") == "2")
    assert line.count("M") == 2


def test_no_line_is_an_error():
    with pytest.raises(ValueError, match="0 lines"):
        trend_svg([], title="t")


def test_chance_bar():
    root = ET.fromstring(chance_bar_svg(12, 5.1, 1.9, what="Pairs", name="b"))
    assert root.find(f"{SVG}title").text == "Pairs: 12 seen; chance gives about 5.1, mostly 1.3 to 8.9."
    with pytest.raises(ValueError, match="spread"):
        chance_bar_svg(1, 1, float("nan"), what="x", name="b")

"""The small line of all seasons.

trunkwatch.charts: years_line
"""

import re

import pytest

from trunkwatch.charts import TrendPoint, years_line_svg


def point(season, share, low=0.0, high=0.0):
    return TrendPoint(season, 0, 0, share, low, high)


def line_of(svg):
    """Return the places of the line, a list for each stretch of it."""
    drawn = re.search(r'<path d="([^"]*)" stroke="[^"]*" stroke-width="2"', svg)[1]
    return [[tuple(map(float, pair.split())) for pair in part.split("L")] for part in drawn.split("M")[1:]]


def test_places_grow_with_seasons_and_shares():
    svg = years_line_svg(
        [point(2020, 0.0, 0, 0.1), point(2022, 0.1, 0.05, 0.2), point(2024, 0.2, 0.1, 0.4)], what="show", name="y"
    )
    ((first, middle, last),) = line_of(svg)
    assert middle[0] - first[0] == pytest.approx(last[0] - middle[0], abs=0.11)
    assert first[1] - middle[1] == pytest.approx(middle[1] - last[1], abs=0.11)
    assert middle[1] - last[1] > 5
    # The end of the bar of 0.4 is the top, twice as high above zero as the share of 0.2.
    (top,) = {float(y) for y in re.findall(r"V([\d.]+)", svg)} - {float(y) for y in re.findall(r"V([\d.]+)", svg)[:2]}
    assert first[1] - top == pytest.approx(2 * (first[1] - last[1]), abs=0.21)
    assert "2020: 0.0%; 2022: 10.0%; 2024: 20.0%" in svg


def test_a_season_without_a_rate_breaks_the_line_and_keeps_its_room():
    svg = years_line_svg(
        [
            point(2020, 0.1, 0, 0.2),
            TrendPoint(2021, reason="half of the block"),
            point(2022, 0.1, 0, 0.2),
            point(2023, 0.1, 0, 0.2),
        ],
        what="show",
        name="y",
    )
    stretches = line_of(svg)
    assert [len(stretch) for stretch in stretches] == [1, 2]
    step = stretches[1][1][0] - stretches[1][0][0]
    assert stretches[1][0][0] - stretches[0][0][0] == pytest.approx(2 * step, abs=0.21)
    assert "2021" not in svg.partition("</title>")[0]


def test_one_season_is_no_line_and_nothing_seen_is_no_fault():
    assert years_line_svg([point(2020, 0.1)], what="show", name="y") == ""
    assert "nan" not in years_line_svg([point(2020, 0.0), point(2021, 0.0)], what="show", name="y")

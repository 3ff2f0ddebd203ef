"""Charts as SVG text: the same input gives the same bytes, and nothing is drawn by a script."""

from trunkwatch.charts.chance_bar import chance_bar_svg
from trunkwatch.charts.of_100 import of_100_svg
from trunkwatch.charts.series import SeriesPoint, series_svg
from trunkwatch.charts.steps_away import StepAway, steps_away_svg
from trunkwatch.charts.trend_chart import TrendLine, TrendPoint, trend_svg
from trunkwatch.charts.years_line import years_line_svg

__all__ = [
    "SeriesPoint",
    "StepAway",
    "TrendLine",
    "TrendPoint",
    "chance_bar_svg",
    "of_100_svg",
    "series_svg",
    "steps_away_svg",
    "trend_svg",
    "years_line_svg",
]

"""trunkwatch.charts: trend_chart, series, strategies, break_even, chance_bar, of_100, cold_curve, winter_strips, colours, pieces: readable anywhere."""

import datetime as dt
import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import pairwise

import pytest
from contrast import faint_parts, smallest_on_a_phone

from trunkwatch.charts.break_even import break_even_svg
from trunkwatch.charts.chance_bar import chance_bar_svg
from trunkwatch.charts.cold_curve import ColdDay, cold_curve_svg
from trunkwatch.charts.colours import DARK
from trunkwatch.charts.of_100 import of_100_svg
from trunkwatch.charts.pieces import round_step, shortened, text_width, wrapped
from trunkwatch.charts.series import SeriesPoint, series_svg
from trunkwatch.charts.strategies import StrategyLine, strategies_svg
from trunkwatch.charts.trend_chart import TrendLine, TrendPoint, trend_svg
from trunkwatch.charts.winter_strips import Strip, winter_strips_svg

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


YEARS = [TrendLine(name, tuple(TrendPoint(2010 + n, 20 * n + 5, 900, 0.02 * n, 0.015 * n, 0.028 * n) if n != 6 else
         TrendPoint(2016, reason="only dormant or spring inspections: not compared with the others, which were taken in summer")
         for n in range(16)), limits=name == "annual") for name in ("annual", "standing", "ever", "new")]  # fmt: skip
PAIRS = [
    SeriesPoint(2010 + n, 3 * n, 2.0 * n, 0.5 * n, "p = 0.0001 (corrected for the number of seasons), the test")
    for n in range(12)
]
CHOICES = [
    StrategyLine("retrain the dead part only, fill gaps", 4275, 3098, 5521, 1108, best=True, crew_days=1.8),
    StrategyLine(
        "retrain damaged vines and their neighbors of vines that show in turn",
        -12736,
        -17950,
        2033,
        2389,
        crew_days=19.3,
    ),
    StrategyLine("do nothing", 0, 0, 0),
    StrategyLine("replant the block now", -62645, -66378, -58288, math.nan),
]
WINTER = [
    ColdDay(
        dt.date(2026, 9, 7) + dt.timedelta(days=n),
        math.nan if n in (40, 41) else 8 - 0.2 * n - 9 * math.sin(n),
        -10 - 0.1 * n,
        -14 - 0.12 * n,
    )
    for n in range(120)
]
STRETCHES = ["20 Jan", "1 Feb", "16 Feb", "1 Mar", "16 Mar", "1 Apr", "16 Apr"]
STRIPS = [
    Strip("open wounds, aging by the calendar", (0, 0.22, 0.54, 0.83, 1, 0.9, 0.76)),
    Strip("crop given away by a final cut", (0.02, 0.01, math.nan, 0, 0, 0, 0)),
    Strip("days to work", (0.65, 0.74, 0.75, 0.69, 0.68, 0.73, 0.79), more_is_worse=False),
]


def charts(*, narrow):
    """One of each chart in one of its two forms."""
    return [
        trend_svg(YEARS, title="t", narrow=narrow),
        trend_svg([TrendLine("annual", POINTS, limits=True)], title="t", narrow=narrow),
        series_svg(PAIRS, title="t", narrow=narrow),
        strategies_svg(CHOICES, title="t", area="an acre", money="marks", narrow=narrow),
        break_even_svg(CHOICES, 1900.0, title="t", area="an acre", weight="a short ton", money="marks", narrow=narrow),
        cold_curve_svg(WINTER, title="t", narrow=narrow),
        winter_strips_svg(STRETCHES, STRIPS, title="t", narrow=narrow),
    ]


SMALL = [chance_bar_svg(seen, 5.1, 1.9, what="Pairs", name="b") for seen in (0, 5, 12)] + [
    of_100_svg(0.12, 0.08, 0.17, what="show", name="h")
]


def test_on_a_phone_the_same_is_told_in_words_of_11_pixels():
    for broad, slim in zip(charts(narrow=False), charts(narrow=True), strict=True):
        assert smallest_on_a_phone(slim) >= 11
        assert float(ET.fromstring(slim).get("viewBox").split()[2]) <= 361
        assert ET.fromstring(slim).find(f"{SVG}desc").text == ET.fromstring(broad).find(f"{SVG}desc").text
    for bar in SMALL[:3]:
        assert smallest_on_a_phone(bar) >= 11


@pytest.mark.parametrize("narrow", [False, True])
def test_no_word_is_cut_off_at_the_side(narrow):
    for svg in [*charts(narrow=narrow), *SMALL[:3]]:
        root = ET.fromstring(svg)
        width, height = (float(v) for v in root.get("viewBox").split()[2:])
        for text in root.iter(f"{SVG}text"):
            if text.get("transform"):
                continue
            size = text_width(text.text, float(text.get("font-size"))) * 0.94  # the estimate has some room
            left = float(text.get("x")) - size * {"end": 1, "middle": 0.5}.get(text.get("text-anchor"), 0)
            assert -1 <= left <= left + size <= width + 1, text.text
            assert 8 <= float(text.get("y")) <= height, text.text


def test_a_reason_that_is_too_long_for_the_chart_is_cut_with_dots():
    written = [text.text for text in ET.fromstring(charts(narrow=True)[0]).iter(f"{SVG}text") if text.get("transform")]
    assert len(written) == 1
    assert written[0].startswith("only dormant or spring inspections")
    assert written[0].endswith("...")
    assert shortened("short", 100) == "short"


@pytest.mark.parametrize("dark", [False, True])
def test_charts_stand_out_from_paper_and_from_a_dark_screen(dark):
    other = DARK if dark else {colour: colour for colour in DARK}
    for svg in [*charts(narrow=False), *charts(narrow=True), *SMALL]:
        assert faint_parts(svg, "#15191c" if dark else "#fffdf8", other) == []


def test_currency_and_unit_stand_on_the_axes_and_steps_are_round():
    for narrow in (False, True):
        strategies, prices = (
            [text.text for text in ET.fromstring(svg).iter(f"{SVG}text")] for svg in charts(narrow=narrow)[3:5]
        )
        assert "gain in marks an acre over doing nothing" in strategies
        assert "gain in marks an acre over doing nothing" in prices
        assert "price of a short ton in marks" in prices
        assert "now 1,900" in prices
        figures = [float(one.replace(",", "")) for one in strategies + prices if re.fullmatch(r"-?[\d,]+", one)]
        assert len(figures) > 8
        assert all(float(f"{one:.1g}") == one or one % 5000 == 0 for one in figures)
    bare = strategies_svg(CHOICES, title="t")
    assert ">gain a hectare over doing nothing<" in bare
    for top in (0.012, 0.03, 0.07, 0.12, 0.14, 0.33, 0.9):
        line = TrendLine("annual", (TrendPoint(2024, 1, 10, top), TrendPoint(2025, 1, 10, top)))
        shares = [int(one) for one in re.findall(r">(\d+) %<", trend_svg([line], title="t"))]
        assert shares[-1] >= 100 * top
        assert {b - a for a, b in pairwise(shares)} <= {1, 2, 5, 10, 20}


def test_names_of_strategies_are_whole_beside_or_over_their_bars():
    for narrow in (False, True):
        for svg in charts(narrow=narrow)[3:5]:
            assert "retrain damaged vines and their neighbors of vines that show in turn" in " ".join(
                text.text for text in ET.fromstring(svg).iter(f"{SVG}text")
            )


def test_a_letter_ties_each_line_to_its_name_on_a_phone():
    texts = [text.text for text in ET.fromstring(charts(narrow=True)[4]).iter(f"{SVG}text")]
    assert [texts.count(letter) for letter in "ABC"] == [2, 2, 0]


def test_of_a_hundred_vines_as_many_are_flagged_as_the_share_says():
    root = ET.fromstring(of_100_svg(0.124, 0.08, 0.17, what="show", name="h"))
    ticks, flags = (path.get("d").count("M") for path in root.iter(f"{SVG}path"))
    assert (ticks, flags) == (88, 12)
    assert root.find(f"{SVG}title").text == "Of 100 vines about 12 show (likely range 8 to 17)."
    none = ET.fromstring(of_100_svg(0, 0, 0, what="show", name="h"))
    assert [path.get("d").count("M") for path in none.iter(f"{SVG}path")] == [100]
    with pytest.raises(ValueError, match=r"share is 0\.5 within 0\.6 to 0\.7"):
        of_100_svg(0.5, 0.6, 0.7, what="show", name="h")


def test_small_pieces():
    assert [round_step(span) for span in (6, 7, 13, 45000)] == [1, 2, 5, 10000]
    assert wrapped("one two three", text_width("one two")) == ["one two", "three"]


def test_a_winter_is_told_in_numbers_with_its_coldest_night():
    svg = cold_curve_svg(WINTER, title="Cold & buds")
    root = ET.fromstring(svg)
    coldest = min((one for one in WINTER if one.lowest_c == one.lowest_c), key=lambda one: one.lowest_c)
    words = [part.text for part in root.iter(f"{SVG}text")]
    assert f"coldest: {coldest.lowest_c:.1f} C on {coldest.day.day} {coldest.day:%b}" in words
    assert {
        "Oct",
        "Nov",
        "Dec",
        "Jan",
        "0 C",
        "-10 C",
        "lowest of each night",
        "half of the buds would die in the band",
    } <= set(words)
    told = root.find(f"{SVG}desc").text
    assert told.startswith("7 September 2026 to 4 January 2027. Coldest night ")
    first = next(one for one in WINTER if one.day == dt.date(2026, 12, 1))
    assert f"1 December 2026 {first.soft_c:.0f} to {first.hardy_c:.0f} C" in told
    nights = next(
        part.get("d")
        for part in root.iter(f"{SVG}path")
        if part.get("stroke-width") == "1.4" and part.get("fill") == "none"
    )
    assert nights.count("M") == 2  # the gap breaks the line
    with pytest.raises(ValueError, match="two days"):
        cold_curve_svg(WINTER[:1], title="t")


def test_strips_show_each_figure_and_what_is_not_known():
    root = ET.fromstring(winter_strips_svg(STRETCHES, STRIPS, title="t"))
    words = [part.text for part in root.iter(f"{SVG}text")]
    assert words.count("?") == 1
    assert {"22", "54", "100", "65", *STRETCHES} <= set(words)
    assert "16 Feb not known" in root.find(f"{SVG}desc").text
    tall = [float(part.get("height")) for part in root.iter(f"{SVG}rect")]
    assert max(tall) == tall[4] == 34
    with pytest.raises(ValueError, match="7 stretches"):
        winter_strips_svg(STRETCHES, [Strip("x", (0.1,))], title="t")


def test_a_strip_with_a_measure_has_an_outline_without_it_and_its_figure_above_both():
    root = ET.fromstring(
        winter_strips_svg(
            ("1 Jan", "1 Feb"),
            [Strip("Wounds", (0.25, 0.5), without=(0.5, 1.0), scale="of 100")],
            title="t",
            axis="cut from",
        )
    )
    outlines = [part for part in root.iter(f"{SVG}rect") if part.get("fill") == "none"]
    assert [part.get("height") for part in outlines] == ["17.0", "34.0"]
    figure = next(part for part in root.iter(f"{SVG}text") if part.text == "50")
    assert float(figure.get("y")) < float(outlines[1].get("y"))
    assert "1 Jan 25 %, 50 % without" in root.find(f"{SVG}desc").text
    assert {"without it", "of 100", "cut from"} <= {part.text for part in root.iter(f"{SVG}text")}


def test_forecast_nights_are_dotted_and_named():
    days = [replace(one, forecast=number >= len(WINTER) - 5) for number, one in enumerate(WINTER)]
    root = ET.fromstring(cold_curve_svg(days, title="t"))
    lines = [
        part for part in root.iter(f"{SVG}path") if part.get("stroke-width") == "1.4" and part.get("fill") == "none"
    ]
    assert [part.get("stroke-dasharray") for part in lines] == [None, "2 2"]
    assert "your forecast from here on" in [part.text for part in root.iter(f"{SVG}text")]
    assert "are forecast, not measured" in root.find(f"{SVG}desc").text
    plain = ET.fromstring(cold_curve_svg(WINTER, title="t"))
    assert "forecast" not in plain.find(f"{SVG}desc").text

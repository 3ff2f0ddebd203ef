"""trunkwatch.charts: steps_away."""

import re
from xml.etree import ElementTree as ET

import pytest

from trunkwatch.charts.steps_away import StepAway, steps_away_svg

STEPS = [
    StepAway("next to it", 1.9, 1.3, 1.7),
    StepAway("two away", 1.2, 1.1, 1.5),
    StepAway("three away", 0.9, 0.95, 1.2),
]


def bands(svg: str) -> list[tuple[float, float]]:
    return [(float(low), float(high)) for low, high in re.findall(r'M([\d.]+) [\d.]+H([\d.]+)"', svg)]


def flags(svg: str) -> list[float]:
    return [float(x) for x in re.findall(r"M([\d.]+) [\d.]+v-24l9 4", svg)]


def test_a_flag_stands_outside_its_band_where_chance_does_not_reach_it():
    svg = steps_away_svg(STEPS, name="s")
    places = list(zip(flags(svg), bands(svg), strict=True))
    assert [low <= flag <= high for flag, (low, high) in places] == [False, True, False]
    assert places[0][0] > places[0][1][1]
    assert places[2][0] < places[2][1][0]


def test_distances_on_the_picture_are_those_of_the_numbers():
    flag = flags(steps_away_svg(STEPS, name="s"))
    assert (flag[0] - flag[1]) / (flag[1] - flag[2]) == pytest.approx((1.9 - 1.2) / (1.2 - 0.9), abs=0.01)


def test_the_alternative_text_says_the_numbers():
    title = ET.fromstring(steps_away_svg(STEPS, name="s")).find("{http://www.w3.org/2000/svg}title")
    assert title is not None
    assert "next to it 1.9 times, by chance 1.3 to 1.7; two away 1.2 times" in (title.text or "")


def test_no_word_leaves_the_picture():
    svg = steps_away_svg([StepAway("next to it", 12.5, 0.5, 14.0), StepAway("two away", 0.0, 0.0, 0.0)], name="s")
    for x, words in re.findall(r'<text x="([\d.]+)"[^>]*>([^<]*)<', svg):
        assert float(x) + 0.53 * 12 * len(words) <= 340 + 1, words


def test_what_users_wrote_is_escaped():
    assert "<b>" not in steps_away_svg([StepAway("<b>", 1.0, 1.0, 1.0)], name="s")


def test_nothing_is_drawn_of_nothing_and_no_band_is_the_wrong_way_round():
    assert steps_away_svg([], name="s") == ""
    with pytest.raises(ValueError, match="0 <= low <= high"):
        steps_away_svg([StepAway("next to it", 1.0, 2.0, 1.0)], name="s")

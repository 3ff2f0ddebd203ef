"""trunkwatch.programme: handout, handout_words; five short sentences, a map, a hundred vines, and what is not on the page."""

import colorsys
import re

import pytest
import textstat
from made_programme import make_vineyard

from trunkwatch.block import load
from trunkwatch.charts.of_100 import of_100_svg
from trunkwatch.programme.handout import About, handout_html
from trunkwatch.programme.handout_words import PICKED, of_a_round_number
from trunkwatch.programme.overview import unscouted

GRADE = 8.0
ABOUT = About("Fern 12", "Ida, 555 0100", "you and Ida")


def page(path, block, about=ABOUT, **how):
    found = load(path, block)
    return handout_html(found, None, about, unscouted=unscouted(found), **how)


def says(html):
    return dict(re.findall(r'<li data-of="(\w+)">(.*?)</li>', html))


@pytest.fixture(scope="module", params=["Mill", "Chapel", "Orchard", "Hollow"])
def sample(request):
    return page(
        "sample_blocks",
        request.param,
        About("Fern 12", picked=True, like="Of blocks like yours, most show 2 to 9 of 100."),
    )


def words(html):
    body = re.sub(r"<(style|svg|title|h1|dl).*?</\1>", " ", html, flags=re.DOTALL)
    return [text.strip() for text in re.findall(r"<(?:li|p|figcaption)[^>]*>(.*?)</(?:li|p|figcaption)>", body)]


def test_the_sentences_read_at_school_grade_eight_at_most(sample):
    told = words(sample)
    assert len(told) == 9  # five sentences, why this block, two pictures, no diagnosis
    assert textstat.flesch_kincaid_grade(" ".join(told)) <= GRADE
    assert textstat.flesch_kincaid_grade(" ".join(says(sample).values())) <= GRADE


def test_there_are_five_sentences_one_map_and_one_grid(sample):
    assert list(says(sample)) == ["seen", "before", "like", "winter", "next"]
    assert sample.count('class="hundred"') == 1
    assert len(re.findall(r'<figure class="map">', sample)) == 1


def test_no_rank_no_praise_no_blame_and_no_red(sample):
    assert not re.search(
        r"\b(rank\w*|best|worst|well done|good job|great|better than|worse than|fail\w*|neglect\w*|your fault)\b",
        " ".join(words(sample)),
        re.IGNORECASE,
    )
    for color in set(re.findall(r"#[0-9a-f]{6}\b", sample)):
        red, green, blue = (int(color[at : at + 2], 16) / 255 for at in (1, 3, 5))
        hue, _, full = colorsys.rgb_to_hls(red, green, blue)
        assert full < 0.3 or 12 <= 360 * hue <= 345, f"{color} is red"


def test_a_block_that_was_picked_says_that_it_will_mostly_show_less(sample):
    assert PICKED in sample
    assert PICKED not in page("sample_blocks", "Mill")


def test_the_place_of_blocks_alike_is_empty_while_nothing_is_given():
    assert list(says(page("sample_blocks", "Mill"))) == ["seen", "before", "winter", "next"]


def test_who_to_call_and_who_sees_it_come_from_the_catalogue():
    assert "<dd>Ida, 555 0100</dd>" in page("sample_blocks", "Mill")
    bare = page("sample_blocks", "Mill", About("Fern <12>"))
    assert bare.count("<dd>not written down yet</dd>") == 2
    assert "Fern &lt;12&gt;" in bare


def test_it_needs_nothing_else_and_is_the_same_each_time():
    html = page("sample_blocks", "Mill")
    assert html == page("sample_blocks", "Mill")
    assert not re.search(r"(src|href)=|url\(|@import|<script", html)


def test_the_paper_is_the_one_asked_for():
    assert "@page { size: Letter;" in page("sample_blocks", "Mill", size="Letter")
    with pytest.raises(ValueError, match="size is 'A3': one of A4, Letter is needed"):
        page("sample_blocks", "Mill", size="A3")


@pytest.mark.parametrize(
    ("share", "of"), [(0.0, (0, 100)), (0.102, (10, 100)), (0.004, (4, 1000)), (0.0001, (0, 1000)), (1.0, (100, 100))]
)
def test_a_share_is_so_many_of_a_hundred_or_of_a_thousand(share, of):
    assert of_a_round_number(share) == of


@pytest.mark.parametrize(
    ("vineyard", "key", "sentence"),
    [
        ({"cases": 0}, "seen", "In 2026, none of the 48 vines that were scouted showed symptoms."),
        ({"cases": 6}, "seen", "In 2026, 6 of 48 scouted vines showed symptoms: about 13 of 100."),
        ({"cases": 0}, "winter", "There is nothing to cut or replant this winter."),
        ({"cases": 0, "seasons": range(2025, 2027)}, "before", "No one can tell yet if that is more or less than before: it takes 5 years to compare, with 2 so far."),
        ({"cases": 1}, "next", "Next, scout all rows again, and look hard at the vines beside those that showed."),
        ({"cases": 0}, "next", "Next, scout all rows again at the same time of year."),
    ],
)  # fmt: skip
def test_what_is_said(tmp_path, vineyard, key, sentence):
    path = make_vineyard(tmp_path / "v", 1, labels=["A"], **vineyard)
    assert says(page(path, "A"))[key] == sentence


def test_what_nobody_scouted_comes_first_to_look_at(tmp_path):
    path = make_vineyard(tmp_path / "v", 5, labels=["A"], cases=1)
    told = says(page(path, "A"))
    assert told["seen"] == "In 2026, 1 of 36 scouted vines showed symptoms: about 3 of 100."
    assert told["next"] == "Next, scout the 12 vines that no one scouted, for what was not scouted is not known."


def test_a_season_that_does_not_count_has_no_share_and_no_grid(tmp_path):
    path = make_vineyard(tmp_path / "v", 1, labels=["A"], cases=3)
    (path / "surveys.csv").unlink()
    html = page(path, "A")
    assert says(html)["seen"] == "The scouting of 2026 does not count, so there is no share to show."
    assert 'class="hundred"' not in html


def test_the_grid_is_filled_from_one_corner():
    drawn = of_100_svg(0.12, 0.12, 0.12, what="show symptoms", name="h")
    flags = re.findall(r"M(\d+) (\d+)v-8l5", drawn)
    assert flags == [(str(10 * (n % 10) + 3), str(10 * (n // 10) + 9)) for n in range(12)]

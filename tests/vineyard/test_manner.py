"""trunkwatch.vineyard: manner, spelling; lengths and temperatures in words, and spelling by whole words where people read."""

import re
import threading
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trunkwatch.maps.frame import nice_length
from trunkwatch.maps.svg import scale_bar
from trunkwatch.vineyard import manner as m
from trunkwatch.vineyard.manner import AMERICAN, Manner, follow, following, in_force, speaking
from trunkwatch.vineyard.spelling import BRITISH, holds_american, spelled, spelled_page, spelled_values

US = Manner(units="us")
BRITAIN = Manner(spelling="british")


@pytest.mark.parametrize(
    ("write", "metric", "us"),
    [
        (lambda: m.meters(2.4384), "2.4384 m", "8 ft"),
        (lambda: m.meters(4.3, ".1f"), "4.3 m", "14.1 ft"),
        (lambda: m.meters(0.3, ".2f"), "0.30 m", "1.0 ft"),
        (lambda: m.centimeters(50.8), "51 cm", "20 in"),
        (lambda: m.centimeters(20, "g"), "20 cm", "7.9 in"),
        (lambda: m.millimeters(1.0), "1 mm", "0.04 in"),
        (lambda: m.kilometers(30), "30 km", "19 mi"),
        (lambda: m.celsius(-40), "-40.0 C", "-40.0 F"),
        (lambda: m.celsius(0, "g"), "0 C", "32 F"),
        (lambda: m.celsius(-17.9, ".0f"), "-18 C", "0 F"),
        (lambda: m.degrees(1.5), "1.5 C", "2.7 F"),
        (lambda: m.degrees(-1.0, "+.1f"), "-1.0 C", "-1.8 F"),
    ],
)
def test_lengths_and_temperatures(write, metric, us):
    assert write() == metric
    with speaking(US):
        assert write() == us
    assert write() == metric


@given(st.floats(-50, 50), st.floats(0.1, 500))
def test_what_is_shown_turns_back_into_what_is_kept(temperature_c, length_m):
    """As finely as it is written: half a tenth of a degree Fahrenheit, half a tenth of a foot."""
    with speaking(US):
        shown = float(m.celsius(temperature_c).split()[0])
        feet = float(m.meters(length_m, ".1f").split()[0])
    assert (shown - 32) / 1.8 == pytest.approx(temperature_c, abs=0.05 / 1.8 + 1e-9)
    assert feet * 0.3048 == pytest.approx(length_m, abs=0.05 * 0.3048 + 1e-9)


@given(st.floats(0.5, 900))
def test_the_scale_of_a_drawing_is_round_in_its_own_unit(most_m):
    for manner, foot in ((AMERICAN, 1.0), (US, 0.3048)):
        with speaking(manner):
            length = nice_length(most_m)
            said = scale_bar(0, 0, length, 1.0)
        assert length <= most_m * (1 + 1e-9)
        assert re.fullmatch(r"[125]0*", f"{length / foot * 1000:.0f}")
        assert (" m " in said) == (manner is AMERICAN)
        assert " ft" in said


def test_only_a_following_block_follows():
    follow(US)
    assert in_force() == AMERICAN
    with following():
        follow(US)
        assert in_force() == US
        with speaking(BRITAIN):
            follow(US)  # who speaks on purpose follows nothing
            assert in_force() == BRITAIN
        assert in_force() == US
    assert in_force() == AMERICAN


def test_another_thread_speaks_for_itself():
    heard = []
    with speaking(US):
        other = threading.Thread(target=lambda: heard.append(in_force()))
        other.start()
        other.join()
    assert heard == [AMERICAN]


def test_paper():
    assert (AMERICAN.size, Manner(paper="letter").size) == ("A4", "Letter")


@pytest.mark.parametrize(
    ("american", "british"),
    [
        ("Pairs of neighbors, by color", "Pairs of neighbours, by colour"),
        ("Neighboring rows lie toward the center.", "Neighbouring rows lie towards the centre."),
        ("GRAY mold at 5 meters", "GREY mould at 5 metres"),
        ("recognized and organized", "recognised and organised"),
        ("1,900 a metric ton, 2 short tons", "1,900 a tonne, 2 short tons"),
        ("a program of a computer", "a program of a computer"),
        ("parameters and size", "parameters and size"),
    ],
)
def test_words_of_britain(american, british):
    assert spelled(american) == american
    for name in ("british", "australian"):
        with speaking(Manner(spelling=name)):
            assert spelled(american) == british
            assert spelled(british) == british


@pytest.mark.parametrize(
    "text",
    [
        "maps/color.csv",
        "color.csv",
        "--color",
        "row_color",
        "color=red",
        "'color'",
        '"color"',
        "`center`",
        "a@center.org",
    ],
)
def test_names_paths_options_and_quotes_stay(text):
    with speaking(BRITAIN):
        assert spelled(f"see {text} there") == f"see {text} there"


def test_texts_of_people_stay():
    """A block called Center, and a note about a color, are their writers' own."""
    manner = replace(BRITAIN, written=frozenset({"Center", 'odd color, "off"'}))
    with speaking(manner):
        assert spelled("Block Center lies in the center") == "Block Center lies in the centre"
        for quote in ("&quot;", "&#34;", '"'):
            page = f"<p>odd color, {quote}off{quote}; by color</p>"
            assert spelled_page(page) == f"<p>odd color, {quote}off{quote}; by colour</p>"


def test_a_page_is_spelled_where_it_is_read_and_nowhere_else():
    page = (
        '<html lang="en"><style>p{color:gray}</style><script>var color = "a color here";</script><!-- color -->'
        '<p class="color center" title="by color" data-color="x color">color <b>of</b> neighbors</p><img alt="gray center"></html>'
    )
    with speaking(BRITAIN):
        assert spelled_page(page) == page.replace('title="by color"', 'title="by colour"').replace(
            ">color <b>of</b> neighbors", ">colour <b>of</b> neighbours"
        ).replace("gray center", "grey centre")
    assert spelled_page(page) == page


def test_a_page_in_another_language_stays():
    """In Spanish a color is a color."""
    page = '<html lang="es"><p>el color de la hoja</p></html>'
    with speaking(BRITAIN):
        assert spelled_page(page) == page


def test_of_data_only_sentences_are_spelled():
    data = {"center of it": ["center", "near the center"], "ink": "gray", "n": 3}
    with speaking(BRITAIN):
        assert spelled_values(data) == {"center of it": ["center", "near the centre"], "ink": "gray", "n": 3}


def test_no_word_of_the_table_is_changed_twice():
    assert not [word for word in BRITISH.values() if word in BRITISH]
    assert all(holds_american(f"a {word} b") for word in BRITISH)

"""trunkwatch.sheets: crew_words, crew_lists; what the lists say of a vine, its part and its shoot, in each language."""

import re

import pytest
from walked_blocks import walked_block

from trunkwatch.block import load
from trunkwatch.sheets.crew_lists import LISTS, Standing, crew_lines, crew_lists, last_season, standing_of
from trunkwatch.sheets.crew_words import part_in, says_in, words_in
from trunkwatch.surveys.to_walk import to_walk

YEARS = (2023, 2024, 2025)
LEAVES = [
    {"position": str(p), "date": f"{year}-08-15", "symptom": "leaf_stripe"}
    for p, year in ((9, 2023), (10, 2024), (11, 2025))
]


def dead(position, quality="", **more):
    return {
        "position": str(position),
        "date": "2025-01-15",
        "symptom": "dead_arm",
        "arm": "end",
        "percent": 60,
        "renewal_shoot": "trunk",
        "shoot_quality": quality,
        **more,
    }


def work(position, kind, date="2026-02-01", **more):
    return {"position": str(position), "date": date, "kind": kind, "status": "planned", **more}


@pytest.fixture
def lists():
    """One vine of each list; vine 6 was found with a dead arm, and a year later a closer look saw nothing."""
    store = walked_block(
        YEARS,
        vines=12,
        training="bilateral",
        row_bearing_deg=0,
        symptoms=[
            *LEAVES,
            dead(3, "good"),
            dead(4, "thin"),
            dead(5),
            dead(7, renewal_shoot="below_union"),
            dead(6, date="2024-01-15"),
            {"position": "6", "date": "2025-01-15", "symptom": "none"},
            {"position": "8", "date": "2025-08-15", "symptom": "mummies"},
        ],
        work=[
            work(3, "renew_arm", arm="end", cut_height_cm=55),
            work(4, "train_first", "2026-06-01", arm="end"),
            work(5, "renew_arm", arm="end"),
            work(7, "renew_arm", arm="end"),
            work(8, "clear_mummies"),
            work(12, "renew_arm", "2027-02-01", arm="start", note="for a later winter"),
            work(11, "watch", "2026-07-15"),
            work(9, "keep_shoot", "2026-05-15"),
            work(2, "replant"),
            work(1, "train", "2026-06-01"),
        ],
    )
    return to_walk(store, "A", 2025), load(store, "A")


def told(lists, name, language="en"):
    walk, season = lists
    found = crew_lines(
        walk.reading, through=last_season(walk, "2025-12-01"), standing=standing_of(season), language=language
    )
    return [(line.position, line.part, line.stands, line.seen, line.shoot) for line in found[name]]


def test_each_line_names_the_arm_by_compass_what_was_seen_and_the_shoot(lists):
    seen = "dead arm (north arm), 60\u00a0%"
    assert told(lists, "Cut") == [
        ("3", "north arm", seen, "2025-01-15", "from the trunk, good (pencil-thick, brown)"),
        ("5", "north arm", seen, "2025-01-15", "from the trunk: check the shoot"),
        ("7", "north arm", seen, "2025-01-15", "from below the graft union: rootstock, no use"),
    ]
    assert told(lists, "Train first") == [("4", "north arm", seen, "2025-01-15", "from the trunk, thin")]
    assert [line[0] for line in told(lists, "Mark")] == ["11"]
    assert [line[0] for line in told(lists, "Clean up")] == ["8"]


def test_a_vine_on_which_the_records_disagree_is_on_the_list_though_nobody_planned_it(lists):
    (line,) = told(lists, "Look again")
    assert line == (
        "6",
        "",
        "dead arm (end), inspected closely on 2025-01-15: nothing seen",
        "2024-01-15",
        "",
    )
    walk, _ = lists
    assert crew_lines(walk.reading)["Look again"] == []  # of which nothing is known here


def test_the_lists_in_spanish_say_the_same_and_that_nobody_of_the_trade_read_them(lists):
    seen = "brazo muerto (brazo norte), 60\u00a0%"
    assert told(lists, "Cut", "es")[0] == (
        "3",
        "brazo norte",
        seen,
        "2025-01-15",
        "del tronco, bueno (grueso como un lápiz, pardo)",
    )
    assert told(lists, "Cut", "es")[1][-1] == "del tronco: revisar el brote"
    assert told(lists, "Look again", "es")[0][2] == "brazo muerto (brazo norte): los registros no coinciden"
    walk, season = lists
    page = crew_lists(walk.reading, 2026, language="es", standing=standing_of(season))
    assert '<html lang="es">' in page
    assert "Traducción sin revisar" in page
    assert "<h1>Cortar: parcela A, temporada 2026</h1>" in page
    assert "Traducción" not in crew_lists(walk.reading, 2026)
    with pytest.raises(ValueError, match=r"language 'fr': one of en, es"):
        crew_lists(walk.reading, 2026, language="fr")


def test_every_word_stands_in_every_language_with_the_same_blanks():
    english, spanish = words_in("en"), words_in("es")
    assert set(english) == set(spanish)
    assert [key for key, words in spanish.items() if not words] == []
    for key, words in english.items():
        assert set(re.findall(r"\{\w+\}", words)) == set(re.findall(r"\{\w+\}", spanish[key]))
    for name in LISTS:
        assert len(says_in(name, "en")) == len(says_in(name, "es"))
        assert all(says_in(name, "es"))
    assert len(says_in("Cut", "es")) == 4
    assert {f"list.{name}" for name in LISTS} | {f"when.{name}" for name in LISTS} <= set(english)


@pytest.mark.parametrize(
    ("arm", "bearing", "words"),
    [
        ("end", 90, "brazo este"), ("start", 90, "brazo oeste"), ("upper_end", 0, "brazo superior norte"), ("head", 0, "cabeza"),
        ("start", None, "brazo hacia la cepa 1"), ("near_end", None, "brazo del lado cercano que se aleja de la cepa 1"), ("", 0, ""),
    ],
)  # fmt: skip
def test_arms_in_spanish(arm, bearing, words):
    assert part_in(words_in("es"), 0, arm, bearing, language="es") == words


def test_work_of_later_winters_waits_for_their_lists_and_cut_wood_is_named_where_it_is_carried_out(lists):
    walk, season = lists
    page = crew_lists(walk.reading, 2026, through=2026, standing=standing_of(season))
    assert "for a later winter" not in page
    assert "for a later winter" in crew_lists(walk.reading, 2027, through=2027)
    assert "The wood cut this winter is to go out of the block too: row 1: 3, 5, 7." in page
    assert last_season(walk, "2025-12-01") == 2026
    assert last_season(walk, "2026-06-01") == 2027  # the winter of 2026 is over


def test_each_list_is_a_page_of_its_own_and_only_the_cut_list_tells_a_good_shoot(lists):
    walk, season = lists
    page = crew_lists(walk.reading, 2026, through=2026, standing=standing_of(season))
    sections = {part.split(":")[0].split("<h1>")[1]: part for part in page.split("<section>")[1:]}
    assert list(sections) == list(LISTS)
    good = "its wood is ripe and brown; it is as thick as a pencil"
    assert [name for name, text in sections.items() if good in text] == ["Cut"]
    for word in ("eye protection", "under tension", "Dry weather", "clean cuts", "Local rules", "No shoot noted"):
        assert word in sections["Cut"], word
    assert "break-before: page" in page
    size = re.search(r"td\.at \{ font-size: (\d+)pt", page)
    assert int(size[1]) >= 14
    assert page.count('<i class="box"></i>') == len(re.findall("<tr[ >]", page)) - len(sections)


def test_a_planned_cut_on_a_vine_in_doubt_says_look_again_first(lists):
    walk, season = lists
    standing = standing_of(season)
    cell = walk.reading.grid.cell("1", 3)
    doubted = Standing(standing.vines, standing.again | {cell})
    (line,) = [line for line in crew_lines(walk.reading, standing=doubted)["Cut"] if line.position == "3"]
    assert line.stands.endswith("; the records disagree: look again before you cut")


@pytest.mark.parametrize(("winter", "asked"), [(2025, False), (2026, True)])
def test_a_cut_on_what_was_seen_long_ago_says_to_look_first(winter, asked):
    """Seen in 2022: three years later in the season of 2025, more than three in that of 2026."""
    planned = [work(3, "renew_arm", f"{winter}-02-01", arm="end")]
    store = walked_block((2022,), vines=12, training="bilateral", symptoms=[dead(3, date="2022-01-15")], work=planned)
    (line,) = crew_lines(to_walk(store, "A", winter).reading, standing=standing_of(load(store, "A")))["Cut"]
    assert line.stands.endswith("; not seen since 2022: look first") is asked

"""trunkwatch.cards: folder, lend, words; which cards count, whatever the order, and what a forecast takes from them."""

import itertools
import json

import pytest
from made_cards import DAY, card, key, lent, put, told, void, vouch

from trunkwatch.cards import read_folder
from trunkwatch.cards.card import Refused, card_text
from trunkwatch.cards.folder import choose, listed_words
from trunkwatch.cards.lend import lent_counts
from trunkwatch.cards.words import left_out_lines, preview_lines
from trunkwatch.errors import FileError
from trunkwatch.forecast.estimate import counts_of

LATER, LATEST = "2026-11-05T08:00:00Z", "2026-11-09T08:00:00Z"


def whys(found):
    return [one.why for one in found.left]


def test_a_void_card_wins_whatever_the_order_and_the_clock():
    cards = [told(1), told(1, made=LATER), void(1, made="2026-11-03T08:00:00Z"), told(1, made=LATEST), told(2)]
    named = [(f"{number}.json", card(one)) for number, one in enumerate(cards)]
    for order in itertools.permutations(named):
        chosen, left = choose(order, "pool", DAY)
        assert [one.grower for one in chosen] == [key(2).public("pool")]
        assert sorted((one.file, one.why) for one in left) == [(f"{n}.json", Refused.VOID) for n in range(4)]


def test_a_void_card_of_somebody_else_takes_nothing_back():
    own, other = told(1), void(2)
    theirs = card(other)
    assert choose([("a", card(own)), ("b", theirs)], "pool", DAY)[0] == (card(own),)
    # Somebody else signs a void card for the very name of the block.
    from trunkwatch.cards.make import void_card

    aimed = card(void_card("pool", own["id"], key(2), LATEST))
    assert choose([("a", card(own)), ("b", aimed)], "pool", DAY)[0] == (card(own),)


def test_the_last_card_of_a_block_counts_whatever_the_order():
    old, new = told(1), told(1, made=LATER, seasons=[(2026, 100, 7, 0, 0, "leafy")])
    for order in itertools.permutations([("old", card(old)), ("new", card(new))]):
        chosen, left = choose(order, "pool", DAY)
        assert chosen == (card(new),)
        assert [(one.file, one.why) for one in left] == [("old", Refused.OLDER)]


def test_two_cards_of_one_moment_that_differ_count_neither():
    one, other = told(1), told(1, seasons=[(2026, 100, 7, 0, 0, "leafy")])
    chosen, left = choose([("a", card(one)), ("b", card(other))], "pool", DAY)
    assert chosen == ()
    assert {entry.why for entry in left} == {Refused.TWO_AT_ONCE}
    chosen, left = choose([("b", card(one)), ("a", card(one))], "pool", DAY)
    assert chosen == (card(one),)
    assert [(entry.file, entry.why) for entry in left] == [("b", Refused.OLDER)]


def test_a_consent_that_ended_ends_the_card():
    assert choose([("a", card(told(1, until=DAY)))], "pool", DAY)[0]
    chosen, left = choose([("a", card(told(1, until="2026-11-19")))], "pool", DAY)
    assert chosen == ()
    assert [one.why for one in left] == [Refused.ENDED]
    # An earlier card with a longer consent is not taken up again.
    pair = [("a", card(told(1, until="2030-01-01"))), ("b", card(told(1, made=LATER, until="2026-11-19")))]
    assert choose(pair, "pool", DAY)[0] == ()


def test_a_folder_is_read_whole_and_says_what_it_left_out(tmp_path):
    folder = vouch(put(tmp_path / "cards", told(1), told(2), told(3), lent(1)), 1, 2)
    (folder / "x.json").write_text("{}")
    forged = told(2, "other") | {"made": LATER}
    (folder / "y.json").write_text(card_text(forged))
    (folder / "z.json").write_text(card_text(told(1, "b") | {"version": 9}))
    found = read_folder(folder, "pool", DAY)
    assert len(found.cards) == 2
    assert found.vouched
    assert whys(found) == [
        Refused.UNKNOWN_GROWER,
        Refused.OTHER_KIND,
        Refused.NOT_A_CARD,
        Refused.SIGNATURE,
        Refused.VERSION,
    ]
    assert [one.file for one in found.refused] == ["c002.json", "x.json", "y.json", "z.json"]
    said = "\n".join(left_out_lines(found))
    for words in (
        "c002.json: its key",
        "is not in growers.txt",
        "x.json: it is no block card",
        "y.json: its signature does not fit",
        "z.json: it is a card of version '9', and this program reads version 1: a later trunkwatch may read it",
    ):
        assert words in said
    assert "c003.json" not in said


def test_own_cards_are_not_wanted_twice(tmp_path):
    folder = put(tmp_path / "cards", lent(1), lent(2))
    found = read_folder(folder, "forecast", DAY, without=[key(1).public("forecast")])
    assert [one.grower for one in found.cards] == [key(2).public("forecast")]
    assert whys(found) == [Refused.OWN]
    assert "nobody vouches" in left_out_lines(found)[-1]


def test_lists_are_words_by_line(tmp_path):
    (tmp_path / "l.txt").write_text("# keys\n\nabc Rosa\n  def\n", "utf-8")
    assert listed_words(tmp_path / "l.txt") == ("abc", "def")
    assert listed_words(tmp_path / "none.txt") is None
    with pytest.raises(FileError, match="no folder of cards"):
        read_folder(tmp_path / "none", "pool", DAY)
    (tmp_path / "b.txt").write_bytes(b"\xff\xfe\xff")
    with pytest.raises(FileError, match="cannot be read as text"):
        listed_words(tmp_path / "b.txt")


def test_a_forecast_takes_from_a_card_what_it_takes_from_a_block():
    """Sums of a card, and of the seasons it was made of, lend the same within the rounding of its sizes."""
    from trunkwatch.block import open_vineyard
    from trunkwatch.block.opening import Readings
    from trunkwatch.cards.make import Chosen, forecast_card
    from trunkwatch.forecast.vine_years import steps_of

    with open_vineyard("sample_blocks") as store:
        season = Readings(store).season("Chapel")
        made = forecast_card(season, "root", key(1), Chosen("2027-12-31", "2026-11-01T08:00:00Z"))
    (found,) = lent_counts([card(made)])
    of_card, of_block = counts_of(found.seasons), counts_of(steps_of(season.history, season.season))
    assert found.seasons[0].season == season.season
    assert of_card.unwritten == 0
    for name, vines in of_block.vines.items():
        assert of_card.vines[name] == pytest.approx(vines, rel=0.05)
        if vines:
            assert of_card.events[name] / of_card.vines[name] == pytest.approx(
                of_block.events[name] / vines, abs=0.51 / vines + 0.001
            )
    for name in ("years", "points", "first", "again", "vines", "shares", "entry"):
        assert getattr(of_card.growth, name) == pytest.approx(getattr(of_block.growth, name), rel=0.05)


def test_the_preview_says_what_leaves_and_what_does_not():
    pool, ahead = preview_lines(told(1)), preview_lines(lent(1))
    assert any("exact counts by season: 1 seasons" in line for line in pool)
    assert any("cultivar Brannet, planted 2005 to 2009, region hills" in line for line in pool)
    assert any("It does not tell: your name" in line for line in pool)
    assert any("rounded to two figures" in line for line in ahead)
    assert "takes back all pool cards" in preview_lines(void(1))[0]
    assert json.loads(card_text(told(1))) == told(1)

"""trunkwatch.cards: keys, card, make; what leaves a grower, and what is refused however it was signed."""

import json
import re
import stat
from hashlib import sha256

import pytest
from made_cards import MADE, card, key, lent, told, void
from made_programme import make_vineyard

from trunkwatch.block import open_vineyard
from trunkwatch.block.opening import Readings
from trunkwatch.cards.card import BadCardError, Refused, card_text, read_card, signed_card
from trunkwatch.cards.keys import made_key, read_key, signed_by
from trunkwatch.cards.make import Chosen, forecast_card, planted_class, pool_card, two_figures, void_card
from trunkwatch.errors import AccessError, FileError, RecordError
from trunkwatch.history import rate

CHOSEN = Chosen("2027-12-31", MADE, "hills", ("rootstock", "training"))


def made_of(path, block, make, chosen=CHOSEN, number=1):
    with open_vineyard(path) as store:
        season = Readings(store).season(block)
        return make(season, store.names().find(block).root, key(number), chosen), season


def why(raw):
    with pytest.raises(BadCardError) as error:
        read_card(raw)
    return error.value.why


def test_a_pool_card_holds_the_counts_of_each_season_and_is_about_a_kilobyte():
    made, season = made_of("sample_blocks", "Mill", pool_card)
    assert 700 < len(card_text(made)) < 1300
    history = season.history
    assert [line[0] for line in made["seasons"]] == [look.season for look in history.looks if look.counted]
    for year, vines, cases, at_risk, new, _ in made["seasons"]:
        shown = rate(history, "annual", year)
        assert (vines, cases) == (shown.vines, shown.cases)
        assert new <= at_risk <= vines
    assert made["block"]["planted"] == planted_class(float(season.block["planted"]))
    assert card(made).seasons[0].looks in ("bare+leafy", "leafy")


def test_no_name_place_day_or_vine_is_on_a_card(tmp_path):
    path = make_vineyard(tmp_path / "v", 7, labels=["Grandma's Hill"], cases=5, seasons=range(2022, 2027))
    with (path / "symptoms.csv").open("a", encoding="utf-8") as file:
        file.write("Grandma's Hill,2,9,2026-08-01,leaf_stripe\n")
    (path / "blocks.csv").write_text(
        (path / "blocks.csv")
        .read_text("utf-8")
        .replace("block,planted", "notes,vineyard,block,planted")
        .replace("Grandma's Hill", "ask Rosa at the gate,Vogel Farm,Grandma's Hill"),
        "utf-8",
    )
    for make in (pool_card, forecast_card):
        with open_vineyard(path) as store:
            season = Readings(store).season(None)
            text = card_text(make(season, store.names().blocks[0].root, key(2), CHOSEN))
        days = set(re.findall(r"\d{4}-\d\d-\d\d", text))
        assert days == {"2027-12-31", MADE[:10]}
        for word in ("Grandma", 'Hill"', "Rosa", "gate", "Vogel", '"row"', "position", "longitude", "leaf_stripe"):
            assert word not in text, word


def test_a_forecast_card_tells_sums_and_nothing_of_the_block():
    made, season = made_of("sample_blocks", "Orchard", forecast_card)
    assert set(made) == {
        "card",
        "version",
        "grower",
        "kind",
        "id",
        "made",
        "until",
        "consent",
        "definition",
        "to",
        "first",
        "chances",
        "growth",
        "signature",
    }
    assert made["to"] == season.season
    pool, _ = made_of("sample_blocks", "Orchard", pool_card)
    assert made["grower"] != pool["grower"]
    assert made["id"] != pool["id"]
    for events, vines in (made["first"], *made["chances"].values()):
        assert 0 <= events <= vines
        assert vines < 100 or int(str(vines)[2:]) == 0, "two figures"


@pytest.mark.parametrize(
    ("many", "rounded"), [(0, 0), (99, 99), (104, 100), (105, 110), (4862, 4900), (99_999, 100_000)]
)
def test_sizes_are_rounded_to_two_figures(many, rounded):
    assert two_figures(many) == rounded


@pytest.mark.parametrize(("year", "told_as"), [(None, ""), (2005.0, "2005 to 2009"), (2009.0, "2005 to 2009"), (2010.0, "2010 to 2014")])  # fmt: skip
def test_the_year_of_planting_is_one_of_five(year, told_as):
    assert planted_class(year) == told_as


def test_what_the_grower_does_not_choose_is_not_on_it():
    made, _ = made_of("sample_blocks", "Mill", pool_card, Chosen("2027-12-31", MADE))
    assert set(made["block"]) <= {"cultivar", "planted"}


@pytest.mark.parametrize("region", ["47.1,8.3", "Mill Lane 4", "A" * 31, "12"])
def test_a_place_is_no_region(region):
    with pytest.raises(RecordError, match="one word of the pool's list"):
        made_of("sample_blocks", "Mill", pool_card, Chosen("2027-12-31", MADE, region))


def test_a_consent_without_a_last_day_is_none():
    with pytest.raises(RecordError, match="the last day of the consent is ''"):
        made_of("sample_blocks", "Mill", forecast_card, Chosen("", MADE))


def test_a_block_without_a_season_that_counts_has_no_card(tmp_path):
    path = make_vineyard(tmp_path / "v", 1, labels=["A"], cases=3)
    (path / "surveys.csv").unlink()
    with pytest.raises(RecordError, match="nothing to put on a card"):
        made_of(path, "A", pool_card)
    with pytest.raises(RecordError, match="fewer than two seasons"):
        made_of(path, "A", forecast_card)


def test_the_name_of_a_block_takes_the_key():
    """It is no hash that could be found by trying labels."""
    first, _ = made_of("sample_blocks", "Mill", pool_card)
    other, _ = made_of("sample_blocks", "Mill", pool_card, number=2)
    assert first["id"] != other["id"]
    with open_vineyard("sample_blocks") as store:
        root = store.names().find("Mill").root
    assert key(1).block_id("pool", root) == first["id"]
    for guess in ("Mill", root, f"name:pool{root}"):
        assert not sha256(guess.encode()).hexdigest().startswith(first["id"])


def test_every_changed_byte_is_noticed():
    raw = card_text(told(1)).encode()
    read_card(raw)
    for at in range(len(raw)):
        changed = raw[:at] + bytes([raw[at] ^ 1]) + raw[at + 1 :]
        try:
            assert dict(read_card(changed).told) == json.loads(raw)  # a blank between values says nothing
        except BadCardError:
            continue


def test_a_card_signed_by_somebody_else_is_refused():
    forged = told(1) | {"grower": key(2).public("pool")}
    assert why(card_text(forged).encode()) is Refused.SIGNATURE
    as_other_kind = told(1) | {"grower": key(1).public("forecast")}
    assert why(card_text(as_other_kind).encode()) is Refused.SIGNATURE
    unsigned = {name: value for name, value in told(1).items() if name != "signature"}
    assert why(card_text(unsigned).encode()) is Refused.SIGNATURE
    assert not signed_by("zz", "00", b"")


def test_a_card_of_another_version_is_refused_as_such():
    later = told(1) | {"version": 2, "signature": "whatever it is then"}
    assert why(card_text(later).encode()) is Refused.VERSION
    assert why(card_text(told(1) | {"version": True}).encode()) is Refused.VERSION


@pytest.mark.parametrize("raw", [b"", b"[]", b"{}", b"\xff", b"[" * 30_000, b'{"card": "trunkwatch block card", "card": "trunkwatch block card"}', b'{"card": "a"}'])  # fmt: skip
def test_what_is_no_card_is_refused(raw):
    assert why(raw) is Refused.NOT_A_CARD


@pytest.mark.parametrize(
    "change",
    [
        {"note": "ask Rosa"}, {"latitude": 47.1}, {"seasons": []}, {"seasons": [[2026, 10, 11, 0, 0, "leafy"]]}, {"seasons": [[2026, 10, 1, 11, 0, "leafy"]]},
        {"seasons": [[2026, 10, 1, 0, 0, "leafy"]] * 2}, {"seasons": [[2026, 10, 1.5, 0, 0, "leafy"]]}, {"seasons": [[2026, 10, True, 0, 0, "leafy"]]},
        {"seasons": [[2026, 0, 0, 0, 0, "leafy"]]}, {"seasons": [[2026, -1, 0, 0, 0, "leafy"]]}, {"block": {"label": "Mill"}}, {"block": {"cultivar": "x" * 61}},
        {"until": "soon"}, {"made": "2026-11-01"}, {"id": "Mill"}, {"definition": "all"}, {"kind": "list"}, {"void": False},
    ],
)  # fmt: skip
def test_what_no_card_holds_is_refused_though_it_was_signed(change):
    plain = {name: value for name, value in told(1).items() if name not in ("card", "version", "grower", "signature")}
    made = signed_card(plain | change, key(1))
    assert why(card_text(made).encode()) is Refused.FORM


@pytest.mark.parametrize("change", [{"chances": {"first": [1, 2]}}, {"chances": {"again_1": [3, 2]}}, {"growth": {"years": [1]}}, {"first": [1]}, {"to": "2026"}])  # fmt: skip
def test_the_same_of_forecast_cards(change):
    plain = {name: value for name, value in lent(1).items() if name not in ("card", "version", "grower", "signature")}
    assert why(card_text(signed_card(plain | change, key(1))).encode()) is Refused.FORM


def test_a_void_card_holds_nothing_but_that():
    assert card(void(1)).void
    assert set(void(1)) == {"card", "version", "grower", "kind", "id", "made", "void", "signature"}
    assert void_card("pool", key(1).block_id("pool", "root"), key(1), MADE) == void(1)


def test_a_key_is_made_once_and_is_private(tmp_path):
    path = tmp_path / "my.key"
    made = made_key(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert read_key(path) == made
    assert made.secret.hex() not in repr(made)
    with pytest.raises(FileError, match="is there already"):
        made_key(path)
    assert read_key(path) == made
    (tmp_path / "other").write_text("trunkwatch card key 1\nabcd\n")
    with pytest.raises(AccessError, match="is no key of cards"):
        read_key(tmp_path / "other")
    with pytest.raises(FileError, match="no key at"):
        read_key(tmp_path / "none")

"""Cards of invented growers, made without vineyards: keys by number, counts as they are given."""

from trunkwatch.cards.card import card_text, read_card, signed_card
from trunkwatch.cards.keys import CardKey
from trunkwatch.cards.make import void_card

DAY, LAST, MADE = "2026-11-20", "2027-12-31", "2026-11-01T08:00:00Z"


def key(number):
    return CardKey(number.to_bytes(32, "big"))


def told(
    number,
    block="root",
    seasons=((2026, 100, 5, 90, 2, "leafy"),),
    *,
    made=MADE,
    until=LAST,
    definition="any",
    **of_block,
):
    """A pool card as a dictionary, signed."""
    own = key(number)
    return signed_card(
        {
            "kind": "pool",
            "id": own.block_id("pool", block),
            "made": made,
            "until": until,
            "consent": "yes",
            "definition": definition,
            "block": {"cultivar": "Brannet", "planted": "2005 to 2009", "region": "hills"} | of_block,
            "seasons": [list(line) for line in seasons],
        },
        own,
    )


def lent(number, block="root", *, to=2026, first=(5, 900), chances=None, growth=None, made=MADE, until=LAST):
    """A forecast card as a dictionary, signed."""
    own = key(number)
    return signed_card(
        {
            "kind": "forecast",
            "id": own.block_id("forecast", block),
            "made": made,
            "until": until,
            "consent": "yes",
            "definition": "any",
            "to": to,
            "first": list(first),
            "chances": chances or {"again_1": [4, 9]},
            "growth": growth or {},
        },
        own,
    )


def void(number, block="root", *, made=MADE, kind="pool"):
    own = key(number)
    return void_card(kind, own.block_id(kind, block), own, made)


def card(made):
    return read_card(card_text(made).encode())


def put(folder, *made):
    """Write cards into a folder, named by number; return it."""
    folder.mkdir(exist_ok=True)
    for number, one in enumerate(made):
        (folder / f"c{number:03}.json").write_text(card_text(one), "utf-8")
    return folder


def vouch(folder, *numbers, kind="pool"):
    (folder / "growers.txt").write_text("".join(f"{key(one).public(kind)} grower {one}\n" for one in numbers), "utf-8")
    return folder

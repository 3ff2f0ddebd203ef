"""Cards in sentences: what leaves, and why a card does not count."""

from collections.abc import Mapping
from typing import Any

from trunkwatch.cards.card import VERSION, Refused
from trunkwatch.cards.folder import CardFolder, LeftCard

__all__ = ["left_line", "left_out_lines", "preview_lines"]


def left_line(one: LeftCard) -> str:
    """Say why a card does not count, and what to do where anything can be."""
    why = {
        Refused.NOT_A_CARD: "it is no block card: delete it, or ask for it again",
        Refused.VERSION: f"it is a card of version {one.value!r}, and this program reads version {VERSION}: a later trunkwatch may read it",
        Refused.SIGNATURE: "its signature does not fit: it was changed on the way or made by somebody else; ask the grower for it again",
        Refused.FORM: f"it holds what no card holds ({one.value}): ask the grower to make it again",
        Refused.UNKNOWN_GROWER: f"its key {one.value}... is not in growers.txt: whoever keeps the folder enters keys of growers they know",
        Refused.ENDED: f"the consent ended on {one.value}",
        Refused.VOID: "the grower has withdrawn it",
        Refused.OLDER: f"a card of the same block made {one.value} stands in its place",
        Refused.TWO_AT_ONCE: f"two cards of one block were made at {one.value} and differ: ask the grower for a new one",
        Refused.OTHER_KIND: f"it is a card for {one.value}",
        Refused.OWN: "it is your own",
    }[one.why]
    return f"{one.file}: {why}"


def left_out_lines(found: CardFolder) -> tuple[str, ...]:
    """Name the cards that are left out; those of the other kind are nothing to tell."""
    lines = [f"card left out: {left_line(one)}" for one in found.left if one.why is not Refused.OTHER_KIND]
    if found.cards and not found.vouched:
        lines.append("nobody vouches for the growers of these cards: list the keys of those you know in growers.txt")
    return tuple(lines)


def preview_lines(card: Mapping[str, Any]) -> tuple[str, ...]:
    """Say what a card tells and what it does not, beside the card itself."""
    if "void" in card:
        return (f"This void card takes back all {card['kind']} cards of the block for good, later ones too.",)
    if card["kind"] == "pool":
        return (
            "It goes to whoever keeps the pool, and to nobody else.",
            (
                f"It tells exact counts by season: {len(card['seasons'])} seasons, each with vines scouted, vines showing, vines that could show for the first "
                "time, those that did, and the kind of inspections."
            ),
            f"It tells of the block: {', '.join(f'{name} {value}' for name, value in card['block'].items()) or 'nothing'}.",
            "It does not tell: your name, the block's name, places, rows, vines, days of scouting, notes, prices, who scouted.",
            (
                "The name of the block and your own on it are made with your key; without the key nobody can tell whose they are. A block of an odd size, "
                "age or cultivar may still be guessed by somebody who knows it."
            ),
        )
    return (
        "It goes to other growers, who use it in forecasts.",
        f"It tells sums over all seasons to {card['to']}, sizes rounded to two figures: how many vines came to show, showed again, died or came back after a cut.",
        "It does not tell: seasons one by one, cultivar, age, region, your name, the block's name, places, rows, vines, days of scouting, notes, prices, who scouted.",
        "Your name on it is another one than on a pool card; whoever holds both may still put them together by their counts.",
    )

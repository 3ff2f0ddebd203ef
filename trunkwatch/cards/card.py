"""A block card: one small JSON file with counts of one block, signed; or the void card that takes it back."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any

from trunkwatch.access.signature import literal_json, signed_bytes
from trunkwatch.cards.keys import CardKey, signed_by
from trunkwatch.forecast.season_counts import COUNTED
from trunkwatch.vineyard.calendar import is_any_day

__all__ = [
    "KINDS",
    "VERSION",
    "BadCardError",
    "Card",
    "Refused",
    "SeasonLine",
    "card_file",
    "card_text",
    "read_card",
    "signed_card",
]

NAME, VERSION = "trunkwatch block card", 1
#: What a card can be for; each kind is signed with a key of its own.
KINDS = ("pool", "forecast")
#: No block has as many vines, and no card as many seasons.
_MOST_VINES, _MOST_SEASONS, _LONGEST = 10_000_000, 100, 60
_MOST_BYTES = 20_000


class Refused(Enum):
    """Why a card is not used; sentences in `words`."""

    NOT_A_CARD = 1
    VERSION = 2
    SIGNATURE = 3
    FORM = 4
    UNKNOWN_GROWER = 5
    ENDED = 6
    VOID = 7
    OLDER = 8
    TWO_AT_ONCE = 9
    OTHER_KIND = 10
    OWN = 11


class BadCardError(Exception):
    """A card that cannot be used: why, and the value at fault."""

    def __init__(self, why: Refused, value: str = "") -> None:
        super().__init__(why, value)
        self.why, self.value = why, value


@dataclass(frozen=True, slots=True)
class SeasonLine:
    """One season on a pool card: vines scouted, of these showing, vines that could show for the first time, those that did, classes of inspections."""

    season: int
    vines: int
    cases: int
    at_risk: int
    new: int
    looks: str


@dataclass(frozen=True, slots=True)
class Card:
    """A card that is whole and was signed with the key that it names.

    Attributes
    ----------
    kind : {"pool", "forecast"}
    id : str
        The block, by keyed hash.
    grower : str
        Public key of the grower's cards of this kind.
    made, until : str
        Moment it was made, last day of the consent (empty on a void card).
    void : bool
        Whether it takes back all cards of the block.
    told : mapping
        All that it says, numbers as numbers.
    """

    kind: str
    id: str
    grower: str
    made: str
    until: str
    void: bool
    told: Mapping[str, Any]

    @property
    def seasons(self) -> tuple[SeasonLine, ...]:
        """Seasons of a pool card."""
        return tuple(SeasonLine(*line) for line in self.told["seasons"])


def signed_card(told: Mapping[str, Any], key: CardKey) -> dict[str, Any]:
    """Return a card with its signature; `told` has all but name, version, grower and signature."""
    kind = str(told["kind"])
    plain = {"card": NAME, "version": VERSION, "grower": key.public(kind), **told}
    return plain | {"signature": key.sign(kind, signed_bytes(literal_json(json.dumps(plain))))}


def card_text(card: Mapping[str, Any]) -> str:
    """Write a card as it leaves, a line a key: what is printed before is the file to the letter."""
    lines = [
        f"{json.dumps(name)}: {json.dumps(value, ensure_ascii=False, separators=(', ', ': '))}"
        for name, value in card.items()
    ]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def card_file(card: Mapping[str, Any]) -> str:
    """Return the name of a card's file: what it is for and the keyed name of the block, and nothing that tells it."""
    return f"{card['kind']}_{card['id']}{'_void' if 'void' in card else ''}.json"


def read_card(raw: bytes) -> Card:
    """Read a card and check its signature and every value.

    Raises
    ------
    BadCardError
        If it is none, or cannot be used.
    """
    try:
        text = raw.decode() if len(raw) <= _MOST_BYTES else ""
        told, exact = json.loads(text, object_pairs_hook=_once), literal_json(text)
    except (ValueError, RecursionError):
        raise BadCardError(Refused.NOT_A_CARD) from None
    if not isinstance(told, dict) or told.get("card") != NAME:
        raise BadCardError(Refused.NOT_A_CARD)
    if told.get("version") != VERSION or isinstance(told["version"], (bool, float)):
        raise BadCardError(Refused.VERSION, str(told.get("version"))[:20])
    if not signed_by(str(told.get("grower")), str(told.get("signature")), signed_bytes(exact)):
        raise BadCardError(Refused.SIGNATURE)
    _checked(told)
    return Card(
        told["kind"], told["id"], told["grower"], told["made"], told.get("until", ""), bool(told.get("void")), told
    )


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Refuse a key that stands twice: one reader might take the first and another the last."""
    if len({name for name, _ in pairs}) != len(pairs):
        raise ValueError("a key stands twice")
    return dict(pairs)


_HEADS = {"card", "version", "grower", "signature", "kind", "id", "made"}
_PARTS = {
    "pool": {"until", "consent", "definition", "block", "seasons"},
    "forecast": {"until", "consent", "definition", "to", "first", "chances", "growth"},
}
_GROWTH = {"years": 2, "points": 2, "first": 3, "again": 3, "vines": 3, "shares": 3, "entry": 2}
_BLOCK = ("cultivar", "rootstock", "training", "planted", "region")


def _checked(told: Mapping[str, Any]) -> None:
    """Refuse what was signed and still cannot be, and everything that has no place on a card."""
    kind = told.get("kind")
    _need(kind in KINDS, "kind", kind)
    wanted = _HEADS | ({"void"} if "void" in told else _PARTS[str(kind)])
    _need(set(told) == wanted, "keys", ", ".join(sorted(set(told) ^ wanted)))
    _need(bool(re.fullmatch(r"[0-9a-f]{32}", str(told["id"]))), "id", told["id"])
    _need(bool(re.fullmatch(r"[0-9a-f]{64}", str(told["grower"]))), "grower", told["grower"])
    _need(bool(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", str(told["made"]))), "made", told["made"])
    if "void" in told:
        _need(told["void"] is True, "void", told["void"])
        return
    _need(isinstance(told["until"], str) and is_any_day(told["until"]), "until", told["until"])
    _need(isinstance(told["consent"], str) and len(told["consent"]) <= 400, "consent", told["consent"])
    _need(told["definition"] in ("any", "leaf", "dieback"), "definition", told["definition"])
    (_pool if kind == "pool" else _forecast)(told)


def _pool(told: Mapping[str, Any]) -> None:
    block = told["block"]
    _need(isinstance(block, dict) and set(block) <= set(_BLOCK), "block", block)
    for name, value in block.items():
        _need(isinstance(value, str) and 0 < len(value) <= _LONGEST and value.isprintable(), name, value)
    lines = told["seasons"]
    _need(isinstance(lines, list) and 0 < len(lines) <= _MOST_SEASONS, "seasons", lines)
    for line in lines:
        whole = isinstance(line, list) and len(line) == 6 and all(map(_counts, line[:5])) and isinstance(line[5], str)
        _need(whole and 1900 <= line[0] <= 2200, "seasons", line)
        _need(
            line[2] <= line[1]
            and line[4] <= line[3] <= line[1]
            and line[1] > 0
            and bool(re.fullmatch(r"[a-z+]{1,40}", line[5])),
            "seasons",
            line,
        )
    _need(len({line[0] for line in lines}) == len(lines), "seasons", [line[0] for line in lines])


def _forecast(told: Mapping[str, Any]) -> None:
    _need(_counts(told["to"]) and 1900 <= told["to"] <= 2200, "to", told["to"])
    chances, growth = told["chances"], told["growth"]
    _need(isinstance(chances, dict) and set(chances) <= set(COUNTED), "chances", chances)
    for name, pair in {"first": told["first"], **chances}.items():
        _need(isinstance(pair, list) and len(pair) == 2 and all(map(_counts, pair)) and pair[0] <= pair[1], name, pair)
    _need(isinstance(growth, dict) and set(growth) <= set(_GROWTH), "growth", growth)
    for name, values in growth.items():
        whole = isinstance(values, list) and len(values) == _GROWTH[name] and all(_amount(one) for one in values)
        _need(whole, name, values)


def _counts(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= _MOST_VINES


def _amount(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) <= 100 * _MOST_VINES


def _need(holds: bool, name: str, value: object) -> None:
    if not holds:
        raise BadCardError(Refused.FORM, f"{name}: {str(value)[:60]}")

"""The cards of a programme: made for all who agreed, void for all who take it back, in one run."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from trunkwatch.block import open_vineyard
from trunkwatch.block.opening import Readings
from trunkwatch.cards.card import KINDS, BadCardError, Card, card_file, card_text, read_card
from trunkwatch.cards.folder import GROWERS, REGIONS, listed_words
from trunkwatch.cards.keys import CardKey, made_key, read_key
from trunkwatch.cards.make import Chosen, forecast_card, pool_card, void_card
from trunkwatch.errors import FileError, RecordError, TrunkwatchError
from trunkwatch.programme.catalogue import Grower
from trunkwatch.spreadsheets.write import replace_file
from trunkwatch.vineyard.file_stems import file_stems

__all__ = ["KEYS", "CardDone", "write_cards"]

#: Folder of the growers' keys in the folder of a programme; only its owner can enter.
KEYS = ".keys"
#: What a card says beside what may be older in it without a reason to write it anew.
_OF_THE_MOMENT = ("made", "signature")


@dataclass(frozen=True, slots=True)
class CardDone:
    """What became of a card: its file, or why there is none; `void` where it takes earlier ones back, `new` where it was written now."""

    grower: str
    block: str
    kind: str
    path: Path | None
    reason: str = ""
    void: bool = False
    new: bool = True


def write_cards(
    folder: Path, growers: Sequence[Grower], names: Sequence[str], out: Path, day: str, made: str
) -> list[CardDone]:
    """Write the cards of growers who agreed to the purpose of the same name; void those of growers who agree no more.

    Parameters
    ----------
    folder : Path
        Of the programme.
    growers : sequence of Grower
        Whose cards.
    names : sequence of str
        All growers of the programme in order: who comes later changes no file of a key.
    out : Path
        Folder of cards; the keys of these growers are written into its list.
    day, made : str
        The day on which consents must hold, and the moment.

    Raises
    ------
    FileError
        If a file cannot be written.
    """
    stems = file_stems(names)
    regions = listed_words(out / REGIONS)
    earlier = dict(_cards_in(out))
    done: list[CardDone] = []
    for grower in growers:
        path = folder / KEYS / f"{stems[grower.name]}.key"
        allowed = [kind for kind in KINDS if grower.allows(kind, day)]
        if not allowed and not path.exists():
            continue
        key = _key(path)
        _vouch(out, key)
        for kind in KINDS:
            if kind in allowed:
                done += _made(folder, grower, kind, key, out, made, regions, earlier)
            elif kind not in grower.purposes:
                done += _voided(grower, kind, key, out, made, earlier)
    return done


def _key(path: Path) -> CardKey:
    if path.exists():
        return read_key(path)
    try:
        path.parent.mkdir(mode=0o700, exist_ok=True)
    except OSError as error:
        raise FileError(f"{path.parent} cannot be made: {error.strerror}") from error
    return made_key(path)


def _cards_in(out: Path) -> Iterator[tuple[Path, Card]]:
    for path in sorted(out.glob("*.json")):
        try:
            yield path, read_card(path.read_bytes())
        except BadCardError:
            continue


def _vouch(out: Path, key: CardKey) -> None:
    """Enter the keys of a grower into the list of the folder, under no name: the folder may be passed on."""
    known = listed_words(out / GROWERS) or ()
    new = [key.public(kind) for kind in KINDS if key.public(kind) not in known]
    if new:
        out.mkdir(parents=True, exist_ok=True)
        earlier = (out / GROWERS).read_text("utf-8-sig").splitlines() if (out / GROWERS).exists() else []
        replace_file(out / GROWERS, "".join(f"{one}\n" for one in (*earlier, *new)).encode())


def _made(
    folder: Path,
    grower: Grower,
    kind: str,
    key: CardKey,
    out: Path,
    made: str,
    regions: Sequence[str] | None,
    earlier: dict[Path, Card],
) -> Iterator[CardDone]:
    if grower.region and regions is not None and grower.region not in regions:
        yield CardDone(
            grower.name, "", kind, None, f"region {grower.region!r} is none of the pool's: {', '.join(regions)}"
        )
        return
    chosen = Chosen(grower.until, made, grower.region if kind == "pool" else "")
    try:
        store = open_vineyard(folder / grower.path)
    except (TrunkwatchError, OSError) as error:
        yield CardDone(grower.name, "", kind, None, str(error))
        return
    with store:
        readings = Readings(store)
        for label in store.blocks():
            try:
                season = readings.season(label)
                root = store.names().find(label).root
                card = (pool_card if kind == "pool" else forecast_card)(season, root, key, chosen)
            except RecordError as error:
                yield CardDone(grower.name, label, kind, None, str(error))
                continue
            path = out / card_file(card)
            new = path not in earlier or _says(earlier[path].told) != _says(card)
            if new:
                replace_file(path, card_text(card).encode())
            yield CardDone(grower.name, label, kind, path, new=new)


def _says(card: Any) -> str:
    return json.dumps({name: value for name, value in card.items() if name not in _OF_THE_MOMENT}, sort_keys=True)


def _voided(
    grower: Grower, kind: str, key: CardKey, out: Path, made: str, earlier: dict[Path, Card]
) -> Iterator[CardDone]:
    own = [card for card in earlier.values() if card.kind == kind and card.grower == key.public(kind)]
    gone = {card.id for card in own if card.void}
    for block in sorted({card.id for card in own} - gone):
        void = void_card(kind, block, key, made)
        path = out / card_file(void)
        replace_file(path, card_text(void).encode())
        yield CardDone(grower.name, "", kind, path, void=True)

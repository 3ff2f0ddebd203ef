"""A folder of cards, read whole: which count, and why the others do not, whatever the order of their files."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from trunkwatch.cards.card import BadCardError, Card, Refused, read_card
from trunkwatch.errors import FileError

__all__ = ["GROWERS", "REGIONS", "CardFolder", "LeftCard", "choose", "listed_words", "read_folder"]

#: In a folder of cards: the public keys that its keeper vouches for, and the words of its regions, a line each.
GROWERS, REGIONS = "growers.txt", "regions.txt"


@dataclass(frozen=True, slots=True)
class LeftCard:
    """A card that does not count: its file, why, and the value at fault."""

    file: str
    why: Refused
    value: str = ""


@dataclass(frozen=True, slots=True)
class CardFolder:
    """What was read: the cards that count, one a block, the others, and whether the keeper vouches for the growers."""

    cards: tuple[Card, ...]
    left: tuple[LeftCard, ...]
    vouched: bool

    @property
    def refused(self) -> tuple[LeftCard, ...]:
        """Files that are not what they say they are, or cannot be read; not those that merely no longer count."""
        plain = {Refused.ENDED, Refused.VOID, Refused.OLDER, Refused.OTHER_KIND, Refused.OWN}
        return tuple(one for one in self.left if one.why not in plain)


def read_folder(folder: Path, kind: str, day: str, *, without: Collection[str] = ()) -> CardFolder:
    """Read the cards of one kind in a folder.

    Parameters
    ----------
    folder : Path
        With files of cards (.json); `GROWERS` in it, where it is there, lists the keys that are taken.
    kind : {"pool", "forecast"}
        What they are wanted for.
    day : str
        On which consents must hold.
    without : collection of str
        Public keys whose cards are not wanted: the reader's own.

    Raises
    ------
    FileError
        If there is no such folder, or it cannot be read.
    """
    if not folder.is_dir():
        raise FileError(f"no folder of cards at {str(folder)!r}")
    read: list[tuple[str, Card]] = []
    left: list[LeftCard] = []
    for path in sorted(folder.glob("*.json")):
        try:
            read.append((path.name, read_card(path.read_bytes())))
        except BadCardError as error:
            left.append(LeftCard(path.name, error.why, error.value))
        except OSError as error:
            raise FileError(f"{path} cannot be read: {error.strerror}") from error
    known = listed_words(folder / GROWERS)
    cards, others = choose(read, kind, day, known, without)
    return CardFolder(cards, tuple(sorted([*left, *others], key=lambda one: one.file)), known is not None)


def choose(
    read: Sequence[tuple[str, Card]],
    kind: str,
    day: str,
    known: Collection[str] | None = None,
    without: Collection[str] = (),
) -> tuple[tuple[Card, ...], list[LeftCard]]:
    """Choose one card a block.

    A void card takes back every card of its block that its own key signed, earlier and later ones: clocks may be wrong, and
    who took something back must not find it there again. Of others the one made last counts; of two of one moment that
    differ neither does. None of it hangs on the order of `read`.
    """
    left: list[LeftCard] = []
    blocks: defaultdict[tuple[str, str], list[tuple[str, Card]]] = defaultdict(list)
    for file, card in read:
        if card.kind != kind:
            left.append(LeftCard(file, Refused.OTHER_KIND, card.kind))
        elif card.grower in without:
            left.append(LeftCard(file, Refused.OWN))
        elif known is not None and card.grower not in known:
            left.append(LeftCard(file, Refused.UNKNOWN_GROWER, card.grower[:16]))
        else:
            blocks[card.grower, card.id].append((file, card))
    chosen: list[Card] = []
    for group in blocks.values():
        counts, others = _of_block(group, day)
        left += others
        chosen += [counts] if counts is not None else []
    return tuple(sorted(chosen, key=lambda card: (card.grower, card.id))), left


def _of_block(group: Sequence[tuple[str, Card]], day: str) -> tuple[Card | None, list[LeftCard]]:
    """Return the card of a block that counts, and why the others do not."""
    if any(card.void for _, card in group):
        return None, [LeftCard(file, Refused.VOID) for file, _ in group]
    last = max(card.made for _, card in group)
    newest = [(file, card) for file, card in group if card.made == last]
    left = [LeftCard(file, Refused.OLDER, last) for file, card in group if card.made != last]
    if len({card.told["signature"] for _, card in newest}) > 1:
        return None, [*left, *(LeftCard(file, Refused.TWO_AT_ONCE, last) for file, _ in newest)]
    card = newest[0][1]
    left += [LeftCard(file, Refused.OLDER, last) for file in sorted(file for file, _ in newest)[1:]]
    if card.until < day:
        return None, [
            *left,
            *(LeftCard(file, Refused.ENDED, card.until) for file in sorted(file for file, _ in newest)[:1]),
        ]
    return card, left


def listed_words(path: Path) -> tuple[str, ...] | None:
    """Return the first word of each line of a list; None where there is no list.

    Raises
    ------
    FileError
        If it cannot be read.
    """
    try:
        lines = path.read_text("utf-8-sig").splitlines()
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise FileError(f"{path} cannot be read as text in UTF-8: {error}") from error
    return tuple(line.split()[0] for line in lines if line.split() and not line.lstrip().startswith("#"))

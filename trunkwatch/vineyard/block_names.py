"""Which block a name means: a block is known by its vineyard and its label, and keeps every name that it ever had.

A block is its first record in the table of blocks, together with all that corrects it. A rename is
such a correction, so records that were written under an earlier name stay with their block. In
the store records carry the first name of their block: the same line, logged before a rename and
after it, is the same record.
"""

from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from threading import Lock
from typing import Any
from weakref import ref

import pandas as pd

from trunkwatch.errors import UnknownBlockError
from trunkwatch.vineyard.records import roots_of, standing
from trunkwatch.vineyard.tables import TABLES, records_of

__all__ = ["AmbiguousNameError", "Block", "BlockNames", "Name", "listed"]

#: Vineyard and label.
Name = tuple[str, str]


_LAST: "deque[tuple[ref[pd.DataFrame], BlockNames]]" = deque(maxlen=8)
_LOCK = Lock()


class AmbiguousNameError(UnknownBlockError):
    """A name that several blocks have: the message lists the names that tell them apart."""


@dataclass(frozen=True, slots=True)
class Block:
    """One block.

    Attributes
    ----------
    root : str
        Id of the first record of the block.
    names : tuple of (vineyard, label)
        All names that it ever had, the first one first.
    today : (vineyard, label)
        As it is named today; its last name where it was taken back.
    stands : bool
        Whether it is a block today, not taken back.
    """

    root: str
    names: tuple[Name, ...]
    today: Name
    stands: bool

    @property
    def first(self) -> Name:
        """The first name."""
        return self.names[0]

    @property
    def vineyard(self) -> str:
        """The vineyard as it is named today."""
        return self.today[0]

    @property
    def label(self) -> str:
        """The label of today."""
        return self.today[1]


class BlockNames:
    """All blocks of a vineyard file or folder, and what their names mean.

    Parameters
    ----------
    blocks : DataFrame
        Every version of every record of the table of blocks, with ids.
    """

    def __init__(self, blocks: pd.DataFrame) -> None:
        self.every: tuple[Block, ...] = tuple(_blocks_of(blocks))
        self.blocks: tuple[Block, ...] = tuple(block for block in self.every if block.stands)
        self._by_name: dict[Name, Block] = {}
        self.shared: dict[Name, list[Block]] = {}
        for block in sorted(self.every, key=lambda one: not one.stands):
            for name in block.names:
                other = self._by_name.setdefault(name, block)
                if other is not block and block.stands:
                    self.shared.setdefault(name, [other]).append(block)
        for name in [name for name in self.shared if not name[0]]:
            # Before they were named, the vineyards of several growers had no name: that tells none of them apart.
            now = [block for block in self.shared[name] if block.today == name]
            if len(now) < 2:
                del self.shared[name], self._by_name[name]
                if now:
                    self._by_name[name] = now[0]
        self._by_label = {True: _by_label(self.blocks), False: _by_label(self.every)}
        self._outside = {block.root: self._outside_name(block) for block in self.every}
        self._by_outside = {self._outside[block.root]: block for block in self.blocks}

    @classmethod
    def of(cls, blocks: pd.DataFrame) -> "BlockNames":
        """Return the names of a table of blocks that nobody changes in place; of the last few tables they are kept."""
        with _LOCK:
            for kept, names in _LAST:
                if kept() is blocks:
                    return names
        names = cls(blocks)
        with _LOCK:
            _LAST.append((ref(blocks), names))
        return names

    def _outside_name(self, block: Block) -> str:
        vineyard, label = block.today
        full = f"{vineyard}/{label}"
        if not vineyard:
            return label
        others = [other for other in self.blocks if other.root != block.root]
        taken = any(
            label in (name, f"{owner}/{name}") for other in others for owner, name in (*other.names, other.today)
        )
        return full if taken else label

    def outside(self, block: Block) -> str:
        """Return the name that people use: the label where it is the only one, else vineyard/label."""
        return self._outside[block.root]

    @property
    def labels(self) -> tuple[str, ...]:
        """Names that people use of all blocks, in the order the blocks came."""
        return tuple(self._outside[block.root] for block in self.blocks)

    def of_name(self, vineyard: str, label: str) -> Block | None:
        """Return the block that has, or ever had, exactly this name; None where there is none."""
        return self._by_name.get((vineyard, label))

    def meant(self, vineyard: str, label: str) -> tuple[Block, ...]:
        """Return the blocks that a record may mean: one where that is clear, none where no such block is known.

        An empty vineyard means the only block that has, or had, that label. Vineyard/label in one is understood.
        """
        exact = self._by_name.get((vineyard, label)) if vineyard else None
        if exact is not None:
            return (exact,)
        if vineyard:
            inner = label.removeprefix(f"{vineyard}/")
            exact = self._by_name.get((vineyard, inner))
            return (exact,) if exact is not None else ()
        for standing_only in (True, False):
            named = self._by_label[standing_only].get(label, ())
            if named:
                return named
        parts = label.split("/")
        for cut in range(1, len(parts)):
            exact = self._by_name.get(("/".join(parts[:cut]), "/".join(parts[cut:])))
            if exact is not None:
                return (exact,)
        return ()

    def find(self, name: str, option: str = "--block takes") -> Block:
        """Return the block that a person means by a name.

        Raises
        ------
        AmbiguousNameError
            If several blocks are named so.
        UnknownBlockError
            If none is.
        """
        block = self._by_outside.get(name)
        if block is not None:
            return block
        meant = tuple(block for block in self.meant("", name) if block.stands)
        if len(meant) == 1:
            return meant[0]
        if meant:
            told = ", ".join(self.outside(one) for one in meant)
            raise AmbiguousNameError(f"{listed_number(len(meant))} blocks are named {name!r}: {option} one of: {told}")
        raise UnknownBlockError(f"no block {name!r}; the blocks are: {', '.join(self.labels)}")

    # ---- Vineyards ----------------------------------------------------------------------------------------------

    @property
    def vineyards(self) -> tuple[str, ...]:
        """Names of all vineyards of today, in the order their blocks came."""
        return tuple(dict.fromkeys(block.vineyard for block in self.blocks))

    def names_of_vineyard(self, vineyard: str) -> tuple[str, ...]:
        """Return all names of a vineyard: the first one first; earlier names are those that no block has today."""
        now = set(self.vineyards)
        own = [block for block in self.blocks if block.vineyard == vineyard]
        gone = {owner for block in own for owner, _ in block.names if owner not in now}
        roots = sorted({block.first[0] for block in own} & gone)
        return tuple(dict.fromkeys([*roots[:1], vineyard, *sorted(gone)]))

    def vineyard_of(self, written: str) -> str | None:
        """Return the vineyard of today that a name means; None where it is not known or not clear."""
        if written in self.vineyards:
            return written
        now = [one for one in self.vineyards if written in self.names_of_vineyard(one)]
        return now[0] if len(now) == 1 else None

    # ---- Records ------------------------------------------------------------------------------------------------

    def of_block(self, frame: pd.DataFrame, block: Block) -> pd.DataFrame:
        """Return those of the records, as they are kept, that are of one block."""
        pairs = list(zip(frame["vineyard"], frame["block"], strict=True))
        own = {pair: block in (self.of_name(*pair), *(self.meant(*pair) if not pair[0] else ())) for pair in set(pairs)}
        return frame if all(own.values()) else frame[[own[pair] for pair in pairs]].reset_index(drop=True)

    def today(self, table: str, frame: pd.DataFrame) -> pd.DataFrame:
        """Return records with block and vineyard as they are named today; blocks themselves are left as they are."""
        return self._renamed(table, frame, outside=False)

    def outwards(self, table: str, frame: pd.DataFrame) -> pd.DataFrame:
        """Return records with the name that people use in the column `block`, those of blocks too."""
        return self._renamed(table, frame, outside=True)

    def _renamed(self, table: str, frame: pd.DataFrame, *, outside: bool) -> pd.DataFrame:
        if frame.empty or (table == "blocks" and not outside):
            return frame
        if "block" not in TABLES[table].names:
            owners = {one: self.vineyard_of(one) for one in set(frame["vineyard"])}
            if all(new in (None, old) for old, new in owners.items()):
                return frame
            return frame.assign(vineyard=[owners[one] or one for one in frame["vineyard"]])
        pairs = list(zip(frame["vineyard"], frame["block"], strict=True))
        now: dict[Name, Name] = {}
        for pair in set(pairs):
            block = self.of_name(*pair)
            if block is None:  # written before its block was known, or never named
                meant = self.meant(*pair)
                block = meant[0] if len(meant) == 1 else None
            if block is None:
                now[pair] = pair
            else:
                now[pair] = (block.vineyard, self.outside(block) if outside else block.label)
        if all(old == new for old, new in now.items()):
            return frame
        told = [now[pair] for pair in pairs]
        return frame.assign(vineyard=[one[0] for one in told], block=[one[1] for one in told])


def listed_number(many: int) -> str:
    """Return a small number as a word."""
    return {2: "two", 3: "three", 4: "four"}.get(many, str(many))


def listed(names: Iterable[str]) -> str:
    """Return names as a list with or; a vineyard without a name is called that."""
    told = [name or "the vineyard without a name" for name in names]
    return " or ".join([", ".join(told[:-1]), told[-1]]) if len(told) > 1 else "".join(told)


def _by_label(blocks: Iterable[Block]) -> dict[str, tuple[Block, ...]]:
    found: dict[str, dict[str, Block]] = {}
    for block in blocks:
        for _, label in block.names:
            found.setdefault(label, {})[block.root] = block
    return {label: tuple(own.values()) for label, own in found.items()}


def _blocks_of(frame: pd.DataFrame) -> list[Block]:
    """Put every version of a block to its root, in the order the blocks came."""
    if frame.empty:
        return []
    roots = roots_of(frame)
    families: dict[str, list[Mapping[str, Any]]] = {}
    for record in records_of(frame):
        name = str(record["id"])
        families.setdefault(roots.get(name, name), []).append(record)
    now = {str(record["id"]): record for record in records_of(standing(frame))}
    found = []
    for root, family in families.items():
        family.sort(key=lambda one: (str(one["id"]) != root, str(one["recorded_at"]), str(one["id"])))
        names = tuple(dict.fromkeys((str(one["vineyard"]), str(one["block"])) for one in family))
        stands = next((one for one in family if str(one["id"]) in now), None)
        last = family[-1] if stands is None else stands
        found.append(Block(root, names, (str(last["vineyard"]), str(last["block"])), stands is not None))
    return found

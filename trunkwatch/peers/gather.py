"""Counts of every block of one or more vineyards by season, with what is on record of the block: the rows of all comparison."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from trunkwatch.block.opening import open_vineyard, read
from trunkwatch.errors import RecordError, TrunkwatchError
from trunkwatch.history import DEFINITIONS, BlockHistory, BlockReading, build_history, definition_named, rate
from trunkwatch.store import Store

__all__ = ["BlockRow", "Gathered", "LeftBlock", "OfBlock", "gather", "put_together", "rows_of_block"]

#: How many times as many block seasons must count for a narrower definition to be taken unasked (our own convention).
_FAR_MORE = 1.2


@dataclass(frozen=True, slots=True)
class BlockRow:
    """One block in one season.

    Attributes
    ----------
    block : str
        As it is called among all: the label where there is one grower, else grower/label.
    grower : str
        The vineyard; the name of the file where none is written.
    cases, vines : int
        Showing, and mature living vines scouted.
    age : float
        Seasons since the year of planting, nan where that is not written.
    cultivar, rootstock, training : str
        Of the block; empty where not written, "several" where its rows differ.
    observers : tuple of str
        Who scouted; "" for a look without a name.
    classes : frozenset of str
        Classes of looks that took place.
    """

    block: str
    grower: str
    season: int
    cases: int
    vines: int
    age: float
    cultivar: str
    rootstock: str
    training: str
    observers: tuple[str, ...]
    classes: frozenset[str]


@dataclass(frozen=True, slots=True)
class LeftBlock:
    """A block that could not be read or has no season that counts; `reason` is empty for the latter."""

    block: str
    reason: str


@dataclass(frozen=True, slots=True)
class Gathered:
    """All rows of one definition.

    Attributes
    ----------
    definition : str
        The one asked for; else any, or one for which far more block seasons count.
    rows : tuple of BlockRow
        Block seasons that count, scouted in the same classes of looks as most of them.
    other_looks : int
        Block seasons that count and were scouted in other classes of looks.
    left : tuple of LeftBlock
        Blocks without any row.
    """

    definition: str
    rows: tuple[BlockRow, ...]
    other_looks: int
    left: tuple[LeftBlock, ...]

    @property
    def blocks(self) -> tuple[str, ...]:
        """Names of all blocks that have a row, in order."""
        return tuple(sorted({row.block for row in self.rows}))

    @property
    def growers(self) -> tuple[str, ...]:
        """All growers that have a row, in order."""
        return tuple(sorted({row.grower for row in self.rows}))


def gather(
    paths: Sequence[str | Path],
    *,
    definition: str | None = None,
    keep_good: bool = False,
    done: Callable[[float], None] = lambda _: None,
) -> Gathered:
    """Read every block of some vineyards.

    Parameters
    ----------
    paths : sequence of str or Path
        Folders or files; each grower's own.
    definition : {"any", "leaf", "dieback"}, optional
        What makes a case, the same for all blocks.
    keep_good : bool
        Take the good lines of files that have faulty ones.
    done : callable
        Called with the share of vineyards that are read.

    Raises
    ------
    TrunkwatchError
        If a vineyard cannot be opened, or a block of one grower stands in two of them.
    """
    wanted = tuple(DEFINITIONS) if definition is None else (definition_named(definition).name,)
    found: list[OfBlock] = []
    seen: dict[tuple[str, str], Path] = {}
    for number, path in enumerate(map(Path, paths)):
        with open_vineyard(path, keep_good=keep_good) as store:
            for name in store.blocks():
                one = _of_block(store, name, path, wanted)
                _only_once(one, path, seen)
                found.append(one)
        done((number + 1) / len(paths))
    several = len({one.grower for one in found}) > 1
    return put_together(found, wanted, several=several)


@dataclass(frozen=True, slots=True)
class OfBlock:
    """A block of a grower: its rows by definition, or why there are none."""

    grower: str
    label: str
    rows: dict[str, list[BlockRow]]
    error: str = ""


def _of_block(store: Store, name: str, path: Path, wanted: Sequence[str]) -> OfBlock:
    today = store.names().find(name).today
    grower, label = today[0] or path.resolve().stem, today[1]
    try:
        return rows_of_block(store, name, grower, label, wanted)
    except TrunkwatchError as error:
        return OfBlock(grower, label, {}, str(error))


def rows_of_block(
    store: Store, name: str, grower: str, label: str, wanted: Sequence[str] = tuple(DEFINITIONS)
) -> OfBlock:
    """Read the rows of one block under some definitions.

    Raises
    ------
    TrunkwatchError
        If the block cannot be read.
    """
    reading, _ = read(store, name)
    return OfBlock(grower, label, {one: _rows_of(reading, one, grower, label) for one in wanted})


def _only_once(one: OfBlock, path: Path, seen: dict[tuple[str, str], Path]) -> None:
    before = seen.setdefault((one.grower, one.label), path)
    if before != path:
        raise RecordError(
            f"block {one.label!r} of {one.grower!r} stands in {str(before)!r} and in {str(path)!r}: leave one of them out, or, where these are "
            f"two growers, give each vineyard its name: `trunkwatch rename {path} --vineyard '' --to NAME`"
        )


def _rows_of(reading: BlockReading, definition: str, grower: str, label: str) -> list[BlockRow]:
    history = build_history(reading, definition)
    line = reading.records.block
    planted = line.get("planted")
    year = (
        float(str(planted))
        if planted is not None and str(planted).strip() not in ("", "nan", "<NA>", "None")
        else float("nan")
    )
    out = []
    for look in history.looks:
        if not look.counted:
            continue
        shown = rate(history, "annual", look.season)
        if shown.vines:
            out.append(
                BlockRow(
                    label,
                    grower,
                    look.season,
                    shown.cases,
                    shown.vines,
                    look.season - year,
                    _cultivar(history),
                    reading.rootstock,
                    str(line.get("training") or ""),
                    _observers(reading, definition, look.season),
                    look.classes,
                )
            )
    return out


def _cultivar(history: BlockHistory) -> str:
    """Cultivar of the rows that hold vines."""
    kinds = {row.cultivar for row in history.grid.named}
    return kinds.pop() if len(kinds) == 1 else "several" if kinds else ""


def _observers(reading: BlockReading, definition: str, season: int) -> tuple[str, ...]:
    parts = definition_named(definition).parts
    return tuple(
        sorted(
            {
                look.observer
                for look in reading.looks
                if look.season == season and any(look.covers_part(part) for part in parts)
            }
        )
    )


def put_together(found: Sequence[OfBlock], wanted: Sequence[str] = tuple(DEFINITIONS), *, several: bool) -> Gathered:
    """Take the first definition, or one for which far more block seasons count; of these, those of the commonest classes of looks."""
    best: Gathered | None = None
    for definition in wanted:
        rows = [row for one in found for row in one.rows.get(definition, ())]
        common = Counter(row.classes for row in rows)
        usual = max(common, key=lambda classes: (common[classes], len(classes), sorted(classes)), default=frozenset())
        kept = tuple(_named(row, several=several) for row in rows if row.classes == usual)
        if best is None or len(kept) > _FAR_MORE * len(best.rows):
            with_rows = {row.block for row in kept}
            left = tuple(
                LeftBlock(name, one.error)
                for one in found
                if (name := _name(one.grower, one.label, several=several)) not in with_rows
            )
            best = Gathered(definition, kept, len(rows) - len(kept), left)
    assert best is not None  # noqa: S101 - there is a definition
    return best


def _name(grower: str, label: str, *, several: bool) -> str:
    return f"{grower}/{label}" if several else label


def _named(row: BlockRow, *, several: bool) -> BlockRow:
    return replace(row, block=_name(row.grower, row.block, several=several))

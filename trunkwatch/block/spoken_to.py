"""How the people of an open vineyard are spoken to, as its settings say."""

from collections.abc import Mapping
from dataclasses import replace

from trunkwatch.store import Store
from trunkwatch.vineyard.manner import AMERICAN, SETTINGS, Manner, follow, is_following
from trunkwatch.vineyard.spelling import holds_american
from trunkwatch.vineyard.tables import TABLES

__all__ = ["follow_store", "manner_of", "settings_of"]

#: Text columns that hold no words of people.
_NO_WORDS = frozenset({"id", "corrects", "recorded_at", "device", "read_from", "row", "position", "bay", "photo"})


def settings_of(store: Store, block: str | None = None) -> Mapping[str, str]:
    """Return what is written of the settings that hold for a block, by name; a file without a block keeps its own.

    Parameters
    ----------
    store : Store
        Open to read.
    block : str, optional
        Any block of the vineyard. Without it, what holds for all vineyards of the file.
    """
    frame = store.frame("settings", block)
    if frame.empty:
        return {}
    if block is None and (names := store.names()).blocks:
        first = {one.vineyard: names.outside(one) for one in reversed(names.blocks)}
        every = [settings_of(store, label) for label in first.values()]
        return {name: value for name, value in every[0].items() if all(one.get(name) == value for one in every)}
    # What was written before the vineyard had a name comes first, and what is of the vineyard stands over it.
    lines = zip(frame["vineyard"].tolist(), frame["name"].tolist(), frame["value"].tolist(), strict=True)
    return {name: value for _, name, value in sorted(lines, key=lambda line: line[0] != "")}


def manner_of(store: Store, block: str | None = None) -> Manner:
    """Return how the people of a vineyard are spoken to; parameters as of `settings_of`."""
    known = settings_of(store, block)
    spelling, units, paper = (
        known[name] if known.get(name) in values else values[0] for name, values in SETTINGS.items()
    )
    manner = Manner(spelling, units, paper)
    return manner if manner.spelling == AMERICAN.spelling else replace(manner, written=_written(store))


def follow_store(store: Store, block: str | None = None) -> None:
    """Speak from here on as a vineyard says, where what is opened decides; parameters as of `settings_of`."""
    if is_following():
        follow(manner_of(store, block))


def _written(store: Store) -> frozenset[str]:
    """Return the texts of people that hold a word which is spelled otherwise elsewhere: names and notes stay as they are."""
    found: set[str] = set()
    for table in TABLES.values():
        frame = store.stored(table.name)
        for column in table.columns:
            if column.kind == "text" and column.name not in _NO_WORDS:
                found |= {text for text in frame[column.name].unique() if holds_american(text)}
    return frozenset(found)

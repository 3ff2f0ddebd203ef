"""What a result is made of, as a short key: the records of a block, what was asked, and the program that answers."""

import json
from hashlib import blake2b
from typing import Any

import pandas as pd

from trunkwatch.block.program_mark import program_mark
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import TABLES

__all__ = ["block_content", "key_of", "vineyard_content"]


def block_content(store: Store, block: str) -> str:
    """Return a mark of all that stands on record of a block, the prices and the weather of its vineyard included."""
    mark = blake2b(digest_size=16)
    for table in TABLES:
        mark.update(_bytes(table, store.frame(table, block)))
    return mark.hexdigest()


def vineyard_content(store: Store) -> str:
    """Return a mark of all that stands on record of all blocks of a vineyard."""
    mark = blake2b(digest_size=16)
    for table in TABLES:
        mark.update(_bytes(table, store.frame(table)))
    return mark.hexdigest()


def key_of(content: str, options: dict[str, Any]) -> str:
    """Return the key of what is made of records under some options by this program."""
    asked = json.dumps(options, sort_keys=True, ensure_ascii=False)
    return blake2b(f"{program_mark()}\n{content}\n{asked}".encode(), digest_size=16).hexdigest()


def _bytes(table: str, frame: pd.DataFrame) -> bytes:
    """Write a table down; in which file and line a record stood makes no other answer."""
    return f"{table}\n{frame.drop(columns='read_from', errors='ignore').to_csv(index=False)}".encode()

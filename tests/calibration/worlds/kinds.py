"""What a world is, and what comes out of it: the tables a scout wrote, and the truth behind them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any
from zlib import crc32

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.vineyard.records import with_ids
from trunkwatch.vineyard.tables import TABLES, frame_of

__all__ = [
    "FOUND_DEAD",
    "FUTURE",
    "LAST_SEASON",
    "NEVER",
    "NOTED",
    "NOTHING",
    "NOT_LOOKED_AT",
    "OUTSIDE",
    "STOCK",
    "Block",
    "Future",
    "Simulated",
    "Spells",
    "Truth",
    "World",
    "frames_of",
]

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

#: The last season of every record: no day of it lies in the future.
LAST_SEASON = 2024
#: Seasons before the record (the block is planted in the first of them), and after it.
BEFORE, FUTURE = 12, 5
#: Metres between rows and between vines (common spacings; invented).
ROW_M, VINE_M = 2.5, 1.2
#: What a survey has of a vine.
NOT_LOOKED_AT, NOTHING, NOTED, FOUND_DEAD = -1, 0, 1, 2
#: No season, and where an infection came from when it was no vine of the block.
NEVER, OUTSIDE, STOCK = -1, -2, -3


@dataclass(frozen=True)
class Block:
    """The ground that a world runs on: its seed, seasons and size."""

    seed: int
    seasons: int
    shape: tuple[int, int]

    @property
    def years(self) -> int:
        """Seasons that are simulated: before, in and after the record."""
        return BEFORE + self.seasons + FUTURE

    @property
    def first(self) -> int:
        """First season of the record."""
        return LAST_SEASON - self.seasons + 1

    @property
    def planted(self) -> int:
        """Season in which the block was planted: the first that is simulated."""
        return self.first - BEFORE

    def chance(self, purpose: str) -> np.random.Generator:
        """Return random numbers that hang on seed and purpose only, so that variants of a world share theirs."""
        return np.random.default_rng([self.seed, crc32(purpose.encode())])

    @property
    def along_m(self) -> Floats:
        """Metres along the row, by row and station."""
        return np.broadcast_to(np.arange(self.shape[1]) * VINE_M, self.shape)

    @property
    def across_m(self) -> Floats:
        """Metres across the rows, by row and station."""
        return np.broadcast_to(np.arange(self.shape[0])[:, None] * ROW_M, self.shape)


@dataclass(frozen=True)
class Spells:
    """Every plant that ever stood: one entry a plant, the first plants in the order of the grid."""

    row: Ints
    station: Ints
    planted: Ints  # season; the block's for its first plants
    ended: Ints  # season in which it died or was pulled; NEVER
    infected_since: Ints  # season; NEVER
    source: Ints  # NEVER, OUTSIDE, STOCK, or row * stations + station of the vine that passed it on
    stations: int

    def infected_by(self, spell: int) -> tuple[int, int] | str | None:
        """Return the cell that passed the infection on, "outside", "stock", or None for a sound plant."""
        code = int(self.source[spell])
        named = {NEVER: None, OUTSIDE: "outside", STOCK: "stock"}
        return named[code] if code in named else divmod(code, self.stations)

    @property
    def passed(self) -> Bools:
        """Which plants were infected by another vine of the block."""
        return self.source >= 0


@dataclass(frozen=True)
class Future:
    """The seasons after the record, in which nothing is done: what is there, and what the same scouts would note."""

    showing: Bools  # season x row x station: true symptoms
    would_note: NDArray[np.int8]  # as `seen`, every row walked by its last season's observer
    severity: Floats
    alive: Bools
    showing_vines: Ints  # living vines that truly show, by season
    first_showing: Ints  # of these, vines that truly never showed before
    noted_vines: Ints  # vines that the scouts would note, by season
    first_noted: Ints  # of these, plants that no survey noted before, in the record or after it


@dataclass(frozen=True)
class Truth:
    """What really happened. Arrays by season of the record x row x station; rows and stations count from 0."""

    seasons: Ints
    plant: Ints  # index into spells of the plant that stands at the look; NEVER where none was ever planted
    spells: Spells
    infected: Bools
    showing: Bools
    seen: NDArray[np.int8]
    severity: Floats  # share of the vine that is dead, 0 to 1 (dieback and cold)
    alive: Bools
    died: Bools  # died in that season (before its look)
    cold: Bools  # damage by the cold winter stands
    worked: Bools  # renewed after the look of that season
    future: Future
    without_work: "Truth | None"  # the same random numbers, and nobody ever renewed a vine


@dataclass(frozen=True)
class Simulated:
    """A vineyard as written down, and the truth behind it."""

    world: str
    block: Block
    tables: Mapping[str, list[dict[str, Any]]]
    truth: Truth


@dataclass(frozen=True)
class World:
    """A kind of vineyard whose truth is known."""

    name: str
    what: str
    spreads: bool
    along: bool | None
    course: Callable[[Block], Any] = field(repr=False)
    truths: Mapping[str, Any] = field(default_factory=dict)
    basis: str = "invented"

    def make(self, seed: int, seasons: int = 12, shape: tuple[int, int] = (20, 40)) -> Simulated:
        """Simulate and write down.

        Parameters
        ----------
        seed : int
            The same seed gives the same vineyard.
        seasons : int
            Seasons of the record, 4 or more; the last is always `LAST_SEASON`.
        shape : tuple of int
            Rows and vines in a row, 8 rows of 12 or more.
        """
        from calibration.worlds.simulate import simulate

        if seasons < 4 or shape[0] < 8 or shape[1] < 12:
            raise ValueError(
                f"{seasons} seasons of {shape[0]} x {shape[1]} vines: 4 seasons, 8 rows of 12 are the least"
            )
        block = Block(seed, seasons, shape)
        return simulate(self.name, block, self.course(block))


def frames_of(tables: Mapping[str, list[dict[str, Any]]]) -> dict[str, pd.DataFrame]:
    """Return all tables as frames with ids, as the readers and the checks take them."""
    return {name: with_ids(name, frame_of(name, tables.get(name, []))) for name in TABLES}

"""One block over its years, as arrays: what every rate, test, map and report is made of."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["BlockHistory", "BlockRecords", "SeasonLook", "VineEvent"]


@dataclass(frozen=True, slots=True)
class BlockRecords:
    """The standing records of one block: voided and superseded ones are gone.

    Attributes
    ----------
    block : mapping
        The block's row of the `blocks` table.
    rows, plants, surveys, symptoms, work : DataFrame
        Rows of this block, columns as in `trunkwatch.vineyard.tables`.
    """

    block: Mapping[str, object]
    rows: pd.DataFrame
    plants: pd.DataFrame
    surveys: pd.DataFrame
    symptoms: pd.DataFrame
    work: pd.DataFrame

    @property
    def name(self) -> str:
        """Label of the block."""
        return str(self.block["block"])

    @property
    def planted(self) -> int | None:
        """First season of the block's first vines; None where it is not known."""
        planted = number_or_none(self.block.get("planted"))
        return None if planted is None else int(planted)


@dataclass(frozen=True, slots=True)
class SeasonLook:
    """What was looked at in a season, and whether the season counts for the case definition."""

    season: int
    counted: bool
    reason: str  # why it does not count; empty where it does
    looks: tuple[str, ...]  # looks that took place, in the order of the year
    vines_looked_at: int  # positions covered by all the looks the definition needs


@dataclass(frozen=True, slots=True)
class VineEvent:
    """One thing that happened to a position: a finding, a piece of work, a planting, a removal."""

    date: str
    season: int
    kind: str  # finding, work, planted, removed
    text: str  # for people: "dead arm (start), 60 %, M.K."
    casual: bool = False  # a finding that no survey covers: in the history, in no rate
    code: str = ""  # the symptom or kind of work as coded


@dataclass(frozen=True, slots=True)
class BlockHistory:
    """One block over its years under one case definition.

    Arrays have the shape (seasons, rows, stations); `seasons` gives the years of the first axis.

    Attributes
    ----------
    condition : uint8 array
        Values of `Condition`.
    looked_at : bool array
        Positions covered by every look that the definition needs.
    plant : int16 array
        Number of the plant in the position, 0 the first, -1 none; changes at a replant.
    case : bool array
        A case on record at a counted look of that season, carried findings included.
    had_case : bool array
        The plant in the position has been a counted case in that season or before.
    relapse_risk, relapse : bool array
        Plants with a case that work cleared, nothing since and looked at; those that showed again.
    damaged : bool array
        Plants with a lasting case on record by the end of the season that no work has cleared by then.
    ever_case : bool array
        The plant of the first counted season has been a case by now, dead and removed ones included.
    lost_track : bool array
        Living plants of the first counted season, never a case, not looked at in this season.
    died : bool array
        Plants found dead, or removed as dead, since the last counted season.
    death_risk : bool array
        Plants seen alive in the last counted season whose position was looked at in this one.
    events : mapping of (row index, station index) to tuple of VineEvent
        In order of date; only vines with events have a key.
    """

    block: str
    definition: str
    grid: RowGrid
    seasons: tuple[int, ...]
    looks: tuple[SeasonLook, ...]
    condition: NDArray[np.uint8]
    looked_at: NDArray[np.bool_]
    plant: NDArray[np.int16]
    case: NDArray[np.bool_]
    had_case: NDArray[np.bool_]
    relapse_risk: NDArray[np.bool_]
    relapse: NDArray[np.bool_]
    damaged: NDArray[np.bool_]
    ever_case: NDArray[np.bool_]
    lost_track: NDArray[np.bool_]
    died: NDArray[np.bool_]
    death_risk: NDArray[np.bool_]
    events: Mapping[tuple[int, int], tuple[VineEvent, ...]] = field(repr=False)
    without_winter: bool = False
    notes: tuple[str, ...] = ()

    def index_of(self, season: int) -> int:
        """Return the place of a season on the first axis.

        Raises
        ------
        RecordError
            If the block has no records of that season.
        """
        if season not in self.seasons:
            span = f"{self.seasons[0]} to {self.seasons[-1]}" if self.seasons else "none"
            raise RecordError(f"block {self.block!r} has no season {season}; its seasons: {span}")
        return self.seasons.index(season)

    @property
    def counted_seasons(self) -> tuple[int, ...]:
        """Seasons that count for the definition, earliest first."""
        return tuple(look.season for look in self.looks if look.counted)

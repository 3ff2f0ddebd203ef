"""One block over its years, as arrays: what every rate, test, map and report is made of."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.history.reading import BlockReading
from trunkwatch.history.reason_words import apart_words, not_counted_words
from trunkwatch.history.reasons import NotCounted, SeasonNote

__all__ = ["BlockHistory", "SeasonLook"]


@dataclass(frozen=True, slots=True)
class SeasonLook:
    """What was looked at in a season, and whether the season counts for the case definition.

    Attributes
    ----------
    season : int
        Year of the harvest.
    reasons : tuple of NotCounted
        Why it does not count; empty where it does.
    compared : bool
        Whether it counts and the same classes of looks took place as in the last counted season.
    looks : tuple of str
        Looks that took place, in the order of the year.
    classes : frozenset of str
        Classes of looks (leafy, bare) that took place and that the definition takes.
    vines_looked_at : int
        Positions covered by all the looks that are asked for.
    """

    season: int
    reasons: tuple[NotCounted, ...]
    compared: bool
    looks: tuple[str, ...]
    classes: frozenset[str]
    vines_looked_at: int

    @property
    def counted(self) -> bool:
        """Whether the season counts."""
        return not self.reasons

    @property
    def reason(self) -> str:
        """Why it does not count, in words; empty where it does."""
        return not_counted_words(self.reasons)

    @property
    def aside(self) -> str:
        """Why it is drawn apart: it does not count, or other looks took place than in the seasons that are compared; else empty."""
        if self.reasons or self.compared:
            return self.reason
        return apart_words(self.classes)


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
    seen : bool array
        A case was seen at a look of that season.
    carried : bool array
        Not seen, but damage of before stood at a look of that season, which did not write it again.
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
    outside : bool array
        Positions on which damage stands at the season's end that the definition does not count: casual, or of a kind or
        a look that it does not take.
    reading : BlockReading
        The records that it was made of.
    """

    block: str
    definition: str
    grid: RowGrid
    seasons: tuple[int, ...]
    looks: tuple[SeasonLook, ...]
    condition: NDArray[np.uint8]
    looked_at: NDArray[np.bool_]
    plant: NDArray[np.int16]
    seen: NDArray[np.bool_]
    carried: NDArray[np.bool_]
    had_case: NDArray[np.bool_]
    relapse_risk: NDArray[np.bool_]
    relapse: NDArray[np.bool_]
    damaged: NDArray[np.bool_]
    ever_case: NDArray[np.bool_]
    lost_track: NDArray[np.bool_]
    died: NDArray[np.bool_]
    death_risk: NDArray[np.bool_]
    outside: NDArray[np.bool_]
    reading: BlockReading = field(repr=False)
    without_winter: bool = False
    notes: tuple[SeasonNote, ...] = ()

    @property
    def case(self) -> NDArray[np.bool_]:
        """A case on record at a counted look of that season, seen or carried."""
        return self.seen | self.carried

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

    @property
    def compared_seasons(self) -> tuple[int, ...]:
        """Counted seasons with the same classes of looks as the last of them, earliest first."""
        return tuple(look.season for look in self.looks if look.compared)

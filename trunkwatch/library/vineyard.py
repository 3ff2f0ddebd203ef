"""A vineyard opened from Python: its blocks, and of each the history, rates, pattern, forecast and plan."""

from pathlib import Path
from types import TracebackType
from typing import Literal, Self

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.block import BlockSeason, trend_of
from trunkwatch.block import open_vineyard as open_store
from trunkwatch.block.vine_records import vine_records
from trunkwatch.block.vine_seasons import vine_seasons
from trunkwatch.decide.decision import Decision
from trunkwatch.decide.outlook import Outlook, VineyardSteps, outlook
from trunkwatch.decide.road import decide_on
from trunkwatch.errors import UnknownBlockError
from trunkwatch.history import RATES, rate
from trunkwatch.pattern import Pattern, pattern_of
from trunkwatch.store import as_path

__all__ = ["Block", "Definition", "Vineyard", "open_vineyard"]

Definition = Literal["any", "leaf", "dieback"]


def open_vineyard(path: str | Path, *, keep_good: bool = False) -> "Vineyard":
    """Open a vineyard to read: a folder of tables or a .gpkg file.

    Parameters
    ----------
    path : str or Path
        Folder or file.
    keep_good : bool
        Take the good lines of files that have lines with errors.

    Returns
    -------
    Vineyard
        Use it in a ``with`` statement, or close it.

    Raises
    ------
    FileError
        If there is nothing, or nothing that can be read.
    FaultyNotesError
        If tables have errors and `keep_good` is off.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> with tw.open("sample_blocks") as vineyard:
    ...     vineyard.blocks
    ('Mill', 'Chapel', 'Orchard', 'Hollow')
    """
    return Vineyard(path, keep_good=keep_good)


class Vineyard:
    """A vineyard on the disk.

    Parameters
    ----------
    path, keep_good
        As in `trunkwatch.open`.
    """

    def __init__(self, path: str | Path, *, keep_good: bool = False) -> None:
        self._store = open_store(path, keep_good=keep_good)
        self._steps = VineyardSteps(self._store)
        self.path: Path = as_path(path)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._store.close()

    def __repr__(self) -> str:
        return f"Vineyard({str(self.path)!r}): blocks {', '.join(self.blocks)}"

    @property
    def blocks(self) -> tuple[str, ...]:
        """Labels of the blocks."""
        return tuple(self._store.blocks())

    def block(self, label: str | None = None, *, definition: Definition | None = None) -> "Block":
        """Return one block.

        Parameters
        ----------
        label : str, optional
            May be left out where there is only one.
        definition : {"any", "leaf", "dieback"}, optional
            What makes a case; `any` where it can be counted.

        Raises
        ------
        UnknownBlockError
            If there is no such block, or none is named and there are several.
        """
        named = label if label is not None or len(self.blocks) != 1 else self.blocks[0]
        if named is None:
            raise UnknownBlockError(f"which block? block(...) takes one of: {', '.join(self.blocks)}")
        return Block(self._steps, named, definition)

    def history(self, block: str | None = None, *, definition: Definition | None = None) -> pd.DataFrame:
        """Return vines by seasons, as `Block.history`."""
        return self.block(block, definition=definition).history()

    def pattern(
        self,
        block: str | None = None,
        season: int | None = None,
        *,
        definition: Definition | None = None,
        permutations: int = 9999,
        seed: int = 1,
    ) -> Pattern:
        """Test the pattern of a season, as `Block.pattern`."""
        return self.block(block, definition=definition).pattern(season, permutations=permutations, seed=seed)

    def forecast(
        self,
        block: str | None = None,
        season: int | None = None,
        *,
        definition: Definition | None = None,
        seed: int = 1,
    ) -> Outlook:
        """Say what to expect of the next season, as `Block.forecast`."""
        return self.block(block, definition=definition).forecast(season, seed=seed)

    def plan(
        self,
        block: str | None = None,
        season: int | None = None,
        *,
        definition: Definition | None = None,
        crew_days: float = 10.0,
        futures: int = 300,
        seed: int = 1,
    ) -> Decision:
        """Decide on a block, as `Block.plan`."""
        return self.block(block, definition=definition).plan(season, crew_days=crew_days, futures=futures, seed=seed)


class Block:
    """One block of a vineyard; made by `Vineyard.block`."""

    def __init__(self, steps: VineyardSteps, label: str, definition: Definition | None) -> None:
        self._steps, self._definition = steps, definition
        self.label: str = label

    def __repr__(self) -> str:
        now = self.season()
        return f"Block {self.label!r}: {int(now.history.grid.exists.sum())} positions, seasons {', '.join(map(str, self.seasons))}"

    def season(self, season: int | None = None) -> BlockSeason:
        """Return the block read up to a season; the last counted one where left out.

        Raises
        ------
        RecordError
            If the block has no such season.
        """
        return self._steps.readings.season(self.label, season, definition=self._definition)

    @property
    def seasons(self) -> tuple[int, ...]:
        """Years of harvest in which the inspections that the definition needs took place."""
        return tuple(self.season().history.counted_seasons)

    def cases(self, season: int | None = None) -> "np.ma.MaskedArray[tuple[int, int], np.dtype[np.bool_]]":
        """Return the map of a season for `trunkwatch.stats`.

        Returns
        -------
        (rows, stations) masked bool array
            True for a vine that shows; masked where no vine counts: nobody scouted it, none stands there, or it is too young.

        Raises
        ------
        RecordError
            If the season does not count.
        """
        now = self.season(season)
        found = rate(now.history, "annual", now.season)
        return np.ma.array(found.numerator, mask=~found.denominator)

    def vines(self, season: int | None = None) -> NDArray[np.bool_]:
        """Return the vines that count in a season, (rows, stations) bool array."""
        return ~np.ma.getmaskarray(self.cases(season))

    def history(self) -> pd.DataFrame:
        """Return vines by seasons: a line a position and season, with condition, findings, work and coordinates.

        Returns
        -------
        DataFrame
            Columns of `trunkwatch.block.vine_seasons.VINE_SEASONS`, longitude and latitude.
        """
        last = self.season()
        return vine_seasons(last.history, last.placed)

    def records(self, row: str, position: int | str) -> pd.DataFrame:
        """Return every record of one vine by day, also what was corrected or taken back.

        Returns
        -------
        DataFrame
            Columns date, text, fate, table, id, corrects, observer, recorded_at, device, read_from.
        """
        names = ("date", "text", "fate", "table", "id", "corrects", "observer", "recorded_at", "device", "read_from")
        found = vine_records(self._steps.readings.store, self.label, str(row), str(position))
        return pd.DataFrame([{name: getattr(one, name) for name in names} for one in found], columns=list(names))

    def rates(self) -> pd.DataFrame:
        """Return the rates of all seasons.

        Returns
        -------
        DataFrame
            A line a season and rate (annual, standing, ever, new, relapse, deaths): cases, vines, share, and low and high of its
            likely range (95 %, Wilson); reason where there is none.
        """
        trend = trend_of(self.season())
        return pd.DataFrame(
            [
                {
                    "season": one.season,
                    "rate": name,
                    "cases": one.rates[name].cases,
                    "vines": one.rates[name].vines,
                    "share": one.limits[name].share,
                    "low": one.limits[name].low,
                    "high": one.limits[name].high,
                    "reason": one.rates[name].reason or one.look.aside,
                }
                for one in trend.seasons
                for name in RATES
            ]
        )

    def pattern(self, season: int | None = None, *, permutations: int = 9999, seed: int = 1) -> Pattern:
        """Test whether cases lie as by chance, bunched, along rows, and whether they spread.

        Parameters
        ----------
        season : int, optional
            The last counted one where left out.
        permutations : int
            Random reshuffles where no exact law serves.
        seed : int
            Random seed.
        """
        return pattern_of(self.season(season), permutations=permutations, seed=seed)

    def forecast(self, season: int | None = None, *, seed: int = 1) -> Outlook:
        """Say what to expect of the season after, and how good such forecasts were before.

        Raises
        ------
        RecordError
            If there is too little record.
        """
        now = self.season(season)
        return outlook(now, self._steps.others(self.label, now.history.definition), seed=seed)

    def plan(
        self, season: int | None = None, *, crew_days: float = 10.0, futures: int = 300, seed: int = 1
    ) -> Decision:
        """Compare strategies in money on the block's own futures, and plan this winter's work.

        Parameters
        ----------
        season : int, optional
            The season just scouted; the last counted one where left out.
        crew_days : float
            Crew-days a winter.
        futures : int
            Simulated futures.
        seed : int
            Random seed.

        Raises
        ------
        RecordError
            If no season counts, or a cost is out of its range.
        """
        return decide_on(self._steps, self.season(season), crew_days=crew_days, futures=futures, seed=seed)

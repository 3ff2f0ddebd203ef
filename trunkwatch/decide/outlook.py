"""The forecast of one block: next season, the back-test beside it, and how much the priors matter."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trunkwatch.block.opening import BlockSeason, Readings
from trunkwatch.decide.kept_counts import KeptCounts
from trunkwatch.errors import RecordError
from trunkwatch.forecast.back_test import BackTest, back_test
from trunkwatch.forecast.estimate import Estimates, draw, estimate
from trunkwatch.forecast.next_season import NextSeason, next_season
from trunkwatch.forecast.season_counts import SeasonCounts, season_counts, up_to
from trunkwatch.forecast.vine_years import SeasonStep, before_season, steps_of
from trunkwatch.history import BlockHistory
from trunkwatch.store import Store

__all__ = ["LeansOn", "LentCounts", "Outlook", "VineyardSteps", "outlook", "steps_of_vineyard"]

DRAWS = 4000


@dataclass(frozen=True, slots=True)
class Outlook:
    """What is expected of the season after the last one.

    Attributes
    ----------
    season : int
        The season foretold.
    forecast : NextSeason
        Counts with limits, and every vine's chance.
    half, double : NextSeason
        The same with priors of half and of double spread.
    estimates : Estimates
        Chances learnt.
    tested : BackTest
        How good forecasts of earlier seasons would have been.
    steps : list of SeasonStep
        The seasons that it was learnt from.
    """

    block: str
    season: int
    forecast: NextSeason
    half: NextSeason
    double: NextSeason
    estimates: Estimates
    tested: BackTest
    steps: list[SeasonStep]
    seed: int


@dataclass(frozen=True, slots=True)
class LentCounts:
    """Counts of a block of another grower, who agreed to it: under which definition, and a mark of whose they are."""

    definition: str
    grower: str
    seasons: tuple[SeasonCounts, ...]


@dataclass(frozen=True, slots=True)
class LeansOn:
    """What a forecast leans on beside the block's own record: other blocks of its vineyard, blocks of others, and how many others."""

    own: int
    lent: int
    growers: int


class VineyardSteps:
    """The counted seasons of a vineyard's blocks, each block read once however many lean on it.

    A file may hold the vineyards of several growers: a block leans on those of its own, and on counts that others lent.

    Parameters
    ----------
    readings : Readings or Store
        The blocks that are read already, or the vineyard.
    kept : KeptCounts, optional
        Where counts of earlier runs are kept; a block whose records did not change is not read for them.
    lent : sequence of LentCounts
        Counts of other growers' blocks.
    """

    def __init__(
        self, readings: Readings | Store, *, kept: KeptCounts | None = None, lent: Sequence[LentCounts] = ()
    ) -> None:
        self.readings: Readings = readings if isinstance(readings, Readings) else Readings(readings)
        self.kept: KeptCounts | None = kept
        self.lent: tuple[LentCounts, ...] = tuple(lent)
        self._read: dict[tuple[str, str], list[SeasonCounts]] = {}

    def others(self, block: str, definition: str) -> list[list[SeasonCounts]]:
        """Return the counts of all blocks that a block may lean on, under the same definition."""
        own = [self._of(label, definition) for label in self._beside(block)]
        lent = [list(one.seasons) for one in self.lent if one.definition == definition]
        return [counts for counts in (*own, *lent) if counts]

    def leans_on(self, block: str, definition: str, season: int) -> LeansOn:
        """Say on how many blocks a forecast of the season after leans; cards count as a whole, so only those that end by then."""
        own = sum(bool(up_to([self._of(label, definition)], season)[0]) for label in self._beside(block))
        lent = [one for one in self.lent if one.definition == definition and up_to([one.seasons], season)[0]]
        return LeansOn(own, len(lent), len({one.grower for one in lent}))

    def _beside(self, block: str) -> list[str]:
        """Return the other blocks of the block's own vineyard."""
        names = self.readings.store.names()
        whose = names.find(block).vineyard
        return [label for one in names.blocks if one.vineyard == whose and (label := names.outside(one)) != block]

    def _of(self, label: str, definition: str) -> list[SeasonCounts]:
        key = label, definition
        if key not in self._read:
            earlier = self.kept.read(self.readings.store, label, definition) if self.kept is not None else None
            if earlier is None:
                earlier = self._counted(label, definition)
                if self.kept is not None:
                    self.kept.write(self.readings.store, label, definition, earlier)
            self._read[key] = earlier
        return self._read[key]

    def _counted(self, label: str, definition: str) -> list[SeasonCounts]:
        try:
            found = steps_of(self.readings.season(label, definition=definition).history)
        except RecordError:
            return []
        return [season_counts(step) for step in found]


def steps_of_vineyard(store: Store, block: str, definition: str) -> list[list[SeasonCounts]]:
    """Return the counts of all other blocks of a block's vineyard under the same definition."""
    return VineyardSteps(store).others(block, definition)


def outlook(season: BlockSeason, others: Sequence[Sequence[SeasonCounts]], *, seed: int = 1) -> Outlook:
    """Forecast the season after the last one of a block.

    Parameters
    ----------
    season : BlockSeason
        The block up to its last season.
    others : sequence of sequences of SeasonCounts
        Of other blocks, which a short record leans on.
    seed : int
        Of all draws.

    Raises
    ------
    RecordError
        If fewer than two seasons count: there is nothing to learn from.
    """
    history = season.history
    steps = steps_of(history, season.season)
    if not steps:
        raise RecordError(
            f"block {history.block!r} has {len(history.compared_seasons)} counted season(s): a forecast needs two, to see what followed on what"
        )
    earlier = up_to(others, season.season)
    found = {
        weight: estimate(steps, earlier, prior_weight=weight, ahead=season.season + 1) for weight in (1.0, 4.0, 0.25)
    }
    told = {weight: _ahead(history, one, seed) for weight, one in found.items()}
    return Outlook(
        history.block,
        season.season + 1,
        told[1.0],
        told[4.0],
        told[0.25],
        found[1.0],
        back_test(steps, earlier, seed=seed),
        steps,
        seed,
    )


def _ahead(history: BlockHistory, found: Estimates, seed: int) -> NextSeason:
    rng = np.random.Generator(np.random.SFC64([seed, 60]))
    return next_season(before_season(history, len(history.seasons)), draw(found, DRAWS, rng), rng)

"""The forecast of one block: next season, the back-test beside it, and how much the priors matter."""

from dataclasses import dataclass

import numpy as np

from trunkwatch.block.opening import BlockSeason, Readings
from trunkwatch.errors import RecordError
from trunkwatch.forecast.back_test import BackTest, back_test
from trunkwatch.forecast.estimate import Estimates, draw, estimate
from trunkwatch.forecast.next_season import NextSeason, next_season
from trunkwatch.forecast.vine_years import SeasonStep, before_season, steps_of
from trunkwatch.history import BlockHistory
from trunkwatch.store import Store

__all__ = ["Outlook", "VineyardSteps", "outlook", "steps_of_vineyard"]

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


class VineyardSteps:
    """The seasons of a vineyard's blocks, each block read once however many lean on it.

    Parameters
    ----------
    readings : Readings or Store
        The blocks that are read already, or the vineyard.
    """

    def __init__(self, readings: Readings | Store) -> None:
        self.readings = readings if isinstance(readings, Readings) else Readings(readings)
        self._read: dict[tuple[str, str], list[SeasonStep]] = {}

    def others(self, block: str, definition: str) -> list[list[SeasonStep]]:
        """Return the seasons of all other blocks that count under the same definition."""
        listed = [self._of(label, definition) for label in self.readings.store.blocks() if label != block]
        return [steps for steps in listed if steps]

    def _of(self, label: str, definition: str) -> list[SeasonStep]:
        key = label, definition
        if key not in self._read:
            try:
                self._read[key] = steps_of(self.readings.season(label, definition=definition).history)
            except RecordError:
                self._read[key] = []
        return self._read[key]


def steps_of_vineyard(store: Store, block: str, definition: str) -> list[list[SeasonStep]]:
    """Return the seasons of all other blocks of a vineyard that count under the same definition."""
    return VineyardSteps(store).others(block, definition)


def outlook(season: BlockSeason, others: list[list[SeasonStep]], *, seed: int = 1) -> Outlook:
    """Forecast the season after the last one of a block.

    Parameters
    ----------
    season : BlockSeason
        The block up to its last season.
    others : list of lists of SeasonStep
        Of the vineyard's other blocks, which a short record leans on.
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
    earlier = [[one for one in listed if one.season <= season.season] for listed in others]
    found = {
        weight: estimate(steps, earlier, prior_weight=weight, ahead=season.season + 1) for weight in (1.0, 4.0, 0.25)
    }
    told = {weight: _ahead(history, one, seed) for weight, one in found.items()}
    return Outlook(
        history.block, season.season + 1, told[1.0], told[4.0], told[0.25], found[1.0],
        back_test(steps, earlier, seed=seed), steps, seed,
    )  # fmt: skip


def _ahead(history: BlockHistory, found: Estimates, seed: int) -> NextSeason:
    rng = np.random.Generator(np.random.SFC64([seed, 60]))
    return next_season(before_season(history, len(history.seasons)), draw(found, DRAWS, rng), rng)

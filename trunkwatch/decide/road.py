"""The one road to a decision on a block: command, report and desk take it."""

from collections.abc import Callable

import pandas as pd

from trunkwatch.block.opening import BlockSeason
from trunkwatch.decide.decision import Decision, decide
from trunkwatch.decide.outlook import VineyardSteps
from trunkwatch.pattern.spread import Says, spread_verdict
from trunkwatch.renewal.strategies import Strategy

__all__ = ["SPARES", "decide_on"]

#: Share of the futures in which cutting a sick vine spares its neighbors, by what the dates say of spread: cases lie beside cases
#: where nothing passes from vine to vine, too, and there cutting them changes nothing for the others (our own convention).
SPARES: dict[Says, float] = {Says.FOR: 1.0, Says.EITHER: 0.5}
SHUFFLES = 499


def decide_on(
    steps: VineyardSteps,
    season: BlockSeason,
    *,
    costs: pd.DataFrame | None = None,
    crew_days: float = 10.0,
    futures: int = 300,
    strategies: tuple[Strategy, ...] | None = None,
    seed: int = 1,
    progress: Callable[[float], None] | None = None,
) -> Decision:
    """Decide on a block, leaning on the other blocks of its file.

    Parameters
    ----------
    steps : VineyardSteps
        The seasons of the file's blocks.
    season : BlockSeason
        The block up to the season just looked at.
    costs : DataFrame, optional
        The `costs` table; that of the block's vineyard where left out.
    crew_days, futures, strategies, seed, progress
        As in `trunkwatch.decide.decision.decide`.

    Raises
    ------
    RecordError
        If no season counts, or a cost is out of its range.
    """
    name = season.history.block
    table = steps.readings.store.frame("costs", name) if costs is None else costs
    others = steps.others(name, season.history.definition)
    verdict = spread_verdict(season.without_winter or season.history, season.season, permutations=SHUFFLES, seed=seed)
    return decide(
        season,
        others,
        table,
        crew_days=crew_days,
        futures=futures,
        strategies=strategies,
        passes=SPARES.get(verdict.says, 0.0),
        seed=seed,
        progress=progress,
    )

"""The one road to a decision on a block: command, report and desk take it."""

import pandas as pd

from trunkwatch.block.opening import BlockSeason
from trunkwatch.decide.decision import Decision, decide
from trunkwatch.decide.outlook import VineyardSteps
from trunkwatch.renewal.strategies import Strategy

__all__ = ["decide_on"]


def decide_on(
    steps: VineyardSteps,
    season: BlockSeason,
    *,
    costs: pd.DataFrame | None = None,
    crew_days: float = 10.0,
    futures: int = 300,
    strategies: tuple[Strategy, ...] | None = None,
    seed: int = 1,
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
    crew_days, futures, strategies, seed
        As in `trunkwatch.decide.decision.decide`.

    Raises
    ------
    RecordError
        If no season counts, or a cost is out of its range.
    """
    name = season.history.block
    table = steps.readings.store.frame("costs", name) if costs is None else costs
    others = steps.others(name, season.history.definition)
    return decide(season, others, table, crew_days=crew_days, futures=futures, strategies=strategies, seed=seed)

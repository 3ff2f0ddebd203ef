"""All that is said of the blocks of a vineyard on one day, as values: what terminal, page and desk take from one place."""

import datetime as dt
from dataclasses import dataclass, field

import pandas as pd

from trunkwatch.cold.ahead import ColdAhead, ahead_of, cold_ahead
from trunkwatch.cold.block_cold import BlockCold
from trunkwatch.cold.days import Weather
from trunkwatch.cold.of_store import cold_of_store, prices_on_record
from trunkwatch.cold.window import LONG_CUT, MOST_NODES, BlockWindow, window_of
from trunkwatch.cold.with_measures import Measure, WithMeasure, with_measure
from trunkwatch.store import Store
from trunkwatch.winter_model.cultivars import Group
from trunkwatch.winter_model.workable import Limits

__all__ = ["BlockAnswer", "ColdAsked", "answers_of_store"]


@dataclass(frozen=True, slots=True)
class ColdAsked:
    """What the user says: a stand-in, limits of a working day, nodes, their own forecast, measures to weigh."""

    stand_in: Group | None = None
    limits: Limits | None = None
    most_nodes: float = MOST_NODES
    first_cut_leaves: float = LONG_CUT
    forecast: pd.DataFrame | None = field(default=None, repr=False)
    measures: tuple[Measure, ...] = ()


@dataclass(frozen=True, slots=True)
class BlockAnswer:
    """One block and cultivar: what the cold took, when to prune, what a forecast would do, measures with their currency."""

    cold: BlockCold
    weather: Weather = field(repr=False)
    window: BlockWindow | None
    ahead: ColdAhead | None
    weighed: tuple[tuple[WithMeasure, str], ...]


def answers_of_store(store: Store, block: str | None, day: dt.date, asked: ColdAsked) -> list[BlockAnswer]:
    """Return what is said of every block, or of one, each cultivar for itself.

    Parameters
    ----------
    store : Store
    block : str, optional
    day : date
        Day asked about.
    asked : ColdAsked

    Raises
    ------
    UnknownBlockError
        If there is no such block.
    RecordError
        If no day of the forecast can be taken, or a price cannot be read.
    """
    return [
        _answer(store, cold, weather, day, asked)
        for cold, weather in cold_of_store(store, block, day, stand_in=asked.stand_in)
    ]


def _answer(store: Store, cold: BlockCold, weather: Weather, day: dt.date, asked: ColdAsked) -> BlockAnswer:
    ahead = None if asked.forecast is None else cold_ahead(cold, ahead_of(asked.forecast, weather, day))
    window = window_of(
        cold,
        weather,
        limits=asked.limits,
        most=asked.most_nodes,
        long_cut=asked.first_cut_leaves,
        ahead=ahead.ahead if ahead else None,
    )
    weighed: tuple[tuple[WithMeasure, str], ...] = ()
    if asked.measures and window is not None:
        costs, vine_m2, money = prices_on_record(store, cold.block)
        weighed = tuple((with_measure(window, one, costs, vine_m2), money) for one in dict.fromkeys(asked.measures))
    return BlockAnswer(cold, weather, window, ahead, weighed)

"""What this winter did to a block's buds, and when to prune it: weather and block to values; sentences in the words modules."""

from trunkwatch.cold.ahead import ColdAhead, ahead_of, cold_ahead
from trunkwatch.cold.block_cold import BlockCold, Why, cold_of_block
from trunkwatch.cold.days import Weather
from trunkwatch.cold.window import BlockWindow, window_of
from trunkwatch.cold.with_measures import Measure, WithMeasure, with_measure

__all__ = [
    "BlockCold",
    "BlockWindow",
    "ColdAhead",
    "Measure",
    "Weather",
    "Why",
    "WithMeasure",
    "ahead_of",
    "cold_ahead",
    "cold_of_block",
    "window_of",
    "with_measure",
]

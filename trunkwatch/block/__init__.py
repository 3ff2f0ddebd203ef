"""One block over its years: opened, its trend, its records vine by vine, and where to look first."""

from trunkwatch.block.first_look import WinterVine, winter_list
from trunkwatch.block.opening import BlockSeason, load, open_vineyard
from trunkwatch.block.trend import Trend, TrendSeason, trend_of

__all__ = ["BlockSeason", "Trend", "TrendSeason", "WinterVine", "load", "open_vineyard", "trend_of", "winter_list"]

"""One block over its years: opened, its trend, its records vine by vine, and where to look first."""

from trunkwatch.block.first_look import WinterVine, winter_list
from trunkwatch.block.opening import BlockSeason, load, open_vineyard
from trunkwatch.block.trend import Trend, TrendSeason, trend_of
from trunkwatch.block.vine_now import VineNow, vine_now, vines_now

__all__ = [
    "BlockSeason", "Trend", "TrendSeason", "VineNow", "WinterVine", "load", "open_vineyard", "trend_of", "vine_now", "vines_now",
    "winter_list",
]  # fmt: skip

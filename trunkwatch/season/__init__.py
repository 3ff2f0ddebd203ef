"""One block over its years: from the records to arrays, tests and the trend."""

from trunkwatch.season.load import BlockSeason, load, open_vineyard
from trunkwatch.season.pattern import NearOldPattern, Pattern, pattern_of
from trunkwatch.season.trend import Trend, TrendSeason, trend_of
from trunkwatch.season.winter_list import WinterVine, winter_list

__all__ = [
    "BlockSeason",
    "NearOldPattern",
    "Pattern",
    "Trend",
    "TrendSeason",
    "WinterVine",
    "load",
    "open_vineyard",
    "pattern_of",
    "trend_of",
    "winter_list",
]

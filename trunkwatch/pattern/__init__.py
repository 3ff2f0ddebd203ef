"""Scattered, clustered, spreading? The tests of a block's maps and what they say together."""

from trunkwatch.pattern.near_old import NearOldPattern
from trunkwatch.pattern.verdict import Pattern, pattern_of

__all__ = ["NearOldPattern", "Pattern", "pattern_of"]

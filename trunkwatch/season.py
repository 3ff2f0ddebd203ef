"""The promised name `trunkwatch.season.load`: one block up to one season."""

from trunkwatch.block.opening import BlockSeason, load

__all__ = ["BlockSeason", "load"]

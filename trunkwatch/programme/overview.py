"""A block in short: what was counted season by season, and what its record can be used for."""

from typing import Any

from trunkwatch.block import BlockSeason, TrendSeason, trend_of
from trunkwatch.block.opening import Readings, block_line
from trunkwatch.errors import NothingWrittenError
from trunkwatch.history import Condition
from trunkwatch.programme.uses import missing_in, nothing_written
from trunkwatch.renewal.costs import costs_of
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["overview", "unscouted"]


def overview(store: Store, block: str, season: int | None = None, definition: str | None = None) -> dict[str, Any]:
    """Return a block in short, as data that JSON can hold.

    Parameters
    ----------
    store : Store
        The grower's vineyard.
    block : str
        Name of the block.
    season, definition
        As in `trunkwatch.block.load`.

    Raises
    ------
    RecordError
        If the block cannot be read; a block of which nothing is written is told as such.
    """
    line = block_line(store, block)
    planted = number_or_none(line.get("planted"))
    data: dict[str, Any] = {
        "block": block,
        "cultivar": str(line.get("cultivar") or ""),
        "rootstock": str(line.get("rootstock") or ""),
        "planted": None if planted is None else int(planted),
        "season": None,
        "definition": None,
        "seasons": [],
    }
    try:
        found = Readings(store).season(block, season, definition=definition)
    except NothingWrittenError:
        return data | {"uses": {use: [one.as_data() for one in missing] for use, missing in nothing_written().items()}}
    trend = trend_of(found)
    priced = costs_of(store.frame("costs", block)).enough
    uses = missing_in(found, trend, priced=priced)
    return data | {
        "season": found.season,
        "definition": found.history.definition,
        "seasons": [_season(one) for one in trend.seasons],
        "verdict": trend.over_years.verdict,
        "unscouted": unscouted(found),
        "uses": {use: [one.as_data() for one in missing] for use, missing in uses.items()},
    }


def _season(one: TrendSeason) -> dict[str, Any]:
    """Return one season; without a rate where it does not count, and never as none showing."""
    rate, limits = one.rates["annual"], one.limits["annual"]
    if rate.reason:
        return {
            "season": one.season,
            "cases": None,
            "vines": None,
            "share": None,
            "low": None,
            "high": None,
            "reason": rate.reason,
        }
    return {
        "season": one.season,
        "cases": rate.cases,
        "vines": rate.vines,
        "share": limits.share,
        "low": limits.low,
        "high": limits.high,
        "reason": one.look.aside,
    }


def unscouted(found: BlockSeason) -> int:
    """Return how many vines stood there, as far as is known, and were not scouted in the season."""
    history, at = found.history, found.index
    there = history.grid.exists & (history.condition[at] != Condition.MISSING)
    return int((there & ~history.looked_at[at]).sum())

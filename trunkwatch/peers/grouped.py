"""Rates and trend of blocks of one cultivar, rootstock, training or age: how many blocks show, how much where they do, and over years."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from trunkwatch.alike.block_shares import BlockShares, block_shares
from trunkwatch.alike.season_trend import season_trend
from trunkwatch.peers.gather import BlockRow
from trunkwatch.stats.shares import Incidence, RowClusters, incidence, incidence_of_rows
from trunkwatch.stats.years_trend import LongTrend

__all__ = ["FEWEST_IN_GROUP", "GROUPS", "GroupFacts", "GroupSeason", "age_label", "grouped", "label_of"]

#: What blocks can be told apart by.
GROUPS = ("cultivar", "rootstock", "training", "age")
#: Blocks of a group below which its rate is not given (our own convention).
FEWEST_IN_GROUP = 5
#: First years of the classes of age.
_AGES = (0, 10, 20, 30)


@dataclass(frozen=True, slots=True)
class GroupSeason:
    """One season of a group of blocks.

    Attributes
    ----------
    prevalence : Incidence
        Blocks with a vine showing, of blocks scouted.
    cases, vines : int
        Of all of them.
    shares : BlockShares or None
        Mean share of the blocks; None with too few blocks.
    where_present : RowClusters or None
        Share showing in blocks with a vine showing, a block being what was chosen; None where these are too few.
    """

    season: int
    prevalence: Incidence
    cases: int
    vines: int
    shares: BlockShares | None
    where_present: RowClusters | None


@dataclass(frozen=True, slots=True)
class GroupFacts:
    """A group of blocks.

    Attributes
    ----------
    label : str
        Empty where nothing is written.
    blocks : int
        In all seasons together.
    seasons : tuple of GroupSeason
    trend : LongTrend or None
        None with too few blocks.
    """

    label: str
    blocks: int
    seasons: tuple[GroupSeason, ...]
    trend: LongTrend | None


def label_of(row: BlockRow, by: str) -> str:
    """Return the group of a block in a season, empty where nothing is written.

    Raises
    ------
    ValueError
        If blocks are not told apart so.
    """
    if by not in GROUPS:
        raise ValueError(f"by is {by!r}: one of {', '.join(GROUPS)} is needed")
    if by != "age":
        return str(getattr(row, by))
    return age_label(row.age)


def age_label(age: float) -> str:
    """Return the class of an age in years, empty where it is not known."""
    if math.isnan(age):
        return ""
    begin = max((first for first in _AGES if first <= age), default=0)
    return f"{begin} and over" if begin == _AGES[-1] else f"{begin} to {begin + 9}"


def grouped(rows: Sequence[BlockRow], by: str | None) -> tuple[GroupFacts, ...]:
    """Count by group and season; all rows as one group where `by` is None.

    Raises
    ------
    ValueError
        As `label_of`.
    """
    groups: dict[str, list[BlockRow]] = {}
    for row in rows:
        groups.setdefault(label_of(row, by) if by else "", []).append(row)
    return tuple(_facts(label, groups[label]) for label in sorted(groups))


def _facts(label: str, rows: Sequence[BlockRow]) -> GroupFacts:
    seasons = tuple(
        _season(year, [row for row in rows if row.season == year]) for year in sorted({row.season for row in rows})
    )
    blocks = len({row.block for row in rows})
    trend = None
    if blocks >= FEWEST_IN_GROUP:
        trend = season_trend(
            [r.cases for r in rows], [r.vines for r in rows], [r.block for r in rows], [r.season for r in rows]
        )
    return GroupFacts(label, blocks, seasons, trend)


def _season(year: int, rows: Sequence[BlockRow]) -> GroupSeason:
    showing = [row for row in rows if row.cases]
    return GroupSeason(
        year,
        incidence(len(showing), len(rows)),
        sum(row.cases for row in rows),
        sum(row.vines for row in rows),
        block_shares([row.cases for row in rows], [row.vines for row in rows])
        if len(rows) >= FEWEST_IN_GROUP
        else None,
        incidence_of_rows([row.cases for row in showing], [row.vines for row in showing])
        if len(showing) >= FEWEST_IN_GROUP
        else None,
    )

"""Rates over all blocks of a programme, summed from their vine-season files by DuckDB (extra `region`)."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from trunkwatch.errors import FileError, RecordError
from trunkwatch.history import RATES
from trunkwatch.peers.grouped import age_label
from trunkwatch.programme.vine_files import check_region
from trunkwatch.stats.shares import Incidence, RowClusters, incidence, incidence_of_rows

__all__ = ["BY", "BlockSums", "GroupRate", "block_sums", "group_rates"]

#: What the vines of a region are told apart by.
BY = ("block", "cultivar", "rootstock", "region", "age")
#: Memory that the sums may take: a region is read file by file.
_MEMORY = "160MB"
#: Label, season, definition, inspections.
_Key = tuple[tuple[str, ...], int, str, str]


@dataclass(frozen=True, slots=True)
class BlockSums:
    """Vines of one block, season, cultivar and rootstock.

    Attributes
    ----------
    planted : int or None
        Year of planting of the block.
    counted, compared : bool
        Of the season.
    inspections : str
        Classes of inspections (leafy, bare) that took place in it.
    cases, vines : int
        Of one rate.
    at_least : bool
        Whether there may be more cases.
    """

    grower: str
    block: str
    season: int
    definition: str
    region: str
    cultivar: str
    rootstock: str
    planted: int | None
    counted: bool
    compared: bool
    inspections: str
    cases: int
    vines: int
    at_least: bool


@dataclass(frozen=True, slots=True)
class GroupRate:
    """One rate of one group of vines in one season.

    Attributes
    ----------
    label : tuple of str
        Grower and block, or the group; empty where nothing is written.
    definition, inspections : str
        Seasons scouted otherwise are other groups: what they show differs for that alone.
    cases, vines : int
    blocks, growers : int
        That have vines which count.
    at_least : bool
        Whether there may be more cases.
    limits : Incidence or RowClusters or None
        Of a block those of `incidence`; of a group the block being what was chosen; None where there is nothing to count or, of a group,
        one block alone.
    """

    label: tuple[str, ...]
    season: int
    definition: str
    inspections: str
    cases: int
    vines: int
    blocks: int
    growers: int
    at_least: bool
    limits: Incidence | RowClusters | None

    @property
    def share(self) -> float:
        """Cases over vines, nan where none counts."""
        return self.cases / self.vines if self.vines else math.nan


def block_sums(files: Sequence[Path], rate: str = "annual", *, threads: int = 2) -> list[BlockSums]:
    """Sum the vines of some files by block and season, and by what tells vines of a block apart.

    Parameters
    ----------
    files : sequence of Path
        Vine-season files.
    rate : str
        One of the rates.
    threads : int
        At most.

    Raises
    ------
    ValueError
        If there is no such rate.
    RecordError
        If there is no file.
    FileError
        If one of them is damaged.
    MissingExtraError
        If DuckDB is not installed.
    """
    if rate not in RATES:
        raise ValueError(f"rate is {rate!r}: one of {', '.join(RATES)} is needed")
    if not files:
        raise RecordError("no block has vine-seasons on file: `trunkwatch programme FOLDER vine-seasons` writes them")
    check_region(asked=True)
    import duckdb

    at_least = "bool_or(ever_at_least)" if rate == "ever" else "false"
    # The rate is one of our own names; files are bound. What is one for a block, or for its season, is no part of the groups: they cost.
    asked = f"""
        SELECT grower, block, season, any_value(definition), any_value(region), cultivar, rootstock, any_value(planted),
               any_value(counted), any_value(compared), any_value(inspections), count_if({rate}), count({rate}), {at_least}
        FROM read_parquet(?) GROUP BY grower, block, season, cultivar, rootstock ORDER BY ALL
    """  # noqa: S608
    config: Any = {"memory_limit": _MEMORY, "threads": threads, "preserve_insertion_order": "false"}
    try:
        with duckdb.connect(config=config) as base:
            base.execute("SET enable_progress_bar = false")  # it would be printed among the answers
            rows = base.execute(asked, [[str(path) for path in files]]).fetchall()
    except duckdb.Error as error:
        raise FileError(
            f"the vine-season files in {files[0].parent.parent} cannot be summed: {str(error).splitlines()[0]}; delete them and run this again"
        ) from error
    return [BlockSums(*row) for row in rows]


def group_rates(sums: Sequence[BlockSums], by: str) -> tuple[GroupRate, ...]:
    """Add sums of blocks up by what vines are told apart by, and by season, definition and the inspections that took place.

    Parameters
    ----------
    sums : sequence of BlockSums
        Of one rate.
    by : {"block", "cultivar", "rootstock", "region", "age"}
        What vines are told apart by; age is that of the block.

    Raises
    ------
    ValueError
        If vines are not told apart so.
    """
    if by not in BY:
        raise ValueError(f"by is {by!r}: one of {', '.join(BY)} is needed")
    label = _label(by)
    groups: dict[_Key, list[BlockSums]] = {}
    for one in sums:
        groups.setdefault((label(one), one.season, one.definition, one.inspections), []).append(one)
    return tuple(
        _group(key, rows, blocks_alone=by == "block") for key, rows in sorted(groups.items(), key=lambda one: one[0])
    )


def _label(by: str) -> Callable[[BlockSums], tuple[str, ...]]:
    if by == "block":
        return lambda one: (one.grower, one.block)
    if by == "age":
        return lambda one: (age_label(math.nan if one.planted is None else float(one.season - one.planted)),)
    return lambda one: (str(getattr(one, by)),)


def _group(key: _Key, rows: Sequence[BlockSums], *, blocks_alone: bool) -> GroupRate:
    by_block: dict[tuple[str, str], list[int]] = {}
    for one in rows:
        if one.vines:
            so_far = by_block.setdefault((one.grower, one.block), [0, 0])
            so_far[0] += one.cases
            so_far[1] += one.vines
    cases, vines = (sum(pair[at] for pair in by_block.values()) for at in (0, 1))
    limits: Incidence | RowClusters | None = None
    if vines and blocks_alone:
        limits = incidence(cases, vines)
    elif len(by_block) > 1:
        limits = incidence_of_rows([pair[0] for pair in by_block.values()], [pair[1] for pair in by_block.values()])
    return GroupRate(
        *key,
        cases,
        vines,
        len(by_block),
        len({grower for grower, _ in by_block}),
        any(one.at_least and one.vines for one in rows),
        limits,
    )

"""Every block of a season beside its like, and all that is said of blocks together."""

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from trunkwatch.alike.beside_like import FEWEST_BLOCKS, BesideLike, Rows, beside_usual
from trunkwatch.alike.pooled import pool, shrink
from trunkwatch.errors import NothingWrittenError, RecordError, UnknownBlockError
from trunkwatch.peers.gather import BlockRow, Gathered
from trunkwatch.peers.grouped import GroupFacts, grouped
from trunkwatch.peers.who_scouted import WhoScouted, who_scouted
from trunkwatch.stats.years_trend import FEWEST_SEASONS, long_trend

__all__ = ["BlockBeside", "BlockTrend", "Peers", "WhyNot", "peers_of"]


@dataclass(frozen=True, slots=True)
class BlockTrend:
    """Change of a block's odds a season, drawn toward that of all blocks as far as its own record is thin."""

    factor: float
    low: float
    high: float
    of_all: float


@dataclass(frozen=True, slots=True)
class BlockBeside:
    """A block of the season beside its like.

    Attributes
    ----------
    row : BlockRow
        Its counts.
    share, low, high : float
        Shrunk, with its likely range.
    like_low, like_high : float
        Where nine in ten blocks like it lie.
    of_kind : int
        Other blocks of the season with the same cultivar, and whatever else was asked for.
    more : float
        Chance of as many cases or more, were it a block like the others (half of as many counted).
    corrected : float
        Two-sided p-value, corrected for all blocks.
    unusual_low, unusual_high : int or None
        Cases, of the vines scouted in it, down to which and from which it would be called unusual; None where no count is.
    trend : BlockTrend or None
    law : (float, float, float)
        Middle, spread and degrees of freedom of the t law of the log-odds of blocks like it.
    """

    row: BlockRow
    share: float
    low: float
    high: float
    like_low: float
    like_high: float
    of_kind: int
    more: float
    corrected: float
    unusual_low: int | None
    unusual_high: int | None
    trend: BlockTrend | None
    law: tuple[float, float, float] = (math.nan, math.nan, math.nan)

    @property
    def unusual(self) -> bool:
        """Whether it is too far from its like, all blocks being allowed for."""
        return self.corrected <= 0.05


@dataclass(frozen=True, slots=True)
class WhyNot:
    """Why blocks are not set beside their like: too few in the season, or no case (or nothing but cases) in any."""

    blocks: int
    needed: int


@dataclass(frozen=True, slots=True)
class Peers:
    """All that is said of blocks together.

    Attributes
    ----------
    season : int
    by : str or None
        What groups are told apart by.
    everything : GroupFacts
        All blocks as one group.
    groups : tuple of GroupFacts
    beside : tuple of BlockBeside
        By name of the block; empty where `why_not` holds.
    kinds : tuple of str
        What else than age and season blocks are alike in.
    sd_blocks, sd_growers : float
        How far blocks lie apart in log-odds, and growers; nan where not told.
    trends_differ : float
        Standard deviation of the blocks' trends, in log-odds a season; nan where too few have one.
    scouted : WhoScouted
    """

    gathered: Gathered
    season: int
    by: str | None
    everything: GroupFacts
    groups: tuple[GroupFacts, ...]
    beside: tuple[BlockBeside, ...]
    why_not: WhyNot | None
    kinds: tuple[str, ...]
    sd_blocks: float
    sd_growers: float
    trends_differ: float
    scouted: WhoScouted

    @property
    def unusual(self) -> tuple[BlockBeside, ...]:
        """Blocks that stand out."""
        return tuple(one for one in self.beside if one.unusual)

    def of_block(self, name: str) -> BlockRow | BlockBeside:
        """Return a block of the season, beside its like where that can be told.

        Raises
        ------
        UnknownBlockError
            If no block, or more than one, is called so.
        RecordError
            If it has no count in the season.
        """
        fits = [block for block in self.gathered.blocks if name in (block, block.rpartition("/")[2])]
        if name in fits:
            fits = [name]
        if len(fits) != 1:
            known = fits or self.gathered.blocks
            raise UnknownBlockError(
                f"block {name!r} is {'several' if fits else 'none of these'}; --block takes one of: {', '.join(known)}"
            )
        for one in self.beside:
            if one.row.block == fits[0]:
                return one
        for row in self.gathered.rows:
            if row.block == fits[0] and row.season == self.season:
                return row
        years = sorted(row.season for row in self.gathered.rows if row.block == fits[0])
        raise RecordError(
            f"block {fits[0]!r} has no count in {self.season}; it has one in: {', '.join(map(str, years))}"
        )


def peers_of(
    gathered: Gathered, season: int | None = None, *, by: str | None = None, any_cultivar: bool = False
) -> Peers:
    """Set blocks beside each other.

    Parameters
    ----------
    gathered : Gathered
        Counts of all blocks.
    season : int, optional
        Where left out the last one in which enough blocks were scouted to tell what is usual, else the last one.
    by : {"cultivar", "rootstock", "training", "age"}, optional
        What groups of blocks are told apart by; blocks then are alike in it too.
    any_cultivar : bool
        Blocks are alike in age and season alone.

    Raises
    ------
    NothingWrittenError
        If no block has a season that counts.
    RecordError
        If none has a count in the season.
    """
    if not gathered.rows:
        raise NothingWrittenError("no block has a season that counts yet; `trunkwatch log` adds a survey")
    blocks = Counter(row.season for row in gathered.rows)
    wanted = season or max((year for year in blocks if blocks[year] >= FEWEST_BLOCKS), default=max(blocks))
    if wanted not in blocks:
        raise RecordError(f"no block has a count in {wanted}; seasons: {', '.join(map(str, sorted(blocks)))}")
    rows = [row for row in gathered.rows if row.season <= wanted]
    kinds: tuple[str, ...] = () if any_cultivar else ("cultivar",)
    kinds += (by,) if by in ("rootstock", "training") else ()
    found, why_not = _beside(rows, wanted, kinds)
    trends, differ = _trends(rows)
    return Peers(
        gathered,
        wanted,
        by,
        grouped(rows, None)[0],
        grouped(rows, by) if by else (),
        _blocks(rows, found, kinds, trends) if found is not None else (),
        why_not,
        kinds,
        found.sd_blocks if found is not None else math.nan,
        found.sd_growers if found is not None else math.nan,
        differ,
        who_scouted(rows),
    )


def _beside(rows: list[BlockRow], season: int, kinds: tuple[str, ...]) -> tuple[BesideLike | None, WhyNot | None]:
    here = sum(row.season == season for row in rows)
    cases, vines = (
        np.array([row.cases for row in rows], dtype=float),
        np.array([row.vines for row in rows], dtype=float),
    )
    if here < FEWEST_BLOCKS or not 0 < cases.sum() < vines.sum():
        return None, WhyNot(here, FEWEST_BLOCKS)
    years = np.unique([row.season for row in rows])
    data = Rows(
        cases,
        vines,
        _codes([row.block for row in rows]),
        _codes([row.season for row in rows]),
        _codes([row.grower for row in rows]),
        np.array([row.age for row in rows]),
        tuple(_codes([getattr(row, kind) for row in rows]) for kind in kinds),
    )
    return beside_usual(data, int(np.searchsorted(years, season))), None


def _codes(labels: list[str] | list[int]) -> np.ndarray:
    return np.asarray(np.unique(np.array(labels), return_inverse=True)[1], dtype=np.int64)


def _blocks(
    rows: list[BlockRow], found: BesideLike, kinds: tuple[str, ...], trends: dict[str, BlockTrend]
) -> tuple[BlockBeside, ...]:
    chosen = [rows[int(row)] for row in found.at]
    alike = Counter(tuple(getattr(row, kind) for kind in kinds) for row in chosen)
    out = []
    for place, row in enumerate(chosen):
        few, many = found.unusual_from(place, row.vines)
        out.append(
            BlockBeside(
                row,
                float(found.share[place]),
                float(found.low[place]),
                float(found.high[place]),
                float(found.like_low[place]),
                float(found.like_high[place]),
                alike[tuple(getattr(row, kind) for kind in kinds)] - 1,
                float(found.more[place]),
                float(found.corrected[place]),
                few,
                many,
                trends.get(row.block),
                (float(found.mean[place]), float(found.variance[place]) ** 0.5, found.freedom),
            )
        )
    return tuple(sorted(out, key=lambda one: one.row.block))


def _trends(rows: list[BlockRow]) -> tuple[dict[str, BlockTrend], float]:
    """Draw each block's trend toward that of all; return how much they differ as well."""
    own: dict[str, list[BlockRow]] = {}
    for row in rows:
        own.setdefault(row.block, []).append(row)
    names, slopes, variances = [], [], []
    for name, listed in own.items():
        ordered = sorted(listed, key=lambda row: row.season)
        if len(ordered) < FEWEST_SEASONS:
            continue
        line = long_trend([r.cases for r in ordered], [r.vines for r in ordered], [r.season for r in ordered])
        reach = float(stdtrit(len(ordered) - 2, 0.975))
        names.append(name)
        slopes.append(math.log(line.statistic))
        variances.append(((math.log(line.high) - math.log(line.low)) / (2 * reach)) ** 2)
    if len(names) < 5:
        return {}, math.nan
    drawn, together = shrink(slopes, variances), pool(slopes, variances)
    of_all = math.exp(drawn.mean)
    trends = {
        name: BlockTrend(math.exp(value), math.exp(value - 1.96 * error), math.exp(value + 1.96 * error), of_all)
        for name, value, error in zip(names, drawn.values, drawn.errors, strict=True)
    }
    return trends, math.sqrt(together.between)

"""Rates and trend of the vines of one cultivar, rootstock or planting year, side by side."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trunkwatch.block.opening import BlockSeason
from trunkwatch.errors import RecordError
from trunkwatch.history import rate
from trunkwatch.pattern.on_record import STRATA, on_record
from trunkwatch.stats.incidence import Incidence, incidence
from trunkwatch.stats.long_trend import LongTrend, long_trend

__all__ = ["GroupRates", "group_mask", "rates_by"]


@dataclass(frozen=True, slots=True)
class GroupRates:
    """The share showing of one group, season by season.

    Attributes
    ----------
    label : str
        Empty where nothing is written.
    seasons : tuple of (int, Incidence)
        Counted seasons, vines that count in them and are of the group.
    trend : LongTrend
        Over the seasons that are compared.
    """

    label: str
    seasons: tuple[tuple[int, Incidence], ...]
    trend: LongTrend


def rates_by(season: BlockSeason, name: str) -> tuple[GroupRates, ...]:
    """Count the vines that show by group.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season.
    name : {"cultivar", "rootstock", "planting"}
        What tells them apart.

    Raises
    ------
    RecordError
        If nothing on record tells the vines apart so.
    """
    history = season.history
    labels, codes = _labels(season, name)
    years = [year for year in history.counted_seasons if year <= season.season]
    found = {year: rate(history, "annual", year) for year in years}
    out = []
    for code, label in enumerate(labels):
        counts = []
        for year in years:
            here = codes[history.index_of(year)] == code
            one = found[year]
            counts.append((year, incidence(int((one.numerator & here).sum()), int((one.denominator & here).sum()))))
        compared = [(year, one) for year, one in counts if year in history.compared_seasons and one.vines]
        trend = long_trend(
            [one.cases for _, one in compared], [one.vines for _, one in compared], [y for y, _ in compared]
        )
        out.append(GroupRates(label, tuple(counts), trend))
    return tuple(out)


def group_mask(season: BlockSeason, name: str) -> dict[str, NDArray[np.bool_]]:
    """Return the vines of each group in the season, (rows, stations) by label.

    Raises
    ------
    RecordError
        As in `rates_by`.
    """
    labels, codes = _labels(season, name)
    now = codes[season.index]
    return {label: now == code for code, label in enumerate(labels)}


def _labels(season: BlockSeason, name: str) -> tuple[tuple[str, ...], NDArray[np.int64]]:
    known = on_record(season.history)
    if name not in STRATA:
        raise RecordError(f"{name!r} tells no vines apart: one of {', '.join(STRATA)} is needed")
    if name not in known.labels:
        why = "nothing is on record of it" if name in known.unwritten else "all vines have the same"
        raise RecordError(f"block {season.history.block!r} cannot be separated by {name}: {why}")
    return known.labels[name], known.codes[name]

"""The rates of a block by season, with limits, and what the last change means."""

from dataclasses import dataclass

import numpy as np

from trunkwatch.block.opening import BlockSeason
from trunkwatch.history import MATURE_LIVING, BlockHistory, Condition, Rate, RateName, SeasonLook, rates
from trunkwatch.stats.shares import Incidence, incidence
from trunkwatch.stats.trend import Change, Swing, change, usual_swing
from trunkwatch.stats.years_trend import LongTrend, long_trend

__all__ = ["Trend", "TrendSeason", "trend_of"]


@dataclass(frozen=True, slots=True)
class TrendSeason:
    """One season: what was looked at, the rates, and their limits."""

    season: int
    look: SeasonLook
    rates: dict[RateName, Rate]
    limits: dict[RateName, Incidence]
    missing: int
    dead: int
    young: int
    whole: bool  # every position looked at


@dataclass(frozen=True, slots=True)
class Trend:
    """All seasons, the change to the last counted one, and whether it is more than the usual swing."""

    seasons: tuple[TrendSeason, ...]
    change: Change | None
    change_from: int | None
    swing: Swing
    whole: bool  # the last counted season was looked at whole
    over_years: LongTrend  # over all compared seasons

    @property
    def counted(self) -> tuple[TrendSeason, ...]:
        """The seasons that count."""
        return tuple(season for season in self.seasons if season.look.counted)

    @property
    def compared(self) -> tuple[TrendSeason, ...]:
        """The counted seasons with the same classes of looks as the last of them."""
        return tuple(season for season in self.seasons if season.look.compared)


def trend_of(season: BlockSeason, *, looks_before: int = 1, level: float = 0.95) -> Trend:
    """Collect the rates of all seasons up to this one.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season.
    looks_before : int
        For `new`: earlier counted seasons in which a vine must have been looked at.
    level : float
        Of the limits.
    """
    history = season.history
    told = [
        _season(history, number, found, level) for number, found in enumerate(rates(history, looks_before=looks_before))
    ]
    counted = [one for one in told if one.look.compared]
    swing = usual_swing([one.rates["annual"].cases for one in counted], [one.rates["annual"].vines for one in counted])
    difference, before = None, None
    if len(counted) > 1:
        before = counted[-2].season
        difference = _change(history, before, counted[-1].season)
    whole = bool(counted) and counted[-1].whole
    told_of = [(one.season, one.rates["annual"]) for one in counted if one.rates["annual"].vines]
    over_years = long_trend(
        [rate.cases for _, rate in told_of], [rate.vines for _, rate in told_of], [year for year, _ in told_of]
    )
    return Trend(tuple(told), difference, before, swing, whole, over_years)


def _season(history: BlockHistory, number: int, found: dict[RateName, Rate], level: float) -> TrendSeason:
    condition = history.condition[number]
    limits = {name: incidence(one.cases, one.vines, level=level) for name, one in found.items()}
    there = history.grid.exists & (condition != Condition.MISSING)
    return TrendSeason(
        history.seasons[number],
        history.looks[number],
        found,
        limits,
        int((condition == Condition.MISSING).sum()),
        int((condition == Condition.DEAD).sum()),
        int((condition == Condition.YOUNG).sum()),
        bool((history.looked_at[number] | ~there).all()),
    )


def _change(history: BlockHistory, earlier: int, later: int) -> Change:
    one, two = history.index_of(earlier), history.index_of(later)
    both = np.isin(history.condition[one], MATURE_LIVING) & np.isin(history.condition[two], MATURE_LIVING)
    both &= history.plant[one] == history.plant[two]
    return change(history.condition[one] == Condition.SHOWING, history.condition[two] == Condition.SHOWING, both)

"""What the record of a block can be used for, and what is missing: codes and numbers; words in `use_words`."""

from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

from trunkwatch.block import BlockSeason, Trend
from trunkwatch.history import BlockHistory
from trunkwatch.pattern.verdict import FEWEST_CASES
from trunkwatch.stats.years_trend import FEWEST_SEASONS

__all__ = ["FORECAST_SEASONS", "Lack", "Missing", "Use", "missing_in", "nothing_written"]

#: Compared seasons that a forecast takes: one to see what followed on the other.
FORECAST_SEASONS = 2


class Use(StrEnum):
    """What a record is used for, in the order in which it grows."""

    RATES = "rates"
    TREND = "trend"
    PATTERN = "pattern"
    FORECAST = "forecast"
    PLAN = "plan"


class Lack(StrEnum):
    """What stands in the way."""

    NOTHING_WRITTEN = "nothing written"
    NOT_COUNTED = "no season counts"
    SEASONS = "more seasons"
    CASES = "too few showing"
    PRICES = "prices"


@dataclass(frozen=True, slots=True)
class Missing:
    """One thing that is missing: how much there is, how much it takes, and the reasons by name why a season does not count."""

    lack: Lack
    there: int = 0
    needed: int = 0
    reasons: tuple[str, ...] = ()

    def as_data(self) -> dict[str, Any]:
        """Return it as JSON has it."""
        return asdict(self) | {"lack": str(self.lack), "reasons": list(self.reasons)}

    @classmethod
    def of_data(cls, data: dict[str, Any]) -> "Missing":
        """Read what `as_data` gives."""
        return cls(Lack(data["lack"]), data["there"], data["needed"], tuple(data["reasons"]))


def nothing_written() -> dict[Use, tuple[Missing, ...]]:
    """Return what is missing where nothing is on record of a block."""
    return dict.fromkeys(Use, (Missing(Lack.NOTHING_WRITTEN),))


def missing_in(season: BlockSeason, trend: Trend, *, priced: bool) -> dict[Use, tuple[Missing, ...]]:
    """Return what is missing for each use; nothing where the record can be used so.

    Parameters
    ----------
    season : BlockSeason
        The block up to its last counted season.
    trend : Trend
        Its rates.
    priced : bool
        Whether the prices are written that strategies are compared with.
    """
    history = season.history
    if not history.counted_seasons:
        return dict.fromkeys(Use, (_not_counted(history),))
    compared = len(history.compared_seasons)
    cases = int((season.cases & season.vines).sum())
    counts = season.season in history.counted_seasons
    return {
        Use.RATES: (),
        Use.TREND: ()
        if trend.over_years.seasons >= FEWEST_SEASONS
        else (_seasons(trend.over_years.seasons, FEWEST_SEASONS),),
        Use.PATTERN: () if counts and cases >= FEWEST_CASES else (Missing(Lack.CASES, cases, FEWEST_CASES),),
        Use.FORECAST: () if compared >= FORECAST_SEASONS else (_seasons(compared, FORECAST_SEASONS),),
        Use.PLAN: () if priced else (Missing(Lack.PRICES),),
    }


def _seasons(there: int, needed: int) -> Missing:
    return Missing(Lack.SEASONS, there, needed)


def _not_counted(history: BlockHistory) -> Missing:
    reasons = history.looks[-1].reasons
    return Missing(Lack.NOT_COUNTED, history.seasons[-1], reasons=tuple(reason.name for reason in reasons))

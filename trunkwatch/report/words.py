"""What a report says of its numbers, in words."""

from trunkwatch.block import Trend, TrendSeason
from trunkwatch.pattern import Pattern
from trunkwatch.pattern.all_seasons import SeasonPattern
from trunkwatch.pattern.chance_words import p_words
from trunkwatch.pattern.findings import Word, has
from trunkwatch.pattern.spread import Says
from trunkwatch.report.cautions import CANNOT_SAY
from trunkwatch.stats.trend import ENOUGH_SEASONS

__all__ = ["cannot_say", "changes", "season_test_words"]


#: What a map cannot say of planting stock, by what the years say of spread.
_STOCK = {
    Says.FOR: "stock_for", Says.EITHER: "stock_either", Says.AGAINST: "stock_against", Says.CANNOT_TELL: "stock",
}  # fmt: skip


def cannot_say(pattern: Pattern, trend: Trend) -> tuple[str, ...]:
    """Say what the map and the years cannot tell."""
    keys = ["diagnosis", "hidden"]
    first = pattern.findings[:1]
    says = pattern.spread.says if pattern.spread is not None else Says.CANNOT_TELL
    if has(first, Word.CLUSTERED) or has(pattern.findings, Word.NEAR_OLD) or says in (Says.FOR, Says.EITHER):
        keys.append(_STOCK[says])
    elif has(first, Word.CHANCE):
        keys.append("chance")
    elif has(first, Word.TOO_FEW):
        keys.append("few")
    if len(trend.compared) < ENOUGH_SEASONS:
        keys.append("trend")
    if not trend.counted or not trend.counted[-1].whole:
        keys.append("unseen")
    return tuple(CANNOT_SAY[key] for key in keys)


def changes(trend: Trend, now: TrendSeason) -> tuple[str, ...]:
    """Say what changed since the last counted season."""
    if trend.change is None or trend.change_from is None:
        return ("There is no earlier counted season to compare with.",)
    told = [f"Since {trend.change_from}: {trend.change}."]
    told.append(str(trend.over_years))
    told.append(trend.swing.sentence)
    for name, words in (("new", "first cases"), ("relapse", "relapses after renewal"), ("deaths", "deaths")):
        rate = now.rates[name]  # type: ignore[index]
        told.append(
            f"{words.capitalize()}: {rate.cases} of {rate.vines}."
            if not rate.reason
            else f"{words.capitalize()}: {rate.reason}."
        )
    return tuple(told)


def season_test_words(one: SeasonPattern, declared: float | None) -> str:
    """Say the p-value of a season beside its picture; `declared`: that of the test declared beforehand, of its season."""
    if one.pvalue != one.pvalue:
        return "no test"
    return f"{p_words(one.corrected)} (corrected)" if declared is None else f"{p_words(declared)}, the test"

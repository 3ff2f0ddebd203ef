"""The user's own forecast in sentences, each of which says that it is a forecast."""

from trunkwatch.cold.ahead import MOST_DAYS, Ahead, ColdAhead
from trunkwatch.cold.block_cold import BlockCold
from trunkwatch.cold.words import day_range, day_words, range_of_100
from trunkwatch.vineyard.manner import celsius, temperature

__all__ = ["FORECAST_MARK", "ahead_lines", "left_out_lines"]

#: Stands behind days of which some are forecast.
FORECAST_MARK = "*"


def ahead_lines(now: BlockCold, then: ColdAhead) -> tuple[str, ...]:
    """Say what the forecast days would do to the buds of a block.

    Parameters
    ----------
    now : BlockCold
        As of the day asked about.
    then : ColdAhead
    """
    if then.coldest is None:
        return ()
    ahead, cold = then.ahead, then.cold
    day, low = then.coldest
    told = [
        f"By your own forecast for {day_range(ahead.days[0], ahead.days[-1])}, not measured: coldest night {celsius(low)} on {day_words(day, year=False)}."
    ]
    if cold.half_dies_c is not None:
        soft, hardy = cold.half_dies_c
        told.append(
            f"If it comes so, half of the buds would die somewhere between {temperature(soft):.0f} and {celsius(hardy, '.0f')} on {day_words(ahead.last, year=False)}"
            + (
                "."
                if cold.killed is None
                else f", and primary buds killed by then are likely {range_of_100(cold.killed)}."
            )
        )
    elif cold.budbreak is not None and now.budbreak is None:
        told.append(f"If it comes so, buds break about {day_words(cold.budbreak)} by the model.")
    if now.look_from is None and cold.look_from is not None:
        told.append(f"If it comes so, an inspection of the buds is worth the walk from {day_words(cold.look_from)} on.")
    return tuple(told)


def left_out_lines(ahead: Ahead) -> tuple[str, ...]:
    """Say which days of the file do not count as forecast, and why."""
    told = []
    if ahead.measured:
        told.append(f"Forecast: days of the file measured since: {len(ahead.measured)}; what was measured stands.")
    if ahead.past:
        told.append(
            f"Forecast: days of the file left out because they are not after {day_words(ahead.asked)}: {ahead.past}."
        )
    if ahead.far:
        told.append(
            f"Forecast: days of the file left out because they lie more than {MOST_DAYS} days ahead: {ahead.far}; past winters go on there."
        )
    return tuple(told)

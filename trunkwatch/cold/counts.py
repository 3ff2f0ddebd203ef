"""Buds that were counted this winter, from the record: what they make of the model's range, part by part of a block.

Of several counts of one part the last stands: a later one has seen every night that an earlier one had. Counts of one day are put
together. A count knows nothing of the nights after it.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from trunkwatch.cold.block_cold import BlockCold, cold_of_block
from trunkwatch.cold.days import CHILL_FROM, Weather, day_in
from trunkwatch.cold.noted import BudCount
from trunkwatch.winter_model.bud_count import KillFromCount, kill_from_count

__all__ = ["BUDS_A_CANE", "PartCount", "counts_of"]

#: Buds of a cane where nobody wrote how many canes there were.
BUDS_A_CANE = 4.0


@dataclass(frozen=True, slots=True)
class PartCount:
    """The last count of one part of a block in a winter.

    Attributes
    ----------
    part : str
        Empty for the whole block.
    day : date
        When the canes were collected.
    model : (float, float) or None
        The model's range by that day.
    found : KillFromCount
        What the count makes of it.
    canes : int or None
    secondary, tertiary : (int, int)
        Dead, and looked at.
    colder_since : date or None
        The night that counts for the winter, where it came after the count.
    """

    part: str
    day: dt.date
    model: tuple[float, float] | None
    found: KillFromCount
    canes: int | None
    secondary: tuple[int, int]
    tertiary: tuple[int, int]
    colder_since: dt.date | None = None


def counts_of(
    cold: BlockCold, weather: Weather, counts: Sequence[BudCount], own_cultivar: str
) -> tuple[PartCount, ...]:
    """Return the counts of a block's cultivar in the winter that is asked about, up to the day asked for, part by part.

    Parameters
    ----------
    cold : BlockCold
    weather : Weather
    counts : sequence of BudCount
        Of the block.
    own_cultivar : str
        The block's: a count that names none is of it.
    """
    since = day_in(cold.season, CHILL_FROM, cold.hemisphere)
    parts: dict[str, list[BudCount]] = {}
    for count in counts:
        of = (count.cultivar or own_cultivar).casefold()
        if of == cold.cultivar.casefold() and since <= count.date <= cold.asked:
            parts.setdefault(count.part, []).append(count)
    return tuple(_part(cold, weather, part, own) for part, own in sorted(parts.items()))


def _part(cold: BlockCold, weather: Weather, part: str, counts: list[BudCount]) -> PartCount:
    day = max(count.date for count in counts)
    own = [count for count in counts if count.date == day]
    # The model's voice is that of the day of the count: what came later, the count cannot speak of.
    by_then = cold_of_block(
        cold.block,
        cold.cultivar,
        weather,
        day,
        hemisphere=cold.hemisphere,
        latitude=cold.latitude,
        stand_in=cold.stand_in,
        site=cold.site,
    )
    buds = sum(count.buds for count in own)
    canes = None if any(count.canes is None for count in own) else sum(count.canes or 0 for count in own)
    found = kill_from_count(
        sum(count.primary_dead for count in own),
        buds,
        by_then.killed,
        buds_per_cane=buds / canes if canes else BUDS_A_CANE,
    )
    colder = cold.worst_night if cold.look_from and cold.worst_night is not None and cold.worst_night > day else None
    secondary, tertiary = (
        (sum(dead or 0 for dead, _ in pairs), sum((dead or 0) + (alive or 0) for dead, alive in pairs))
        for pairs in (
            [(count.secondary_dead, count.secondary_alive) for count in own],
            [(count.tertiary_dead, count.tertiary_alive) for count in own],
        )
    )
    return PartCount(part, day, by_then.killed, found, canes, secondary, tertiary, colder)

"""The margin of every winter on file of a block: how far its nights came to what the buds stood."""

import datetime as dt

import numpy as np

from trunkwatch.cold.block_cold import cold_of_block
from trunkwatch.cold.counts import counts_of
from trunkwatch.cold.days import DAILY_TO, Weather, day_in
from trunkwatch.cold.models import Course, chill_course, daily_course
from trunkwatch.cold.noted import bud_counts
from trunkwatch.cold.of_store import cultivars_of
from trunkwatch.pattern.winter_margin import CountedBuds, SeasonMargin
from trunkwatch.store import Store
from trunkwatch.vineyard.calendar import hemisphere_of
from trunkwatch.vineyard.tables import number_in, records_of
from trunkwatch.winter_model.serves import Serves

__all__ = ["margins_of"]


def margins_of(store: Store, block: str, through: int) -> tuple[str, dict[int, SeasonMargin]]:
    """Return the cultivar of most rows, and the margin of every winter up to a season that the model serves; none where none does.

    Parameters
    ----------
    store : Store
    block : str
    through : int
        Last season.
    """
    record = records_of(store.frame("blocks", block))[-1]
    cultivar, weather = cultivars_of(store, block)[0], Weather(store.frame("weather", block))
    latitude, hemisphere = number_in(record, "latitude"), hemisphere_of(record)
    counts = bud_counts(store.frame("bud_counts", block))
    found = {}
    for season in weather.seasons:
        if season > through:
            continue
        end = day_in(season, DAILY_TO, hemisphere)
        cold = cold_of_block(
            block, cultivar, weather, end, hemisphere=hemisphere, latitude=None if latitude != latitude else latitude
        )
        if cold.killed is None or cold.verdict is None or cold.stand_in is not None:
            continue
        # A winter that is not over has not shown its worst night yet.
        if cold.as_of is None or (end - cold.as_of).days > 60:
            continue
        winter = weather.winter(season, hemisphere)
        if cold.verdict.serves is Serves.CHILL and cold.latitude is not None:
            course = chill_course([winter], cold.of[0], cold.latitude)
        else:
            course = daily_course([winter], cold.of[0])
        parts = counts_of(cold, weather, counts, str(record.get("cultivar") or ""))
        # Of parts counted apart the worst hit is what a cold winter shows in.
        worst = max(parts, key=lambda part: part.found.share, default=None)
        own = (
            None
            if worst is None
            else CountedBuds(worst.found.dead, worst.found.counted, worst.found.low, worst.found.high)
        )
        found[season] = _closest(course, season, winter.first, cold.killed, own)
    return cultivar, found


def _closest(
    course: Course, season: int, first: dt.date, killed: tuple[float, float], counted: CountedBuds | None
) -> SeasonMargin:
    """Return the night that came closest to the buds of the day before, up to budbreak."""
    half = np.concatenate([course.half_c[0, :1], course.half_c[0, :-1]]) - course.error.bias_c
    margin = course.t_min_c[0] - half
    end = int(course.ends[0])
    margin = margin[:end] if end > 0 else margin
    night = int(np.nanargmin(margin))
    day = first + dt.timedelta(days=course.offset + night)
    return SeasonMargin(season, day.isoformat(), float(course.t_min_c[0, night]), float(margin[night]), killed, counted)

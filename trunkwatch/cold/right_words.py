"""Was it right, in sentences: each past count and budbreak beside what the model said, and what the site has taught."""

from trunkwatch.cold.was_it_right import WasItRight
from trunkwatch.cold.words import day_words, of_100
from trunkwatch.vineyard.manner import degree_days, degrees
from trunkwatch.vineyard.plural import number_of
from trunkwatch.winter_model.site_offset import SITE_SD_C, SITE_SD_DAYS, SiteDays, SiteOffset

__all__ = ["offset_words", "right_lines"]


def offset_words(offset: SiteOffset) -> str:
    """Say by how much buds die warmer or colder here than the model says, with its range."""
    way = "warmer" if offset.mean_c >= 0 else "colder"
    return (
        f"Learned from {number_of(offset.counts, 'count')} in {number_of(offset.winters, 'past winter')}: buds die {degrees(abs(offset.mean_c))} {way} here than the model says "
        f"(likely range {degree_days(offset.low_c):+.1f} to {degrees(offset.high_c, '+.1f')}; plus is warmer). The figures above take that in."
    )


def right_lines(found: WasItRight) -> tuple[str, ...]:
    """Say what past winters make of the model here; nothing where nothing was counted or noted."""
    told = []
    if found.kills:
        inside = sum(one.inside for one in found.kills)
        told.append(
            f"Was it right? Past counts that lay in the model's range, which is to hold 8 of 10: {inside} of {len(found.kills)}."
        )
        for one in found.kills:
            part = f", {one.part}" if one.part else ""
            told.append(
                f"{day_words(one.day)}{part}: {one.dead} of {one.buds} dead; the model said {of_100(one.low)} to {of_100(one.high)} of 100."
            )
    if found.offset is not None:
        told.append(offset_words(found.offset))
    for past in found.breaks:
        late = past.days_late
        way = (
            "on the model's day"
            if not late
            else f"{number_of(abs(late), 'day')} {'after' if late > 0 else 'before'} the model's"
        )
        told.append(f"Budbreak of {past.noted.year} noted on {day_words(past.noted, year=False)}, {way}.")
    if found.days is not None:
        told.append(_days(found.days))
    if found.rmse is not None:
        model, mean = found.rmse
        better = "the model is the better guide" if model < mean else "your mean date is the better guide: go by it"
        told.append(
            f"Each year predicted from the others, the model was {model:.1f} days off and your mean date {mean:.1f}: {better}."
        )
    if found.no_model:
        told.append(
            f"No model speaks of {', '.join(map(str, found.no_model))}: what was noted then is compared with nothing."
        )
    if found.offset is not None or found.days is not None:
        told.append(
            f"What few winters say is drawn towards none: sites lie {degrees(SITE_SD_C, 'g')} and {SITE_SD_DAYS:g} days from the model as a rule (our own figures)."
        )
    return tuple(told)


def _days(days: SiteDays) -> str:
    way = "later" if days.mean >= 0 else "earlier"
    return f"Buds break {number_of(round(abs(days.mean)), 'day')} {way} here than the model says (likely range {days.low:+.0f} to {days.high:+.0f}), from {number_of(days.years, 'year')}."

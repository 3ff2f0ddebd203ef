"""What `trunkwatch cold --json` says, key by key."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

__all__ = ["ColdAnswer", "cold_as_json"]


@dataclass(frozen=True, slots=True)
class ColdAnswer:
    """All that is said of one block and cultivar: the cold, the window, counts, past counts, a forecast, measures with their currency."""

    cold: Any
    window: Any = None
    count: Any = None
    on_record: Any = ()
    before: Any = None
    ahead: Any = None
    weighed: tuple[tuple[Any, str], ...] = ()


def cold_as_json(answer: ColdAnswer) -> dict[str, Any]:
    """Return what the JSON says of one block and cultivar."""
    from trunkwatch.cold.ahead_words import ahead_lines
    from trunkwatch.cold.measure_words import measure_lines
    from trunkwatch.cold.window_words import stretch_words, window_lines
    from trunkwatch.cold.words import cold_lines

    cold, window, count, ahead = answer.cold, answer.window, answer.count, answer.ahead
    verdict = cold.verdict
    return {
        "block": cold.block,
        "cultivar": cold.cultivar,
        "stand_in": cold.stand_in.value if cold.stand_in else None,
        "season": cold.season,
        "as_of": _iso(cold.as_of),
        "not_told": cold.why.name.lower() if cold.why else None,
        "model": verdict.serves.name.lower() if verdict else None,
        "gate": verdict.gate.name.lower() if verdict else None,
        "half_dies_c": cold.half_dies_c,
        "coldest": {"date": _iso(cold.coldest[0]), "t_min_c": cold.coldest[1]} if cold.coldest else None,
        "killed": cold.killed,
        "worst_night": _iso(cold.worst_night),
        "look_from": _iso(cold.look_from),
        "budbreak": _iso(cold.budbreak),
        "count": {"share": count.share, "low": count.low, "high": count.high, "dead": count.dead, "buds": count.counted}
        if count
        else None,
        "counts": [
            {
                "part": one.part,
                "date": _iso(one.day),
                "share": one.found.share,
                "low": one.found.low,
                "high": one.found.high,
                "dead": one.found.dead,
                "buds": one.found.counted,
                "canes": one.canes,
                "secondary_dead": one.secondary[0],
                "secondary_seen": one.secondary[1],
                "colder_since": _iso(one.colder_since),
            }
            for one in answer.on_record
        ],
        "past": _past_as_data(answer.before),
        "ahead": _ahead_as_data(ahead),
        "window": None
        if window is None
        else {
            "winters": len(window.winters),
            "hangs_on": [one.name.lower() for one in window.best.hangs_on],
            "best": [stretch_words(window, one) for one in window.best.best],
            "flip": window.best.flip.at,
            "stretches": [
                {
                    "first": _iso(window.day(one.first)),
                    "last": _iso(window.day(one.last)),
                    "by_calendar": one.by_calendar,
                    "by_warmth": one.by_warmth,
                    "crop_lost": one.crop_lost,
                    "crop_lost_long": one.crop_lost_long,
                    "frost": one.frost,
                    "workable": one.workable,
                }
                for one in window.best.stretches
            ],
            "measures": [_measure_as_data(window, found, money) for found, money in answer.weighed],
        },
        "text": [
            *cold_lines(cold),
            *(ahead_lines(cold, ahead) if ahead else ()),
            *(window_lines(window) if window else ()),
            *(line for found, money in answer.weighed for line in measure_lines(window, found, money)),
        ],
    }


def _measure_as_data(window: Any, found: Any, money: str) -> dict[str, Any]:
    from trunkwatch.cold.window_words import stretch_words

    return {
        "measure": found.measure.value,
        "prevented": found.prevented,
        "source": found.source,
        "minutes": found.minutes,
        "money_vine": found.money,
        "currency": money or None,
        "missing": list(found.missing),
        "crop_worth_vine": found.crop_worth,
        "good": [stretch_words(window, window.best.stretches[k]) for k in found.good],
        "stretches": [
            {
                "calendar": one.calendar,
                "warmth": one.warmth,
                "calendar_with": one.calendar_with,
                "warmth_with": one.warmth_with,
                "crop_lost": one.crop_lost,
                "crop_lost_with": one.crop_lost_with,
            }
            for one in found.stretches
        ],
    }


def _ahead_as_data(ahead: Any) -> dict[str, Any] | None:
    if ahead is None:
        return None
    coldest = ahead.coldest
    return {
        "days": [_iso(one) for one in ahead.ahead.days],
        "measured_since": [_iso(one) for one in ahead.ahead.measured],
        "coldest": {"date": _iso(coldest[0]), "t_min_c": coldest[1]} if coldest else None,
        "half_dies_c": ahead.cold.half_dies_c,
        "killed": ahead.cold.killed,
    }


def _past_as_data(before: Any) -> dict[str, Any]:
    offset, days = before.offset, before.days
    return {
        "kills": [
            {
                "date": _iso(one.day),
                "part": one.part,
                "dead": one.dead,
                "buds": one.buds,
                "low": one.low,
                "high": one.high,
                "inside": one.inside,
            }
            for one in before.kills
        ],
        "breaks": [
            {"noted": _iso(one.noted), "model": _iso(one.model), "days_late": one.days_late} for one in before.breaks
        ],
        "offset": None
        if offset is None
        else {"mean_c": offset.mean_c, "low_c": offset.low_c, "high_c": offset.high_c, "winters": offset.winters},
        "days": None if days is None else {"mean": days.mean, "low": days.low, "high": days.high, "years": days.years},
        "rmse_days": None if before.rmse is None else {"model": before.rmse[0], "mean_date": before.rmse[1]},
    }


def _iso(day: dt.date | None) -> str | None:
    return day.isoformat() if day else None

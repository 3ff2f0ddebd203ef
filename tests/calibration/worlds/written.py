"""The tables as the scouts and the grower write them down."""

import datetime as dt
from collections.abc import Iterator
from typing import Any

import numpy as np
from calibration.worlds.course import Course, Growth
from calibration.worlds.kinds import NOTED, ROW_M, VINE_M, Block
from calibration.worlds.run import Run

__all__ = ["BLOCK", "written"]

BLOCK = "Bench"
#: Month and day of a look, and of the renewals after it (of leaf symptoms in the winter after).
LOOKS = {"summer": "08-10", "dormant": "02-10"}
WORKED, PLANTED, GAP = "03-15", "04-10", "11-20"
ARMS = ("start", "end")
Records = list[dict[str, Any]]


def written(block: Block, course: Course, real: Run) -> dict[str, Records]:
    """Return all tables, as lists of records."""
    dieback = isinstance(course.shows, Growth)
    return {
        "blocks": [
            {
                "block": BLOCK,
                "cultivar": "mixed" if course.row_cultivars else "one",
                "planted": block.planted,
                "training": "bilateral",
                "row_spacing_m": ROW_M,
                "vine_spacing_m": VINE_M,
                "hemisphere": "north",
                "rows_go": "right",
                "numbering": "same_end",
                "grafted": "yes",
            },
        ],
        "rows": list(_rows(block, course)),
        "plants": [*_rootstocks(block, course), *_replants(block, course, real), *_gaps(block, course, real)],
        "surveys": list(_surveys(block, course, "dormant" if dieback else "summer")),
        "symptoms": [*_findings(block, course, real), *_dead(block, course, real)],
        "work": list(_work(block, course, real)),
        "weather": list(_weather(block, course)),
    }


def look_day(season: int, course: Course) -> str:
    """Return the day of the look of a season."""
    return f"{season}-{LOOKS['dormant' if isinstance(course.shows, Growth) else 'summer']}"


def _rows(block: Block, course: Course) -> Iterator[dict[str, Any]]:
    for row in range(block.shape[0]):
        record = {"block": BLOCK, "row": str(row + 1), "row_order": row + 1, "first": 1, "last": block.shape[1]}
        yield {**record, "cultivar": course.row_cultivars[row]} if course.row_cultivars else record


def _rootstocks(block: Block, course: Course) -> Iterator[dict[str, Any]]:
    if course.plant_rootstocks is None:
        return
    for (row, station), rootstock in np.ndenumerate(course.plant_rootstocks):
        yield {
            "block": BLOCK,
            "row": str(row + 1),
            "position": str(station + 1),
            "planted": str(block.planted),
            "rootstock": str(rootstock),
        }


def _replants(block: Block, course: Course, real: Run) -> Iterator[dict[str, Any]]:
    del course
    spells = real.spells
    first = block.shape[0] * block.shape[1]
    for number in range(first, len(spells["row"])):
        season = int(spells["planted"][number]) + block.planted
        place = {"block": BLOCK, "row": str(spells["row"][number] + 1), "position": str(spells["station"][number] + 1)}
        yield {**place, "removed": f"{season}-03-20", "reason": "replaced"}
        yield {**place, "planted": f"{season}-{PLANTED}"}


def _gaps(block: Block, course: Course, real: Run) -> Iterator[dict[str, Any]]:
    """Write some of the dead as removed, two to four seasons after they died."""
    if not course.looks.writes_gap:
        return
    chance = block.chance("gaps")
    for year, row, station in zip(*np.nonzero(real.died), strict=True):
        noticed = year + block.planted + int(chance.integers(2, 5))
        if chance.random() < course.looks.writes_gap and block.first <= noticed < block.first + block.seasons:
            yield {
                "block": BLOCK,
                "row": str(row + 1),
                "position": str(station + 1),
                "removed": f"{noticed - 1}-{GAP}",
                "reason": "dead",
            }


def covered(rows: np.ndarray) -> str:
    """Return row labels the way the column `covered` takes them."""
    parts, numbers = [], [int(row) + 1 for row in rows]
    start = before = numbers[0]
    for number in [*numbers[1:], -1]:
        if number != before + 1:
            parts.append(str(start) if start == before else f"{start}..{before}")
            start = number
        before = number
    return "; ".join(parts)


def _surveys(block: Block, course: Course, look: str) -> Iterator[dict[str, Any]]:
    looks = course.looks
    for t in range(block.seasons):
        season = block.first + t
        for observer, name in enumerate(looks.names):
            rows = np.flatnonzero(looks.who[t] == observer)
            if rows.size:
                yield {
                    "survey": f"{season} {look} {name}",
                    "block": BLOCK,
                    "date": look_day(season, course),
                    "look": look,
                    "covered": covered(rows),
                    "purpose": "all",
                    "counting": "positions",
                    "observer": name,
                }


def _findings(block: Block, course: Course, real: Run) -> Iterator[dict[str, Any]]:
    dieback, names = isinstance(course.shows, Growth), course.looks.names
    noted = real.seen[: block.seasons] == NOTED
    called = _called_cold(block, course, noted)
    for t, row, station in zip(*(index.tolist() for index in np.nonzero(noted)), strict=True):
        record = {
            "block": BLOCK,
            "row": str(row + 1),
            "position": str(station + 1),
            "date": look_day(block.first + t, course),
            "observer": names[course.looks.who[t, row]],
        }
        if not dieback:
            yield {**record, "symptom": "leaf_stripe"}
            continue
        if called is not None and called[t, row, station]:
            record["cause"] = "winter_injury"
        for arm, percent in zip(ARMS, real.percent[t, row, station].tolist(), strict=True):
            if percent:
                yield {**record, "symptom": "dead_arm", "arm": arm, "percent": percent}


def _called_cold(block: Block, course: Course, noted: np.ndarray) -> np.ndarray | None:
    """Return which notes are put down to winter: some of the first ones in the season of the cold, whatever their cause."""
    if course.cold is None:
        return None
    out = np.zeros(noted.shape, dtype=bool)
    t = course.cold.season
    fresh = noted[t] & ~noted[:t].any(axis=0)
    out[t] = fresh & (block.chance("called cold").random(block.shape) < course.cold.called_cold)
    return out


def _dead(block: Block, course: Course, real: Run) -> Iterator[dict[str, Any]]:
    found = real.found_dead_now[: block.seasons]
    for t, row, station in zip(*(index.tolist() for index in np.nonzero(found)), strict=True):
        yield {
            "block": BLOCK,
            "row": str(row + 1),
            "position": str(station + 1),
            "date": look_day(block.first + t, course),
            "symptom": "dead",
            "observer": course.looks.names[course.looks.who[t, row]],
        }


def _work(block: Block, course: Course, real: Run) -> Iterator[dict[str, Any]]:
    """Write renewals: one arm where dead wood was noted on one, else the trunk."""
    dieback = isinstance(course.shows, Growth)
    for t, row, station in zip(*(index.tolist() for index in np.nonzero(real.worked)), strict=True):
        season = block.first + t + (0 if dieback else 1)
        record = {
            "block": BLOCK,
            "row": str(row + 1),
            "position": str(station + 1),
            "date": f"{season}-{WORKED}",
            "status": "done",
        }
        arms = [arm for arm, dead in zip(ARMS, real.percent[: t + 1, row, station].any(axis=0), strict=True) if dead]
        if dieback and len(arms) == 1:
            yield {**record, "kind": "renew_arm", "arm": arms[0]}
        else:
            yield {**record, "kind": "renew_trunk"}


def _weather(block: Block, course: Course) -> Iterator[dict[str, Any]]:
    """Write the winter days of every season: down to -20 C in a common winter, to -31 C in the cold one."""
    if not course.weather:
        return
    chance = block.chance("weather")
    for t in range(block.seasons):
        start = dt.date(block.first + t - 1, 12, 1)
        lows = np.maximum(chance.normal(-6.0, 4.5, 90), -20.0)
        if course.cold is not None and t == course.cold.season:
            lows[46:49] = (-29.0, -31.0, -27.0)
        for day, low in enumerate(lows):
            yield {
                "date": (start + dt.timedelta(days=day)).isoformat(),
                "t_min_c": round(float(low), 1),
                "t_max_c": round(float(low) + 8.0, 1),
            }

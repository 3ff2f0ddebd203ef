"""Which plant stands in a position on a day: the position stays, the plant changes.

Plantings and removals come from the `plants` table and from done work (`replant`, `remove`).
A position that neither mentions holds the vine that was planted with the block.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from trunkwatch.history.places import Cell, Places
from trunkwatch.history.written import Planting, Work
from trunkwatch.vineyard.calendar import season_bounds, season_of

__all__ = ["ORIGINAL", "Plant", "full_day", "plant_after", "plant_on", "plants_of"]

_ALWAYS, _NEVER = "0000-00-00", "9999-99-99"


@dataclass(frozen=True, slots=True)
class Plant:
    """One plant in a position, from its planting to its removal.

    Attributes
    ----------
    since, until : str
        First day, and first day on which it is gone, as text that sorts like dates.
    planted : int or None
        Season of planting; None where it came with the block or is not known.
    died : bool
        Whether it was removed as dead.
    removed : bool
        Whether it was removed on its last day; else it gave way to the plant of the day after, or stands.
    """

    since: str
    until: str
    planted: int | None = None
    died: bool = False
    removed: bool = False

    def stands(self, day: str) -> bool:
        """Tell whether the plant stands on a day; on the day of its removal it was still seen."""
        return self.since <= day <= self.until


ORIGINAL = Plant(_ALWAYS, _NEVER)
_DEATHS = frozenset({"dead", "collapse", "winter_injury"})


@dataclass(frozen=True, slots=True)
class _Change:
    day: str
    planting: bool
    season: int | None
    died: bool = False
    line: int = -1  # of the plants table, by its place in it; -1 for work
    year: str = ""  # of a removal written as a bare year


def plants_of(
    plantings: Iterable[Planting], done: Iterable[Work], places: Places, hemisphere: str, *, block_planted: int | None
) -> dict[Cell, tuple[Plant, ...]]:
    """Return the plants of every position that changed hands, in order of time.

    A position that was empty since before the record began has an empty tuple.

    Parameters
    ----------
    plantings : iterable of Planting
    done : iterable of Work
        Work that was done; replanting and removing tell of plants.
    places : Places
        Knows the positions that came only when their row was laid out anew.
    hemisphere : str
    block_planted : int or None
        First season of the block's first vines; None where it is not known.
    """
    changes: defaultdict[Cell, list[_Change]] = defaultdict(list)
    empty: set[Cell] = set()
    for number, line in enumerate(plantings):
        cell = line.cell
        if line.reason == "missing" and not line.planted and not line.removed:
            empty.add(cell)
        first = bool(line.planted) and block_planted is not None and int(line.planted[:4]) <= block_planted
        if line.planted and not first:
            day, season = _first_day(line.planted, hemisphere), _season(line.planted, hemisphere)
            changes[cell].append(_Change(day, True, season, line=number))
        if line.removed:
            year = line.removed if len(line.removed) == 4 else ""
            died = line.reason in _DEATHS
            changes[cell].append(_Change(_last_day(line.removed), False, None, died, line=number, year=year))
    for work in done:
        if work.kind in ("replant", "remove"):
            changes[work.cell].append(_Change(work.date, work.kind == "replant", work.season))
    for cell, day in places.planted_between.items():
        empty.add(cell)  # no vine stood there before its row was laid out anew
        if not any(change.planting for change in changes[cell]):
            changes[cell].append(_Change(day, True, season_of(day, hemisphere)))
    spells = {
        cell: _spells(sorted(_before_replants(found), key=lambda c: (c.day, c.planting)), cell in empty)
        for cell, found in changes.items()
    }
    return spells | {cell: () for cell in empty if cell not in spells}


def _before_replants(changes: Sequence[_Change]) -> list[_Change]:
    """Put removals of a bare year before the planting of that year: who writes both means this order."""
    out = []
    for change in changes:
        if change.year:
            own = next((c.day for c in changes if c.planting and c.line == change.line), "")
            after = [
                c.day
                for c in changes
                if c.planting and c.line != change.line and c.day > own and change.year in (str(c.season), c.day[:4])
            ]
            if after:
                change = replace(change, day=_day_before(min(after)))  # noqa: PLW2901 - the same removal, on its day
        out.append(change)
    return out


def _spells(changes: Sequence[_Change], starts_empty: bool) -> tuple[Plant, ...]:
    """Turn plantings and removals into plants; a planting within its own season is one event."""
    done: list[Plant] = []
    now: Plant | None = None if starts_empty else ORIGINAL
    for change in changes:
        if change.planting:
            if now is not None and now.planted is not None and now.planted == change.season:
                continue  # the same replant, told twice (in `plants` and in `work`)
            if now is not None:
                done.append(Plant(now.since, _day_before(change.day), now.planted, died=False))
            elif done and done[-1].until >= change.day:  # pulled and planted on one day: that day is the new one's
                done[-1] = replace(done[-1], until=_day_before(change.day), removed=False)
            now = Plant(change.day, _NEVER, change.season)
        elif now is not None:
            done.append(Plant(now.since, change.day, now.planted, change.died, removed=True))
            now = None
        elif done and change.died and change.day <= done[-1].until:
            done[-1] = replace(done[-1], died=True)
    return (*done, now) if now is not None else tuple(done)


def _day_before(day: str) -> str:
    return (dt.date.fromisoformat(day) - dt.timedelta(days=1)).isoformat()


def _first_day(text: str, hemisphere: str) -> str:
    return season_bounds(int(text), hemisphere)[0] if len(text) == 4 else text


def _last_day(text: str) -> str:
    return f"{text}-12-31" if len(text) == 4 else text


def _season(text: str, hemisphere: str) -> int:
    return int(text) if len(text) == 4 else season_of(text, hemisphere)


def plant_on(plants: Sequence[Plant], day: str) -> int:
    """Return the number of the plant that stands on a day, -1 for none."""
    for number in range(len(plants) - 1, -1, -1):
        if plants[number].stands(day):
            return number
    return -1


def plant_after(plants: Sequence[Plant], day: str) -> int:
    """Return the number of the plant that stands after the work of a day, -1 for none."""
    number = plant_on(plants, day)
    return -1 if number >= 0 and plants[number].removed and plants[number].until == day else number


def full_day(text: str) -> str:
    """Return a day for a day or a year, to tell which row labels held."""
    return f"{text}-07-01" if len(text) == 4 else text

"""What was looked at, when, and which look a finding belongs to.

A finding that no survey covers is casual: it stands in the vine's history and enters no rate
and no test. Surveys with the purpose `recheck` measure the observers, not the vines.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import pandas as pd

from trunkwatch.history.definitions import CaseDefinition, Part
from trunkwatch.history.places import Cell, Empty, Places
from trunkwatch.vineyard.calendar import as_date, is_iso_date, look_of, season_of
from trunkwatch.vineyard.covered import CoverageError, Stretch, parse_covered
from trunkwatch.vineyard.tables import number_or_none, records_of

__all__ = ["BARE", "Look", "cells_of", "could_see", "is_of_recheck", "look_for", "needed_parts", "read_looks"]

#: A finding that is dated a few days beside its survey still belongs to it (our own convention:
#: people write one day for a walk of a week); later ones are casual.
SLACK_DAYS = 14
#: Kinds of look at which the wood can be seen.
BARE = frozenset({"dormant", "spring"})
#: The symptom that stands for all that lasts in a survey made for single symptoms.
_KEY_OF_LASTING = "dead_arm"


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """One line of the surveys: who looked at which cells on which days for what.

    Attributes
    ----------
    id : str
        Of its record.
    survey, season, kind
        Name of the survey, year of the harvest, and dormant, spring or summer.
    date, until : str
        First and last day.
    walked, cells : frozenset of (row, station)
        Cells that it covers, and those without the vines that were noted as not seen.
    rows : frozenset of int
        Its rows on the ground, by number, whatever they are called on a later day of it.
    purpose : frozenset of str
        Symptoms looked for; empty: everything.
    recheck : bool
        A blind second look.
    covered, minutes, note, recorded_at
        As written.
    """

    id: str
    survey: str
    season: int
    kind: str
    date: str
    until: str
    rows: frozenset[int]
    purpose: frozenset[str]
    observer: str
    from_end: bool
    living_only: bool
    recheck: bool
    covered: str
    minutes: float | None
    note: str
    recorded_at: str
    walked: frozenset[Cell] = field(default=frozenset(), repr=False)
    cells: frozenset[Cell] = field(default=frozenset(), repr=False)

    @property
    def for_all(self) -> bool:
        """Whether everything was looked for."""
        return not self.purpose

    def covers_part(self, part: Part) -> bool:
        """Tell whether this look was made at the right time and for the part's symptoms."""
        return self.kind in part.looks and (not self.purpose or part.key in self.purpose)

    def takes_in(self, day: str) -> bool:
        """Tell whether a day is one of its days."""
        return self.date <= day <= self.until


def read_looks(surveys: pd.DataFrame, places: Places, hemisphere: str) -> list[tuple[Look, tuple[Stretch, ...]]]:
    """Read the surveys of one block, second looks too, in order of date; what they cover is read, but not laid on the ground.

    Lines whose `covered` or date cannot be read are left out: the checks name them.
    """
    found = []
    for line in records_of(surveys):
        if not is_iso_date(str(line["date"])):
            continue
        try:
            stretches, rows = _walked(places, str(line["covered"]), str(line["date"]))
        except CoverageError:
            continue
        found.append((_look(line, rows, hemisphere), stretches))
    return sorted(found, key=lambda pair: (pair[0].date, pair[0].until, pair[0].survey, pair[0].observer))


@lru_cache(maxsize=128)  # with every record that a desk takes, the surveys of its block are read
def _walked(places: Places, covered: str, day: str) -> tuple[tuple[Stretch, ...], frozenset[int]]:
    """Return what a survey covers, as it is written and as rows on the ground."""
    stretches = tuple(parse_covered(covered, places.labels_on(day)))
    numbers = (places.row_number(label, day) for label in {s.row for s in stretches})
    return stretches, frozenset(number for number in numbers if number is not None)


def _look(line: Mapping[str, Any], rows: frozenset[int], hemisphere: str) -> Look:
    purpose = frozenset(word.strip() for word in str(line["purpose"]).split(";") if word.strip())
    date = str(line["date"])
    return Look(
        str(line["id"]),
        str(line["survey"]),
        season_of(date, hemisphere),
        str(line["look"]) or look_of(date, hemisphere),
        date,
        str(line["until"] or date),
        rows,
        frozenset() if "all" in purpose else purpose - {"recheck"},
        str(line["observer"]),
        line["counted_from"] == "end",
        line["counting"] == "living_vines",
        "recheck" in purpose,
        str(line["covered"]),
        number_or_none(line["minutes"]),
        str(line["note"]),
        str(line["recorded_at"]),
    )


def on_the_ground(look: Look, stretches: Iterable[Stretch], places: Places, empty: Empty) -> Look:
    """Return the look with the cells that it covers.

    Parameters
    ----------
    look, stretches
        As `read_looks` gives them.
    places : Places
    empty : callable
        Tells whether a cell holds no living vine on a day, for scouts who count living vines.
    """
    cells: set[Cell] = set()
    for stretch in stretches:
        if stretch.first is None or stretch.last is None:
            cells.update(places.line(stretch.row, look.date))
            continue
        counts = range(stretch.first, stretch.last + 1, stretch.step)
        cells.update(
            places.counted_run(
                stretch.row, counts, from_end=look.from_end, living_only=look.living_only, empty=empty, day=look.date
            )
        )
    walked = frozenset(cells)
    return replace(look, walked=walked, cells=walked)


def without_unseen(look: Look, unseen: Mapping[str, frozenset[Cell]]) -> Look:
    """Return the look without the cells that were noted as not seen on one of its days."""
    out = frozenset[Cell]().union(*(cells for day, cells in unseen.items() if look.takes_in(day)))
    return replace(look, cells=look.walked - out) if out else look


def cells_of(looks: Sequence[Look], row: int | None, date: str, observer: str) -> Look | None:
    """Return the look during which a row was counted on a day, the observer's own before others'."""
    there = [look for look in looks if look.takes_in(date) and row in look.rows]
    own = [look for look in there if look.observer == observer]
    return next(iter(own or there), None)


def look_for(
    looks: Sequence[Look], cell: Cell, date: str, season: int, kind: str, *, walked: bool = False
) -> Look | None:
    """Return the look that covers a finding: on its very days, else one of the same kind close by.

    With `walked` the vines that were noted as not seen are covered on its days too.
    """
    best = None
    for look in looks:
        if look.season != season or cell not in look.walked:
            continue
        if look.takes_in(date) and (walked or cell in look.cells):
            return look
        if cell in look.cells and look.kind == kind and best is None and _days_off(look, date) <= SLACK_DAYS:
            best = look
    return best


def could_see(look_kind: str, purpose: frozenset[str], symptom: str, found_at: str) -> bool:
    """Tell whether a look could have seen lasting damage.

    Parameters
    ----------
    look_kind, purpose
        Of the look.
    symptom : str
        Of the damage.
    found_at : str
        Kind of look at which it was found: what was seen among leaves can be seen among leaves again.
    """
    return (look_kind in BARE or look_kind == found_at) and (
        not purpose or symptom in purpose or _KEY_OF_LASTING in purpose
    )


def is_of_recheck(rechecks: Sequence[Look], looks: Sequence[Look], cell: Cell, date: str, observer: str) -> bool:
    """Tell whether a finding was made at a blind second look and not at a look of its own.

    A finding that is dated a few days beside every look goes to the second look only if it bears the name of who made it
    and that person made no other look as close by.
    """
    first = [look for look in looks if look.takes_in(date) and cell in look.walked]
    second = [look for look in rechecks if look.takes_in(date) and cell in look.walked]
    if not first and not second and observer:
        there = [_nearest(some, cell, date, observer) for some in (rechecks, looks)]
        return there[0] <= SLACK_DAYS and there[0] < there[1]
    if not any(not observer or not look.observer or look.observer == observer for look in second):
        return False
    return not any(look.observer == observer for look in first)


def _nearest(looks: Sequence[Look], cell: Cell, date: str, observer: str) -> int:
    days = [_days_off(look, date) for look in looks if look.observer == observer and cell in look.walked]
    return min(days, default=SLACK_DAYS + 1)


def _days_off(look: Look, date: str) -> int:
    day = as_date(date)
    return max((as_date(look.date) - day).days, (day - as_date(look.until)).days, 0)


def needed_parts(definition: CaseDefinition, looks: Sequence[Look]) -> list[Part]:
    """Return the parts of the definition that none of the looks covers."""
    return [part for part in definition.parts if not any(look.covers_part(part) for look in looks)]

"""What was looked at, when, and which look a finding belongs to.

A finding that no survey covers is casual: it stands in the vine's history and enters no rate
and no test. Surveys with the purpose `recheck` measure the observers, not the vines.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from trunkwatch.history.definitions import CaseDefinition, Part
from trunkwatch.history.places import Cell, Empty, Places
from trunkwatch.vineyard.calendar import as_date, is_iso_date, look_of, season_of
from trunkwatch.vineyard.covered import CoverageError, parse_covered
from trunkwatch.vineyard.tables import records_of

__all__ = ["Look", "cells_of", "is_of_recheck", "look_for", "looks_of", "needed_parts"]

#: A finding that is dated a few days beside its survey still belongs to it (our own convention:
#: people write one day for a walk of a week); later ones are casual.
SLACK_DAYS = 14


@dataclass(frozen=True, slots=True)
class Look:
    """One line of the surveys: who looked at which cells on which days for what."""

    survey: str
    season: int
    look: str
    date: str
    until: str
    cells: frozenset[Cell]
    rows: frozenset[str]
    purpose: frozenset[str]  # empty: everything
    observer: str
    from_end: bool
    living_only: bool

    def covers_part(self, part: Part) -> bool:
        """Tell whether this look was made at the right time and for the part's symptoms."""
        return self.look in part.looks and (not self.purpose or part.key in self.purpose)


def looks_of(
    surveys: pd.DataFrame,
    places: Places,
    hemisphere: str,
    empty: Empty,
    out: Mapping[str, frozenset[Cell]],
    *,
    rechecks: bool = False,
) -> list[Look]:
    """Read the surveys of one block, in order of date.

    Parameters
    ----------
    surveys : DataFrame
        Standing records of one block. Lines whose `covered` cannot be read are left out: the
        checks name them.
    empty : callable
        Tells whether a cell holds no living vine on a day, for scouts who count living vines.
    out : mapping of survey date to cells
        Vines written down as `not_seen` on that date: out of the survey.
    rechecks : bool
        Read the surveys with purpose `recheck` instead of all others.
    """
    looks = []
    for line in records_of(surveys):
        purpose = frozenset(word.strip() for word in str(line["purpose"]).split(";") if word.strip())
        if ("recheck" in purpose) != rechecks or not is_iso_date(str(line["date"])):
            continue
        date, until = str(line["date"]), str(line["until"] or line["date"])
        from_end, living = line["counted_from"] == "end", line["counting"] == "living_vines"
        try:
            stretches = parse_covered(str(line["covered"]), places.labels_on(date))
        except CoverageError:
            continue
        cells: set[Cell] = set()
        for stretch in stretches:
            if stretch.first is None or stretch.last is None:
                cells.update(places.line(stretch.row, date))
                continue
            for count in range(stretch.first, stretch.last + 1, stretch.step):
                cell = places.counted(stretch.row, count, from_end=from_end, living_only=living, empty=empty, day=date)
                if cell is not None:
                    cells.add(cell)
        for day, unseen in out.items():
            if date <= day <= until:
                cells -= unseen
        looks.append(
            Look(
                str(line["survey"]),
                season_of(date, hemisphere),
                str(line["look"]) or look_of(date, hemisphere),
                date,
                until,
                frozenset(cells),
                frozenset(s.row for s in stretches),
                frozenset() if "all" in purpose else purpose - {"recheck"},
                str(line["observer"]),
                from_end,
                living,
            )
        )
    return sorted(looks, key=lambda look: (look.date, look.until, look.survey, look.observer))


def cells_of(looks: Sequence[Look], row: str, date: str, observer: str) -> Look | None:
    """Return the look during which a row was counted on a day, the observer's own before others'."""
    there = [look for look in looks if look.date <= date <= look.until and row in look.rows]
    own = [look for look in there if observer and look.observer == observer]
    return next(iter(own or there), None)


def look_for(looks: Sequence[Look], cell: Cell, date: str, season: int, season_look: str) -> Look | None:
    """Return the look that covers a finding: on its very days, else one of the same kind close by."""
    best = None
    for look in looks:
        if look.season != season or cell not in look.cells:
            continue
        if look.date <= date <= look.until:
            return look
        if look.look == season_look and best is None and _days_off(look, date) <= SLACK_DAYS:
            best = look
    return best


def is_of_recheck(rechecks: Sequence[Look], looks: Sequence[Look], cell: Cell, date: str, observer: str) -> bool:
    """Tell whether a finding was made at a blind second look and not at a look of its own.

    A finding that is dated a few days beside every look goes to the second look only if it bears the name of who made it
    and that person made no other look as close by.
    """
    first = [look for look in looks if look.date <= date <= look.until and cell in look.cells]
    second = [look for look in rechecks if look.date <= date <= look.until and cell in look.cells]
    if not first and not second and observer:
        there = [_nearest(some, cell, date, observer) for some in (rechecks, looks)]
        return there[0] <= SLACK_DAYS and there[0] < there[1]
    if not any(not observer or not look.observer or look.observer == observer for look in second):
        return False
    return not any(look.observer == observer for look in first)


def _nearest(looks: Sequence[Look], cell: Cell, date: str, observer: str) -> int:
    days = [_days_off(look, date) for look in looks if look.observer == observer and cell in look.cells]
    return min(days, default=SLACK_DAYS + 1)


def _days_off(look: Look, date: str) -> int:
    day = as_date(date)
    return max((as_date(look.date) - day).days, (day - as_date(look.until)).days, 0)


def needed_parts(definition: CaseDefinition, looks: Sequence[Look]) -> list[Part]:
    """Return the parts of the definition that none of the looks covers."""
    return [part for part in definition.parts if not any(look.covers_part(part) for look in looks)]

"""Vines looked at a second time without knowledge of the first: what each look saw.

Symptoms show at their own time of the year, so looks are compared within a kind: leaf symptoms between summer looks,
dieback between dormant looks or between spring looks.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history.block_history import BlockHistory
from trunkwatch.history.build import build_history
from trunkwatch.history.condition import MATURE_LIVING, Condition
from trunkwatch.history.definitions import DEFINITIONS
from trunkwatch.history.looks import Look, look_for
from trunkwatch.history.places import Cell
from trunkwatch.history.reading import BlockReading
from trunkwatch.history.written import Finding
from trunkwatch.vineyard.calendar import as_date, look_of

__all__ = ["OF_LOOK", "FirstLook", "SecondLooks", "first_look", "second_looks"]

#: The case definition that a kind of look is made for.
OF_LOOK: Mapping[str, str] = MappingProxyType({"dormant": "dieback", "spring": "dieback", "summer": "leaf"})


@dataclass(frozen=True, slots=True)
class FirstLook:
    """What the looks of one kind saw in a season, blind second looks apart.

    Attributes
    ----------
    season, look
        Year of the harvest, and dormant, spring or summer.
    vines : (rows, stations) bool array
        Mature living vines looked at, those of `carried` left out.
    cases : (rows, stations) bool array
        Of these, vines on which the look itself saw a case.
    carried : (rows, stations) bool array
        Vines with a lasting symptom on record that this look did not write down again: whether it saw them is not
        known.
    twice : (rows, stations) bool array
        Vines that a blind second look covers already.
    """

    season: int
    look: str
    vines: NDArray[np.bool_] = field(repr=False)
    cases: NDArray[np.bool_] = field(repr=False)
    carried: NDArray[np.bool_] = field(repr=False)
    twice: NDArray[np.bool_] = field(repr=False)


@dataclass(frozen=True, slots=True)
class SecondLooks:
    """The vines of one kind of look that were looked at twice in a season, each once, at its earliest second look.

    Attributes
    ----------
    season, look
        Year of the harvest, and dormant, spring or summer.
    first, second : (k,) bool arrays
        A case was seen.
    days : (k,) int array
        Days from the end of the first look to the beginning of the second.
    pairs : tuple of (str, str), k of them
        Who made the first look and who the second; several names are joined by "and".
    months : tuple of str, k of them
        Month of the second look, as YYYY-MM.
    cases, vines : int
        Of the whole first look; where there were several of a kind, of those that began by the last second look.
    carried : int
        Vines covered by a second look that are left out because of a lasting symptom on record that the first look did
        not write down again.
    """

    season: int
    look: str
    first: NDArray[np.bool_] = field(repr=False)
    second: NDArray[np.bool_] = field(repr=False)
    days: NDArray[np.int64] = field(repr=False)
    pairs: tuple[tuple[str, str], ...] = field(repr=False)
    months: tuple[str, ...] = field(repr=False)
    cases: int
    vines: int
    carried: int


def first_look(reading: BlockReading, look: str, season: int) -> FirstLook:
    """Return what the looks of one kind saw in a season.

    Parameters
    ----------
    reading : BlockReading
        The block's records.
    look : {"dormant", "spring", "summer"}
        Kind of look.
    season : int
        Year of the harvest.

    Raises
    ------
    ValueError
        If there is no such kind of look.
    """
    return _Kind(reading, look, season).first(season)


def second_looks(reading: BlockReading, look: str, through: int) -> tuple[SecondLooks, ...]:
    """Return what the first and the second look saw, vine by vine, season by season.

    Parameters
    ----------
    reading : BlockReading
        The block's records.
    look : {"dormant", "spring", "summer"}
        Kind of look: surveys of this kind with purpose `recheck` are the second looks, and a vine is taken where a
        survey of the same kind looked at it before.
    through : int
        Last season taken.

    Returns
    -------
    tuple of SecondLooks
        Earliest first; seasons in which no vine was looked at twice are left out.

    Raises
    ------
    ValueError
        If there is no such kind of look.
    """
    kind = _Kind(reading, look, through)
    seasons = sorted({one.season for one in kind.again if one.season <= through})
    return tuple(found for season in seasons if (found := kind.second(season)).first.size)


class _Kind:
    """Reads the looks of one kind."""

    def __init__(self, reading: BlockReading, look: str, through: int) -> None:
        if look not in OF_LOOK:
            raise ValueError(f"look is {look!r}: one of {', '.join(OF_LOOK)} is needed")
        self.look, self.grid = look, reading.grid
        self.rule = DEFINITIONS[OF_LOOK[look]]
        self.reader = reading
        self.again = self._of_kind(self.reader.rechecks)
        self.looks = self._of_kind(self.reader.looks)
        self.history: BlockHistory = build_history(reading, self.rule.name, through=through)

    def _of_kind(self, looks: Iterable[Look]) -> list[Look]:
        return [k for k in looks if k.kind == self.look and any(k.covers_part(part) for part in self.rule.parts)]

    def first(self, season: int, *, before: str = "9999") -> FirstLook:
        """Return the first look of a season, as far as it began by a day."""
        looks = [one for one in self.looks if one.season == season and one.date <= before]
        seen = self._mask(cell for one in looks for cell in one.cells)
        cases = self._mask(self._cells_with_cases(self.reader.findings, looks, season))
        vines, carried = np.zeros_like(seen), np.zeros_like(seen)
        if season in self.history.seasons:
            condition = self.history.condition[self.history.index_of(season)]
            living = np.isin(condition, MATURE_LIVING)
            carried = seen & ~cases & (condition == Condition.SHOWING) & ~self._found_this(season)
            vines = seen & living & ~carried
        twice = self._mask(cell for one in self.again if one.season == season for cell in one.cells)
        return FirstLook(season, self.look, vines, cases & vines, carried, twice)

    def second(self, season: int) -> SecondLooks:
        """Compare vine by vine."""
        again = [one for one in self.again if one.season == season]
        whole = self.first(season, before=max(one.date for one in again))
        firsts = [one for one in self.looks if one.season == season]
        unseen = {
            (finding.date, finding.cell) for finding in self.reader.second_findings if finding.symptom == "not_seen"
        }
        taken: dict[Cell, Look] = {}
        covered: set[Cell] = set()
        for one in again:
            covered |= one.cells
            out = {cell for day, cell in unseen if one.takes_in(day)}
            for cell in one.cells - out:
                if whole.vines[cell] and any(k.date <= one.date and cell in k.cells for k in firsts):
                    taken.setdefault(cell, one)
        had, saw = {}, {}
        for one in again:
            had[id(one)] = self._cells_with_cases(self.reader.findings, firsts, season, until=one.date)
            saw[id(one)] = self._cells_with_cases(self.reader.second_findings, [one], season, observer=one.observer)
        cells = sorted(taken)
        before = {cell: [k for k in firsts if k.date <= taken[cell].date and cell in k.cells] for cell in cells}
        return SecondLooks(
            season,
            self.look,
            np.array([cell in had[id(taken[cell])] for cell in cells], dtype=bool),
            np.array([cell in saw[id(taken[cell])] for cell in cells], dtype=bool),
            np.array([_days(before[cell], taken[cell]) for cell in cells], dtype=np.int64),
            tuple((_names(before[cell]), taken[cell].observer) for cell in cells),
            tuple(taken[cell].date[:7] for cell in cells),
            int(whole.cases.sum()),
            int(whole.vines.sum()),
            sum(bool(whole.carried[cell]) for cell in covered),
        )

    def _mask(self, cells: Iterable[Cell]) -> NDArray[np.bool_]:
        mask = np.zeros(self.grid.shape, dtype=bool)
        for cell in cells:
            mask[cell] = True
        return mask

    def _found_this(self, season: int) -> NDArray[np.bool_]:
        """Return vines on which any look of the season saw a case, whatever its kind."""
        looks = [one for one in self.reader.looks if one.season == season and one.kind in self.rule.looks]
        return self._mask(self._cells_with_cases(self.reader.findings, looks, season))

    def _cells_with_cases(
        self,
        findings: Iterable[Finding],
        looks: list[Look],
        season: int,
        *,
        until: str = "9999",
        observer: str = "",
    ) -> set[Cell]:
        """Return the cells on which the looks that began by a day saw a case.

        With an observer named, without the findings of others.
        """
        seen: set[Cell] = set()
        for finding in findings:
            if not self.rule.makes_case(finding) or (finding.observer and observer not in ("", finding.observer)):
                continue
            kind = look_of(finding.date, self.reader.hemisphere)
            look = look_for(looks, finding.cell, finding.date, season, kind)
            if look is not None and look.date <= until:
                seen.add(finding.cell)
        return seen


def _days(before: list[Look], again: Look) -> int:
    return max(0, min((as_date(again.date) - as_date(look.until)).days for look in before))


def _names(looks: list[Look]) -> str:
    return " and ".join(sorted({look.observer for look in looks if look.observer}))

"""A survey while it is being walked: over several days, by several people, row by row; and what is odd about it."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from trunkwatch.block.opening import read
from trunkwatch.errors import RecordError, UnknownBlockError
from trunkwatch.history import BlockReading
from trunkwatch.history.looks import Look
from trunkwatch.history.places import Cell
from trunkwatch.store import Store
from trunkwatch.surveys.oddities import Oddity, OddityKind
from trunkwatch.vineyard.calendar import look_of

__all__ = ["FINISHED", "RowProgress", "SurveyProgress", "Walk", "surveys_of"]

#: What the note of the last walk says once a survey is finished; a later walk opens it again.
FINISHED = "survey finished"
#: A row without any finding is worth a second thought where the look before had so many (our own convention).
QUIET = 3
_NO_FINDING = ("none", "not_seen")


@dataclass(frozen=True, slots=True)
class Walk:
    """One line of a survey: who walked what on which days."""

    id: str
    date: str
    until: str
    observer: str
    covered: str
    minutes: float | None
    note: str
    recorded_at: str
    vines: int


@dataclass(frozen=True, slots=True)
class RowProgress:
    """One row of the block in one survey.

    Attributes
    ----------
    marks : str
        One letter a position: ``w`` walked, ``f`` walked and something found, ``t`` to go, ``F`` to go and
        something found, ``-`` no vine.
    left : str
        Positions still to go, such as ``41..52``; empty where none are.
    who : tuple of (str, str, str)
        Who walked in it (empty where no name was written), from which day to which.
    """

    row: str
    first: int
    marks: str
    left: str
    who: tuple[tuple[str, str, str], ...]

    @property
    def vines(self) -> int:
        """Vines that stand in the row."""
        return len(self.marks) - self.marks.count("-")

    @property
    def walked(self) -> int:
        """Vines that somebody walked past."""
        return self.marks.count("w") + self.marks.count("f")

    @property
    def findings(self) -> int:
        """Vines with a finding."""
        return self.marks.count("f") + self.marks.count("F")


@dataclass(frozen=True, slots=True)
class SurveyProgress:
    """A survey: every walk of one name, look and season, what is left of it, and what is odd."""

    name: str
    season: int
    look: str
    purpose: str
    walks: tuple[Walk, ...]
    rows: tuple[RowProgress, ...]
    oddities: tuple[Oddity, ...] = field(default=())

    @property
    def vines(self) -> int:
        """Vines of the block."""
        return sum(row.vines for row in self.rows)

    @property
    def walked(self) -> int:
        """Vines that somebody walked past."""
        return sum(row.walked for row in self.rows)

    @property
    def last(self) -> Walk:
        """The walk written down last."""
        return max(self.walks, key=lambda walk: (walk.recorded_at, walk.id))

    @property
    def finished(self) -> bool:
        """Whether somebody said that nothing more is to be walked."""
        return FINISHED in self.last.note

    @property
    def is_open(self) -> bool:
        """Whether there is still something to walk and nobody said that it is finished."""
        return not self.finished and self.rows_to_go > 0

    @property
    def rows_to_go(self) -> int:
        """Rows in which a vine is left."""
        return sum(1 for row in self.rows if row.left)


def surveys_of(store: Store, block: str, season: int | None = None) -> list[SurveyProgress]:
    """Tell how far each survey of a block is.

    Parameters
    ----------
    store : Store
        The vineyard.
    block : str
        Label.
    season : int, optional
        Year of the harvest; all seasons where left out.

    Returns
    -------
    list of SurveyProgress
        The one walked last first.

    Raises
    ------
    UnknownBlockError
        If there is no such block.
    """
    try:
        reading, _ = read(store, block)
    except UnknownBlockError:
        raise
    except RecordError:
        return []
    groups: defaultdict[tuple[str, int, str], list[Look]] = defaultdict(list)
    for look in (*reading.looks, *reading.rechecks):
        if season is None or look.season == season:
            groups[(look.survey, look.season, look.kind)].append(look)
    found = [_survey(key, looks, reading) for key, looks in groups.items()]
    return sorted(found, key=lambda one: max(walk.until for walk in one.walks), reverse=True)


def _survey(key: tuple[str, int, str], looks: list[Look], reading: BlockReading) -> SurveyProgress:
    name, season, kind = key
    looks.sort(key=lambda look: (look.date, look.recorded_at, look.id))
    there = _Survey(reading, looks, season, kind)
    walks = tuple(
        Walk(
            look.id,
            look.date,
            look.until,
            look.observer,
            look.covered,
            look.minutes,
            look.note,
            look.recorded_at,
            len(there.with_vine(look.cells)),
        )
        for look in looks
    )
    return SurveyProgress(
        name,
        season,
        kind,
        _purpose(looks[-1]),
        walks,
        tuple(there.rows()),
        tuple(there.oddities()),
    )


def _purpose(look: Look) -> str:
    """Return the purpose as it is written: all, recheck, or the symptoms looked for."""
    listed = ["recheck"] * look.recheck + sorted(look.purpose)
    return "; ".join(listed) or "all"


class _Survey:
    """The cells of one survey, and what was found in them."""

    def __init__(self, reading: BlockReading, looks: Sequence[Look], season: int, look: str) -> None:
        self.reading, self.looks, self.season, self.look = reading, looks, season, look
        self.first, self.last = min(one.date for one in looks), max(one.until for one in looks)
        self.walked: set[Cell] = set().union(*(one.cells for one in looks))
        self.findings = [
            f
            for f in (*reading.findings, *reading.second_findings)
            if self.first <= f.date <= self.last and f.symptom not in _NO_FINDING
        ]
        self.found = {f.cell for f in self.findings}

    def with_vine(self, cells: Iterable[Cell]) -> set[Cell]:
        """Return the cells that hold a vine on the last day."""
        return {cell for cell in cells if self._stands(cell)}

    def _stands(self, cell: Cell) -> bool:
        return self.reading.stands(cell, self.last)

    def name(self, cell: Cell) -> str:
        """Return row and position of a cell."""
        return "{}:{}".format(*self.reading.grid.label(*cell))

    def rows(self) -> Iterable[RowProgress]:
        """Return the rows in the order of the ground."""
        for label in self.reading.grid.labels:
            line = self.reading.places.line(label)
            if not line:
                continue
            marks = "".join(self._mark(cell) for cell in line)
            positions = [int(self.reading.grid.position[cell]) for cell in line]
            left = [p for p, mark in zip(positions, marks, strict=True) if mark in "tF"]
            here = set(line)
            who = dict.fromkeys((one.observer, one.date, one.until) for one in self.looks if one.cells & here)
            gone = {p for p, mark in zip(positions, marks, strict=True) if mark == "-"}
            yield RowProgress(label, positions[0], marks, _runs(left, gone), tuple(who))

    def _mark(self, cell: Cell) -> str:
        if cell in self.walked:
            return "f" if cell in self.found else "w" if self._stands(cell) else "-"
        return "F" if cell in self.found else "t" if self._stands(cell) else "-"

    def oddities(self) -> Iterable[Oddity]:
        """Return what a second thought should be given to."""
        yield from self._not_walked()
        yield from self._outside()
        yield from self._no_vine()
        yield from self._twice()
        yield from self._not_mentioned()
        yield from self._quiet()

    def _not_walked(self) -> Iterable[Oddity]:
        rows = list(self.rows())
        whole = tuple(row.row for row in rows if row.vines and not row.walked)
        if whole:
            yield Oddity(OddityKind.ROWS_NOT_WALKED, whole)
        for row in rows:
            if row.walked and row.left:
                yield Oddity(OddityKind.ROW_NOT_WHOLE, (row.row,), row.left)

    def _outside(self) -> Iterable[Oddity]:
        vines = tuple((self.name(f.cell), f) for f in self.findings if f.cell not in self.walked)
        if vines:
            yield Oddity(OddityKind.FOUND_OUTSIDE, vines=vines)

    def _no_vine(self) -> Iterable[Oddity]:
        vines = tuple((self.name(f.cell), f) for f in self.findings if f.plant < 0)
        if vines:
            yield Oddity(OddityKind.NO_VINE_THERE, vines=vines)

    def _twice(self) -> Iterable[Oddity]:
        by: defaultdict[str, set[Cell]] = defaultdict(set)
        for look in self.looks:
            by[look.observer] |= look.cells
        people = sorted(by)
        for number, one in enumerate(people):
            for other in people[number + 1 :]:
                both = self.with_vine(by[one] & by[other])
                if both:
                    said = [{f.cell for f in self.findings if f.observer == name} & both for name in (one, other)]
                    yield Oddity(
                        OddityKind.WALKED_TWICE, people=(one, other), many=len(both), differ=len(said[0] ^ said[1])
                    )

    def _not_mentioned(self) -> Iterable[Oddity]:
        """Name lasting findings of earlier seasons that a dormant or spring look does not mention again."""
        if self.look == "summer":
            return
        vines = []
        for cell in sorted(self.walked - self.found):
            before = [
                damage
                for damage in self.reading.damages.of(cell)
                if damage.finding.season < self.season and damage.stands(self.last, cut_that_day=True)
            ]
            vines += [(self.name(cell), before[-1].finding)] if before else []
        if vines:
            yield Oddity(OddityKind.NOT_MENTIONED, vines=tuple(vines))

    def _quiet(self) -> Iterable[Oddity]:
        then: defaultdict[int, set[Cell]] = defaultdict(set)
        for f in self.reading.findings:
            if f.season == self.season - 1 and look_of(f.date, self.reading.hemisphere) == self.look:
                then[int(self.reading.grid.which[f.cell])].add(f.cell)
        for row in self.rows():
            before = len(then[self.reading.grid.labels.index(row.row)])
            if row.walked and not row.left and not row.findings and before >= QUIET:
                yield Oddity(OddityKind.QUIET_ROW, (row.row,), many=before, look=self.look, season=self.season - 1)


def _runs(positions: Sequence[int], gone: set[int]) -> str:
    """Write positions as stretches; places without a vine do not break one."""
    runs: list[list[int]] = []
    for position in positions:
        if runs and all(p in gone for p in range(runs[-1][1] + 1, position)):
            runs[-1][1] = position
        else:
            runs.append([position, position])
    return ", ".join(str(a) if a == b else f"{a}..{b}" for a, b in runs)

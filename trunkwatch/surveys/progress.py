"""A survey while it is being walked: over several days, by several people, row by row; and what is odd about it."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from trunkwatch.block.opening import laid_out, records_of_block
from trunkwatch.errors import RecordError
from trunkwatch.history import BlockRecords
from trunkwatch.history.block_reader import BlockReader
from trunkwatch.history.events import finding_text
from trunkwatch.history.looks import Look, looks_of
from trunkwatch.history.places import Cell
from trunkwatch.history.plants import plant_on
from trunkwatch.store import Store
from trunkwatch.vineyard.calendar import look_of, season_of
from trunkwatch.vineyard.codes import CLEARING, LASTING
from trunkwatch.vineyard.tables import records_of

__all__ = ["FINISHED", "RowProgress", "SurveyProgress", "Walk", "surveys_of"]

#: What the note of the last walk says once a survey is finished; a later walk opens it again.
FINISHED = "survey finished"
#: A row without any finding is worth a second thought where the look before had so many (our own convention).
QUIET = 3
#: So many vines are named one by one; the rest is counted.
NAMED = 12
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
    """

    row: str
    first: int
    marks: str
    left: str
    who: tuple[str, ...]

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
    oddities: tuple[str, ...] = field(default=())

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
    records = records_of_block(store, block)
    try:
        grid, _, records = laid_out(records)
    except RecordError:
        return []
    reader = BlockReader(records, grid)
    groups: defaultdict[tuple[str, int, str], list[tuple[Look, dict[str, Any]]]] = defaultdict(list)
    for look, line in _walks(reader, records):
        if season is None or look.season == season:
            groups[(look.survey, look.season, look.look)].append((look, line))
    found = [_survey(key, walks, reader) for key, walks in groups.items()]
    return sorted(found, key=lambda one: max(walk.until for walk in one.walks), reverse=True)


def _walks(reader: BlockReader, records: BlockRecords) -> Iterable[tuple[Look, dict[str, Any]]]:
    unseen: defaultdict[str, set[Cell]] = defaultdict(set)
    for cell, line in reader.findings:
        if line["symptom"] == "not_seen":
            unseen[str(line["date"])].add(cell)
    out = {day: frozenset(cells) for day, cells in unseen.items()}
    table = records.surveys
    for number, line in enumerate(records_of(table)):
        one = table.iloc[[number]]
        for rechecks in (False, True):
            for look in looks_of(one, reader.places, reader.hemisphere, reader.empty, out, rechecks=rechecks):
                yield look, line


def _survey(key: tuple[str, int, str], walks: list[tuple[Look, dict[str, Any]]], reader: BlockReader) -> SurveyProgress:
    name, season, look = key
    walks.sort(key=lambda pair: (pair[0].date, str(pair[1]["recorded_at"]), str(pair[1]["id"])))
    there = _Survey(reader, [pair[0] for pair in walks], season, look)
    told = tuple(
        Walk(
            str(line["id"]), one.date, one.until, one.observer, str(line["covered"]),
            None if line["minutes"] != line["minutes"] else line["minutes"], str(line["note"]), str(line["recorded_at"]),
            len(there.with_vine(one.cells)),
        )
        for one, line in walks
    )  # fmt: skip
    return SurveyProgress(
        name, season, look, str(walks[-1][1]["purpose"] or "all"), told, tuple(there.rows()), tuple(there.oddities()),
    )  # fmt: skip


class _Survey:
    """The cells of one survey, and what was found in them."""

    def __init__(self, reader: BlockReader, looks: Sequence[Look], season: int, look: str) -> None:
        self.reader, self.looks, self.season, self.look = reader, looks, season, look
        self.first, self.last = min(one.date for one in looks), max(one.until for one in looks)
        self.walked: set[Cell] = set().union(*(one.cells for one in looks))
        pairs = [*reader.findings, *reader.second_findings]
        self.findings = [
            (cell, line) for cell, line in pairs
            if self.first <= str(line["date"]) <= self.last and line["symptom"] not in _NO_FINDING
        ]  # fmt: skip
        self.found = {cell for cell, _ in self.findings}

    def with_vine(self, cells: Iterable[Cell]) -> set[Cell]:
        """Return the cells that hold a vine on the last day."""
        return {cell for cell in cells if self._stands(cell)}

    def _stands(self, cell: Cell) -> bool:
        plants = self.reader.plants.get(cell)
        return plants is None or plant_on(plants, self.last) >= 0

    def name(self, cell: Cell) -> str:
        """Return row and position of a cell."""
        return f"{self.reader.grid.rows[cell[0]]}:{self.reader.grid.position[cell]}"

    def rows(self) -> Iterable[RowProgress]:
        """Return the rows in the order of the ground."""
        for label in self.reader.grid.rows:
            line = self.reader.places.line(label) if label else []
            if not line:
                continue
            marks = "".join(self._mark(cell) for cell in line)
            positions = [int(self.reader.grid.position[cell]) for cell in line]
            left = [p for p, mark in zip(positions, marks, strict=True) if mark in "tF"]
            here = set(line)
            who = dict.fromkeys(
                f"{one.observer or 'not said who'}, {one.date}" + (f" to {one.until}" if one.until != one.date else "")
                for one in self.looks if one.cells & here
            )  # fmt: skip
            gone = {p for p, mark in zip(positions, marks, strict=True) if mark == "-"}
            yield RowProgress(label, positions[0], marks, _runs(left, gone), tuple(who))

    def _mark(self, cell: Cell) -> str:
        if cell in self.walked:
            return "f" if cell in self.found else "w" if self._stands(cell) else "-"
        return "F" if cell in self.found else "t" if self._stands(cell) else "-"

    def oddities(self) -> Iterable[str]:
        """Say in sentences what a second thought should be given to."""
        yield from self._not_walked()
        yield from self._outside()
        yield from self._no_vine()
        yield from self._twice()
        yield from self._not_mentioned()
        yield from self._quiet()

    def _not_walked(self) -> Iterable[str]:
        rows = list(self.rows())
        whole = [row.row for row in rows if row.vines and not row.walked]
        if whole:
            yield f"Not walked at all: {_rows(len(whole))} {', '.join(whole)}. Their vines are not seen, not healthy."
        for row in rows:
            if row.walked and row.left:
                yield f"Row {row.row}: {row.left} not walked."

    def _outside(self) -> Iterable[str]:
        told = [f"{self.name(cell)} ({finding_text(line)})" for cell, line in self.findings if cell not in self.walked]
        if told:
            yield f"Found where nobody wrote down to have walked, so in no rate: {_some(told)}."

    def _no_vine(self) -> Iterable[str]:
        told = [
            self.name(cell)
            for cell, line in self.findings
            if (plants := self.reader.plants.get(cell)) is not None and plant_on(plants, str(line["date"])) < 0
        ]
        if told:
            yield f"Something was written where no vine stands: {_some(told)}."

    def _twice(self) -> Iterable[str]:
        by: defaultdict[str, set[Cell]] = defaultdict(set)
        for look in self.looks:
            by[look.observer] |= look.cells
        people = sorted(by)
        for number, one in enumerate(people):
            for other in people[number + 1 :]:
                both = self.with_vine(by[one] & by[other])
                if both:
                    said = [
                        {c for c, line in self.findings if line["observer"] == name} & both for name in (one, other)
                    ]
                    yield (
                        f"{len(both)} vines were walked by {one or 'somebody unnamed'} and by {other or 'somebody unnamed'}; "
                        f"at {len(said[0] ^ said[1])} of them only one of the two found something."
                    )

    def _not_mentioned(self) -> Iterable[str]:
        """Name lasting findings of earlier seasons that a dormant or spring look does not mention again."""
        if self.look == "summer":
            return
        before = {
            cell: line
            for cell, line in self.reader.findings
            if line["symptom"] in LASTING and season_of(str(line["date"]), self.reader.hemisphere) < self.season
        }
        told = [
            f"{self.name(cell)} ({finding_text(line)})"
            for cell, line in before.items()
            if cell in self.walked and cell not in self.found and not self._cleared(cell, str(line["date"]))
        ]
        if told:
            yield f"On record before, not mentioned this time, and carried on unless it was cut: {_some(told)}."

    def _cleared(self, cell: Cell, day: str) -> bool:
        cut = any(
            where == cell and line["kind"] in (*CLEARING, "remove", "replant") and str(line["date"]) >= day
            for where, line in self.reader.work
        )
        plants = self.reader.plants.get(cell)
        return cut or (plants is not None and plant_on(plants, day) != plant_on(plants, self.last))

    def _quiet(self) -> Iterable[str]:
        places, hemisphere = self.reader.grid, self.reader.hemisphere
        then: defaultdict[int, set[Cell]] = defaultdict(set)
        for cell, line in self.reader.findings:
            day = str(line["date"])
            if season_of(day, hemisphere) == self.season - 1 and look_of(day, hemisphere) == self.look:
                then[cell[0]].add(cell)
        for row in self.rows():
            before = len(then[places.rows.index(row.row)])
            if row.walked and not row.left and not row.findings and before >= QUIET:
                yield f"Row {row.row}: nothing found; {before} vines had a finding at the {self.look} look of {self.season - 1}."


def _rows(many: int) -> str:
    return "row" if many == 1 else "rows"


def _some(told: Sequence[str]) -> str:
    more = f" and {len(told) - NAMED} more" if len(told) > NAMED else ""
    return "; ".join(told[:NAMED]) + more


def _runs(positions: Sequence[int], gone: set[int]) -> str:
    """Write positions as stretches; places without a vine do not break one."""
    runs: list[list[int]] = []
    for position in positions:
        if runs and all(p in gone for p in range(runs[-1][1] + 1, position)):
            runs[-1][1] = position
        else:
            runs.append([position, position])
    return ", ".join(str(a) if a == b else f"{a}..{b}" for a, b in runs)

"""The standing records of one block, read once: looks, plants, and every finding and piece of work in its place.

What is written here and in `places`, `looks` and `plants` is all that is known of how a vine is named; what is read is
typed (`written`) and travels with the history. The rules stand in READING.md beside this file.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Any, TypeVar

from trunkwatch.grid import RowGrid
from trunkwatch.history.block_records import BlockRecords
from trunkwatch.history.damage import Damages
from trunkwatch.history.looks import Look, cells_of, is_of_recheck, look_for, on_the_ground, read_looks, without_unseen
from trunkwatch.history.places import Cell, Places
from trunkwatch.history.plants import ORIGINAL, Plant, full_day, plant_on, plants_of
from trunkwatch.history.vine_part import part_of
from trunkwatch.history.written import Finding, Named, Planting, Work
from trunkwatch.vineyard.calendar import hemisphere_of, is_iso_date, look_of, season_of
from trunkwatch.vineyard.tables import records_of

__all__ = ["BlockReading", "VineReading", "read_block"]

T = TypeVar("T", Finding, Work, Planting)


@dataclass(frozen=True, slots=True, eq=False)
class VineReading:
    """All that was written of one position, each list in order of date."""

    findings: tuple[Finding, ...] = ()
    second_findings: tuple[Finding, ...] = ()
    work: tuple[Work, ...] = ()
    plantings: tuple[Planting, ...] = ()
    plants: tuple[Plant, ...] = (ORIGINAL,)


_NOTHING = VineReading()


@dataclass(frozen=True, eq=False)
class BlockReading:
    """The records of one block, typed and placed.

    Attributes
    ----------
    records : BlockRecords
        What it was read from.
    grid : RowGrid
        Rows and positions of today.
    places : Places
        Where labels lead.
    hemisphere : str
    looks, rechecks : tuple of Look
        In order of date; blind second looks apart.
    findings, second_findings : tuple of Finding
        In order of date; those of second looks measure the observers and enter no rate.
    work : tuple of Work
        Planned and dropped work too.
    plants : mapping of cell to tuple of Plant
        Of positions whose plant changed.
    deaths : mapping of cell to tuple of str
        Days on which a vine was found dead.
    """

    records: BlockRecords = field(repr=False)
    grid: RowGrid = field(repr=False)
    places: Places = field(repr=False)
    hemisphere: str
    looks: tuple[Look, ...] = field(repr=False)
    rechecks: tuple[Look, ...] = field(repr=False)
    findings: tuple[Finding, ...] = field(repr=False)
    second_findings: tuple[Finding, ...] = field(repr=False)
    work: tuple[Work, ...] = field(repr=False)
    plantings: tuple[Planting, ...] = field(repr=False)
    plants: Mapping[Cell, tuple[Plant, ...]] = field(repr=False)
    deaths: Mapping[Cell, tuple[str, ...]] = field(repr=False)

    @cached_property
    def vines(self) -> Mapping[Cell, VineReading]:
        """All that was written, by cell; only positions of which anything was written."""
        findings, second = _by_cell(self.findings), _by_cell(self.second_findings)
        work, plantings = _by_cell(self.work), _by_cell(self.plantings)
        cells = sorted({*findings, *second, *work, *plantings, *self.plants})
        return MappingProxyType(
            {
                cell: VineReading(
                    findings.get(cell, ()),
                    second.get(cell, ()),
                    work.get(cell, ()),
                    plantings.get(cell, ()),
                    self.plants.get(cell, (ORIGINAL,)),
                )
                for cell in cells
            }
        )

    @cached_property
    def damages(self) -> Damages:
        """What lasts on each vine: since when, last seen when, ended by what."""
        return Damages(self.vines, self.looks)

    def vine(self, cell: Cell) -> VineReading:
        """Return what was written of a cell."""
        return self.vines.get(cell, _NOTHING)

    def empty(self, cell: Cell, day: str) -> bool:
        """Tell whether a cell holds no living vine on a day; one found dead that day is still counted."""
        return _is_empty(self.plants, self.deaths, cell, day)

    def stands(self, cell: Cell, day: str) -> bool:
        """Tell whether a plant, dead or alive, stands in a cell on a day."""
        plants = self.plants.get(cell)
        return plants is None or plant_on(plants, day) >= 0

    def seasons(self) -> tuple[int, ...]:
        """Return every season from the first to the last that has a look, a finding or work."""
        found = {look.season for look in self.looks}
        for table in (self.records.symptoms, self.records.work):
            found |= {season_of(day, self.hemisphere) for day in table["date"].unique() if is_iso_date(str(day))}
        return tuple(range(min(found), max(found) + 1)) if found else ()

    def season_of(self, day: str) -> int:
        """Return the season of a day where the block lies."""
        return season_of(day, self.hemisphere)

    @property
    def rootstock(self) -> str:
        """Rootstock of the block; empty where none is written."""
        return str(self.records.block.get("rootstock") or "")

    @property
    def last_day(self) -> str:
        """The last day in the records that are read, second looks aside; empty where there is none."""
        days = [*(look.until for look in self.looks), *(one.date for one in self.findings)]
        return max([*days, *(one.date for one in self.work if one.done)], default="")


def _by_cell(records: Iterable[T]) -> dict[Cell, tuple[T, ...]]:
    found: defaultdict[Cell, list[T]] = defaultdict(list)
    for record in records:
        found[record.cell].append(record)
    return {cell: tuple(listed) for cell, listed in found.items()}


def read_block(
    records: BlockRecords, grid: RowGrid, *, places: Places | None = None, rows: Collection[str] | None = None
) -> BlockReading:
    """Read the standing records of one block.

    Parameters
    ----------
    records : BlockRecords
        Voided and superseded ones are gone.
    grid : RowGrid
        Its rows and positions.
    places : Places, optional
        Of the same grid and rows, where they are there already.
    rows : collection of str, optional
        Labels of the rows on which records stand, where those of others are left out: looks cover no more than these.

    Notes
    -----
    Records that name no vine of the block are left out: the checks name them.
    """
    return Reader(records, grid, places).read(rows)


class Reader:
    """Places records in the order of their days: who counts living vines passes those found dead before."""

    def __init__(self, records: BlockRecords, grid: RowGrid, places: Places | None = None) -> None:
        self.records, self.grid = records, grid
        self.hemisphere = hemisphere_of(records.block)
        self.places = places or Places(grid, records.rows, records.block)
        self._seasons: dict[str, tuple[int, str]] = {}
        self._counted_at: dict[tuple[int | None, str, str], Look | None] = {}
        self.work = tuple(self._work())
        self.plantings = tuple(self._plantings())
        self.plants = plants_of(
            self.plantings,
            [w for w in self.work if w.done],
            self.places,
            self.hemisphere,
            block_planted=records.planted,
        )
        self.deaths: dict[Cell, list[str]] = {}

    def read(self, rows: Collection[str] | None = None) -> BlockReading:
        headers = read_looks(self.records.surveys, self.places, self.hemisphere)
        placed = self._placed([look for look, _ in headers])
        if rows is not None:
            headers = [(look, tuple(s for s in stretches if s.row in rows)) for look, stretches in headers]
        every = [on_the_ground(look, stretches, self.places, self._empty) for look, stretches in headers]
        looks = [look for look in every if not look.recheck]
        rechecks = [look for look in every if look.recheck]
        again = [
            bool(rechecks) and is_of_recheck(rechecks, looks, cell, line["date"], line["observer"])
            for cell, line in placed
        ]
        looks = _seen(looks, [pair for pair, second in zip(placed, again, strict=True) if not second])
        return BlockReading(
            self.records,
            self.grid,
            self.places,
            self.hemisphere,
            tuple(looks),
            tuple(rechecks),
            tuple(self._findings(placed, again, looks, second=False)),
            tuple(self._findings(placed, again, rechecks, second=True)),
            tuple(w._replace(plant=self._plant(w.cell, w.date)) for w in self.work),
            self.plantings,
            self.plants,
            {cell: tuple(days) for cell, days in self.deaths.items()},
        )

    def _empty(self, cell: Cell, day: str) -> bool:
        return _is_empty(self.plants, self.deaths, cell, day)

    def _plant(self, cell: Cell, day: str) -> int:
        plants = self.plants.get(cell)
        return 0 if plants is None else plant_on(plants, day)

    def _placed(self, headers: Sequence[Look]) -> list[tuple[Cell, dict[str, Any]]]:
        """Find the cell of every finding, in order of date; where they were counted as their survey was, likewise."""
        placed = []
        self._counted_at.clear()
        for line in sorted(records_of(self.records.symptoms), key=_in_order):
            if not is_iso_date(line["date"]):
                continue
            cell = self.cell_of_finding(line, headers)
            if cell is None:
                continue
            placed.append((cell, line))
            if line["symptom"] == "dead":
                self.deaths.setdefault(cell, []).append(line["date"])
        return placed

    def cell_of_finding(self, line: Mapping[str, Any], headers: Sequence[Look]) -> Cell | None:
        row, position, day, own = line["row"], line["position"], line["date"], line["counted_from"]
        number = self.places.row_number(row, day)
        look = self._look_of(headers, number, day, line["observer"]) if not own and position.isdecimal() else None
        from_end = own == "end" or (look is not None and look.from_end)
        living = look is not None and look.living_only
        if position.isdecimal() and (from_end or living):
            return self.places.counted(
                row,
                int(position),
                from_end=from_end,
                living_only=living,
                day=day,
                empty=lambda cell, _: self._empty(cell, look.date if look is not None else day),
            )
        return self.places.find(row, position, line["bay"], line["vine"], day)

    def _look_of(self, headers: Sequence[Look], row: int | None, day: str, observer: str) -> Look | None:
        """Return the look during which a row was counted; many findings of a row are of one day and observer."""
        key = row, day, observer
        if key not in self._counted_at:
            self._counted_at[key] = cells_of(headers, row, day, observer)
        return self._counted_at[key]

    def _findings(
        self,
        placed: Sequence[tuple[Cell, dict[str, Any]]],
        again: Sequence[bool],
        looks: Sequence[Look],
        *,
        second: bool,
    ) -> Iterator[Finding]:
        for (cell, line), is_second in zip(placed, again, strict=True):
            if is_second is second:
                yield self.finding_of(cell, line, looks)

    def _day(self, day: str) -> tuple[int, str]:
        if day not in self._seasons:
            self._seasons[day] = (season_of(day, self.hemisphere), look_of(day, self.hemisphere))
        return self._seasons[day]

    def finding_of(self, cell: Cell, line: Mapping[str, Any], looks: Sequence[Look]) -> Finding:
        day = line["date"]
        season, kind = self._day(day)
        look = look_for(looks, cell, day, season, kind, walked=line["symptom"] == "not_seen")
        return Finding(
            line["id"],
            cell,
            self._plant(cell, day),
            day,
            season,
            look.kind if look is not None else kind,
            look,
            line["symptom"],
            part_of(line["symptom"], _whole(line["trunk"]), line["arm"]),
            _number(line["dead"]),
            _number(line["total"]),
            _number(line["percent"]),
            _number(line["empty_percent"]),
            _number(line["cut_height_cm"]),
            _number(line["stain_cm"]),
            line["class"],
            line["scale"],
            line["pattern"],
            line["cause"],
            line["renewal_shoot"],
            line["shoot_quality"],
            line["photo"],
            line["observer"],
            line["note"],
            _named(line),
            line["read_from"],
        )

    def _work(self) -> Iterator[Work]:
        for line in sorted(records_of(self.records.work), key=lambda line: str(line["date"])):
            if is_iso_date(line["date"]):
                cell = self.cell_of_work(line)
                if cell is not None:
                    yield self.work_of(cell, line)

    def cell_of_work(self, line: Mapping[str, Any]) -> Cell | None:
        """Find the vine that a line of work names."""
        return self.places.find(line["row"], line["position"], line["bay"], line["vine"], line["date"])

    def work_of(self, cell: Cell, line: Mapping[str, Any]) -> Work:
        """Return a line of work, typed."""
        return Work(
            line["id"],
            line["corrects"] or line["id"],
            cell,
            -1,
            line["date"],
            self._day(line["date"])[0],
            line["kind"],
            line["status"],
            _whole(line["trunk"]),
            line["arm"],
            _number(line["cut_height_cm"]),
            _number(line["hours"]),
            _number(line["cost"]),
            line["crew"],
            line["note"],
            line["observer"],
            line["device"],
            _named(line),
            line["read_from"],
            line["wound_protected"],
            line["not_done"],
        )

    def _plantings(self) -> Iterator[Planting]:
        for line in records_of(self.records.plants):
            cell = self.cell_of_planting(line)
            if cell is not None:
                yield planting_of(cell, line)

    def cell_of_planting(self, line: Mapping[str, Any]) -> Cell | None:
        """Find the position that a line of plants names."""
        return self.places.find(line["row"], line["position"], day=full_day(line["removed"] or line["planted"]))


def planting_of(cell: Cell, line: Mapping[str, Any]) -> Planting:
    """Return a line of plants, typed."""
    return Planting(
        line["id"],
        cell,
        line["planted"],
        line["removed"],
        line["reason"],
        line["cultivar"],
        line["rootstock"],
        line["note"],
        line["observer"],
        Named(line["row"], line["position"]),
        line["read_from"],
    )


def _seen(looks: Sequence[Look], placed: Sequence[tuple[Cell, dict[str, Any]]]) -> list[Look]:
    unseen: defaultdict[str, set[Cell]] = defaultdict(set)
    for cell, line in placed:
        if line["symptom"] == "not_seen":
            unseen[line["date"]].add(cell)
    fixed = {day: frozenset(cells) for day, cells in unseen.items()}
    return [without_unseen(look, fixed) for look in looks] if fixed else list(looks)


def _is_empty(
    plants: Mapping[Cell, tuple[Plant, ...]], deaths: Mapping[Cell, Sequence[str]], cell: Cell, day: str
) -> bool:
    spells = plants.get(cell, (ORIGINAL,))
    number = plant_on(spells, day)
    return number < 0 or any(spells[number].since <= died < day for died in deaths.get(cell, ()))


def _in_order(line: Mapping[str, Any]) -> tuple[str, str, str]:
    """Order findings by day, those of one day by when they were written: what is told last is the last word."""
    return str(line["date"]), str(line["recorded_at"]), str(line["id"])


def _named(line: Mapping[str, Any]) -> Named:
    return Named(line["row"], line["position"], line["bay"], _whole(line["vine"]), line.get("counted_from", ""))


def _whole(value: float) -> int:
    return 0 if value != value else int(value)


def _number(value: float) -> float | None:
    return None if value != value else value

"""What the scouts of the invented vineyard wrote down, with all that real notes contain.

Two scouts share each block, one row is counted from the far end, some rows are not walked in
one summer, one block misses a summer, a slip of the pen is corrected a day later, a pruner
notes a dead arm that no survey covers.
"""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.demo.blocks import BLOCKS, DEMO_SEED, SEASONS, DemoBlock
from trunkwatch.demo.outbreak import Outbreak, layout, simulate
from trunkwatch.demo.station import weather_records
from trunkwatch.grid import RowGrid
from trunkwatch.vineyard.tables import TABLES, frame_of, records_of

__all__ = ["block_tables", "demo_tables"]

SCOUTS = ("M. Orrin", "T. Vale")
FAR_END = (2019, 5)  # season and row number of the row that was counted from the far end
NOT_WALKED = (2020, 3)  # season, and how many of the last rows were not walked that summer
NO_SUMMER = ("Hollow", 2018)
CORRECTED = ("Mill", 2024)

Record = dict[str, Any]


def demo_tables(seed: int = DEMO_SEED, seasons: tuple[int, ...] = SEASONS) -> dict[str, pd.DataFrame]:
    """Make the notes of the whole invented vineyard.

    Parameters
    ----------
    seed : int
        The same seed makes the same notes, to the letter.
    seasons : tuple of int
        Years of harvest.

    Returns
    -------
    dict of str to DataFrame
        One frame for each table, as in `trunkwatch.vineyard.tables`.
    """
    records: dict[str, list[Record]] = {name: [] for name in TABLES}
    for number, block in enumerate(BLOCKS):
        rng = np.random.Generator(np.random.PCG64([seed, number]))
        for name, found in block_tables(block, seasons, rng).items():
            records[name] += found
    records["weather"] = weather_records(seed)
    records["costs"] = [{"name": n, "value": v, "unit": u, "source": "invented for the sample"} for n, v, u in _COSTS]
    return {name: frame_of(name, found) for name, found in records.items()}


#: Prices of the invented vineyard, in its invented money.
_COSTS = (
    ("price_per_t", 1900.0, "marks/t"), ("yield_t_ha", 10.0, "t/ha"), ("crew_hour", 22.0, "marks/h"),
    ("replant_vine", 9.0, "marks/vine"), ("block_replant_ha", 36000.0, "marks/ha"), ("harvest_t", 150.0, "marks/t"),
)  # fmt: skip


def block_tables(block: DemoBlock, seasons: tuple[int, ...], rng: np.random.Generator) -> dict[str, list[Record]]:
    """Simulate one block and write it down.

    Returns
    -------
    dict of str to list of records
        For the tables blocks, rows, plants, surveys, symptoms and work.
    """
    truth = simulate(block, seasons, rng)
    return _Scribe(block, truth, rng).notes()


class _Scribe:
    """Writes down one block: what the scouts see of the truth, look by look."""

    def __init__(self, block: DemoBlock, truth: Outbreak, rng: np.random.Generator) -> None:
        self.block, self.truth, self.rng = block, truth, rng
        self.block_record = {"block": block.label, **block.table}
        self.rows = self._rows()
        self.grid = RowGrid.from_tables(
            records_of(frame_of("blocks", [self.block_record]))[0], frame_of("rows", self.rows)
        )
        self.tables: dict[str, list[Record]] = {
            "blocks": [self.block_record],
            "rows": self.rows,
            "plants": [],
            "surveys": [],
            "symptoms": [],
            "work": [],
        }
        self.arm_of: dict[tuple[int, int], Record] = {}

    def _rows(self) -> list[Record]:
        starts, lengths = layout(self.block)
        spacing = self.block.table["vine_spacing_m"]
        rows = []
        for number, (start, length) in enumerate(zip(starts, lengths, strict=True)):
            alley = self.block.alley_after
            rows.append(
                {
                    "block": self.block.label,
                    "row": str(number + 1),
                    "row_order": number + 1,
                    "first": 1,
                    "last": length,
                    "start_m": round(start * spacing, 2),
                    "breaks": f"{alley}:{3 * spacing:g}" if alley and alley < length else "",
                    "bay_ends": "every 4",
                }
            )
        return rows

    def notes(self) -> dict[str, list[Record]]:
        """Write every season in order."""
        truth = self.truth
        for cell in self._cells(truth.exists & self._first_empty()):
            self._add("plants", cell, reason="missing")
        for number, season in enumerate(truth.seasons):
            self._replants(number, season)
            self._winter_look(number, season)
            self._winter_work(number, season)
            self._summer_look(number, season)
        if self.block.label == CORRECTED[0]:
            self._slip()
        return self.tables

    def _first_empty(self) -> NDArray[np.bool_]:
        return np.asarray(self.truth.empty[0])

    def _cells(self, mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
        return [(int(row), int(station)) for row, station in np.argwhere(mask)]

    def _add(self, table: str, cell: tuple[int, int], **more: Any) -> Record:
        row, position = self.grid.label(*cell)
        record = {"block": self.block.label, "row": row, "position": str(position), **more}
        self.tables[table].append(record)
        return record

    def _scout(self, row: int) -> str:
        return SCOUTS[0] if row < self.block.rows // 2 else SCOUTS[1]

    def _survey(self, season: int, look: str, date: str, rows: list[int], end: str = "") -> None:
        for scout in SCOUTS:
            own = [row for row in rows if self._scout(row) == scout]
            if own:
                self.tables["surveys"].append(
                    {
                        "survey": f"{look} {season}",
                        "block": self.block.label,
                        "date": date,
                        "look": look,
                        "covered": _ranges([row + 1 for row in own]),
                        "purpose": "all",
                        "observer": scout,
                        "counted_from": end,
                        "minutes": round(len(own) * (9 + 4 * self.rng.random())),
                    }
                )

    def _replants(self, number: int, season: int) -> None:
        for cell in self._cells(self.truth.replanted[number]):
            if number and self.truth.dead[number - 1][cell]:
                self._add("plants", cell, removed=f"{season - 1}-12-05", reason="dead")
            self._add("plants", cell, planted=f"{season}-04-12", cultivar=self.block.table["cultivar"])
            self.arm_of.pop(cell, None)

    def _winter_look(self, number: int, season: int) -> None:
        date = f"{season}-01-20"
        self._survey(season, "dormant", date, list(range(self.block.rows)))
        for cell in self._cells(self.truth.arm[number] | self.truth.winter[number]):
            cold = bool(self.truth.winter[number][cell])
            part = self._part()
            self.arm_of[cell] = part
            self._add(
                "symptoms",
                cell,
                date=date,
                percent=_fives(self.rng, 40, 100),
                **part,
                cause="winter_injury" if cold else ("trunk_disease" if self.rng.random() < 0.4 else "unknown"),
                renewal_shoot=self._shoot(),
                observer=self._scout(cell[0]),
            )

    def _part(self) -> Record:
        """Name the part of the vine that died, as the training has it."""
        training = self.block.table["training"]
        side = "start" if self.rng.random() < 0.5 else "end"
        if training == "multi_trunk":
            return {"symptom": "dead_trunk", "trunk": 1 + int(self.rng.random() * 3)}
        if training.startswith("cane"):
            return {"symptom": "canker", "arm": "head"}
        return {"symptom": "dead_arm", "arm": side}

    def _shoot(self) -> str:
        draw = self.rng.random()
        if draw < 0.45:
            return "none"
        if self.block.table["grafted"] == "no":
            return "own_root" if draw < 0.7 else "trunk"
        return "below_union" if draw < 0.5 else ("above_union" if draw < 0.75 else "trunk")

    def _winter_work(self, number: int, season: int) -> None:
        date = f"{season}-02-18"
        for cell in self._cells(self.truth.renewed_arm[number]):
            part = self.arm_of.pop(cell, {})
            kind = "renew_trunk" if "trunk" in part else "renew_arm"
            where = {name: part[name] for name in ("trunk", "arm") if name in part}
            cut = _fives(self.rng, 40, 90)
            self._add(
                "work",
                cell,
                date=date,
                kind=kind,
                status="done",
                hours=0.25,
                crew="winter crew",
                cut_height_cm=cut,
                **where,
            )
            if self.rng.random() < 0.5:
                self._add(
                    "symptoms",
                    cell,
                    date=date,
                    symptom="wood_staining",
                    pattern=_pick(self.rng, _STAINS),
                    cut_height_cm=cut,
                    stain_cm=_fives(self.rng, 5, 40),
                    observer="winter crew",
                    **where,
                )
        for cell in self._cells(self.truth.renewed_trunk[number]):
            self._add(
                "work",
                cell,
                date=date,
                kind="renew_trunk",
                status="done",
                hours=0.4,
                crew="winter crew",
                cut_height_cm=_fives(self.rng, 20, 40),
            )
            self.arm_of.pop(cell, None)

    def _summer_look(self, number: int, season: int) -> None:
        if (self.block.label, season) == NO_SUMMER:
            return
        date = f"{season}-08-18"
        rows = list(range(self.block.rows))
        if season == NOT_WALKED[0]:
            rows = rows[: -NOT_WALKED[1]]
        far = FAR_END[1] - 1 if season == FAR_END[0] else -1
        self._survey(season, "summer", date, [row for row in rows if row != far])
        if far in rows:
            self._survey(season, "summer", date, [far], end="end")
        for cell in self._cells(self.truth.leaf[number] | self._newly_dead(number)):
            if cell[0] not in rows:
                continue
            dead = bool(self._newly_dead(number)[cell])
            record = self._add(
                "symptoms",
                cell,
                date=date,
                symptom="dead" if dead else "leaf_stripe",
                observer=self._scout(cell[0]),
            )
            if not dead:
                record["percent"] = _fives(self.rng, 5, 100)
                record["renewal_shoot"] = self._shoot() if self.rng.random() < 0.4 else ""
            if cell[0] == far:
                last = self.grid.rows_on(far)[0].last
                record["position"] = str(1 + last - int(record["position"]))
        self._unwalked_deaths(number, season, rows)

    def _newly_dead(self, number: int) -> NDArray[np.bool_]:
        before = self.truth.dead[number - 1] if number else np.zeros_like(self.truth.exists)
        return np.asarray(self.truth.dead[number] & ~before)

    def _unwalked_deaths(self, number: int, season: int, rows: list[int]) -> None:
        """Dead vines in rows that nobody walked are found by the pruners next winter."""
        for cell in self._cells(self._newly_dead(number)):
            if cell[0] not in rows:
                self._add(
                    "symptoms",
                    cell,
                    date=f"{season + 1}-01-20",
                    symptom="dead",
                    observer=self._scout(cell[0]),
                )

    def _slip(self) -> None:
        """A finding on the wrong vine, taken back next day; and a pruner's casual note."""
        season = CORRECTED[1]
        busy = {(r["row"], r["position"]) for r in self.tables["symptoms"]}
        clean = [
            c
            for c in self._cells(~self.truth.empty[-1] & self.truth.exists)
            if (self.grid.label(*c)[0], str(self.grid.label(*c)[1])) not in busy
        ]
        slip, casual = clean[len(clean) // 3], clean[len(clean) // 2]
        self._add(
            "symptoms",
            slip,
            date=f"{season}-08-18",
            symptom="leaf_stripe",
            percent=20.0,
            id="slip-1",
            observer=self._scout(slip[0]),
            recorded_at=f"{season}-08-18",
        )
        self._add(
            "symptoms",
            slip,
            date=f"{season}-08-18",
            symptom="leaf_stripe",
            id="slip-1-taken-back",
            corrects="slip-1",
            void="yes",
            observer=self._scout(slip[0]),
            recorded_at=f"{season}-08-19",
            note="wrong vine, two posts further",
        )
        self._add(
            "symptoms",
            casual,
            date=f"{season}-05-30",
            symptom="stunted_shoots",
            observer="suckering crew",
            note="seen in passing",
        )


_STAINS = ("wedge", "central", "spots")


def _pick(rng: np.random.Generator, words: tuple[str, ...]) -> str:
    return words[int(rng.random() * len(words))]


def _fives(rng: np.random.Generator, low: int, high: int) -> float:
    return float(low + 5 * int(rng.random() * ((high - low) // 5 + 1)))


def _ranges(rows: list[int]) -> str:
    """Write row numbers as the `covered` column has them: 1..4; 6..7."""
    parts: list[list[int]] = []
    for row in rows:
        if parts and row == parts[-1][1] + 1:
            parts[-1][1] = row
        else:
            parts.append([row, row])
    return "; ".join(str(a) if a == b else f"{a}..{b}" for a, b in parts)

"""What is on record of each plant that may have years of its own: cultivar, rootstock, and the year it was planted."""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history import BlockHistory

__all__ = ["STRATA", "OnRecord", "names_on_record", "on_record"]

#: What vines are told apart by, in the order in which it is named.
STRATA = ("cultivar", "rootstock", "planting")


@dataclass(frozen=True, slots=True)
class OnRecord:
    """Groups of vines.

    Attributes
    ----------
    labels : dict of tuple of str
        For each stratum that tells vines apart, the labels of its codes; "" where nothing is written.
    unwritten : tuple of str
        What is written of no plant; the year of planting is that of the block where nothing else is written.
    codes : dict of (seasons, rows, stations) int array
        The code of the plant that stands in each season.
    """

    labels: dict[str, tuple[str, ...]]
    unwritten: tuple[str, ...]
    codes: dict[str, NDArray[np.int64]] = field(repr=False)

    def together(self, season: NDArray[np.int64] | int) -> NDArray[np.int64]:
        """Number the combinations of all strata, (rows, stations), each vine in its own season or all in one."""
        at = np.asarray(season)
        out: NDArray[np.int64] | None = None
        for codes in self.codes.values():
            taken = codes[int(at)] if at.ndim == 0 else np.take_along_axis(codes, at[None], axis=0)[0]
            out = taken if out is None else out * (int(taken.max(initial=0)) + 1) + taken
        if out is None:
            raise ValueError("nothing on record tells vines apart: ask `labels` first")
        return np.asarray(np.unique(out.ravel(), return_inverse=True)[1].reshape(out.shape))


def on_record(history: BlockHistory) -> OnRecord:
    """Read cultivar, rootstock and planting season of every plant.

    Parameters
    ----------
    history : BlockHistory
        The block over its years.

    Returns
    -------
    OnRecord
        Strata with one label only are left out. A replant whose cultivar or rootstock is not written has that of the
        plant before it, as its row has; its season of planting is its own.
    """
    shape = history.plant.shape
    names = names_on_record(history)
    there = history.plant >= 0
    labels, codes, unwritten = {}, {}, []
    for name, values in names.items():
        kinds = _kinds(values[there])
        if name != "planting" and not any(kinds):
            unwritten.append(name)
        if len(kinds) > 1:
            labels[name] = kinds
            codes[name] = np.zeros(shape, dtype=np.int64)
            for code, kind in enumerate(kinds):
                codes[name][values == kind] = code
    return OnRecord(labels, tuple(unwritten), codes)


def names_on_record(history: BlockHistory) -> dict[str, NDArray[np.object_]]:
    """Return for each of `STRATA` what is written of the plant that stands in a season, (seasons, rows, stations) of str; empty for nothing."""
    shape = history.plant.shape
    names = {name: np.full(shape, "", dtype=object) for name in STRATA}
    names["rootstock"][:] = history.reading.rootstock
    for row in history.grid.named:
        names["cultivar"][:, row.line, row.stations] = row.cultivar
    for cell, plants in history.reading.plants.items():
        for number, plant in enumerate(plants):
            if plant.planted is not None:
                stands = history.plant[:, cell[0], cell[1]] == number
                names["planting"][stands, cell[0], cell[1]] = str(plant.planted)
    for line in sorted(history.reading.plantings, key=lambda line: line.planted):
        begins = _from(history, line.planted)
        for name, value in (("cultivar", line.cultivar), ("rootstock", line.rootstock)):
            if value:
                names[name][begins:, line.cell[0], line.cell[1]] = value
    return names


def _kinds(values: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted({str(value) for value in values}))


def _from(history: BlockHistory, planted: str) -> int:
    """First season of the record that a planting holds for; all of them where its day is not written."""
    if not planted:
        return 0
    year = history.reading.season_of(planted) if len(planted) > 4 else int(planted)
    return next((number for number, season in enumerate(history.seasons) if season >= year), len(history.seasons))

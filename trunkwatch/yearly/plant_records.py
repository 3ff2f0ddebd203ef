"""One plant for each position, with the seasons over which it was followed: what the test of spread takes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["PlantRecords", "plant_records"]


@dataclass(frozen=True, slots=True)
class PlantRecords:
    """Arrays of (rows, stations), in the words of `trunkwatch.yearly.spread.spread_test`.

    Attributes
    ----------
    first : int array
        Number of the season of the plant's first case, -1 where it never was one.
    noted : int array
        Seasons in which it was noted as a case.
    start, end : int array
        First and last season in which it was looked at; 0 and -1 where no plant was.
    vines : bool array
        Positions with a plant that was looked at.
    """

    first: NDArray[np.int64]
    noted: NDArray[np.int64]
    start: NDArray[np.int64]
    end: NDArray[np.int64]
    vines: NDArray[np.bool_]


def plant_records(
    case: ArrayLike, looked_at: ArrayLike, plant: ArrayLike, *, cleared: ArrayLike | None = None
) -> PlantRecords:
    """Take the plant with the most looks at each position; of two with as many, the earlier one.

    Parameters
    ----------
    case, looked_at : (seasons, rows, stations) bool array_like
        Vines noted as a case, and vines looked at.
    plant : (seasons, rows, stations) int array_like
        Which plant stands there, 0 for none.
    cleared : (seasons, rows, stations) bool array_like, optional
        Vines renewed or cut clean after they were looked at in that season: their record ends there.

    Raises
    ------
    ValueError
        If shapes differ, or a case was not looked at.
    """
    shown, looked = np.asarray(case, dtype=bool), np.asarray(looked_at, dtype=bool)
    plants = np.asarray(plant).astype(np.int64)
    cut = np.zeros(shown.shape, dtype=bool) if cleared is None else np.asarray(cleared, dtype=bool)
    if shown.ndim != 3 or not shown.shape == looked.shape == plants.shape == cut.shape:
        raise ValueError(
            f"case {shown.shape}, looked_at {looked.shape}, plant {plants.shape}, cleared {cut.shape}: "
            "one shape of three is needed"
        )
    if (shown & ~looked).any():
        raise ValueError(f"{int((shown & ~looked).sum())} case(s) not scouted: a case must be in looked_at")
    begins = np.zeros(shown.shape, dtype=np.int64)
    begins[1:] = (plants[1:] != plants[:-1]) | cut[:-1]
    life = np.cumsum(begins, axis=0)
    use = looked & (plants > 0)
    # A plant that was cut clean begins a second record, which is none of a plant never treated: it is left out.
    fresh = np.cumsum(np.concatenate([np.zeros_like(begins[:1]), cut[:-1]]), axis=0)
    born = np.zeros(shown.shape, dtype=np.int64)
    for season in range(1, len(shown)):
        same = plants[season] == plants[season - 1]
        born[season] = np.where(same, born[season - 1], fresh[season])
    use &= fresh == born
    best = np.zeros(shown.shape[1:], dtype=np.int64)
    chosen = np.zeros(shown.shape, dtype=bool)
    for number in range(int(life.max(initial=0)) + 1):
        mine = use & (life == number)
        better = mine.sum(axis=0) > best
        best = np.where(better, mine.sum(axis=0), best)
        chosen = np.where(better, mine, chosen)
    there, cases = np.asarray(chosen.any(axis=0)), shown & chosen
    first = np.where(cases.any(axis=0), cases.argmax(axis=0), -1)
    end = np.where(there, len(shown) - 1 - chosen[::-1].argmax(axis=0), -1)
    return PlantRecords(first, cases.sum(axis=0), np.where(there, chosen.argmax(axis=0), 0), end, there)

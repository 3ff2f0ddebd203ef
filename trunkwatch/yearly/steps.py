"""What happened to each vine from one look to the next, one line for each interval in which it could have happened."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Intervals", "deaths", "first_cases", "growing_damage", "showing_again"]

Cube = NDArray[np.bool_]
_Kind = TypeVar("_Kind", np.bool_, np.int64)


@dataclass(frozen=True, slots=True)
class Intervals:
    """Vines between two looks, m lines.

    Attributes
    ----------
    shape : (int, int)
        Rows and stations of the block.
    cell : (m,) int array
        Flat index of the vine's position.
    season, earlier : (m,) int array
        Number on the first axis of the season of the look, and of the look before it.
    year : (m,) int array
        Year of the look.
    span : (m,) int array
        Years between the two looks, 1 or more; a season without a look makes it longer.
    event : (m,) bool array
        Whether it had happened by the look.
    age : (m,) float array
        Age in years at the look; nan where it is not known.
    along_m, across_m : (m,) float array
        Meters along the row and across the rows.
    strata : dict of (m,) int array
        Codes at the look, by name.
    since : (m,) int array
        1 where the vine showed at the look before, 2 where it last showed a year before that look, and so on; 0 where it
        never did.
    damage : (m,) int array
        Class of damage at the look before; 0 where there is none.
    """

    shape: tuple[int, int]
    cell: NDArray[np.int64]
    season: NDArray[np.int64]
    earlier: NDArray[np.int64]
    year: NDArray[np.int64]
    span: NDArray[np.int64]
    event: NDArray[np.bool_]
    age: NDArray[np.float64]
    along_m: NDArray[np.float64]
    across_m: NDArray[np.float64]
    strata: Mapping[str, NDArray[np.int64]]
    since: NDArray[np.int64]
    damage: NDArray[np.int64]

    def __len__(self) -> int:
        return int(self.cell.size)

    def __str__(self) -> str:
        return f"{len(self)} intervals, {int(self.event.sum())} with the event"

    def take(self, lines: ArrayLike) -> "Intervals":
        """Return some of the lines, given as a mask or as numbers of lines."""
        at = np.asarray(lines)
        arrays = {one.name: getattr(self, one.name)[at] for one in fields(self) if one.name not in {"shape", "strata"}}
        return replace(self, strata={name: codes[at] for name, codes in self.strata.items()}, **arrays)


@dataclass(frozen=True, slots=True)
class _Record:
    """Checked arrays of one block, all (seasons, rows, stations)."""

    case: Cube
    looked: Cube
    plant: NDArray[np.int64]
    years: NDArray[np.int64]
    along_m: NDArray[np.float64]
    across_m: NDArray[np.float64]
    age: NDArray[np.float64]
    strata: Mapping[str, NDArray[np.int64]]


def first_cases(
    case: ArrayLike,
    looked_at: ArrayLike,
    plant: ArrayLike,
    years: ArrayLike,
    *,
    along_m: ArrayLike,
    across_m: ArrayLike,
    at_risk: ArrayLike | None = None,
    age: ArrayLike | None = None,
    strata: Mapping[str, ArrayLike] | None = None,
) -> Intervals:
    """List the intervals in which a vine could have become a case for the first time.

    Parameters
    ----------
    case : (seasons, rows, stations) bool array_like
        Vines noted as a case in each season.
    looked_at : (seasons, rows, stations) bool array_like
        Vines that were looked at; a vine that was not is neither a case nor free of symptoms.
    plant : (seasons, rows, stations) int array_like
        Which plant stands at a position; 0 for none. Another number is another plant, whose record begins anew.
    years : (seasons,) int array_like
        Years of the seasons, rising.
    along_m, across_m : (rows, stations) float array_like
        Meters along the row and across the rows.
    at_risk : (seasons, rows, stations) bool array_like, optional
        Vines that can have the event; it must hold at both looks. All plants where left out.
    age : (seasons, rows, stations) float array_like, optional
        Age in years.
    strata : dict of array_like, optional
        Whole-number codes that spread out to (seasons, rows, stations): (rows, stations) for a cultivar,
        (seasons, 1, 1) for an observer.

    Returns
    -------
    Intervals
        In order of seasons and cells. A vine's first look makes no line: when it became what it was then is not known.

    Raises
    ------
    ValueError
        If shapes differ, years do not rise, or a case was not looked at.
    """
    record = _record(case, looked_at, plant, years, along_m, across_m, age, strata)
    return _intervals(record, record.case, ~_known_before(record), at_risk)


def showing_again(
    case: ArrayLike,
    looked_at: ArrayLike,
    plant: ArrayLike,
    years: ArrayLike,
    *,
    along_m: ArrayLike,
    across_m: ArrayLike,
    at_risk: ArrayLike | None = None,
    age: ArrayLike | None = None,
    strata: Mapping[str, ArrayLike] | None = None,
) -> Intervals:
    """List the intervals of vines that have been a case, with the years since they last showed; arguments as above.

    Returns
    -------
    Intervals
        `event` tells whether the vine showed at the look; `since` is 1 or more.
    """
    record = _record(case, looked_at, plant, years, along_m, across_m, age, strata)
    return _intervals(record, record.case, _known_before(record), at_risk)


def growing_damage(
    damage: ArrayLike,
    looked_at: ArrayLike,
    plant: ArrayLike,
    years: ArrayLike,
    *,
    along_m: ArrayLike,
    across_m: ArrayLike,
    at_risk: ArrayLike | None = None,
    age: ArrayLike | None = None,
    strata: Mapping[str, ArrayLike] | None = None,
) -> Intervals:
    """List the intervals in which lasting damage could have grown.

    Parameters
    ----------
    damage : (seasons, rows, stations) int array_like
        Class of damage, 0 for none, rising with the damage. The rest as in `first_cases`.

    Returns
    -------
    Intervals
        `event` tells whether the class is higher than at the look before, whose class is `damage`. A vine in the
        highest class on record cannot grow any further and makes no line.
    """
    classes = np.asarray(damage)
    if classes.size and (not np.issubdtype(classes.dtype, np.integer) or classes.min() < 0):
        raise ValueError("damage holds something other than whole numbers of 0 and above: classes are needed")
    seen = (classes > 0) & np.asarray(looked_at, dtype=bool)
    record = _record(seen, looked_at, plant, years, along_m, across_m, age, strata)
    top = int(classes.max(initial=0))
    before = _at_look_before(record, classes.astype(np.int64))
    return _intervals(record, (classes > before) & record.looked, before < top, at_risk, before)


def deaths(
    dead: ArrayLike,
    looked_at: ArrayLike,
    plant: ArrayLike,
    years: ArrayLike,
    *,
    along_m: ArrayLike,
    across_m: ArrayLike,
    case: ArrayLike | None = None,
    at_risk: ArrayLike | None = None,
    age: ArrayLike | None = None,
    strata: Mapping[str, ArrayLike] | None = None,
) -> Intervals:
    """List the intervals of vines that were alive at the look before.

    Parameters
    ----------
    dead : (seasons, rows, stations) bool array_like
        Plants found dead; the same plant must stand in `plant` for as long as it is on record.
    case : (seasons, rows, stations) bool array_like, optional
        Cases, for `since`. The rest as in `first_cases`; `at_risk` is asked for at the look before only.
    """
    lost = np.asarray(dead, dtype=bool)
    shown = np.zeros(lost.shape, dtype=bool) if case is None else np.asarray(case, dtype=bool)
    record = _record(shown, looked_at, plant, years, along_m, across_m, age, strata)
    _same_shape("dead", lost, record.case)
    risk = np.ones(lost.shape, dtype=bool) if at_risk is None else np.asarray(at_risk, dtype=bool) | lost
    return _intervals(record, lost & record.looked, ~_at_look_before(record, lost), risk)


def _record(
    case: ArrayLike,
    looked_at: ArrayLike,
    plant: ArrayLike,
    years: ArrayLike,
    along_m: ArrayLike,
    across_m: ArrayLike,
    age: ArrayLike | None,
    strata: Mapping[str, ArrayLike] | None,
) -> _Record:
    shown, looked = np.asarray(case, dtype=bool), np.asarray(looked_at, dtype=bool)
    plants, time = np.asarray(plant).astype(np.int64), np.asarray(years).astype(np.int64)
    if shown.ndim != 3:
        raise ValueError(f"case has {shown.ndim} dimensions: (seasons, rows, stations) is needed")
    for name, array in (("looked_at", looked), ("plant", plants)):
        _same_shape(name, array, shown)
    if time.shape != shown.shape[:1] or (np.diff(time) <= 0).any():
        raise ValueError(f"years are {time.tolist()}: one for each of {len(shown)} seasons, rising, is needed")
    if (shown & ~looked).any():
        raise ValueError(f"{int((shown & ~looked).sum())} case(s) not scouted: a case must be in looked_at")
    places = [np.asarray(meters, dtype=float) for meters in (along_m, across_m)]
    for name, meters in zip(("along_m", "across_m"), places, strict=True):
        if meters.shape != shown.shape[1:]:
            raise ValueError(f"{name} is {meters.shape} but the block is {shown.shape[1:]}: the same grid is needed")
    old = np.full(shown.shape, np.nan) if age is None else np.broadcast_to(np.asarray(age, dtype=float), shown.shape)
    codes = {}
    for name, values in (strata or {}).items():
        raw = np.asarray(values)
        if not np.issubdtype(raw.dtype, np.integer):
            raise ValueError(f"stratum {name!r} holds {raw.dtype} values: whole-number codes are needed")
        try:
            codes[name] = np.broadcast_to(raw.astype(np.int64), shown.shape)
        except ValueError:
            raise ValueError(
                f"stratum {name!r} is {raw.shape}: a shape that spreads out to {shown.shape} is needed"
            ) from None
    return _Record(shown, looked & (plants > 0), plants, time, places[0], places[1], old, codes)


def _same_shape(name: str, array: NDArray[np.generic], case: Cube) -> None:
    if array.shape != case.shape:
        raise ValueError(f"{name} is {array.shape} but case is {case.shape}: the same shape is needed")


def _look_before(record: _Record) -> NDArray[np.int64]:
    """Number of the look before at the same plant, -1 where there is none, (seasons, rows, stations)."""
    out = np.full(record.case.shape, -1, dtype=np.int64)
    last = np.full(record.case.shape[1:], -1, dtype=np.int64)
    for season in range(1, len(out)):
        changed = record.plant[season] != record.plant[season - 1]
        last = np.where(record.looked[season - 1], season - 1, last)
        last[changed] = -1
        out[season] = last
    return out


def _at_look_before(record: _Record, values: NDArray[_Kind]) -> NDArray[_Kind]:
    before = _look_before(record)
    taken = np.take_along_axis(values, np.maximum(before, 0), axis=0)
    return np.asarray(np.where(before >= 0, taken, np.zeros((), dtype=values.dtype)))


def _last_shown(record: _Record) -> NDArray[np.int64]:
    """Number of the last season before this one in which the same plant was a case, -1 for none."""
    out = np.full(record.case.shape, -1, dtype=np.int64)
    last = np.full(record.case.shape[1:], -1, dtype=np.int64)
    for season in range(1, len(out)):
        last = np.where(record.case[season - 1], season - 1, last)
        last[record.plant[season] != record.plant[season - 1]] = -1
        out[season] = last
    return out


def _known_before(record: _Record) -> Cube:
    return np.asarray(_last_shown(record) >= 0)


def _intervals(
    record: _Record, event: Cube, can: Cube, at_risk: ArrayLike | None, damage: NDArray[np.int64] | None = None
) -> Intervals:
    before = _look_before(record)
    use = record.looked & (before >= 0) & can
    if at_risk is not None:
        risk = np.asarray(at_risk, dtype=bool)
        _same_shape("at_risk", risk, record.case)
        use &= risk & np.take_along_axis(risk, np.maximum(before, 0), axis=0)
    season, row, station = np.nonzero(use)
    earlier = before[use]
    shown = _last_shown(record)[use]
    since = np.where(shown >= 0, record.years[earlier] - record.years[np.maximum(shown, 0)] + 1, 0)
    rows, stations = record.case.shape[1:]
    return Intervals(
        (rows, stations),
        row * stations + station,
        season,
        earlier,
        record.years[season],
        record.years[season] - record.years[earlier],
        event[use],
        record.age[use],
        record.along_m[row, station],
        record.across_m[row, station],
        {name: codes[use] for name, codes in record.strata.items()},
        since,
        np.zeros(season.size, dtype=np.int64) if damage is None else damage[use],
    )

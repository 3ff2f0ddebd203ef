"""A map as arrays: which cells hold a vine that counts, and which of those are cases."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Grid = NDArray[np.bool_]

__all__ = [
    "Grid",
    "checked_counts",
    "checked_labels",
    "checked_mask",
    "checked_places",
    "checked_strata",
    "nothing_to_move",
]


def _is_there(value: Any) -> bool:
    return value is not None and bool(value == value)


def _read(cells: ArrayLike, name: str) -> tuple[Grid, Grid]:
    """Return the cells that hold true, and those that hold anything: not a masked cell, and not NaN in a table of numbers."""
    raw: np.ma.MaskedArray[Any, Any] = np.ma.asarray(cells.to_numpy() if hasattr(cells, "to_numpy") else cells)
    if raw.ndim != 2:
        raise ValueError(f"{name} has {raw.ndim} dimensions: a (rows, stations) array is needed")
    held = ~np.ma.getmaskarray(raw)
    data = np.asarray(raw.data)
    if data.dtype == np.object_ and held.any():
        held &= np.frompyfunc(_is_there, 1, 1)(data).astype(np.bool_)
        data = np.where(held, data, 0)
    elif data.dtype.kind == "f":
        held &= ~np.isnan(data)
        data = np.where(held, data, 0)
    if data.dtype != np.bool_:
        if not np.isin(data[held], (0, 1)).all():
            raise ValueError(f"{name} holds values other than 0 and 1: a mask is needed")
        data = np.where(held, data, 0).astype(np.bool_)
    return data & held, held


def checked_mask(vines: ArrayLike, name: str = "vines") -> Grid:
    """Return `vines` as a (rows, stations) bool array; a masked cell, or NaN, is no vine that counts.

    Raises
    ------
    ValueError
        If it has not two dimensions or holds anything but true and false (0 and 1).
    """
    return _read(vines, name)[0]


def checked_labels(cases: ArrayLike, vines: ArrayLike) -> tuple[Grid, Grid]:
    """Return cases and mask as bool arrays of one shape.

    Parameters
    ----------
    cases, vines : (rows, stations) array_like, masked array or DataFrame
        A cell that is masked in either, or NaN, does not count: nobody knows what stands there.

    Raises
    ------
    ValueError
        If the shapes differ or a case lies outside the vines that count.
    """
    (marked, known), mask = _read(cases, "cases"), checked_mask(vines)
    if marked.shape != mask.shape:
        raise ValueError(f"cases is {marked.shape} but vines is {mask.shape}: the same grid is needed")
    outside = np.argwhere(marked & ~mask)
    if outside.size:
        row, station = outside[0]
        raise ValueError(
            f"{len(outside)} case(s) outside the vines that count, the first at row index {row}, "
            f"station index {station}: a case must lie inside the mask"
        )
    return marked, mask & known


def checked_strata(strata: ArrayLike | None, vines: Grid) -> NDArray[np.int64] | None:
    """Return strata as whole numbers 0..k-1 per cell, -1 outside the mask, or None.

    Labels may move only inside a stratum (a row, a cultivar, a sub-block).

    Raises
    ------
    ValueError
        If the shape differs from that of the vines.
    """
    if strata is None:
        return None
    raw = np.asarray(strata)
    if raw.shape != vines.shape:
        raise ValueError(f"strata is {raw.shape} but vines is {vines.shape}: the same grid is needed")
    codes = np.full(vines.shape, -1, dtype=np.int64)
    if vines.any():
        codes[vines] = np.unique(raw[vines], return_inverse=True)[1]
    return codes


def nothing_to_move(cases: int, vines: int, *, fewest: int = 1) -> str:
    """Say why no labelling of the vines differs from another, or that a single case makes no pair.

    Parameters
    ----------
    cases, vines : int
        Cases, and vines that count, those included.
    fewest : {1, 2}
        Cases that the statistic needs.

    Returns
    -------
    str
        The reason; empty where there is none.
    """
    if cases == 0:
        return "there is no case"
    if cases < fewest:
        return "there is a single case"
    return "every vine is a case" if cases == vines else ""


def checked_counts(counts: ArrayLike, vines: ArrayLike) -> tuple[NDArray[np.int64], Grid]:
    """Return counts and mask as arrays of one shape; a masked cell, or NaN, does not count, and its count is 0.

    Raises
    ------
    ValueError
        If the shapes differ, a count is no whole number from 0 on, or one above 0 lies outside the vines that count.
    """
    raw: np.ma.MaskedArray[Any, Any] = np.ma.asarray(counts.to_numpy() if hasattr(counts, "to_numpy") else counts)
    mask = checked_mask(vines)
    if raw.shape != mask.shape:
        raise ValueError(f"counts is {raw.shape} but vines is {mask.shape}: the same grid is needed")
    try:
        data = np.asarray(raw.filled(0) if raw.dtype == np.object_ else raw.data, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise ValueError(f"counts holds what is no number ({error}): whole numbers from 0 on are needed") from error
    known = ~np.ma.getmaskarray(raw) & ~np.isnan(data)
    data = np.where(known, data, 0.0)
    odd = np.argwhere((data < 0) | (data != np.floor(data)) | np.isinf(data))
    if odd.size:
        row, station = odd[0]
        raise ValueError(
            f"counts is {data[row, station]:g} at row index {row}, station index {station}: a whole number from 0 on is needed"
        )
    outside = np.argwhere((data > 0) & ~mask)
    if outside.size:
        row, station = outside[0]
        raise ValueError(
            f"counts is {data[row, station]:g} outside the vines that count, at row index {row}, station index {station}: "
            "a count must lie inside the mask"
        )
    return data.astype(np.int64), mask & known


def checked_places(
    vines: Grid, row_spacing: float | None, vine_spacing: float | None, places: ArrayLike | None
) -> NDArray[np.float64]:
    """Return the metres of the vines that count, (vines, 2), from spacings or from places.

    Raises
    ------
    ValueError
        If neither or both are given, a spacing is not above 0, or a vine that counts has no place.
    """
    if (places is None) == (row_spacing is None and vine_spacing is None):
        raise ValueError(
            "places is given beside spacings, or neither: row_spacing and vine_spacing, or places, are needed"
        )
    if places is not None:
        at = np.asarray(places, dtype=np.float64)
        if at.shape != (*vines.shape, 2):
            raise ValueError(f"places is {at.shape} but vines is {vines.shape}: {(*vines.shape, 2)} is needed")
        if not np.isfinite(at[vines]).all():
            row, station = np.argwhere(vines & ~np.isfinite(at).all(axis=2))[0]
            raise ValueError(f"the vine at row index {row}, station index {station} has no place: meters are needed")
        return np.asarray(at[vines])
    if row_spacing is None or vine_spacing is None or not (0 < row_spacing < np.inf and 0 < vine_spacing < np.inf):
        raise ValueError(f"row_spacing is {row_spacing} and vine_spacing {vine_spacing}: meters above 0 are needed")
    return np.asarray(np.argwhere(vines) * np.array([row_spacing, vine_spacing]), dtype=np.float64)

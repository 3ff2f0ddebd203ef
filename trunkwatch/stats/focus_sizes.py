"""Foci: cases that touch, their size and shape, and how many chance would make."""

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from trunkwatch.stats.chance import Rng, generator, permutation_pvalue
from trunkwatch.stats.labels import checked_labels, nothing_to_move
from trunkwatch.stats.relabelling import plain_labellings
from trunkwatch.stats.result import Result

__all__ = ["Foci", "Focus", "foci"]


@dataclass(frozen=True, slots=True)
class Focus(Result):
    """One focus: its cases and its extent, in grid cells.

    `shape` is rows over stations (below 1: drawn out along the row); `compactness` is the share
    of the enclosing rectangle that is cases.

    Attributes
    ----------
    number : int
        As in `Foci.labels`, from 1.
    size : int
        Cases.
    rows : (int, int)
        First and last row index.
    stations : (int, int)
        First and last station index.
    """

    number: int
    size: int
    rows: tuple[int, int]  # first and last row index
    stations: tuple[int, int]  # first and last station index

    @property
    def across(self) -> int:
        """Rows it reaches over."""
        return self.rows[1] - self.rows[0] + 1

    @property
    def along(self) -> int:
        """Stations it reaches over."""
        return self.stations[1] - self.stations[0] + 1

    @property
    def shape(self) -> float:
        """Extent across over extent along."""
        return self.across / self.along

    @property
    def compactness(self) -> float:
        """Cases over cells of the enclosing rectangle."""
        return self.size / (self.across * self.along)


@dataclass(frozen=True, slots=True)
class Foci(Result):
    """All foci of a map, largest first, beside what random labelling makes.

    Attributes
    ----------
    statistic : int
        Number of foci; few foci for many cases mean clustering.
    pvalue : float
        Chance of so few foci; nan where no test is possible.
    largest_pvalue : float
        Chance of so large a largest focus.
    expected, expected_single, expected_largest : float
        Means over the relabelled maps.
    labels : (rows, stations) int array
        Number of the focus in every case cell, 0 elsewhere.
    single, largest : int
        Foci of one vine; vines of the largest focus.
    mean_size : float
        Vines in a focus, on average.
    foci : tuple of Focus
        Largest first.
    null_distribution : (permutations,) int array
        Number of foci of each relabelled map.
    n_cases : int
        Cases.
    n_vines : int
        Vines that count.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    statistic: int
    pvalue: float
    expected: float
    single: int
    expected_single: float
    largest: int
    expected_largest: float
    largest_pvalue: float
    mean_size: float
    n_cases: int
    n_vines: int
    foci: tuple[Focus, ...]
    reason: str
    labels: NDArray[np.int64] = field(repr=False, compare=False)
    null_distribution: NDArray[np.int64] = field(repr=False, compare=False)

    def __str__(self) -> str:
        number = f"{self.statistic} {'focus' if self.statistic == 1 else 'foci'}"
        seen = f"{number}, {self.single} of them single vines, the largest of {self.largest}"
        if self.reason:
            return f"{seen}; no test: {self.reason}"
        return f"{seen}; {self.expected:.1f} foci expected, p of so few = {self.pvalue:.3g}"


def foci(
    cases: ArrayLike,
    vines: ArrayLike,
    *,
    neighbours: Literal["queen", "rook"] = "queen",
    permutations: int = 999,
    rng: Rng = None,
) -> Foci:
    """Find the foci of a map and compare their number and size with random labelling.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count. A gap does not bridge.
    neighbours : {"queen", "rook"}
        Whether vines that touch at a corner belong together.
    permutations : int
        Relabelled maps.
    rng : Generator, int or None
        Source of chance.

    Returns
    -------
    Foci
        All foci, their number, size and p-value, and `labels`, a (rows, stations) int array.

    Raises
    ------
    ValueError
        If the shapes differ, a case lies outside the mask, or `neighbours` is unknown.

    Notes
    -----
    Above about 40 % incidence (queen; 59 % rook) random maps run together into one giant focus
    (site percolation; thresholds from memory), so the expectation stands beside every count.

    References
    ----------
    .. [1] Nelson, S.C. (1996) A simple analysis of disease foci. Phytopathology 86, 332-339.
       (cited from memory)

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = [[0, 1, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 1]]
    >>> vines = np.ones((3, 6))
    >>> found = tw.stats.foci(cases, vines, permutations=99, rng=1)
    >>> print(found)
    2 foci, 1 of them single vines, the largest of 4; 2.5 foci expected, p of so few = 0.56
    >>> found.largest, found.single
    (4, 1)
    """
    if neighbours not in ("queen", "rook"):
        raise ValueError(f"neighbours is {neighbours!r}: queen or rook is needed")
    marked, mask = checked_labels(cases, vines)
    structure = np.ones((3, 3), dtype=bool) if neighbours == "queen" else ndimage.generate_binary_structure(2, 1)
    labels, found = _components(marked, structure)
    sizes = np.array([focus.size for focus in found], dtype=np.int64)
    n_cases, n_vines = int(marked.sum()), int(mask.sum())
    reason = nothing_to_move(n_cases, n_vines)
    null = np.empty((0, 3), dtype=np.int64)
    if not reason and permutations:
        null = _null(mask, n_cases, structure, permutations, generator(rng))
    count, single = len(found), int((sizes == 1).sum())
    largest = int(sizes.max(initial=0))
    tested = null.size > 0
    mean = null.mean(axis=0) if tested else np.full(3, math.nan)
    return Foci(
        count,
        permutation_pvalue(count, null[:, 0], "less") if tested else math.nan,
        float(mean[0]),
        single,
        float(mean[1]),
        largest,
        float(mean[2]),
        permutation_pvalue(largest, null[:, 2], "greater") if tested else math.nan,
        n_cases / count if count else math.nan,
        n_cases,
        n_vines,
        found,
        reason or ("" if tested else "no permutations asked for"),
        labels,
        null[:, 0],
    )


def _components(marked: NDArray[np.bool_], structure: NDArray[np.bool_]) -> tuple[NDArray[np.int64], tuple[Focus, ...]]:
    if not marked.any():
        return np.zeros(marked.shape, dtype=np.int64), ()
    raw, count = ndimage.label(marked, structure=structure)
    raw = np.asarray(raw, dtype=np.int64)
    sizes = np.bincount(raw.ravel(), minlength=count + 1)[1:]
    order = np.argsort(-sizes, kind="stable")
    rename = np.zeros(count + 1, dtype=np.int64)
    rename[order + 1] = np.arange(1, count + 1)
    boxes = ndimage.find_objects(raw)
    found = tuple(
        Focus(
            place + 1,
            int(sizes[old]),
            (boxes[old][0].start, boxes[old][0].stop - 1),
            (boxes[old][1].start, boxes[old][1].stop - 1),
        )
        for place, old in enumerate(order.tolist())
    )
    return rename[raw], found


def _null(
    mask: NDArray[np.bool_],
    cases: int,
    structure: NDArray[np.bool_],
    permutations: int,
    rng: np.random.Generator,
) -> NDArray[np.int64]:
    """Number of foci, of single ones and size of the largest of each relabelled map.

    The maps of a chunk are stacked with an empty line between them, so that one labelling of the
    stack finds the foci of all.
    """
    rows, stations = mask.shape
    flat = np.flatnonzero(mask)
    out = []
    for drawn in plain_labellings(cases, flat.size, permutations, rng, chunk=64):
        stack = np.zeros((len(drawn), rows + 1, stations), dtype=bool)
        block = np.zeros((len(drawn), mask.size), dtype=bool)
        block[:, flat] = drawn
        stack[:, :rows] = block.reshape(len(drawn), rows, stations)
        labels, count = ndimage.label(stack.reshape(-1, stations), structure=structure)
        sizes = np.bincount(labels.ravel(), minlength=count + 1)[1:]
        first = np.zeros(count, dtype=np.int64)
        where = np.flatnonzero(labels.ravel())
        first[labels.ravel()[where] - 1] = where // ((rows + 1) * stations)
        number = np.bincount(first, minlength=len(drawn))
        single = np.bincount(first[sizes == 1], minlength=len(drawn))
        largest = np.zeros(len(drawn), dtype=np.int64)
        np.maximum.at(largest, first, sizes)
        out.append(np.column_stack([number, single, largest]))
    return np.concatenate(out)

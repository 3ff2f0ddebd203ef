"""What a reader of several tables can work out: linear algebra and linear programmes over the blocks behind the figures.

All blocks that are in the same figures cannot be told apart by them: together they are an *atom*. Every figure is the sum of
some atoms, known to within its rounding. Two attacks are played: whether figures, combined with any weights, speak of a few
growers alone, and between which limits the counts of a few growers must lie.

References
----------
.. [1] Massell, P.B. (2001) Cell suppression and audit programs used for economic magnitude data, US Bureau of the Census,
   research report RR2001/01 (abstract): limits of each hidden cell by linear programmes.
.. [2] Langsrud, O., package GaussSuppression (documentation): figures that depend linearly on those shown are exposed.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from trunkwatch.cards.cells import BASE, FEWEST_GROWERS, P

__all__ = ["Known", "Limits", "exposed", "limits_of"]

#: Sets of few growers that are tried; where there are more, nothing new is shown (our own convention).
_MOST_SETS = 100


@dataclass(frozen=True, slots=True)
class Known:
    """One figure that readers have.

    Attributes
    ----------
    members : mapping of str to str
        Mark of each block, with that of its grower.
    vines, cases : (int, int)
        Limits of the sums.
    """

    members: tuple[tuple[str, str], ...]
    vines: tuple[int, int]
    cases: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Limits:
    """Between what a sum must lie for all that readers know."""

    low: float
    high: float

    @property
    def narrow(self) -> bool:
        """Whether that tells too much: the limits must be as far apart as rounding makes any figure, and as the p% rule both ways."""
        return self.high - self.low < max(BASE - 1, 2 * P * self.high)


@dataclass(frozen=True, slots=True)
class _Atoms:
    """Blocks put together by the figures they are in: growers of each atom, and which figure holds which (figures, atoms)."""

    growers: tuple[frozenset[str], ...]
    blocks: tuple[frozenset[str], ...]
    inside: NDArray[np.float64]


def _atoms(known: Sequence[Known]) -> _Atoms:
    of_block: defaultdict[str, list[int]] = defaultdict(list)
    grower: dict[str, str] = {}
    for number, figure in enumerate(known):
        for block, whose in figure.members:
            of_block[block].append(number)
            grower[block] = whose
    together: defaultdict[tuple[int, ...], set[str]] = defaultdict(set)
    for block, figures in of_block.items():
        together[tuple(figures)].add(block)
    inside = np.zeros((len(known), len(together)))
    for atom, numbers in enumerate(together):
        inside[list(numbers), atom] = 1.0
    return _Atoms(
        tuple(frozenset(grower[block] for block in blocks) for blocks in together.values()),
        tuple(frozenset(blocks) for blocks in together.values()),
        inside,
    )


def exposed(
    known: Sequence[Known],
    hidden: Iterable[frozenset[str]] = (),
    may_show: Callable[[frozenset[str]], bool] | None = None,
) -> bool:
    """Tell whether what readers know speaks of fewer growers than a cell takes, or of a set of blocks that may not be shown.

    Parameters
    ----------
    known : sequence of Known
        All figures of one season and one count that were ever shown, and the new one.
    hidden : iterable of frozenset of str
        Marks of the blocks of cells that may not be shown.
    may_show : callable, optional
        Tells of the marks of some blocks whether a figure of them may be shown; it is asked of every atom, and of what one
        figure has more than another.
    """
    if any(0 < len(_differs(one, known[-1])) < FEWEST_GROWERS for one in known[:-1]):
        return True  # the common case, and the quick one: the linear algebra below would find it too
    found = _atoms(known)
    few = [atom for atom, growers in enumerate(found.growers) if len(growers) < FEWEST_GROWERS]
    rank = np.linalg.matrix_rank(found.inside)
    if few:
        for tried, chosen in enumerate(_sets(found, few)):
            if tried >= _MOST_SETS or np.linalg.matrix_rank(np.delete(found.inside, chosen, axis=1)) < rank:
                return True
            if _narrow(known, found, chosen):
                return True
    return any(
        np.linalg.matrix_rank(np.vstack([found.inside, _indicator(found, chosen)])) == rank
        or _narrow(known, found, chosen)
        for chosen in _forbidden(known, found, hidden, may_show)
    )


def _differs(one: Known, other: Known) -> set[str]:
    """Return the growers of blocks that are in one of two figures alone."""
    return {grower for _, grower in set(one.members) ^ set(other.members)}


def _forbidden(
    known: Sequence[Known],
    found: _Atoms,
    hidden: Iterable[frozenset[str]],
    may_show: Callable[[frozenset[str]], bool] | None,
) -> Iterator[list[int]]:
    """Give the sets of atoms that may not be shown: hidden cells of which every block is in a figure, and what lies between figures."""
    every = frozenset().union(*found.blocks)
    sets = {blocks for blocks in hidden if blocks and blocks <= every}
    if may_show is not None:
        between = set(found.blocks)
        figures = {frozenset(block for block, _ in one.members) for one in known}
        between |= {one - other for one in figures for other in figures if other < one}
        sets |= {blocks for blocks in between if not may_show(blocks)}
    for blocks in sets:
        chosen = [atom for atom, inner in enumerate(found.blocks) if inner <= blocks]
        if sum(len(found.blocks[atom]) for atom in chosen) == len(blocks):  # else no sum is of these blocks alone
            yield chosen


def _indicator(found: _Atoms, chosen: Sequence[int]) -> NDArray[np.float64]:
    row = np.zeros(found.inside.shape[1])
    row[list(chosen)] = 1.0
    return row


def _narrow(known: Sequence[Known], found: _Atoms, chosen: Sequence[int]) -> bool:
    return any(_limits(known, found, chosen, count).narrow for count in ("vines", "cases"))


def _sets(found: _Atoms, few: Sequence[int]) -> Iterator[list[int]]:
    """Give every set of atoms that are of fewer growers together than a cell takes; those of the same growers once, whole."""
    growers = sorted({name for atom in few for name in found.growers[atom]})
    seen: set[tuple[int, ...]] = set()
    for many in range(1, FEWEST_GROWERS):
        for names in combinations(growers, many):
            chosen = tuple(atom for atom in few if found.growers[atom] <= set(names))
            if chosen and chosen not in seen:
                seen.add(chosen)
                yield list(chosen)


def limits_of(known: Sequence[Known], blocks: frozenset[str], count: str) -> Limits:
    """Return between what the sum over some blocks must lie, for a reader of all figures.

    Parameters
    ----------
    known : sequence of Known
        All figures.
    blocks : frozenset of str
        Their marks; each atom must lie within or without. Blocks that are in no figure may bring any number.
    count : {"vines", "cases"}
        What is summed.
    """
    found = _atoms(known)
    if not blocks <= frozenset().union(*found.blocks):
        return Limits(0.0, np.inf)
    return _limits(known, found, [atom for atom, inner in enumerate(found.blocks) if inner <= blocks], count)


def _limits(known: Sequence[Known], found: _Atoms, chosen: Sequence[int], count: str) -> Limits:
    wanted = _indicator(found, chosen)
    lows, highs = np.array([getattr(figure, count) for figure in known], dtype=float).T
    rows, ends = np.vstack([found.inside, -found.inside]), np.concatenate([highs, -lows])
    ends_at = [linprog(sign * wanted, A_ub=rows, b_ub=ends, bounds=(0, None), method="highs") for sign in (1.0, -1.0)]
    low, high = (one.fun if one.success and one.fun is not None else None for one in ends_at)
    return Limits(0.0 if low is None else float(low), np.inf if high is None else float(-high))

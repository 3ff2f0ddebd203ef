"""How fast lasting damage grows, learnt from the percents that were written at successive looks of the same vine."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history import BlockHistory
from trunkwatch.history.vine_part import wire_share
from trunkwatch.history.written import Finding
from trunkwatch.vineyard.codes import CLEARING

__all__ = ["CLASS_EDGES", "NO_GROWTH", "Growth", "growth_by_season"]

#: Percent of the vine dead at which damage passes from light to middle and from middle to heavy.
CLASS_EDGES = (37.5, 67.5)
#: Percents of a vine that two looks may differ by without a change: errors of writing are about 5 points on a whole vine
#: (7 on an arm), twice that on a difference.
SLACK = 15.0


@dataclass(frozen=True, slots=True)
class Growth:
    """What was written of lasting damage, vine by vine; sums that add up over seasons and blocks.

    Attributes
    ----------
    years, points : (2,) array
        Vine-years between two looks with light and with middle damage, and percents of the vine that died in them.
    first, again : (3,) array
        Vines by the class (light, middle, heavy) in which damage was written for the first time, and for the first time
        after a cut.
    vines, shares : (3,) array
        Times that a share was written, by class, and the sum of these shares.
    entry : (2,) array
        Vines whose first share is light, and the sum of these shares.
    """

    years: NDArray[np.float64] = field(default_factory=lambda: np.zeros(2))
    points: NDArray[np.float64] = field(default_factory=lambda: np.zeros(2))
    first: NDArray[np.float64] = field(default_factory=lambda: np.zeros(3))
    again: NDArray[np.float64] = field(default_factory=lambda: np.zeros(3))
    vines: NDArray[np.float64] = field(default_factory=lambda: np.zeros(3))
    shares: NDArray[np.float64] = field(default_factory=lambda: np.zeros(3))
    entry: NDArray[np.float64] = field(default_factory=lambda: np.zeros(2))

    def plus(self, other: "Growth", weight: float = 1.0) -> "Growth":
        """Return the sum of two, the other by a weight."""
        return Growth(*(getattr(self, name) + weight * getattr(other, name) for name in Growth.__dataclass_fields__))

    def as_data(self) -> dict[str, list[float]]:
        """Return it as JSON has it; what is zero throughout is left out."""
        return {name: getattr(self, name).tolist() for name in Growth.__dataclass_fields__ if getattr(self, name).any()}

    @classmethod
    def of_data(cls, data: Mapping[str, Sequence[float]]) -> "Growth":
        """Read what `as_data` gives.

        Raises
        ------
        ValueError
            If a sum has more or fewer parts than it should.
        """
        found = cls()
        for name, values in data.items():
            if name not in cls.__dataclass_fields__ or len(values) != getattr(found, name).size:
                raise ValueError(f"growth has {name!r} with {len(values)} parts")
            getattr(found, name)[:] = values
        return found

    def classes_grown(self) -> NDArray[np.float64]:
        """Return how many classes damage grew by in the vine-years, light and middle, (2,).

        What a vine grows by between its first share and the edge is one class, so that ups and downs of writing cancel.
        """
        start = (self.entry[1] + 3 * 20.0) / (self.entry[0] + 3)
        wide = np.array([max(CLASS_EDGES[0] - start, 5.0), CLASS_EDGES[1] - CLASS_EDGES[0]])
        return np.asarray(np.clip(self.points / wide, 0.0, 0.95 * self.years))

    def dead_shares(self, believed: Sequence[float], weight: float = 5.0) -> tuple[float, ...]:
        """Return the mean share dead of each class, 0 to 1, leaning on what was believed with a weight in vines."""
        written = (self.shares / 100 + weight * np.array(believed)) / (self.vines + weight)
        return tuple(float(share) for share in written)


NO_GROWTH = Growth()


def growth_by_season(history: BlockHistory) -> dict[int, Growth]:
    """Return what the looks of each season add, by season.

    Parameters
    ----------
    history : BlockHistory
        The block over its years. Findings without a percent, and those that no look covers, say nothing of growth.
    """
    found: defaultdict[int, Growth] = defaultdict(Growth)
    opening = min((look.season for look in history.looks), default=0)
    for vine in history.reading.vines.values():
        findings = [
            f for f in vine.findings if f.lasting and f.plant >= 0 and f.percent_dead is not None and not f.casual
        ]
        if not findings:
            continue
        cuts = sorted(w.date for w in vine.work if w.done and w.kind in CLEARING)
        many = 2 if str(history.reading.records.block.get("training") or "") == "multi_trunk" else 1
        trunks = max([many, *(f.part.trunk for f in findings)])
        for run, cut in _runs(findings, cuts):
            told = list(_shares(run, str(history.reading.records.block.get("training") or ""), trunks))
            _entered(found, told[0], cut=cut, opening=opening)
            for (earlier, low), (later, high) in pairwise(told):
                _grew(found[later], later - earlier, low, high)
            for season, share in told:
                found[season].vines[_class(share)] += 1
                found[season].shares[_class(share)] += share
    return dict(found)


def _class(share: float) -> int:
    return int(np.searchsorted(CLASS_EDGES, share, side="right"))


def _runs(findings: Sequence[Finding], cuts: Sequence[str]) -> Iterator[tuple[list[Finding], bool]]:
    """Part the findings of a vine where it was cut or replanted; tell whether a cut lies before a run."""
    runs: dict[tuple[int, int], list[Finding]] = {}
    for f in sorted(findings, key=lambda one: one.date):
        runs.setdefault((f.plant, sum(day < f.date for day in cuts)), []).append(f)
    for (_, before), run in runs.items():
        yield run, before > 0


def _shares(run: Sequence[Finding], training: str, trunks: int) -> Iterator[tuple[int, float]]:
    """Return the percent of the vine that was dead season by season: each part as it was written last."""
    parts: dict[tuple[int, str], float] = {}
    seasons = sorted({f.season for f in run})
    for season in seasons:
        for f in run:
            if f.season == season and f.percent_dead is not None:
                parts[f.part.trunk, f.part.arm] = f.percent_dead * wire_share(f.part, training, trunks)
        yield season, min(100.0, sum(parts.values()))


def _entered(found: dict[int, Growth], told: tuple[int, float], *, cut: bool, opening: int) -> None:
    """Note the class in which damage came to light; at the first season of the record it may be old."""
    season, share = told
    if cut:
        found[season].again[_class(share)] += 1
    elif season > opening:
        found[season].first[_class(share)] += 1
        if share < CLASS_EDGES[0]:
            found[season].entry[:] += np.array([1.0, share])


def _grew(into: Growth, years: int, low: float, high: float) -> None:
    """Share out what a vine grew by between two looks among the classes that it was in.

    The class is that of the middle of both looks: an error of writing moves the middle and the difference independently of
    each other. A leap is shared out by the way that it takes through each class.
    """
    edges = (0.0, *CLASS_EDGES)
    if high - low <= SLACK:
        number = _class((low + high) / 2)
        if number < len(CLASS_EDGES):
            into.years[number] += years
            into.points[number] += high - low
        return
    for number in range(len(CLASS_EDGES)):
        way = max(0.0, min(high, CLASS_EDGES[number]) - max(low, edges[number]))
        into.years[number] += years * way / (high - low)
        into.points[number] += way

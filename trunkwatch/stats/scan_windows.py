"""The windows of a scan as shifts of the whole map.

All cells stand in one line, row after row, with pad cells between the rows. A vine so far away
along and across the rows is then one shift of the line, the same for every centre, and taking it
into the windows around all centres of all labelled maps is one addition of arrays. The windows
around a centre are nested, so each addition gives the next larger ones.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["Family", "Nested", "nested_windows"]

Family = Literal["circles", "ellipses", "segments"]
#: Metres; without a radius of their own circles grow no larger.
LARGEST_RADIUS = 30.0
#: Bytes of counts, and of all layers, held at a time: the counts stay in the second-level cache.
COUNT_BYTES = 2**19
LAYER_BYTES = 2**25
WIDER: dict[str, type[np.unsignedinteger]] = {"uint8": np.uint16, "uint16": np.uint32}


@dataclass(frozen=True, slots=True)
class Nested:
    """Windows around every cell, each step a larger one.

    Attributes
    ----------
    place : (vines,) int array
        Where on the line of cells each vine stands, vines in grid order.
    length : int
        Cells of the line, pads included.
    steps : tuple of tuple of (int, int)
        What a step takes in: so many cells to either side (0 for none) of a place so far on.
    gaps_end : bool
        A window over a cell without a vine that counts is none.
    """

    place: NDArray[np.int64] = field(repr=False)
    length: int
    steps: tuple[tuple[tuple[int, int], ...], ...] = field(repr=False)
    gaps_end: bool

    @property
    def chunk(self) -> int:
        """Labelled maps to be held at a time."""
        widest = 1 + max((apart for step in self.steps for apart, _ in step), default=0)
        return max(1, min(128, COUNT_BYTES // self.length, LAYER_BYTES // (self.length * widest)))

    def lay(self, labels: NDArray[np.bool_]) -> NDArray[np.uint8]:
        """Put (maps, vines) labels on the line, (maps, length)."""
        out = np.zeros((len(labels), self.length), dtype=np.uint8)
        out[:, self.place] = labels
        return out

    def sizes(self, heavy: int, taken: NDArray[np.bool_] | None = None) -> Iterator[NDArray[np.int64]]:
        """Yield the vines in each window, one array of (length,) a step, from the second vine on.

        Windows that are none hold `heavy` vines or more: those around no vine, those that meet a
        taken vine, and those over a gap where gaps end them. The array is used again.

        Parameters
        ----------
        heavy : int
            More than any window may hold.
        taken : (vines,) bool array, optional
            Vines that no window may hold.
        """
        weight = np.ones(self.place.size, dtype=np.int64) if taken is None else np.where(taken, heavy, 1)
        first = np.full((1, self.length), heavy, dtype=np.int64)
        first[0, self.place] = weight
        line = first if self.gaps_end else np.zeros_like(first)
        line[0, self.place] = weight
        for inside in self.counts(line, first.copy()):
            yield inside[0]

    def counts(
        self, line: NDArray[np.integer], inside: NDArray[np.integer] | None = None
    ) -> Iterator[NDArray[np.integer]]:
        """Yield what stands inside each window, one (maps, length) array a step; it is used again.

        The integers become wider before they would run over.

        Parameters
        ----------
        line : (maps, length) integer array
            What is counted, such as cases (0 or 1).
        inside : (maps, length) integer array, optional
            What the windows hold at first; the centre where left out. It is overwritten.
        """
        inside = line.copy() if inside is None else inside
        layers = [line]
        for apart in range(1, 1 + max((apart for step in self.steps for apart, _ in step), default=0)):
            pair = np.zeros_like(line)
            pair[:, :-apart] = line[:, apart:]
            pair[:, apart:] += line[:, :-apart]
            layers.append(pair)
        most, room = 1, np.iinfo(inside.dtype).max
        for step in self.steps:
            added = 2 * len(step)
            if most + added > room:
                most = int(inside.max())
                if most + added > room:
                    inside = inside.astype(WIDER[inside.dtype.name])
                    layers = [layer.astype(inside.dtype) for layer in layers]
                    room = np.iinfo(inside.dtype).max
            most += added
            for apart, on in step:
                part = inside[:, max(0, -on) : self.length - max(0, on)]
                part += layers[apart][:, max(0, on) : self.length - max(0, -on)]
            yield inside

    def members(self, centre: int, step: int) -> NDArray[np.int64]:
        """Return the vines of one window in the order in which it grew.

        Parameters
        ----------
        centre : int
            A vine, by its number in grid order.
        step : int
            Index of the step.
        """
        number = np.full(self.length, -1, dtype=np.int64)
        number[self.place] = np.arange(self.place.size)
        found = [np.array([centre])]
        for taken in self.steps[: step + 1]:
            on = np.unique([shift + side * apart for apart, shift in taken for side in (-1, 1)])
            at = on + self.place[centre]
            vines = number[at[(at >= 0) & (at < self.length)]]
            found.append(np.sort(vines[vines >= 0]))
        return np.concatenate(found)


def nested_windows(
    vines: NDArray[np.bool_],
    row_spacing: float,
    vine_spacing: float,
    family: Family,
    most: int,
    max_radius: float | None = None,
) -> Nested:
    """Make the windows of a map.

    Parameters
    ----------
    vines : (rows, stations) bool array
        The vines that count.
    row_spacing, vine_spacing : float
        Meters.
    family : {"circles", "ellipses", "segments"}
        Ellipses are twice as long along the row; segments are stretches of one row without a gap,
        each counted from its first vine.
    most : int
        Vines in a window.
    max_radius : float, optional
        Meters across the row; at most half the longer side of the block where left out, and not
        more than 30 m.
    """
    rows, stations = vines.shape
    row, station = np.nonzero(vines)
    steps: tuple[tuple[tuple[int, int], ...], ...]
    if family == "segments":
        stride = stations + 1
        longest = min(_longest_stretch(vines), most)
        steps = tuple(((0, on),) for on in range(1, longest))
        return Nested(row * stride + station, rows * stride, steps, gaps_end=True)
    along = vine_spacing / 2 if family == "ellipses" else vine_spacing
    longer = max(np.ptp(station) * along, np.ptp(row) * row_spacing, vine_spacing) if row.size else 0.0
    reach = max_radius or min(LARGEST_RADIUS, longer / 2)
    rings = _rings(vines.shape, row_spacing, along, reach)
    widest = max((apart for ring in rings for _, apart in ring), default=0)
    stride = stations + widest
    steps = tuple(
        tuple((apart, on) for down, apart in ring for on in {-down * stride, down * stride}) for ring in rings
    )
    return Nested(row * stride + station, rows * stride, steps, gaps_end=False)


def _rings(shape: tuple[int, int], row_m: float, vine_m: float, reach: float) -> list[list[tuple[int, int]]]:
    """List the (rows, stations) apart by distance: a circle takes in all vines at one distance together."""
    edge = reach + 1e-9
    down = np.arange(min(shape[0] - 1, int(edge / row_m)) + 1)
    apart = np.arange(min(shape[1] - 1, int(edge / vine_m)) + 1)
    away = np.hypot(*np.meshgrid(down * row_m, apart * vine_m, indexing="ij"))
    rings: dict[float, list[tuple[int, int]]] = {}
    for r, s in np.argwhere((away <= edge) & (away > 0)).tolist():
        rings.setdefault(round(float(away[r, s]), 6), []).append((r, s))
    return [rings[distance] for distance in sorted(rings)]


def _longest_stretch(vines: NDArray[np.bool_]) -> int:
    """Count the vines of the longest stretch of a row without a gap."""
    line = np.pad(vines, ((0, 0), (0, 1))).ravel()
    ends = np.flatnonzero(np.diff(np.concatenate([[False], line, [False]]).astype(np.int8)))
    return int((ends[1::2] - ends[::2]).max(initial=0))

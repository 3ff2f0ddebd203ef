"""Random labellings of a map, 64 vines a machine word, and the joins they make.

The whole block is one string of bits, with pad bits that stay zero between rows so that no row
runs into the next. A labelling of k among n vines is drawn in two steps: independent bits with
a chance slightly below k/n, then uniform additions (rarely removals) up to exactly k. A set of
independent bits, given its size, is a uniform subset of that size, and adding a uniform
non-member or removing a uniform member keeps it so: the labellings are exact.
"""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from trunkwatch.stats.joins import Joins, half_offsets, joined_pairs

__all__ = ["BitBlock", "StratifiedBits", "null_joins", "plain_labellings", "stratified_labellings"]

Words = NDArray[np.uint64]
#: Words held at a time, about 256 kB: they stay in the second-level cache.
BATCH_WORDS = 32_768


class BitBlock:
    """The vines that count of one block as a string of bits.

    Parameters
    ----------
    vines : (rows, stations) bool array
        The vines that count.
    offsets : sequence of (int, int)
        Half-plane offsets whose joins will be counted.
    """

    def __init__(self, vines: NDArray[np.bool_], offsets: Sequence[tuple[int, int]]) -> None:
        rows, stations = vines.shape
        kept = [(dr, ds) for dr, ds in offsets if dr < rows and abs(ds) < stations]
        pad = max([abs(ds) for _, ds in kept], default=0)
        self.stride: int = stations + max(pad, 1)
        self.vines: int = int(vines.sum())
        self.words: int = -(-rows * self.stride // 64)
        self.shifts: list[int] = [dr * self.stride + ds for dr, ds in kept]
        row, station = np.nonzero(vines)
        place = row * self.stride + station
        self._word = place // 64
        self._bit = np.uint64(1) << (place % 64).astype(np.uint64)
        self.mask: Words = np.zeros(self.words, dtype=np.uint64)
        np.bitwise_or.at(self.mask, self._word, self._bit)

    def pack(self, labels: NDArray[np.bool_]) -> Words:
        """Return labels of the vines that count, in grid order, as (1, words)."""
        out = np.zeros((1, self.words), dtype=np.uint64)
        np.bitwise_or.at(out[0], self._word[labels], self._bit[labels])
        return out

    def draw(self, cases: int, count: int, rng: np.random.Generator) -> Words:
        """Draw labellings with exactly `cases` bits set, (count, words)."""
        bits, chance = _recipe(cases, self.vines, self.words)
        found = np.zeros((count, self.words), dtype=np.uint64)
        for bit in bits:
            word = rng.integers(0, 2**64, size=found.shape, dtype=np.uint64, endpoint=False)
            if bit:
                found |= word
            else:
                found &= word
        if chance:
            found &= self.mask
        self._settle(found, cases, rng)
        return found

    def _settle(self, found: Words, cases: int, rng: np.random.Generator) -> None:
        """Add or remove uniform vines until every labelling has exactly `cases`."""
        need = cases - np.bitwise_count(found).sum(axis=1, dtype=np.int64)
        for line in np.flatnonzero(need < 0).tolist():
            held = np.flatnonzero(found[line, self._word] & self._bit)
            gone = rng.permutation(held)[: -need[line]]
            np.bitwise_and.at(found[line], self._word[gone], ~self._bit[gone])
        need = np.maximum(need, 0)
        while need.any():
            owner = np.repeat(np.arange(len(need)), need)
            pick = rng.integers(0, self.vines, size=owner.size)
            np.bitwise_or.at(found.reshape(-1), owner * self.words + self._word[pick], self._bit[pick])
            open_lines = np.flatnonzero(need)
            counted = np.bitwise_count(found[open_lines]).sum(axis=1, dtype=np.int64)
            need[open_lines] = cases - counted

    def shifted(self, found: Words, shift: int) -> Words:
        """Return the string moved so that each bit meets its neighbor `shift` bits on."""
        whole, part = divmod(shift, 64)
        out = np.zeros_like(found)
        if whole >= self.words:
            return out
        keep = self.words - whole
        if part == 0:
            out[:, :keep] = found[:, whole:]
            return out
        np.right_shift(found[:, whole:], np.uint64(part), out=out[:, :keep])
        out[:, : keep - 1] |= found[:, whole + 1 :] << np.uint64(64 - part)
        return out

    def count(self, found: Words) -> NDArray[np.int64]:
        """Count the joins whose both ends are set, over all offsets, (labellings,) array."""
        total = np.zeros(len(found), dtype=np.int64)
        for shift in self.shifts:
            total += np.bitwise_count(found & self.shifted(found, shift)).sum(axis=1, dtype=np.int64)
        return total

    def batches(self, cases: int, permutations: int, rng: np.random.Generator) -> Iterator[Words]:
        """Yield labellings in batches; the batch size is part of what a seed means."""
        size = max(1, BATCH_WORDS // max(1, self.words))
        for start in range(0, permutations, size):
            yield self.draw(cases, min(size, permutations - start), rng)


class StratifiedBits:
    """Labellings of a block in which every stratum keeps its number of cases, as strings of bits.

    Parameters
    ----------
    vines, cases : (rows, stations) bool array
        The vines that count, and the labels seen.
    strata : (rows, stations) int array
        The stratum of each vine.
    offsets : sequence of (int, int)
        Half-plane offsets whose joins will be counted.
    """

    def __init__(
        self,
        vines: NDArray[np.bool_],
        cases: NDArray[np.bool_],
        strata: NDArray[np.int64],
        offsets: Sequence[tuple[int, int]],
    ) -> None:
        self.block: BitBlock = BitBlock(vines, offsets)
        self.fixed: Words = np.zeros(self.block.words, dtype=np.uint64)  # strata in which every vine is a case
        self.parts: list[tuple[BitBlock, int]] = []
        for code in np.unique(strata[vines]).tolist():
            inside = vines & (strata == code)
            part, held = BitBlock(inside, offsets), int(cases[inside].sum())
            if held == part.vines:
                self.fixed |= part.mask
            elif held:
                self.parts.append((part, held))

    def count(self, permutations: int, rng: np.random.Generator) -> NDArray[np.int64]:
        """Count the joins of so many labellings, (permutations,) array."""
        size = max(1, BATCH_WORDS // max(1, self.block.words))
        counted = [np.empty(0, dtype=np.int64)]
        for start in range(0, permutations, size):
            many = min(size, permutations - start)
            drawn = np.tile(self.fixed, (many, 1))
            for part, held in self.parts:
                drawn |= part.draw(held, many, rng)
            counted.append(self.block.count(drawn))
        return np.concatenate(counted)


def _recipe(cases: int, vines: int, words: int) -> tuple[list[int], float]:
    """Choose how many random words to mix: their chance stays three deviations below cases/vines."""
    best: tuple[float, list[int], float] = (cases * 20.0, [], 0.0)
    for depth in range(1, 11):
        share = cases / vines
        spread = 3 * np.sqrt(max(share * (1 - share), 1e-12) / vines)
        units = int((share - spread) * 2**depth)
        if units <= 0:
            continue
        chance = units / 2**depth
        bits = [(units >> place) & 1 for place in range(depth)]
        first = bits.index(1)
        used = bits[first:]
        cost = len(used) * words * 2.5 + (cases - chance * vines) * 20.0
        if cost < best[0]:
            best = (cost, used, chance)
    return best[1], best[2]


def plain_labellings(
    cases: int, vines: int, permutations: int, rng: np.random.Generator, chunk: int = 256
) -> Iterator[NDArray[np.bool_]]:
    """Yield labellings of `cases` among `vines` as (chunk, vines) bool arrays."""
    for start in range(0, permutations, chunk):
        keys = rng.random((min(chunk, permutations - start), vines))
        labels = np.zeros(keys.shape, dtype=bool)
        if cases:
            picked = np.argpartition(keys, cases - 1, axis=1)[:, :cases] if cases < vines else np.arange(vines)
            np.put_along_axis(labels, np.broadcast_to(picked, (len(keys), cases)), True, axis=1)
        yield labels


def stratified_labellings(
    labels: NDArray[np.bool_],
    strata: NDArray[np.int64],
    permutations: int,
    rng: np.random.Generator,
    chunk: int = 256,
) -> Iterator[NDArray[np.bool_]]:
    """Yield labellings in which every stratum keeps its number of cases, (chunk, vines) bool arrays.

    Parameters
    ----------
    labels, strata : (vines,) array
        The labels seen and the stratum of each vine.
    """
    groups = [np.flatnonzero(strata == code) for code in np.unique(strata)]
    for start in range(0, permutations, chunk):
        size = min(chunk, permutations - start)
        out = np.zeros((size, labels.size), dtype=bool)
        for group in groups:
            (drawn,) = plain_labellings(int(labels[group].sum()), group.size, size, rng, chunk=size)
            out[:, group] = drawn
        yield out


def null_joins(
    cases: NDArray[np.bool_],
    vines: NDArray[np.bool_],
    joins: Joins,
    order: int,
    permutations: int,
    rng: np.random.Generator,
    strata: NDArray[np.int64] | None = None,
) -> NDArray[np.int64]:
    """Count case-case joins of relabelled maps.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array
        The map.
    joins, order : see `trunkwatch.stats.joins.half_offsets`
        Which vines are joined; pairs of cells are taken too.
    permutations : int
        How many labellings.
    strata : (rows, stations) int array, optional
        Labels move only inside a stratum.

    Returns
    -------
    (permutations,) int64 array
    """
    if strata is not None and not isinstance(joins, np.ndarray):
        return StratifiedBits(vines, cases, strata, half_offsets(joins, order)).count(permutations, rng)
    if strata is None and not isinstance(joins, np.ndarray):
        block = BitBlock(vines, half_offsets(joins, order))
        many = int(cases.sum())
        parts = [block.count(found) for found in block.batches(many, permutations, rng)]
        return np.concatenate(parts) if parts else np.empty(0, dtype=np.int64)
    pairs = joined_pairs(joins, vines, order)
    place = np.full(vines.size, -1, dtype=np.int64)
    flat = np.flatnonzero(vines)
    place[flat] = np.arange(flat.size)
    left, right = place[pairs[:, 0]], place[pairs[:, 1]]
    labels = cases.ravel()[flat]
    if strata is None:
        drawn = plain_labellings(int(labels.sum()), flat.size, permutations, rng)
    else:
        drawn = stratified_labellings(labels, strata.ravel()[flat], permutations, rng)
    parts = [(found[:, left] & found[:, right]).sum(axis=1, dtype=np.int64) for found in drawn]
    return np.concatenate(parts) if parts else np.empty(0, dtype=np.int64)

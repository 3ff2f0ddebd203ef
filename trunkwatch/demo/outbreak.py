"""What really happens in a simulated block: infection, symptoms, cold, death, work.

The truth is kept apart from what scouts write down (`trunkwatch.demo.notes`). Only
``Generator.random`` draws are used, whose stream is fixed for a seed, so that the same seed
gives the same block everywhere.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from trunkwatch.demo.blocks import DemoBlock

__all__ = ["COLD_SEASON", "Outbreak", "layout", "simulate"]

COLD_SEASON = 2021
DEATH_AFTER_SYMPTOMS = 0.02
MISSING_AT_START = 0.02
ARM_RENEWED = 0.35
TRUNK_RENEWED = 0.03
REPLANTED = 0.7

Flags = NDArray[np.bool_]


@dataclass(slots=True)
class Outbreak:
    """The truth of one block, (seasons, rows, stations) arrays of what is there to see.

    Attributes
    ----------
    exists : (rows, stations) bool array
        Cells with a position.
    empty : bool array
        No plant at the looks of the season.
    dead : bool array
        A dead vine stands there.
    infected : bool array
        Infected, seen or not.
    leaf, arm, winter : bool array
        Striped leaves this summer; an arm that died of disease since last winter; an arm or
        trunk killed by the cold of the winter.
    renewed_arm, renewed_trunk, replanted : bool array
        Work done in the winter of the season.
    """

    exists: Flags
    seasons: tuple[int, ...]
    empty: Flags = field(init=False)
    dead: Flags = field(init=False)
    infected: Flags = field(init=False)
    leaf: Flags = field(init=False)
    arm: Flags = field(init=False)
    winter: Flags = field(init=False)
    renewed_arm: Flags = field(init=False)
    renewed_trunk: Flags = field(init=False)
    replanted: Flags = field(init=False)

    def __post_init__(self) -> None:
        shape = (len(self.seasons), *self.exists.shape)
        for name in (
            "empty",
            "dead",
            "infected",
            "leaf",
            "arm",
            "winter",
            "renewed_arm",
            "renewed_trunk",
            "replanted",
        ):
            setattr(self, name, np.zeros(shape, dtype=bool))


def layout(block: DemoBlock) -> tuple[list[int], list[int]]:
    """Return start station and length of every row: a slanted headland and rows of odd length."""
    starts = [
        round(max(0.0, block.slant * row) + max(0.0, -block.slant) * (block.rows - 1 - row))
        for row in range(block.rows)
    ]
    ends = [block.vines - (row * 7) % 4 for row in range(block.rows)]
    return starts, [end - start for start, end in zip(starts, ends, strict=True)]


def _grid(block: DemoBlock) -> tuple[Flags, int]:
    """Return the cells that hold a position, and how many stations the alley takes."""
    starts, lengths = layout(block)
    alley = 2 if block.alley_after else 0
    exists = np.zeros((block.rows, block.vines + alley), dtype=bool)
    for row, (start, length) in enumerate(zip(starts, lengths, strict=True)):
        for position in range(1, length + 1):
            station = start + position - 1 + (alley if block.alley_after and position > block.alley_after else 0)
            exists[row, station] = True
    return exists, alley


def _foci(block: DemoBlock, exists: Flags, rng: np.random.Generator) -> Flags:
    """Infect patches of the planting stock: most vines within two rows and three stations of a centre."""
    infected = np.zeros_like(exists)
    rows, stations = np.indices(exists.shape)
    for _ in range(block.foci):
        row, station = rng.random() * exists.shape[0], rng.random() * exists.shape[1]
        near = ((rows - row) / 1.9) ** 2 + ((stations - station) / 3.4) ** 2 <= 1
        infected |= near & (rng.random(exists.shape) < 0.8)
    return infected & exists


def _along(source: Flags) -> NDArray[np.int64]:
    """Count the neighbours along the row that are a source; an alley or a gap is no neighbour."""
    count = np.zeros(source.shape, dtype=np.int64)
    count[:, 1:] += source[:, :-1]
    count[:, :-1] += source[:, 1:]
    return count


def simulate(block: DemoBlock, seasons: tuple[int, ...], rng: np.random.Generator) -> Outbreak:
    """Let a block live through its seasons.

    Parameters
    ----------
    block : DemoBlock
        Layout and truth.
    seasons : tuple of int
        Consecutive years of harvest.
    rng : numpy Generator
        Chance.
    """
    exists, _ = _grid(block)
    truth = Outbreak(exists, seasons)
    shape = exists.shape
    empty = exists & (rng.random(shape) < MISSING_AT_START)
    infected = _foci(block, exists, rng) | (exists & (rng.random(shape) < block.at_planting))
    infected &= ~empty
    dead = np.zeros(shape, dtype=bool)
    arm_open = np.zeros(shape, dtype=bool)  # an arm died and was not renewed yet
    shown = np.zeros(shape, dtype=bool)
    for number, season in enumerate(seasons):
        draws = rng.random((8, *shape))
        renew_arm = arm_open & ~dead & (draws[0] < ARM_RENEWED)
        renew_trunk = shown & ~arm_open & ~dead & (draws[1] < TRUNK_RENEWED)
        replant = (dead | empty) & (draws[2] < REPLANTED * (0.6 if number else 0.0))
        truth.renewed_arm[number], truth.renewed_trunk[number], truth.replanted[number] = (
            renew_arm,
            renew_trunk,
            replant,
        )
        arm_open &= ~renew_arm
        infected &= ~renew_trunk & ~replant
        shown &= ~renew_trunk & ~replant
        dead &= ~replant
        empty &= ~replant
        living = exists & ~empty & ~dead
        hazard = 1 - (1 - block.background) * (1 - block.along) ** _along(shown & living)
        infected |= living & ~replant & (draws[3] < hazard) if number else np.zeros(shape, dtype=bool)
        truth.winter[number] = _cold(block, season, living, draws[4])
        truth.arm[number] = infected & living & ~arm_open & (draws[5] < block.arm_death)
        arm_open |= truth.arm[number] | truth.winter[number]
        truth.leaf[number] = infected & living & (draws[6] < block.express)
        newly_dead = living & shown & (draws[7] < DEATH_AFTER_SYMPTOMS)
        truth.leaf[number] &= ~newly_dead
        dead |= newly_dead
        arm_open &= ~newly_dead
        infected &= ~newly_dead
        shown = (shown | truth.leaf[number] | truth.arm[number]) & ~newly_dead
        truth.empty[number], truth.dead[number], truth.infected[number] = empty, dead, infected
    return truth


def _cold(block: DemoBlock, season: int, living: Flags, draw: NDArray[np.float64]) -> Flags:
    """Kill arms and trunks in the low corner (first row, first station) in the one cold winter."""
    if not block.low_corner_kill or season != COLD_SEASON:
        return np.zeros_like(living)
    rows, stations = np.indices(living.shape)
    away = np.hypot(rows / living.shape[0], stations / living.shape[1])
    return np.asarray(living & (draw < block.low_corner_kill * np.exp(-((away / 0.45) ** 2))))

"""Cases beside a vine at risk. trunkwatch.yearly: exposure."""

import numpy as np
import pytest

from trunkwatch.yearly.exposure import before_and_later, kernel_exposure, ring_exposure, sources
from trunkwatch.yearly.steps import first_cases

SHAPE = (4, 3, 5)


def _block(first):
    """Cases noted once, in the season given (-1 never), all vines looked at."""
    case = np.arange(SHAPE[0])[:, None, None] == first[None]
    along, across = np.meshgrid(np.arange(5) * 1.2, np.arange(3) * 2.5)
    plant = np.ones(SHAPE, dtype=int)
    steps = first_cases(case, np.ones(SHAPE, dtype=bool), plant, np.arange(4) + 2001, along_m=along, across_m=across)
    return case, plant, along, across, steps


def _at(steps, values, cell, season):
    return values[(steps.cell == cell) & (steps.season == season)][0].tolist()


def test_rings_by_hand():
    first = np.full((3, 5), -1)
    first[1, 2], first[1, 1], first[0, 3] = 0, 1, 2
    case, plant, _, _, steps = _block(first)
    rings = ring_exposure(steps, sources(case, plant))
    assert rings.names == ("along", "along_2", "across", "diagonal")
    assert _at(steps, rings.values, 8, 1) == [1, 0, 0, 0]  # beside the first case
    assert _at(steps, rings.values, 8, 2) == [1, 1, 0, 0]
    assert _at(steps, rings.values, 8, 3) == [1, 1, 1, 0]
    assert _at(steps, rings.values, 2, 2) == [0, 0, 1, 1]
    showing = ring_exposure(steps, sources(case, plant, ever=False))
    assert _at(steps, showing.values, 8, 2) == [0, 1, 0, 0]
    assert rings.column("across")[(steps.cell == 8) & (steps.season == 3)] == 1
    with pytest.raises(ValueError, match="no exposure 'near'"):
        rings.column("near")


def test_sources_end_with_removal_renewal_and_replanting():
    case = np.zeros((5, 1, 3), dtype=bool)
    case[0] = True
    case[3, 0, 1] = True
    plant = np.ones((5, 1, 3), dtype=int)
    plant[2:, 0, 0] = 2
    plant[4, 0, 2] = 0
    cleared = np.zeros((5, 1, 3), dtype=bool)
    cleared[1, 0, 1] = True
    stands = sources(case, plant, cleared=cleared)
    assert stands[:, 0].T.astype(int).tolist() == [[1, 1, 0, 0, 0], [1, 0, 0, 1, 1], [1, 1, 1, 1, 0]]
    with pytest.raises(ValueError, match="one shape"):
        sources(case, plant[:2])


def test_kernel_is_the_sum_over_sources():
    rng = np.random.default_rng(3)
    case, plant, along, across, steps = _block(np.where(rng.random((3, 5)) < 0.5, rng.integers(0, 4, (3, 5)), -1))
    stands = sources(case, plant)
    got = kernel_exposure(steps, stands, along_m=along, across_m=across, range_m=2.0)
    for line in range(0, len(steps), 3):
        row, station = divmod(int(steps.cell[line]), 5)
        apart = np.hypot(along - along[row, station], across - across[row, station])
        part = np.exp(-apart / 2.0) * stands[steps.season[line] - 1]
        part[row, station] = 0.0
        own = part[row].sum()
        assert got.values[line] == pytest.approx([own, part.sum() - own])
    with pytest.raises(ValueError, match="range_m is 0"):
        kernel_exposure(steps, stands, along_m=along, across_m=across, range_m=0)
    with pytest.raises(ValueError, match="along_m"):
        kernel_exposure(steps, stands, along_m=along[0], across_m=across, range_m=1)


def test_before_and_later_leave_out_the_same_season():
    first = np.full((3, 5), -1)
    first[0, :4] = [0, 2, 2, 3]
    case, plant, _, _, steps = _block(first)
    both = before_and_later(steps, case, plant)
    assert both.names[:2] == ("along before", "along later")
    one = both.values[:, :2]
    assert _at(steps, one, 1, 1) == [1, 1]
    assert _at(steps, one, 1, 2) == [1, 0]  # its other neighbor is noted in the same season
    assert _at(steps, one, 2, 2) == [0, 1]
    assert _at(steps, one, 4, 2) == [0, 1]
    assert _at(steps, one, 4, 3) == [0, 0]


def test_another_plant_is_neither_before_nor_later():
    first = np.full((3, 5), -1)
    first[0, 0], first[0, 2] = 0, 3
    case, _, along, across, _ = _block(first)
    plant = np.ones(SHAPE, dtype=int)
    plant[2:, 0, 0] = plant[3, 0, 2] = 2
    steps = first_cases(case, np.ones(SHAPE, dtype=bool), plant, np.arange(4), along_m=along, across_m=across)
    one = before_and_later(steps, case, plant).values[:, :2]
    assert [_at(steps, one, 1, season) for season in (1, 2, 3)] == [[1, 0], [0, 0], [0, 0]]


def test_pairs_of_your_own_and_wrong_shapes():
    first = np.full((3, 5), -1)
    first[0, 0] = 0
    case, plant, _, _, steps = _block(first)
    drift = ring_exposure(steps, sources(case, plant), pairs={"across": np.array([[0, 6]])})
    assert drift.values[steps.cell == 6].tolist() == [[1], [1], [1]]
    assert drift.values[steps.cell != 6].sum() == 0
    with pytest.raises(ValueError, match="sources are"):
        ring_exposure(steps, sources(case, plant)[:2])

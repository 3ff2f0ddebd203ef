"""One plant for each position. trunkwatch.yearly: plant_records."""

import numpy as np
import pytest

from trunkwatch.yearly.plant_records import plant_records

ALL = np.ones((5, 1, 4), dtype=bool)


def _column(*lines):
    return np.array(lines).T[:, None, :]


def test_the_plant_with_the_most_looks_stands_for_its_position():
    plant = _column([1, 1, 2, 2, 2], [1, 1, 1, 2, 2], [0, 0, 0, 0, 0], [1, 1, 1, 1, 1])
    case = _column([1, 0, 0, 1, 1], [0, 0, 1, 1, 1], [0, 0, 0, 0, 0], [0, 0, 0, 0, 0]).astype(bool)
    told = plant_records(case, ALL, plant)
    assert told.first.tolist() == [[3, 2, -1, -1]]
    assert told.noted.tolist() == [[2, 1, 0, 0]]
    assert told.start.tolist() == [[2, 0, 0, 0]]
    assert told.end.tolist() == [[4, 2, -1, 4]]
    assert told.vines.tolist() == [[True, True, False, True]]


def test_a_record_ends_where_the_plant_was_cut_clean():
    case = _column([0, 1, 0, 1, 1], [0, 0, 0, 0, 0], [0, 0, 0, 0, 1], [1, 0, 0, 0, 0]).astype(bool)
    cleared = np.zeros(ALL.shape, dtype=bool)
    cleared[1, 0, 0] = True
    cleared[0, 0, 3] = True
    plant = _column([1] * 5, [1] * 5, [1] * 5, [1, 1, 2, 2, 2])
    told = plant_records(case, ALL, plant, cleared=cleared)
    assert told.end.tolist() == [[1, 4, 4, 4]]
    assert told.start.tolist() == [[0, 0, 0, 2]]
    assert told.first.tolist() == [[1, -1, 4, -1]]


def test_seasons_without_a_look_are_no_seasons_of_the_record():
    looked = ALL.copy()
    looked[[0, 2, 4], 0, 1] = False
    case = np.zeros(ALL.shape, dtype=bool)
    case[3, 0, 1] = True
    told = plant_records(case, looked, np.ones(ALL.shape, dtype=int))
    assert (told.start[0, 1], told.end[0, 1], told.first[0, 1]) == (1, 3, 3)


def test_wrong_arguments_name_the_value():
    with pytest.raises(ValueError, match="one shape of three"):
        plant_records(ALL, ALL, np.ones((2, 2)))
    with pytest.raises(ValueError, match="20 case"):
        plant_records(ALL, ~ALL, np.ones(ALL.shape))

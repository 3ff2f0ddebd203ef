"""Small parts of tests/calibration/spread_on_worlds.py and sizes.py, with wide gates."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

FOLDER = Path(__file__).parents[1] / "calibration"


def module(name):
    spec = importlib.util.spec_from_file_location(name, FOLDER / f"{name}.py")
    found = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(found)
    return found


@pytest.mark.long
def test_spread_is_found_where_it_is_and_claimed_nowhere_else():
    """Twelve seasons, 8 blocks a world: 3 % a world of these would bring 5 false claims once in 4,000 runs."""
    worlds = module("spread_on_worlds")

    def says(name):
        return [worlds.judge((name, seed, 12, (24, 100)))[1].says for seed in range(5000, 5008)]

    still = [says(name) for name in ("scattered", "foci", "rootstock_unknown", "replant_batches", "changing_crew")]
    assert sum(said.count("for") for said in still) <= 4
    along = says("along")
    assert along.count("for") >= 5  # a true 95 %
    assert "against" not in along
    assert says("falling").count("against") >= 2  # a true 70 %


@pytest.mark.long
def test_sizes_are_kept():
    """300 random blocks: more than 27 of a true 5 % come once in 1,000 runs."""
    sizes = module("sizes")
    found = [sizes.sizes(((12, 40), 0.08, seed)) for seed in range(9000, 9300)]
    for name in found[0]:
        assert np.sum([one[name][0] <= 0.05 for one in found]) <= 27, name

"""Fixtures that several test files share."""

import importlib.util
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings
from numpy.typing import NDArray
from pg_server import shared_server  # noqa: F401 - a fixture

# A slow machine is no fault: no example has a deadline of its own.
settings.register_profile("patient", deadline=None, derandomize=True)
settings.load_profile("patient")

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture
def rng() -> np.random.Generator:
    """A generator that starts the same way in every test."""
    return np.random.default_rng(20260117)


@pytest.fixture
def open_data() -> Path:
    """The folder of published open maps, kept beside the checkout, never inside it."""
    folder = Path(os.environ.get("TRUNKWATCH_OPEN_DATA", ROOT.parent / "shared" / "data"))
    if not folder.is_dir():
        pytest.skip("the open maps are not beside this checkout (set TRUNKWATCH_OPEN_DATA)")
    return folder


@pytest.fixture
def grid_a() -> NDArray[np.bool_]:
    """A made-up asymmetric map of 8 rows x 12 positions, 17 cases, two foci of six."""
    text = """
        001100000100
        001110000000
        000100000001
        000000100000
        100000000000
        000000011000
        010000011100
        000000001000
    """
    return np.array([[c == "1" for c in line] for line in text.split()])


@pytest.fixture
def grid_n(grid_a: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The nine new cases of the year after `grid_a`, (row, position) from 1."""
    new = np.zeros_like(grid_a)
    for row, position in [(1, 5), (1, 11), (2, 6), (3, 5), (4, 2), (5, 12), (6, 10), (7, 11), (8, 8)]:
        new[row - 1, position - 1] = True
    return new


@pytest.fixture
def gap_mask(grid_a: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The vines of `grid_a` with five missing ones, none of them a case."""
    mask = np.ones_like(grid_a)
    for row, position in [(1, 6), (3, 9), (5, 5), (6, 3), (8, 12)]:
        mask[row - 1, position - 1] = False
    return mask


@pytest.fixture
def golden():
    """The worked example of `tests/golden.py`, loaded by path: tests are no package."""
    spec = importlib.util.spec_from_file_location("golden", ROOT / "tests" / "golden.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module

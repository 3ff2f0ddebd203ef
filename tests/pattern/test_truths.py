"""A small part of tests/calibration/sample_truths.py, with a wide gate."""

import importlib.util
from pathlib import Path

import pytest

PATH = Path(__file__).parents[1] / "calibration" / "sample_truths.py"


@pytest.mark.long
def test_ten_seeds_of_each_block():
    """Right in at least 7 of 10: a true 95 % falls below that in fewer than 1 of 900 runs."""
    spec = importlib.util.spec_from_file_location("sample_truths", PATH)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    for number, block in enumerate(module.BLOCKS):
        right = 0
        for seed in range(1001, 1011):
            words = module.words_of(number, seed)
            right += module.is_right(block.truth, {word.split(" (")[0] for word in words} | set(words))
        assert right >= 7, block.label

"""trunkwatch.stats: labels, result, and the public names: what comes in, what comes out, and what is promised of each name."""

import inspect
import json
import subprocess
import sys
from dataclasses import is_dataclass

import numpy as np
import pandas as pd
import pytest

from trunkwatch import stats
from trunkwatch.stats.result import Result

CASES = np.zeros((4, 6), dtype=bool)
CASES[1, 1:4] = True
VINES = np.ones((4, 6), dtype=bool)
VINES[3, 5] = False


def test_every_public_name_is_there_and_explained():
    assert len(stats.__all__) == len(set(stats.__all__)) > 80
    for name in stats.__all__:
        found = getattr(stats, name)
        assert inspect.getdoc(found), name
        if inspect.isfunction(found):
            text = inspect.getdoc(found)
            assert len(text.splitlines()[0]) > 15, name
            hints = inspect.signature(found)
            assert all(one.annotation is not inspect.Parameter.empty for one in hints.parameters.values()), name
            assert hints.return_annotation is not inspect.Signature.empty, name
    assert set(stats.__all__) <= set(dir(stats))
    with pytest.raises(AttributeError, match="no attribute 'no_such'"):
        stats.no_such  # noqa: B018


def test_functions_are_named_as_promised():
    named = "join_count new_near_old runs nearest_neighbour lag_pairs dispersion scan incidence wilson foci clark_evans"
    for name in named.split():
        assert inspect.isfunction(getattr(stats, name)), name


def test_all_names_come_with_a_star_and_their_modules_load_when_asked():
    lines = (
        "import sys, trunkwatch.stats as s",
        "print('scipy' in sys.modules)",
        "from trunkwatch.stats import *",
        "print(join_count.__module__, scan.__name__)",
    )
    done = subprocess.run([sys.executable, "-c", "\n".join(lines)], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "trunkwatch.stats.join_counts", "scan"]


def test_a_masked_cell_does_not_count_whatever_lies_under_the_mask():
    plain = stats.join_count(CASES & VINES, VINES, permutations=0)
    under = CASES.copy()
    under[3, 5] = True  # a case under the mask
    masked = np.ma.array(under, mask=~VINES)
    found = stats.join_count(masked, np.ones_like(VINES), permutations=0)
    assert (
        (found.n_vines, found.n_cases, found.case_case) == (23, 3, 2) == (plain.n_vines, plain.n_cases, plain.case_case)
    )
    both = stats.join_count(CASES, np.ma.array(np.ones_like(VINES), mask=~VINES), permutations=0)
    assert (both.n_vines, both.expected_case_case) == (23, plain.expected_case_case)


def test_a_wide_table_serves_and_its_empty_cells_hold_no_vine():
    wide = pd.DataFrame(CASES.astype(float)).where(pd.DataFrame(VINES))
    found = stats.join_count(wide, np.ones_like(VINES), permutations=0)
    assert (found.n_vines, found.n_cases) == (23, 3)
    objects = wide.astype(object).where(wide.notna(), None)
    assert stats.join_count(objects, VINES, permutations=0).n_vines == 23
    with pytest.raises(ValueError, match="holds values other than 0 and 1"):
        stats.join_count(wide + 1, VINES)


def test_a_case_where_no_vine_counts_is_still_refused():
    outside = CASES.copy()
    outside[3, 5] = True
    with pytest.raises(ValueError, match="outside the vines that count"):
        stats.join_count(outside, VINES)


RESULTS = {
    "join_count": lambda: stats.join_count(CASES, VINES, permutations=99, rng=1),
    "runs": lambda: stats.runs(CASES, VINES),
    "scan": lambda: stats.scan(CASES, VINES, row_spacing=2.5, vine_spacing=1.5, permutations=19, rng=1),
    "incidence": lambda: stats.incidence(3, 23),
    "foci": lambda: stats.foci(CASES, VINES, permutations=19, rng=1),
    "nearest_neighbour": lambda: stats.nearest_neighbour(
        CASES, VINES, row_spacing=2.5, vine_spacing=1.5, permutations=19, rng=1
    ),
}


@pytest.mark.parametrize("name", RESULTS)
def test_a_result_becomes_a_dictionary_a_line_and_a_notebook_table(name):
    found = RESULTS[name]()
    assert isinstance(found, Result)
    data = found.to_dict()
    assert json.loads(json.dumps(data)) == json.loads(json.dumps(data))
    assert set(data) == {field for field in found.__dataclass_fields__}  # noqa: C416
    frame = found.to_frame()
    assert len(frame) == 1
    single = [key for key, value in data.items() if not isinstance(value, list | dict)]
    assert list(frame.columns) == single
    assert frame.iloc[0][single[0]] == pytest.approx(data[single[0]], nan_ok=True)
    page = found._repr_html_()
    assert page.startswith("<table><caption>")
    assert all(f"<th>{key}</th>" in page for key in data)
    assert len(str(found).splitlines()) == 1


def test_every_public_result_can_do_that():
    results = [getattr(stats, name) for name in stats.__all__ if is_dataclass(getattr(stats, name))]
    assert len(results) > 40
    assert [one.__name__ for one in results if not issubclass(one, Result)] == []
    assert [one.__name__ for one in results if not one.__dataclass_params__.frozen] == []

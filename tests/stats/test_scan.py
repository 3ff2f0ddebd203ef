"""trunkwatch.stats.scan_statistic and trunkwatch.stats.scan_windows: against a plain loop over windows."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trunkwatch.stats.chance import generator, permutation_pvalue
from trunkwatch.stats.relabelling import plain_labellings
from trunkwatch.stats.scan_statistic import log_likelihood_ratio, scan
from trunkwatch.stats.scan_windows import nested_windows

FAMILIES = ("circles", "ellipses", "segments")
#: A corner cut off, an alley across, an alley along, single gaps.
SHAPES = {
    "corner": ["111111110000", "111111111000", "111111111100", "111111111110", "111111111111"],
    "alleys": ["1111001111", "1101001111", "0000000000", "1111001011", "1111001111", "1111000111"],
    "one row": ["1110111111011111110"],
    "one station": ["1", "1", "0", "1", "1", "1", "1"],
}


def masked(name):
    return np.array([[cell == "1" for cell in line] for line in SHAPES[name]])


def with_cases(vines, many, seed):
    cases = np.zeros_like(vines)
    cases.ravel()[np.random.default_rng(seed).choice(np.flatnonzero(vines), many, replace=False)] = True
    return cases


def looped(vines, row_m, vine_m, family, most, radius):
    """List the vines of every window, one at a time: (centre, vines) as numbers in grid order."""
    cells = [tuple(cell) for cell in np.argwhere(vines).tolist()]
    number = {cell: n for n, cell in enumerate(cells)}
    found = []
    for n, (row, station) in enumerate(cells):
        if family == "segments":
            inside = [n]
            while (row, station + len(inside)) in number:
                inside.append(number[row, station + len(inside)])
                found.append((n, tuple(inside)))
            continue
        squeeze = 2 if family == "ellipses" else 1
        away = [round(math.hypot((r - row) * row_m, (s - station) * vine_m / squeeze), 6) for r, s in cells]
        reaches = sorted({one for one in away if 0 < one <= radius})
        found += [(n, tuple(m for m in range(len(cells)) if away[m] <= reach)) for reach in reaches]
    return [(n, inside) for n, inside in found if 2 <= len(inside) <= most]


def looped_highest(windows, labels):
    """Highest ratio by the plain formula, and the first window that has it."""
    cases, vines = int(labels.sum()), labels.size
    ratios = [
        float(log_likelihood_ratio(labels[list(inside)].sum(), len(inside), cases, vines)) for _, inside in windows
    ]
    top = max(ratios)
    return top, windows[next(i for i, ratio in enumerate(ratios) if ratio >= top - 1e-9)]


@pytest.mark.parametrize("share", [0.3, 0.5, 1.0])
@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("name", SHAPES)
def test_all_windows_of_a_plain_loop_and_no_other(name, family, share):
    vines = masked(name)
    cases = with_cases(vines, 4, 1)
    windows = looped(vines, 2.5, 1.2, family, int(share * vines.sum()), 6.0)
    asked = {"row_spacing": 2.5, "vine_spacing": 1.2, "family": family, "max_share": share, "max_radius": 6.0}
    found = scan(cases, vines, **asked, permutations=19, rng=7)
    if not windows:
        assert found.reason == "no window holds two vines or more"
        return
    assert found.n_windows == len(windows)
    (drawn,) = plain_labellings(4, int(vines.sum()), 19, generator(7))
    null = [looped_highest(windows, labels)[0] for labels in drawn]
    assert found.null_distribution == pytest.approx(null, abs=1e-9)
    top, (centre, inside) = looped_highest(windows, cases[vines])
    assert found.statistic == pytest.approx(top, abs=1e-9)
    assert found.pvalue == permutation_pvalue(top, null)
    cells = np.argwhere(vines)
    assert found.windows[0].centre == tuple(cells[centre])
    assert sorted(found.windows[0].cells) == sorted(tuple(cells[n]) for n in inside)


@pytest.mark.parametrize("family", FAMILIES)
def test_further_windows_are_the_strongest_that_do_not_overlap(family, grid_a, gap_mask):
    cases = grid_a & gap_mask
    found = scan(cases, gap_mask, row_spacing=2.5, vine_spacing=1.2, family=family, permutations=0)
    left = looped(gap_mask, 2.5, 1.2, family, int(0.5 * gap_mask.sum()), max(11 * 1.2, 7 * 2.5) / 2)
    number = {tuple(cell): n for n, cell in enumerate(np.argwhere(gap_mask).tolist())}
    for window in found.windows:
        top, (_, inside) = looped_highest(left, cases[gap_mask])
        assert window.statistic == pytest.approx(top, abs=1e-9)
        assert {number[cell] for cell in window.cells} == set(inside)
        assert (window.vines, window.cases) == (len(inside), cases[gap_mask][list(inside)].sum())
        left = [(n, other) for n, other in left if not set(other) & set(inside)]
    assert len(found.windows) == 5 or looped_highest(left, cases[gap_mask])[0] == 0


@settings(max_examples=40)
@given(st.integers(0, 2**20), st.sampled_from(FAMILIES), st.integers(2, 9), st.integers(2, 9))
def test_any_map_agrees_with_the_plain_loop(seed, family, rows, stations):
    rng = np.random.default_rng(seed)
    vines = rng.random((rows, stations)) > rng.choice([0, 0.1, 0.4])
    vines.ravel()[:3] = True
    cases = with_cases(vines, int(rng.integers(1, vines.sum())), seed)
    windows = looped(vines, 2.0, 1.0, family, int(0.5 * vines.sum()), 4.0)
    found = scan(
        cases, vines, row_spacing=2.0, vine_spacing=1.0, family=family, max_radius=4.0, permutations=9, rng=seed
    )
    if not windows:
        assert found.reason
        return
    (drawn,) = plain_labellings(int(cases.sum()), int(vines.sum()), 9, generator(seed))
    assert found.null_distribution == pytest.approx([looped_highest(windows, d)[0] for d in drawn], abs=1e-9)
    assert found.statistic == pytest.approx(looped_highest(windows, cases[vines])[0], abs=1e-9)
    assert 0.1 <= found.pvalue <= 1


@pytest.mark.parametrize("family", FAMILIES)
def test_more_cases_in_a_window_than_a_byte_holds(family):
    """One row of 900 vines, 499 sick in one stretch."""
    vines = np.ones((1, 900), dtype=bool)
    cases = np.zeros_like(vines)
    cases[0, 200:699] = True
    found = scan(
        cases, vines, row_spacing=2, vine_spacing=1, family=family, max_share=0.9, max_radius=400, permutations=3, rng=1
    )
    assert (found.windows[0].cases, found.windows[0].vines) == (499, 499)
    assert found.statistic == pytest.approx(float(log_likelihood_ratio(499, 499, 499, 900)), abs=1e-8)
    windows = nested_windows(vines, 2.0, 1.0, family, 810, 400.0)
    *_, last = windows.counts(windows.lay(cases[vines][None]))
    assert last.dtype == np.uint16
    assert last.max() == 499


def test_a_seed_gives_the_same_whatever_is_held_at_a_time(grid_a, monkeypatch):
    asked = {"row_spacing": 2.5, "vine_spacing": 1.2, "permutations": 50, "rng": 3}
    whole = scan(grid_a, np.ones_like(grid_a), **asked)
    monkeypatch.setattr("trunkwatch.stats.scan_windows.COUNT_BYTES", 1)
    assert nested_windows(np.ones_like(grid_a), 2.5, 1.2, "circles", 40).chunk == 1
    one_by_one = scan(grid_a, np.ones_like(grid_a), **asked)
    assert np.array_equal(whole.null_distribution, one_by_one.null_distribution)
    assert whole == one_by_one


def test_mirrored_and_wider_maps_have_the_same_windows(grid_a):
    vines = np.ones_like(grid_a)
    asked = {"row_spacing": 2.5, "vine_spacing": 1.2, "permutations": 0, "max_radius": 5.0}
    plain = scan(grid_a, vines, **asked)
    for turned in (grid_a[::-1], grid_a[:, ::-1]):
        assert scan(turned, vines, **asked).statistic == pytest.approx(plain.statistic, abs=1e-12)
    wider = scan(np.pad(grid_a, 3), np.pad(vines, 3), **asked)
    assert (wider.statistic, wider.n_windows) == (plain.statistic, plain.n_windows)


def test_a_p_value_is_never_nought_and_a_map_without_a_test_says_why():
    vines = np.ones((6, 20), dtype=bool)
    cases = np.zeros_like(vines)
    cases[2:4, 5:10] = True
    asked = {"row_spacing": 2.5, "vine_spacing": 1.2, "permutations": 99, "rng": 1}
    assert scan(cases, vines, **asked).pvalue == 0.01
    none = np.zeros_like(vines)
    assert scan(none, vines, **asked).reason == "there is no case"
    assert scan(none, none, **asked).reason == "there is no case"
    assert scan(vines, vines, **asked).reason == "every vine is a case"
    apart = np.zeros_like(vines)
    apart[0, ::2] = True
    alone = scan(apart & cases | (np.arange(20) == 0) & apart, apart, **asked, family="segments")
    assert alone.reason == "no window holds two vines or more"
    assert str(alone) == "scan: no test: no window holds two vines or more"
    assert math.isnan(alone.pvalue)
    assert math.isnan(scan(cases, vines, row_spacing=2, vine_spacing=1, permutations=0).pvalue)
    with pytest.raises(ValueError, match="max_radius is -1 m"):
        scan(cases, vines, row_spacing=2, vine_spacing=1, max_radius=-1)
    with pytest.raises(ValueError, match="family is 'squares'"):
        scan(cases, vines, row_spacing=2, vine_spacing=1, family="squares")


def test_even_cases_have_no_window_that_stands_out():
    """Every second vine of one row: each pair of neighbours holds one case of two, as all the others do."""
    vines = np.ones((1, 8), dtype=bool)
    cases = np.arange(8)[None] % 2 == 0
    found = scan(cases, vines, row_spacing=2, vine_spacing=1, family="segments", max_share=0.25, permutations=9, rng=1)
    assert (found.statistic, found.pvalue) == (0, 1)
    assert found.windows[0].vines == 0

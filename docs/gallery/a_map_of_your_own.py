"""
From a 0/1 map to a figure, p-values and a sentence
===================================================

A published map as it is typed in: a line a row, 1 a sick vine, 0 a vine without symptoms, a dot where no vine stands or nobody scouted. Below: a figure, four
tests of whether the sick vines are bunched, and what to write. The map is invented.
"""

import numpy as np

import trunkwatch as tw

TEXT = """
001100000100
0011100.0000
000100000001
000000100000
1000.0000000
000000011000
01.000011100
00000000100.
"""
cells = np.array([list(line) for line in TEXT.split()])
vines = cells != "."
cases = cells == "1"
print(tw.stats.incidence(int(cases.sum()), int(vines.sum())))

# %%
# The figure
# ----------
# The rows as they lie: 2.5 m between rows, 1.2 m between vines. ``figure.save("map.svg")`` writes it.

figure = tw.draw.map_of(cases, vines, row_spacing=2.5, vine_spacing=1.2, title="Sick vines")

# %%
# Are they bunched?
# -----------------
# The same number of sick vines on the same vines, at random, is what chance would do. One test is chosen beforehand: neighbors along and across (rook).

rook = tw.stats.join_count(cases, vines, joins="rook", permutations=9999, rng=1)
print(rook)

# %%
# In which direction? Along the row the p-value is exact. These two test the same map again: the smaller of them is not news by itself.

for way in ("row", "across"):
    print(way, "-", tw.stats.join_count(cases, vines, joins=way, rng=1))

# %%
# Where? Foci are cases that touch; the scan allows for having searched every place and size.

print(tw.stats.foci(cases, vines, permutations=999, rng=1))
hot = tw.stats.scan(cases, vines, row_spacing=2.5, vine_spacing=1.2, permutations=999, rng=1)
print(hot)
print(
    "center of the strongest window: row",
    hot.windows[0].centre[0] + 1,
    "position",
    hot.windows[0].centre[1] + 1,
)

# %%
# What to write
# -------------
# A sentence with the count, what chance gives, the null hypothesis, and the version.

print(
    f"Sick vines were neighbors in {rook.case_case} pairs, {rook.expected_case_case:.1f} expected under random labelling "
    f"of the {rook.n_vines} vines (join count, rook, 9,999 relabelled maps, p = {rook.pvalue:.4f}; trunkwatch {tw.__version__})."
)

# %%
# How to cite it stands on :doc:`its own page </cite>`; the method is :cite:t:`moran1948` for the moments and :cite:t:`phipson2010` for the p-value.

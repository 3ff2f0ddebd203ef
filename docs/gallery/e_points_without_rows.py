"""
Points that stand on no rows
============================

Where there is no lattice, neighbors are points within a distance. The data are the 188 patients with Burkitt's lymphoma in the West Nile district of Uganda,
1961 to 1975 (Williams et al. 1978), which libpysal brings along: do patients under five live near each other, among all patients? Every patient is a point that
counts, so that where people live does not matter.
"""

import libpysal
import matplotlib.pyplot as plt
import numpy as np

import trunkwatch as tw

file = libpysal.io.open(libpysal.examples.get_path("burkitt.dbf"))
east, north, age = (np.array(file.by_col(name), dtype=float) for name in ("X", "Y", "AGE"))
young = tw.map_of_points(east, north, age < 5, within=5.0)
print(
    int(young.cases.sum()),
    "of",
    int(young.vines.sum()),
    "patients are under five;",
    len(young.joins),
    "pairs live within 5 km",
)

figure, axes = plt.subplots(figsize=(6, 6))
axes.scatter(east, north, s=18, facecolors="none", edgecolors="#5c5a54", label="five and older")
axes.scatter(east[age < 5], north[age < 5], s=40, color="#d65f0a", marker="^", label="under five")
axes.set(xlabel="km east", ylabel="km north", aspect="equal")
axes.legend(frameon=False)
figure.tight_layout()

# %%

print(
    tw.stats.join_count(
        young.cases,
        young.vines,
        joins=young.joins,
        alternative="two-sided",
        permutations=9999,
        rng=1,
    )
)

# %%
# Fewer pairs than chance gives: patients under five live less often beside each other than patients of any age. The distance was chosen beforehand. Whoever tries several must say so, or correct for it.

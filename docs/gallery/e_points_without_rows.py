"""
Points that stand on no rows
============================

Where there is no lattice, neighbors are points within a distance. The data are the 188 patients with Burkitt's lymphoma in the West Nile district of Uganda,
1961 to 1975 (Williams et al. 1978), which libpysal brings along: do patients under five live near each other, among all patients? Every patient is a point that
counts, so that where people live does not matter.
"""

import libpysal
import numpy as np

import trunkwatch as tw

file = libpysal.io.open(libpysal.examples.get_path("burkitt.dbf"))
east, north, age = (np.array(file.by_col(name), dtype=float) for name in ("X", "Y", "AGE"))
young = tw.map_of_points(east, north, age < 5, within=5.0)
print(int(young.cases.sum()), "of", int(young.vines.sum()), "patients are under five;", len(young.joins), "pairs live within 5 km")

# %%

print(tw.stats.join_count(young.cases, young.vines, joins=young.joins, alternative="two-sided", permutations=9999, rng=1))

# %%
# Fewer pairs than chance gives: patients under five live less often beside each other than patients of any age. The distance was chosen beforehand. Whoever tries several must say so, or correct for it.

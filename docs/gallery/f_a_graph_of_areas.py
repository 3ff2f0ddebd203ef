"""
Areas with borders: Columbus
============================

A join count takes any pairs of neighbors. Forty-nine neighborhoods of Columbus, Ohio, are marked "high" where crime is above 35; neighbors share a border or a
corner. The data come with libpysal; esda counts the same joins.
"""

import geopandas
import libpysal
import numpy as np
from esda.join_counts import Join_Counts

import trunkwatch as tw

crime = np.array(libpysal.io.open(libpysal.examples.get_path("columbus.dbf")).by_col("CRIME"))
weights = libpysal.io.open(libpysal.examples.get_path("columbus.gal")).read()
names = {name: number for number, name in enumerate(weights.id_order)}
pairs = sorted(
    {tuple(sorted((names[a], names[b]))) for a, near in weights.neighbors.items() for b in near}
)
print(len(pairs), "pairs of neighbors,", int((crime > 35).sum()), "of", len(crime), "high")
areas = geopandas.read_file(libpysal.examples.get_path("columbus.shp"))
axes = areas.plot(
    color=np.where(crime > 35, "#d65f0a", "#ece7dc"),
    edgecolor="#1e2a33",
    linewidth=0.6,
    figsize=(5, 5),
)
axes.set_axis_off()

# %%
# The cells are one row of 49; ``joins`` names pairs of them.

high = (crime > 35)[None, :]
found = tw.stats.join_count(
    high, np.ones_like(high), joins=np.array(pairs), permutations=9999, rng=1
)
print(found)
theirs = Join_Counts((crime > 35).astype(int), weights, permutations=0)
print(
    f"{found.case_case} joins, {found.expected_case_case:.5f} expected, variance {found.variance_case_case:.5f}, z {found.z:.4f}; esda: {theirs.bb:.0f} joins"
)

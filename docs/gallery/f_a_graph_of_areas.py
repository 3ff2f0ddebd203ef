"""
Areas with borders: Columbus
============================

A join count takes any pairs of neighbors. Forty-nine neighborhoods of Columbus, Ohio, are marked "high" where crime is above 35; neighbors share a border or a
corner. The data come with libpysal; esda counts the same joins.
"""

import libpysal
from esda.join_counts import Join_Counts
import numpy as np

import trunkwatch as tw

crime = np.array(libpysal.io.open(libpysal.examples.get_path("columbus.dbf")).by_col("CRIME"))
weights = libpysal.io.open(libpysal.examples.get_path("columbus.gal")).read()
names = {name: number for number, name in enumerate(weights.id_order)}
pairs = sorted({tuple(sorted((names[a], names[b]))) for a, near in weights.neighbors.items() for b in near})
print(len(pairs), "pairs of neighbors,", int((crime > 35).sum()), "of", len(crime), "high")

# %%
# The cells are one row of 49; ``joins`` names pairs of them.

high = (crime > 35)[None, :]
found = tw.stats.join_count(high, np.ones_like(high), joins=np.array(pairs), permutations=9999, rng=1)
print(found)
theirs = Join_Counts((crime > 35).astype(int), weights, permutations=0)
print(f"{found.case_case} joins, {found.expected_case_case:.5f} expected, variance {found.variance_case_case:.5f}, z {found.z:.4f}; esda: {theirs.bb:.0f} joins")

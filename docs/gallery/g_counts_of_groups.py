"""
Are groups more uneven than chance?
===================================

Counts of groups vary more than binomial counts where what makes a case is shared inside a group. Here: sudden infant deaths of the 100 counties of North
Carolina, 1974 to 1978 and 1979 to 1984, which libpysal brings along. Bays of a vineyard go the same road.
"""

import libpysal
import matplotlib.pyplot as plt
import numpy as np

import trunkwatch as tw

file = libpysal.io.open(libpysal.examples.get_path("sids2.dbf"))
columns = {
    name: np.array(file.by_col(name), dtype=int) for name in ("SID74", "BIR74", "SID79", "BIR79")
}
for years in ("74", "79"):
    fit = tw.stats.fit_beta_binomial(columns[f"SID{years}"], columns[f"BIR{years}"])
    print(
        f"19{years}: likelihood ratio {fit.statistic:.1f}, p = {fit.pvalue:.2g}, intra-class correlation {fit.rho:.2g}"
    )

figure, axes = plt.subplots(figsize=(6, 4))
axes.scatter(columns["BIR74"], 1000 * columns["SID74"] / columns["BIR74"], s=20, color="#2b69a3")
axes.axhline(1000 * columns["SID74"].sum() / columns["BIR74"].sum(), color="#d65f0a")
axes.set(xscale="log", xlabel="births of the county, 1974 to 1978", ylabel="deaths of 1,000 births")
figure.tight_layout()

# %%
# The share over all counties, by births and by counties. Limits that take each birth by itself are too narrow where counties differ.

cases, births = columns["SID74"], columns["BIR74"]
for found in (
    tw.stats.incidence(int(cases.sum()), int(births.sum())),
    tw.stats.incidence_of_rows(cases, births),
):
    print(
        f"{1000 * found.share:.2f} of 1,000 births ({1000 * found.low:.2f} to {1000 * found.high:.2f})"
    )

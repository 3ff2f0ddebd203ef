"""
How far does likeness reach?
============================

Pairs of sick vines at every distance along and across, with one p-value over all of them, on block Orchard of the sample vineyard.
"""

import matplotlib.pyplot as plt

import trunkwatch as tw

SAMPLE = "../../sample_blocks"  # the folder that `trunkwatch demo sample_blocks` writes
with tw.open(SAMPLE) as vineyard:
    orchard = vineyard.block("Orchard")
    cases, vines = orchard.cases(2026), orchard.vines(2026)
    grid = orchard.season(2026).history.grid

lags = tw.stats.lag_pairs(cases, vines, max_rows=5, max_stations=8, permutations=499, rng=1)
print(lags)

# %%
# The table of z by lag: rows apart downwards, vines apart to either side. ``limit`` is the largest z that chance gives 95 times in 100, over all lags.

figure, axes = plt.subplots(figsize=(7, 3.4))
shown = axes.imshow(lags.z, cmap="cividis", extent=(-8.5, 8.5, 5.5, -0.5), aspect="auto")
axes.set(xlabel="vines apart along the row", ylabel="rows apart")
figure.colorbar(shown, label="z")
figure.tight_layout()
print(f"largest z {lags.statistic:.1f}; chance gives up to {lags.limit:.1f}")

# %%
# The places that stand out, all places and sizes allowed for.

scan = tw.stats.scan(
    cases,
    vines,
    row_spacing=grid.row_spacing_m,
    vine_spacing=grid.vine_spacing_m,
    max_radius=12,
    permutations=199,
    rng=1,
)
for window in scan.windows[:3]:
    print(
        f"{window.cases} of {window.vines} vines around row {grid.rows[window.centre[0]]}, p = {window.pvalue:.3g}"
    )

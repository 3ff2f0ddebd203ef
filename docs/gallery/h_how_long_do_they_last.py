"""
How long do they last?
======================

Survival with vines still standing at the end (censored). The data are 163 fruit flies of two groups that lifelines brings along; vines by rootstock go the
same road. lifelines gives the same figures.
"""

import matplotlib.pyplot as plt
from lifelines.datasets import load_waltons
from lifelines.statistics import logrank_test

import trunkwatch as tw

flies = load_waltons()
figure, axes = plt.subplots(figsize=(7, 3.6))
for (group, part), color in zip(flies.groupby("group"), ("#153f6b", "#d65f0a"), strict=True):
    curve = tw.stats.kaplan_meier(part["T"], part["E"])
    axes.step([0, *curve.times], [1, *curve.survival], where="post", color=color, label=group)
    axes.fill_between(
        [0, *curve.times], [1, *curve.low], [1, *curve.high], step="post", color=color, alpha=0.2
    )
axes.set(xlabel="days", ylabel="share that lives", ylim=(0, 1.02))
axes.legend(frameon=False)
figure.tight_layout()

# %%

ours = tw.stats.log_rank(flies["T"], flies["E"], flies["group"] == "miR-137")
print(ours)
one, other = (flies[flies["group"] == name] for name in ("control", "miR-137"))
theirs = logrank_test(one["T"], other["T"], one["E"], other["E"])
print(f"lifelines: chi-square {theirs.test_statistic:.2f}, p = {theirs.p_value:.3g}")

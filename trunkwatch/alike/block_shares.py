"""The share of a group of blocks that differ among each other, nothing else being known of them: beta-binomial."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv, expit, logit, stdtrit

from trunkwatch.alike.counts import checked_counts
from trunkwatch.stats.beta_binomial import fit_beta_binomial
from trunkwatch.stats.shares import wilson

__all__ = ["BlockShares", "block_shares"]


@dataclass(frozen=True, slots=True)
class BlockShares:
    """What blocks of a group show.

    Attributes
    ----------
    share, low, high : float
        Mean share of blocks, and its 95 % limits, for blocks that differ.
    low_block, high_block : float
        Shares between which nine in ten blocks lie; nan where no case tells how they differ.
    rho : float
        Correlation of vines of one block.
    """

    share: float
    low: float
    high: float
    low_block: float
    high_block: float
    rho: float


def block_shares(cases: ArrayLike, vines: ArrayLike) -> BlockShares:
    """Estimate the mean share of blocks, and how far they lie apart.

    Parameters
    ----------
    cases, vines : (blocks,) array_like
        Counts of each block; two at least.

    Raises
    ------
    ValueError
        If the counts cannot be, or there is one block only.

    References
    ----------
    .. [1] Williams, D.A. (1982) Appl. Stat. 31:144-148, weights of blocks whose vines are alike.
    """
    k, n = checked_counts(cases, vines)
    if k.size < 2:
        raise ValueError("one block: two at least are needed to say what blocks of a group show")
    total, many = float(n.sum()), float(k.sum())
    if not 0 < many < total:
        low, high = wilson(many, total)
        return BlockShares(many / total, low, high, math.nan, math.nan, math.nan)
    fit = fit_beta_binomial(k.astype(np.int64), n.astype(np.int64))
    known = float((n / (1 + (n - 1) * fit.rho)).sum())
    error = 1 / math.sqrt(known * fit.p * (1 - fit.p))
    reach = float(stdtrit(k.size - 1, 0.975)) * error
    low, high = float(expit(logit(fit.p) - reach)), float(expit(logit(fit.p) + reach))
    if not fit.clumped:
        return BlockShares(fit.p, low, high, fit.p, fit.p, 0.0)
    a, b = fit.p / fit.theta, (1 - fit.p) / fit.theta
    return BlockShares(fit.p, low, high, float(betaincinv(a, b, 0.05)), float(betaincinv(a, b, 0.95)), fit.rho)

"""What an early cut costs where the cold comes afterwards: the spare buds that are gone when they are needed."""

import numpy as np
from numpy.typing import NDArray

from trunkwatch.winter_model.cultivars import Kind

__all__ = ["SECONDARY_ALIVE", "SECONDARY_CROP", "crop_kept", "early_cut_cost", "nodes_to_leave", "secondary_crop"]

Floats = NDArray[np.float64]
#: Crop of a secondary bud as a share of a primary's: Concord and Niagara (Howell, Michigan State, extension text of 2002). For other
#: vines no figure with a source was found, and none is counted: the careful side.
SECONDARY_CROP = 0.35
#: Secondary buds alive where the primary is dead (over 90 % in a trade article on Michigan, 2014).
SECONDARY_ALIVE = 0.9


def secondary_crop(kind: Kind | None) -> float:
    """Return what a dead primary bud's node still bears, as a share of its crop."""
    return SECONDARY_ALIVE * SECONDARY_CROP if kind is Kind.LABRUSCA else 0.0


def crop_kept(nodes: Floats | float, killed: Floats | float, secondary: float = 0.0) -> Floats:
    """Return the crop of some nodes after a kill, in nodes of live primary buds."""
    dead = np.asarray(killed, dtype=float)
    return np.asarray(nodes * ((1 - dead) + dead * secondary))


def nodes_to_leave(nodes: Floats | float, killed: Floats | float, most: float) -> Floats:
    """Return the nodes that leave as many live primary buds as were wanted, no more than the vine carries."""
    alive = np.maximum(1 - np.asarray(killed, dtype=float), 1e-9)
    return np.asarray(np.minimum(np.asarray(nodes, dtype=float) / alive, most))


def early_cut_cost(killed: Floats, *, most: float = 2.0, left: float = 1.0, secondary: float = 0.0) -> Floats:
    """Return the share of the crop that a cut on each day gives away against one that waits until the cold is over.

    Parameters
    ----------
    killed : array (..., days)
        Share of primary buds killed in the winter up to each day; it never falls.
    most : float
        Nodes that the vine carries at the most, in wanted nodes: long canes, or a first cut that was long.
    left : float
        Nodes that the cut leaves at the least, in wanted nodes: 1 a final cut, 2 to 3 a long first cut.
    secondary : float
        As `secondary_crop` gives it.
    """
    dead = np.asarray(killed, dtype=float)
    end = dead[..., -1:]
    cut_now = np.maximum(nodes_to_leave(1.0, dead, most), left)
    kept = np.minimum(1.0, crop_kept(cut_now, end, secondary))
    waited = np.minimum(1.0, crop_kept(np.maximum(nodes_to_leave(1.0, end, most), left), end, secondary))
    return np.asarray(np.maximum(0.0, waited - kept))

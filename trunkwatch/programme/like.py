"""What blocks like a grower's show, for the grower's page: a sentence and a picture, of those alone who agreed to be compared."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from scipy.special import expit, stdtrit

from trunkwatch.charts.like_spread import DOTS, like_spread_svg
from trunkwatch.peers.beside import BlockBeside, Peers, peers_of
from trunkwatch.peers.gather import Gathered, put_together
from trunkwatch.programme.like_rows import rows_of_data
from trunkwatch.programme.like_words import like_sentence
from trunkwatch.programme.run import GrowerRun

__all__ = ["FEWEST_OTHERS", "likes"]

#: Other growers whose blocks of the season a sentence takes: the page's own grower could subtract the own blocks.
FEWEST_OTHERS = 5


def likes(
    compared: Sequence[GrowerRun], pages: Mapping[tuple[str, str], tuple[int, str]]
) -> dict[tuple[str, str], tuple[str, str]]:
    """Say of blocks what their like show, in a sentence and a picture; a block of which it may not or cannot be said has no entry.

    Parameters
    ----------
    compared : sequence of GrowerRun
        Rows of the blocks of all growers who agreed to be compared, as `work` gives them.
    pages : mapping of (grower, block) to (int, str)
        Season and definition of the pages to be written.
    """
    gathered = put_together(
        [rows_of_data(run.grower.name, block, run.data(block)) for run in compared for block in run.blocks],
        several=True,
    )
    beside: dict[tuple[int, bool], Peers | None] = {}

    def peers(season: int, any_cultivar: bool) -> Peers | None:
        if (season, any_cultivar) not in beside:
            beside[season, any_cultivar] = (
                peers_of(gathered, season, any_cultivar=any_cultivar)
                if any(row.season == season for row in gathered.rows)
                else None
            )
        return beside[season, any_cultivar]

    out = {}
    for (grower, block), (season, definition) in pages.items():
        if definition == gathered.definition:
            found = _like(gathered, peers, grower, block, season)
            if found is not None:
                out[grower, block] = found
    return out


def _like(
    gathered: Gathered, peers: Callable[[int, bool], Peers | None], grower: str, block: str, season: int
) -> tuple[str, str] | None:
    here = [row for row in gathered.rows if row.season == season]
    own = next((row for row in here if row.block == f"{grower}/{block}"), None)
    if own is None:
        return None
    same = {row.grower for row in here if row.cultivar == own.cultivar} - {grower}
    # Fewer growers of the cultivar would be told by name: then blocks of all cultivars speak, or nobody.
    any_cultivar = not own.cultivar or own.cultivar == "several" or len(same) < FEWEST_OTHERS
    if any_cultivar and len({row.grower for row in here} - {grower}) < FEWEST_OTHERS:
        return None
    found = peers(season, any_cultivar)
    placed = next((one for one in found.beside if one.row.block == own.block), None) if found is not None else None
    if placed is None:
        return None
    return (
        like_sentence(placed, any_cultivar=any_cultivar),
        like_spread_svg(_spread(placed), (placed.share, placed.low, placed.high), name="like"),
    )


def _spread(one: BlockBeside) -> list[float]:
    """Return shares at even steps of the law of blocks like one."""
    middle, sd, freedom = one.law
    steps = (np.arange(DOTS) + 0.5) / DOTS
    return [float(share) for share in expit(middle + sd * stdtrit(freedom, steps))]

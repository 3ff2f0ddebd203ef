"""The map page of a loaded block, and its season as a figure."""

from collections.abc import Mapping, Sequence

from trunkwatch.block import BlockSeason
from trunkwatch.history import Condition
from trunkwatch.maps import block_map, strip_svg
from trunkwatch.stats.focus_sizes import foci
from trunkwatch.vineyard.spelling import spelled_page
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["map_html", "map_svg"]


def map_html(
    found: BlockSeason,
    *,
    base_layer: str | None = None,
    base_credit: str = "",
    photos: Mapping[str, Sequence[tuple[str, str]]] | None = None,
) -> str:
    """Draw the map page of a loaded block, foci of every season included.

    Parameters
    ----------
    found : BlockSeason
        The block up to the season that the page opens with.
    base_layer, base_credit : str
        As in `trunkwatch.maps.block_map`.
    photos : mapping, optional
        As in `trunkwatch.maps.block_map`.
    """
    history, block = found.history, found.block
    labels = [foci(one == Condition.SHOWING, history.grid.exists, permutations=0).labels for one in history.condition]
    vineyard = str(block.get("vineyard") or "")
    page = block_map(
        history,
        placed=found.placed or None,
        bearing_deg=number_or_none(block.get("row_bearing_deg")),
        rows_go=str(block.get("rows_go") or "right"),
        foci=labels,
        season=found.season,
        base_layer=base_layer,
        base_credit=base_credit,
        photos=photos,
        title=f"Block {history.block}" + (f", {vineyard}" if vineyard else ""),
    )
    return spelled_page(page)


def map_svg(found: BlockSeason) -> str:
    """Draw the season of a loaded block as one figure."""
    history, block = found.history, found.block
    drawing = strip_svg(
        history,
        found.season,
        placed=found.placed or None,
        bearing_deg=number_or_none(block.get("row_bearing_deg")),
        rows_go=str(block.get("rows_go") or "right"),
        foci=foci(history.condition[found.index] == Condition.SHOWING, history.grid.exists, permutations=0).labels,
        name="figure",
    )
    return spelled_page(drawing)

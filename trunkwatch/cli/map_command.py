"""trunkwatch map."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from trunkwatch.cli.options import (
    block_option,
    definition_option,
    echo_notes,
    keep_good_option,
    out_option,
    season_option,
    vineyard_argument,
    write_page,
)

if TYPE_CHECKING:
    from trunkwatch.season import BlockSeason


@click.command("map")
@vineyard_argument
@block_option
@season_option
@definition_option
@out_option
@click.option("--base-layer", metavar="ADDRESS", help="Map tiles under the block, with {z}, {x}, {y}; needs a network.")
@click.option("--base-credit", default="", metavar="TEXT", help="Credit that the owner of the tiles asks for.")
@keep_good_option
def command(
    vineyard: Path, block: str | None, season: int | None, definition: str | None, out: Path | None,
    base_layer: str | None, base_credit: str, keep_good: bool,
) -> None:  # fmt: skip
    """Write the map of a block as one HTML file: every vine by condition, season by season.

    The file needs no network. Drag the slider to change the season; tap a vine for its history.

    \b
    Example:
      trunkwatch map sample_blocks --block Mill --out mill_map.html
    """
    from trunkwatch.season import load

    found = load(vineyard, block, season, definition=definition, keep_good=keep_good)
    echo_notes(found.notes)
    plain = "".join(letter if letter.isalnum() else "_" for letter in found.history.block)
    page = map_html(found, base_layer=base_layer, base_credit=base_credit)
    write_page(out or Path(f"map_{plain}_{found.season}.html"), page)


def map_html(found: "BlockSeason", *, base_layer: str | None = None, base_credit: str = "") -> str:
    """Draw the map page of a loaded block, foci of every season included."""
    from trunkwatch.history import Condition
    from trunkwatch.maps import block_map
    from trunkwatch.stats.foci import foci

    history, block = found.history, found.records.block
    bearing = block.get("row_bearing_deg")
    labels = [foci(one == Condition.SHOWING, history.grid.exists, permutations=0).labels for one in history.condition]
    vineyard = str(block.get("vineyard") or "")
    return block_map(
        history,
        placed=found.placed or None,
        bearing_deg=float(bearing) if isinstance(bearing, (int, float)) and bearing == bearing else None,
        rows_go=str(block.get("rows_go") or "right"),
        foci=labels,
        season=found.season,
        base_layer=base_layer,
        base_credit=base_credit,
        title=f"Block {history.block}" + (f", {vineyard}" if vineyard else ""),
    )

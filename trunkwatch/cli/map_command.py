"""trunkwatch map."""

from pathlib import Path

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
    from trunkwatch.block import load, open_vineyard
    from trunkwatch.block.words import note_sentences
    from trunkwatch.cli.file_names import file_stems
    from trunkwatch.report.block_page import map_html

    with open_vineyard(vineyard, keep_good=keep_good) as store:
        found = load(store, block, season, definition=definition)
        stem = file_stems(store.blocks())[found.history.block]
    echo_notes(note_sentences(found))
    page = map_html(found, base_layer=base_layer, base_credit=base_credit)
    write_page(out or Path(f"map_{stem}_{found.season}.html"), page)

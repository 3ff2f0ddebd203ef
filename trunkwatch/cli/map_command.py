"""trunkwatch map."""

from pathlib import Path

import click

from trunkwatch.cli.figures import FIGURES, check_ending, write_figure
from trunkwatch.cli.options import (
    block_option,
    definition_option,
    echo_notes,
    keep_good_option,
    out_option,
    season_option,
    vineyard_argument,
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
    An ending .svg, .png or .pdf of --out writes one season as a figure; .png and .pdf need a
    browser engine (Chromium or Chrome) on this machine.

    \b
    Example:
      trunkwatch map sample_blocks --block Mill --out mill_map.html
      trunkwatch map sample_blocks --block Mill --season 2026 --out mill_2026.svg
    """
    from trunkwatch.block import load, open_vineyard
    from trunkwatch.block.words import note_sentences
    from trunkwatch.cli.file_names import file_stems
    from trunkwatch.errors import FileError
    from trunkwatch.report.block_page import map_html, map_svg

    if check_ending(out, FIGURES) != ".html" and base_layer:
        raise FileError(f"{out} is a figure, and --base-layer lies under the page only; expected: --out FILE.html")

    with open_vineyard(vineyard, keep_good=keep_good) as store:
        found = load(store, block, season, definition=definition)
        stem = file_stems(store.blocks())[found.history.block]
    echo_notes(note_sentences(found))
    write_figure(
        out or Path(f"map_{stem}_{found.season}.html"),
        map_svg(found),
        lambda: map_html(found, base_layer=base_layer, base_credit=base_credit),
    )

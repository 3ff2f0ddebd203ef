"""trunkwatch map."""

from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.every_block import go_through, refuse_with
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
@click.option(
    "--all-blocks",
    "all_blocks",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="The map of every block into a folder; a block that cannot be read is named and left out.",
)
@click.option("--base-layer", metavar="ADDRESS", help="Map tiles under the block, with {z}, {x}, {y}; needs a network.")
@click.option("--base-credit", default="", metavar="TEXT", help="Credit that the owner of the tiles asks for.")
@keep_good_option
def command(
    vineyard: Path,
    block: str | None,
    season: int | None,
    definition: str | None,
    out: Path | None,
    base_layer: str | None,
    base_credit: str,
    keep_good: bool,
    all_blocks: Path | None,
) -> None:
    """Write the map of a block as one HTML file: every vine by condition, season by season.

    The file needs no network. Drag the slider to change the season; tap a vine for its history.
    An ending .svg, .png or .pdf of --out writes one season as a figure; .png and .pdf need a
    browser engine (Chromium or Chrome) on this machine.

    \b
    Example:
      trunkwatch map sample_blocks --block Mill --out mill_map.html
      trunkwatch map sample_blocks --block Mill --season 2026 --out mill_2026.svg
      trunkwatch map sample_blocks --all-blocks maps
    """
    from trunkwatch.block import load, open_vineyard
    from trunkwatch.block.words import note_sentences
    from trunkwatch.cli.file_names import file_stems
    from trunkwatch.errors import FileError
    from trunkwatch.report.block_page import map_html, map_svg
    from trunkwatch.report.shown_photos import photos_of_map

    if check_ending(out, FIGURES) != ".html" and base_layer:
        raise FileError(f"{out} is a figure, and --base-layer lies under the page only; expected: --out FILE.html")

    if all_blocks is not None:
        refuse_with(block=block, out=out)
    with open_vineyard(vineyard, keep_good=keep_good) as store:
        stems = file_stems(store.blocks())

        def read(label: str | None) -> tuple[Any, str, str]:
            found = load(store, label, season, definition=definition)
            page = map_html(found, base_layer=base_layer, base_credit=base_credit, photos=photos_of_map(store, found))
            return found, map_svg(found), page

        def write(drawn: tuple[Any, str, str]) -> None:
            found, figure, page = drawn
            echo_notes(note_sentences(found))
            name = f"map_{stems[found.history.block]}_{found.season}.html"
            write_figure(out or (all_blocks or Path()) / name, figure, lambda: page)

        if all_blocks is not None:
            go_through(store.blocks(), read, write)
            return
        write(read(block))

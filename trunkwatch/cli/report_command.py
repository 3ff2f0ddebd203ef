"""trunkwatch report."""

from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.figures import check_printed, write_printed
from trunkwatch.cli.options import (
    block_option,
    definition_option,
    echo_notes,
    keep_good_option,
    out_option,
    permutations_option,
    season_option,
    seed_option,
    vineyard_argument,
    write_page,
)


@click.command("report")
@vineyard_argument
@block_option
@season_option
@definition_option
@out_option
@click.option("--all-blocks", "all_blocks", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER",
              help="Report and map of every block into a folder.")  # fmt: skip
@permutations_option
@seed_option
@keep_good_option
def command(
    vineyard: Path, block: str | None, season: int | None, definition: str | None, out: Path | None, all_blocks: Path | None,
    permutations: int, seed: int, keep_good: bool,
) -> None:  # fmt: skip
    """Write the yearly report of a block as one HTML file; its first printed page is the owner's.

    An ending .pdf of --out prints it, where a browser engine (Chromium or Chrome) is installed.

    \b
    Example:
      trunkwatch report sample_blocks --block Mill --season 2026 --out mill_2026.html
      trunkwatch report sample_blocks --block Mill --out mill_2026.pdf
      trunkwatch report sample_blocks --all-blocks reports
    """
    from trunkwatch.block import load, open_vineyard
    from trunkwatch.block.words import note_sentences
    from trunkwatch.cli.file_names import file_stems
    from trunkwatch.report import report_html
    from trunkwatch.report.deciding import decided_if_priced

    check_printed(out)
    with open_vineyard(vineyard, keep_good=keep_good) as store:
        stems = file_stems(store.blocks())
        if all_blocks is None:
            found = load(store, block, season, definition=definition)
            echo_notes(note_sentences(found))
            path = out or Path(f"report_{stems[found.history.block]}_{found.season}.html")
            write_printed(
                path,
                report_html(
                    found, permutations=permutations, seed=seed, decided=decided_if_priced(store, found, seed=seed)
                ),
            )
            return
        _every_block(
            store, season, all_blocks, definition=definition, permutations=permutations, seed=seed, stems=stems
        )


def _every_block(
    store: Any, season: int | None, folder: Path, *, definition: str | None, permutations: int, seed: int, stems: dict[str, str],
) -> None:  # fmt: skip
    """Write report and map of every block; a block that has nothing to say is named and left out."""
    from trunkwatch.cli.waiting import waiting
    from trunkwatch.decide.outlook import VineyardSteps
    from trunkwatch.errors import RecordError
    from trunkwatch.report import report_html
    from trunkwatch.report.block_page import map_html
    from trunkwatch.report.deciding import decided_if_priced

    steps, labels = VineyardSteps(store), store.blocks()
    written = 0
    with waiting("Blocks") as progress:
        for number, label in enumerate(labels, 1):
            try:
                found = steps.readings.season(label, season, definition=definition)
                decided = decided_if_priced(store, found, seed=seed, steps=steps)
                page = report_html(found, permutations=permutations, seed=seed, decided=decided)
                pages = {"report": page, "map": map_html(found)}
            except RecordError as error:
                echo_notes((f"block {label} is left out: {error}",))
                continue
            for name, page in pages.items():
                write_page(folder / f"{name}_{stems[label]}_{found.season}.html", page)
            written += 1
            progress(number / len(labels))
    if not written:
        raise RecordError("no block can be reported on; `trunkwatch check` lists what stands in the way")

"""trunkwatch report."""

from pathlib import Path

import click

from trunkwatch.cli.options import (
    block_option,
    definition_option,
    echo_notes,
    file_part,
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

    \b
    Example:
      trunkwatch report sample_blocks --block Mill --season 2026 --out mill_2026.html
      trunkwatch report sample_blocks --all-blocks reports
    """
    from trunkwatch.block import load, open_vineyard
    from trunkwatch.report import report_html
    from trunkwatch.report.deciding import parts_if_priced

    with open_vineyard(vineyard, keep_good=keep_good) as store:
        if all_blocks is None:
            found = load(store, block, season, definition=definition)
            echo_notes(found.notes)
            path = out or Path(f"report_{file_part(found.history.block)}_{found.season}.html")
            write_page(
                path,
                report_html(
                    found, permutations=permutations, seed=seed, decide=parts_if_priced(store, found, seed=seed)
                ),
            )
            return
        from trunkwatch.decide.outlook import VineyardSteps
        from trunkwatch.report.block_page import map_html

        steps = VineyardSteps(store)
        parts_of_names = _file_parts(store.blocks())
        for label in store.blocks():
            found = load(store, label, season, definition=definition)
            stem = f"{parts_of_names[label]}_{found.season}"
            parts = parts_if_priced(store, found, seed=seed, steps=steps)
            page = report_html(found, permutations=permutations, seed=seed, decide=parts)
            write_page(all_blocks / f"report_{stem}.html", page)
            write_page(all_blocks / f"map_{stem}.html", map_html(found))


def _file_parts(names: tuple[str, ...]) -> dict[str, str]:
    """Return a part of a file name for each block; blocks that would share one are numbered."""
    parts: dict[str, str] = {}
    for name in names:
        part, number = file_part(name), 2
        while part in parts.values():
            part, number = f"{file_part(name)}_{number}", number + 1
        parts[name] = part
    return parts

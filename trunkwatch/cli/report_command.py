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
)


@click.command("report")
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
    help="Report and map of every block into a folder.",
)
@click.option(
    "--workers",
    type=click.IntRange(1),
    metavar="N",
    help="With --all-blocks: processes at once; one a processor if left out.",
)
@permutations_option
@seed_option
@keep_good_option
def command(
    vineyard: Path,
    block: str | None,
    season: int | None,
    definition: str | None,
    out: Path | None,
    all_blocks: Path | None,
    permutations: int,
    seed: int,
    keep_good: bool,
    workers: int | None,
) -> None:
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
    from trunkwatch.report.shown_photos import photos_of_report

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
                    found,
                    permutations=permutations,
                    seed=seed,
                    decided=decided_if_priced(store, found, seed=seed),
                    shown=photos_of_report(store, found),
                ),
            )
            return
    _every_block(
        vineyard,
        all_blocks,
        stems,
        workers=workers,
        keep_good=keep_good,
        season=season,
        definition=definition,
        permutations=permutations,
        seed=seed,
    )


def _every_block(
    vineyard: Path, folder: Path, stems: dict[str, str], *, workers: int | None, keep_good: bool, **options: Any
) -> None:
    """Write report and map of every block, on all processors; a block that has nothing to say is named and left out."""
    from trunkwatch.cli.waiting import waiting
    from trunkwatch.errors import RecordError
    from trunkwatch.programme.road import Outcome, over_blocks, processes, usual_workers
    from trunkwatch.programme.work import block_work, jobs_of
    from trunkwatch.spreadsheets.write import replace_file

    asked = jobs_of(vineyard, "report", lambda _block: options, keep_good=keep_good)
    jobs = {label: job for label, job in asked.items() if job is not None}
    labels = list(jobs)
    written: dict[str, list[Path]] = {}

    def write(number: int, outcome: Outcome) -> None:
        """Write the pages of a block as soon as they are there: what a run that is ended has done stays."""
        label, found = labels[number], outcome.data or {}
        for name, page in found.get("pages", {}).items():
            path = folder / f"{name}_{stems[label]}_{found['season']}.html"
            path.parent.mkdir(parents=True, exist_ok=True)
            replace_file(path, page.encode())
            written.setdefault(label, []).append(path)

    many = workers or max(1, min(len(jobs), usual_workers()))
    with waiting("Blocks") as progress:
        walked = over_blocks(
            list(jobs.values()), block_work, executor=processes(many), progress=progress, at_once=many, each=write
        )
    for label, outcome in zip(labels, walked.outcomes, strict=True):
        why = outcome.reason if outcome.data is None else outcome.data.get("reason")
        if why:
            echo_notes((f"block {label} is left out: {why}",))
        for path in written.get(label, ()):
            click.echo(str(path))
    if not written:
        raise RecordError("no block can be reported on; `trunkwatch check` lists what stands in the way")

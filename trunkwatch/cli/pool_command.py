"""trunkwatch pool."""

from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.options import echo_notes, emit_json, json_option, say, today


@click.command("pool")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--by",
    multiple=True,
    type=click.Choice(["cultivar", "age", "region", "rootstock", "training"]),
    help="What cells are told apart by; may be given several times. One cell a season if left out.",
)
@click.option("--season", type=int, metavar="YEAR", help="One season; all if left out.")
@json_option
def command(folder: Path, by: tuple[str, ...], season: int | None, *, as_json: bool) -> None:
    """Make a table over the block cards of many growers, in which none of them can be told.

    FOLDER holds pool cards. Beside them the keeper writes growers.txt, a line a grower with the key that `trunkwatch card`
    shows, for cards of other keys are not taken; and may write regions.txt, the words that regions are told by. What was shown
    is kept in pool.ledger, so that no later table can be set against an earlier one to find a grower: keep it with the cards, for
    yourself alone.

    \b
    Example:
      trunkwatch pool cards --by cultivar --by age
      trunkwatch pool cards --by region --season 2026 --json
    """
    from trunkwatch.cards import read_folder
    from trunkwatch.cards.folder import GROWERS, REGIONS, listed_words
    from trunkwatch.cards.ledger import LEDGER, read_ledger, write_ledger
    from trunkwatch.cards.pool import pool
    from trunkwatch.cards.pool_words import GUARDED, pool_lines
    from trunkwatch.cards.words import left_out_lines
    from trunkwatch.errors import AccessError, RecordError

    found = read_folder(folder, "pool", today())
    if not found.vouched:
        raise AccessError(
            f"{folder / GROWERS} is not there: five keys need not be five growers; write the key of every grower you know into it, a line each"
        )
    echo_notes(left_out_lines(found))
    ledger = read_ledger(folder / LEDGER)
    table, now = pool(
        found.cards, tuple(dict.fromkeys(by)), ledger, season=season, regions=listed_words(folder / REGIONS)
    )
    if not table.cells:
        raise RecordError(
            "no cell may be shown: of every one too few growers take part, or one stands out; leave a --by out, or wait for more cards"
        )
    if table.other_looks:
        echo_notes(
            (f"{table.other_looks} seasons on cards take no part: other inspections, or another definition, than most",)
        )
    if now != ledger:
        write_ledger(folder / LEDGER, now)
    if as_json:
        emit_json(_data(table))
        return
    for line in (*pool_lines(table), *GUARDED):
        say(line)


def _data(table: Any) -> dict[str, Any]:
    from trunkwatch.cards.pool_words import GUARDED, cases_words

    return {
        "by": list(table.by),
        "definition": table.definition,
        "inspections": table.looks,
        "cells": [
            {
                "season": one.shown.season,
                "count": one.shown.count,
                "cell": dict(one.shown.cell),
                "vines": one.shown.figure.vines,
                "cases": one.shown.figure.cases,
                "cases_low": one.shown.figure.cases_low,
                "cases_high": one.shown.figure.cases_high,
                "text": cases_words(one.shown.figure),
                "earlier": one.earlier,
            }
            for one in table.cells
        ],
        "sums": [
            {
                "season": one.season,
                "count": one.count,
                "cell": dict(one.cell),
                "vines": one.vines,
                "cases_low": one.cases_low,
                "cases_high": one.cases_high,
            }
            for one in table.sums
        ],
        "guarded": list(GUARDED),
    }

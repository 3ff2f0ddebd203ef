"""What `trunkwatch programme` prints of all blocks: what they can be used for, and their seasons beside each other."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.options import say

__all__ = ["echo_ready", "echo_seasons", "echo_written"]


def echo_ready(runs: Sequence[Any]) -> None:
    """Say of each block what its record can be used for; what is missing once, with the uses it stands in the way of."""
    from trunkwatch.programme.use_words import use_lines, use_names
    from trunkwatch.programme.uses import Missing, Use

    for run in runs:
        if run.blocks:
            say(run.grower.name)
        for block in run.blocks:
            found = run.data(block)
            if found.get("reason"):
                continue
            uses = {Use(name): [Missing.of_data(one) for one in missing] for name, missing in found["uses"].items()}
            ready = [use for use, missing in uses.items() if not missing]
            say(f"block {block}: ready for {use_names(ready)}", "  ")
            for line in use_lines(uses):
                say(line, "    ")


def echo_seasons(runs: Sequence[Any]) -> None:
    """Print all blocks beside each other, a column a season, in the order of the catalogue."""
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    found = [(run.grower.name, run.data(block)) for run in runs for block in run.blocks]
    shown = [(name, one) for name, one in found if not one.get("reason")]
    years = sorted({year["season"] for _, one in shown for year in one["seasons"]})
    table = Table(title="Vines showing symptoms, of those scouted")
    for heading in ("grower", "block", "cultivar", "planted", *map(str, years)):
        table.add_column(heading)
    for name, one in shown:
        by_year = {year["season"]: year for year in one["seasons"]}
        cells = [_cell(by_year.get(year)) for year in years]
        table.add_row(
            escape(name), escape(one["block"]), escape(one["cultivar"] or "-"), str(one["planted"] or "-"), *cells
        )
    console = Console(width=max(120, 48 + 15 * len(years), Console().width))
    console.print(table)
    click.echo(
        "- nothing written; (no count) the season does not count. A * season had other inspections than the others."
    )
    click.echo("Blocks of another age, cultivar or observer differ for that alone: the table is no ranking.")


def _cell(year: Mapping[str, Any] | None) -> str:
    if year is None:
        return "-"
    if year["share"] is None:
        return "(no count)"
    return f"{year['cases']}/{year['vines']} {100 * year['share']:.1f}%{'*' if year['reason'] else ''}"


def echo_written(written: Mapping[tuple[str, str], Sequence[Path]]) -> None:
    """Print where the pages are."""
    for paths in written.values():
        for path in paths:
            click.echo(str(path))

"""What to say of records that came in and do not stand: they were written otherwise since."""

from collections.abc import Sequence
from typing import Any

import click

__all__ = ["echo_superseded"]

#: So many are said one by one.
SHOWN = 20


def echo_superseded(superseded: Sequence[Any]) -> None:
    """Say of each what stands now, and how what came in can stand."""
    from trunkwatch.spreadsheets.write import cell_text

    for one in superseded[:SHOWN]:
        where = f" ({one.read_from})" if one.read_from else ""
        if not one.stands:
            click.echo(f"{one.table}, {one.about}: taken back since, and not brought back{where}", err=True)
            continue
        now = ", ".join(
            f"{name} {cell_text(stands) or 'nothing'} (came in as {cell_text(here) or 'nothing'})"
            for name, (stands, here) in one.values.items()
        )
        click.echo(f"{one.table}, {one.about}: corrected since; what stands now: {now}{where}", err=True)
    if len(superseded) > SHOWN:
        click.echo(f"and {len(superseded) - SHOWN} more that were corrected or taken back since", err=True)
    if any(one.stands for one in superseded):
        click.echo("--take-changes takes what came in as corrections of what stands now", err=True)

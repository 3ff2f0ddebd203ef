"""trunkwatch check."""

from pathlib import Path

import click

from trunkwatch.cli.options import emit_json, json_option, vineyard_argument


@click.command("check")
@vineyard_argument
@click.option("--today", metavar="DATE", help="Day after which a date lies in the future (YYYY-MM-DD).")
@click.option("--faults-only", is_flag=True, help="Leave the notes out.")
@json_option
def command(vineyard: Path, today: str | None, faults_only: bool, as_json: bool) -> None:
    """List all that is wrong or odd in a vineyard; exit code 1 if there is a fault.

    A fault keeps its file from being taken. A note may well be true: it is something to look at.

    \b
    Example:
      trunkwatch check sample_blocks
    """
    from dataclasses import asdict

    from trunkwatch.intake import check_vineyard

    found = check_vineyard(vineyard, today=today)
    if faults_only:
        found = [fault for fault in found if fault.weight == "fault"]
    faults = sum(fault.weight == "fault" for fault in found)
    if as_json:
        emit_json([asdict(fault) for fault in found])
    else:
        for fault in found:
            click.echo(f"{fault.weight}: {fault}")
        click.echo(f"{faults} fault(s), {len(found) - faults} note(s)", err=True)
    if faults:
        raise SystemExit(1)

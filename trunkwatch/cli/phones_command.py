"""trunkwatch phones."""

from pathlib import Path

import click

from trunkwatch.cli.options import vineyard_argument


@click.command("phones")
@vineyard_argument
@click.option("--stop", metavar="NAME", help="Take nothing more from a phone, from now on; its secret is deleted.")
def command(vineyard: Path, stop: str | None) -> None:
    """List the phones that are paired with the desk; stop one that was lost.

    A phone is paired at the desk (`trunkwatch serve`, page Phones): it signs what it hands over.

    \b
    Example:
      trunkwatch phones my_vines.gpkg
      trunkwatch phones my_vines.gpkg --stop "phone 3"
    """
    from trunkwatch.access.audit import Done, note
    from trunkwatch.access.phones import phones_of, stop_phone
    from trunkwatch.errors import FileError
    from trunkwatch.store import refuse_shared

    refuse_shared(vineyard, "`trunkwatch phones`", "logins and rights are those of the server")
    if not vineyard.exists():
        raise FileError(f"no file {str(vineyard)!r}; `trunkwatch new {vineyard}` starts one")
    if stop is not None:
        phone = stop_phone(vineyard, stop)
        note(vineyard, Done.STOPPED, "command line", phone=phone.device)
        click.echo(f"{phone.device} is stopped: what it hands over is refused")
        return
    phones = phones_of(vineyard)
    for one in phones:
        click.echo(f"{one.device}: paired {one.since[:10]}" + (f", stopped {one.stopped[:10]}" if one.stopped else ""))
    if not phones:
        click.echo("No phone is paired: `trunkwatch serve --lan`, page Phones, pairs one.")

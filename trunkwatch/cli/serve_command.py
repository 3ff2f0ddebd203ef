"""trunkwatch serve."""

import os
from pathlib import Path

import click

from trunkwatch.cli.options import vineyard_type

#: What the file is called where none is named and none is there.
USUAL = "my_vines.gpkg"


@click.command("serve")
@click.argument("vineyard", type=vineyard_type, required=False)
@click.option("--port", type=click.IntRange(1, 65535), default=8321, show_default=True, help="Port to listen on.")
@click.option("--lan", is_flag=True, help="Listen to the local network too, by https; a code is then asked for.")
@click.option("--plain", is_flag=True, help="With --lan: http, which others on the network can read along.")
@click.option(
    "--cert",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE",
    help="A certificate of your own, in place of the one that is made here.",
)
@click.option(
    "--key",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE",
    help="Its key, where it is a file of its own.",
)
@click.option("--browser/--no-browser", default=True, help="Open a browser.")
def command(
    vineyard: Path | None, port: int, lan: bool, plain: bool, cert: Path | None, key: Path | None, browser: bool
) -> None:
    """Log, look and import in a browser on this machine, over one vineyard file.

    A file that is not there yet is made from the first page, and blocks by a form. Without a name it is the vineyard file
    of this folder, or my_vines.gpkg where there is none.

    Records that are shown with a tick are on the disk. Stop it with Ctrl+C.

    With --lan it is https: a certificate is made at the first start, and browsers ask whether to trust it. Compare
    the fingerprint that they show with the one shown here, once on each device. A phone that goes on without trusting it
    may not keep the page for a day without a network: let it trust the certificate, or give one that it trusts (--cert).

    \b
    Example:
      trunkwatch serve
      trunkwatch serve my_vines.gpkg
      trunkwatch serve my_vines.gpkg --lan
      trunkwatch serve my_vines.gpkg --lan --cert office.pem
    """
    if plain and (not lan or cert):
        raise click.UsageError("--plain goes with --lan, and without --cert")
    vineyard = vineyard or _in_this_folder()
    _check_file(vineyard)
    from trunkwatch.access.audit import Done, note
    from trunkwatch.access.people import people_of
    from trunkwatch.web import serving
    from trunkwatch.web.app import create_app
    from trunkwatch.web.certificate import fingerprint_of, own_certificate
    from trunkwatch.web.security import Gate
    from trunkwatch.web.tidying import Tidying

    path = vineyard.resolve()
    made = lan and not plain and cert is None
    if made:
        cert, _ = own_certificate(path, serving.own_address())
    scheme = "https" if cert else "http"
    local, outside = (f"{scheme}://{name}:{port}/" for name in ("127.0.0.1", serving.own_address()))
    # A code is kept behind the people too: were all of them removed, nobody were let in by that.
    code = Gate.new_code() if lan else None
    app = create_app(path, hosts=serving.hosts_for(port, lan=lan), access_code=code, outside=outside if lan else "")
    run = serving.listen(app, "0.0.0.0" if lan else "127.0.0.1", port, cert=cert, key=key)  # noqa: S104 - asked for with --lan, behind the code
    people = any(person.lives for person in people_of(path).values())
    click.echo(f"{vineyard.name} is served at {local}")
    if not path.exists():
        click.echo(f"There is no vineyard yet: the first page makes it, as {path}")
    if people:
        click.echo("People are set up: everybody enters with a code of their own.")
    if lan:
        click.echo(f"On the local network: {outside}" + ("" if people else f"   access code: {code}"))
        click.echo(serving.qr_text(outside))
        note(path, Done.SERVED, desk=outside)
    if made and cert:
        click.echo(
            f"Browsers ask whether to trust it: compare the fingerprint (SHA-256) once on each device:\n{fingerprint_of(cert)}"
        )
    if lan and not cert:
        click.echo(
            "Without https others on the network can read along, codes too, and phones cannot install the page.",
            err=True,
        )
    if browser:
        import threading
        import webbrowser

        threading.Timer(0.6, webbrowser.open, [local]).start()
    with Tidying(vineyard):
        try:
            run()
        except KeyboardInterrupt:
            click.echo("Stopped.")


def _in_this_folder() -> Path:
    """Return the one vineyard file of this folder; the name of a new one where there is none."""
    from trunkwatch.errors import FileError, NotAVineyardError
    from trunkwatch.store import Store

    found = []
    for path in sorted(Path().glob("*.gpkg")):
        try:
            Store.open(path).close()
        except NotAVineyardError:
            continue  # a map of another kind
        except FileError:
            pass  # a vineyard in need of help: opening it says of which
        found.append(path)
    if len(found) > 1:
        listed = ", ".join(path.name for path in found)
        raise click.UsageError(
            f"{len(found)} vineyard files are here: {listed}; name one: trunkwatch serve {found[0].name}"
        )
    return found[0] if found else Path(USUAL)


def _check_file(vineyard: Path) -> None:
    """Refuse what cannot be served, or made.

    Raises
    ------
    FileError
        If it is a folder or damaged, or a new file cannot be made there.
    """
    from trunkwatch.errors import FileError, NotAVineyardError
    from trunkwatch.store import Store, refuse_shared

    refuse_shared(
        vineyard, "`trunkwatch serve`", "`trunkwatch log` adds records; `trunkwatch export` writes a file to look at"
    )
    if vineyard.is_dir():
        raise NotAVineyardError(
            f"{str(vineyard)!r} is a folder; serve needs the one-file form: `trunkwatch load {vineyard.name}.gpkg {vineyard}` makes it"
        )
    if vineyard.exists():
        Store.open(vineyard).close()
        return
    if vineyard.suffix.casefold() != ".gpkg":
        raise FileError(
            f"no file {str(vineyard)!r}; a new one ends in .gpkg: `trunkwatch serve {vineyard.with_suffix('.gpkg')}`"
        )
    folder = vineyard.resolve().parent
    if not folder.is_dir():
        raise FileError(f"no folder {str(folder)!r} for {vineyard.name}: make it first, or name another")
    if not os.access(folder, os.W_OK):
        raise FileError(
            f"{str(folder)!r} cannot be written to, and {vineyard.name} is not there yet: name a file in another folder"
        )

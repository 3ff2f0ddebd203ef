"""trunkwatch serve."""

from pathlib import Path

import click

from trunkwatch.cli.options import vineyard_argument


@click.command("serve")
@vineyard_argument
@click.option("--port", type=click.IntRange(1, 65535), default=8321, show_default=True, help="Port to listen on.")
@click.option("--lan", is_flag=True, help="Listen to the local network too; an access code is then asked for.")
@click.option(
    "--cert",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE",
    help="Certificate, for https.",
)
@click.option(
    "--key",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE",
    help="Its key, where it is a file of its own.",
)
@click.option("--browser/--no-browser", default=True, help="Open a browser.")
def command(vineyard: Path, port: int, lan: bool, cert: Path | None, key: Path | None, browser: bool) -> None:
    """Log, look and import in a browser on this machine, over one vineyard file.

    Records that are shown with a tick are on the disk. Stop it with Ctrl+C.

    \b
    Example:
      trunkwatch serve my_vines.gpkg
      trunkwatch serve my_vines.gpkg --lan --cert office.pem
    """
    from trunkwatch.errors import FileError, NotAVineyardError
    from trunkwatch.store import Store

    if vineyard.is_dir():
        raise NotAVineyardError(
            f"{str(vineyard)!r} is a folder; serve needs the one-file form: `trunkwatch load {vineyard.name}.gpkg {vineyard}` makes it"
        )
    if not vineyard.exists():
        raise FileError(f"no file {str(vineyard)!r}; `trunkwatch new {vineyard}` starts one")
    Store.open(vineyard).close()
    from trunkwatch.web.app import create_app
    from trunkwatch.web.security import Gate
    from trunkwatch.web.serving import hosts_for, listen, own_address, qr_text
    from trunkwatch.web.tidying import Tidying

    code = Gate.new_code() if lan else None
    app = create_app(vineyard.resolve(), hosts=hosts_for(port, lan=lan), access_code=code)
    run = listen(app, "0.0.0.0" if lan else "127.0.0.1", port, cert=cert, key=key)  # noqa: S104 - asked for with --lan, behind the code
    scheme = "https" if cert else "http"
    local = f"{scheme}://127.0.0.1:{port}/"
    click.echo(f"{vineyard.name} is served at {local}")
    if lan:
        outside = f"{scheme}://{own_address()}:{port}/"
        click.echo(f"On the local network: {outside}   access code: {code}")
        click.echo(qr_text(outside))
        if not cert:
            click.echo(
                "Without --cert others on the network could read along, and phones cannot install the page.", err=True
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

"""Listening: on this machine only, or with an access code on the local network."""

import socket
from collections.abc import Callable
from pathlib import Path

from flask import Flask

from trunkwatch.errors import FileError
from trunkwatch.web.patience import patient_server
from trunkwatch.web.tls import TlsDoor

__all__ = ["hosts_for", "listen", "own_address", "qr_text"]


def own_address() -> str:
    """Return the address under which others on the local network reach this machine; nothing is sent for it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(
                ("192.0.2.1", 9)
            )  # a documentation address (RFC 5737): a route is looked up, no packet goes out
        except OSError:
            return "127.0.0.1"
        return str(probe.getsockname()[0])


def hosts_for(port: int, *, lan: bool) -> frozenset[str]:
    """Return the names with ports under which the app may be asked."""
    names = {"127.0.0.1", "localhost", "[::1]"} | ({own_address(), socket.gethostname()} if lan else set())
    return frozenset(f"{name}:{port}" for name in names) | (frozenset(names) if port in (80, 443) else frozenset())


def listen(
    app: Flask, host: str, port: int, *, cert: Path | None = None, key: Path | None = None
) -> Callable[[], None]:
    """Bind, and return what runs the app until it is stopped.

    Raises
    ------
    FileError
        If the port is taken, or certificate and key cannot be read.
    """
    if cert is not None:
        door = TlsDoor(app, cert, key)
        return lambda: door.run(host, port)
    try:
        server = patient_server(app, host, port)
    except OSError as error:
        raise FileError(f"port {port} is taken: --port names another ({error.strerror})") from error
    run: Callable[[], None] = server.run
    return run


def qr_text(address: str) -> str:
    """Return an address as a QR code for a terminal."""
    import io

    import segno

    out = io.StringIO()
    segno.make(address, error="m").terminal(out=out, compact=True)
    return out.getvalue()

"""Listening: on this machine only, or with an access code on the local network."""

import socket
from collections.abc import Callable
from pathlib import Path

from flask import Flask

from trunkwatch.errors import FileError

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
        return _with_tls(app, host, port, cert, key)
    from waitress import create_server

    try:
        server = create_server(app, host=host, port=port, threads=8, ident=None, max_request_body_size=40_000_000)
    except OSError as error:
        raise FileError(f"port {port} is taken: --port names another ({error.strerror})") from error
    run: Callable[[], None] = server.run
    return run


def _with_tls(app: Flask, host: str, port: int, cert: Path, key: Path | None) -> Callable[[], None]:
    try:
        from cheroot.ssl.builtin import BuiltinSSLAdapter
        from cheroot.wsgi import Server
    except ImportError as error:
        raise FileError("https needs the package cheroot: pip install 'trunkwatch[https]'") from error
    try:
        adapter = BuiltinSSLAdapter(str(cert), str(key or cert))
    except (OSError, ValueError) as error:
        raise FileError(f"certificate {cert.name} with its key cannot be read: {error}") from error
    server = Server((host, port), app, numthreads=8)
    server.ssl_adapter = adapter

    def run() -> None:
        try:
            server.start()
        except OSError as error:
            raise FileError(f"port {port} is taken: --port names another ({error.strerror})") from error
        finally:
            server.stop()

    return run


def qr_text(address: str) -> str:
    """Return an address as a QR code for a terminal."""
    import io

    import segno

    out = io.StringIO()
    segno.make(address, error="m").terminal(out=out, compact=True)
    return out.getvalue()

"""https: a door in front of the server that speaks TLS, and lets nobody stand in it.

Each connection shakes hands by itself, within seconds: one that does not holds up no other. What
comes through is handed on to the server, which listens on this machine only and to this door only.
"""

import asyncio
import contextlib
import ssl
from collections.abc import Callable, Iterable
from pathlib import Path
from threading import Thread
from typing import Any

from flask import Flask

from trunkwatch.errors import FileError
from trunkwatch.web.patience import IDLE_S, MOST_CONNECTIONS, patient_server

__all__ = ["HANDSHAKE_S", "TlsDoor"]

#: Seconds in which a client must have shaken hands.
HANDSHAKE_S = 5.0
_PIECE = 1 << 16


class TlsDoor:
    """The door over one app.

    Raises
    ------
    FileError
        If certificate and key cannot be read.
    """

    def __init__(self, app: Flask, cert: Path, key: Path | None) -> None:
        try:
            self._secret = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
            self._secret.load_cert_chain(cert, key or cert)
        except (OSError, ValueError) as error:
            raise FileError(f"certificate {cert.name} with its key cannot be read: {error}") from error
        self._app = app
        self._clients: dict[int, str] = {}
        self._server = patient_server(self._through_the_door, "127.0.0.1", 0, scheme="https")

    def _through_the_door(self, environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        """Tell the app who really asks; what did not come through the door is refused."""
        client = self._clients.get(int(environ.get("REMOTE_PORT") or 0))
        if client is None:
            start("403 Forbidden", [("Content-Type", "text/plain")])
            return [b"Ask the address that was shown.\n"]
        environ["REMOTE_ADDR"] = client
        return self._app(environ, start)

    def run(self, host: str, port: int) -> None:
        """Listen until the program is stopped.

        Raises
        ------
        FileError
            If the port is taken.
        """
        Thread(target=self._server.run, daemon=True).start()
        asyncio.run(self._listen(host, port))

    async def _listen(self, host: str, port: int) -> None:
        try:
            server = await asyncio.start_server(
                self._hand_on, host, port, ssl=self._secret, ssl_handshake_timeout=HANDSHAKE_S, backlog=256
            )
        except OSError as error:
            raise FileError(f"port {port} is taken: --port names another ({error.strerror})") from error
        async with server:
            await server.serve_forever()

    async def _hand_on(self, asks: asyncio.StreamReader, answers: asyncio.StreamWriter) -> None:
        if len(self._clients) >= MOST_CONNECTIONS:
            answers.close()
            return
        inside, within = await asyncio.open_connection("127.0.0.1", self._server.effective_port)
        number = within.get_extra_info("sockname")[1]
        self._clients[number] = str(answers.get_extra_info("peername")[0])
        ways = [asyncio.ensure_future(_carry(asks, within)), asyncio.ensure_future(_carry(inside, answers))]
        try:
            await asyncio.wait(ways, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for way in ways:
                way.cancel()
            for end in (within, answers):
                end.close()
            await asyncio.gather(*ways, return_exceptions=True)
            self._clients.pop(number, None)


async def _carry(source: asyncio.StreamReader, target: asyncio.StreamWriter) -> None:
    with contextlib.suppress(OSError, TimeoutError, asyncio.TimeoutError):
        while piece := await source.read(_PIECE):
            target.write(piece)
            await asyncio.wait_for(target.drain(), IDLE_S)

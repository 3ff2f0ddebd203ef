"""How long a connection may take to say what it wants: whoever sends half a request holds up nobody."""

import time
from collections.abc import Callable
from typing import Any

from flask import Flask
from waitress import create_server
from waitress.channel import HTTPChannel

__all__ = ["IDLE_S", "MOST_CONNECTIONS", "SLOWEST", "WHOLE_S", "patient_server"]

#: Seconds in which a request must be whole; each so many bytes that came give one second more, for files.
WHOLE_S, SLOWEST = 10.0, 20_000
#: Seconds after which a connection that says nothing, or takes nothing, is closed.
IDLE_S = 20
MOST_CONNECTIONS = 1000


class _Channel(HTTPChannel):  # type: ignore[misc]  # the library has no types
    """A connection that is cut when a request does not get whole in its time."""

    _began: float | None = None
    _came = 0

    def received(self, data: bytes) -> Any:
        """Take what came, and note since when a request has been under way."""
        if self._began is None:
            self._began, self._came = time.monotonic(), 0
        self._came += len(data)
        taken = super().received(data)
        if self.request is None:
            self._began = None
        return taken

    def readable(self) -> Any:
        """Tell whether more is waited for; asked about once a second of every connection."""
        if self._began is not None and time.monotonic() - self._began > WHOLE_S + self._came / SLOWEST:
            self.will_close = True
        return super().readable()


def patient_server(app: Flask | Callable[..., Any], host: str, port: int, *, scheme: str = "http") -> Any:
    """Bind a server that cuts connections which keep it waiting.

    Raises
    ------
    OSError
        If the port is taken.
    """
    server = create_server(
        app,
        host=host,
        port=port,
        threads=8,
        ident=None,
        url_scheme=scheme,
        max_request_body_size=40_000_000,
        channel_timeout=IDLE_S,
        cleanup_interval=2,
        connection_limit=MOST_CONNECTIONS,
        backlog=256,
        asyncore_use_poll=True,
    )
    server.channel_class = _Channel
    return server

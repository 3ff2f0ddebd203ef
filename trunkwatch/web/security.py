"""Who may ask, from where, and what a page may run."""

import base64
import re
import secrets
import time
from collections.abc import Iterable
from dataclasses import dataclass, field
from hashlib import sha256

from flask import Request

__all__ = ["MOST_UPLOAD", "Gate", "allowed_host", "policy_of", "same_origin"]

#: Largest request, in bytes.
MOST_UPLOAD = 30_000_000
#: Tries of the access code in a window of so many seconds, from everyone together.
TRIES, WINDOW_S = 8, 300.0


def allowed_host(request: Request, hosts: Iterable[str]) -> bool:
    """Tell whether a request names this program as its host: a page elsewhere cannot rebind its own name."""
    return request.host in set(hosts)


def same_origin(request: Request) -> bool:
    """Tell whether a writing request comes from a page of this program."""
    origin = request.headers.get("Origin")
    if origin is not None:
        return origin == f"{request.scheme}://{request.host}"
    # Browsers send an Origin with every POST of a script; what has none must not be a browser's form.
    return request.headers.get("Sec-Fetch-Site", "none") in ("same-origin", "none")


def policy_of(html: str) -> str:
    """Return a Content-Security-Policy that lets a page run the scripts that are written in it, and no other."""
    scripts = re.findall(r"<script(?:\s[^>]*)?>(.*?)</script>", html, flags=re.DOTALL)
    marks = sorted({f"'sha256-{base64.b64encode(sha256(one.encode()).digest()).decode()}'" for one in scripts if one})
    listed = " ".join(["'self'", *marks])
    return (
        f"default-src 'none'; script-src {listed}; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
        "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    )


@dataclass(slots=True)
class Gate:
    """Asks for an access code where the program listens to others than this machine.

    Attributes
    ----------
    code : str or None
        The code; None where none is asked for.
    """

    code: str | None
    passes: set[str] = field(default_factory=set)
    failed: list[float] = field(default_factory=list)

    @staticmethod
    def new_code() -> str:
        """Make a code that can be typed on a phone: eight digits."""
        return f"{secrets.randbelow(10**8):08d}"

    def is_open_for(self, token: str | None) -> bool:
        """Tell whether a request with this pass may go on."""
        if self.code is None:
            return True
        return token is not None and any(secrets.compare_digest(token, one) for one in self.passes)

    def enter(self, code: str, now: float | None = None) -> str | None:
        """Return a pass for the right code; None for a wrong one, or while too many were wrong."""
        at = time.monotonic() if now is None else now
        self.failed = [one for one in self.failed if at - one < WINDOW_S]
        if self.code is None or len(self.failed) >= TRIES:
            return None
        if not secrets.compare_digest(code.strip().encode(), self.code.encode()):
            self.failed.append(at)
            return None
        token = secrets.token_urlsafe(32)
        self.passes.add(token)
        return token

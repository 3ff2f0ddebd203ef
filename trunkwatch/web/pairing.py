"""Pairing a phone: an address that holds once and for minutes, shown at the desk, opened on the phone."""

import secrets
import time
from dataclasses import dataclass, field
from threading import Lock

from flask import Blueprint, abort, current_app, g, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from trunkwatch.access.audit import Done
from trunkwatch.access.people import device_text
from trunkwatch.access.phones import pair_phone
from trunkwatch.web.allowed import PHONE_COOKIE, done, phone_visitor
from trunkwatch.web.security import cookie_name
from trunkwatch.web.vineyard import Vineyard

__all__ = ["COOKIE_S", "HOLDS_S", "Invitation", "Invitations", "pairing"]

pairing = Blueprint("pairing", __name__)

#: Seconds for which an address holds, and how many wait at most.
HOLDS_S, MOST_WAITING = 600.0, 50
#: Seconds for which the browser of a phone keeps what it shows at the door; browsers keep nothing longer.
COOKIE_S = 400 * 86_400


@dataclass(frozen=True, slots=True)
class Invitation:
    """A phone that is to be paired."""

    name: str
    person: str
    block: str
    until: float

    @property
    def device(self) -> str:
        """As records will name it."""
        return device_text(self.person, self.name)


@dataclass(slots=True)
class Invitations:
    """All that wait for their phone."""

    _waiting: dict[str, Invitation] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def add(self, name: str, person: str, block: str, now: float | None = None) -> str:
        """Invite a phone, and return what its address ends in."""
        at = time.monotonic() if now is None else now
        token = secrets.token_urlsafe(24)
        with self._lock:
            self._sweep(at)
            while len(self._waiting) >= MOST_WAITING:
                del self._waiting[min(self._waiting, key=lambda one: self._waiting[one].until)]
            self._waiting[token] = Invitation(name, person, block, at + HOLDS_S)
        return token

    def find(self, token: str, now: float | None = None) -> Invitation | None:
        """Return the invitation of an address; None where it is used, or too old."""
        with self._lock:
            self._sweep(time.monotonic() if now is None else now)
            return self._waiting.get(token)

    def take(self, token: str, now: float | None = None) -> Invitation | None:
        """Use an invitation: it holds once."""
        with self._lock:
            self._sweep(time.monotonic() if now is None else now)
            return self._waiting.pop(token, None)

    def _sweep(self, at: float) -> None:
        for token in [token for token, one in self._waiting.items() if one.until < at]:
            del self._waiting[token]


def _invitations() -> Invitations:
    there: Invitations = current_app.extensions["invitations"]
    return there


@pairing.get("/pair/<token>")
def ask(token: str) -> str | tuple[str, int]:
    """Show on the phone what it would be paired as; looking at it pairs nothing."""
    invited = _invitations().find(token)
    if invited is None:
        return render_template("pair.html", invited=None), 410
    return render_template("pair.html", invited=invited, token=token)


@pairing.post("/pair/<token>")
def pair(token: str) -> BaseResponse | tuple[str, int]:
    """Pair the phone that asks."""
    invited = _invitations().take(token)
    if invited is None:
        return render_template("pair.html", invited=None), 410
    vineyard: Vineyard = current_app.extensions["vineyard"]
    if invited.block not in vineyard.labels():
        abort(404)
    phone, cookie = pair_phone(vineyard.path, invited.name, invited.person)
    g.visitor = phone_visitor(phone)
    done(Done.PAIRED, phone=phone.device)
    answer = redirect(url_for("views.field", block=invited.block, file="index.html"))
    answer.set_cookie(
        cookie_name(PHONE_COOKIE, request),
        cookie,
        httponly=True,
        samesite="Strict",
        secure=request.is_secure,
        max_age=COOKIE_S,
    )
    return answer

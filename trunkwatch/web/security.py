"""Who may ask, from where, and what a page may run."""

import base64
import re
import secrets
import time
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from ipaddress import ip_address
from threading import Lock

from flask import Request

from trunkwatch.access.may import EVERYTHING, Right
from trunkwatch.access.people import Person, checked_name, device_text, person_with_code
from trunkwatch.errors import AccessError

__all__ = [
    "FREE_TRIES",
    "MOST_UPLOAD",
    "PASS",
    "PASS_S",
    "PROVED_S",
    "UNUSED_S",
    "Gate",
    "Visitor",
    "allowed_host",
    "cookie_name",
    "own_page",
    "policy_of",
    "same_origin",
]

#: Largest request, in bytes.
MOST_UPLOAD = 30_000_000
#: So many wrong codes an address has free; then it waits, twice as long after each, up to the longest.
FREE_TRIES, FIRST_S, LONGEST_S = 5, 2.0, 900.0
#: After so many seconds the wrong codes of an address are forgotten.
FORGET_S = 3600.0
MOST_ADDRESSES = 10_000
#: From so many wrong codes of all addresses within so many seconds on, one code is looked at in so many.
MANY, WINDOW_S, SLOW_S = 200, 300.0, 1.0
#: A pass ends when it was not used for 12 hours, and after 7 days.
UNUSED_S, PASS_S = 12 * 3600.0, 7 * 86_400.0
#: For so many seconds after the code was entered, people and phones may be changed.
PROVED_S = 300.0
PASS = "trunkwatch_pass"  # noqa: S105 - the name of a cookie


def allowed_host(request: Request, hosts: Iterable[str]) -> bool:
    """Tell whether a request names this program as its host: a page elsewhere cannot rebind its own name."""
    return request.host in set(hosts)


def cookie_name(name: str, request: Request) -> str:
    """Return the name of a cookie: over https browsers keep its sender to it, no neighbor can set one of that name."""
    return f"__Host-{name}" if request.is_secure else name


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


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who asks.

    Attributes
    ----------
    name : str
        The person; empty where no people are set up.
    device : str
        What the person writes on.
    may : frozenset of Right
        What is allowed.
    """

    name: str = ""
    device: str = ""
    may: frozenset[Right] = EVERYTHING

    @property
    def who(self) -> str:
        """Person and device, as records carry them; empty where no people are set up."""
        return device_text(self.name, self.device) if self.name else ""


@dataclass(slots=True)
class _Pass:
    """A browser that entered the code, or a person's own code.

    Attributes
    ----------
    code : str
        The access code; of a person what changes with every new code.
    began, used : float
        When it was given, and used last.
    number : int
        Of the person; 0 for the access code.
    device : str
        What the person writes on.
    proved : float
        When the code was entered last.
    news : list of str
        What was done to people and phones, and has not been looked at.
    """

    code: str
    began: float
    used: float
    number: int = 0
    device: str = ""
    proved: float = 0.0
    news: list[str] = field(default_factory=list)


def _nobody() -> Mapping[int, Person]:
    return {}


@dataclass(slots=True)
class _Tries:
    """Wrong codes from one address."""

    wrong: int = 0
    last: float = 0.0
    until: float = 0.0  # no try counts before


@dataclass(slots=True)
class Gate:
    """Asks for an access code where the program listens to others than this machine.

    Attributes
    ----------
    code : str or None
        The code; None where none is asked for. Passes hold for the code with which they were given.
    people : callable
        Returns who is set up now. Where anybody is, the access code lets nobody in: everybody has an own code.
    """

    code: str | None
    people: Callable[[], Mapping[int, Person]] = _nobody
    passes: dict[str, _Pass] = field(default_factory=dict)
    tries: dict[str, _Tries] = field(default_factory=dict)
    failed: deque[float] = field(default_factory=deque)
    lock: Lock = field(default_factory=Lock)
    entering: Lock = field(default_factory=Lock)

    @staticmethod
    def new_code() -> str:
        """Make a code that can be typed on a phone: eight digits."""
        return f"{secrets.randbelow(10**8):08d}"

    def is_open_for(self, token: str | None, now: float | None = None) -> bool:
        """Tell whether a request with this pass may go on."""
        return self.visitor(token, now) is not None

    def asks(self) -> bool:
        """Tell whether a code is asked for."""
        return self.code is not None or bool(self._living())

    def _living(self) -> dict[int, Person]:
        return {number: person for number, person in self.people().items() if person.lives}

    def visitor(self, token: str | None, now: float | None = None) -> Visitor | None:
        """Return who shows a pass; None where it lets nobody in (any more)."""
        people = self._living()
        if self.code is None and not people:
            return Visitor()
        at = time.time() if now is None else now
        with self.lock:
            known = self.passes.get(token or "")
            if known is None:
                return None
            person = people.get(known.number)
            now_valid = person.salt if person is not None else self.code if not people and not known.number else None
            if known.code != now_valid or at - known.used > UNUSED_S or at - known.began > PASS_S:
                del self.passes[token or ""]
                return None
            known.used = at
            return Visitor(person.name, known.device, person.may) if person is not None else Visitor()

    def leave(self, token: str | None) -> None:
        """End a pass."""
        with self.lock:
            self.passes.pop(token or "", None)

    def wait_of(self, client: str, now: float | None = None) -> float:
        """Return the seconds that an address must wait before a code is looked at."""
        at = time.time() if now is None else now
        with self.lock:
            return self._wait(_network(client), at)

    def _wait(self, client: str, at: float) -> float:
        while self.failed and at - self.failed[0] >= WINDOW_S:
            self.failed.popleft()
        own = self.tries.get(client)
        wait = max(0.0, own.until - at) if own else 0.0
        # Very many at once are a search of all codes from many addresses: then one code a second, whosever it is.
        return max(wait, self.failed[-1] + SLOW_S - at) if len(self.failed) >= MANY else wait

    def enter(self, code: str, client: str = "", now: float | None = None, *, device: str = "") -> str | None:
        """Return a pass for the right code; None for a wrong one, or where the address must wait."""
        at = time.time() if now is None else now
        client = _network(client)
        with self.entering:  # one code at a time: to look at one takes a moment, on purpose
            with self.lock:
                if self._wait(client, at) > 0:
                    return None
            given = self._given(code[:64], at, device)
            with self.lock:
                if given is None:
                    if self.asks():
                        self._note_wrong(client, at)
                    return None
                self.tries.pop(client, None)
                token = secrets.token_urlsafe(32)
                given.proved = at
                self.passes[token] = given
                for old in [name for name, one in self.passes.items() if at - one.used > UNUSED_S]:
                    del self.passes[old]
                return token

    def is_proved(self, token: str | None, now: float | None = None) -> bool:
        """Tell whether the code of a pass was entered within the last minutes, or none is asked for."""
        if not self.asks():
            return True
        at = time.time() if now is None else now
        with self.lock:
            known = self.passes.get(token or "")
            return known is not None and at - known.proved <= PROVED_S

    def prove(self, token: str | None, code: str, client: str = "", now: float | None = None) -> bool:
        """Take the code of a pass once more; that of somebody else is a wrong one, and wrong ones are counted as at the door."""
        at = time.time() if now is None else now
        client = _network(client)
        with self.entering:
            with self.lock:
                known = self.passes.get(token or "")
                if known is None or self._wait(client, at) > 0:
                    return False
            given = self._given(code, at, known.device)
            with self.lock:
                if given is None or (given.number, given.code) != (known.number, known.code):
                    self._note_wrong(client, at)
                    return False
                self.tries.pop(client, None)
                known.proved = at
                return True

    def tell(self, line: str, right: Right, *, but: str) -> None:
        """Let every browser know something whose person has a right, but for one person."""
        people = self._living()
        with self.lock:
            for one in self.passes.values():
                person = people.get(one.number)
                if person is not None and right in person.may and person.name != but:
                    one.news.append(line)

    def news_of(self, token: str | None) -> list[str]:
        """Return what a browser is to be told."""
        with self.lock:
            known = self.passes.get(token or "")
            return list(known.news) if known is not None else []

    def set_news(self, token: str, lines: Iterable[str]) -> None:
        """Set what a browser is to be told; nothing more once it was looked at."""
        with self.lock:
            if token in self.passes:
                self.passes[token].news = list(lines)

    def _given(self, code: str, at: float, device: str) -> _Pass | None:
        people = self._living()
        if people:
            person = person_with_code(people, code)
            return None if person is None else _Pass(person.salt, at, at, person.number, _device(device))
        if self.code is None or not secrets.compare_digest(code.strip().encode("utf-8", "replace"), self.code.encode()):
            return None
        return _Pass(self.code, at, at)

    def _note_wrong(self, client: str, at: float) -> None:
        self.failed.append(at)
        own = self.tries.get(client)
        if own is None or at - own.last > FORGET_S:
            if len(self.tries) >= MOST_ADDRESSES:
                del self.tries[min(self.tries, key=lambda name: self.tries[name].last)]
            own = self.tries[client] = _Tries()
        own.wrong, own.last = own.wrong + 1, at
        if own.wrong >= FREE_TRIES:
            own.until = at + min(LONGEST_S, FIRST_S * 2 ** min(own.wrong - FREE_TRIES, 20))


def _device(text: str) -> str:
    """Return the name of a device as records carry it; a plain one where it cannot be one."""
    try:
        return checked_name(text, "device")
    except AccessError:
        return "desk"


def _network(client: str) -> str:
    """Return the address, or of a long one the part that names the network: the rest anybody there can choose."""
    try:
        address = ip_address(client.partition("%")[0])
    except ValueError:
        return client
    if address.version == 4:
        return str(address)
    mapped = address.ipv4_mapped
    return str(mapped) if mapped else address.exploded[:19]


def own_page(wanted: str) -> str:
    """Return the page of this program that is wanted next; the first where the text could lead anywhere else.

    Browsers drop tabs and line ends in an address and read a backslash as a slash: what has any of them is no page here.
    """
    return wanted if re.fullmatch(r"/(?!/)[^\\\x00-\x1f\x7f]*", wanted) else "/"

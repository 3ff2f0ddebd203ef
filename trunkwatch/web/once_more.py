"""The code once more, before people or phones are changed; and what keepers are told of such changes."""

import math
from collections.abc import Mapping
from itertools import islice
from pathlib import Path

from flask import current_app, g, render_template, request

from trunkwatch.access.audit import Done, entries_of
from trunkwatch.access.may import Right
from trunkwatch.access.people import person_in
from trunkwatch.web.allowed import done, visitor
from trunkwatch.web.security import PASS, Gate, cookie_name

__all__ = ["ask_once_more", "changed", "news_at_entering", "news_here", "news_seen"]

#: Field in which the code comes.
FIELD = "own_code"
#: What is told, and in how many lines of what was done it is looked for.
TOLD = frozenset({Done.ADDED, Done.NEW_CODE, Done.REMOVED, Done.PAIRED, Done.STOPPED})
MOST_LINES, MOST_TOLD = 5000, 5


def _gate() -> Gate:
    gate: Gate = current_app.extensions["gate"]
    return gate


def _pass() -> str | None:
    return request.cookies.get(cookie_name(PASS, request))


def ask_once_more() -> tuple[str, int] | None:
    """Ask for the code where it was entered too long ago; what was filled in is kept in the page that asks."""
    gate, client = _gate(), request.remote_addr or ""
    if request.method != "POST" or gate.is_proved(_pass()):
        return None
    code = request.form.get(FIELD, "")[:64]
    waits = gate.wait_of(client) > 0
    if code and gate.prove(_pass(), code, client):
        return None
    if code and not waits:
        done(Done.WRONG_CODE)
    fields = [(name, value[:200]) for name, value in request.form.items(multi=True) if name != FIELD]
    wait = math.ceil(gate.wait_of(client))
    back = "/phones" if request.path.startswith("/phones") else "/people"
    return render_template(
        "once_more.html", where=request.path, back=back, fields=fields, wrong=bool(code), wait=wait
    ), 403


def changed(what: Done, **more: str | int) -> None:
    """Note a change of people or phones, and let keepers who are in know of it."""
    done(what, **more)
    line = _sentence(visitor().name, what.value, more)
    _gate().tell(line, Right.KEEP, but=visitor().name)


def news_at_entering(vineyard: Path, name: str, *, keeps: bool) -> list[str]:
    """Return what was done to people and phones since a person entered last, oldest first.

    Parameters
    ----------
    vineyard : Path
        The file.
    name : str
        Who has just entered, which is not noted yet.
    keeps : bool
        Whether the person keeps the people; others are told of their own code only.
    """
    found: list[str] = []
    for entry in islice(entries_of(vineyard), MOST_LINES):
        if person_in(entry.who) == name:
            if entry.done == Done.ENTERED:
                break
            continue
        if entry.done in TOLD and (keeps or (entry.done == Done.NEW_CODE and entry.more.get("person") == name)):
            found.append(_sentence(person_in(entry.who), entry.done, entry.more))
    return found[::-1]


def _sentence(who: str, what: str, more: Mapping[str, str | int]) -> str:
    about = next((str(more[name]) for name in ("person", "phone") if name in more), "")
    return f"{who or 'somebody at this machine'} {what}: {about}"


def news_here() -> str:
    """Return what this browser is to be told, in one line; nothing once it has looked at what was done."""
    lines = _gate().news_of(_pass()) if g.get("visitor") is not None else []
    more = len(lines) - MOST_TOLD
    return "; ".join(lines[-MOST_TOLD:]) + (f"; and {more} more" if more > 0 else "")


def news_seen() -> None:
    """Forget what this browser was to be told."""
    _gate().set_news(_pass() or "", [])

"""Which right each address needs. What writes and stands in no list is refused: nothing is open by oversight."""

import sys
from collections.abc import Mapping
from pathlib import Path

from flask import current_app, g, request
from werkzeug.exceptions import Forbidden

from trunkwatch.access.audit import Done, note
from trunkwatch.access.may import Right
from trunkwatch.access.people import people_of
from trunkwatch.access.phones import Phone, phone_with_cookie, phones_of
from trunkwatch.errors import FileError
from trunkwatch.web.security import Gate, Visitor, cookie_name
from trunkwatch.web.vineyard import Vineyard

__all__ = ["NEEDS", "OPEN", "PHONE_COOKIE", "PHONE_ROUTES", "NotAllowedError", "check_right", "done", "paired_phone", "phone_visitor", "visitor"]  # fmt: skip

#: Endpoint -> rights of which one is enough; a route that writes looks closer where that is not all.
NEEDS: Mapping[str, frozenset[Right]] = {
    "writing.log": frozenset({Right.LOG}),
    "photos.add": frozenset({Right.LOG}),
    # A tick needs the right to log, an own record the right to correct one's own: `writing` tells which it is.
    "writing.correct": frozenset({Right.LOG, Right.CORRECT_OWN, Right.CORRECT_ALL}),
    "writing.planned_again": frozenset({Right.LOG, Right.CORRECT_OWN, Right.CORRECT_ALL}),
    "writing.plan": frozenset({Right.CORRECT_ALL}),  # it drops and changes work that is planned
    "writing.sync": frozenset({Right.LOG}),
    "imports.choose": frozenset({Right.IMPORT}),
    "imports.hand_in": frozenset({Right.IMPORT}),
    "imports.look": frozenset({Right.IMPORT}),
    "imports.leave": frozenset({Right.IMPORT}),
    "imports.try_map": frozenset({Right.IMPORT}),
    "imports.take": frozenset({Right.IMPORT}),
    "books.show": frozenset({Right.IMPORT}),
    "books.answer": frozenset({Right.IMPORT}),
    "books.take": frozenset({Right.IMPORT}),
    "books.drawing": frozenset({Right.IMPORT}),
    "start.vineyard": frozenset({Right.IMPORT}),
    "start.make_vineyard": frozenset({Right.IMPORT}),
    "start.block": frozenset({Right.IMPORT}),  # a block is what else comes in by a file
    "start.make_block": frozenset({Right.IMPORT}),
    "start.look": frozenset({Right.IMPORT}),  # it writes nothing, and belongs to the form
    "manners.set_settings": frozenset({Right.IMPORT}),  # it holds for everybody, as a new block does
    "forecasts.bring": frozenset({Right.IMPORT}),  # a file, and it holds for everybody at this desk
    "forecasts.leave": frozenset({Right.IMPORT}),
    "keeping.people": frozenset({Right.KEEP}),
    "keeping.add": frozenset({Right.KEEP}),
    "keeping.again": frozenset({Right.KEEP}),
    "keeping.remove": frozenset({Right.KEEP}),
    "keeping.phones": frozenset({Right.KEEP}),
    "keeping.invite": frozenset({Right.KEEP}),
    "keeping.stop": frozenset({Right.KEEP}),
    "keeping.audit": frozenset({Right.KEEP}),
}
#: Endpoints that are open to whoever asks, and why.
OPEN: Mapping[str, str] = {
    "static": "scripts and styles, the same for everybody",
    "shared": "scripts that other pages have too, the same for everybody",
    "enter": "where the code is entered",
    "enter_code": "where a phone enters the code",
    "leave": "it ends the pass that is shown, and no other",
    "pairing.ask": "whoever holds the one-time address may look at it",
    "pairing.pair": "whoever holds the one-time address may pair one phone with it, once, within minutes",
}
#: Of these, files that are the same whoever asks, and whatever vineyard is open.
SCRIPTS = frozenset({"static", "shared"})
#: What a paired phone may ask without a code: its page, that of a recheck, and to hand over.
PHONE_ROUTES = frozenset({"views.field", "views.field_door", "views.recheck", "writing.sync"})
PHONE_COOKIE = "trunkwatch_phone"


class NotAllowedError(Forbidden):
    """The person may not do this."""


def _vineyard() -> Path:
    vineyard: Vineyard = current_app.extensions["vineyard"]
    return vineyard.path


def visitor() -> Visitor:
    """Return who asks."""
    here: Visitor = g.visitor
    return here


def paired_phone() -> Phone | None:
    """Return the paired phone that asks; None where it is another browser, or the phone was stopped."""
    cookie = request.cookies.get(cookie_name(PHONE_COOKIE, request))
    return phone_with_cookie(phones_of(_vineyard()), cookie) if cookie else None


def phone_visitor(phone: Phone | None) -> Visitor | None:
    """Return who asks with a phone: its person, with the rights that the person has now."""
    if phone is None:
        return None
    living = [person for person in people_of(_vineyard()).values() if person.lives]
    person = next((one for one in living if one.name == phone.person), None)
    if person is not None:
        return Visitor(person.name, phone.name, person.may)
    # Paired before there were people: with people, everybody who writes has a name.
    return None if living or phone.person else Visitor("", phone.name)


def check_right() -> None:
    """Refuse what the person may not do.

    Raises
    ------
    NotAllowedError
        If no right of the person is enough, or the address stands in no list.
    """
    endpoint = request.endpoint
    if endpoint is None:
        return  # there is no such page, and that is what is said
    writes = request.method not in ("GET", "HEAD", "OPTIONS")
    needed = NEEDS.get(endpoint, frozenset() if writes else frozenset({Right.LOOK}))
    if endpoint in PHONE_ROUTES and not writes:
        needed = frozenset({Right.LOOK, Right.LOG})
    if not needed & visitor().may:
        refuse(endpoint, needed)


def refuse(endpoint: str, needed: frozenset[Right]) -> None:
    """Say that a right is missing, and note it.

    Raises
    ------
    NotAllowedError
        Always.
    """
    done(Done.NOT_ALLOWED, asked=endpoint)
    listed = " or ".join(sorted(needed)) or "none: it is open to nobody"
    raise NotAllowedError(
        f"{visitor().name or 'You'} may not do this; it needs the right {listed}. Who keeps the people of this desk can give it."
    )


def done(what: Done, **more: str | int) -> None:
    """Note what was done, by whom and from where."""
    here: Visitor | None = g.get("visitor")
    gate: Gate = current_app.extensions["gate"]
    nobody = "access code" if gate.code is not None else "this machine"
    who = (here.who or here.device or nobody) if here is not None else ""
    try:
        note(_vineyard(), what, who, request.remote_addr or "", **more)
    except FileError as error:
        # What was written stays written, and nobody is told otherwise; who runs the desk sees it.
        print(f"not noted: {what}: {error}", file=sys.stderr)  # noqa: T201

"""Pages of those who keep the desk: people and their rights, paired phones, and what was done."""

from itertools import islice
from urllib.parse import urlsplit

import segno
from flask import Blueprint, abort, current_app, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from trunkwatch.access.audit import Done, entries_of
from trunkwatch.access.may import ROLES, Right, read_rights, rights_text
from trunkwatch.access.people import Person, add_person, checked_name, new_code, people_of
from trunkwatch.access.phones import let_go, next_name, phones_of, stop_phone
from trunkwatch.errors import AccessError
from trunkwatch.web.allowed import visitor
from trunkwatch.web.once_more import ask_once_more, changed, news_seen
from trunkwatch.web.pairing import HOLDS_S, Invitations
from trunkwatch.web.vineyard import Vineyard

__all__ = ["keeping"]

keeping = Blueprint("keeping", __name__)
keeping.before_request(ask_once_more)

#: So many lines of what was done are shown.
SHOWN = 500
LOCAL = ("127.0.0.1", "localhost", "::1")


def _vineyard() -> Vineyard:
    there: Vineyard = current_app.extensions["vineyard"]
    return there


def _text(name: str) -> str:
    return request.form.get(name, "")[:200]


def _people_page(person: Person | None = None, code: str = "") -> str:
    everybody = people_of(_vineyard().path).values()
    return render_template(
        "people.html",
        people=[one for one in everybody if one.lives],
        gone=[one for one in everybody if not one.lives],
        rights=list(Right),
        roles=ROLES,
        rights_text=rights_text,
        person=person,
        code=code,
        me=visitor().name,
    )


@keeping.get("/people")
def people() -> str:
    """Show who may do what."""
    return _people_page()


@keeping.post("/people/add")
def add() -> str:
    """Add a person; the code is shown on this page and never again."""
    words = [word[:40] for word in request.form.getlist("may")]
    person, code = add_person(_vineyard().path, _text("name"), read_rights(words))
    changed(Done.ADDED, person=person.name, may=rights_text(person.may))
    return _people_page(person, code)


@keeping.post("/people/code")
def again() -> str:
    """Give a person a new code."""
    person, code = new_code(_vineyard().path, _text("name"))
    changed(Done.NEW_CODE, person=person.name)
    return _people_page(person, code)


@keeping.post("/people/remove")
def remove() -> BaseResponse:
    """Let a person in no more, and stop the person's phones."""
    name = " ".join(_text("name").split())
    if name.casefold() == visitor().name.casefold():
        raise AccessError(f"{name!r} is you: somebody else who keeps people can remove you")
    person, phones = let_go(_vineyard().path, name)
    changed(Done.REMOVED, person=person.name, phones=len(phones))
    return redirect(url_for("keeping.people"))


@keeping.get("/phones")
def phones() -> str:
    """Show which phones are paired."""
    every = phones_of(_vineyard().path)
    return render_template(
        "phones.html",
        phones=[one for one in every if one.lives],
        gone=[one for one in every if not one.lives],
        blocks=_vineyard().labels(),
        name=next_name(every),
        people=_names(),
        me=visitor().name,
        address="",
    )


def _names() -> list[str]:
    return [one.name for one in people_of(_vineyard().path).values() if one.lives and Right.LOG in one.may]


@keeping.post("/phones/invite")
def invite() -> str:
    """Show the address that pairs one phone, as a picture for its camera."""
    block, person = _text("block"), _text("person")
    if block not in _vineyard().labels():
        abort(404)
    if person not in (_names() or [""]):
        raise AccessError(
            f"{person[:60]!r} cannot have a phone: one of {', '.join(_names()) or 'nobody'} (who may log)"
        )
    every = phones_of(_vineyard().path)
    name = checked_name(_text("name") or next_name(every), "name of a phone")
    if any(one.name.casefold() == name.casefold() for one in every):
        raise AccessError(f"there is, or was, a phone {name!r}: choose another name, its records keep that one")
    waiting: Invitations = current_app.extensions["invitations"]
    token = waiting.add(name, person, block)
    base = current_app.config["OUTSIDE"] or request.url_root
    address = base.rstrip("/") + url_for("pairing.ask", token=token)
    return render_template(
        "phones.html",
        address=address,
        picture=segno.make(address, error="m").svg_data_uri(scale=6, border=3),
        name=name,
        minutes=int(HOLDS_S // 60),
        here_only=urlsplit(address).hostname in LOCAL,
    )


@keeping.post("/phones/stop")
def stop() -> BaseResponse:
    """Take nothing more from a phone."""
    phone = stop_phone(_vineyard().path, _text("name"))
    changed(Done.STOPPED, phone=phone.device)
    return redirect(url_for("keeping.phones"))


@keeping.get("/audit")
def audit() -> str:
    """Show what was done, newest first."""
    news_seen()
    found = list(islice(entries_of(_vineyard().path), SHOWN))
    return render_template("audit.html", entries=found, shown=SHOWN)

"""From nothing: the page that makes the vineyard file, and the form with a live drawing that makes a block."""

from collections.abc import Mapping, Sequence
from typing import Any

from flask import Blueprint, Response, current_app, jsonify, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from trunkwatch.access.audit import Done
from trunkwatch.access.private import turn
from trunkwatch.errors import FileError
from trunkwatch.intake.block_form import FIELDS, UNITS, TypedBlock, read_block_form
from trunkwatch.intake.settings import set_manner
from trunkwatch.intake.start import start_file
from trunkwatch.store import Store
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.tables import number_or_none, records_of
from trunkwatch.web.allowed import done, visitor
from trunkwatch.web.bodies import sent_json
from trunkwatch.web.drawn import laid_out
from trunkwatch.web.said import said_of, write_said
from trunkwatch.web.vineyard import Vineyard

__all__ = ["WITHOUT_A_FILE", "start"]

start = Blueprint("start", __name__)

#: Pages that need no vineyard file.
WITHOUT_A_FILE = frozenset({"start.vineyard", "start.make_vineyard", "views.icon"})
MOST_TYPED = 60_000


def _vineyard() -> Vineyard:
    there: Vineyard = current_app.extensions["vineyard"]
    return there


# ---- The file -----------------------------------------------------------------------------------------------------


@start.get("/new")
def vineyard() -> BaseResponse | str:
    """Offer to make the vineyard file, where there is none yet."""
    if not _vineyard().is_to_be_made():
        return redirect(url_for("views.blocks"))
    return _vineyard_page({}, {})


def _vineyard_page(typed: Mapping[str, str], wrong: Mapping[str, str]) -> str:
    path = _vineyard().path
    return render_template("new_vineyard.html", path=path, typed=typed, wrong=wrong, sides=codes.HEMISPHERES)


@start.post("/new")
def make_vineyard() -> BaseResponse | str | tuple[str, int]:
    """Make the vineyard file, whole or not at all; one that is there stays as it is."""
    if not _vineyard().is_to_be_made():
        return redirect(url_for("views.blocks"))
    typed = {name: " ".join(request.form.get(name, "")[:200].split()) for name in ("name", "hemisphere", "units")}
    wrong = _wrong_with(typed)
    if wrong:
        return _vineyard_page(typed, wrong), 422
    path = _vineyard().path
    with turn(path):
        if path.exists():
            raise FileError(f"{path} is there already, and stays as it is: go to the blocks")
        write_said(path, typed)
        Store.create(path)
    if typed["units"] == "us":
        set_manner(path, {"units": "us"}, device=visitor().who)
    done(Done.BEGAN, called=typed["name"])
    return redirect(url_for("imports.choose" if request.form.get("from") == "workbook" else "start.block"))


def _wrong_with(typed: Mapping[str, str]) -> dict[str, str]:
    wrong = {}
    if not typed["name"]:
        wrong["name"] = "What is the vineyard called?"
    elif not typed["name"].isprintable() or len(typed["name"]) > 80:
        wrong["name"] = f"\u201c{typed['name'][:40]}\u201d: a name of up to 80 letters, figures and signs is needed."
    if typed["hemisphere"] not in codes.HEMISPHERES:
        wrong["hemisphere"] = "On which side of the equator? It says which season a day belongs to."
    if typed["units"] not in UNITS:
        wrong["units"] = "Meters or feet?"
    return wrong


# ---- A block ------------------------------------------------------------------------------------------------------


def _typed(sent: Mapping[str, Any]) -> dict[str, str]:
    """Return the fields of the form as they were typed."""
    return {name: value[:MOST_TYPED] for name in (*FIELDS, "vineyard") if isinstance(value := sent.get(name, ""), str)}


def _owners(store: Store) -> tuple[str, ...]:
    """Return the vineyards that a block can go to."""
    return tuple(store.names().vineyards)


def _read(typed: Mapping[str, str]) -> tuple[TypedBlock, str]:
    """Read the form, and to which vineyard the block goes."""
    path = _vineyard().path
    with Store.open(path) as store:
        owners = _owners(store)
        said = said_of(path).get("name") or path.stem
        owner = typed.get("vineyard", "") if len(owners) > 1 else owners[0] if owners else said
        known = {label for one in store.names().every for vineyard, label in one.names if vineyard == owner}
    found = read_block_form(typed, known)
    if len(owners) > 1 and owner not in owners:
        expected = ", ".join(one or "the one without a name" for one in owners)
        found.faults.append(
            Fault("fault", "no vineyard of this file", column="vineyard", value=owner, expected=expected)
        )
    return found, owner


def _sentences(faults: Sequence[Fault]) -> dict[str, str]:
    """Say what is wrong, by field."""
    wrong: dict[str, list[str]] = {}
    for one in faults:
        value = f"\u201c{one.value}\u201d: " if one.value else ""
        problem = f"{value}{one.problem}"
        wanted = f" Expected: {one.expected}." if one.expected else ""
        wrong.setdefault(one.column or "block", []).append(f"{problem[0].upper()}{problem[1:]}.{wanted}")
    return {column: " ".join(lines[:3]) for column, lines in wrong.items()}


def _block_page(typed: Mapping[str, str], wrong: Mapping[str, str]) -> str:
    with Store.open(_vineyard().path) as store:
        owners = _owners(store)
    return render_template(
        "new_block.html",
        typed=typed,
        wrong=wrong,
        owners=owners if len(owners) > 1 else (),
        sides=codes.HEMISPHERES,
        trainings=codes.TRAININGS,
        rows_go=codes.ROWS_GO,
        numbering=codes.NUMBERING,
        any_block=bool(_vineyard().labels()),
    )


def _usual() -> dict[str, str]:
    """Return what holds for the vineyard, as it was said or as its blocks have it."""
    path = _vineyard().path
    said = said_of(path)
    with Store.open(path) as store:
        blocks = records_of(store.frame("blocks"))
    latitudes = [number_or_none(one.get("latitude")) for one in blocks]
    sides = {str(one["hemisphere"]) for one in blocks if one["hemisphere"]}
    sides |= {"south" if latitude < 0 else "north" for latitude in latitudes if latitude is not None}
    side = said.get("hemisphere") or (sides.pop() if len(sides) == 1 else "")
    return {
        "hemisphere": side,
        "units": said.get("units", "metric"),
        "first_label": "1",
        "rows_go": "right",
        "numbering": "same_end",
    }


@start.get("/new-block")
def block() -> str:
    """Show the form for a block."""
    return _block_page(_usual(), {})


@start.post("/api/new-block/look")
def look() -> Response:
    """Draw the block as it is typed, and say what is wrong; nothing is written."""
    sent = sent_json()
    typed = _typed(sent if isinstance(sent, dict) else {})
    found, _ = _read(typed)
    unit = UNITS.get(typed.get("units", ""), "m")
    drawing = laid_out(found.grid, found.record, unit) if found.grid is not None else None
    return jsonify(wrong=_sentences(found.faults), drawing=drawing)


@start.post("/new-block")
def make_block() -> BaseResponse | tuple[str, int]:
    """Make the block, by the road of `trunkwatch new`; one that is there stays as it is."""
    typed = _typed(request.form)
    found, owner = _read(typed)
    if found.faults:
        return _block_page(typed, _sentences(found.faults)), 422
    who = {"device": visitor().who} if visitor().who else {}
    start_file(_vineyard().path, {**found.record, **who, "vineyard": owner}, found.rows)
    with Store.open(_vineyard().path) as store:
        made = store.names().of_name(owner, found.record["block"])
        label = store.names().outside(made) if made is not None else found.record["block"]
    done(Done.NEW_BLOCK, block=label, rows=len(found.rows))
    return redirect(url_for("views.block", block=label))

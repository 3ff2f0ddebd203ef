"""How the desk speaks: as the settings of its vineyard say, in every page; and the form that changes them."""

from contextlib import ExitStack

from flask import Blueprint, Response, current_app, g, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from trunkwatch.access.audit import Done
from trunkwatch.errors import TrunkwatchError
from trunkwatch.intake.settings import set_manner
from trunkwatch.store import Store
from trunkwatch.vineyard.manner import AMERICAN, SETTINGS, Manner, speaking
from trunkwatch.vineyard.spelling import spelled_page
from trunkwatch.web.allowed import SCRIPTS, done, visitor
from trunkwatch.web.vineyard import Vineyard

__all__ = ["manners", "speak", "spell", "stop_speaking"]

manners = Blueprint("manners", __name__)

#: What the form says of each value.
_WORDS = {
    "spelling": ("Spelling", {"american": "American", "british": "British", "australian": "Australian"}),
    "units": ("Units of pages", {"metric": "meters, centimeters, Celsius", "us": "feet, inches, Fahrenheit"}),
    "paper": ("Paper of printed sheets", {"a4": "A4", "letter": "Letter"}),
}


def _vineyard() -> Vineyard:
    there: Vineyard = current_app.extensions["vineyard"]
    return there


def speak() -> None:
    """Speak in this request as the vineyard of its block says; a file that cannot be read is spoken of as ever."""
    g.speaks = ExitStack()
    g.speaks.enter_context(speaking(_manner()))


def _manner() -> Manner:
    vineyard = _vineyard()
    if request.endpoint in SCRIPTS or vineyard.is_to_be_made():
        return AMERICAN
    block = str((request.view_args or {}).get("block", ""))
    try:
        return vineyard.manner(block if block in vineyard.labels() else None)
    except TrunkwatchError:
        return AMERICAN


def stop_speaking(_error: BaseException | None = None) -> None:
    """Leave nothing of this request to the next one."""
    if (speaks := g.pop("speaks", None)) is not None:
        speaks.close()


def spell(answer: Response) -> Response:
    """Spell a page as the vineyard does."""
    if answer.mimetype == "text/html" and not answer.direct_passthrough:
        page = answer.get_data(as_text=True)
        if (put := spelled_page(page)) != page:
            answer.set_data(put)
    return answer


@manners.get("/settings")
def settings() -> str:
    """Show how the people of the vineyard are spoken to, to change it."""
    with Store.open(_vineyard().path) as store:
        owners = store.names().vineyards
    wanted = request.args.get("vineyard", owners[0] if owners else "")
    return render_template(
        "settings.html", words=_WORDS, owners=owners if len(owners) > 1 else (), owner=wanted, now=_now(wanted)
    )


def _now(owner: str) -> Manner:
    """Return what holds for a vineyard."""
    with Store.open(_vineyard().path) as store:
        names = store.names()
        blocks = [names.outside(one) for one in names.blocks if one.vineyard == owner]
    return _vineyard().manner(blocks[0] if blocks else None)


@manners.post("/settings")
def set_settings() -> BaseResponse:
    """Write settings; the pages speak so from the next one on."""
    owner = request.form.get("vineyard")
    wished = {name: request.form.get(name, "") for name in SETTINGS}
    set_manner(
        _vineyard().path, {name: value for name, value in wished.items() if value}, vineyard=owner, device=visitor().who
    )
    done(Done.SET)
    return redirect(url_for("manners.settings", vineyard=owner) if owner else url_for("manners.settings"))

"""The page of a block's cold at the desk: what the winter took, when to prune, and what measures and a forecast change of it."""

import datetime as dt
from typing import Any

from flask import Blueprint, abort, current_app, render_template, request, url_for

from trunkwatch.cold.answers import ColdAsked, answers_of_store
from trunkwatch.cold.measure_words import MEASURES
from trunkwatch.cold.with_measures import Measure
from trunkwatch.cold.words import GROUPS
from trunkwatch.report.cold_page import cold_html
from trunkwatch.store import Store
from trunkwatch.vineyard.calendar import is_iso_date
from trunkwatch.web.forecasts import forecast_in_use, forecast_lines, without_options
from trunkwatch.web.vineyard import Vineyard, today
from trunkwatch.winter_model.cultivars import Group

__all__ = ["asked_measures", "asked_stand_in", "choices", "cold"]

cold = Blueprint("cold", __name__)


@cold.get("/block/<label:block>/cold")
def winter(block: str) -> str:
    """Say what the cold took of a block, and when to prune it."""
    vineyard: Vineyard = current_app.extensions["vineyard"]
    if block not in vineyard.labels():
        abort(404)
    text = request.args.get("date", "").strip() or today()
    wrong = "" if is_iso_date(text) else f"Day: {text[:20]!r} is no day; write it as YYYY-MM-DD."
    day = dt.date.fromisoformat(today() if wrong else text)
    asked = ColdAsked(asked_stand_in(), forecast=forecast_in_use(day), measures=asked_measures())
    with Store.open(vineyard.path) as store:
        found = answers_of_store(store, block, day, asked)
    above = render_template(
        "cold_ask.html",
        block=block,
        day=day.isoformat(),
        wrong=wrong,
        lines=forecast_lines(dt.date.fromisoformat(today())),
        **choices(asked.measures, asked.stand_in),
    )
    head = render_template("way_back.html", block=block)
    return without_options(cold_html(found, above=above)).replace("<body>", f"<body>{head}", 1)


def choices(measures: tuple[Measure, ...], stand_in: Group | None) -> dict[str, Any]:
    """Return what the boxes and the list of a form show."""
    return {
        "measures": [(one.value, word, one in measures) for one, word in MEASURES.items()],
        "groups": [(one.value, word, one is stand_in) for one, word in GROUPS.items()],
        "back": _address(),
    }


def _address() -> str:
    """Return the address of the page that is asked for, with what is asked of it."""
    query = request.query_string.decode("ascii", "ignore")
    return url_for(str(request.endpoint), **(request.view_args or {})) + (f"?{query}" if query else "")


def asked_measures() -> tuple[Measure, ...]:
    """Return the measures whose boxes are checked."""
    wanted = request.args.getlist("with")
    return tuple(one for one in Measure if one.value in wanted)


def asked_stand_in() -> Group | None:
    """Return the group that stands in for cultivars that no model knows; None where none is chosen."""
    wanted = request.args.get("stand_in", "")
    return next((one for one in Group if one.value == wanted), None)

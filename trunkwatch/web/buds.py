"""The page of cut buds: a form for a count, one for the day of budbreak, and what is on record of both."""

from flask import Blueprint, abort, current_app, render_template

from trunkwatch.cold.noted import bud_counts, noted_budbreak
from trunkwatch.cold.of_store import cultivars_of
from trunkwatch.store import Store
from trunkwatch.web.vineyard import Vineyard, today

__all__ = ["buds"]

buds = Blueprint("buds", __name__)


@buds.get("/block/<label:block>/buds")
def counts(block: str) -> str:
    """Show the counts and days of budbreak of a block, and the forms."""
    vineyard: Vineyard = current_app.extensions["vineyard"]
    if block not in vineyard.labels():
        abort(404)
    with Store.open(vineyard.path) as store:
        cultivars = [name for name in cultivars_of(store, block) if name]
        counted = bud_counts(store.frame("bud_counts", block))
        broke = noted_budbreak(store.frame("budbreak", block))
    return render_template(
        "buds.html", block=block, today=today(), cultivars=cultivars if len(cultivars) > 1 else [], counts=counted[::-1],
        budbreak=broke[::-1],
    )  # fmt: skip

"""The page of cut buds: forms for a count, the day of budbreak and rows pruned, and what is on record of them."""

from flask import Blueprint, abort, current_app, render_template

from trunkwatch.cold.noted import bud_counts, noted_budbreak, rows_pruned
from trunkwatch.cold.of_store import cultivars_of
from trunkwatch.store import Store
from trunkwatch.web.vineyard import Vineyard, today

__all__ = ["buds"]

#: Lines of rows pruned that are shown, the last first.
MOST_PRUNED = 60

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
        pruned = rows_pruned(store.frame("pruning", block))
    return render_template(
        "buds.html",
        block=block,
        today=today(),
        cultivars=cultivars if len(cultivars) > 1 else [],
        counts=counted[::-1],
        budbreak=broke[::-1],
        pruned=pruned[::-1][:MOST_PRUNED],
    )

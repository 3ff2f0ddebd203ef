"""A block of one row for tests, looked at whole every January and August."""

from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of


def walked_block(years, *, vines, symptoms=(), work=(), costs=(), plants=(), bay_ends="", **block):
    """Return a store with block A, row 1; findings, done work, costs and plants as records without block and row."""
    store = Store.in_memory()
    store.append(
        {
            "blocks": frame_of(
                "blocks", [{"block": "A", "planted": 2000, "vine_spacing_m": 1.5, "row_spacing_m": 2.5, **block}]
            ),
            "rows": frame_of("rows", [{"block": "A", "row": "1", "row_order": 1, "last": vines, "bay_ends": bay_ends}]),
            "surveys": frame_of(
                "surveys",
                [
                    {"survey": f"{look}{year}", "block": "A", "date": f"{year}-{day}", "look": look, "covered": "1"}
                    for year in years
                    for look, day in (("dormant", "01-15"), ("summer", "08-15"))
                ],
            ),
            "symptoms": frame_of("symptoms", [{"block": "A", "row": "1", **one} for one in symptoms]),
            "work": frame_of("work", [{"block": "A", "row": "1", "status": "done", **one} for one in work]),
            "costs": frame_of("costs", list(costs)),
            "plants": frame_of("plants", [{"block": "A", "row": "1", **one} for one in plants]),
        }
    )
    return store

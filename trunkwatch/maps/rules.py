"""What the scripts of the pages draw and judge by, said once: orders of the marks, limits of a finding, the calendar.

The marks themselves go with the block (`map_data.look_data`); these are the rules that every page shares.
"""

from collections.abc import Mapping
from typing import Any

from trunkwatch.history.condition import Condition
from trunkwatch.maps.symbols import DRAWN, LEGEND, ROW_LINE
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.calendar import DORMANT_MONTHS, FIRST_MONTH, LEAVES_MONTHS
from trunkwatch.vineyard.tables import TABLES

__all__ = ["page_rules"]


def page_rules() -> dict[str, Any]:
    """Return the rules for a script.

    Returns
    -------
    dict
        `drawn` and `legend`: marks of the conditions in the order in which they are drawn, and stand in a legend.
        `showing`, `not_scouted`: the marks of these two. `row_line`: the color of a row on the desk.
        `limits`: column of a finding to its lowest and highest number, null where there is none; `whole`: columns that
        take whole numbers only. `cuts`: work that takes symptomatic wood away.
        `first_month`: of a season, by hemisphere; `dormant`, `leaves`: months of a season after which shoots, and
        full leaves, are out. `with_leaves`: symptoms that only a vine with leaves can show.
    """
    return {
        "drawn": _marks(DRAWN),
        "legend": _marks(LEGEND),
        "showing": _mark(Condition.SHOWING),
        "not_scouted": _mark(Condition.NOT_SEEN),
        "row_line": ROW_LINE,
        "limits": _limits(),
        "whole": [column.name for column in TABLES["symptoms"].columns if column.kind == "whole"],
        "cuts": list(codes.CLEARING),
        "first_month": dict(FIRST_MONTH),
        "dormant": DORMANT_MONTHS,
        "leaves": LEAVES_MONTHS,
        "with_leaves": list(codes.WITH_LEAVES),
    }


def _mark(condition: Condition) -> str:
    return str(int(condition))


def _marks(conditions: tuple[Condition, ...]) -> list[str]:
    return [_mark(condition) for condition in conditions]


def _limits() -> Mapping[str, list[float | None]]:
    columns = (column for column in TABLES["symptoms"].columns if column.kind in ("number", "whole"))
    return {column.name: [column.low, column.high] for column in columns}

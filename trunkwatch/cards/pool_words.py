"""The table of a pool in lines, and what is guarded and what is not."""

from collections.abc import Iterator

from trunkwatch.cards.cells import BASE, FEWEST_GROWERS, Figure
from trunkwatch.cards.pool import PoolSum, PoolTable

__all__ = ["GUARDED", "cases_words", "pool_lines", "share_words"]

#: Said under every table, whether anything was held back or not.
GUARDED = (
    (
        f"A cell is shown from {FEWEST_GROWERS} growers on, with none over half of the vines and none whose cases the next could reckon to within 15 %. "
        "What is not shown is in no sum. Values held by fewer growers are together under other."
    ),
    f"Counts are rounded to {BASE}s. These are the blocks taking part, not a sample of a region.",
    (
        "Guarded: a difference between two tables of this folder's ledger. Not guarded: a table made elsewhere from the same cards, growers who put all they "
        "know together against one in a cell that is shown, and a number of vines that hardly changes from a season in which a grower took part to one without."
    ),
)
_OF = {
    "showing": "vines showing, of those scouted",
    "new": "first cases, of the vines that could show for the first time",
}


def cases_words(figure: Figure) -> str:
    """Write the cases of a cell."""
    if figure.cases is not None:
        return f"{figure.cases:,}"
    return f"under {BASE}" if figure.few else f"all but under {BASE}"


def share_words(figure: Figure) -> str:
    """Write the share of a cell as it follows from what is shown."""
    if figure.cases is not None:
        return f"{100 * figure.cases / figure.vines:.1f} %"
    edge = 100 * BASE / figure.vines
    return f"under {edge:.1f} %" if figure.few else f"over {100 - edge:.1f} %"


def pool_lines(table: PoolTable) -> Iterator[str]:
    """Write the table, a line a cell, and the sums of what is shown."""
    for count, title in _OF.items():
        cells = [one for one in table.cells if one.shown.count == count]
        if not cells:
            continue
        yield f"{title[0].upper()}{title[1:]} (definition {table.definition}):"
        for season in sorted({one.shown.season for one in cells}):
            yield f"  {season}"
            for one in cells:
                if one.shown.season == season:
                    figure = one.shown.figure
                    name = ", ".join(f"{key} {value}" for key, value in one.shown.cell.items()) or "all blocks"
                    mark = " (as shown before: the growers are others now)" if one.earlier else ""
                    yield f"    {name}: {cases_words(figure)} of {figure.vines:,} ({share_words(figure)}){mark}"
            yield from (f"    {_sum_words(one)}" for one in table.sums if (one.season, one.count) == (season, count))


def _sum_words(one: PoolSum) -> str:
    name = ", ".join(f"{key} {value}" for key, value in one.cell.items()) or "all cells above"
    cases = f"{one.cases_low:,}" if one.cases_low == one.cases_high else f"{one.cases_low:,} to {one.cases_high:,}"
    return f"sum, {name}: {cases} of {one.vines:,}"

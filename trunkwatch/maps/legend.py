"""The legend of a season's map as a line of its own, readable where the map is printed small."""

from html import escape

from trunkwatch.history import BlockHistory
from trunkwatch.maps.counts import condition_counts
from trunkwatch.maps.symbols import SYMBOLS, Symbol

__all__ = ["legend_html"]


def legend_html(history: BlockHistory, season: int) -> str:
    """Return the marks of all conditions that occur in a season, with their counts, as HTML.

    Parameters
    ----------
    history : BlockHistory
        The block over its years.
    season : int
        Year of the harvest.
    """
    items = [
        f'<span class="mark">{_mark(SYMBOLS[one])}{escape(SYMBOLS[one].word)} {count}</span>'
        for one, count in condition_counts(history, season).items()
    ]
    return f'<span class="legend">{"".join(items)}</span>'


def _mark(look: Symbol) -> str:
    fill = look.fill if look.solid and look.fill else "none"
    paths = "".join(
        f'<path d="M{" ".join(f"{x:g} {y:g}" for x, y in stroke)}" fill="{fill}" stroke="{look.ink}" stroke-width="1.8"/>'
        for stroke in look.strokes
    )
    return f'<svg viewBox="-11 -11 22 22" aria-hidden="true" focusable="false">{paths}</svg>'

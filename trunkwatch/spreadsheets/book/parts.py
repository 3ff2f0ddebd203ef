"""A sheet that holds several tables, parted: one below the other each with a title, or side by side under the same headings."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

from trunkwatch.spreadsheets.book.outline import (
    LOOKED_AT,
    distinct_in,
    heading_score,
    is_ascending,
    line_text,
    matrix_labels,
    number_at,
    roles_in,
)
from trunkwatch.spreadsheets.book.pages import Page, is_filled
from trunkwatch.spreadsheets.located import text_of

__all__ = ["parts_of"]


def parts_of(page: Page) -> list[Page]:
    """Part a sheet that holds several tables, one below the other each with a title, or side by side under the same headings."""
    page = _panels(page)
    starts: list[int] = []
    first: list[str] | None = None
    for place, (_, cells) in enumerate(page.lines):
        if first is None:
            if place < LOOKED_AT and (heading_score(cells)[0] >= 2 or matrix_labels(cells)):
                first = [text_of(cell) for cell in cells]
                starts.append(place)
        elif cells[0] is not None and text_of(cells[0]) != first[0]:
            continue
        elif [text_of(cell) for cell in cells] == first or _again(cells, first):
            starts.append(place)
    cuts = [_title_above(page, place) for place in starts]
    if len(starts) < 2 or any(cut is None for cut in cuts[1:]):
        return [page]
    edges = [0, *(cut for cut in cuts[1:] if cut is not None), len(page.lines)]
    parts = []
    for number, (begin, end) in enumerate(pairwise(edges), start=1):
        lines = page.lines[begin:end]
        title = line_text(lines[0][1]) if begin or number > 1 else ""
        parts.append(
            replace(page, name=f"{page.name} ({title})" if title else page.name, lines=lines, notes=list(page.notes))
        )
    return parts


def _again(cells: Sequence[Any], first: Sequence[str]) -> bool:
    """Tell whether a later line is a line of headings of its own: of the same kind as the first, its labels others."""
    labels = matrix_labels(cells)
    if labels is None or not any(text for text in first):
        return False
    return (
        text_of(cells[0]) == first[0]
        and is_ascending(list(labels[0].values()))
        and labels[0].get(max(labels[0])) != ""
        and next(iter(labels[0].values())) in ("1", "0")
    )


def _title_above(page: Page, place: int) -> int | None:
    """Return the place of the line with a title just above a line of headings, None where there is none."""
    if not place:
        return None
    cells = page.lines[place - 1][1]
    return place - 1 if len(distinct_in(cells)) <= 2 and not number_at(cells[0]) else None


def _panels(page: Page) -> Page:
    """Put tables that stand side by side under the same headings below each other."""
    for place, (_, cells) in enumerate(page.lines[:LOOKED_AT]):
        roles = roles_in(cells)
        at = [number for number, role in enumerate(roles) if role == "position"]
        texts = [text_of(cell) for cell in cells]
        begin = next((number for number, text in enumerate(texts) if text), 0)
        starts = [number for number, text in enumerate(texts) if text and text == texts[begin]]
        if (
            len(at) < 2
            or len(starts) < 2
            or len(starts) != len(at)
            or len(set(roles_in(cells[starts[0] : starts[1]])) & {"row", "position"}) < 2
        ):
            continue
        edges = [*starts, len(cells)]
        width = edges[1] - edges[0]
        head = [text for text in texts[edges[0] : edges[1]] if text]
        if any([text for text in texts[a:b] if text] != head for a, b in pairwise(edges)):
            return page
        lines = [(line, list(own[begin : begin + width])) for line, own in page.lines[: place + 1]]
        for a, b in pairwise(edges):
            for line, own in page.lines[place + 1 :]:
                piece = (list(own[a:b]) + [None] * width)[:width]
                if any(map(is_filled, piece)):
                    lines.append((line, piece))
        titles = page.lines[:place]
        lines[:place] = [(line, ([line_text(own)] + [None] * width)[:width]) for line, own in titles]
        note = f"{len(starts)} tables that stand side by side are read one after the other"
        return replace(page, lines=lines, notes=[*page.notes, note])
    return page

"""What the map page is told of a block: compact, without a word that a browser could run."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockHistory, Condition
from trunkwatch.history.words import vine_lines
from trunkwatch.maps.counts import count_line, work_masks
from trunkwatch.maps.frame import DrawingFrame
from trunkwatch.maps.rules import page_rules
from trunkwatch.maps.symbols import DARK, FAINT, FOCUS, INK, OUTSIDE, PAPER, ROW_START, SYMBOLS, WORK_DONE, Symbol

__all__ = ["look_data", "map_data", "script_text"]

#: Record id -> what is said of each of its photos, and a small picture.
Photos = Mapping[str, Sequence[tuple[str, str]]]
#: One letter for each condition, in the order of the enumeration.
_MARKS = "0123456789"


def map_data(
    history: BlockHistory,
    frame: DrawingFrame,
    foci: Sequence[NDArray[np.int64]] | None,
    first: int,
    photos: Photos | None = None,
) -> dict[str, Any]:
    """Collect the data of the page.

    Parameters
    ----------
    history : BlockHistory
        The block over its years.
    frame : DrawingFrame
        Where the vines stand.
    foci : sequence of (rows, stations) int array, optional
        Numbers of the foci of each season.
    first : int
        Season that the page opens with.
    photos : mapping, optional
        As in `block_map`.

    Returns
    -------
    dict
        Places in whole centimetres from the middle of the block, one character a vine and
        season for its condition, events of those vines that have any.
    """
    grid = history.grid
    cells = [(int(r), int(s)) for r, s in np.argwhere(grid.exists & np.isfinite(frame.x))]
    at = np.array(cells).T if cells else np.zeros((2, 0), dtype=int)
    return {
        "block": history.block,
        "definition": history.definition,
        "seasons": [_season(history, number, at, foci) for number in range(len(history.seasons))],
        "first": history.seasons.index(first),
        "x": np.rint(100 * frame.x[at[0], at[1]]).astype(int).tolist(),
        "y": np.rint(100 * frame.y[at[0], at[1]]).astype(int).tolist(),
        "runs": _runs(cells, grid),
        "position": grid.position[at[0], at[1]].tolist(),
        "bay": [grid.bay_of(*grid.label(r, s))[0] for r, s in cells],
        "labels": list(grid.labels if grid.is_divided else grid.rows),
        "along": [[round(float(v), 4) for v in pair] for pair in frame.along],
        "vine_m": frame.vine_m,
        "north": frame.north,
        "origin": frame.origin,
        "degree_m": frame.degree_m,
        "events": _events(history, cells),
        "looks": {str(int(one)): look_data(one, SYMBOLS[one]) for one in SYMBOLS},
        "work": look_data(None, WORK_DONE),
        "outside": look_data(None, OUTSIDE),
        "focus": look_data(None, FOCUS),
        "start": look_data(None, ROW_START),
        "dark": dict(DARK),
        "ink": INK,
        "faint": FAINT,
        "paper": PAPER,
        "rules": page_rules(),
        **({"photos": shown} if (shown := _photos(history, cells, photos or {})) else {}),
    }


def _runs(cells: Sequence[tuple[int, int]], grid: RowGrid) -> list[list[int]]:
    """Say where the vines stand in the grid as stretches of neighbors: row, first station, how many.

    Where several rows stand on one line, the number of the label follows.
    """
    runs: list[list[int]] = []
    for row, station in cells:
        label = [int(grid.which[row, station])] if grid.is_divided else []
        if runs and runs[-1][0] == row and runs[-1][1] + runs[-1][2] == station and runs[-1][3:] == label:
            runs[-1][2] += 1
        else:
            runs.append([row, station, 1, *label])
    return runs


def _season(
    history: BlockHistory, number: int, at: NDArray[np.int64], foci: Sequence[NDArray[np.int64]] | None
) -> dict[str, Any]:
    season = history.seasons[number]
    done, _ = work_masks(history, season)
    look = history.looks[number]
    told = {
        "season": season,
        "line": count_line(history, season),
        "counted": look.counted,
        "condition": "".join(_MARKS[value] for value in history.condition[number][at[0], at[1]]),
        "work": np.flatnonzero(done[at[0], at[1]]).tolist(),
        "outside": np.flatnonzero(history.outside[number][at[0], at[1]]).tolist(),
    }
    if foci is not None:
        labels = foci[number][at[0], at[1]]
        sizes = np.bincount(labels)
        keep = (labels > 0) & (sizes[labels] > 1)
        told["foci"] = [[int(v), int(labels[v])] for v in np.flatnonzero(keep)]
    return told


def _events(history: BlockHistory, cells: Sequence[tuple[int, int]]) -> dict[str, list[list[str]]]:
    number = {cell: index for index, cell in enumerate(cells)}
    return {
        str(number[cell]): [
            [line.date, f"{line.text} (seen in passing, in no rate)" if line.casual else line.text]
            for line in vine_lines(history.reading, cell)
        ]
        for cell in history.reading.vines
        if cell in number
    }


def _photos(history: BlockHistory, cells: Sequence[tuple[int, int]], photos: Photos) -> dict[str, list[list[str]]]:
    """Return the photos of each vine that has any: what is said of it, and its small picture or nothing."""
    found: dict[str, list[list[str]]] = {}
    for number, cell in enumerate(cells) if photos else ():
        vine = history.reading.vine(cell)
        ids = [one.id for one in (*vine.findings, *vine.second_findings)] + [one.id for one in vine.work]
        for name in ids:
            for text, source in photos.get(name, ()):
                found.setdefault(str(number), []).append([text, source])
    return found


def look_data(condition: Condition | None, look: Symbol) -> dict[str, Any]:
    """Return how one thing is drawn, for a script."""
    return {
        "word": look.word,
        "meaning": condition.meaning if condition is not None else look.word,
        "letter": look.letter,
        "fill": look.fill,
        "ink": look.ink,
        "strokes": look.strokes,
        "solid": look.solid,
        "turn": look.with_row,
    }


def script_text(data: dict[str, Any]) -> str:
    """Return data as JSON that can stand inside a script element whatever users typed."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026").replace("\u2028", "\\u2028")

"""Vines by seasons as one tidy table: a line a position and season, with condition, findings and work."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from trunkwatch.ground import Placed
from trunkwatch.history import BlockHistory, Condition
from trunkwatch.history.words import finding_words, work_words

__all__ = ["VINE_SEASONS", "vine_seasons"]

#: Columns of the table; coordinates come after them.
VINE_SEASONS = (
    "vineyard", "block", "row", "position", "season", "definition", "condition", "looked_at", "plant", "findings", "finding_count",
    "work_done", "work_planned",
)  # fmt: skip


def vine_seasons(
    history: BlockHistory, placed: Placed | None = None, seasons: Sequence[int] | None = None
) -> pd.DataFrame:
    """Return one line for each position and season.

    Parameters
    ----------
    history : BlockHistory
        A block over its years.
    placed : Placed, optional
        Adds longitude and latitude, nan where the block cannot be placed; without it there are no such columns.
    seasons : sequence of int, optional
        Which; all of the history where left out.

    Returns
    -------
    DataFrame
        Columns of `VINE_SEASONS`. Condition is the word used everywhere; a vine that was not looked at is "not seen", never sound.
        Findings and work are those written in the season, each with its day, with semicolons between.

    Raises
    ------
    RecordError
        If the block has no such season.
    """
    reading, grid = history.reading, history.grid
    cells = [(int(row), int(station)) for row, station in np.argwhere(grid.exists)]
    labels = [grid.label(*cell) for cell in cells]
    vineyard = str(reading.records.block.get("vineyard") or "")
    parts = []
    for season in history.seasons if seasons is None else seasons:
        year = history.index_of(season)
        findings, counts, done, planned = [], [], [], []
        for cell in cells:
            vine = reading.vines.get(cell)
            own = [one for one in vine.findings if one.season == season] if vine is not None else []
            work = [one for one in vine.work if one.season == season] if vine is not None else []
            findings.append("; ".join(f"{one.date} {finding_words(one)}" for one in own))
            counts.append(len(own))
            done.append("; ".join(f"{one.date} {work_words(one)}" for one in work if one.done))
            planned.append("; ".join(f"{one.date} {work_words(one)}" for one in work if one.status == "planned"))
        frame = pd.DataFrame(
            {
                "vineyard": vineyard,
                "block": history.block,
                "row": [row for row, _ in labels],
                "position": [position for _, position in labels],
                "season": season,
                "definition": history.definition,
                "condition": [Condition(int(value)).word for value in history.condition[year][grid.exists]],
                "looked_at": history.looked_at[year][grid.exists].astype(bool),
                "plant": history.plant[year][grid.exists].astype(int) + 1,
                "findings": findings,
                "finding_count": counts,
                "work_done": done,
                "work_planned": planned,
            }
        )
        if placed is not None:
            nowhere = np.full(len(cells), np.nan)
            frame = frame.assign(
                longitude=placed.longitude[grid.exists] if placed else nowhere,
                latitude=placed.latitude[grid.exists] if placed else nowhere,
            )
        parts.append(frame)
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=list(VINE_SEASONS))

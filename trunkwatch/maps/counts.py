"""The numbers that stand beside a map: what was counted, of how many, and the work of a season."""

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history import BlockHistory, Condition, rate
from trunkwatch.maps.symbols import SYMBOLS

__all__ = ["condition_counts", "count_line", "described", "last_counted", "outside_line", "work_masks"]


def condition_counts(history: BlockHistory, season: int) -> dict[Condition, int]:
    """Count the positions in each condition, in the order of the legend; those with none are left out.

    Raises
    ------
    RecordError
        If the block has no records of the season.
    """
    condition = history.condition[history.index_of(season)][history.grid.exists]
    counts = {one: int(np.count_nonzero(condition == one)) for one in SYMBOLS}
    return {one: count for one, count in counts.items() if count}


def count_line(history: BlockHistory, season: int) -> str:
    """Return the season's count in words: "showing 12 of 240 looked at"; why not, where there is none.

    Raises
    ------
    RecordError
        If the block has no records of the season.
    """
    annual = rate(history, "annual", season)
    if annual.reason:
        return f"not counted: {history.looks[history.index_of(season)].reason or annual.reason}"
    carried = f" ({annual.seen} seen, {annual.carried} noted before and not cut)" if annual.carried else ""
    aside = history.looks[history.index_of(season)].aside
    return f"showing {annual.cases} of {annual.vines} scouted{carried}{f'; {aside}' if aside else ''}"


def outside_line(history: BlockHistory, season: int) -> str:
    """Say on how many vines damage stands that the season's count leaves out; empty where on none."""
    many = int(history.outside[history.index_of(season)].sum())
    if not many:
        return ""
    vines = "1 vine has" if many == 1 else f"{many} vines have"
    return f"{vines} dead wood or cankers on record that this count leaves out (noted at no survey, at an inspection that does not count, or under 10 % of the spurs)"


def described(history: BlockHistory, season: int) -> str:
    """Return the alternative text of a season's map: the count, each condition, the rows."""
    counts = condition_counts(history, season)
    listed = ", ".join(f"{count} {SYMBOLS[one].word}" for one, count in counts.items())
    rows = history.grid.labels
    span = f"rows {rows[0]} to {rows[-1]}" if len(rows) > 1 else f"row {rows[0]}"
    return (
        f"Season {season}, case definition {history.definition}: {count_line(history, season)} "
        f"(mature living vines). Positions: {listed}. Drawn: {span}."
    )


def last_counted(history: BlockHistory) -> int | None:
    """Return the last season that counts; the last of all where none does; None without a season."""
    counted = history.counted_seasons
    if counted:
        return counted[-1]
    return history.seasons[-1] if history.seasons else None


def work_masks(history: BlockHistory, season: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return the vines with work done in a season, and those with work only planned, (rows, stations)."""
    done, planned = np.zeros(history.grid.shape, dtype=bool), np.zeros(history.grid.shape, dtype=bool)
    for work in history.reading.work:
        if work.season == season:
            done[work.cell] |= work.done
            planned[work.cell] |= work.status == "planned"
    return done, planned & ~done

"""What has changed in a block since an earlier season, as masks and as a picture."""

import numpy as np
from numpy.typing import NDArray

from trunkwatch.errors import RecordError
from trunkwatch.history import BlockHistory, Condition
from trunkwatch.maps.canvas import sheet_of
from trunkwatch.maps.frame import Placement, drawing_frame
from trunkwatch.maps.strip import notes_of
from trunkwatch.maps.svg import document
from trunkwatch.maps.symbols import CHANGES, SYMBOLS

__all__ = ["change_masks", "change_svg", "season_before"]

_GONE = (Condition.DEAD, Condition.MISSING)


def season_before(history: BlockHistory, season: int) -> int | None:
    """Return the last counted season before another one; None where there is none."""
    return max((one for one in history.compared_seasons if one < season), default=None)


def change_masks(history: BlockHistory, season: int, earlier: int) -> dict[str, NDArray[np.bool_]]:
    """Sort the vines by what has changed; a vine falls under the first that holds.

    Returns
    -------
    dict of str to (rows, stations) bool array
        *dead*: dead or gone now, neither then. *replanted*: another plant than then. *new*: showing,
        the plant's first case on record. *again*: showing, not for the first time. *renewed*:
        renewed now, not then. *no longer*: showing then, looked at now and nothing seen.

    Raises
    ------
    RecordError
        If the block has no records of one of the seasons.
    ValueError
        If `earlier` is not before `season`.
    """
    now, then = history.index_of(season), history.index_of(earlier)
    if then >= now:
        raise ValueError(f"earlier is {earlier}: a season before {season} is needed")
    present, past = history.condition[now], history.condition[then]
    same = history.plant[now] == history.plant[then]
    had = np.zeros(history.grid.shape, dtype=bool)
    for before in range(now):
        had |= history.had_case[before] & (history.plant[before] == history.plant[now])
    showing = present == Condition.SHOWING
    first_that_holds = {
        "dead": np.isin(present, _GONE) & ~np.isin(past, _GONE),
        "replanted": ~same & ~np.isin(present, _GONE),
        "new": showing & ~had,
        "again": showing & had,
        "renewed": (present == Condition.RENEWED) & (past != Condition.RENEWED),
        "no longer": (past == Condition.SHOWING) & np.isin(present, (Condition.HIDDEN, Condition.SOUND)),
    }
    taken = ~history.grid.exists
    found: dict[str, NDArray[np.bool_]] = {}
    for name, mask in first_that_holds.items():
        found[name] = mask & ~taken
        taken = taken | mask
    return {name: found[name] for name in CHANGES}


def change_svg(
    history: BlockHistory,
    season: int,
    earlier: int | None = None,
    *,
    placed: Placement | tuple[NDArray[np.float64], NDArray[np.float64]] | None = None,
    bearing_deg: float | None = None,
    rows_go: str = "right",
    title: str | None = None,
    name: str = "change",
    narrow: bool = False,
) -> str:
    """Draw what has changed since an earlier season.

    Parameters
    ----------
    history : BlockHistory
        The block over its years.
    season, earlier : int
        The two seasons; where `earlier` is left out, the last counted season before.
    placed, bearing_deg, rows_go
        As in `strip_svg`.
    title : str, optional
        The heading; block and seasons where left out.
    name : str
        Start of the ids, unlike that of any other picture on the same page.
    narrow : bool
        As in `strip_svg`.

    Returns
    -------
    str
        One SVG element with alternative text; same input, same bytes.

    Raises
    ------
    RecordError
        If a season is not on record, or no counted season comes before.
    ValueError
        If `earlier` is not before `season`.
    """
    before = season_before(history, season) if earlier is None else earlier
    if before is None:
        raise RecordError(f"block {history.block!r} has no counted season before {season}: nothing to compare with")
    masks = change_masks(history, season, before)
    frame = drawing_frame(history.grid, placed, bearing_deg=bearing_deg, rows_go=rows_go)
    first = int(masks["new"].sum())
    short = f"{first} first case{'s' if first != 1 else ''}, {int(masks['no longer'].sum())} no longer showing"
    sheet = sheet_of(history.grid, frame, short, narrow=narrow)
    present = history.condition[history.index_of(season)]
    changed = np.logical_or.reduce(list(masks.values()))
    unseen = (present == Condition.NOT_SEEN) & ~changed
    still = history.grid.exists & ~changed & ~unseen & (present != Condition.MISSING)
    drawn = [
        sheet.rows(),
        sheet.vines(still, SYMBOLS[Condition.SOUND]),
        sheet.vines(unseen, SYMBOLS[Condition.NOT_SEEN]),
    ]
    drawn += [sheet.vines(masks[one], CHANGES[one]) for one in reversed(list(CHANGES))]
    legend = [(CHANGES[one], f"{CHANGES[one].word} {int(mask.sum())}") for one, mask in masks.items()]
    legend += [(SYMBOLS[Condition.SOUND], f"no change {int(still.sum())}")]
    if unseen.any():
        legend.append((SYMBOLS[Condition.NOT_SEEN], f"cannot tell, not scouted {int(unseen.sum())}"))
    heading = title if title is not None else f"Block {history.block}: {season} against {before}"
    line = ", ".join(words for _, words in legend[: len(CHANGES)])
    foot, height = sheet.foot(legend, notes_of(frame))
    body = sheet.head(heading, short) + "".join(drawn) + sheet.row_numbers() + foot
    told = f"Season {season} compared with {before}: {line}."
    return document(sheet.width, height, heading, told, body, name, narrow=narrow)

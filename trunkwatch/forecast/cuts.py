"""What work did to a vine, read from its events: cut between two looks, and whether the cut took all of its case."""

from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history import BlockHistory, VineEvent, definition_named
from trunkwatch.vineyard.codes import CLEARING

__all__ = ["TRUNK_WORK", "all_cleared", "cut_between", "is_done"]

Grid = NDArray[np.bool_]
#: Work after which the vine must grow again from below.
TRUNK_WORK = ("renew_trunk", "cut_old_trunk")
#: What a new arm takes away; other symptoms speak of the trunk.
IN_AN_ARM = ("dead_arm", "dead_spurs", "canker", "stunted_shoots")


def is_done(event: VineEvent) -> bool:
    """Tell done work from planned and dropped work, whose status stands in the words of the event."""
    return event.kind == "work" and not {"planned", "dropped"} & set(event.text.split(": ", 1)[0].split(", "))


def cut_between(history: BlockHistory, earlier: int, season: int, kinds: Collection[str]) -> Grid:
    """Return the vines on which work of some kinds was done after one season and by another, (rows, stations)."""
    found = np.zeros(history.grid.shape, dtype=bool)
    for cell, events in history.events.items():
        found[cell] = any(
            event.code in kinds and earlier < event.season <= season and is_done(event) for event in events
        )
    return found


def all_cleared(history: BlockHistory, vines: Grid, season: int) -> Grid:
    """Return those of some vines whose last cut took all of their case away, (rows, stations).

    A new arm does not clear symptoms of the trunk: a vine with striped leaves that only got a new arm is the case that it
    was. Whether it shows this season plays no part, so that nobody is counted by the outcome.

    Parameters
    ----------
    history : BlockHistory
        The block over its years.
    vines : (rows, stations) bool array
        Vines that were cut by the season.
    season : int
        Last season whose work counts.
    """
    definition = definition_named(history.definition)
    of_trunk = {code for part in definition.parts for code in part.symptoms if code not in IN_AN_ARM}
    found = np.zeros(vines.shape, dtype=bool)
    for row, station in np.argwhere(vines).tolist():
        found[row, station] = _took_all(history.events.get((row, station), ()), of_trunk, season)
    return found


def _took_all(events: Collection[VineEvent], of_trunk: Collection[str], season: int) -> bool:
    left, took = False, False
    for event in events:
        if event.season > season:
            break
        if event.kind == "finding" and event.code in of_trunk and not event.casual:
            left = True
        elif event.kind == "planted":
            left, took = False, False
        elif event.code in CLEARING and is_done(event):
            took = not left or CLEARING[event.code] == "trunk"
            left = not took
    return took

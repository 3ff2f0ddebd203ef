"""What work did to a vine: cut between two looks, and whether the cut took all of its case."""

from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history import BlockHistory, definition_named
from trunkwatch.history.vine_part import PartKind
from trunkwatch.history.written import Finding, Work
from trunkwatch.vineyard.codes import CLEARING

__all__ = ["TRUNK_WORK", "all_cleared", "cut_between"]

Grid = NDArray[np.bool_]
#: Work after which the vine must grow again from below.
TRUNK_WORK = ("renew_trunk", "cut_old_trunk")


def cut_between(history: BlockHistory, earlier: int, season: int, kinds: Collection[str]) -> Grid:
    """Return the vines on which work of some kinds was done after one season and by another, (rows, stations)."""
    found = np.zeros(history.grid.shape, dtype=bool)
    for work in history.reading.work:
        if work.done and work.kind in kinds and earlier < work.season <= season:
            found[work.cell] = True
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
    symptoms = {code for part in definition.parts for code in part.symptoms}
    found = np.zeros(vines.shape, dtype=bool)
    for row, station in np.argwhere(vines).tolist():
        vine = history.reading.vine((row, station))
        findings = [f for f in vine.findings if f.season <= season and f.symptom in symptoms and not f.casual]
        cuts = [w for w in vine.work if w.done and w.kind in CLEARING and w.season <= season]
        planted = [plant.since for plant in vine.plants]
        found[row, station] = _took_all(findings, cuts, planted)
    return found


def _took_all(findings: Collection[Finding], cuts: Collection[Work], planted: Collection[str]) -> bool:
    """Follow a vine through its days: is there a case that the last cut left?"""
    left, took = False, False
    days: list[tuple[str, int, Finding | Work | None]] = [(f.date, 0, f) for f in findings]
    days += [(day, 1, None) for day in planted]
    days += [(w.date, 2, w) for w in cuts]
    for _, _, what in sorted(days, key=lambda day: day[:2]):
        if what is None:
            left, took = False, False
        elif isinstance(what, Work):
            took = not left or CLEARING[what.kind] == "trunk"
            left = not took
        elif what.part.kind not in (PartKind.ARM, PartKind.UNSAID):
            left = True
    return took

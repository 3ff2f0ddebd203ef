"""Checks from season to season: findings that vanish, jump to the neighbour, or that no survey covers."""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from trunkwatch.history import BlockRecords, build_history
from trunkwatch.history.places import Cell
from trunkwatch.intake.check_layout import BlockLayout
from trunkwatch.intake.fault_at import fault_at
from trunkwatch.vineyard.calendar import season_of
from trunkwatch.vineyard.codes import CLEARING, LASTING
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.tables import records_of

__all__ = ["check_seasons"]


def check_seasons(tables: Mapping[str, pd.DataFrame], layout: BlockLayout) -> list[Fault]:
    """Check one block over its seasons; all of it is notes."""
    if tables["surveys"].empty and tables["symptoms"].empty:
        return []
    records = BlockRecords(block=layout.record, **tables)
    history = build_history(records, layout.grid, "dieback")
    lasting = _lasting(tables["symptoms"], layout)
    cleared = _cleared(tables["work"], layout)
    faults = _casual(history.events, tables["symptoms"], layout)
    for cell, found in lasting.items():
        faults += _unmentioned(cell, found, cleared.get(cell, []), history, lasting, layout)
    return faults


def _lasting(symptoms: pd.DataFrame, layout: BlockLayout) -> dict[Cell, list[dict[str, Any]]]:
    found: dict[Cell, list[dict[str, Any]]] = {}
    for record in records_of(symptoms[symptoms["symptom"].isin(list(LASTING))].sort_values("date")):
        cell = layout.places.find(
            str(record["row"]), str(record["position"]), str(record["bay"]), record["vine"], str(record["date"])
        )
        if cell is not None:
            found.setdefault(cell, []).append(record)
    return found


def _cleared(work: pd.DataFrame, layout: BlockLayout) -> dict[Cell, list[str]]:
    done = work[work["kind"].isin([*CLEARING, "remove", "replant"]) & work["status"].isin(["", "done"])]
    found: dict[Cell, list[str]] = {}
    for record in records_of(done):
        cell = layout.places.find(
            str(record["row"]), str(record["position"]), str(record["bay"]), record["vine"], str(record["date"])
        )
        if cell is not None:
            found.setdefault(cell, []).append(str(record["date"]))
    return found


def _unmentioned(
    cell: Cell,
    found: list[dict[str, Any]],
    cleared: list[str],
    history: Any,
    lasting: Mapping[Cell, Any],
    layout: BlockLayout,
) -> list[Fault]:
    """Tell of a dead arm that the next look no longer mentions, and of one that appears next door instead."""
    last = found[-1]
    season = season_of(str(last["date"]), layout.hemisphere)
    later = [s for s in history.seasons if s > season and history.looked_at[history.index_of(s)][cell]]
    if not later or any(day >= str(last["date"]) for day in cleared):
        return []
    after = history.index_of(later[0])
    if history.plant[after][cell] != history.plant[history.index_of(season)][cell]:
        return []
    for side in (-1, 1):
        beside = (cell[0], cell[1] + side)
        for other in lasting.get(beside, []):
            same = other["symptom"] == last["symptom"] and other["arm"] == last["arm"]
            if same and season_of(str(other["date"]), layout.hemisphere) == later[0] and len(lasting[beside]) == 1:
                return [
                    fault_at(other, "note", f"perhaps the finding of {last['date']} at position {last['position']}, one vine off",
                             "position", str(other["position"]), "a correction of one of them, if so")
                ]  # fmt: skip
    return [
        fault_at(last, "note", f"{last['symptom']} is not mentioned in {later[0]} and no work cleared it: it is carried on",
                 "symptom", str(last["symptom"]), "work that cleared it, or a correction")
    ]  # fmt: skip


def _casual(events: Mapping[Cell, Any], symptoms: pd.DataFrame, layout: BlockLayout) -> list[Fault]:
    casual = {(cell, event.date, event.code) for cell, told in events.items() for event in told if event.casual}
    faults = []
    for record in records_of(symptoms):
        cell = layout.places.find(
            str(record["row"]), str(record["position"]), str(record["bay"]), record["vine"], str(record["date"])
        )
        if (
            cell is not None
            and (cell, str(record["date"]), str(record["symptom"])) in casual
            and record["symptom"] != "wood_staining"
        ):
            faults.append(
                fault_at(record, "note", "no survey covers this finding: it enters the vine's history and no rate", "date",
                         str(record["date"]), "a survey of that day, if the row was walked")
            )  # fmt: skip
    return faults

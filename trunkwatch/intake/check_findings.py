"""Checks of findings and plants against each other."""

from collections import defaultdict
from collections.abc import Mapping
from itertools import pairwise
from typing import Any

import pandas as pd

from trunkwatch.history import BlockRecords
from trunkwatch.history.definitions import SPUR_SHARE, spur_share
from trunkwatch.history.plants import ORIGINAL, Plant, plant_on, plants_of
from trunkwatch.intake.check_layout import BlockLayout
from trunkwatch.intake.fault_at import fault_at
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.tables import records_of

__all__ = ["check_findings", "check_observers"]

_LIVING = frozenset({"leaf_stripe", "berry_spots", "stunted_shoots", "crowded_shoots", "none", "bud_kill"})
_NO_PLANT_NEEDED = frozenset({"not_seen"})


def check_findings(now: Mapping[str, pd.DataFrame], layouts: Mapping[str, BlockLayout]) -> list[Fault]:
    """Check plants and findings of every block."""
    faults: list[Fault] = []
    for block, layout in layouts.items():
        own = {
            name: now[name][now[name]["block"] == block] for name in ("rows", "plants", "surveys", "symptoms", "work")
        }
        records = BlockRecords(block=layout.record, **own)
        plants = plants_of(records, layout.places, layout.hemisphere)
        faults += _two_plants(own["plants"])
        faults += _on_plants(own["symptoms"], plants, layout)
        faults += _too_few_spurs(own["symptoms"])
    return faults


def _too_few_spurs(symptoms: pd.DataFrame) -> list[Fault]:
    """Say where dead spurs were written down and are too few to make a case."""
    faults = []
    for record in records_of(symptoms[symptoms["symptom"] == "dead_spurs"]):
        dead, total = float(record["dead"]), float(record["total"])
        share = spur_share(dead, total, float(record["percent"]))
        if not share < SPUR_SHARE - 1e-9:  # nan: nothing was counted, and that counts as enough
            continue
        percent = f"{share * 100:.0f} %" if round(share * 100) < SPUR_SHARE * 100 else f"{share * 100:.1f} %"
        what = (
            f"{dead:.0f} of {total:.0f} dead spurs ({percent})"
            if total > 0 and dead == dead
            else f"{percent} dead spurs"
        )
        column = "dead" if total > 0 and dead == dead else "percent"
        faults.append(
            fault_at(record, "note", f"{what} is under {SPUR_SHARE:.0%}: it makes no case".replace("0%", "0 %"), column)
        )
    return faults


def _two_plants(plants: pd.DataFrame) -> list[Fault]:
    """Find plants whose written years overlap in one position."""
    spells: defaultdict[tuple[str, str], list[dict[str, Any]]] = defaultdict(list)
    for record in records_of(plants):
        if record["planted"]:
            spells[(record["row"], record["position"])].append(record)
    removed: defaultdict[tuple[str, str], list[str]] = defaultdict(list)
    for record in records_of(plants):
        if record["removed"]:
            removed[(record["row"], record["position"])].append(str(record["removed"]))
    faults = []
    for place, records in spells.items():
        records.sort(key=lambda record: str(record["planted"]))
        for before, after in pairwise(records):
            between = [day for day in removed[place] if str(before["planted"]) <= day <= str(after["planted"])]
            if not between:
                faults.append(
                    fault_at(after, "fault", f"two plants in one position: the one planted {before['planted']} was never removed",
                             "planted", str(after["planted"]), "a removal of the earlier plant")
                )  # fmt: skip
    return faults


def _on_plants(
    symptoms: pd.DataFrame, plants: Mapping[tuple[int, int], tuple[Plant, ...]], layout: BlockLayout
) -> list[Fault]:
    faults = []
    dead: dict[tuple[tuple[int, int], int], str] = {}
    for record in sorted(records_of(symptoms), key=lambda r: (str(r["date"]), r["symptom"] != "dead")):
        cell = layout.places.find(
            str(record["row"]), str(record["position"]), str(record["bay"]), record["vine"], str(record["date"])
        )
        if cell is None or record["counted_from"] == "end" or record["symptom"] in _NO_PLANT_NEEDED:
            continue
        number = plant_on(plants.get(cell, (ORIGINAL,)), str(record["date"]))
        symptom = str(record["symptom"])
        if number < 0:
            faults.append(
                fault_at(record, "note", "a finding where no vine stands on that day", "symptom", symptom,
                         "a replant in the plants table, or another position")
            )  # fmt: skip
        elif (cell, number) in dead and symptom in _LIVING and dead[(cell, number)] < str(record["date"]):
            faults.append(
                fault_at(record, "note", f"alive after it was found dead on {dead[(cell, number)]}", "symptom", symptom,
                         "a replant in the plants table, or a correction of the death")
            )  # fmt: skip
        elif symptom == "dead":
            dead.setdefault((cell, number), str(record["date"]))
    return faults


def check_observers(symptoms: pd.DataFrame) -> list[Fault]:
    """Tell where two observers saw different things on one vine on one day."""
    faults = []
    keys = ["block", "row", "position", "date"]
    both = symptoms[symptoms.duplicated(keys, keep=False) & (symptoms["position"] != "")]
    for _, group in both.groupby(keys, sort=True):
        by_observer = group.groupby("observer")["symptom"].agg(set)
        if (
            len(by_observer) > 1
            and any("none" in seen for seen in by_observer)
            and any(seen - {"none"} for seen in by_observer)
        ):
            record = {str(k): v for k, v in group.iloc[-1].to_dict().items()}
            names = ", ".join(str(name) for name in by_observer.index)
            faults.append(
                fault_at(record, "note", f"observers disagree ({names}): it counts as a case if either says so")
            )
    return faults

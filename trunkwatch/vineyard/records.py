"""What names a record, and which of several records about one thing stands.

Records are never changed. A correction is a record of its own that names the one it replaces;
a void says that it never was. The outcome does not depend on the order in which they arrive.
"""

import datetime as dt
import uuid
from collections.abc import Container, Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from trunkwatch.vineyard.tables import COMMON, TABLES, records_of

__all__ = [
    "BY_PLAN",
    "PROVENANCE",
    "by_plan",
    "conflicts",
    "earlier_id",
    "family_of",
    "key_text",
    "last_words",
    "later_than",
    "new_id",
    "now_text",
    "plan_device",
    "record_id",
    "roots_of",
    "standing",
    "with_ids",
]

#: Our own name space for identities made from a record's key.
NAMESPACE = uuid.UUID("6f2b1c52-7d0e-5c3a-9a55-2f0c9d1e8b44")
#: Columns that tell how a record came here, not what it says.
PROVENANCE = ("recorded_at", "device", "read_from")
#: What stands in `device` of work that a plan wrote.
BY_PLAN = "plan"
#: Columns that came after ids were made: with nothing in them they add nothing, so that a record keeps its id.
_CAME_LATER = ("shoot_quality", "wound_protected", "not_done")
#: Steps of the clock: the smallest that makes a larger text is taken. A moment written without thousandths, or without
#: seconds, and with a Z at its end is larger than one a thousandth of a second later.
_STEPS = (dt.timedelta(milliseconds=1), dt.timedelta(seconds=1), dt.timedelta(minutes=1))


def plan_device(who: str = "") -> str:
    """Return what stands in `device` of work that a plan wrote, at the request of a person where one is named."""
    return f"{BY_PLAN}; {who}" if who else BY_PLAN


def by_plan(device: str) -> bool:
    """Tell whether a plan wrote it, whoever asked for the plan."""
    return device.partition(";")[0] == BY_PLAN


def _cell(value: Any) -> str:
    if value is None or (isinstance(value, float) and value != value):
        return ""
    if isinstance(value, float):
        return f"{value:.10g}"
    return str(value)


def key_text(table: str, record: Mapping[str, Any]) -> str:
    """Return the text that names a record without id: its table and key, or all its values if it corrects."""
    if record.get("corrects"):
        skipped = {column.name for column in COMMON} - {"corrects", "void"}
        names = [name for name in TABLES[table].names if name not in {*skipped, *_CAME_LATER}]
    else:
        names = list(TABLES[table].key)
        if table == "symptoms" and not record.get("row"):
            names += ["longitude", "latitude"]  # a coordinate alone is what tells two findings of a day apart
    owner = ""
    if table != "blocks" or not record.get("corrects"):
        # A vineyard without a name adds nothing: so were ids made before records knew their vineyard.
        names = [name for name in names if name != "vineyard"]
        owner = _cell(record.get("vineyard"))
    cells = [table, *(_cell(record.get(name)) for name in names)]
    if record.get("corrects"):
        cells += [f"{name}={record[name]}" for name in _CAME_LATER if record.get(name)]
    return "\x1f".join([*cells, f"vineyard={owner}"] if owner else cells)


def record_id(table: str, record: Mapping[str, Any]) -> str:
    """Return the id of a record: its own, else one made from its key (RFC 9562, version 5)."""
    return str(record.get("id") or uuid.uuid5(NAMESPACE, key_text(table, record)))


def earlier_id(table: str, record: Mapping[str, Any]) -> str:
    """Return the id that a record had by its key while a block was known by its label alone."""
    return record_id(
        table, {**record, "id": "", "vineyard": record["vineyard"] if table == "blocks" and record["corrects"] else ""}
    )


def new_id(table: str, record: Mapping[str, Any], taken: Container[str]) -> str:
    """Return an id that no record has yet: from what names the record and from when it was written down."""
    parts = [key_text(table, record), _cell(record.get("recorded_at"))]
    made = str(uuid.uuid5(NAMESPACE, "\x1f".join(parts)))
    again = 1
    while made in taken:
        again += 1
        made = str(uuid.uuid5(NAMESPACE, "\x1f".join([*parts, str(again)])))
    return made


def now_text() -> str:
    """Return this moment as `recorded_at` is written."""
    return dt.datetime.now(tz=dt.UTC).isoformat(timespec="milliseconds")


def later_than(claims: Iterable[str], now: str) -> str:
    """Return `now`, or the next moment after the last of the claims where a clock was ahead.

    Of several corrections the one with the larger text in `recorded_at` stands, so it is the text that must be larger.
    Together with `recorded_at` this is a clock that never goes back: whoever has seen a version writes after it,
    whatever the clock of the machine says.

    Parameters
    ----------
    claims : iterable of str
        `recorded_at` of every version of the record that the writer knows, the original too.
    now : str
        What the clock of the machine says.
    """
    last = max(claims, default="")
    if now > last:
        return now
    for step in _STEPS:
        try:
            after = (dt.datetime.fromisoformat(last) + step).isoformat(timespec="milliseconds")
        except (ValueError, OverflowError):
            break
        if after > last:
            return after
    return f"{last} {now}"


def with_ids(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Return the frame with an id in every row."""
    missing = frame["id"] == ""
    if not missing.any():
        return frame
    out = frame.copy()
    made = [record_id(table, record) for record in records_of(frame[missing])]
    out.loc[missing, "id"] = made
    return out


def roots_of(frame: pd.DataFrame) -> dict[str, str]:
    """Follow every correction to the original record it is about; chains and any order are taken."""
    parent = dict(zip(frame["id"], frame["corrects"], strict=True))
    parent = {child: target for child, target in parent.items() if target}
    roots: dict[str, str] = {}
    for child in parent:
        seen, at = {child}, parent[child]
        while at in parent and at not in seen:
            seen.add(at)
            at = parent[at]
        roots[child] = at
    return roots


def family_of(frame: pd.DataFrame, name: str) -> tuple[str, pd.DataFrame]:
    """Return the original of a record, and every version of it: the original, its corrections, and theirs.

    Parameters
    ----------
    frame : DataFrame
        All versions of a table.
    name : str
        Id of any of the versions.
    """
    roots = roots_of(frame[frame["corrects"] != ""])
    root = roots.get(name, name)
    ids = {child for child, at in roots.items() if at == root} | {root}
    return root, frame[frame["id"].isin(ids)]


def last_words(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the last version of every record: its latest correction, also where that takes the record back.

    Of several corrections the later `recorded_at` counts, ties go to the larger id; the original counts where there is
    none. A correction whose original is not here is one of a record of that id.
    """
    is_linked = frame["corrects"].to_numpy() != ""
    if not is_linked.any():
        return frame
    linked = frame[is_linked]
    roots = roots_of(linked)
    last: dict[str, tuple[str, str]] = {}
    for name, moment in zip(linked["id"], linked["recorded_at"], strict=True):
        root = roots[name]
        last[root] = max(last.get(root, ("", "")), (str(moment), str(name)))
    out = set(roots) | set(roots.values())
    keep = {name for _, name in last.values()}
    ids = frame["id"]
    return frame[~ids.isin(out) | ids.isin(keep)]


def standing(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the records that stand: the last version of each, without those that were taken back."""
    last = last_words(frame)
    taken_back = last["void"].to_numpy() == "yes"
    return last[~taken_back] if taken_back.any() else last


def conflicts(frame: pd.DataFrame) -> list[tuple[str, tuple[str, ...]]]:
    """Return originals with two or more corrections, with the ids of these in the order of their claim.

    What a plan brings up to date is no word against a word: it knew what stood.
    """
    linked = frame["corrects"].to_numpy() != ""
    if not linked.any():
        return []
    by_hand = [not by_plan(device) for device in frame["device"]]
    changed = frame[linked & np.array(by_hand, dtype=bool)]
    told: dict[str, list[tuple[str, str]]] = {}
    for line in records_of(changed):
        told.setdefault(str(line["corrects"]), []).append((str(line["recorded_at"]), str(line["id"])))
    return [
        (original, tuple(name for _, name in sorted(claims)))
        for original, claims in sorted(told.items())
        if len(claims) > 1
    ]

"""Lines that come in of records that were corrected: what they say is set against what stands now, not against the first version."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from trunkwatch.vineyard.block_names import BlockNames
from trunkwatch.vineyard.records import PROVENANCE, last_words, later_than, new_id, record_id, roots_of
from trunkwatch.vineyard.tables import TABLES, frame_of, records_of

__all__ = ["Changed", "Lines", "compared", "corrections", "differences", "said", "with_moments"]


@dataclass(frozen=True, slots=True)
class Changed:
    """A record that is known with other values.

    Attributes
    ----------
    table, id : str
        Which record.
    values : mapping of column to (known, now)
        What is known, or stands, and what came in.
    read_from : str
        File and line of what came in.
    about : str
        What the record is about, for people: block North, row 3.
    stands : mapping, optional
        Of records that were merged, and of those that do not stand as they came in: what stands now, by column;
        nothing where the record was taken back. None of others.
    taken : bool
        Whether what came in was taken, as a correction.
    """

    table: str
    id: str
    values: Mapping[str, tuple[object, object]]
    read_from: str
    about: str = ""
    stands: Mapping[str, object] | None = None
    taken: bool = False


@dataclass(slots=True)
class Lines:
    """What became of lines whose records are known.

    Attributes
    ----------
    changed : list of Changed
        What no version of the record says.
    superseded : list of Changed
        What a version of the record says that does not stand any more.
    """

    changed: list[Changed] = field(default_factory=list)
    superseded: list[Changed] = field(default_factory=list)

    def with_taken(self, ids: set[str]) -> "Lines":
        """Return the lines once those of some ids were taken as corrections."""
        taken = [replace(one, stands=None, taken=True) for one in (*self.changed, *self.superseded) if one.id in ids]
        changed = [one for one in self.changed if one.id not in ids]
        return Lines([*taken, *changed], [one for one in self.superseded if one.id not in ids])


def said(table: str) -> list[str]:
    """Return the columns in which a record says something of its subject."""
    skipped = {*PROVENANCE, "id", "corrects"}
    return [name for name in TABLES[table].names if name not in skipped]


def differences(table: str, known: pd.DataFrame, again: pd.DataFrame, names: BlockNames) -> list[Changed]:
    """Return the records that are known, by their ids, with other values."""
    says = [name for name in TABLES[table].names if name not in PROVENANCE]
    found = []
    for record in records_of(again):
        before = known.loc[record["id"]]
        if table == "blocks":
            here, there = (names.of_name(str(one["vineyard"]), str(one["block"])) for one in (before, record))
            if here is not None and here is there:  # the block under another name that it has or had
                record |= {"vineyard": before["vineyard"], "block": before["block"]}
        values = _differing(says, before, record)
        if values:
            found.append(
                Changed(table, str(record["id"]), values, str(record["read_from"]), _about(table, record, names))
            )
    return found


def compared(
    table: str, frame: pd.DataFrame, plain: Iterable[Changed], versions: pd.DataFrame, names: BlockNames
) -> Lines:
    """Set lines against what stands now.

    A line of a file that holds a later correction of the same record is what was said before, and nothing is told of
    it. A record that was taken back stays so, whatever a line says.

    Parameters
    ----------
    table : str
        Name of the table.
    frame : DataFrame
        Lines that came in, new ones too.
    plain : iterable of Changed
        Lines that are not as the record of their id.
    versions : DataFrame
        Every version of the records that were corrected and that lines are of; new ones too.
    names : BlockNames
        What the names of blocks mean.
    """
    if versions.empty:
        return Lines(list(plain))
    roots = roots_of(versions[versions["corrects"] != ""])
    last = {roots.get(str(one["id"]), str(one["id"])): one for one in records_of(last_words(versions))}
    texts: dict[str, set[str]] = {}
    for one in records_of(versions):
        texts.setdefault(roots.get(str(one["id"]), str(one["id"])), set()).add(_text(table, one))
    spoken, own = set(last_words(frame)["id"]), set(versions["id"])
    out = Lines([one for one in plain if one.id not in own])
    for line in records_of(frame[frame["id"].isin(own & spoken)].drop_duplicates("id", keep="last")):
        root = roots.get(str(line["id"]), str(line["id"]))
        now = last[root]
        if table == "blocks":  # under whatever name that it has or had
            line |= {"vineyard": now["vineyard"], "block": now["block"]}
        told = Changed(table, str(line["id"]), _differing(said(table), now, line), str(line["read_from"]))
        if not told.values:
            continue
        told = replace(told, about=_about(table, line, names))
        if now["void"] == "yes":
            out.superseded.append(replace(told, values={}, stands={}))
        elif _text(table, line) in texts[root]:
            out.superseded.append(replace(told, stands={name: now[name] for name in told.values}))
        else:
            out.changed.append(told)
    return out


def corrections(
    table: str, lines: pd.DataFrame, versions: pd.DataFrame, taken: Iterable[str], now: str
) -> pd.DataFrame:
    """Return lines as corrections of their records: taken now, they stand against all that was written before.

    Parameters
    ----------
    table : str
        Name of the table.
    lines : DataFrame
        Lines with the ids of versions of their records.
    versions : DataFrame
        Every version of these records.
    taken : iterable of str
        All ids of the table.
    now : str
        This moment.
    """
    roots = roots_of(versions[versions["corrects"] != ""])
    moments: dict[str, list[str]] = {}
    for name, moment in zip(versions["id"], versions["recorded_at"], strict=True):
        moments.setdefault(roots.get(name, name), []).append(str(moment))
    known, out = set(taken), []
    for line in records_of(lines.drop_duplicates("id", keep="last")):
        root, moment = roots.get(str(line["id"]), str(line["id"])), str(line["recorded_at"])
        last = max(moments[root])
        record = {
            **line,
            "corrects": root,
            "id": "",
            "recorded_at": moment if moment > last else later_than([last], now),
        }
        # The same values may have stood before: the second time they are a record of their own.
        made = record_id(table, record)
        record["id"] = new_id(table, record, known) if made in known else made
        known.add(record["id"])
        out.append(record)
    return frame_of(table, out)


def with_moments(frame: pd.DataFrame, versions: pd.DataFrame, now: str) -> pd.DataFrame:
    """Return lines with this moment in those corrections that do not say when they were written down.

    Only where a line comes without the record that it corrects: files that hold both have an order of their own.

    Parameters
    ----------
    frame : DataFrame
        Lines that come in.
    versions : DataFrame
        Every version of the records that they correct.
    now : str
        This moment.
    """
    if not frame["corrects"].to_numpy().any():
        return frame
    open_ones = (frame["corrects"] != "") & (frame["recorded_at"] == "") & ~frame["id"].isin(versions["id"])
    if not open_ones.any():
        return frame
    linked = pd.concat([versions[versions["corrects"] != ""], frame[frame["corrects"] != ""]], ignore_index=True)
    roots = roots_of(linked)
    moments: dict[str, list[str]] = {}
    for name, moment in zip(versions["id"], versions["recorded_at"], strict=True):
        moments.setdefault(roots.get(name, name), []).append(str(moment))
    here, last = set(frame["id"]), set(last_words(frame)["id"])
    told = [
        later_than(moments[roots[name]], now)
        if is_open and name in last and roots[name] not in here and roots[name] in moments
        else moment
        for name, moment, is_open in zip(frame["id"], frame["recorded_at"], open_ones, strict=True)
    ]
    return frame.assign(recorded_at=told)


def _differing(
    columns: Iterable[str], before: Mapping[Any, Any], record: Mapping[Any, Any]
) -> dict[str, tuple[object, object]]:
    return {
        name: (before[name], record[name])
        for name in columns
        if before[name] != record[name] and not (before[name] != before[name] and record[name] != record[name])
    }


def _text(table: str, record: Mapping[str, Any]) -> str:
    """Return what a version says as text that can be compared; a block is the same under all its names."""
    names = [name for name in said(table) if table != "blocks" or name not in ("block", "vineyard")]
    return "\x1f".join(str(record[name]) for name in names)


def _about(table: str, record: Mapping[str, Any], names: BlockNames) -> str:
    """Say what a record is about: its block, row, position and day, as far as it has them."""
    shown = names.outwards(table, frame_of(table, [record])).iloc[0].to_dict()
    parts = [f"{name} {shown[name]}" for name in ("block", "row", "position", "date", "name") if shown.get(name)]
    return ", ".join(parts) or table

"""New records with the block that they mean, and with ids: before they are checked, and before they are kept."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.vineyard.block_names import BlockNames, Name, listed, listed_number
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.records import earlier_id, record_id
from trunkwatch.vineyard.tables import TABLES, empty_frame, records_of

__all__ = ["PLANTING", "Named", "named_records", "with_vineyard"]

RENAME = "trunkwatch rename VINEYARD"
#: Columns in which two blocks of one name differ that are not one block.
PLANTING = ("planted", "training", "row_spacing_m", "vine_spacing_m")
#: Asked for the records of a table that are known already: those with these ids, or all of them.
KnownRecords = Callable[..., pd.DataFrame]


def _none_known(table: str, _ids: Sequence[str] | None = None) -> pd.DataFrame:
    return empty_frame(table)


@dataclass(slots=True)
class Named:
    """Records with their blocks and ids.

    Attributes
    ----------
    frames : dict of str to DataFrame
        By table; block and vineyard are the first name of the block.
    names : BlockNames
        Of all blocks, the new ones included.
    faults : list of Fault
        Records whose block is not clear, and names that another block has.
    """

    frames: dict[str, pd.DataFrame]
    names: BlockNames
    faults: list[Fault] = field(default_factory=list)


def named_records(
    blocks: pd.DataFrame,
    frames: Mapping[str, pd.DataFrame],
    known: KnownRecords = _none_known,
    *,
    filled: bool = False,
    current: bool = False,
) -> Named:
    """Find the block of every new record and make the ids that are missing.

    Parameters
    ----------
    blocks : DataFrame
        Every version of the blocks that are known already.
    frames : mapping of table name to DataFrame
        New records; a vineyard may be left out where one vineyard only has that block, of those that come together
        with the records, or else of all.
    known : callable
        Gives the records of a table that are known already, to find what a correction corrects.
    filled : bool
        The vineyard stands in every record: where it is empty, the vineyard has no name.
    current : bool
        Ids that are there were made with the vineyard.

    Returns
    -------
    Named
    """
    faults: list[Fault] = []
    out: dict[str, pd.DataFrame] = {}
    before = BlockNames.of(blocks)
    own = names = before
    if "blocks" in frames and len(frames["blocks"]):
        fresh = _with_known_blocks(frames["blocks"], before)
        out["blocks"] = _with_made_ids("blocks", fresh, fresh, known, current=current)
        new = out["blocks"][~out["blocks"]["id"].isin(blocks["id"])]
        names = BlockNames(pd.concat([part for part in (blocks, new) if len(part)] or [blocks], ignore_index=True))
        own = BlockNames(out["blocks"])
        if not filled:
            faults += _taken_names(new, names) + _not_the_same(frames["blocks"], before, blocks)
    for table, frame in frames.items():
        if table == "blocks" or frame.empty:
            continue
        told, unclear = _first_names(table, frame, names, own, filled=filled)
        faults += unclear
        out[table] = _with_made_ids(table, frame, told, known, current=current)
    return Named(out, names, faults)


def with_vineyard(frames: Mapping[str, pd.DataFrame], roots: Collection[str], vineyard: str) -> dict[str, pd.DataFrame]:
    """Give blocks of a vineyard without a name, and all their records, its name: with new ids, for it is their identity.

    Two growers who had not named their vineyards may both have a block North; a correction alone
    would leave these one block.

    Parameters
    ----------
    frames : mapping of table name to DataFrame
        All records, every version, as they are kept.
    roots : collection of str
        Ids of the first records of the blocks.
    vineyard : str
        The name.
    """
    names = BlockNames(frames["blocks"])
    own = [block for block in names.every if block.root in roots]
    pairs = {name for block in own for name in block.names if not name[0]}
    left = {block.vineyard for block in names.blocks if block.root not in roots}
    out = {}
    for table, frame in frames.items():
        if "block" in TABLES[table].names:
            mine = [pair in pairs for pair in zip(frame["vineyard"], frame["block"], strict=True)]
        else:
            mine = [not owner and "" not in left for owner in frame["vineyard"]]
        out[table] = frame.assign(
            vineyard=[vineyard if is_mine else owner for is_mine, owner in zip(mine, frame["vineyard"], strict=True)]
        )
    return {**out, **named_records(empty_frame("blocks"), out, filled=True).frames}


def _fault(record: Mapping[str, Any], problem: str, column: str, value: str = "", expected: str = "") -> Fault:
    file, _, line = str(record.get("read_from", "")).rpartition(":")
    number = int(line) if line.isdecimal() else 0
    return Fault(
        "fault", problem, file if number else str(record.get("read_from", "")), number, column, value, expected
    )


def _with_known_blocks(frame: pd.DataFrame, before: BlockNames) -> pd.DataFrame:
    """Give a line of a block that is known already, under whatever name, the id of that block."""
    ids = []
    for record in records_of(frame):
        block = None
        if not record["id"] and not record["corrects"]:
            block = before.of_name(str(record["vineyard"]), str(record["block"]))
        ids.append(block.root if block is not None else record["id"])
    return frame.assign(id=ids)


def _taken_names(new: pd.DataFrame, names: BlockNames) -> list[Fault]:
    """Find new blocks, and blocks renamed, that take a name which another block has or had."""
    faults = []
    for record in records_of(new):
        vineyard, label = name = str(record["vineyard"]), str(record["block"])
        if record["void"] == "yes":
            continue
        others = [one for one in names.shared.get(name, ()) if one.today != name or record["corrects"]]
        if others:
            problem = f"block {names.outside(others[0])} has, or had, that name, and its records are kept under it"
            faults.append(_fault(record, problem, "block", label, "another label"))
            continue
        own = names.of_name(*name)
        rivals = [
            block
            for block in names.blocks
            if block.label == label and block.vineyard != vineyard and "" in (block.vineyard, vineyard)
        ]
        if rivals and own is not None and own.stands and own.today == name:
            named = rivals[0].vineyard or vineyard
            problem = f"a vineyard without a name and {named} both have a block {label}: which is which cannot be told"
            way = f"the vineyard of each in blocks; `{RENAME} --vineyard '' --to NAME` names one that is kept already"
            faults.append(_fault(record, problem, "vineyard", vineyard, way))
    return faults


def _not_the_same(lines: pd.DataFrame, before: BlockNames, blocks: pd.DataFrame) -> list[Fault]:
    """Find lines of a block that have an earlier name of another block, and cannot be that block."""
    faults = []
    known = {str(record["id"]): record for record in records_of(blocks)}
    for record in records_of(lines):
        block = None
        if not record["id"] and not record["corrects"]:
            block = before.of_name(str(record["vineyard"]), str(record["block"]))
        if block is None or block.today == (record["vineyard"], record["block"]) or block.root not in known:
            continue
        if any(_says_another(record[name], known[block.root][name]) for name in PLANTING):
            problem = f"block {before.outside(block)} was called so before, and its records are kept under it"
            faults.append(_fault(record, problem, "block", str(record["block"]), "another label"))
    return faults


def _says_another(here: object, there: object) -> bool:
    """Tell whether two cells are both written, and differ."""
    return here not in ("", None) and there not in ("", None) and here == here and there == there and here != there


def _first_names(
    table: str, frame: pd.DataFrame, names: BlockNames, own: BlockNames, *, filled: bool
) -> tuple[pd.DataFrame, list[Fault]]:
    """Return the records under the first names of their blocks, and those whose block is not clear."""
    if "block" in TABLES[table].names:
        pairs: list[Name] = [(str(v), str(b)) for v, b in zip(frame["vineyard"], frame["block"], strict=True)]
        found = {pair: _first_name(pair, names, own, filled=filled) for pair in set(pairs)}
    else:
        pairs = [(str(v), "") for v in frame["vineyard"]]
        found = {pair: _first_vineyard(pair, names, own, filled=filled) for pair in set(pairs)}
    faults = []
    if any(isinstance(one, str) for one in found.values()):
        for record, pair in zip(records_of(frame), pairs, strict=True):
            problem = found[pair]
            if isinstance(problem, str):
                faults.append(_fault(record, problem, "vineyard"))
    firsts = {pair: pair if isinstance(one, str) else one for pair, one in found.items()}
    if all(old == new for old, new in firsts.items()):
        return frame, faults
    told = [firsts[pair] for pair in pairs]
    out = frame.assign(vineyard=[one[0] for one in told])
    return (out.assign(block=[one[1] for one in told]) if "block" in TABLES[table].names else out), faults


def _first_name(pair: Name, names: BlockNames, own: BlockNames, *, filled: bool) -> Name | str:
    """Return the first name of the block that is meant, or what is wrong.

    Records that come together with blocks mean these first: a grower's notes are about the grower's own block.
    """
    if filled:
        block = names.of_name(*pair)
        return pair if block is None else block.first
    meant = names.meant(*pair)
    if len(meant) > 1:
        handed = {block.root for block in own.meant(*pair)}
        meant = tuple(block for block in meant if block.root in handed) or meant
    if len(meant) == 1:
        return meant[0].first
    if not meant:
        return pair  # the checks name it
    owners = list(dict.fromkeys(block.vineyard for block in meant))
    return (
        f"{listed_number(len(meant))} vineyards have a block {pair[1]}: write the column vineyard ({listed(owners)})"
        if len(owners) > 1
        else f"{listed_number(len(meant))} blocks have, or had, the label {pair[1]}: write one of {', '.join(names.outside(one) for one in meant)}"
    )


def _first_vineyard(pair: Name, names: BlockNames, own: BlockNames, *, filled: bool) -> Name | str:
    written, vineyards = pair[0], names.vineyards
    if not written and not filled and len(own.vineyards) == 1:
        now = names.vineyard_of(own.vineyards[0])
        return names.names_of_vineyard(own.vineyards[0] if now is None else now)[0], ""
    if not written and not filled and len(vineyards) == 1:
        return names.names_of_vineyard(vineyards[0])[0], ""
    now = names.vineyard_of(written)
    if now is not None:
        return names.names_of_vineyard(now)[0], ""
    if written or filled or not vineyards:
        return pair
    return f"{listed_number(len(vineyards))} vineyards are kept here: write the column vineyard ({listed(vineyards)})"


def _with_made_ids(
    table: str, written: pd.DataFrame, frame: pd.DataFrame, known: KnownRecords, *, current: bool
) -> pd.DataFrame:
    """Make the ids that are missing, and those anew that were made while a block was known by its label alone.

    Corrections follow the ids of what they correct.
    """
    missing, linked = frame["id"].to_numpy() == "", frame["corrects"].to_numpy() != ""
    other = frame["vineyard"].to_numpy() != ""
    if "block" in TABLES[table].names:
        other |= frame["block"].to_numpy() != written["block"].to_numpy()
    if current:
        other, linked = np.zeros(len(frame), dtype=bool), linked & missing
    # An id made from a key is a UUID of version 5; those that a phone or a person gave are left alone.
    made = np.array([len(name) == 36 and name[14] == "5" for name in frame["id"]], dtype=bool)
    plain = np.flatnonzero(~linked & (missing | (other & made)))
    if not plain.size and not linked.any():
        return frame
    new: list[str] = frame["id"].tolist()
    earlier: dict[str, str] = {}
    for number, record, before in _lines(plain, frame, written if made[plain].any() or linked.any() else frame):
        old = earlier_id(table, before) if new[number] or linked.any() else ""
        if not new[number] or new[number] == old:
            new[number] = record_id(table, {**record, "id": ""})
            earlier |= {old: new[number]} if old else {}
        elif old and _is_of_its_key(table, record):
            earlier.setdefault(old, new[number])
    if not linked.any():
        return frame.assign(id=new)
    lines = _lines(np.flatnonzero(linked), frame, written)
    present = {name for number, name in enumerate(new) if not linked[number]}
    handed = present | earlier.keys() | {new[number] for number, _, _ in lines}
    handed |= {earlier_id(table, before) for _, _, before in lines}
    wanted = [target for _, _, before in lines if (target := str(before["corrects"])) not in handed]
    if wanted:
        present |= set(known(table, wanted)["id"])
        if any(target not in present for target in wanted):
            stored = records_of(known(table))
            present |= {str(one["id"]) for one in stored}
            own = [one for one in stored if not one["corrects"] and _is_of_its_key(table, one)]
            told = {earlier_id(table, one): str(one["id"]) for one in own}
            earlier = {old: now for old, now in told.items() if old != now} | earlier
    return _corrections(table, frame, lines, new, earlier, present)


def _is_of_its_key(table: str, record: Mapping[str, Any]) -> bool:
    """Tell whether an id is the one that the key makes: a record entered again has the key of the one taken back before."""
    return bool(record["id"] == record_id(table, {**record, "id": ""}))


#: Number of a line in its table, the record under the first name of its block, and as it was written.
_Line = tuple[int, dict[str, Any], dict[str, Any]]


def _lines(numbers: NDArray[np.intp], frame: pd.DataFrame, written: pd.DataFrame) -> list[_Line]:
    are_all = len(numbers) == len(frame)
    records = records_of(frame if are_all else frame.iloc[numbers])
    before = records if written is frame else records_of(written if are_all else written.iloc[numbers])
    return list(zip(numbers.tolist(), records, before, strict=True))


def _corrections(
    table: str, frame: pd.DataFrame, lines: list[_Line], new: list[str], made: dict[str, str], present: set[str]
) -> pd.DataFrame:
    """Let corrections point to the present ids, one link of a chain after the other."""
    corrects = frame["corrects"].tolist()
    olds = [earlier_id(table, before) for _, _, before in lines]
    for _ in range(len(lines) + 1):
        changed = False
        for (number, record, before), old in zip(lines, olds, strict=True):
            written = str(before["corrects"])
            target = written if written in present else made.get(written, written)
            kept = before["id"] and before["id"] != old
            own = record_id(table, {**record, "id": "", "corrects": target})
            name = before["id"] if kept else own
            # A correction that says the same a second time has an id of its own: the key means the first.
            if name == own and made.get(old, old) != name:
                made[old], changed = name, True
            if (target, name) != (corrects[number], new[number]):
                corrects[number], new[number], changed = target, name, True
        if not changed:
            break
    return frame.assign(id=new, corrects=corrects)

"""Before two files are merged: two blocks that are not one must not come to have one name."""

from collections.abc import Mapping

import pandas as pd

from trunkwatch.errors import RecordError
from trunkwatch.vineyard.block_names import Block, BlockNames
from trunkwatch.vineyard.named_records import PLANTING
from trunkwatch.vineyard.tables import records_of

__all__ = ["named_since", "refuse_one_name_for_two"]


def refuse_one_name_for_two(here: Mapping[str, pd.DataFrame], there: Mapping[str, pd.DataFrame]) -> None:
    """Refuse to merge where two blocks that are not one would have one name.

    Parameters
    ----------
    here, there : mapping of table name to DataFrame
        Blocks and rows of both files, every version, as they are kept.

    Raises
    ------
    RecordError
        With the names, and the way out.
    """
    if "blocks" not in there or here["blocks"].empty:
        return
    new = there["blocks"][~there["blocks"]["id"].isin(here["blocks"]["id"])]
    mine, theirs = BlockNames(here["blocks"]), BlockNames(there["blocks"])
    both = BlockNames(pd.concat([here["blocks"], new], ignore_index=True) if len(new) else here["blocks"])
    way = "rename one of them first, in its own file: `trunkwatch rename FILE "
    for (vineyard, label), blocks in both.shared.items():
        if (vineyard, label) not in mine.shared and (vineyard, label) not in theirs.shared:
            told = " and ".join(dict.fromkeys(both.outside(block) for block in blocks))
            raise RecordError(
                f"two blocks that are not one have, or had, the name {_full(vineyard, label)} ({told}): {way}--block ...`"
            )
    for block in both.blocks:
        rivals = [one for one in both.blocks if one.label == block.label and one.vineyard and not block.vineyard]
        if rivals:
            raise RecordError(
                f"a vineyard without a name and {rivals[0].vineyard} both have a block {block.label!r}: name the one "
                "without first, in its own file: `trunkwatch rename FILE --vineyard '' --to NAME`"
            )
    for block in mine.blocks:
        other = next((one for one in theirs.every if one.root == block.root), None)
        if other is None or block.vineyard or other.vineyard:
            continue
        differing = _another_planting(block, other, here, there)
        if differing:
            raise RecordError(
                f"both files have a block {block.label!r} in a vineyard without a name, with {differing}: two blocks, it "
                "seems. Name the vineyard of each file first: `trunkwatch rename FILE --vineyard '' --to NAME`"
            )


def named_since(here: Mapping[str, pd.DataFrame], there: Mapping[str, pd.DataFrame]) -> list[tuple[str, str]]:
    """Find blocks whose vineyard has no name in one file and was given one in the other, a later copy.

    Parameters
    ----------
    here, there : mapping of table name to DataFrame
        Blocks and rows, every version, as they are kept.

    Returns
    -------
    list of (root, vineyard)
        Root of the block here, and the name that its vineyard has there.
    """
    if "blocks" not in there or "blocks" not in here:
        return []
    mine, theirs = BlockNames(here["blocks"]), BlockNames(there["blocks"])
    found = []
    for block in mine.every:
        if block.first[0] or block.vineyard:
            continue
        later = theirs.of_name("", block.first[1])
        if later is None or not later.first[0] or later.root == block.root:
            continue
        if not _another_planting(block, later, here, there):
            found.append((block.root, later.first[0]))
    return found


def _full(vineyard: str, label: str) -> str:
    return repr(f"{vineyard}/{label}" if vineyard else label)


def _another_planting(
    block: Block, other: Block, here: Mapping[str, pd.DataFrame], there: Mapping[str, pd.DataFrame]
) -> str:
    """Say in what the first records of a block and its rows differ between two files; empty where in nothing."""
    mine, theirs = (
        next(iter(records_of(frames["blocks"][frames["blocks"]["id"] == one.root])), None)
        for one, frames in ((block, here), (other, there))
    )
    if mine is not None and theirs is not None:
        for name in PLANTING:
            if mine[name] != theirs[name] and not (mine[name] != mine[name] and theirs[name] != theirs[name]):
                return f"{name} {_said(mine[name])} in one and {_said(theirs[name])} in the other"
    if "rows" not in there:
        return ""
    rows = [_first_rows(frames["rows"], one) for one, frames in ((block, here), (other, there))]
    if not rows[0] or not rows[1]:
        return ""
    for label in dict.fromkeys([*rows[0], *rows[1]]):
        ends = [one.get(label) for one in rows]
        if None in ends:
            return f"{len(rows[0])} rows in one and {len(rows[1])} in the other"
        if ends[0] != ends[1]:
            return f"row {label} from {ends[0][0]} to {ends[0][1]} in one and from {ends[1][0]} to {ends[1][1]} in the other"  # type: ignore[index]
    return ""


def _said(value: object) -> str:
    return (
        "nothing" if value in ("", None) or value != value else f"{value:g}" if isinstance(value, float) else str(value)
    )


def _first_rows(rows: pd.DataFrame, block: Block) -> dict[str, tuple[str, str]]:
    """Return first and last position of the rows that a block began with; rows planted later have a day."""
    return {
        str(row["row"]): (_said(row["first"]), _said(row["last"]))
        for row in records_of(rows)
        if (row["vineyard"], row["block"]) in block.names and not row["corrects"] and not row["valid_from"]
    }

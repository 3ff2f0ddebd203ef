"""Whether blocks that come in may be another grower's: both without a vineyard's name, and each with findings of its own."""

from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from trunkwatch.block.opening import open_vineyard
from trunkwatch.errors import TrunkwatchError
from trunkwatch.store import Store, is_there
from trunkwatch.vineyard.faults import Fault

__all__ = ["may_be_two"]

#: What makes two findings one and the same, whoever wrote them down.
_SAME = ["row", "position", "date", "symptom"]
_SHOWN = 3


def may_be_two(vineyard: Path, frames: Mapping[str, pd.DataFrame]) -> list[Fault]:
    """Note blocks that are taken as one with those of the same label, and need not be.

    Two scouts of one grower look the same: so the records are taken, and it is told.

    Parameters
    ----------
    vineyard : Path
        Where the records go, before they are there.
    frames : mapping of table name to DataFrame
        What comes in, its blocks among them.

    Returns
    -------
    list of Fault
        One note at most.
    """
    blocks, findings = (frames.get(table) for table in ("blocks", "symptoms"))
    if blocks is None or findings is None or blocks.empty or not is_there(vineyard):
        return []
    labels = list(dict.fromkeys(blocks["block"][blocks["vineyard"] == ""]))
    try:
        with open_vineyard(vineyard) as store:
            twofold = [label for label in labels if _others_too(store, label, findings)]
    except TrunkwatchError:  # empty, or at fault: whoever writes to it says so
        return []
    if not twofold:
        return []
    listed = ", ".join(twofold[:_SHOWN]) + (f" and {len(twofold) - _SHOWN} more" if len(twofold) > _SHOWN else "")
    problem = f"block {listed}: already recorded in a vineyard without a name, with other findings; taken as one block"
    way = (
        "one grower's records. Where they are two growers', name the vineyard of each in its own folder or file first "
        f"(`trunkwatch rename PATH --vineyard '' --to NAME`), then import both into a new file in place of {vineyard.name}"
    )
    return [Fault("note", problem, expected=way)]


def _others_too(store: Store, label: str, findings: pd.DataFrame) -> bool:
    """Tell whether a block without a vineyard's name is there, and each side has findings that the other lacks."""
    names = store.names()
    known = names.of_name("", label)
    if known is None or not known.stands or known.vineyard:
        return False
    here = _findings(store.frame("symptoms", names.outside(known)))
    there = _findings(findings[(findings["vineyard"] == "") & (findings["block"] == label)])
    return bool(here - there and there - here)


def _findings(frame: pd.DataFrame) -> set[tuple[str, ...]]:
    return {tuple(map(str, key)) for key in frame[_SAME].to_numpy().tolist()}

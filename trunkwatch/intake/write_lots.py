"""Lots among equal vines, put on the work list: a mark on every vine, and the renewals that the lots decide."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.intake.add import Known, add_made
from trunkwatch.intake.correct import correction
from trunkwatch.intake.enter import settle
from trunkwatch.intake.winter_work import LEFT_BY_LOT, layout_of, piece_of, written_by_plan
from trunkwatch.vineyard.block_names import BlockNames
from trunkwatch.vineyard.calendar import season_of
from trunkwatch.vineyard.codes import CLEARING
from trunkwatch.vineyard.lots import lot_in
from trunkwatch.vineyard.records import now_text, standing
from trunkwatch.vineyard.tables import frame_of, records_of

__all__ = ["LOTS_DEVICE", "WrittenLots", "write_lots"]

#: What stands in `device` of lots: no plan takes them for its own.
LOTS_DEVICE = "lots"


@dataclass(slots=True)
class WrittenLots:
    """What became of the lots on the work list.

    Attributes
    ----------
    written : int
        Records that are new.
    dropped : int
        Renewals that a plan had proposed for vines that are to be left.
    by_hand : int
        Renewals that a person planned for vines that are to be left: they stay, and break the lot if they are done.
    """

    written: int = 0
    dropped: int = 0
    by_hand: int = 0

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was done, in a line, and what a reader should know."""
        told = [
            f"Lots: {self.written} pieces of work written, {self.dropped} planned renewals of vines to be left dropped"
        ]
        if self.by_hand:
            told.append(
                f"{self.by_hand} renewals of vines to be left were planned by hand: drop them, or these lots are broken"
            )
        return tuple(told)


def write_lots(
    path: str | Path, block: str, records: Sequence[Mapping[str, Any]], *, now: str | None = None
) -> WrittenLots:
    """Put lots on the work list, all or none.

    Parameters
    ----------
    path : str or Path
        Folder or file.
    block : str
        Its name, as it is called outside.
    records : sequence of mappings
        Of the `work` table, as `trunkwatch.follow_up.lots.lot_records` makes them.
    now : str, optional
        This moment; the clock's where left out.

    Raises
    ------
    FaultyNotesError
        If a record cannot stand.
    """
    moment, outcome = now or now_text(), WrittenLots()

    def make(known: Known) -> dict[str, pd.DataFrame]:
        names, work = BlockNames(known("blocks")), known("work")
        of_block = names.find(block)
        places, hemisphere = layout_of(of_block, names, known)
        own = {"vineyard": of_block.first[0], "block": of_block.first[1], "device": LOTS_DEVICE, "recorded_at": moment}
        out = [{**record, **own} for record in records]
        outcome.written = len(out)
        left = {
            (piece_of(record, places)[0], lot.season)
            for record in out
            if (lot := lot_in(str(record["kind"]), str(record["note"]))) is not None and not lot.renew
        }
        for there in records_of(names.of_block(standing(work), of_block)):
            where = piece_of(there, places)[0], season_of(str(there["date"]), hemisphere)
            if there["status"] != "planned" or there["kind"] not in CLEARING or where not in left:
                continue
            if written_by_plan(there, work):
                outcome.dropped += 1
                cells = {"status": "dropped", "note": LEFT_BY_LOT}
                out.append(correction("work", work, there, cells, now=moment, device=str(there["device"])))
            else:
                outcome.by_hand += 1
        return {"work": frame_of("work", out)}

    add_made(path, make, settle=lambda table, new, there: settle(table, new, there, now=moment))
    return outcome

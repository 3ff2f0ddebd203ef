"""All checks of a vineyard: what cannot be (faults), and what is odd and may be true (notes)."""

from collections import deque
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.block.opening import open_vineyard
from trunkwatch.block.whole_folder import read_whole_folder
from trunkwatch.errors import FileError
from trunkwatch.history import BlockRecords, read_block
from trunkwatch.intake.check_buds import check_buds
from trunkwatch.intake.check_clock import check_clock
from trunkwatch.intake.check_file import check_file, with_path
from trunkwatch.intake.check_findings import check_findings, check_observers
from trunkwatch.intake.check_layers import check_layers
from trunkwatch.intake.check_layout import BlockLayout, check_layout, check_places
from trunkwatch.intake.check_photos import check_photos
from trunkwatch.intake.check_seasons import check_seasons
from trunkwatch.intake.check_settings import check_settings
from trunkwatch.intake.check_weather import check_weather
from trunkwatch.intake.fault_at import fault_at
from trunkwatch.store import Store, is_shared
from trunkwatch.vineyard.block_names import Block, BlockNames
from trunkwatch.vineyard.calendar import day_after, hemisphere_of, local_day
from trunkwatch.vineyard.faults import Fault, folded
from trunkwatch.vineyard.records import conflicts, standing
from trunkwatch.vineyard.tables import TABLES, empty_frame, records_of

__all__ = ["Near", "check_frames", "check_vineyard"]


class Near(NamedTuple):
    """What lies around new records.

    Attributes
    ----------
    rows : frozenset of str
        Labels of their rows.
    surveys : frozenset of str
        Ids of the surveys among them.
    fresh : frozenset of str, optional
        Ids of new findings and work that are versions of nothing that is known: only faults are asked for that there
        could not be without them.
    """

    rows: frozenset[str]
    surveys: frozenset[str]
    fresh: frozenset[str] | None = None


def check_vineyard(path: str | Path, *, today: str | None = None) -> list[Fault]:
    """Check a folder or a file.

    Parameters
    ----------
    path : str or Path
        The vineyard.
    today : str, optional
        Day (YYYY-MM-DD) after which a date lies in the future; this machine's where left out. The day after is
        odd only: a phone further east may be in it already.

    Returns
    -------
    list of Fault
        Faults first, each kind in the order of files and lines; lines of one cause are one fault.

    Raises
    ------
    FileError
        If there is no vineyard.
    """
    where = Path(path)
    if where.is_dir():
        notes = read_whole_folder(where)
        found = notes.faults + check_frames(notes.frames, today=today)
        if not notes.stopping:
            with open_vineyard(where) as store:
                found += with_path(check_photos(where, store), where)
        return folded(_sorted(found))
    if is_shared(where):
        with open_vineyard(where) as store:
            found = check_frames(frames_of(store), today=today) + check_photos(where, store)
        return folded(_sorted(found))
    if not where.exists():
        open_vineyard(where)  # says what is to be done
    inside = check_file(where)
    try:
        with open_vineyard(where) as store:
            found = check_frames(frames_of(store), today=today)
            found += with_path(check_photos(where, store), where)
            if not any(fault.problem.startswith("layers") for fault in inside.settled):
                found += with_path(check_layers(store, where), where)
    except FileError as error:
        if not inside.everything:
            raise
        # Nothing else is asked of records that cannot be read: what keeps them from it is named.
        found = [Fault("note" if inside.faults else "fault", f"nothing else was checked: {error}", where.name, lines=0)]
    return sorted([*inside.everything, *folded(_sorted(found))], key=lambda fault: fault.weight != "fault")


def frames_of(
    store: Store, blocks: Iterable[Block] | None = None, tables: Collection[str] = tuple(TABLES)
) -> dict[str, pd.DataFrame]:
    """Return every version of every record of a store, or of some of its blocks; the blocks themselves always whole."""
    if blocks is None:
        return {table: store.frame(table, all_versions=True) for table in tables}
    labels = [store.names().outside(block) for block in blocks]
    out = {}
    for table in tables:
        if "block" not in TABLES[table].names or table == "blocks":
            out[table] = store.frame(table, all_versions=True)
            continue
        parts = [part for label in labels if len(part := store.frame(table, label, all_versions=True))]
        # One alone is handed on as it is: within a turn it is the same one for all writers, and what is made of it too.
        is_whole = len(parts) == 1 and parts[0].index.equals(pd.RangeIndex(len(parts[0])))
        out[table] = parts[0] if is_whole else pd.concat(parts or [empty_frame(table)], ignore_index=True)
    return out


def check_frames(
    frames: Mapping[str, pd.DataFrame],
    *,
    today: str | None = None,
    only: Collection[Block] | None = None,
    near: Near | None = None,
) -> list[Fault]:
    """Check the tables of a vineyard against each other.

    Parameters
    ----------
    frames : mapping of table name to DataFrame
        All tables, superseded records included.
    today : str, optional
        As in `check_vineyard`.
    only : collection of Block, optional
        Blocks to check, where the records of others are not among the tables.
    near : Near, optional
        Where some rows only of the blocks are among the tables.
    """
    day = today or local_day()
    names = BlockNames.of(frames["blocks"])
    now = {table: frame if frame.empty else names.outwards(table, standing(frame)) for table, frame in frames.items()}
    if only is not None:
        roots = {block.root for block in only}
        wanted = [names.outside(block) for block in names.blocks if block.root in roots]
        now["blocks"] = now["blocks"][now["blocks"]["block"].isin(wanted)]
    faults, layouts = _layout_of(frames, now, None if only is None else frozenset(block.root for block in only))
    fresh = None if near is None else near.fresh
    if fresh is None:
        faults += _places_of_all(now, layouts, day, near)
        faults += _strange_vineyards(now, names)
        faults += check_clock(frames, day)
        faults += _weather(now) if near is None else []
        faults += check_settings(now["settings"])
        faults += check_buds(
            now["bud_counts"], now["budbreak"], {label: one.record for label, one in layouts.items()}, now["rows"]
        )
    else:
        faults = _about_fresh(frames, now, layouts, day, fresh)
    for block, layout in layouts.items():
        reading = read_block(
            BlockRecords(block=layout.record, **_block_tables(now, block)),
            layout.grid,
            places=layout.places,
            rows=None if near is None else near.rows,
        )
        faults += [*check_findings(reading), *check_observers(reading), *check_seasons(reading, learnt=near is None)]
    for table, frame in frames.items() if fresh is None else ():
        faults += [
            Fault("note", f"{len(ids)} corrections of one record of {table}: the last one stands", value=ids[-1])
            for _, ids in (conflicts(frame) if table != "settings" else ())  # a setting is changed, not corrected
        ]
    return _sorted(faults)


class _KnownLayout(NamedTuple):
    """What was worked out of some tables that nobody changes."""

    tables: tuple[pd.DataFrame | None, ...]
    roots: frozenset[str] | None
    faults: tuple[Fault, ...]
    layouts: Mapping[str, BlockLayout]


#: Layouts that were asked for last: writers who share a turn ask again for those of their blocks.
_LAYOUTS: deque[_KnownLayout] = deque(maxlen=8)


def _layout_of(
    frames: Mapping[str, pd.DataFrame], now: Mapping[str, pd.DataFrame], roots: frozenset[str] | None
) -> tuple[list[Fault], Mapping[str, BlockLayout]]:
    """Check the layout of blocks, or tell it as before where the very same tables are asked for again."""
    tables = tuple(frames.get(table) for table in ("blocks", "rows", "plants"))
    for known in tuple(_LAYOUTS):
        if known.roots == roots and all(map(_is_same, known.tables, tables)):
            return list(known.faults), known.layouts
    faults, layouts = check_layout(now["blocks"], now["rows"], now.get("plants"))
    _LAYOUTS.append(_KnownLayout(tables, roots, tuple(faults), layouts))
    return faults, layouts


def _is_same(one: pd.DataFrame | None, other: pd.DataFrame | None) -> bool:
    return one is other or (one is not None and other is not None and one.empty and other.empty)


def _places_of_all(
    now: Mapping[str, pd.DataFrame], layouts: Mapping[str, BlockLayout], day: str, near: Near | None
) -> list[Fault]:
    faults = []
    for table in ("plants", "surveys", "symptoms", "work", "bud_counts", "budbreak", "pruning"):
        written = now[table]
        if near is not None and table == "surveys":
            written = written[written["id"].isin(near.surveys)]
        faults += check_places(table, written, layouts, day)
    return faults


def _about_fresh(
    frames: Mapping[str, pd.DataFrame],
    now: Mapping[str, pd.DataFrame],
    layouts: Mapping[str, BlockLayout],
    day: str,
    fresh: frozenset[str],
) -> list[Fault]:
    """Check the places of new findings and work, and clocks where one of these is written down after today.

    They correct nothing, so that other records have no more places and moments at fault than before, and blocks none.
    """
    faults, last, ahead = [], day_after(day), False
    for table in ("symptoms", "work"):
        if frames[table].empty:
            continue
        own = np.array([name in fresh for name in now[table]["id"]], dtype=bool)
        faults += check_places(table, now[table][own], layouts, day)
        moments = zip(frames[table]["id"].tolist(), frames[table]["recorded_at"].tolist(), strict=True)
        ahead |= any(name in fresh and str(moment)[:10] > last for name, moment in moments)
    return faults + (check_clock(frames, day) if ahead else [])


def _strange_vineyards(now: Mapping[str, pd.DataFrame], names: BlockNames) -> list[Fault]:
    """Find weather, costs and settings of a vineyard that no block is of."""
    return [
        fault_at(
            record,
            "fault",
            "no block is of this vineyard",
            "vineyard",
            str(record["vineyard"]),
            f"one of {', '.join(filter(None, names.vineyards))}",
        )
        for table in ("weather", "costs", "settings")
        if names.blocks and len(now[table])
        for record in records_of(now[table][~now[table]["vineyard"].isin(["", *names.vineyards])])
    ]


def _weather(now: Mapping[str, pd.DataFrame]) -> list[Fault]:
    """Check the weather of every vineyard, on the half of the earth that its first block lies on."""
    faults = []
    for vineyard in dict.fromkeys(now["weather"]["vineyard"].tolist()):
        own = records_of(now["blocks"] if not vineyard else now["blocks"][now["blocks"]["vineyard"] == vineyard])
        hemisphere = hemisphere_of(own[0]) if own else "north"
        faults += check_weather(now["weather"][now["weather"]["vineyard"] == vineyard], hemisphere)
    return faults


def _block_tables(now: Mapping[str, pd.DataFrame], block: str) -> dict[str, pd.DataFrame]:
    names = ("rows", "plants", "surveys", "symptoms", "work")
    return {name: _only(now[name], now[name]["block"].to_numpy() == block) for name in names}


def _only(frame: pd.DataFrame, wanted: NDArray[np.bool_]) -> pd.DataFrame:
    return frame if wanted.all() else frame[wanted]


def _sorted(faults: list[Fault]) -> list[Fault]:
    return sorted(faults, key=lambda fault: (fault.weight != "fault", fault.file, fault.line, fault.column))

"""Checks of counted buds and of noted budbreak: what cannot be, and what is odd."""

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from trunkwatch.intake.fault_at import fault_at
from trunkwatch.vineyard.calendar import hemisphere_of, is_iso_date
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.tables import number_in, records_of

__all__ = ["check_buds"]

#: Months in which canes for a count are collected, and in which buds break, north of the equator: another month is odd.
_COUNTED_IN = (10, 11, 12, 1, 2, 3, 4, 5)
_BREAK_IN = (2, 3, 4, 5, 6)


def check_buds(
    counts: pd.DataFrame, budbreak: pd.DataFrame, blocks: Mapping[str, Mapping[str, Any]], rows: pd.DataFrame
) -> list[Fault]:
    """Check the counts of buds and the days of budbreak of all blocks.

    Parameters
    ----------
    counts, budbreak : DataFrame
        Standing lines of both tables.
    blocks : mapping of str to mapping
        What is written of each block, by label.
    rows : DataFrame
        Standing lines of the rows: they say which other cultivars a block has.
    """
    faults = []
    for record in records_of(counts):
        faults += [*_more_than_cut(record), *_strange(record, blocks, rows), *_odd_month(record, blocks, _COUNTED_IN)]
    for record in records_of(budbreak):
        faults += [*_strange(record, blocks, rows), *_odd_month(record, blocks, _BREAK_IN)]
    return faults


def _more_than_cut(record: Mapping[str, Any]) -> Iterator[Fault]:
    buds = number_in(record, "buds")
    dead = number_in(record, "primary_dead")
    if dead > buds:
        yield fault_at(
            record,
            "fault",
            "more primary buds are dead than were cut",
            "primary_dead",
            f"{dead:g}",
            f"{buds:g} (buds) at the most",
        )
    for kind in ("secondary", "tertiary"):
        parts = [number_in(record, f"{kind}_{state}") for state in ("dead", "alive")]
        total = sum(part for part in parts if part == part)
        if total > buds:
            yield fault_at(
                record,
                "fault",
                f"there are more {kind} buds than buds that were cut",
                f"{kind}_dead",
                f"{total:g} dead and alive",
                f"{buds:g} (buds) at the most",
            )
    canes = number_in(record, "canes")
    if canes > buds:
        yield fault_at(
            record,
            "fault",
            "buds were cut on more canes than there are buds",
            "canes",
            f"{canes:g}",
            f"{buds:g} (buds) at the most",
        )


def _strange(record: Mapping[str, Any], blocks: Mapping[str, Mapping[str, Any]], rows: pd.DataFrame) -> Iterator[Fault]:
    """Name a cultivar that the block has not got: the count would be set against nothing."""
    label, cultivar = str(record["block"]), str(record["cultivar"])
    if not cultivar or label not in blocks:
        return
    own = {str(blocks[label].get("cultivar") or ""), *rows[rows["block"] == label]["cultivar"].astype(str)} - {""}
    if cultivar.casefold() not in {name.casefold() for name in own}:
        listed = ", ".join(sorted(own)) or "none is written of it"
        yield fault_at(
            record, "note", f"block {label} has no such cultivar", "cultivar", cultivar, f"one of its own: {listed}"
        )


def _odd_month(
    record: Mapping[str, Any], blocks: Mapping[str, Mapping[str, Any]], months: tuple[int, ...]
) -> Iterator[Fault]:
    day = str(record["date"])
    if not is_iso_date(day) or str(record["block"]) not in blocks:
        return
    month = int(day[5:7])
    north = month if hemisphere_of(blocks[str(record["block"])]) == "north" else (month + 5) % 12 + 1
    if north not in months:
        yield fault_at(
            record,
            "note",
            "buds in a month in which vines are green",
            "date",
            day,
            "the day as it was, or the right one",
        )

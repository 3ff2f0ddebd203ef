"""What people noted of the winter of a block, typed: counts of cut buds, days of budbreak, rows pruned."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trunkwatch.vineyard.tables import number_in, records_of

__all__ = ["BudCount", "NotedBudbreak", "RowsPruned", "bud_counts", "noted_budbreak", "rows_pruned"]


@dataclass(frozen=True, slots=True)
class BudCount:
    """One count of cut buds; None for a number that nobody wrote. An empty cultivar is the block's own."""

    id: str
    date: dt.date
    cultivar: str
    part: str
    canes: int | None
    buds: int
    primary_dead: int
    secondary_dead: int | None
    secondary_alive: int | None
    tertiary_dead: int | None
    tertiary_alive: int | None
    observer: str


@dataclass(frozen=True, slots=True)
class NotedBudbreak:
    """A day on which half of the buds of a block, or of a part of it, had broken."""

    id: str
    date: dt.date
    cultivar: str
    part: str
    observer: str


def bud_counts(table: pd.DataFrame) -> list[BudCount]:
    """Read standing lines of `bud_counts`, by day."""
    found = [
        BudCount(
            **_common(record),
            canes=_whole(record, "canes"),
            buds=int(number_in(record, "buds")),
            primary_dead=int(number_in(record, "primary_dead")),
            secondary_dead=_whole(record, "secondary_dead"),
            secondary_alive=_whole(record, "secondary_alive"),
            tertiary_dead=_whole(record, "tertiary_dead"),
            tertiary_alive=_whole(record, "tertiary_alive"),
        )
        for record in records_of(table)
    ]
    return sorted(found, key=lambda one: (one.date, one.id))


def noted_budbreak(table: pd.DataFrame) -> list[NotedBudbreak]:
    """Read standing lines of `budbreak`, by day."""
    return sorted(
        (NotedBudbreak(**_common(record)) for record in records_of(table)), key=lambda one: (one.date, one.id)
    )


def _common(record: Mapping[str, Any]) -> dict[str, Any]:
    texts = {name: str(record[name]) for name in ("id", "cultivar", "part", "observer")}
    return {**texts, "date": dt.date.fromisoformat(str(record["date"]))}


def _whole(record: Mapping[str, Any], column: str) -> int | None:
    number = number_in(record, column)
    return None if number != number else int(number)


@dataclass(frozen=True, slots=True)
class RowsPruned:
    """Rows that the crew pruned; hours None where nobody wrote them."""

    id: str
    date: dt.date
    covered: str
    first_cut: bool
    hours: float | None


def rows_pruned(table: pd.DataFrame) -> list[RowsPruned]:
    """Read standing lines of `pruning`, by day."""
    found = []
    for record in records_of(table):
        hours = number_in(record, "hours")
        day = dt.date.fromisoformat(str(record["date"]))
        found.append(
            RowsPruned(
                str(record["id"]),
                day,
                str(record["covered"]),
                str(record["cut"]) == "first",
                None if hours != hours else hours,
            )
        )
    return sorted(found, key=lambda one: (one.date, one.id))

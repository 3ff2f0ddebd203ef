"""The blocks of a vineyard with their cultivars, each with what the winter did to it."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from trunkwatch.cold.block_cold import BlockCold, cold_of_block
from trunkwatch.cold.counts import PartCount, counts_of
from trunkwatch.cold.days import Weather
from trunkwatch.cold.noted import bud_counts, noted_budbreak
from trunkwatch.cold.was_it_right import WasItRight, was_it_right
from trunkwatch.decide.decision import money_word
from trunkwatch.errors import UnknownBlockError
from trunkwatch.renewal.costs import ASSUMPTIONS, Costs, costs_of
from trunkwatch.store import Store
from trunkwatch.vineyard.calendar import hemisphere_of
from trunkwatch.vineyard.tables import number_in, records_of
from trunkwatch.winter_model.cultivars import Group

__all__ = ["cold_of_store", "counts_on_record", "cultivars_of", "past_on_record", "prices_on_record"]


def cold_of_store(
    store: Store, block: str | None, day: dt.date, *, stand_in: Group | None = None, beside: bool = True
) -> list[tuple[BlockCold, Weather]]:
    """Return what the winter did to every block, or to one, with the weather that it was read from.

    Parameters
    ----------
    store : Store
    block : str, optional
    day : date
        Day asked about.
    stand_in : Group, optional
        For cultivars that no model knows.
    beside : bool
        Whether the other model is asked beside the one that serves.

    Raises
    ------
    UnknownBlockError
        If there is no such block.
    """
    labels = store.blocks()
    if block is not None:
        labels = (store.names().outside(store.names().find(block)),)
    if not labels:
        raise UnknownBlockError("no block is on file; `trunkwatch new` adds one")
    found = []
    weather: dict[str, Weather] = {}
    known: dict[tuple[str, ...], BlockCold] = {}  # the same vines under the same weather are asked about once
    for label in labels:
        record = records_of(store.frame("blocks", label))[-1]
        owners = store.names().find(label).vineyard  # blocks of one vineyard have one weather
        if owners not in weather:
            weather[owners] = Weather(store.frame("weather", label))
        days = weather[owners]
        latitude = number_in(record, "latitude")
        for cultivar in cultivars_of(store, label, str(record.get("cultivar") or "")):
            key = (owners, cultivar, str(latitude), hemisphere_of(record))
            if key not in known:
                known[key] = cold_of_block(
                    label,
                    cultivar,
                    days,
                    day,
                    hemisphere=key[3],
                    latitude=None if latitude != latitude else latitude,
                    stand_in=stand_in,
                    beside=beside,
                )
            found.append((_learned(store, replace(known[key], block=label), days), days))
    return found


def _learned(store: Store, cold: BlockCold, weather: Weather) -> BlockCold:
    """Return what the winter did with what counts of past winters say of the site."""
    site = past_on_record(store, cold, weather).offset if len(store.frame("bud_counts", cold.block)) else None
    if site is None:
        return cold
    return cold_of_block(
        cold.block,
        cold.cultivar,
        weather,
        cold.asked,
        hemisphere=cold.hemisphere,
        latitude=cold.latitude,
        stand_in=cold.stand_in,
        site=site,
    )


def past_on_record(store: Store, cold: BlockCold, weather: Weather) -> WasItRight:
    """Return past counts and noted budbreak of a block and cultivar beside the model."""
    own = str(records_of(store.frame("blocks", cold.block))[-1].get("cultivar") or "")
    counts, broke = (store.frame(table, cold.block) for table in ("bud_counts", "budbreak"))
    return was_it_right(cold, weather, bud_counts(counts), noted_budbreak(broke), own)


def counts_on_record(store: Store, colds: Sequence[tuple[BlockCold, Weather]]) -> list[tuple[PartCount, ...]]:
    """Return the counts of buds of each block and cultivar in its winter, as `cold_of_store` returned them."""
    out = []
    for cold, weather in colds:
        own = str(records_of(store.frame("blocks", cold.block))[-1].get("cultivar") or "")
        out.append(counts_of(cold, weather, bud_counts(store.frame("bud_counts", cold.block)), own))
    return out


def prices_on_record(store: Store, label: str) -> tuple[Costs, float | None, str]:
    """Return the prices of a block's vineyard, the ground of a vine in square meters (None without spacing), and the currency.

    Raises
    ------
    RecordError
        If a line of `costs` cannot be read: a name that is not known, a value out of its range.
    """
    record, table = records_of(store.frame("blocks", label))[-1], store.frame("costs", label)
    ground = number_in(record, "row_spacing_m") * number_in(record, "vine_spacing_m")
    return costs_of(table), None if ground != ground else ground, money_word(table) or _currency(table)


def _currency(table: pd.DataFrame) -> str:
    """Return the currency of the first price that names one, where the price of the grapes does not."""
    for record in records_of(table):
        known, unit = ASSUMPTIONS.get(str(record["name"])), str(record.get("unit") or "")
        word = unit.replace(" per ", "/").split("/")[0].strip()
        if (
            known is not None
            and known.unit.partition("/")[0] == "money"
            and word.casefold() not in ("", "money", "nan")
        ):
            return word
    return ""


def cultivars_of(store: Store, label: str, own: str | None = None) -> list[str]:
    """Return the cultivars of a block, that of most rows first; an empty name where none is written."""
    if own is None:
        own = str(records_of(store.frame("blocks", label))[-1].get("cultivar") or "")
    rows = [
        str(row.get("cultivar") or "") or own
        for row in records_of(store.frame("rows", label))
        if not row.get("valid_to")
    ]
    counts: dict[str, int] = {}
    for name in rows or [own]:
        counts[name] = counts.get(name, 0) + 1
    return sorted(counts, key=lambda name: (-counts[name], name))

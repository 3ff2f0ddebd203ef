"""Cards made of a block: what leaves in place of the records, and nothing else."""

from dataclasses import dataclass
from typing import Any

from trunkwatch.block.opening import BlockSeason
from trunkwatch.cards.card import signed_card
from trunkwatch.cards.keys import CardKey
from trunkwatch.errors import RecordError
from trunkwatch.forecast.estimate import counts_of
from trunkwatch.forecast.season_counts import season_counts
from trunkwatch.forecast.vine_years import steps_of
from trunkwatch.history import rate
from trunkwatch.vineyard.calendar import is_any_day
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["CONSENT", "MAY_ADD", "Chosen", "forecast_card", "planted_class", "pool_card", "two_figures", "void_card"]

#: What a grower may put on a card beside cultivar and year class.
MAY_ADD = ("rootstock", "training")
#: Words that are signed with the card.
CONSENT = {
    "pool": "For tables over five growers or more, with rounded counts, until its last day. A void card takes it back at any time; a table that was given out stays.",
    "forecast": "For forecasts of other growers, who get this card, until its last day. A void card takes it back at any time; a forecast that was made stays.",
}
#: Years that are told as one.
_CLASS_YEARS = 5


@dataclass(frozen=True, slots=True)
class Chosen:
    """What the grower chose.

    Attributes
    ----------
    until : str
        Last day of the consent.
    made : str
        Moment, as 2027-01-31T12:00:00Z.
    region : str
        A word from the list of the pool; empty to tell none.
    add : tuple of str
        Of `MAY_ADD`.
    """

    until: str
    made: str
    region: str = ""
    add: tuple[str, ...] = ()


def pool_card(season: BlockSeason, root: str, key: CardKey, chosen: Chosen) -> dict[str, Any]:
    """Make the card of a block for tables over many growers: counts as they are, by season.

    Parameters
    ----------
    season : BlockSeason
        The block up to its last counted season.
    root : str
        Id of the block's first record.
    key : CardKey
        Of the grower.
    chosen : Chosen
        What the grower chose.

    Raises
    ------
    RecordError
        If no season counts, or the consent has no last day.
    """
    _check(chosen)
    history = season.history
    first = {one.season: one for one in (season_counts(step) for step in steps_of(history, season.season))}
    lines: list[list[Any]] = []
    for look in history.looks:
        if not look.counted:
            continue
        shown = rate(history, "annual", look.season)
        came = first.get(look.season)
        if shown.vines:
            lines.append(
                [
                    look.season,
                    shown.vines,
                    shown.cases,
                    came.at_risk if came is not None else 0,
                    came.new if came is not None else 0,
                    "+".join(sorted(look.classes)),
                ]
            )
    if not lines:
        raise RecordError(f"block {history.block!r} has no season that counts: there is nothing to put on a card")
    return signed_card(
        {
            "kind": "pool",
            "id": key.block_id("pool", root),
            "made": chosen.made,
            "until": chosen.until,
            "consent": CONSENT["pool"],
            "definition": history.definition,
            "block": _block(season, chosen),
            "seasons": lines,
        },
        key,
    )


def forecast_card(season: BlockSeason, root: str, key: CardKey, chosen: Chosen) -> dict[str, Any]:
    """Make the card of a block for forecasts of others: sums over all seasons, sizes rounded to two figures, and nothing of the block itself.

    Parameters and errors as in `pool_card`; a block with fewer than two seasons that count has none.
    """
    _check(chosen)
    history = season.history
    steps = steps_of(history, season.season)
    if not steps:
        raise RecordError(
            f"block {history.block!r} has fewer than two seasons that count: a forecast can learn nothing from it"
        )
    counts = counts_of(steps)
    chances = {
        name: _rounded(counts.events[name], counts.vines[name])
        for name in counts.events
        if name != "first" and counts.vines[name]
    }
    growth = {name: [_two_figures_of(one) for one in values] for name, values in counts.growth.as_data().items()}
    return signed_card(
        {
            "kind": "forecast",
            "id": key.block_id("forecast", root),
            "made": chosen.made,
            "until": chosen.until,
            "consent": CONSENT["forecast"],
            "definition": history.definition,
            "to": season.season,
            "first": _rounded(counts.events["first"], counts.vines["first"]),
            "chances": chances,
            "growth": growth,
        },
        key,
    )


def void_card(kind: str, block: str, key: CardKey, made: str) -> dict[str, Any]:
    """Make the card that takes back all cards of a block, those made later too: `block` is its name on them."""
    return signed_card({"kind": kind, "id": block, "made": made, "void": True}, key)


def planted_class(year: float | None) -> str:
    """Return five years that hold a year of planting; empty where none is written."""
    if year is None:
        return ""
    first = int(year) // _CLASS_YEARS * _CLASS_YEARS
    return f"{first} to {first + _CLASS_YEARS - 1}"


def two_figures(many: int) -> int:
    """Round a count to two figures: 4,862 to 4,900."""
    if many < 100:
        return many
    step = int(10 ** (len(str(many)) - 2))
    return (many + step // 2) // step * step


def _rounded(events: int, vines: int) -> list[int]:
    """Round vines to two figures, and events by the same share."""
    size = two_figures(vines)
    return [min(size, round(events * size / vines)) if vines else 0, size]


def _two_figures_of(value: float) -> float:
    return float(f"{value:.2g}")


def _block(season: BlockSeason, chosen: Chosen) -> dict[str, str]:
    line, grid = season.block, season.history.grid
    kinds = {row.cultivar for row in grid.named}
    told = {
        "cultivar": kinds.pop() if len(kinds) == 1 else "several" if kinds else "",
        "rootstock": season.reading.rootstock if "rootstock" in chosen.add else "",
        "training": str(line.get("training") or "") if "training" in chosen.add else "",
        "planted": planted_class(number_or_none(line.get("planted"))),
        "region": chosen.region,
    }
    return {name: value for name, value in told.items() if value}


def _check(chosen: Chosen) -> None:
    if not is_any_day(chosen.until):
        raise RecordError(f"the last day of the consent is {chosen.until!r}: a day is written 2027-12-31")
    _check_region(chosen.region)


def _check_region(region: str) -> None:
    """Refuse what is no word of a list: a place, an address or a coordinate would tell the block."""
    if region and not (region.replace("-", "").replace("_", "").isalpha() and len(region) <= 30):
        raise RecordError(
            f"region is {region!r}: one word of the pool's list is meant, letters only, and no place or coordinate"
        )

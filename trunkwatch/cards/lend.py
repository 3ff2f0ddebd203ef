"""Forecast cards as counts that a forecast leans on."""

from collections.abc import Iterable

from trunkwatch.cards.card import Card
from trunkwatch.decide.outlook import LentCounts
from trunkwatch.forecast.growth import Growth
from trunkwatch.forecast.season_counts import COUNTED, SeasonCounts

__all__ = ["lent_counts"]


def lent_counts(cards: Iterable[Card]) -> tuple[LentCounts, ...]:
    """Return what forecast cards lend.

    A card holds sums over all its seasons and counts as one season, its last: what is foretold of an earlier one, as in
    the back-test, does not see it.
    """
    return tuple(LentCounts(str(card.told["definition"]), card.grower, (_as_season(card),)) for card in cards)


def _as_season(card: Card) -> SeasonCounts:
    told = card.told
    pairs = {name: told["chances"].get(name, (0, 0)) for name in COUNTED}
    again, written = pairs["again_1"], pairs["rewritten_1"]
    return SeasonCounts(
        told["to"],
        1,
        {name: pair[0] for name, pair in pairs.items()},
        {name: pair[1] for name, pair in pairs.items()},
        told["first"][0],
        told["first"][1],
        again[0],
        again[1],
        written[0],
        written[1],
        Growth.of_data(told["growth"]),
        gone=True,
    )

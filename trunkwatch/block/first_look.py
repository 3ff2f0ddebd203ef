"""Which vines to look at first this winter: those that show or carry damage, the worst first."""

from dataclasses import dataclass

import numpy as np

from trunkwatch.block.opening import BlockSeason
from trunkwatch.block.vine_now import VineNow, vine_now, vines_now
from trunkwatch.history import Condition
from trunkwatch.history.plants import plant_after
from trunkwatch.history.words import damage_words, end_words, short_symptom
from trunkwatch.history.written import Finding
from trunkwatch.vineyard import codes

__all__ = ["WinterVine", "winter_list"]

#: Rank of a symptom where no share was written, and order among equal shares (common practice, no source).
_WEIGHT = {
    "dead_trunk": 6, "collapse": 5, "dead_arm": 4, "canker": 3, "leaf_stripe": 2, "stunted_shoots": 2, "dead_spurs": 1,
}  # fmt: skip
_GUESS = {"dead_trunk": 80.0, "collapse": 70.0, "dead_arm": 50.0, "canker": 30.0}
ALREADY_CUT = "already cut"


@dataclass(frozen=True, slots=True)
class WinterVine:
    """One vine to look at.

    Attributes
    ----------
    row, position
        Its name today.
    what : str
        What was seen and stands, the newest first.
    percent : float or None
        Largest share dead that was written of what stands, of the damage where there is any; None where none was.
    shoot : str
        Renewal shoot in words; empty where none was noted.
    below_union : bool
        On a grafted vine such a shoot is rootstock: never at hand.
    seasons : int
        Seasons in which it was a case.
    last_seen : str
        Last day on which any of it was seen.
    look_again : bool
        The records disagree on its damage: look at it again before anything is cut.
    shoot_quality : str
        Code of the shoot's quality; empty where nothing was said of it.
    """

    row: str
    position: int
    what: str
    percent: float | None
    shoot: str
    below_union: bool
    seasons: int
    last_seen: str
    look_again: bool = False
    shoot_quality: str = ""

    @property
    def shoot_at_hand(self) -> bool:
        """Whether a shoot was noted that the vine can be renewed from this winter."""
        return bool(self.shoot) and not self.below_union and self.shoot_quality not in codes.SHOOT_WAITS


def winter_list(season: BlockSeason) -> list[WinterVine]:
    """List the vines that show this season, carry damage or have symptoms on record that no rate counts: those with dead wood first, then a renewal shoot and the largest share.

    The share is what scouts wrote; where they wrote none it is a guess by symptom that only
    serves to put the list in order. Vines on which the records disagree come last.
    """
    history, now = season.history, vines_now(season)
    gone = np.isin(history.condition[season.index], (Condition.DEAD, Condition.MISSING, Condition.NO_POSITION))
    showing = {(int(row), int(station)) for row, station in np.argwhere(season.cases)}
    plants = {cell: plant_after(season.reading.vine(cell).plants, season.as_of) for cell in {*showing, *now}}
    wanted = {cell for cell in showing if history.plant[season.index][cell] == plants[cell]}
    wanted |= {cell for cell, vine in now.items() if (vine.open or vine.doubted) and not gone[cell]}
    listed = [
        _vine(
            season,
            now.get(cell) or vine_now(season, cell),
            sum(
                bool(case[cell]) and plant[cell] == plants[cell]
                for case, plant in zip(history.case, history.plant, strict=True)
            ),
        )
        for cell in wanted
    ]
    order = {label: number for number, label in enumerate(history.grid.labels)}
    listed.sort(
        key=lambda pair: (
            pair[0].look_again,
            -pair[1],
            -pair[0].seasons,
            order[pair[0].row],
            pair[0].position,
        )
    )
    return [vine for vine, _ in listed]


def _vine(season: BlockSeason, now: VineNow, times: int) -> tuple[WinterVine, float]:
    row, position = season.history.grid.label(*now.cell)
    damages = [damage.finding for damage in now.damages]
    shares = [f.percent_dead for f in damages or now.open if f.percent_dead is not None]
    worst = max(shares) if shares else None
    guess = max((_GUESS.get(f.symptom, 10.0) for f in now.open), default=10.0)
    weight = (100.0 if damages else 0.0) + (worst if worst is not None else guess) + (25.0 if now.shoot_usable else 0.0)
    again = bool(now.doubted) and not now.open
    below = now.shoot == "below_union" and not now.shoot_placed
    return WinterVine(
        row,
        position,
        _doubts(now) if again else _what(now.open),
        worst,
        codes.RENEWAL_SHOOTS.get(now.shoot, ""),
        below,
        times,
        now.last_seen or _last_case(season, now),
        again,
        now.shoot_quality,
    ), weight


def _what(findings: tuple[Finding, ...]) -> str:
    newest_first = sorted(findings, key=lambda f: (f.date, _WEIGHT.get(f.symptom, 0)), reverse=True)
    return "; ".join(dict.fromkeys(short_symptom(f.symptom, f.part) for f in newest_first)) or ALREADY_CUT


def _doubts(now: VineNow) -> str:
    return "; ".join(dict.fromkeys(f"{damage_words(d)}, {end_words(d)}" for d in now.doubted))


def _last_case(season: BlockSeason, now: VineNow) -> str:
    """Return when a vine whose case was cut out since had last been seen with it."""
    days = [f.date for f in season.reading.vine(now.cell).findings if f.symptom in _WEIGHT and f.date <= season.as_of]
    return max(days, default="")

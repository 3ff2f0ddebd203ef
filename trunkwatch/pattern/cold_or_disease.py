"""Winter or disease: one sheet for a block and season, every sign with what it weighs, and an answer that may be "cannot tell"."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd

from trunkwatch.block.opening import BlockSeason
from trunkwatch.block.vine_now import vine_now
from trunkwatch.history import Rate
from trunkwatch.pattern.cold_signs import (
    FEWEST_NEW,
    JUMP,
    ByCultivar,
    FirstNoted,
    OneSide,
    ShownLater,
    StainAtCuts,
    StripedLeaves,
    YoungVines,
    by_cultivar,
    by_side,
    first_noted,
    near_cases,
    new_by_season,
    shown_later,
    stain_at_cuts,
    step_up,
    striped_leaves,
    young_vines,
)
from trunkwatch.pattern.cold_weights import DECIDES, State, weight
from trunkwatch.pattern.winter_margin import MarginNight, SeasonMargin, margin_night
from trunkwatch.pattern.winters import ColdNight, cold_night, winters_on_file
from trunkwatch.stats.near_old import NewNearOld
from trunkwatch.stats.step import AgainstOthers, season_against_others

__all__ = ["ANSWERS", "Answer", "Sign", "Speaks", "WinterSheet", "winter_sheet"]


class Speaks(StrEnum):
    """What a sign speaks for; the value is the code in JSON."""

    COLD = "cold"
    DISEASE = "disease"
    NEITHER = "neither"


class Answer(StrEnum):
    """What all signs say together; the value is the code in JSON."""

    COLD = "fits cold"
    DISEASE = "fits disease"
    BOTH = "both"
    CANNOT_TELL = "cannot tell"


ANSWERS = tuple(Answer)

SignFacts = (
    AgainstOthers | ColdNight | MarginNight | OneSide | StripedLeaves | FirstNoted | ByCultivar | YoungVines | ShownLater | StainAtCuts | NewNearOld
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sign:
    """One sign: what was found (None where nothing can be said), and what it weighs.

    Attributes
    ----------
    name : str
        step, cold, low ground, leaves, sudden, young, cultivar, later, stain or neighbours.
    state : State
        What was found, as a code.
    weight : float
        How many times more often this comes with cold than with disease: above 1 for cold, below for disease.
    """

    name: str
    state: State
    weight: float
    facts: SignFacts | None

    @property
    def speaks(self) -> Speaks:
        """What it speaks for."""
        if self.weight > 1:
            return Speaks.COLD
        return Speaks.DISEASE if self.weight < 1 else Speaks.NEITHER


@dataclass(frozen=True, slots=True)
class WinterSheet:
    """All signs of a season, the answer, and which vines to cut and look at next.

    Attributes
    ----------
    new : int or None
        New cases of the season; None where the season has no rate of them.
    weight : float
        All weights multiplied.
    later : int
        Compared seasons after it that are on file.
    """

    block: str
    season: int
    answer: Answer
    signs: tuple[Sign, ...]
    look_at: tuple[tuple[str, int, str], ...]  # row, position, and when it was last seen as a case
    new: int | None
    weight: float
    later: int


def winter_sheet(
    season: BlockSeason, weather: pd.DataFrame, margins: tuple[str, Mapping[int, SeasonMargin]] | None = None
) -> WinterSheet:
    """Weigh cold against disease for the new cases of a season.

    Parameters
    ----------
    season : BlockSeason
        The block; its history may reach beyond the season in question.
    weather : DataFrame
        The `weather` table; may be empty.
    margins : (str, mapping of season to SeasonMargin), optional
        Cultivar, and how far the nights of each winter came to its buds, where a model of hardiness serves: it speaks in place of the
        bare minimum then.
    """
    history, new = season.history, new_by_season(season.history)
    own = new.get(season.season)
    signs = [_cold(season, weather, new, margins), *_of_new_cases(season, new)]
    cases = season.cases & season.vines
    chosen = np.argwhere(cases & (own.numerator if own else cases)).tolist()[:8]
    named = [(*history.grid.label(r, s), vine_now(season, (r, s)).last_seen) for r, s in chosen]
    later = sum(year > season.season for year in history.compared_seasons)
    return WinterSheet(
        history.block,
        season.season,
        _answer(signs, own.cases if own else None),
        tuple(signs),
        tuple(named),
        own.cases if own else None,
        math.prod(one.weight for one in signs),
        later,
    )


def _sign(name: str, state: State, facts: SignFacts | None) -> Sign:
    return Sign(name, state, weight(state), facts)


def _of_new_cases(season: BlockSeason, new: dict[int, Rate]) -> list[Sign]:
    own, history = new.get(season.season), season.history
    stain = _sign("stain", State.NOTHING_TO_SAY, stain_at_cuts(season))
    if own is None:
        return [stain]
    cases = own.numerator
    signs = [
        _sign("step", *step_up(new, season.season)),
        _sign("leaves", *striped_leaves(history, season.season, cases)),
        _sign("sudden", *first_noted(season, new)),
        _sign("low ground", *by_side(season, cases)),
        _sign("neighbours", *near_cases(history, season.season)),
        _sign("later", *shown_later(season, new)),
        stain,
    ]
    shares = by_cultivar(season, cases, own.denominator)
    plain = {
        "cultivar": shares,
        "young": young_vines(season),
    }  # no vineyard of known truth has them with cold: no weight
    return [*signs, *(_sign(name, State.NOTHING_TO_SAY, facts) for name, facts in plain.items() if facts is not None)]


def _answer(signs: Sequence[Sign], new: int | None) -> Answer:
    """Weigh the signs together; no sign decides by itself, and an ordinary winter is no cold winter.

    Both fit where the signs for each weigh enough by themselves and not enough against each other, new cases jumped, and much was
    dead at once.
    """
    if new is None or new < FEWEST_NEW:
        return Answer.CANNOT_TELL
    cold = math.prod(one.weight for one in signs if one.speaks is Speaks.COLD)
    disease = 1 / math.prod(one.weight for one in signs if one.speaks is Speaks.DISEASE)
    states = {one.state for one in signs}
    ordinary, at_once = State.ORDINARY_WINTER in states, {State.JUMP, State.SUDDEN} <= states
    near = 1 + 1e-9  # of products of weights
    if cold / disease * near >= DECIDES:
        return Answer.CANNOT_TELL if ordinary else Answer.COLD
    if disease / cold * near >= DECIDES:
        return Answer.DISEASE
    both = at_once and not ordinary and min(cold, disease) * near >= DECIDES
    return Answer.BOTH if both else Answer.CANNOT_TELL


def _cold(
    season: BlockSeason,
    weather: pd.DataFrame,
    new: dict[int, Rate],
    margins: tuple[str, Mapping[int, SeasonMargin]] | None = None,
) -> Sign:
    winters = winters_on_file(weather, season.reading.hemisphere, season.history.seasons[-1])

    def jumped(year: int) -> bool | None:
        """Tell of another winter whether new cases jumped, the season in question left out."""
        rest = {k: one for k, one in new.items() if k != season.season}
        if year not in rest:
            return None
        found = season_against_others(
            [one.cases for one in rest.values()],
            [one.vines for one in rest.values()],
            list(rest),
            year,
        )
        return None if found.reason else found.ratio >= JUMP

    if (
        margins is not None
        and (close := margin_night(margins[1], margins[0], season.season, jumped)) is not None
        and close.enough
    ):
        if not close.unusual:
            return _sign("cold", State.ORDINARY_WINTER if close.spared else State.NOTHING_TO_SAY, close)
        return Sign(
            "cold",
            State.UNUSUAL_WINTER,
            weight(State.UNUSUAL_WINTER, winters=close.winters, far_out=close.far_out),
            close,
        )
    night = cold_night(winters, season.season, jumped)
    if night is None or not night.enough:
        return _sign("cold", State.NOTHING_TO_SAY, night)
    if not night.unusual:
        return _sign("cold", State.ORDINARY_WINTER, night)
    heavy = weight(State.UNUSUAL_WINTER, winters=night.winters, times=night.times, far_out=night.far_out)
    return Sign("cold", State.UNUSUAL_WINTER, heavy, night)

"""Winter or disease: one sheet for a block and season, every sign with what it speaks for, and an answer that may be "cannot tell"."""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, StrEnum

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import chdtrc

from trunkwatch.block.opening import BlockSeason
from trunkwatch.block.vine_now import vine_now
from trunkwatch.history import BlockHistory, rate
from trunkwatch.pattern.gradients import BlockGradient, block_gradients
from trunkwatch.pattern.near_old import near_old_pattern
from trunkwatch.stats.incidence import Incidence, incidence
from trunkwatch.stats.new_near_old import NewNearOld
from trunkwatch.stats.step import Step, one_season_step
from trunkwatch.vineyard.calendar import season_bounds
from trunkwatch.vineyard.codes import COME_AND_GO

__all__ = [
    "ANSWERS", "Answer", "ByCultivar", "ColdNight", "Hardness", "InOneStep", "LowGround", "ShownLater", "Sign", "Speaks",
    "StainAtCuts", "WinterSheet", "winter_sheet",
]  # fmt: skip


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


class Hardness(Enum):
    """When in the hardening of vines a night was cold."""

    MID_WINTER = 1
    BEFORE = 2
    AFTER = 3


ANSWERS = tuple(Answer)
LEVEL = 0.05
#: Below this a mid-winter night can kill buds and wood of tender cultivars (half of primary buds at -15 to -25 C at
#: deepest hardiness: Dami 2014, HortScience conference; read in abstract). Hardy cultivars stand far more.
COLD_C = -15.0
#: New cases below which nothing is said on where they lie, and on whether beside earlier ones (our own conventions).
FEWEST_PLACED, FEWEST_NEAR = 8, 5
#: Vines on each side below which later symptoms are not compared (our own convention).
FEWEST_LATER = 8


@dataclass(frozen=True, slots=True)
class InOneStep:
    """New cases of all seasons; `here`: this season stands out."""

    found: Step
    here: bool


@dataclass(frozen=True, slots=True)
class ColdNight:
    """The coldest night, and the warmest of the ten days before it (nan where not written)."""

    day: str
    lowest_c: float
    hardness: Hardness
    warmest_c: float

    @property
    def warm_before(self) -> bool:
        """Whether a spell of ten degrees or more went before."""
        return self.warmest_c >= 10


@dataclass(frozen=True, slots=True)
class LowGround:
    """Towards which side new cases lie; None towards none."""

    gradient: BlockGradient | None


@dataclass(frozen=True, slots=True)
class ByCultivar:
    """New cases over vines at risk of each cultivar, and the p of equal shares."""

    shares: tuple[tuple[str, int, int], ...]
    pvalue: float


@dataclass(frozen=True, slots=True)
class ShownLater:
    """Vines that came in the season and showed again within two counted seasons, and those of other seasons."""

    own: Incidence
    rest: Incidence

    @property
    def compared(self) -> bool:
        """Whether both are enough vines to compare."""
        return self.own.vines >= FEWEST_LATER and self.rest.vines >= FEWEST_LATER


@dataclass(frozen=True, slots=True)
class StainAtCuts:
    """Cuts into vines that show, and those with stain."""

    cuts: int
    stained: int


SignFacts = InOneStep | ColdNight | LowGround | ByCultivar | ShownLater | StainAtCuts | NewNearOld


@dataclass(frozen=True, slots=True)
class Sign:
    """One sign: what was found (None where nothing can be said), and what it speaks for.

    `name` is step, cold, low ground, cultivar, later, stain or neighbours.
    """

    name: str
    speaks: Speaks
    facts: SignFacts | None


@dataclass(frozen=True, slots=True)
class WinterSheet:
    """All signs of a season, the answer, and which vines to cut and look at next."""

    block: str
    season: int
    answer: Answer
    signs: tuple[Sign, ...]
    look_at: tuple[tuple[str, int, str], ...]  # row, position, and when it was last seen as a case


def winter_sheet(season: BlockSeason, weather: pd.DataFrame) -> WinterSheet:
    """Weigh cold against disease for the new cases of a season.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season in question.
    weather : DataFrame
        The `weather` table; may be empty.
    """
    history = season.history
    new = rate(history, "new", season.season) if season.season in history.compared_seasons else None
    signs = [
        *_step(history, season.season), *_cold(weather, season), *_where(history, season, new.numerator if new else None),
        *_cultivars(season, new.numerator if new else None, new.denominator if new else None), *_again(history, season),
        *_stain(season), *_near(history, season),
    ]  # fmt: skip
    cases = season.cases & season.vines
    chosen = np.argwhere(cases & (new.numerator if new else cases)).tolist()[:8]
    named = [(*history.grid.label(r, s), vine_now(season, (r, s)).last_seen) for r, s in chosen]
    return WinterSheet(history.block, season.season, _answer(signs), tuple(signs), tuple(named))


def _answer(signs: Sequence[Sign]) -> Answer:
    """Cold needs a step of one season and another sign; disease needs two signs; no sign decides alone."""
    cold = [one for one in signs if one.speaks is Speaks.COLD]
    disease = [one for one in signs if one.speaks is Speaks.DISEASE]
    fits_cold = any(one.name == "step" for one in cold) and len(cold) >= 2
    fits_disease = len(disease) >= 2
    if fits_cold and fits_disease:
        return Answer.BOTH
    return Answer.COLD if fits_cold else Answer.DISEASE if fits_disease else Answer.CANNOT_TELL


def _step(history: BlockHistory, season: int) -> list[Sign]:
    rates = [rate(history, "new", year) for year in history.compared_seasons]
    usable = [one for one in rates if not one.reason]
    found = one_season_step(
        [one.cases for one in usable], [one.vines for one in usable], [one.season for one in usable]
    )
    if found.reason:
        return [Sign("step", Speaks.NEITHER, InOneStep(found, here=False))]
    year = usable[found.season].season
    if found.pvalue <= LEVEL and year == season:
        return [Sign("step", Speaks.COLD, InOneStep(found, here=True))]
    speaks = Speaks.DISEASE if found.pvalue > 0.2 else Speaks.NEITHER
    return [Sign("step", speaks, InOneStep(found, here=False))]


def _cold(weather: pd.DataFrame, season: BlockSeason) -> list[Sign]:
    hemisphere = season.reading.hemisphere
    first, last = season_bounds(season.season, hemisphere)
    days = weather[(weather["date"] >= first) & (weather["date"] <= last) & weather["t_min_c"].notna()]
    if days.empty:
        return [Sign("cold", Speaks.NEITHER, None)]
    coldest = days.iloc[int(days["t_min_c"].to_numpy().argmin())]
    day, depth = dt.date.fromisoformat(str(coldest["date"])), float(coldest["t_min_c"])
    month = (day.month + (6 if hemisphere == "south" else 0) - 1) % 12 + 1
    hardness = (
        Hardness.MID_WINTER if month in (12, 1, 2) else Hardness.BEFORE if month in (9, 10, 11) else Hardness.AFTER
    )
    ten = days[(days["date"] >= (day - dt.timedelta(days=10)).isoformat()) & (days["date"] < day.isoformat())]
    warm = float(ten["t_max_c"].max()) if len(ten) and ten["t_max_c"].notna().any() else math.nan
    night = ColdNight(day.isoformat(), depth, hardness, warm)
    mid_winter = hardness is Hardness.MID_WINTER
    severe = depth <= COLD_C or (not mid_winter and depth <= -8) or (night.warm_before and depth <= -12)
    return [Sign("cold", Speaks.COLD if severe else Speaks.NEITHER, night)]


def _where(history: BlockHistory, season: BlockSeason, new: NDArray[np.bool_] | None) -> list[Sign]:
    if new is None or new.sum() < FEWEST_PLACED:
        return [Sign("low ground", Speaks.NEITHER, None)]
    slopes = [one for one in block_gradients(new, season.vines | new, history.grid) if one.corrected <= LEVEL]
    if not slopes:
        return [Sign("low ground", Speaks.NEITHER, LowGround(None))]
    return [Sign("low ground", Speaks.COLD, LowGround(slopes[0]))]


def _cultivars(season: BlockSeason, new: NDArray[np.bool_] | None, risk: NDArray[np.bool_] | None) -> list[Sign]:
    names = np.array(season.history.grid.cultivar)
    kinds = [name for name in dict.fromkeys(names.tolist()) if name]
    if new is None or risk is None or len(kinds) < 2:
        return []
    rows = [np.isin(names, [kind]) for kind in kinds]
    cases, vines = np.array([new[r].sum() for r in rows]), np.array([risk[r].sum() for r in rows])
    cases, vines, told = cases[vines > 0], vines[vines > 0], [k for k, v in zip(kinds, vines, strict=True) if v > 0]
    if len(vines) < 2 or not cases.sum():
        return []
    share = cases.sum() / vines.sum()
    p = float(chdtrc(len(vines) - 1, float((((cases - vines * share) ** 2) / (vines * share * (1 - share))).sum())))
    shares = tuple((name, int(c), int(v)) for name, c, v in zip(told, cases, vines, strict=True))
    return [Sign("cultivar", Speaks.COLD if p <= LEVEL else Speaks.NEITHER, ByCultivar(shares, p))]


def _again(history: BlockHistory, season: BlockSeason) -> list[Sign]:
    """Do vines that came in that season show new symptoms later, as sick ones do?"""
    number = season.index
    counted = [history.index_of(year) for year in history.compared_seasons if year > season.season]
    if not counted:
        return [Sign("later", Speaks.NEITHER, None)]
    came = history.case[number] & ~(history.had_case[number - 1] if number else np.zeros_like(history.case[number]))
    other = np.zeros_like(came)
    events: dict[bool, list[int]] = {True: [0, 0], False: [0, 0]}
    for earlier in [history.index_of(year) for year in history.compared_seasons]:
        later = [k for k in range(len(history.seasons)) if k > earlier and history.looks[k].compared][:2]
        if not later:
            continue
        mine = history.case[earlier] & ~(history.had_case[earlier - 1] if earlier else other)
        seen = np.any([history.looked_at[k] & (history.plant[k] == history.plant[earlier]) for k in later], axis=0)
        fresh = np.any([_leaf_again(history, k) for k in later], axis=0)
        events[earlier == number][0] += int((mine & seen & fresh).sum())
        events[earlier == number][1] += int((mine & seen).sum())
    own, rest = incidence(*events[True]), incidence(*events[False])
    shown = ShownLater(own, rest)
    if not shown.compared:
        return [Sign("later", Speaks.NEITHER, shown)]
    if own.high < rest.low:
        return [Sign("later", Speaks.COLD, shown)]
    return [Sign("later", Speaks.DISEASE if own.low > 0.3 else Speaks.NEITHER, shown)]


def _leaf_again(history: BlockHistory, number: int) -> NDArray[np.bool_]:
    """Vines with a finding of a symptom that comes and goes in a season; what lasts is carried on and says nothing new."""
    out = np.zeros(history.grid.shape, dtype=bool)
    for finding in (*history.reading.findings, *history.reading.second_findings):
        if finding.season == history.seasons[number] and (
            finding.symptom in COME_AND_GO or finding.symptom == "collapse"
        ):
            out[finding.cell] = True
    return out


def _stain(season: BlockSeason) -> list[Sign]:
    cut = stained = 0
    for finding in season.reading.findings:
        if finding.symptom == "wood_staining" and finding.season >= season.season and season.cases[finding.cell]:
            cut += 1
            stained += bool(finding.pattern) or (finding.stain_cm or 0.0) > 0
    if not cut:
        return [Sign("stain", Speaks.NEITHER, None)]
    speaks = Speaks.DISEASE if stained / cut >= 0.5 else Speaks.NEITHER
    return [Sign("stain", speaks, StainAtCuts(cut, stained))]


def _near(history: BlockHistory, season: BlockSeason) -> list[Sign]:
    found = near_old_pattern(history, season.season).season if season.season in history.compared_seasons else None
    if found is None or found.reason or found.n_new < FEWEST_NEAR:
        return [Sign("neighbours", Speaks.NEITHER, None)]
    return [Sign("neighbours", Speaks.DISEASE if found.pvalue <= LEVEL else Speaks.NEITHER, found)]

"""Winter or disease: one sheet for a block and season, every sign with what it speaks for, and an answer that may be "cannot tell"."""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import chdtrc

from trunkwatch.block.opening import BlockSeason
from trunkwatch.block.vine_now import vine_now
from trunkwatch.history import BlockHistory, rate
from trunkwatch.pattern.gradients import block_gradients
from trunkwatch.pattern.near_old import near_old_pattern
from trunkwatch.pattern.words import p_words
from trunkwatch.stats.incidence import incidence
from trunkwatch.stats.step import one_season_step
from trunkwatch.vineyard.calendar import season_bounds
from trunkwatch.vineyard.codes import COME_AND_GO

__all__ = ["ANSWERS", "Sign", "WinterSheet", "winter_sheet"]

Speaks = Literal["cold", "disease", "neither"]
ANSWERS = ("fits cold", "fits disease", "both", "cannot tell")
LEVEL = 0.05
#: Below this a mid-winter night can kill buds and wood of tender cultivars (half of primary buds at -15 to -25 C at
#: deepest hardiness: Dami 2014, HortScience conference; read in abstract). Hardy cultivars stand far more.
COLD_C = -15.0


@dataclass(frozen=True, slots=True)
class Sign:
    """One sign: what was found, and what it speaks for."""

    name: str
    speaks: Speaks
    text: str


@dataclass(frozen=True, slots=True)
class WinterSheet:
    """All signs of a season, the answer, and which vines to cut and look at next."""

    block: str
    season: int
    answer: str
    signs: tuple[Sign, ...]
    look_at: tuple[tuple[str, int, str], ...]  # row, position, and when it was last seen as a case

    @property
    def sentences(self) -> tuple[str, ...]:
        """The answer, then every sign."""
        told = [f"Season {self.season}: {self.answer}."]
        told += [
            f"{one.text} ({'speaks for ' + one.speaks if one.speaks != 'neither' else 'says nothing either way'})"
            for one in self.signs
        ]
        if self.look_at:
            named = ", ".join(
                f"{row}:{position} ({seen})" if seen else f"{row}:{position}" for row, position, seen in self.look_at
            )
            told.append(f"Cut into and look at these first (row:position, last seen): {named}.")
        told.append(
            "Sources disagree whether stain at a cut settles it: old cold injury stains too, and young infections may not. No sign decides by itself, "
            "and an arm that bears nothing is worth renewing whichever killed it."
        )
        return tuple(told)


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


def _answer(signs: Sequence[Sign]) -> str:
    """Cold needs a step of one season and another sign; disease needs two signs; no sign decides alone."""
    cold = [one for one in signs if one.speaks == "cold"]
    disease = [one for one in signs if one.speaks == "disease"]
    fits_cold = any(one.name == "step" for one in cold) and len(cold) >= 2
    fits_disease = len(disease) >= 2
    if fits_cold and fits_disease:
        return "both"
    return "fits cold" if fits_cold else "fits disease" if fits_disease else "cannot tell"


def _step(history: BlockHistory, season: int) -> list[Sign]:
    rates = [rate(history, "new", year) for year in history.compared_seasons]
    usable = [one for one in rates if not one.reason]
    found = one_season_step([one.cases for one in usable], [one.vines for one in usable])
    if found.reason:
        return [Sign("step", "neither", f"One season or slow rise: {found.reason}.")]
    year = usable[found.season].season
    if found.pvalue <= LEVEL and year == season:
        return [
            Sign(
                "step",
                "cold",
                f"New cases came in one step: {found.new} this season, the others give about {found.expected:.0f} ({p_words(found.pvalue)}).",
            )
        ]
    return [
        Sign("step", "disease" if found.pvalue > 0.2 else "neither", "New cases came season by season, without a step.")
    ]


def _cold(weather: pd.DataFrame, season: BlockSeason) -> list[Sign]:
    hemisphere = season.reading.hemisphere
    first, last = season_bounds(season.season, hemisphere)
    days = weather[(weather["date"] >= first) & (weather["date"] <= last) & weather["t_min_c"].notna()]
    if days.empty:
        return [Sign("cold", "neither", "No temperatures of that winter are written (weather.csv).")]
    coldest = days.iloc[int(days["t_min_c"].to_numpy().argmin())]
    day, depth = dt.date.fromisoformat(str(coldest["date"])), float(coldest["t_min_c"])
    month = (day.month + (6 if hemisphere == "south" else 0) - 1) % 12 + 1
    when = (
        "in mid-winter"
        if month in (12, 1, 2)
        else "before the vines were hard"
        if month in (9, 10, 11)
        else "after they had lost hardness"
    )
    ten = days[(days["date"] >= (day - dt.timedelta(days=10)).isoformat()) & (days["date"] < day.isoformat())]
    warm = float(ten["t_max_c"].max()) if len(ten) and ten["t_max_c"].notna().any() else math.nan
    spell = f", after {warm:.0f} degrees in the ten days before" if warm >= 10 else ""
    severe = depth <= COLD_C or (month not in (12, 1, 2) and depth <= -8) or (warm >= 10 and depth <= -12)
    return [Sign(
        "cold", "cold" if severe else "neither",
        f"Coldest night {depth:.0f} C on {day.isoformat()}, {when}{spell}. What kills depends on the cultivar and the week: mid-winter limits do not hold in autumn or spring.",
    )]  # fmt: skip


def _where(history: BlockHistory, season: BlockSeason, new: NDArray[np.bool_] | None) -> list[Sign]:
    if new is None or new.sum() < 8:
        return [Sign("low ground", "neither", "Too few new cases to say where they lie.")]
    slopes = [one for one in block_gradients(new, season.vines | new, history.grid) if one.corrected <= LEVEL]
    if not slopes:
        return [Sign("low ground", "neither", "New cases lie on no side of the block.")]
    return [Sign("low ground", "cold", f"{slopes[0].sentence} If that is the low or the windy side, cold is likely.")]


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
    listed = ", ".join(f"{name} {c} of {v}" for name, c, v in zip(told, cases, vines, strict=True))
    return [
        Sign(
            "cultivar",
            "cold" if p <= LEVEL else "neither",
            f"By cultivar: {listed} ({p_words(p)}). Tender cultivars suffer first from cold; some are also prone to disease.",
        )
    ]


def _again(history: BlockHistory, season: BlockSeason) -> list[Sign]:
    """Do vines that came in that season show new symptoms later, as sick ones do?"""
    number = season.index
    counted = [history.index_of(year) for year in history.compared_seasons if year > season.season]
    if not counted:
        return [
            Sign(
                "later", "neither", "No counted season lies after it yet: whether these vines show again is not known."
            )
        ]
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
    if own.vines < 8 or rest.vines < 8:
        return [
            Sign(
                "later",
                "neither",
                f"Of {own.vines} vines that came then, {own.cases} showed again within two counted seasons: too few to compare.",
            )
        ]
    text = f"Of {own.vines} vines that came then, {own.cases} showed symptoms that come and go within two counted seasons; of those of other seasons {rest.cases} of {rest.vines}."
    if own.high < rest.low:
        return [Sign("later", "cold", text)]
    return [Sign("later", "disease" if own.low > 0.3 else "neither", text)]


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
        return [Sign("stain", "neither", "None of these vines was cut and looked at yet.")]
    return [
        Sign(
            "stain",
            "disease" if stained / cut >= 0.5 else "neither",
            f"{stained} of {cut} cuts into these vines showed stain.",
        )
    ]


def _near(history: BlockHistory, season: BlockSeason) -> list[Sign]:
    found = near_old_pattern(history, season.season).season if season.season in history.compared_seasons else None
    if found is None or found.reason or found.n_new < 5:
        return [Sign("neighbours", "neither", "Whether new cases lie beside earlier ones cannot be said.")]
    (near, _), (away, _) = found.table
    text = f"{near} of {near + away} new cases lie beside an earlier one: {found.statistic} such pairs, chance gives about {found.expected:.1f} ({p_words(found.pvalue)})."
    return [Sign("neighbours", "disease" if found.pvalue <= LEVEL else "neither", text)]

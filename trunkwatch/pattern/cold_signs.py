"""The signs of cold or disease that a record holds of the new cases of one season, each with what was found."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc
from scipy.stats import fisher_exact

from trunkwatch.block.opening import BlockSeason
from trunkwatch.block.vine_now import share_dead
from trunkwatch.history import BlockHistory, Condition, Rate, rate
from trunkwatch.history.places import Cell
from trunkwatch.history.written import Finding
from trunkwatch.pattern.cold_weights import State
from trunkwatch.pattern.gradients import BlockGradient, block_gradients
from trunkwatch.pattern.near_old import near_old_pattern
from trunkwatch.stats.near_old import NewNearOld
from trunkwatch.stats.shares import Incidence, incidence
from trunkwatch.stats.step import AgainstOthers, season_against_others

__all__ = [
    "COLD_BRINGS", "FEWEST_NEW", "JUMP", "ByCultivar", "FirstNoted", "OneSide", "ShownLater", "StainAtCuts", "StripedLeaves", "YoungVines",
    "by_cultivar", "by_side", "first_noted", "near_cases", "new_by_season", "shown_later", "stain_at_cuts", "step_says", "step_up",
    "striped_leaves", "young_vines",
]  # fmt: skip

Bools = NDArray[np.bool_]
LEVEL = 0.05
#: What a winter that kills wood brings at the least: times the new cases that other seasons lead to expect, and the share of the
#: vines with half or more of their wood dead. The lowest of 80 cold winters of known truth (tests/calibration): 3.2 times, a share
#: of 0.33. Limits that lie below speak for disease.
COLD_BRINGS, COLD_HALF_DEAD = 3.0, 0.3
#: Times the new cases expected that are called a jump, where p says so too: with fewer most new cases are not from cold.
JUMP = 2.0
#: New cases below which the season is not judged, their place is not tested, and cases below which seasons are not compared
#: (our own conventions).
FEWEST_NEW, FEWEST_PLACED, FEWEST_COMPARED = 5, 8, 8
#: Striped leaves and spotted berries: no cold brings them. Stunted shoots and collapse come with both.
LEAF_SIGNS = frozenset({"leaf_stripe", "berry_spots"})
#: Percent of the vine by which damage must have grown to have grown: notes by eye differ by less.
GREW = 15.0
#: Surveys after the season that are looked at, at the most.
LATER_SURVEYS = 3


@dataclass(frozen=True, slots=True)
class OneSide:
    """Towards which side new cases lie more than earlier ones; None towards none. `beside_earlier`: earlier cases were enough."""

    gradient: BlockGradient | None
    beside_earlier: bool


@dataclass(frozen=True, slots=True)
class StripedLeaves:
    """New cases with striped leaves or spotted berries in the season."""

    share: Incidence


@dataclass(frozen=True, slots=True)
class FirstNoted:
    """Vines with half or more of their wood dead when first noted: of this season, and of the others (p: more than there)."""

    own: Incidence
    rest: Incidence
    pvalue: float


@dataclass(frozen=True, slots=True)
class ByCultivar:
    """New cases over vines at risk of each cultivar, and the p of equal shares."""

    shares: tuple[tuple[str, int, int], ...]
    pvalue: float


@dataclass(frozen=True, slots=True)
class YoungVines:
    """Vines under three years with dead wood noted in the season, of those looked at."""

    share: Incidence


@dataclass(frozen=True, slots=True)
class ShownLater:
    """New cases looked at again in later surveys: worse or with symptoms again, those of other seasons, and nothing left.

    `surveys` later surveys were taken; `gone` is of vines with dead wood only.
    """

    surveys: int
    own: Incidence
    rest: Incidence
    gone: Incidence


@dataclass(frozen=True, slots=True)
class StainAtCuts:
    """Cuts into vines that show, and those with stain."""

    cuts: int
    stained: int


def new_by_season(history: BlockHistory) -> dict[int, Rate]:
    """Return the rate of new cases of every compared season that has one."""
    found = {year: rate(history, "new", year) for year in history.compared_seasons}
    return {year: one for year, one in found.items() if not one.reason}


def step_up(new: Mapping[int, Rate], season: int) -> tuple[State, AgainstOthers]:
    """Did far more new cases come than the other seasons lead to expect?"""
    found = season_against_others(
        [one.cases for one in new.values()], [one.vines for one in new.values()], list(new), season, brings=COLD_BRINGS
    )
    return step_says(found), found


def step_says(found: AgainstOthers) -> State:
    """Tell a jump, no jump, and where neither can be said."""
    if found.reason:
        return State.NOTHING_TO_SAY
    if found.pvalue <= LEVEL and found.low >= 1 and found.ratio >= JUMP:
        return State.JUMP
    return State.NO_JUMP if found.high < COLD_BRINGS else State.NOTHING_TO_SAY


def by_side(season: BlockSeason, new: Bools) -> tuple[State, OneSide | None]:
    """Do new cases lie towards a side, more than the earlier cases of the block do?"""
    if new.sum() < FEWEST_PLACED:
        return State.NOTHING_TO_SAY, None
    number = season.index
    earlier = season.history.had_case[number - 1] & ~new if number else np.zeros_like(new)
    enough = int(earlier.sum()) >= FEWEST_COMPARED
    among = new | earlier if enough else season.vines | new
    slopes = [one for one in block_gradients(new, among, season.history.grid) if one.corrected <= LEVEL]
    if not slopes:
        return State.NOTHING_TO_SAY, OneSide(None, enough)
    return State.ONE_SIDE, OneSide(min(slopes, key=lambda one: one.corrected), enough)


def _findings(history: BlockHistory, season: int) -> dict[Cell, list[Finding]]:
    """Return what was written in a season, by vine."""
    out: dict[Cell, list[Finding]] = {}
    for finding in history.reading.findings:
        if finding.season == season and not finding.casual:
            out.setdefault(finding.cell, []).append(finding)
    return out


def _dead(findings: Sequence[Finding], training: str) -> float | None:
    """Percent of a vine that is dead by these findings."""
    wood = [one for one in findings if one.lasting]
    return share_dead(wood, training, max([1, *(one.part.trunk for one in wood)])) if wood else None


def _is_new(new: Bools, written: Mapping[Cell, list[Finding]]) -> list[list[Finding]]:
    return [found for cell, found in written.items() if new[cell]]


def striped_leaves(history: BlockHistory, season: int, new: Bools) -> tuple[State, StripedLeaves | None]:
    """Do the new cases show in the leaves, as cold does not?"""
    vines = _is_new(new, _findings(history, season))
    striped = sum(any(one.symptom in LEAF_SIGNS for one in found) for found in vines)
    if not striped:
        return State.NOTHING_TO_SAY, None
    share = incidence(striped, len(vines))
    enough = len(vines) >= FEWEST_NEW and share.share >= 0.5
    return State.STRIPED_LEAVES if enough else State.NOTHING_TO_SAY, StripedLeaves(share)


def first_noted(season: BlockSeason, new: Mapping[int, Rate]) -> tuple[State, FirstNoted | None]:
    """Was much of the wood dead when these vines were first noted, and was it so with those of the other seasons?"""
    training = str(season.block.get("training") or "")
    counts = {True: [0, 0], False: [0, 0]}
    for year, one in new.items():
        for found in _is_new(one.numerator, _findings(season.history, year)):
            dead = _dead(found, training)
            if dead is not None:
                counts[year == season.season][0] += dead >= 50
                counts[year == season.season][1] += 1
    own, rest = (incidence(*counts[mine], level=0.9) for mine in (True, False))
    if own.vines < FEWEST_NEW:
        return State.NOTHING_TO_SAY, None
    table = [[own.cases, own.vines - own.cases], [rest.cases, rest.vines - rest.cases]]
    compared = rest.vines >= FEWEST_COMPARED
    pvalue = float(fisher_exact(np.array(table), alternative="greater").pvalue) if compared else float("nan")
    facts = FirstNoted(own, rest, pvalue)
    if own.share >= COLD_HALF_DEAD and own.low > 0.1 and (not compared or pvalue <= LEVEL):
        return State.SUDDEN, facts
    return State.SLOW if own.high < COLD_HALF_DEAD else State.NOTHING_TO_SAY, facts


def near_cases(history: BlockHistory, season: int) -> tuple[State, NewNearOld | None]:
    """Do new cases lie beside earlier ones?"""
    found = near_old_pattern(history, season).season if season in history.compared_seasons else None
    if found is None or found.reason or found.n_new < FEWEST_NEW:
        return State.NOTHING_TO_SAY, None
    return State.BESIDE_CASES if found.pvalue <= LEVEL else State.NOTHING_TO_SAY, found


def by_cultivar(season: BlockSeason, new: Bools, risk: Bools) -> ByCultivar | None:
    """Count new cases by cultivar; None where there is nothing to set side by side."""
    grid = season.history.grid
    own = np.array([*(row.cultivar for row in grid.named), ""])
    names = own[grid.which]  # -1, no position, is the last of them
    kinds = [name for name in dict.fromkeys(own.tolist()) if name]
    counted = [(name, int(new[names == name].sum()), int(risk[names == name].sum())) for name in kinds]
    counted = [one for one in counted if one[2]]
    cases, vines = np.array([one[1] for one in counted]), np.array([one[2] for one in counted])
    if len(counted) < 2 or not cases.sum() or cases.sum() == vines.sum():
        return None
    share = cases.sum() / vines.sum()
    statistic = float((((cases - vines * share) ** 2) / (vines * share * (1 - share))).sum())
    return ByCultivar(tuple(counted), float(chdtrc(len(counted) - 1, statistic)))


def young_vines(season: BlockSeason) -> YoungVines | None:
    """Count young vines with dead wood noted in the season; None where few were looked at."""
    young = season.history.condition[season.index] == Condition.YOUNG
    if young.sum() < FEWEST_COMPARED:
        return None
    written = _findings(season.history, season.season)
    dead = sum(any(one.lasting for one in found) for found in _is_new(young, written))
    return YoungVines(incidence(dead, int(young.sum())))


def shown_later(season: BlockSeason, new: Mapping[int, Rate]) -> tuple[State, ShownLater | None]:
    """Did these vines get worse or show again in later surveys, as sick ones do, or was the damage grown over?"""
    history, training = season.history, str(season.block.get("training") or "")
    after = [year for year in history.compared_seasons if year > season.season][:LATER_SURVEYS]
    if not after:
        return State.NOTHING_TO_SAY, None
    written = {year: _findings(history, year) for year in history.compared_seasons}
    counts = {True: [0, 0], False: [0, 0]}
    left = [0, 0]
    for year, one in new.items():
        later = [k for k in history.compared_seasons if k > year][: len(after)]
        if len(later) < len(after):
            continue
        followed = _followed(history, one.numerator, year, later)
        for row, station in np.argwhere(followed).tolist():
            cell = (row, station)
            worse = _worse(written, cell, year, later, training)
            counts[year == season.season][0] += worse
            counts[year == season.season][1] += 1
            if year == season.season and any(f.lasting for f in written[year].get(cell, [])):
                left[0] += not history.case[(history.index_of(later[-1]), *cell)]
                left[1] += 1
    shown = ShownLater(len(after), incidence(*counts[True]), incidence(*counts[False]), incidence(*left))
    return _later_says(shown), shown


def _later_says(shown: ShownLater) -> State:
    own, rest, gone = shown.own, shown.rest, shown.gone
    if own.vines < FEWEST_COMPARED:
        return State.NOTHING_TO_SAY
    if own.low > 0.3:
        return State.WORSE_LATER
    better = rest.vines >= FEWEST_COMPARED and own.high < rest.low
    over = gone.vines >= FEWEST_COMPARED and gone.low > 0.2 and own.high < 0.3
    return State.GROWN_OVER if better or over else State.NOTHING_TO_SAY


def _followed(history: BlockHistory, new: Bools, year: int, later: Sequence[int]) -> Bools:
    """Vines that the last of the later surveys looked at, the same plants, with nothing cut out meanwhile."""
    number, last = history.index_of(year), history.index_of(later[-1])
    out = new & history.looked_at[last] & (history.plant[last] == history.plant[number])
    for work in history.reading.work:
        if work.done and year <= work.season <= later[-1]:
            out[work.cell] = False
    return np.asarray(out)


def _worse(
    written: Mapping[int, Mapping[Cell, list[Finding]]], cell: Cell, year: int, later: Sequence[int], training: str
) -> bool:
    """Whether a vine had symptoms that come and go in a later survey, or more of it was dead."""
    before = _dead(written[year].get(cell, []), training)
    for after in later:
        found = written[after].get(cell, [])
        if any(one.symptom in LEAF_SIGNS or one.symptom == "collapse" for one in found):
            return True
        now = _dead(found, training)
        if now is not None and before is not None and now - before >= GREW:
            return True
    return False


def stain_at_cuts(season: BlockSeason) -> StainAtCuts | None:
    """Count cuts into vines that show, and those with stain, up to the last season of the history."""
    cut = stained = 0
    last = season.history.seasons[-1]
    for finding in season.reading.findings:
        if (
            finding.symptom == "wood_staining"
            and season.season <= finding.season <= last
            and season.cases[finding.cell]
        ):
            cut += 1
            stained += not finding.clean_face
    return StainAtCuts(cut, stained) if cut else None

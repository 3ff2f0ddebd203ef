"""Did it work: renewed vines beside comparable vines of the same block that were left, and the hours that went in."""

import math
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history import BlockHistory, Condition
from trunkwatch.history.build import BlockReader
from trunkwatch.season.load import BlockSeason, number_or_none
from trunkwatch.stats.incidence import Incidence, incidence
from trunkwatch.stats.survival import Survival, kaplan_meier
from trunkwatch.vineyard.calendar import season_of
from trunkwatch.vineyard.codes import CLEARING, WORK_KINDS

__all__ = ["Followed", "Worked", "worked", "worked_sentences"]

#: With fewer renewed vines followed up nothing is compared (our own convention).
FEWEST = 10


@dataclass(frozen=True, slots=True)
class Followed:
    """A group followed from its winter on: time in counted seasons, what happened, and its curve.

    Attributes
    ----------
    vines : int
    showed, died : int
        Vines that showed again, and died or were pulled, while followed.
    after : tuple of Incidence
        Share that had shown again or died by the first, second and third counted season, of those followed so long.
    free : Survival or None
        Share neither showing again nor dead, by counted seasons since the cut.
    """

    name: str
    vines: int
    showed: int
    died: int
    after: tuple[Incidence, ...]
    free: Survival | None


@dataclass(frozen=True, slots=True)
class Worked:
    """Renewed vines, and vines of the same condition that were left.

    `difference` is the share of renewed vines that showed again or died within three counted seasons less that of the
    vines left, weighted to the renewed vines' seasons; nan where it cannot be given.
    """

    renewed: Followed
    left: Followed
    difference: float
    low: float
    high: float
    hours: dict[str, tuple[int, float, int, float]]  # kind -> planned pieces and hours, done pieces and hours
    reason: str


def worked(season: BlockSeason) -> Worked:
    """Follow renewed vines and their controls up to a season.

    A control is a vine of the same block that showed in the season of a renewal, as the renewed vine had, lived, and was
    not renewed then; both clocks start with the next counted season. It may serve for several seasons; controls are
    weighted so that each season weighs as its renewed vines do.
    """
    history = season.history
    cuts = _cuts(season)
    counted = [history.index_of(year) for year in history.counted_seasons if year <= season.season]
    treated: list[tuple[int, int, int]] = []
    controls: list[tuple[int, int, int, float]] = []
    for at, number in enumerate(counted[:-1]):
        shown = history.case[number] | (
            history.case[counted[at - 1]] & (history.plant[counted[at - 1]] == history.plant[number]) if at else False
        )
        renewed = {cell for cell, cut in cuts if counted[at] == cut or (at and counted[at - 1] < cut < number)}
        alive = history.looked_at[number] & ~np.isin(
            history.condition[number], (Condition.DEAD, Condition.MISSING, Condition.NOT_SEEN)
        )
        mine = [cell for cell in renewed if shown[cell]]
        others = [
            tuple(cell)
            for cell in np.argwhere(
                (history.condition[number] == Condition.SHOWING) & alive & ~_mask(renewed, alive.shape)
            ).tolist()
        ]
        # The season of the cut was looked at before the saw came: the clock of both starts with the next counted one.
        start = counted[at + 1]
        treated.extend((start, *cell) for cell in mine)
        if mine:
            controls.extend((start, other[0], other[1], len(mine) / len(others)) for other in others)
    one, two = (
        _followed("renewed", history, treated, counted),
        _followed("left", history, [c[:3] for c in controls], counted),
    )
    reason = "" if len(treated) >= FEWEST and len(controls) >= FEWEST else (
        f"{len(treated)} renewed vines that had shown, {len(controls)} comparable vines left: {FEWEST} of each are needed"
    )  # fmt: skip
    difference, low, high = (math.nan,) * 3 if reason else _difference(history, treated, controls, counted)
    return Worked(one, two, difference, low, high, _hours(season), reason)


def _mask(cells: set[tuple[int, int]], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    out = np.zeros(shape, dtype=bool)
    for cell in cells:
        out[cell] = True
    return out


def _cuts(season: BlockSeason) -> list[tuple[tuple[int, int], int]]:
    """Return cells renewed, with the number of the season in whose year it was done."""
    reader = BlockReader(season.records, season.history.grid)
    years = {year: number for number, year in enumerate(season.history.seasons)}
    found = []
    for cell, line in reader.work:
        year = season_of(str(line["date"]), reader.hemisphere)
        if line["kind"] in CLEARING and year in years:
            found.append((cell, years[year]))
    return found


def _outcome(history: BlockHistory, start: int, cell: tuple[int, int], counted: list[int]) -> tuple[int, str]:
    """Return counted seasons followed, and showed, died, or "" where neither."""
    plant = history.plant[counted[max(counted.index(start) - 1, 0)]][cell]
    time = 0
    for number in [k for k in counted if k >= start]:
        if (
            history.died[number][cell]
            or history.condition[number][cell] == Condition.DEAD
            or history.plant[number][cell] != plant
        ):
            return time + 1, "died"
        if not history.looked_at[number][cell] or history.condition[number][cell] == Condition.NOT_SEEN:
            break
        time += 1
        if history.condition[number][cell] == Condition.SHOWING:
            return time, "showed"
    return time, ""


def _followed(name: str, history: BlockHistory, vines: list[tuple[int, int, int]], counted: list[int]) -> Followed:
    told = [_outcome(history, start, (row, station), counted) for start, row, station in vines]
    told = [one for one in told if one[0] > 0]
    after = []
    for season in (1, 2, 3):
        known = [(time, what) for time, what in told if time >= season or what]
        after.append(incidence(sum(bool(what) and time <= season for time, what in known), len(known)))
    curve = kaplan_meier([time for time, _ in told], [bool(what) for _, what in told]) if told else None
    return Followed(
        name,
        len(told),
        sum(what == "showed" for _, what in told),
        sum(what == "died" for _, what in told),
        tuple(after),
        curve,
    )


def _difference(
    history: BlockHistory,
    treated: list[tuple[int, int, int]],
    controls: list[tuple[int, int, int, float]],
    counted: list[int],
) -> tuple[float, float, float]:
    """Weighted difference of the shares with an event by the third counted season, with limits for vines that serve twice."""

    def event(start: int, row: int, station: int) -> float:
        time, what = _outcome(history, start, (row, station), counted)
        return (
            math.nan
            if not what and time < 3 and start <= counted[-1] and len([k for k in counted if k >= start]) >= 3
            else float(bool(what) and time <= 3)
        )

    mine = np.array([event(*one) for one in treated])
    theirs = np.array([event(*one[:3]) for one in controls])
    weight = np.array([one[3] for one in controls])
    keep = ~np.isnan(theirs)
    mine, theirs, weight = mine[~np.isnan(mine)], theirs[keep], weight[keep]
    if not mine.size or not theirs.size:
        return math.nan, math.nan, math.nan
    p, q = float(mine.mean()), float(np.average(theirs, weights=weight))
    by_vine: defaultdict[tuple[int, int], float] = defaultdict(float)
    for (_, row, station, _), value, w in zip(
        [c for c, k in zip(controls, keep, strict=True) if k], theirs, weight, strict=True
    ):
        by_vine[row, station] += w * (value - q)
    spread = math.sqrt(
        max(p * (1 - p), 1 / (4 * mine.size)) / mine.size + sum(v * v for v in by_vine.values()) / weight.sum() ** 2
    )
    return p - q, p - q - 1.96 * spread, p - q + 1.96 * spread


def _hours(season: BlockSeason) -> dict[str, tuple[int, float, int, float]]:
    work = season.records.work
    out = {}
    for kind in dict.fromkeys(work["kind"]):
        lines = work[work["kind"] == kind]
        parts = [lines[lines["status"] == "planned"], lines[lines["status"].isin(["", "done"])]]
        counts = [(len(part), float(sum(number_or_none(v) or 0.0 for v in part["hours"]))) for part in parts]
        out[str(kind)] = (*counts[0], *counts[1])
    return out


def worked_sentences(found: Worked) -> tuple[str, ...]:
    """Say it for a grower."""
    told = []
    for group in (found.renewed, found.left):
        if group.vines:
            last = group.after[-1]
            told.append(
                f"{group.vines} vines that had shown and were {group.name}: {group.showed} showed again, {group.died} died or were pulled, as far as they were "
                f"followed; by the third counted season {last.cases} of {last.vines}."
            )
    if found.reason:
        told.append(f"Whether renewing worked cannot be said yet: {found.reason}.")
    elif not math.isnan(found.difference):
        word = "fewer" if found.difference < 0 else "more"
        told.append(
            f"Of the renewed vines {abs(100 * found.difference):.0f} points {word} showed again or died within three counted seasons after the cut than of vines that were left "
            f"({100 * found.low:+.0f} to {100 * found.high:+.0f} points)."
        )
        told.append(
            "The vines to be renewed were chosen, often the worst and those with a shoot: season and condition are allowed for, the rest is not. "
            "A renewal shoot that failed counts against renewing."
        )
    for kind, (planned, hours_planned, done, hours_done) in found.hours.items():
        if planned or hours_done:
            told.append(
                f"{WORK_KINDS[kind].capitalize()}: {done} done ({hours_done:.1f} h written), {planned} planned ({hours_planned:.1f} h)."
            )
    return tuple(told)

"""This winter's vines, one line each: what to do, on which part, what was seen and when, the shoot, and why."""

import math
from dataclasses import dataclass
from enum import StrEnum

from trunkwatch.answer.part_names import part_name
from trunkwatch.block import BlockSeason
from trunkwatch.block.first_look import ALREADY_CUT, WinterVine, winter_list
from trunkwatch.block.vine_now import VineNow, vines_now
from trunkwatch.decide.decision import Decision
from trunkwatch.decide.states import states_after
from trunkwatch.history.places import Cell
from trunkwatch.history.words import short_symptom
from trunkwatch.renewal.plan import PlannedWork, placed_shoot, usable_shoot
from trunkwatch.renewal.plan_words import why_words
from trunkwatch.renewal.states import State
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["Task", "ToDo", "look_again_at", "tasks_of"]


class ToDo(StrEnum):
    """What to do with a vine, the heaviest first; the value is the code in JSON."""

    RETRAIN_TRUNK = "retrain trunk"
    RETRAIN_ARM = "retrain arm"
    CUT_TRUNK = "cut out trunk"
    REPLANT = "replant"
    TRAIN_FIRST = "train first"
    LOOK_AGAIN = "look again"
    FINISH_TRAINING = "finish training"
    CLEAN_UP = "clean up"
    FLAG = "flag"
    KEEP_SHOOT = "keep shoot"
    WATCH = "watch"


#: Kinds of planned work; "watch" is a second look where the records disagree.
_KINDS = {
    "renew_trunk": ToDo.RETRAIN_TRUNK, "renew_arm": ToDo.RETRAIN_ARM, "cut_old_trunk": ToDo.CUT_TRUNK, "replant": ToDo.REPLANT,
    "train_first": ToDo.TRAIN_FIRST, "train": ToDo.FINISH_TRAINING, "clear_mummies": ToDo.CLEAN_UP, "mark": ToDo.FLAG, "keep_shoot": ToDo.KEEP_SHOOT,
    "watch": ToDo.WATCH,
}  # fmt: skip
_ORDER = list(ToDo)
#: Saw work.
CUTS = frozenset({ToDo.RETRAIN_TRUNK, ToDo.RETRAIN_ARM, ToDo.CUT_TRUNK})


@dataclass(frozen=True, slots=True)
class Task:
    """One vine of this winter.

    Attributes
    ----------
    cell : (int, int)
        In the grid.
    row, position
        Its name today.
    todo : ToDo
        The heaviest that is to be done.
    also : tuple of ToDo
        What else is to be done with it.
    part : str
        Part of the vine as people point at it; empty for the vine as a whole.
    seen, last_seen : str
        What was seen, and the last day on which it was; empty where nothing stands.
    percent : float or None
        Largest share dead that was written.
    shoot : str
        Shoot to retrain from; empty where none was noted.
    shoot_quality : str
        Code of its quality; empty where nothing was said of it.
    shoot_placed, shoot_usable : bool
        Whether it comes from where a vine can be retrained from, and whether the vine can be retrained from it this winter.
    why : str
        The reason in half a line.
    seasons : int
        Seasons in which it was a case.
    hours, worth : float
        Crew-hours; money, nan where no prices are written.
    """

    cell: Cell
    row: str
    position: int
    todo: ToDo
    also: tuple[ToDo, ...]
    part: str
    seen: str
    last_seen: str
    percent: float | None
    shoot: str
    shoot_quality: str
    shoot_placed: bool
    shoot_usable: bool
    why: str
    seasons: int
    hours: float
    worth: float

    @property
    def cut(self) -> bool:
        """Whether it is saw work."""
        return self.todo in CUTS


def tasks_of(season: BlockSeason, found: Decision | None) -> list[Task]:
    """List the vines of this winter in the order of the walk, each vine once.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season.
    found : Decision or None
        The plan; None where nothing can be planned: what shows and stands is listed all the same.

    Returns
    -------
    list of Task
        Every vine with work this winter or the summer after it, and every vine that shows or carries damage: one that the plan
        has no work for is to be flagged.
    """
    grid = season.history.grid
    bearing = number_or_none(season.block.get("row_bearing_deg"))
    seen = {grid.cell(vine.row, vine.position): vine for vine in winter_list(season)}
    now = vines_now(season)
    works: dict[Cell, list[PlannedWork]] = {}
    for one in found.work if found is not None else ():
        if one.winter == 0:
            works.setdefault(one.cell, []).append(one)
    cells = sorted({*works, *seen})
    return [
        _task(
            (season, found),
            cell,
            works.get(cell, []),
            seen.get(cell),
            _seen(now.get(cell), seen.get(cell), bearing),
            bearing,
        )
        for cell in cells
    ]


def look_again_at(season: BlockSeason) -> frozenset[Cell]:
    """Return the vines that `tasks_of` lists to be looked at again, without the plan: strategies change nothing in them."""
    doubted = {season.history.grid.cell(one.row, one.position) for one in winter_list(season) if one.look_again}
    if not season.history.compared_seasons:
        return frozenset(doubted)
    facts = states_after(season)[1]
    nothing = (State.SHOWING, State.DEAD, State.EMPTY)
    again = {vine.cell for vine in facts if vine.disagree and vine.state not in nothing}
    return frozenset(again | (doubted - {vine.cell for vine in facts}))


def _task(
    planned: tuple[BlockSeason, Decision | None],
    cell: Cell,
    works: list[PlannedWork],
    vine: WinterVine | None,
    what: str,
    bearing: float | None,
) -> Task:
    season, found = planned
    row, position = season.history.grid.label(*cell)
    kinds = {_todo(one, vine): one for one in reversed(works)}
    if not kinds:
        todo = ToDo.LOOK_AGAIN if vine is not None and vine.look_again else ToDo.FLAG
        first, also = None, tuple[ToDo, ...]()
    else:
        todo, *rest = sorted(kinds, key=_ORDER.index)
        first, also = kinds[todo], tuple(rest)
    facts = first.facts if first is not None else None
    shoot = vine.shoot if vine is not None else ""
    quality = vine.shoot_quality if vine is not None else ""
    # What the list says of the vine; what is planned for its place may be of one that stands there since.
    if vine is not None:
        placed, usable = bool(shoot) and not vine.below_union, vine.shoot_at_hand
    else:
        placed, usable = (facts is not None and test(facts) for test in (placed_shoot, usable_shoot))
    return Task(
        cell,
        row,
        position,
        todo,
        also,
        part_name(first.trunk, first.arm, bearing) if first is not None else "",
        what,
        vine.last_seen if what and vine is not None else "",
        vine.percent if vine is not None else None,
        shoot,
        quality,
        placed,
        usable,
        why_words(first, found.costs, dated=False) if first is not None and found is not None else "",
        int(vine.seasons) if vine is not None else 0,
        sum(one.hours for one in works),
        first.gain if first is not None else math.nan,
    )


def _seen(now: VineNow | None, vine: WinterVine | None, bearing: float | None) -> str:
    """Say what stands on a vine, its parts named as people point at them; the doubt itself where all of it is in doubt."""
    if vine is None:
        return ""
    if now is None or not now.open:
        return "" if vine.what == ALREADY_CUT else vine.what
    newest: dict[tuple[str, str], str] = {}
    for one in sorted(now.open, key=lambda finding: finding.date, reverse=True):
        plain = short_symptom(one.symptom, one.part._replace(trunk=0, arm=""))
        newest.setdefault((plain, part_name(one.part.trunk, one.part.arm, bearing)), one.date)
    # What the day beside it is of stands last, where the share dead follows it; anything else says its own year.
    words = []
    for (plain, named), date in sorted(newest.items(), key=lambda item: item[1] == vine.last_seen):
        beside = [name for name in (named, "" if date == vine.last_seen else date[:4]) if name]
        words.append(f"{plain} ({', '.join(beside)})" if beside else plain)
    return "; ".join(words)


def _todo(one: PlannedWork, vine: WinterVine | None) -> ToDo:
    if one.rule == "look_again" or (one.kind == "watch" and vine is not None and vine.look_again):
        return ToDo.LOOK_AGAIN
    return _KINDS.get(one.kind, ToDo.WATCH)

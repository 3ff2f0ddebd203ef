"""The five lines of the answer, and the list, in a grower's words."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from trunkwatch.answer.five import Answer
from trunkwatch.answer.tasks import Task, ToDo
from trunkwatch.block.trend import TrendSeason
from trunkwatch.decide.words import no_comparison_words
from trunkwatch.pattern.words import opening
from trunkwatch.pattern.years_words import headline_sentence
from trunkwatch.renewal.strategies import STANDARD
from trunkwatch.vineyard.codes import SHOOT_QUALITIES, SHOOT_WAITS

__all__ = [
    "LISTS",
    "LONG_AGO",
    "Line",
    "five_lines",
    "long_ago",
    "reason_words",
    "seen_sentence",
    "task_words",
    "todo_many",
    "todo_words",
]

#: Name of a task: one vine, several.
_TASKS: Mapping[ToDo, tuple[str, str]] = MappingProxyType({
    ToDo.RETRAIN_TRUNK: ("retrain 1 trunk", "retrain {} trunks"),
    ToDo.RETRAIN_ARM: ("retrain 1 arm", "retrain {} arms"),
    ToDo.CUT_TRUNK: ("cut out 1 dead trunk", "cut out {} dead trunks"),
    ToDo.REPLANT: ("replant 1 vine", "replant {} vines"),
    ToDo.TRAIN_FIRST: ("train a shoot first on 1 vine, cut next winter", "train a shoot first on {} vines, cut next winter"),
    ToDo.LOOK_AGAIN: ("look again at 1 vine", "look again at {} vines"),
    ToDo.FINISH_TRAINING: ("finish training 1 vine", "finish training {} vines"),
    ToDo.CLEAN_UP: ("clean up 1 vine", "clean up {} vines"),
    ToDo.FLAG: ("flag 1 vine", "flag {} vines"),
    ToDo.KEEP_SHOOT: ("keep the shoot on 1 vine", "keep the shoot on {} vines"),
    ToDo.WATCH: ("keep an eye on 1 vine", "keep an eye on {} vines"),
})  # fmt: skip
#: Task of one vine, as the list says it.
_ONE: Mapping[ToDo, str] = MappingProxyType({
    ToDo.RETRAIN_TRUNK: "retrain the trunk", ToDo.RETRAIN_ARM: "retrain the arm", ToDo.CUT_TRUNK: "cut out the dead trunk",
    ToDo.REPLANT: "replant", ToDo.LOOK_AGAIN: "look again", ToDo.FINISH_TRAINING: "finish training", ToDo.CLEAN_UP: "clean up",
    ToDo.TRAIN_FIRST: "train a shoot first, cut next winter", ToDo.FLAG: "flag", ToDo.KEEP_SHOOT: "keep the shoot", ToDo.WATCH: "keep an eye on it",
})  # fmt: skip
#: Saw work and replants; then what else is walked for this winter.
LISTS = (
    (ToDo.RETRAIN_TRUNK, ToDo.RETRAIN_ARM, ToDo.CUT_TRUNK, ToDo.REPLANT),
    (ToDo.TRAIN_FIRST, ToDo.LOOK_AGAIN, ToDo.FINISH_TRAINING, ToDo.CLEAN_UP),
)


#: Years after which what was seen is to be looked at again before anything is cut (our own convention).
LONG_AGO = 3


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the answer.

    Attributes
    ----------
    key : str
        seen, worse, bunched, do, cannot: anchor of what is behind it.
    question, answer : str
    """

    key: str
    question: str
    answer: str


def five_lines(found: Answer) -> tuple[Line, ...]:
    """Say how much shows, whether it gets worse, whether it spreads, what to do, and what nobody can say."""
    return (
        Line("seen", "How bad is it?", _seen(found)),
        Line("worse", "Is it getting worse?", _worse(found)),
        Line("bunched", "Is it bunched, or spreading?", _bunched(found)),
        Line("do", "What to do this winter?", _do(found)),
        Line("cannot", "What can nobody tell?", _cannot(found)),
    )


def _share(value: float) -> str:
    """Write a share as people say it: whole percents, below 10 with one digit."""
    percent = 100 * value
    return f"{percent:.1f}%" if 0 < percent < 9.95 else f"{percent:.0f}%"


def _range(low: float, high: float) -> str:
    digits = 1 if high < 0.0995 else 0
    return f"likely range {100 * low:.{digits}f} to {100 * high:.{digits}f}%"


def _seen(found: Answer) -> str:
    return seen_sentence(found.now)


def seen_sentence(now: TrendSeason) -> str:
    """Say how many vines are sick in a season, or why it does not count."""
    rate, limits = now.rates["annual"], now.limits["annual"]
    if rate.reason:
        return f"{now.season} does not count: {rate.reason}."
    share = f"{_share(limits.share)} ({_range(limits.low, limits.high)})"
    told = f"{rate.cases} of {rate.vines} vines show symptoms, {share}."
    if rate.carried:
        told = (
            f"{rate.cases} of {rate.vines} vines count as sick, {share}: {rate.seen} seen with symptoms this season, "
            f"{rate.carried} with damage noted before and not cut."
        )
    standing = now.rates["standing"]
    if not standing.reason and standing.cases > rate.cases:
        told += f" {standing.cases - rate.cases} more showed in earlier seasons, not in this one."
    return told


def _worse(found: Answer) -> str:
    trend = found.trend.over_years
    shares = [(one.season, one.limits["annual"].share) for one in found.trend.compared if one.rates["annual"].vines]
    if math.isnan(trend.statistic) or len(shares) < 2:
        many = trend.seasons
        return f"Cannot tell with {many} season{'s' if many != 1 else ''} to compare; it takes five."
    span = f"{_share(shares[0][1])} showed in {shares[0][0]}, {_share(shares[-1][1])} in {shares[-1][0]}"
    return {
        "worse": f"Yes. {span}: over {trend.seasons} seasons a steady rise beyond the normal swing from year to year.",
        "better": f"No, it is getting better. {span}: over {trend.seasons} seasons a steady fall beyond the normal swing. Part of the fall may be that sick vines were cut out.",
        "neither": f"No, it holds. {span}: over {trend.seasons} seasons within the normal swing from year to year.",
        "cannot tell": f"Cannot tell. {span}: over {trend.seasons} seasons the normal swing from year to year can do that.",
    }[trend.verdict]


def _bunched(found: Answer) -> str:
    return headline_sentence(found.years) if found.years is not None else opening(found.pattern)


def _do(found: Answer) -> str:
    if found.decision is None:
        return "Nothing can be planned yet: no season counts."
    counts = found.counts
    heavy = [todo_many(todo, counts[todo]) for todo in LISTS[0] if counts[todo]]
    light = [todo_many(todo, counts[todo]) for todo in LISTS[1] if counts[todo]]
    told = f"{_sentence(heavy) if heavy else 'No cutting or replanting.'} "
    if light:
        told += f"Also {', '.join(light)}. "
    if found.tasks and (heavy or light):
        told += f"About {found.crew_days:.1f} crew-days. "
    return (told + _worth(found)).rstrip()


def _sentence(parts: list[str]) -> str:
    joined = ", ".join(parts)
    return f"{joined[:1].upper()}{joined[1:]}."


def todo_many(todo: ToDo, many: int) -> str:
    """Say how many vines there are of a task, as in "retrain 3 arms"."""
    one, more = _TASKS[todo]
    return one if many == 1 else more.format(many)


def _worth(found: Answer) -> str:
    decision, best = found.decision, found.best
    assert decision is not None  # noqa: S101 - asked before
    if best is None:
        why = no_comparison_words(decision)
        return f"What it is worth is not known: {why}." if why else ""
    if best.name == STANDARD:
        return "No strategy compared pays more than doing nothing."
    assert decision.told is not None  # noqa: S101 - or there were no best
    money = f" {decision.money}" if decision.money else ""
    areas = decision.hectares / decision.costs.measures.hectares
    low, middle, high = (_rounded(areas * gain) for gain in (best.gain_low, best.gain, best.gain_high))
    return (
        f"Best plan: {best.name}. After {decision.told.years} years it leaves about {middle}{money} more on this block than doing nothing, "
        f"the work paid for (90% range {low} to {high})."
    )


def _rounded(value: float) -> str:
    """Write an amount with two digits that count: more would say more than anybody knows."""
    if not value:
        return "0"
    step = 10 ** max(0, math.floor(math.log10(abs(value))) - 1)
    return f"{step * round(value / step):,.0f}"


def _cannot(found: Answer) -> str:
    told = "Which disease it is: symptoms are not a diagnosis, and a vine that shows nothing may be infected."
    rate = found.now.rates["annual"]
    there = int(found.season.history.grid.exists.sum())
    if not rate.reason and rate.vines < 0.9 * there:
        unseen = there - rate.vines - found.now.missing
        if unseen > 0:
            told += f" Nothing is known of {unseen} vines that were not scouted or do not count."
    return told


def todo_words(todo: ToDo, part: str = "") -> str:
    """Name a task of one vine; the part stands for the word arm."""
    if part and todo is ToDo.RETRAIN_ARM:
        return f"retrain the {part}"
    if part and todo is ToDo.TRAIN_FIRST:
        return f"train a shoot first, cut the {part} next winter"
    return f"{_ONE[todo]} ({part})" if part else _ONE[todo]


def long_ago(task: Task, season: int) -> bool:
    """Tell whether what is to be cut was last seen so long ago that it is to be looked at first."""
    return task.cut and bool(task.last_seen) and int(task.last_seen[:4]) <= season - LONG_AGO


def reason_words(task: Task, season: int) -> str:
    """Say in half a line what else to know; empty where what was seen says it all."""
    told = []
    if task.cut:
        if long_ago(task, season):
            told.append(f"not seen since {task.last_seen[:4]}: look first")
        if task.shoot_placed and not task.shoot_usable:
            told.append(f"the shoot is {SHOOT_QUALITIES[task.shoot_quality]}: {SHOOT_WAITS[task.shoot_quality]}")
        elif not task.shoot_usable:
            told.append("no shoot to use yet: cut back to clean wood, retrain when one comes")
    elif task.todo is not ToDo.LOOK_AGAIN:
        told.append(task.why)
    return "; ".join(part for part in told if part)


def task_words(task: Task) -> tuple[str, str, str]:
    """Return what to do, what was seen, and the shoot where something is to be retrained, each in a few words."""
    do = todo_words(task.todo, task.part)
    if task.also:
        do += f"; {', '.join(_ONE[one] for one in task.also)}"
    seen = task.seen if task.percent is None else f"{task.seen}, {task.percent:.0f}%"
    if not task.cut and task.todo is not ToDo.TRAIN_FIRST:
        return do, seen, ""
    return do, seen, _shoot(task)


def _shoot(task: Task) -> str:
    shoot = task.shoot.split(":")[0]
    if not shoot:
        return "none noted"
    if not task.shoot_placed:
        return f"{shoot}: rootstock, no use"
    return f"{shoot}, {SHOOT_QUALITIES[task.shoot_quality]}" if task.shoot_quality else shoot

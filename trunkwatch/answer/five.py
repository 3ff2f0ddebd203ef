"""Five questions on a block, and what the record answers: values; their sentences stand in `five_words`."""

from collections import Counter
from dataclasses import dataclass, field

from trunkwatch.answer.tasks import Task, ToDo, tasks_of
from trunkwatch.block import BlockSeason
from trunkwatch.block.trend import Trend, TrendSeason, trend_of
from trunkwatch.decide.decision import Decision
from trunkwatch.pattern import Pattern
from trunkwatch.pattern.years import YearsVerdict, years_verdict
from trunkwatch.renewal.compare import Judged

__all__ = ["Answer", "answer_of"]


@dataclass(frozen=True, slots=True)
class Answer:
    """What is said of one block, once.

    Attributes
    ----------
    season : BlockSeason
        The block up to the season.
    trend : Trend
        Rates of all seasons.
    pattern : Pattern
        The tests.
    years : YearsVerdict or None
        What all years say; None where there is one season, or it does not count.
    decision : Decision or None
        The plan; None where no season counts.
    tasks : tuple of Task
        This winter's vines, in the order of the walk.
    """

    season: BlockSeason = field(repr=False)
    trend: Trend = field(repr=False)
    pattern: Pattern = field(repr=False)
    years: YearsVerdict | None
    decision: Decision | None = field(repr=False)
    tasks: tuple[Task, ...] = field(repr=False)

    @property
    def now(self) -> TrendSeason:
        """This season."""
        return next(one for one in self.trend.seasons if one.season == self.season.season)

    @property
    def counts(self) -> Counter[ToDo]:
        """How many vines there are of each task."""
        return Counter(task.todo for task in self.tasks)

    @property
    def best(self) -> Judged | None:
        """The recommended strategy as judged; None where strategies could not be compared."""
        if self.decision is None or self.decision.told is None:
            return None
        told = self.decision.told
        return next(one for one in told.judged if one.name == told.recommended)

    @property
    def crew_days(self) -> float:
        """Crew-days of this winter's list, and of the summer after it."""
        if self.decision is None:
            return 0.0
        return sum(task.hours for task in self.tasks) / self.decision.costs["crew_day_hours"]


def answer_of(
    season: BlockSeason, pattern: Pattern, decision: Decision | None, *, trend: Trend | None = None
) -> Answer:
    """Put the answer together.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season.
    pattern : Pattern
        Its tests.
    decision : Decision or None
        The plan for the winter after it.
    trend : Trend, optional
        Where it has been worked out already.
    """
    tasks = tuple(tasks_of(season, decision))
    return Answer(season, trend or trend_of(season), pattern, years_verdict(pattern), decision, tasks)

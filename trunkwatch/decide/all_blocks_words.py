"""The work of all blocks under one crew, in sentences and lines for people."""

from collections.abc import Sequence

from trunkwatch.decide.decision import Decision
from trunkwatch.decide.words import HEAVY, named_winter, no_comparison_words, of_this_winter, work_line
from trunkwatch.renewal.plan import PlannedWork
from trunkwatch.vineyard.codes import WORK_KINDS

__all__ = ["estate_lines", "estate_sentences"]


def _heavy(found: Decision) -> list[PlannedWork]:
    return [one for one in of_this_winter(found) if one.kind in HEAVY]


def estate_sentences(planned: Sequence[Decision], *, today: str | None = None) -> tuple[str, ...]:
    """Say how the crew-days fall on the blocks, a sentence a block.

    Parameters
    ----------
    planned : sequence of Decision
        As `estate_plan` returns them.
    today : str, optional
        As in `trunkwatch.decide.words.decision_sentences`.
    """
    hours = planned[0].costs["crew_day_hours"]
    told = []
    for found in planned:
        works = _heavy(found)
        listed = ", ".join(
            f"{WORK_KINDS[kind]} {many}" for kind in HEAVY if (many := sum(one.kind == kind for one in works))
        )
        best = "" if found.best is None else f"; best on average: {found.best.name}"
        why = f" ({no_comparison_words(found)})" if found.why_not is not None else ""
        name = named_winter(found, today)
        told.append(
            f"{found.season.history.block}{f', {name}' if name else ''}: {listed or 'nothing to cut or replant'}, {sum(one.hours for one in works) / hours:.1f} crew-days{best}{why}."
        )
    left = sum(one.winter > 0 for found in planned for one in found.work)
    if left:
        told.append(
            f"{left} pieces of work wait for later winters: the crew-days or the largest loss of yield of a block are used up."
        )
    return tuple(told)


def estate_lines(planned: Sequence[Decision]) -> list[str]:
    """List this winter's cuts and replants of all blocks in the order of their worth for a crew-hour."""
    pairs = [(found, one) for found in planned for one in _heavy(found)]
    pairs.sort(key=lambda pair: -(pair[1].loss if pair[1].gain != pair[1].gain else pair[1].per_hour))
    return [f"{found.season.history.block} {work_line(found, one)}" for found, one in pairs]

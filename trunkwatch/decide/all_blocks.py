"""One crew for a whole vineyard: the work of all blocks ranked together."""

from collections.abc import Sequence
from dataclasses import replace

from trunkwatch.decide.decision import Decision
from trunkwatch.renewal.plan import bearing_vines, plan_blocks

__all__ = ["estate_plan"]


def estate_plan(decisions: Sequence[Decision], *, crew_days: float) -> list[Decision]:
    """Share the crew-days of a winter among blocks: what brings most for an hour comes first, wherever it stands.

    Parameters
    ----------
    decisions : sequence of Decision
        Of each block, under the same prices.
    crew_days : float
        Crew-days a winter for all of them.

    Raises
    ------
    ValueError
        If there is no block.
    """
    if not decisions:
        raise ValueError("no block to plan for: one at least is needed")
    planned = plan_blocks(
        [(one.work, bearing_vines(one.states)) for one in decisions], decisions[0].costs, crew_days=crew_days
    )
    return [replace(one, work=work, crew_days=crew_days) for one, work in zip(decisions, planned, strict=True)]

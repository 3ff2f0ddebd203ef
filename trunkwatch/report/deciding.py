"""From a vineyard to the page "Decide": the forecast, the comparison, the plan and whether last work held."""

from dataclasses import dataclass

import pandas as pd

from trunkwatch.block import BlockSeason
from trunkwatch.decide.decision import Decision, decide
from trunkwatch.decide.outlook import VineyardSteps, outlook
from trunkwatch.decide.outlook_words import leans_on_sentence, no_forecast_sentence, outlook_sentences
from trunkwatch.decide.road import decide_on
from trunkwatch.errors import RecordError
from trunkwatch.follow_up.did_it_work import did_it_work
from trunkwatch.renewal.costs import costs_of
from trunkwatch.report.decide_page import decide_html
from trunkwatch.store import Store

__all__ = ["Decided", "by_rule_alone", "decided_if_priced", "decision_of", "page_of"]


@dataclass(frozen=True, slots=True)
class Decided:
    """A decision with the sentences of the forecast and on past work."""

    decision: Decision
    outlook: tuple[str, ...] = ()
    worked: tuple[str, ...] = ()


def decision_of(
    store: Store,
    season: BlockSeason,
    *,
    crew_days: float = 10.0,
    futures: int = 300,
    seed: int = 1,
    steps: VineyardSteps | None = None,
) -> tuple[Decision, tuple[str, ...], tuple[str, ...]]:
    """Work out the decision, with the sentences of the forecast and on past work.

    `steps` spares reading the other blocks again where several are decided on.

    Raises
    ------
    RecordError
        If no season counts, or a cost is out of its range.
    """
    steps = steps or VineyardSteps(store)
    others = steps.others(season.history.block, season.history.definition)
    try:
        leans = steps.leans_on(season.history.block, season.history.definition, season.season)
        ahead = (*outlook_sentences(outlook(season, others, seed=seed)), leans_on_sentence(leans))
    except RecordError as error:
        ahead = (no_forecast_sentence(error),)
    found = decide_on(steps, season, crew_days=crew_days, futures=futures, seed=seed)
    return found, ahead, did_it_work(season, others, seed=seed)


def page_of(
    store: Store,
    season: BlockSeason,
    *,
    crew_days: float = 10.0,
    futures: int = 300,
    seed: int = 1,
    today: str | None = None,
) -> str:
    """Write the page of a block."""
    return decide_html(*decision_of(store, season, crew_days=crew_days, futures=futures, seed=seed), today=today)


def decided_if_priced(
    store: Store, season: BlockSeason, *, seed: int = 1, steps: VineyardSteps | None = None
) -> Decided | None:
    """Return the decision for the report; None where no prices are written, or no season counts."""
    if not costs_of(store.frame("costs", season.history.block)).enough or not season.history.compared_seasons:
        return None
    return Decided(*decision_of(store, season, seed=seed, steps=steps))


def by_rule_alone(season: BlockSeason) -> Decided | None:
    """Return the list of this winter by the rules of the work, without prices; None where no season counts."""
    if not season.history.compared_seasons:
        return None
    return Decided(decide(season, [], pd.DataFrame({"name": [], "value": [], "unit": [], "source": []})))

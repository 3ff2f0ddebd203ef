"""The five lines of the answer by themselves, for a page that shows them beside something else."""

from trunkwatch.answer.five import answer_of
from trunkwatch.answer.five_words import five_lines
from trunkwatch.block import BlockSeason
from trunkwatch.pattern import pattern_of
from trunkwatch.report.deciding import Decided, by_rule_alone
from trunkwatch.report.environment import environment

__all__ = ["answer_html"]


def answer_html(
    season: BlockSeason, decided: Decided | None, *, behind: str = "", permutations: int = 999, seed: int = 1
) -> str:
    """Write the five lines.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season.
    decided : Decided or None
        The plan with prices; by the rules of the work alone where None.
    behind : str
        Address of the page that the links lead to; this page itself where left out.
    permutations, seed : int
        As in `pattern_of`.
    """
    plan = decided or by_rule_alone(season)
    pattern = pattern_of(season, permutations=permutations, seed=seed)
    answer = answer_of(season, pattern, plan.decision if plan is not None else None)
    return environment().get_template("answer.html").render(five=five_lines(answer), behind=behind)

"""The five sentences of a grower's page: short words, no rank, no praise, no blame."""

from trunkwatch.answer.five import Answer
from trunkwatch.answer.five_words import LISTS, todo_many
from trunkwatch.stats.years_trend import FEWEST_SEASONS

__all__ = ["NOT_WRITTEN", "PICKED", "handout_sentences", "of_a_round_number"]

#: Why the page is on this block, where it is the one that showed most.
PICKED = (
    "This page is on the block of yours that showed most. "
    "A block that shows the most in one year mostly shows less in the next, with no work at all."
)
#: Where the catalogue says nothing.
NOT_WRITTEN = "not written down yet"


def handout_sentences(answer: Answer, unscouted: int) -> dict[str, str]:
    """Say what was seen, more or less than before, what to do this winter and what to look at next.

    What blocks like it show is told by whoever has such blocks.

    Parameters
    ----------
    answer : Answer
        What is said of the block.
    unscouted : int
        Vines that nobody scouted in the season.
    """
    return {
        "seen": _seen(answer),
        "before": _before(answer),
        "winter": _winter(answer),
        "next": _next(answer, unscouted),
    }


def of_a_round_number(share: float) -> tuple[int, int]:
    """Return a share as so many of a hundred, or of a thousand where it is under one in a hundred."""
    of = 1000 if 0 < share < 0.01 else 100
    return int(of * share + 0.5), of


def _seen(answer: Answer) -> str:
    rate, limits = answer.now.rates["annual"], answer.now.limits["annual"]
    year = answer.season.season
    if rate.reason:
        return f"The scouting of {year} does not count, so there is no share to show."
    many, of = of_a_round_number(limits.share)
    if not rate.cases:
        return f"In {year}, none of the {rate.vines} vines that were scouted showed symptoms."
    told = f"less than 1 in {of}" if not many else f"about {many} of {of}"
    return f"In {year}, {rate.cases} of {rate.vines} scouted vines showed symptoms: {told}."


def _before(answer: Answer) -> str:
    trend = answer.trend.over_years
    return {
        "worse": "More vines show than in the years before.",
        "better": "Fewer vines show than in the years before.",
        "neither": "As many vines show as in the years before, give or take a usual swing.",
        "cannot tell": _cannot_tell(trend.seasons),
    }[trend.verdict]


def _cannot_tell(seasons: int) -> str:
    if seasons < FEWEST_SEASONS:
        scouted = {0: "none yet", 1: "one so far"}.get(seasons, f"{seasons} so far")
        return f"No one can tell yet if that is more or less than before: it takes {FEWEST_SEASONS} years to compare, with {scouted}."
    return "No one can tell if that is more or less than before: good and bad years can do the same."


def _winter(answer: Answer) -> str:
    if answer.decision is None:
        return "There is no list for this winter, as no season counts yet."
    counts = answer.counts
    work = [todo_many(todo, counts[todo]) for part in LISTS for todo in part if counts[todo]]
    if not work:
        return "There is nothing to cut or replant this winter."
    return f"This winter: {', '.join(work)}."


def _next(answer: Answer, unscouted: int) -> str:
    if answer.now.rates["annual"].reason:
        return "Next, scout the block row by row, and write down which rows you went along."
    if unscouted:
        what = "the 1 vine" if unscouted == 1 else f"the {unscouted} vines"
        return f"Next, scout {what} that no one scouted, for what was not scouted is not known."
    if answer.now.rates["annual"].cases:
        return "Next, scout all rows again, and look hard at the vines beside those that showed."
    return "Next, scout all rows again at the same time of year."

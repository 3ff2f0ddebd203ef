"""Bunched or not, spreading or not, in pictures: each test beside chance, drawn for the report and for the page of the pattern."""

from markupsafe import Markup

from trunkwatch.charts import StepAway, chance_bar_svg, of_100_svg, series_svg, steps_away_svg
from trunkwatch.pattern.findings import Word, has
from trunkwatch.pattern.spread_words import AWAY
from trunkwatch.pattern.verdict import Pattern
from trunkwatch.pattern.words import PAIRS_TESTED
from trunkwatch.report.facts import Facts, series_points
from trunkwatch.report.pictures import both_forms
from trunkwatch.stats.join_counts import JoinCount
from trunkwatch.stats.shares import incidence

__all__ = ["bar_of", "bunched_pictures", "pairs_tested", "reach_of", "test_bars"]


def pairs_tested(facts: Facts) -> list[tuple[str, str, JoinCount, float]]:
    """Return the join counts of the page: what, the declared test or secondary, the test, its corrected p."""
    pattern = facts.pattern
    return [
        (PAIRS_TESTED[0], "the test", pattern.primary, pattern.primary.pvalue),
        (PAIRS_TESTED[1], "secondary", pattern.row, pattern.holm["row"]),
        (PAIRS_TESTED[2], "secondary", pattern.across, pattern.holm["across"]),
    ]


def test_bars(facts: Facts) -> dict[str, Markup]:
    """Draw each count of pairs beside what chance gives, by what was counted; none where there is no test."""
    bars = {
        what: bar_of(test, what, f"bar{number}")
        for number, (what, _, test, _) in enumerate(pairs_tested(facts))
        if not test.reason
    }
    near = facts.pattern.near_old
    if near is not None and not near.reason:
        drawn = chance_bar_svg(
            near.statistic,
            near.expected,
            abs((near.statistic - near.expected) / near.z) if near.z else 0.0,
            what="New cases beside earlier ones",
            name="bar9",
        )
        bars["near old"] = Markup(drawn)  # noqa: S704 - our own SVG, text escaped
    return bars


def bar_of(test: JoinCount, what: str, name: str, most: float | None = None) -> Markup:
    """Draw one count beside what chance gives; with `most` on a scale that others share."""
    return Markup(  # noqa: S704 - our own SVG, text escaped
        chance_bar_svg(
            test.case_case,
            test.expected_case_case,
            test.variance_case_case**0.5,
            what=f"Pairs of {what}",
            name=name,
            most=most,
        )
    )


def reach_of(test: JoinCount) -> float:
    """Return the largest number that a picture of a count must hold."""
    return float(max(test.case_case, test.expected_case_case + 2 * test.variance_case_case**0.5))


def bunched_pictures(facts: Facts) -> dict[str, Markup]:
    """Draw what the years say: of 100 healthy vines beside a sick one and elsewhere, and new cases vine by vine away.

    Returns
    -------
    dict of str to Markup
        `beside` and `elsewhere` where new cases could be set against earlier ones, `steps` where spread could be asked for,
        `series` where there is more than one season.
    """
    pattern = facts.pattern
    drawn = {} if has(pattern.findings[:1], Word.TOO_FEW) else _hundreds(pattern)
    if pattern.spread is not None and facts.spread_sentences:
        test = pattern.spread.telling or pattern.spread.along
        steps = [StepAway(AWAY[one.lag], one.ratio, one.low, one.high) for one in test.lags]
        drawn["steps"] = steps_away_svg(steps, name="steps")
    points = series_points(pattern)
    if points:
        title = f"Pairs of adjacent showing vines of block {facts.history.block} by season"
        drawn["series"] = both_forms(series_svg, points, title=title, name="series")
    return {name: Markup(svg) for name, svg in drawn.items() if svg}  # noqa: S704 - our own SVG, text escaped


def _hundreds(pattern: Pattern) -> dict[str, str]:
    near = pattern.near_old
    if near is None or near.reason:
        return {}
    each = "" if near.seasons == 1 else " each year"
    drawn = {}
    for key, where, (new, free) in zip(
        ("beside", "elsewhere"), ("beside a sick vine", "elsewhere"), near.table, strict=True
    ):
        found = incidence(new, new + free)
        if found.vines:
            drawn[key] = of_100_svg(
                found.share, found.low, found.high, what=f"healthy ones {where} turned sick{each}", name=key
            )
    return drawn if len(drawn) == 2 else {}

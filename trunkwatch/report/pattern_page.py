"""The page "Pattern": bunched or not, spreading or not, first in a sentence, then in pictures, every test behind them."""

from markupsafe import Markup

from trunkwatch.block import BlockSeason
from trunkwatch.maps import strip_svg
from trunkwatch.pattern.chance_words import chance_words, p_of_table
from trunkwatch.pattern.words import side_by_side
from trunkwatch.report.bunched import bar_of, bunched_pictures, pairs_tested, reach_of, test_bars
from trunkwatch.report.environment import environment
from trunkwatch.report.facts import Facts, facts_of
from trunkwatch.report.pictures import map_forms, picture_css
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["pattern_html"]


def pattern_html(season: BlockSeason, *, permutations: int = 9999, seed: int = 1) -> str:
    """Write the page of one block's pattern.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season.
    permutations, seed : int
        As in `trunkwatch.pattern.pattern_of`; both are printed.

    Returns
    -------
    str
        One HTML page that needs nothing else; same input, same bytes.
    """
    facts = facts_of(season, permutations=permutations, seed=seed)
    templates = environment()
    templates.filters["p"] = p_of_table
    return templates.get_template("pattern.html").render(
        facts=facts,
        map=_map(facts),
        picture_css=picture_css(),
        pairs=_pairs(facts),
        drawn=bunched_pictures(facts),
        bars=test_bars(facts),
        tests=pairs_tested(facts),
        chance_words=chance_words,
        permutations=permutations,
    )


def _map(facts: Facts) -> Markup:
    season = facts.season
    return Markup(  # noqa: S704 - our own SVG, text escaped
        map_forms(
            strip_svg,
            facts.history,
            season.season,
            foci=facts.pattern.foci.labels,
            name="map",
            placed=season.placed or None,
            bearing_deg=number_or_none(season.block.get("row_bearing_deg")),
            rows_go=str(season.block.get("rows_go") or "right"),
        )
    )


def _pairs(facts: Facts) -> list[tuple[Markup, str]]:
    """Return the tests that are shown by picture, on one scale, each with what it says."""
    where = ("in the row or across it", "in the row", "across, in the row next to it")
    shown = list(zip(pairs_tested(facts), where, strict=True))[: 1 if facts.few else None]
    tests = [(what, place, test) for (what, _, test, _), place in shown if not test.reason]
    most = max((reach_of(test) for _, _, test in tests), default=1.0)
    return [
        (bar_of(test, what, f"pair{number}", most), side_by_side(test, place, facts.pattern.tested))
        for number, (what, place, test) in enumerate(tests)
    ]

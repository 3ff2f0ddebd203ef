"""The report as HTML: facts and pictures put into the template."""

from importlib.metadata import version

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from trunkwatch import __version__
from trunkwatch.answer.five import answer_of
from trunkwatch.answer.parts import answer_parts, on_the_list
from trunkwatch.block import BlockSeason
from trunkwatch.charts import of_100_svg, trend_svg, years_line_svg
from trunkwatch.history import RATES
from trunkwatch.maps import change_svg, strip_svg
from trunkwatch.maps.change import season_before
from trunkwatch.pattern.chance_words import chance_words, p_of_table
from trunkwatch.report.bunched import bunched_pictures, pairs_tested, test_bars
from trunkwatch.report.cautions import CAUTIONS, MEANINGS
from trunkwatch.report.decide_page import decide_parts
from trunkwatch.report.deciding import Decided, by_rule_alone
from trunkwatch.report.environment import environment
from trunkwatch.report.facts import Facts, facts_of, trend_lines
from trunkwatch.report.pictures import both_forms, map_forms, picture_css
from trunkwatch.report.shown_photos import ShownPhotos
from trunkwatch.vineyard.manner import meters
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["report_html"]


def report_html(
    season: BlockSeason,
    *,
    permutations: int = 9999,
    seed: int = 1,
    decided: Decided | None = None,
    shown: ShownPhotos | None = None,
) -> str:
    """Write the yearly report of one block.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season.
    permutations, seed : int
        As in `trunkwatch.season.pattern_of`; both are printed.
    decided : Decided, optional
        The plan for the winter after the season, with prices; by the rules of the work alone where left out.
    shown : ShownPhotos, optional
        The few photos that stand in it.

    Returns
    -------
    str
        One HTML page that needs nothing else; same input, same bytes.
    """
    facts = facts_of(season, permutations=permutations, seed=seed)
    plan = decided or by_rule_alone(season)
    answer = answer_of(season, facts.pattern, plan.decision if plan is not None else None, trend=facts.trend)
    decide = decide_parts(decided.decision, decided.outlook, decided.worked) if decided is not None else None
    pictures = _pictures(facts, on_the_list(answer))
    beside = {name: Markup(pictures.pop(name)) for name in ("hundred", "years_line") if pictures.get(name)}  # noqa: S704 - our own SVG, text escaped
    templates = environment()
    templates.filters["p"] = p_of_table
    return templates.get_template("report.html").render(
        behind="",
        picture_css=picture_css(),
        facts=facts,
        shown=shown,
        rates=RATES,
        cautions=CAUTIONS,
        meanings=MEANINGS,
        permutations=permutations,
        versions={"trunkwatch": __version__, "numpy": version("numpy"), "scipy": version("scipy")},
        pictures={name: Markup(svg) for name, svg in pictures.items()},  # noqa: S704 - our own SVG, text escaped
        drawn=bunched_pictures(facts),
        bars=test_bars(facts),
        tests=pairs_tested(facts),
        columns=_columns(facts),
        tall='class="broad"' not in pictures["map"],
        decide=decide,
        chance_words=chance_words,
        **answer_parts(answer),
        **beside,
    )


def _pictures(facts: Facts, this_winter: NDArray[np.bool_]) -> dict[str, str]:
    season, history = facts.season, facts.history
    block = season.block
    lie = {
        "placed": season.placed or None,
        "bearing_deg": number_or_none(block.get("row_bearing_deg")),
        "rows_go": str(block.get("rows_go") or "right"),
    }
    pictures = {
        "map": map_forms(
            strip_svg,
            history,
            season.season,
            foci=facts.pattern.foci.labels,
            this_winter=this_winter,
            name="map",
            **lie,
        ),
        "trend": both_forms(
            trend_svg, trend_lines(facts.trend), title=f"Incidence of block {history.block} by season", name="trend"
        ),
    }
    years = next(line.points for line in trend_lines(facts.trend) if line.name == "annual")
    pictures["years_line"] = years_line_svg(years, what="show symptoms", name="years")
    before = season_before(history, season.season)
    if before is not None:
        pictures["change"] = map_forms(change_svg, history, season.season, before, name="change", **lie)
    limits, annual = facts.now.limits["annual"], facts.now.rates["annual"]
    if not annual.reason:
        pictures["hundred"] = of_100_svg(limits.share, limits.low, limits.high, what="show symptoms", name="hundred")
    return pictures


def _columns(facts: Facts) -> list[tuple[str, str]]:
    """Return the short facts of the block for the head of the page."""
    block = facts.season.block
    grid = facts.history.grid
    planted = number_or_none(block.get("planted"))
    shown = [
        ("cultivar", str(block.get("cultivar") or "")),
        ("training", str(block.get("training") or "").replace("_", " ")),
        ("planted", f"{planted:.0f}" if planted is not None else ""),
        ("rows", str(len(grid.labels))),
        ("positions", str(int(grid.exists.sum()))),
        (
            "spacing",
            "" if grid.assumed_spacing else f"{meters(grid.row_spacing_m).split()[0]} x {meters(grid.vine_spacing_m)}",
        ),
    ]
    return [(name, value) for name, value in shown if value]

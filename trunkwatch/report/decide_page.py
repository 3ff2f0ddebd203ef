"""The page "Decide": strategies, break-even, this winter's work and the cautions, for five minutes of a grower."""

import math
from typing import Any

from markupsafe import Markup

from trunkwatch.answer.five import Answer, answer_of
from trunkwatch.answer.parts import answer_parts
from trunkwatch.block.words import trend_note
from trunkwatch.charts.break_even import break_even_svg
from trunkwatch.charts.strategies import StrategyLine, strategies_svg
from trunkwatch.decide.decision import Decision
from trunkwatch.decide.words import (
    CAUTIONS_DECIDE,
    HEAVY,
    assumption_lines,
    decision_sentences,
    detail_sentences,
    of_this_winter,
    shown_first,
    what,
    worth,
)
from trunkwatch.maps.work import work_svg
from trunkwatch.pattern import pattern_of
from trunkwatch.pattern.words import caution_sentences
from trunkwatch.pattern.years_words import explanation_lines
from trunkwatch.renewal.plan import RULES
from trunkwatch.renewal.plan_words import why_words
from trunkwatch.renewal.strategies import STANDARD
from trunkwatch.report.cautions import MEANINGS_DECIDE
from trunkwatch.report.environment import environment
from trunkwatch.report.pictures import both_forms, map_forms, picture_css
from trunkwatch.report.words import cannot_say
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["decide_html", "decide_parts"]


def decide_parts(
    found: Decision, outlook: tuple[str, ...] = (), worked: tuple[str, ...] = (), *, today: str | None = None
) -> dict[str, Any]:
    """Return what the page and the report show: sentences, pictures, table, list.

    Parameters
    ----------
    found : Decision
        The comparison and the plan.
    outlook, worked : tuple of str
        Sentences of the forecast, and on whether last work held.
    today : str, optional
        As in `trunkwatch.decide.words.decision_sentences`.
    """
    season, measures = found.season, found.costs.measures
    now = of_this_winter(found)
    kinds: dict[tuple[int, int], set[str]] = {}
    for one in now:
        kinds.setdefault(one.cell, set()).add(one.kind)
    block = season.block
    pictures = {
        "work": map_forms(
            work_svg,
            season.history,
            season.season,
            {cell: frozenset(all_) for cell, all_ in kinds.items()},
            name="work",
            placed=season.placed or None,
            bearing_deg=number_or_none(block.get("row_bearing_deg")),
            rows_go=str(block.get("rows_go") or "right"),
        )
    }
    blocks = {one.name for one in found.strategies if one.replant_year is not None}
    if found.comparison is not None:
        lines = [
            StrategyLine(
                one.name,
                one.gain,
                one.gain_low,
                one.gain_high,
                one.flip_price,
                one.name == found.comparison.recommended,
                math.nan if one.name in blocks else one.crew_days,
            )
            for one in shown_first(found)
        ]
        pictures["strategies"] = both_forms(
            strategies_svg,
            lines,
            title=f"Strategies for block {season.history.block}",
            name="strategies",
            area=measures.area,
            money=found.money,
        )
        pictures["breakeven"] = both_forms(
            break_even_svg,
            [one for one in lines if one.name != STANDARD],
            found.costs["price_per_t"] * measures.tonnes,
            title="Gain over the price of the grapes",
            name="breakeven",
            area=measures.area,
            weight=measures.weight,
            money=found.money,
        )
    label = season.history.grid.label
    return {
        "sentences": decision_sentences(found, today=today),
        "details": detail_sentences(found),
        "outlook": outlook,
        "worked": worked,
        "judged": sorted(found.told.judged, key=lambda one: -one.gain) if found.told is not None else (),
        "lines": [
            (*label(*one.cell), what(one), why_words(one, found.costs), worth(found, one))
            for one in now
            if one.kind in HEAVY
        ],
        "cautions": CAUTIONS_DECIDE,
        "rules": sorted({(one.rule, RULES[one.rule]) for one in now}),
        "assumptions": assumption_lines(found),
        "pictures": {name: Markup(svg) for name, svg in pictures.items()},  # noqa: S704 - our own SVG, text escaped
        "blocks": blocks,
        "crew_days": found.crew_days,
        "money": found.money,
        "area": measures.area,
    }


def _behind(answer: Answer) -> list[tuple[str, str, tuple[str, ...]]]:
    """Return what stands behind the lines that the page itself does not show."""
    years = answer.years
    explained = tuple(f"{name}: {fits}." for name, fits in explanation_lines(years)) if years is not None else ()
    return [
        ("seen", "How bad is it?", (trend_note(answer.trend), "Every season and every rate stand in the report.")),
        ("worse", "Is it getting worse?", (str(answer.trend.over_years), answer.trend.swing.sentence)),
        ("bunched", "Is it bunched, or spreading?", (*explained, *caution_sentences(answer.pattern))),
        ("cannot", "What can nobody tell?", cannot_say(answer.pattern, answer.trend)),
    ]


def decide_html(
    found: Decision, outlook: tuple[str, ...] = (), worked: tuple[str, ...] = (), *, today: str | None = None
) -> str:
    """Write the page; it needs nothing else."""
    season = found.season
    answer = answer_of(season, pattern_of(season, permutations=999, seed=found.seed), found)
    return (
        environment()
        .get_template("decide.html")
        .render(
            **answer_parts(answer),
            behind="",
            behind_lines=_behind(answer),
            block=season.history.block,
            season=season.season,
            seed=found.seed,
            decide=decide_parts(found, outlook, worked, today=today),
            picture_css=picture_css(),
            meanings=[one for one in MEANINGS_DECIDE if found.comparison is not None or one[0] == "Crew-days"],
            futures=found.comparison.futures if found.comparison is not None else 0,
        )
    )

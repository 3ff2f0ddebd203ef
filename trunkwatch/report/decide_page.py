"""The page "Decide": strategies, break-even, this winter's work and the cautions, for five minutes of a grower."""

from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from trunkwatch.charts.strategies import StrategyLine, break_even_svg, strategies_svg
from trunkwatch.maps.work import work_svg
from trunkwatch.renewal.plan import RULES
from trunkwatch.season.decide import Decision
from trunkwatch.season.decide_words import CAUTIONS_DECIDE, assumption_lines, decision_sentences, work_line
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["decide_html", "decide_parts"]


def decide_parts(found: Decision, outlook: tuple[str, ...] = (), worked: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return what the page and the report show: sentences, pictures, table, list.

    Parameters
    ----------
    found : Decision
        The comparison and the plan.
    outlook, worked : tuple of str
        Sentences of the forecast, and on whether last work held.
    """
    season = found.season
    now = [one for one in found.work if one.winter == 0]
    kinds: dict[tuple[int, int], set[str]] = {}
    for one in now:
        kinds.setdefault(one.cell, set()).add(one.kind)
    block = season.records.block
    pictures = {
        "work": work_svg(
            season.history, season.season, {cell: frozenset(all_) for cell, all_ in kinds.items()}, placed=season.placed or None,
            bearing_deg=number_or_none(block.get("row_bearing_deg")),
            rows_go=str(block.get("rows_go") or "right"),
        )
    }  # fmt: skip
    judged = found.comparison.judged if found.comparison is not None else ()
    if found.comparison is not None:
        lines = [
            StrategyLine(
                one.name,
                one.gain,
                one.gain_low,
                one.gain_high,
                one.flip_price,
                one.name == found.comparison.recommended,
            )
            for one in judged
        ]
        pictures["strategies"] = strategies_svg(lines, title=f"Strategies for block {season.history.block}")
        best = sorted(lines[1:], key=lambda one: -one.gain)
        pictures["breakeven"] = break_even_svg(
            best, found.costs["price_per_t"], title="Gain over the price of the grapes"
        )
    return {
        "sentences": decision_sentences(found), "judged": judged, "outlook": outlook, "worked": worked,
        "lines": [work_line(found, one) for one in now if one.kind not in ("watch", "keep_shoot", "train")],
        "light": [work_line(found, one) for one in now if one.kind in ("watch", "keep_shoot", "train")],
        "cautions": CAUTIONS_DECIDE, "rules": sorted({(one.rule, RULES[one.rule]) for one in now}), "assumptions": assumption_lines(found),
        "pictures": {name: Markup(svg) for name, svg in pictures.items()},  # noqa: S704 - our own SVG, text escaped
        "crew_days": found.crew_days,
    }  # fmt: skip


def decide_html(found: Decision, outlook: tuple[str, ...] = (), worked: tuple[str, ...] = ()) -> str:
    """Write the page; it needs nothing else."""
    environment = Environment(
        loader=PackageLoader("trunkwatch"), undefined=StrictUndefined, autoescape=select_autoescape(["html"]),
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    season = found.season
    return environment.get_template("decide.html").render(
        block=season.history.block, season=season.season, seed=found.seed, decide=decide_parts(found, outlook, worked)
    )

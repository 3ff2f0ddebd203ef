"""The page of a winter's cold: for each block the answer, the nights beside the band, the stretches side by side."""

import math
import re
from collections.abc import Sequence
from typing import Any

from trunkwatch.charts.cold_curve import ColdDay, cold_curve_svg
from trunkwatch.charts.winter_strips import Strip, winter_strips_svg
from trunkwatch.cold import BlockCold, BlockWindow, ColdAhead, Measure, WithMeasure
from trunkwatch.cold.ahead_words import ahead_lines, left_out_lines
from trunkwatch.cold.answers import BlockAnswer
from trunkwatch.cold.measure_words import MEASURES, measure_lines
from trunkwatch.cold.window_words import BY_CLIMATE, basis_lines, forecast_mark, window_lines
from trunkwatch.cold.with_measures import shares_of_worst
from trunkwatch.cold.words import CAUTIONS, cold_lines, cold_title, detail_lines
from trunkwatch.report.environment import environment
from trunkwatch.report.pictures import both_forms, picture_css

__all__ = ["cold_html"]

#: Share of the crop that fills a bar: what an early cut gives away is seen from far less than all of it.
_CROP_FULL = 0.25
#: One scale with and without a measure: a bar of 0 would say that nothing happens on the best days.
_OF_WORST = "% of the worst stretch"
#: What stands under the strips.
_AXIS = "cut made from this day on"


def cold_html(found: Sequence[BlockAnswer], *, above: str = "") -> str:
    """Return the page as one HTML file.

    Parameters
    ----------
    found : sequence of BlockAnswer
        Each block and cultivar, as `answers_of_store` returns them.
    above : str
        HTML that stands above the answer and is not printed: what the desk asks.
    """
    return (
        environment()
        .get_template("cold.html")
        .render(
            blocks=[_block(one, f"c{number}") for number, one in enumerate(found, start=1)],
            cautions=CAUTIONS,
            by_climate=BY_CLIMATE,
            picture_css=picture_css(),
            above=above,
        )
    )


def _block(answer: BlockAnswer, name: str) -> dict[str, Any]:
    cold, window, ahead = answer.cold, answer.window, answer.ahead
    return {
        "title": cold_title(cold),
        "answer_at": int(cold.stand_in is not None),
        "lines": tied((*cold_lines(cold), *_forecast(cold, ahead))),
        "curve": _curve(cold, ahead, name),
        # The answer to the page's second question stands with the first, above the pictures.
        "prune": tied(window_lines(window)[:1]) if window else (),
        "window": tied(window_lines(window)[1:]) if window else (),
        "strips": _strips(cold, window, name) if window else "",
        "measures": [_measure(cold, window, *one, f"{name}m{number}") for number, one in enumerate(answer.weighed)]
        if window
        else [],
        "details": (*detail_lines(cold), *(basis_lines(window) if window else ())),
    }


def tied(lines: Sequence[str]) -> tuple[str, ...]:
    """Keep each number with its unit where a line is broken."""
    return tuple(re.sub(r"(?<=\d) (?=%|[CF]\b|cm\b|in\b)", "\u00a0", line) for line in lines)


def _forecast(cold: BlockCold, ahead: ColdAhead | None) -> tuple[str, ...]:
    return () if ahead is None else (*ahead_lines(cold, ahead), *left_out_lines(ahead.ahead))


def _curve(cold: BlockCold, ahead: ColdAhead | None, name: str) -> str:
    """Draw the nights beside the band, those of a forecast after what was measured."""
    curve = cold.curve if ahead is None or ahead.cold.curve is None else ahead.cold.curve
    if curve is None or len(curve.days) < 2:
        return ""
    forecast = set(ahead.ahead.days) if ahead is not None else set()
    rows = zip(curve.days, curve.t_min_c.tolist(), curve.soft_c.tolist(), curve.hardy_c.tolist(), strict=True)
    days = [ColdDay(*row, forecast=row[0] in forecast) for row in rows]
    return both_forms(cold_curve_svg, days, title=f"{cold_title(cold)}: nights and buds", name=name)


def _measure(cold: BlockCold, window: BlockWindow, found: WithMeasure, money: str, name: str) -> dict[str, Any]:
    """Draw what a measure changes: filled with it, an outline without."""
    fewer = f"{100 * found.prevented[0]:.0f} % fewer infections; % of the worst stretch without it"
    strips = [
        Strip(
            "Open wounds, by calendar",
            tuple(one.calendar_with[1] for one in found.stretches),
            scale=fewer,
            without=tuple(one.calendar for one in found.stretches),
        ),
        Strip(
            "Open wounds, by warmth",
            tuple(one.warmth_with[1] for one in found.stretches),
            scale=fewer,
            without=tuple(one.warmth for one in found.stretches),
        ),
    ]
    if found.measure is Measure.LONG_FIRST:
        strips.append(
            Strip(
                "Crop given away",
                tuple(one.crop_lost_with for one in found.stretches),
                full=_CROP_FULL,
                scale="% on the mean",
                without=tuple(one.crop_lost for one in found.stretches),
            )
        )
    known = [one for one in strips if not all(math.isnan(share) for share in one.shares)]
    title = f"{cold_title(cold)}: {MEASURES[found.measure].lower()}, bars with it, outlines without"
    drawn = both_forms(winter_strips_svg, _heads(window), known, title=title, axis=_AXIS, name=name) if known else ""
    return {"title": MEASURES[found.measure], "lines": tied(measure_lines(window, found, money)), "strips": drawn}


def _heads(window: BlockWindow) -> list[str]:
    return [
        f"{window.day(one.first).day} {window.day(one.first):%b}{forecast_mark(window, one)}"
        for one in window.best.stretches
    ]


def _strips(cold: BlockCold, window: BlockWindow, name: str) -> str:
    """Draw the questions of pruning time one under the other; a strip of which nothing is known is left out."""
    stretches = window.best.stretches
    of_years = f"% of {window.frost_of} years" if window.frost_of else "% of years"
    strips = [
        Strip("Open wounds, by calendar", tuple(shares_of_worst(window, "calendar").tolist()), scale=_OF_WORST),
        Strip("Open wounds, by warmth", tuple(shares_of_worst(window, "warmth").tolist()), scale=_OF_WORST),
        Strip(
            "Crop given away",
            tuple(one.crop_lost for one in stretches),
            full=_CROP_FULL,
            scale="% by a final cut, to later cold",
        ),
        Strip("Frost on open buds", tuple(one.frost for one in stretches), scale=of_years),
        Strip(
            "Days that can be worked", tuple(one.workable for one in stretches), more_is_worse=False, scale="% of days"
        ),
    ]
    known = [one for one in strips if not all(math.isnan(share) for share in one.shares)]
    if not known:
        return ""
    return both_forms(
        winter_strips_svg,
        _heads(window),
        known,
        title=f"{cold_title(cold)}: stretches to prune, from each day on",
        axis=_AXIS,
        name=f"{name}s",
    )
